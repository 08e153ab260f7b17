"""Progressive freezing by the quick rules: modulus towards the button, and how thick a gate of its length must be.

upper gate <= upper ring <= post <= base ring < spoke < hub < trunk, the last steps by 1.2; a lower gate's shaft <= base
ring. Tips and break-off necks are exempt: they are short, and full of hot metal to the last. Common practice, no
published source; the freeze network has the last word.
"""

from collections.abc import Collection
from dataclasses import replace
from math import inf

import numpy as np

from ..inspect.finding import Finding
from .lattice import Lattice, LatticeSolid
from .reach import Thickness, wire_of
from .sizes import (
    LONG_GATE_MM,
    LONG_SHAFT,
    LONG_TIP,
    SCALED_TIP,
    SHORT_SHAFT,
    SHORT_TIP_MM,
    STEP,
    drum_d_mm,
    widest_tip_mm,
)

# Sizes are compared with this much to spare: they come out of sums of sines.
SPARE = 1e-6
# How many thicknesses of a section metal feeds over, by its freezing range: up to so many K, so many times. The groups
# are those that foundry handbooks sort copper alloys into (under 50, 50 to 110, over 110 K; from memory). That metal
# which freezes over a long range feeds less far than metal that freezes from the skin inwards is foundry practice; the
# multiples are our judgement, up from the 7 that hold where no alloy is chosen.
FEED_BY_RANGE = ((50.0, 9.0), (110.0, 8.0), (inf, 7.0))
# (towards the body, towards the button, factor between their moduli)
ORDER = (
    ("upper gate", "upper ring", 1.0),
    ("upper ring", "post", 1.0),
    ("post", "base ring", 1.0),
    ("gate", "base ring", 1.0),
    ("base ring", "spoke", STEP),
    ("spoke", "hub", STEP),
    ("hub", "trunk", STEP),
)
WRITTEN = {
    "base ring": "feed.ring_mm",
    "gate": "feed.gate_mm",
    "upper gate": "feed.gate_mm",
    "upper ring": "feed.upper_ring_mm",
    "post": "feed.post_mm",
    "spoke": "feed.spoke_mm",
    "hub": "feed.hub_mm",
}


def feed_wires(freezing_range_k: float) -> float:
    """Give how many thicknesses of a section an alloy feeds over, by its freezing range: liquidus less solidus, K."""
    return next(wires for most, wires in FEED_BY_RANGE if freezing_range_k <= most)


def order_findings(lattice: Lattice) -> list[Finding]:
    """Find the steps at which the modulus falls towards the button, or grows too little at the last ones."""
    kinds: dict[str, list[LatticeSolid]] = {}
    for solid in lattice.solids:
        kinds.setdefault(_kind(solid), []).append(solid)
    if lattice.apart:
        kinds["trunk"] = list(lattice.apart)
    found = []
    for inner, outer, factor in ORDER:
        if inner not in kinds or outer not in kinds:
            continue
        thickest = max(kinds[inner], key=lambda s: s.modulus_mm)
        thinnest = min(kinds[outer], key=lambda s: s.modulus_mm)
        needed = factor * thickest.modulus_mm
        if thinnest.modulus_mm >= needed * (1 - SPARE):
            continue
        d, would = _would(thinnest, outer, needed)
        key = f" ({WRITTEN[outer]})" if outer in WRITTEN else ""
        mend = f"{would:.2f} mm across instead of {d:.2f} mm would do"
        if not np.isfinite(would):
            mend = f"it is too low for that at any width; make the {inner} thinner ({WRITTEN[inner]})"
        found.append(
            Finding(
                "modulus",
                "warn",
                (),
                f"the {outer}{key} freezes before the {inner}: modulus {thinnest.modulus_mm:.2f} mm where "
                f"{needed:.2f} mm is needed; {mend}",
                at=thinnest.struts[0].start,
                value=thinnest.modulus_mm,
                limit=needed,
            )
        )
    return found


def _would(solid: LatticeSolid, kind: str, modulus_mm: float) -> tuple[float, float]:
    """Give how wide a solid is, and how wide it must be to have a modulus: inf where no width gives it."""
    first = solid.struts[0]
    if kind == "hub":
        return first.d_start_mm, drum_d_mm(modulus_mm, first.length_mm)
    # A fillet widens the first pieces only.
    d = min(max(s.d_start_mm, s.d_end_mm) for s in solid.struts)
    return d, d * modulus_mm / solid.modulus_mm


