"""What a finding says in the panel, where things have other names than in a job file and are mended by clicks."""

import re
from collections.abc import Mapping

from ..rules.inspect.finding import Finding
from .translated import told

# A size as a job file names it, and a choice with its value.
_SIZE = re.compile(r"\b(?:[a-z]+\.)?([a-z]+(?:_[a-z]+)*_(?:mm|c))\b")
_CHOICE = re.compile(r"\b(?:[a-z]+\.)?([a-z]+) = \"([a-z]+)\"")
# The ways to mend a unit that are there for a file only.
_OF_FILES = re.compile("--unit|it was exported")

# What a length read as millimetres grows by when it was drawn in another unit, and the lengths that links have, mm.
UNITS_MM = (("metres", 1000.0), ("inches", 25.4), ("centimetres", 10.0))
USUAL_MM = (2.0, 200.0)


def panel_text(finding: Finding, *, mm: float, labels: Mapping[str, str]) -> str:
    """Give the text of a finding for a scene whose unit is ``mm`` long.

    ``labels``: what the panel calls the sizes and choices of a job file, by their keys there.
    """
    if finding.code == "odd-size" and _OF_FILES.search(finding.text):
        return told(_mistaken_unit(finding, mm))

    def size(found: re.Match[str]) -> str:
        return told(labels[found[1]]).partition(" (")[0] if found[1] in labels else found[0]

    def choice(found: re.Match[str]) -> str:
        return told(f"{labels[found[1]]} set to {found[2].capitalize()}") if found[1] in labels else found[0]

    # The words first: they are told by the sentence as the rules write it.
    return _CHOICE.sub(choice, _SIZE.sub(size, told(finding.text)))


def _mistaken_unit(finding: Finding, mm: float) -> str:
    name, size, limit = finding.bodies[0], finding.value or 0.0, finding.limit or 0.0
    if size > limit:
        said = f"{name}: {size:.5g} mm long, too large for a link or a cast piece. "
        if abs(mm - 1.0) < 1e-6:
            return said + "If another unit was meant, scale it down to its true size (S, then Ctrl+A and Scale)."
        return said + (
            f"A unit of this scene is {mm:g} mm: if it was drawn in millimetres, press Set Millimetres in the Chain "
            "panel and inspect again; else scale it down."
        )
    said = f"{name}: the largest body is only {size:.4g} mm long, too small for a link. "
    drawn = [
        f"{factor:g} if it was drawn in {unit}"
        for unit, factor in UNITS_MM
        if USUAL_MM[0] <= size * factor <= USUAL_MM[1]
    ]
    if not drawn:
        return said + "Scale it to its true size (S, then Ctrl+A and Scale)."
    return said + f"Scale it: press S, type {', or '.join(drawn)}, and press Enter."
