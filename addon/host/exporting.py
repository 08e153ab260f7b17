"""The files of a finished job in the maker's folder: print files at export scale, report and bench sheet.

While a stop stands that the maker did not name, no print file is written and none of an earlier export is left behind.
"""

import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ..rules.base.errors import BadInput
from ..rules.cast.plan import CastPlan
from ..rules.files.atomic import write_whole
from ..rules.files.job import Job
from ..rules.files.report import chain_part, findings_part, inspection_part, lattice_part, report_text
from ..rules.inspect.finding import Finding, stops
from ..verbs import flow
from ..verbs.commands import export_print
from ..verbs.sheets import sheet_text


@dataclass(frozen=True, slots=True)
class Exported:
    """What an export wrote: all files, print files among them, codes exported in spite of, and stops that refused."""

    files: tuple[str, ...]
    printed: tuple[str, ...]
    overridden: tuple[str, ...]
    refused: tuple[Finding, ...]


def usable_folder(text: str) -> Path:
    """Give the folder a maker chose. Raises BadInput for none, one that is missing, or one that cannot be written."""
    if not text.strip():
        raise BadInput("no folder is chosen; choose one for the print files")
    folder = Path(text)
    if text.startswith("//"):
        raise BadInput(f"{text}: is beside the .blend file, which is not saved yet; save it or choose another folder")
    if not folder.is_dir():
        raise BadInput(f"{folder}: no such folder; make it first or choose another")
    if not os.access(folder, os.W_OK):
        raise BadInput(f"{folder}: nothing can be written there; change its permissions or choose another")
    return folder


def override_codes(text: str, findings: tuple[Finding, ...]) -> tuple[str, ...]:
    """Read the codes the maker exports in spite of. Raises BadInput for a word that is no standing stop."""
    standing = sorted({f.code for f in stops(findings)})
    codes = tuple(dict.fromkeys(word for word in text.replace(",", " ").split()))
    for code in codes:
        if code not in standing:
            there = f"it can be {', '.join(standing)}" if standing else "no stop stands; leave it empty"
            raise BadInput(f"override: {code!r} is not a stop of this job; {there}")
    return codes


def write_job(
    folder: Path,
    job: Job,
    fed: flow.Fed,
    planned: CastPlan,
    scaled: flow.Scaling,
    findings: tuple[Finding, ...],
    codes: tuple[str, ...],
) -> Exported:
    """Write what may be written; ``codes`` are the stops exported in spite of, which the report names."""
    refused = tuple(f for f in stops(findings) if f.code not in codes)
    written = export_print(folder, job, fed, scaled.scale, refuse=bool(refused))
    write_whole(
        folder / "sheet.html",
        sheet_text(job, fed, planned, scaled, findings, even_so=bool(codes) and not refused).encode(),
    )
    overridden = codes if written else ()
    export: dict[str, Any] = {
        "files": written,
        "scale": scaled.scale,
        "override": "by name" if overridden else None,
        "overridden": overridden,
    }
    parts = (
        inspection_part(fed.inspection),
        findings_part(findings),
        chain_part(fed.chain),
        lattice_part(fed.lattice, fed.lattice_mm3),
        {"cast": planned.to_dict(), "export": export},
    )
    write_whole(folder / "report.json", report_text("run", job.name, parts).encode())
    return Exported(("report.json", "sheet.html", *written), written, overridden, refused)