def quick_rule_findings(lattice: Lattice, wire_mm: Thickness, held: Collection[int] = ()) -> list[Finding]:
    """Find gates too thin for their length, like ones together; and tell of break-off necks.

    ``held`` numbers the solids that need not feed: see `thin_gates`.
    """
    thin, small = thin_gates(lattice, wire_mm)
    found = []
    for rows, what in ((thin, "shaft"), (small, "tip")):
        found += _together([row[1:] for row in rows if row[0] not in held], what)
    return [*found, *_necks(lattice)]


Thin = tuple[int, str, float, float]


def thin_gates(lattice: Lattice, wire_mm: Thickness) -> tuple[list[Thin], list[Thin]]:
    """Find the gates whose shaft, and those whose tip, is too thin for their length by the quick rule.

    Each as its number among the solids, the body it feeds, its diameter and the least one in mm.
    """
    ring = {s.above: s for s in lattice.solids if s.role in ("ring", "upper")}
    thin: list[Thin] = []
    small: list[Thin] = []
    for number, solid in enumerate(lattice.solids):
        if solid.feeds is None:
            continue
        tip = next(s for s in solid.struts if s.feeds is not None)
        shaft = min((s.d_end_mm for s in solid.struts if s.role == "brace"), default=tip.d_start_mm)
        feed = ring[solid.above].struts[0].d_start_mm / 2 if solid.above in ring else 0.0
        # The tip is sunk by about a third of its diameter; within that a gate counts as short.
        clear = sum(s.length_mm for s in solid.struts) - feed - tip.d_end_mm / 3
        long = clear > LONG_GATE_MM + tip.d_end_mm / 3
        wire = wire_of(wire_mm, solid.feeds)
        least_shaft = (LONG_SHAFT if long else SHORT_SHAFT) * wire
        least_tip = min(LONG_TIP * wire if long else SHORT_TIP_MM, widest_tip_mm(wire))
        if shaft < least_shaft * (1 - SPARE):
            thin.append((number, solid.feeds, shaft, least_shaft))
        if tip.d_end_mm < least_tip * (1 - SCALED_TIP):
            small.append((number, solid.feeds, tip.d_end_mm, least_tip))
    return thin, small


def _together(rows: list[tuple[str, float, float]], what: str) -> list[Finding]:
    if not rows:
        return []
    _, worst, least = min(rows, key=lambda row: row[1] / row[2])
    names = tuple(dict.fromkeys(name for name, _, _ in rows))
    return [
        Finding(
            "modulus",
            "warn",
            names,
            f"{len(rows)} gates have a {what} too thin for their length, down to {worst:.2f} mm; {least:.2f} mm "
            f"would do by the "
            "quick rule",
            value=worst,
            limit=least,
        )
    ]


def _necks(lattice: Lattice) -> list[Finding]:
    """Tell of break-off necks: how thick they, their tips and shafts are, and what they mean for the freezing order."""
    necked = [(s, s.neck_mm) for s in lattice.solids if s.neck_mm is not None]
    if not necked:
        return []
    solid, neck = min(necked, key=lambda row: row[1])
    tip = next(s for s in solid.struts if s.role == "gate")
    tip = replace(tip, d_end_mm=solid.struts[-1].d_end_mm)
    share = (neck / tip.d_end_mm) ** 2
    return [
        Finding(
            "modulus",
            "note",
            (),
            f"{len(necked)} gates have break-off necks, the thinnest {neck:.2f} mm between a tip of "
            f"{tip.d_end_mm:.2f} mm and a shaft of {tip.d_start_mm:.2f} mm: it has {100 * share:.0f} % of the tip's "
            "section and freezes first, so it feeds its link less long; where links come out porous, write feed.cut = "
            '"saw" or a thicker feed.tip_mm',
            at=tip.start,
            value=neck / 4,
            limit=tip.d_end_mm / 4,
        )
    ]


def _kind(solid: LatticeSolid) -> str:
    if solid.feeds is not None:
        return "upper gate" if solid.above else "gate"
    return {"ring": "base ring", "upper": "upper ring", "trunk": "hub"}.get(solid.role, solid.role)
