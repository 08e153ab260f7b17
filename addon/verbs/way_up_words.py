"""The ways to stand a job on the plate, for people and for report.json."""

import textwrap
from collections.abc import Sequence
from typing import Any

from ..rules.inspect.way_up import WayUp
from .words import table

# Columns of a terminal that sentences are laid out in.
WIDE = 109
NOTE = (
    "starts in mid-air are counted in coarse layers: check the way you choose; curing light after the print reaches as "
    "much whichever way the job stands"
)


def way_up_lines(found: Sequence[WayUp]) -> list[str]:
    """Lay out the ways, the best first, and say what the best one saves."""
    rows = [
        [
            one.way.name,
            f"{one.islands}",
            f"{one.underside_mm2:.0f}",
            f"{one.height_mm:.1f}",
            f"{one.layers}",
            f"{one.largest_mm2:.0f}",
            "-" if one.gap_mm is None else f"{one.gap_mm:.2f}",
            one.refusal or "yes",
        ]
        for one in found
    ]
    head = ("way up", "starts", "undersides mm2", "height mm", "layers", "largest mm2", "gap mm", "prints")
    return [
        *table(head, rows, right=(1, 2, 3, 4, 5, 6)),
        *textwrap.wrap(recommendation(found), WIDE),
        *textwrap.wrap(NOTE, WIDE),
    ]


def recommendation(found: Sequence[WayUp]) -> str:
    """Say in a line how the best way compares with how the job stands."""
    best = found[0]
    if best.refusal:
        return "none of these ways prints as designed: see the last column"
    stands = next((one for one in found if one.way.name == "as it stands"), None)
    if stands is None or stands is best:
        return "best: as it stands" if stands is best else f"best: {best.way.name}"
    if stands.refusal:
        return f"best: {best.way.name}; as it stands the job does not print: {stands.refusal}"
    return (
        f"best: {best.way.name}: {best.islands} starts in mid-air instead of {stands.islands}, "
        f"{best.underside_mm2:.0f} mm2 of undersides instead of {stands.underside_mm2:.0f}, "
        f"{best.height_mm:.1f} mm high instead of {stands.height_mm:.1f}"
    )


def way_up_part(found: Sequence[WayUp]) -> dict[str, Any]:
    """Give the key ``ways_up``, the best first; ``rotation`` takes the job from how it stands, row by row."""
    return {
        "ways_up": [
            {
                "name": one.way.name,
                "rotation": one.way.rotation,
                "islands": one.islands,
                "underside_mm2": one.underside_mm2,
                "height_mm": one.height_mm,
                "layers": one.layers,
                "largest_area_mm2": one.largest_mm2,
                "gap_mm": one.gap_mm,
                "size_mm": one.size_mm,
                "refusal": one.refusal or None,
            }
            for one in found
        ]
    }
