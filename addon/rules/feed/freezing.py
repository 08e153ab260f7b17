"""Progressive freezing by the quick rules: modulus towards the button, and how thick a gate of its length must be.

upper gate <= upper ring <= post <= base ring < spoke < hub, the last steps by 1.2; a lower gate's shaft <= base ring.
Common practice, no published source; the freeze network has the last word.
"""

from ..inspect.finding import Finding
from .lattice import Lattice, LatticeSolid
from .sizes import LONG_GATE_MM, LONG_SHAFT, LONG_TIP, SCALED_TIP, SHORT_SHAFT, SHORT_TIP_MM, STEP, widest_tip_mm

# Sizes are compared with this much to spare: they come out of sums of sines.
SPARE = 1e-6
# (towards the body, towards the button, factor between their moduli)
ORDER = (
    ("upper gate", "upper ring", 1.0),
    ("upper ring", "post", 1.0),
    ("post", "base ring", 1.0),
    ("gate", "base ring", 1.0),
    ("base ring", "spoke", STEP),
    ("spoke", "hub", STEP),
)
WRITTEN = {"base ring": "feed.ring_mm", "gate": "feed.gate_mm", "upper gate": "feed.gate_mm"}


def order_findings(lattice: Lattice) -> list[Finding]:
    """Find the steps at which the modulus falls towards the button, or grows too little at the last ones."""
    kinds: dict[str, list[LatticeSolid]] = {}
    for solid in lattice.solids:
        kinds.setdefault(_kind(solid), []).append(solid)
    found = []
    for inner, outer, factor in ORDER:
        if inner not in kinds or outer not in kinds:
            continue
        thickest = max(kinds[inner], key=lambda s: s.modulus_mm)
        thinnest = min(kinds[outer], key=lambda s: s.modulus_mm)
        needed = factor * thickest.modulus_mm
        if thinnest.modulus_mm >= needed * (1 - SPARE):
            continue
        d = max(thinnest.struts[0].d_start_mm, thinnest.struts[0].d_end_mm)
        would = d * needed / thinnest.modulus_mm
        key = f" ({WRITTEN[outer]})" if outer in WRITTEN else ""
        found.append(
            Finding(
                "modulus",
                "warn",
                (),
                f"the {outer}{key} freezes before the {inner}: modulus {thinnest.modulus_mm:.2f} mm where "
                f"{needed:.2f} mm is "
                f"needed; {would:.2f} mm across instead of {d:.2f} mm would do",
                at=thinnest.struts[0].start,
                value=thinnest.modulus_mm,
                limit=needed,
            )
        )
    return found


def quick_rule_findings(lattice: Lattice, wire_mm: float) -> list[Finding]:
    """Find gates too thin for their length; like ones together."""
    ring = {s.above: s for s in lattice.solids if s.role in ("ring", "upper")}
    thin: list[tuple[str, float, float]] = []
    small: list[tuple[str, float, float]] = []
    for solid in lattice.solids:
        if solid.feeds is None:
            continue
        tip = next(s for s in solid.struts if s.feeds is not None)
        shaft = min((s.d_end_mm for s in solid.struts if s.feeds is None), default=tip.d_start_mm)
        feed = ring[solid.above].struts[0].d_start_mm / 2 if solid.above in ring else 0.0
        # The tip is sunk by about a third of its diameter; within that a gate counts as short.
        clear = sum(s.length_mm for s in solid.struts) - feed - tip.d_end_mm / 3
        long = clear > LONG_GATE_MM + tip.d_end_mm / 3
        least_shaft = (LONG_SHAFT if long else SHORT_SHAFT) * wire_mm
        least_tip = min(LONG_TIP * wire_mm if long else SHORT_TIP_MM, widest_tip_mm(wire_mm))
        if shaft < least_shaft * (1 - SPARE):
            thin.append((solid.feeds, shaft, least_shaft))
        if tip.d_end_mm < least_tip * (1 - SCALED_TIP):
            small.append((solid.feeds, tip.d_end_mm, least_tip))
    return [*_together(thin, "shaft"), *_together(small, "tip")]


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


def _kind(solid: LatticeSolid) -> str:
    if solid.feeds is not None:
        return "upper gate" if solid.above else "gate"
    return {"ring": "base ring", "upper": "upper ring", "trunk": "hub"}.get(solid.role, solid.role)
