"""The files of a finished job: print files at export scale, report.json and sheet.html.

While a stop stands that the maker did not name, no print file is written and none of an earlier run is left behind.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ..rules.cast.layouts import LayoutFigures
from ..rules.cast.plan import CastPlan
from ..rules.feed.trunk import for_print
from ..rules.files import stl, threemf
from ..rules.files.atomic import write_whole
from ..rules.files.job import Job
from ..rules.files.named import Named, unique_names
from ..rules.files.report import (
    chain_part,
    findings_part,
    inspection_part,
    lattice_part,
    layouts_part,
    play_part,
    print_part,
    report_text,
)
from ..rules.inspect.finding import Finding, stops
from ..rules.solid.mesh import merged
from . import flow
from .sheets import sheet_text

PRINT_FILES = ("print.stl", "print.3mf")
# A trunk that is printed on its own and set into the hub.
TRUNK_FILE = "trunk.stl"


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which files are asked for: print files of each kind, and ``papers``, report and bench sheet.

    ``joined``: bodies and lattice as one solid. Apart, a 3MF holds each body and each piece of the lattice as an object
    of its own, and an STL each as a shell of its own: they overlap where they are sunk into each other.
    """

    stl: bool = True
    threemf: bool = True
    joined: bool = True
    papers: bool = True


EVERYTHING = Wanted()


@dataclass(frozen=True, slots=True)
class Exported:
    """What an export wrote: all files, the print files among them, the codes exported in spite of.

    ``refused`` are the stops that kept the print files back; ``report`` is the text of report.json.
    """

    files: tuple[str, ...]
    printed: tuple[str, ...]
    overridden: tuple[str, ...]
    refused: tuple[Finding, ...]
    report: str


def write_job(
    folder: Path,
    job: Job,
    fed: flow.Fed,
    planned: CastPlan,
    scaled: flow.Scaling,
    findings: Sequence[Finding],
    *,
    layouts: Sequence[LayoutFigures] = (),
    override: str,
    codes: Sequence[str],
    wanted: Wanted = EVERYTHING,
) -> Exported:
    """Write what may be written into a folder that is there.

    ``layouts`` are what the links take in other shapes, where that was compared. ``codes`` are the stops the maker
    exports in spite of, ``override`` is how that was said; the report names both.
    """
    refused = tuple(f for f in stops(findings) if f.code not in codes)
    printed = _write_print(folder, job, fed, scaled.scale, wanted, refuse=bool(refused))
    overridden = tuple(sorted({f.code for f in stops(findings)})) if printed else ()
    if not wanted.papers:
        return Exported(printed, printed, overridden, refused, "")
    sheet = sheet_text(job, fed, planned, scaled, findings, layouts=layouts, overridden=overridden)
    write_whole(folder / "sheet.html", sheet.encode())
    export: dict[str, Any] = {
        "files": printed,
        "scale": scaled.scale,
        "override": override if overridden else None,
        "overridden": overridden,
    }
    cast: dict[str, Any] = {"cast": planned.to_dict(), "export": export}
    parts = (*fed_parts(fed), findings_part(findings), layouts_part(layouts), cast)
    report = report_text("run", job.name, parts)
    write_whole(folder / "report.json", report.encode())
    return Exported(("report.json", "sheet.html", *printed), printed, overridden, refused, report)


def fed_parts(fed: flow.Fed) -> tuple[dict[str, Any], ...]:
    """Give the report's parts on a fed chain."""
    return (
        inspection_part(fed.inspection),
        findings_part(fed.findings),
        chain_part(fed.chain),
        play_part(fed.play),
        lattice_part(fed.lattice, fed.lattice_mm3, fed.solid, fed.cutting),
        print_part(fed.printed),
    )


def _write_print(
    folder: Path, job: Job, fed: flow.Fed, scale: float, wanted: Wanted, *, refuse: bool
) -> tuple[str, ...]:
    """Write the print files, take older ones away that are not written again; give the names written."""
    solid = None if refuse else fed.solid
    trunks = merged([for_print(one) for one in fed.lattice.apart]) if fed.lattice.apart else None
    objects: tuple[Named, ...] = ()
    if solid is not None and solid.mesh is not None:
        objects = (Named(job.name, solid.mesh),) if wanted.joined else _apart(fed)
        objects = tuple(Named(one.name, flow.scaled_mesh(one.mesh, scale)) for one in objects)
    written = []
    for name, asked in zip((*PRINT_FILES, TRUNK_FILE), (wanted.stl, wanted.threemf, trunks is not None), strict=True):
        if not objects or not asked or not (wanted.stl or wanted.threemf):
            (folder / name).unlink(missing_ok=True)
            continue
        if name == TRUNK_FILE and trunks is not None:
            stl.write(folder / name, flow.scaled_mesh(trunks, scale))
        elif name == PRINT_FILES[0]:
            stl.write(folder / name, merged([one.mesh for one in objects]))
        else:
            threemf.write(folder / name, objects)
        written.append(name)
    return tuple(written)


def _apart(fed: flow.Fed) -> tuple[Named, ...]:
    """Give every body of the chain and every piece of its lattice by its name."""
    bodies = [(body.name, body.placed()) for body in fed.chain.bodies]
    pieces = [
        (f"{solid.role} of {solid.feeds}" if solid.feeds is not None else solid.role, solid.mesh)
        for solid in fed.lattice.solids
    ]
    names = unique_names([name for name, _ in (*bodies, *pieces)])
    return tuple(Named(name, mesh) for name, (_, mesh) in zip(names, (*bodies, *pieces), strict=True))
