"""What an export in Blender checks before it writes: the folder, and the stops named to be exported in spite of."""

import os
from pathlib import Path

from ..rules.base.errors import BadInput
from ..rules.inspect.finding import Finding, stops


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
