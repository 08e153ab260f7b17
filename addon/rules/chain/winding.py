"""Winding a chain up: the sizes of a spiral, coil or serpentine that keep its gap, and the chain laid on it."""

from dataclasses import dataclass, replace

import numpy as np

from ..base.errors import BadInput, CannotBuild
from ..solid.mesh import FloatArray
from .bending import least_radius_mm, straight_gap_mm
from .layouts import (
    Coil,
    Spiral,
    Wound,
    bulge_mm,
    compact_coil_mm,
    compact_rows_mm,
    filling_radius_mm,
    serpentine,
    turn_room_mm,
)
from .measure import Measure
from .path import Path, along, chords_open
from .pattern import Pattern
from .placed import RowGaps, extent_mm, row_gaps
from .row import Row, stood
from .spec import ChainSpec, LayoutSpec
from .turning import roll

# Sizes are sought in steps of this, and grown by this share or more, but no more than this, each time they fall short.
GRID_MM = 0.1
GROWTH, MOST_GROWTH = 1.005, 1.5
# Of the growth that a shortfall calls for so much is taken at a time, so as not to end far beyond what is needed.
CAUTION = 0.5
ROUNDS = 60
# How much gentler than the tightest even bend the rule bends a chain. Our judgement.
MARGIN = 1.05
# Links over which a serpentine runs into the full bend of a quarter turn: with fewer the link on the seam stands askew
# and wants a wider bend, with more the bends take more room. The narrowest of 1 to 8 on curb and trace chains.
RAMP = 4
# A chain that needs a bend of more pitches than this to its radius is as good as straight: no flask takes its turns.
STIFF = 50
# Of the wanted gap, what is tried when it leaves no bend.
LESS_PERCENT = (95, 90, 80, 70, 60, 50, 40, 30)
GAP_MM = 1e-6


@dataclass(frozen=True, slots=True)
class Turns:
    """The radius and pitch of the turns of a wound chain, mm: as in the layout."""

    radius_mm: float
    pitch_mm: float


def wound(
    spec: ChainSpec, layout: LayoutSpec, pattern: Pattern, row: Row, measure: Measure, pitches_mm: FloatArray
) -> tuple[Path, RowGaps]:
    """Lay a row on a spiral, coil or serpentine at the pitches (t,) of its joint types; give its gaps there too.

    Sizes left out are chosen so that every pair of links keeps the wanted gap and gates pass between the turns. Raises
    BadInput for a given size under what the gap needs, naming one that was tried and works; CannotBuild where the
    joints have no bend to spare.
    """
    chords = pitches_mm[row.joint]
    both = layout.shape == "serpentine" and not (pattern.symmetric and not row.aside_mm.any())
    links = len(row.kind)
    least = least_radius_mm(measure, pattern, pitches_mm, spec.gap_mm, links=links, face=layout.face, both=both)
    most = STIFF * float(chords.max()) if layout.turn_radius_mm is None else np.inf
    if not least < most:
        raise _stiff(spec, layout, pattern, measure, pitches_mm, links)
    flat = layout.face == "flat"
    # Turns lie side by side on the plate, those of a coil above each other.
    beside = (layout.shape == "coil") == flat
    extent = extent_mm(measure.links, row, roll(row.roll))[1 if beside else 0]
    rule = _by_rule(spec, layout, row, measure, chords, least, extent)
    sizes = Turns(
        rule.radius_mm if layout.turn_radius_mm is None else layout.turn_radius_mm,
        rule.pitch_mm if layout.turn_pitch_mm is None else max(layout.turn_pitch_mm, _up(extent + spec.gap_mm)),
    )
    ramp = RAMP * float(chords.max())
    level = straight_gap_mm(measure, pattern, pitches_mm, links=links, face=layout.face)
    for _ in range(ROUNDS):
        if layout.shape == "serpentine":
            sizes = replace(sizes, pitch_mm=max(sizes.pitch_mm, _up(serpentine(0.0, sizes.radius_mm, ramp).pitch_mm)))
        path = _laid(_way(layout, sizes, chords, extent), chords, layout)
        gaps = row_gaps(measure, row, *stood(row, path))
        if gaps.gap_mm >= spec.gap_mm - GAP_MM:
            _refuse_smaller(spec, layout, sizes, rule, least, extent)
            return path, gaps
        sizes = _grown(spec, layout, sizes, path, row, gaps, least, level)
    raise CannotBuild(
        f"layout.shape: no {layout.shape} keeps {spec.gap_mm:g} mm between the links of this chain; choose another "
        "shape, or a smaller gap_mm"
    )


def _by_rule(
    spec: ChainSpec,
    layout: LayoutSpec,
    row: Row,
    measure: Measure,
    chords: FloatArray,
    least: float,
    extent: float,
) -> Turns:
    longest = max(measure.links[kind].length_mm for kind in np.unique(row.kind))
    thickest = max(measure.links[kind].wire_mm for kind in np.unique(row.kind))
    length = float(chords.sum()) + longest
    radius = _up(least * MARGIN)
    given = layout.turn_radius_mm
    room = extent + max(turn_room_mm(thickest), spec.gap_mm)
    if layout.shape == "coil":
        pitch = _up(room)
        return Turns(_up(max(radius, compact_coil_mm(length, layout.turn_pitch_mm or pitch))), pitch)
    if layout.shape == "spiral":
        return Turns(radius, _up(room + bulge_mm(given or radius, extent, longest)))
    ramp = RAMP * float(chords.max())
    wanted = max(room, layout.turn_pitch_mm or 0.0)
    radius = max(radius, filling_radius_mm(wanted, ramp))
    return Turns(radius, _up(serpentine(0.0, given or radius, ramp, pitch_mm=wanted).pitch_mm))


def _way(layout: LayoutSpec, sizes: Turns, chords: FloatArray, extent: float) -> Wound:
    if layout.shape == "spiral":
        return Spiral(sizes.radius_mm, sizes.pitch_mm)
    if layout.shape == "coil":
        return Coil(sizes.radius_mm, sizes.pitch_mm)
    ramp = RAMP * float(chords.max())
    bent = serpentine(0.0, sizes.radius_mm, ramp, pitch_mm=sizes.pitch_mm)
    beside = 2 * float(bent.quarter[-1, 1]) + extent
    row = compact_rows_mm(float(chords.sum()), bent.bend_mm, bent.pitch_mm, beside_mm=beside, along_mm=extent)
    return replace(bent, row_mm=row if layout.row_mm is None else layout.row_mm)


def _laid(way: Wound, chords: FloatArray, layout: LayoutSpec) -> Path:
    """Stand the stations on a way; a coil's middle height and a serpentine's middle come to the origin."""
    coil = layout.shape == "coil"
    path = along(way, chords_open(way, 0.0, chords), layout.face, upright=coil)
    middle = (path.origins.min(axis=0) + path.origins.max(axis=0)) / 2
    shift = middle * {"coil": (0, 0, 1), "spiral": (0, 0, 0)}.get(layout.shape, (1, 1, 1))
    return Path(path.origins - shift, path.rotations, closed=False)


def _grown(
    spec: ChainSpec, layout: LayoutSpec, sizes: Turns, path: Path, row: Row, gaps: RowGaps, least: float, level: float
) -> Turns:
    """Open the bends where neighbours come too near, else move the turns apart.

    A bend takes from the gap of the straight chain, ``level``, nearly in proportion to its curvature.
    """
    radius, pitch = sizes.radius_mm, sizes.pitch_mm
    a, b = (path.origins[row.station[body]] for body in gaps.far)
    across = layout.shape != "serpentine" and float(a[:2] @ b[:2]) < 0
    if gaps.near_mm < spec.gap_mm - GAP_MM or across:
        lost, spare = level - gaps.near_mm, level - spec.gap_mm
        needed = 1 + CAUTION * (lost / spare - 1) if spare > 0 else MOST_GROWTH
        radius = _up(max(radius * min(max(needed, GROWTH), MOST_GROWTH), least))
    else:
        pitch = _up(pitch + max(spec.gap_mm - gaps.far_mm, GRID_MM))
    return Turns(radius, pitch)


def _refuse_smaller(
    spec: ChainSpec, layout: LayoutSpec, sizes: Turns, rule: Turns, least: float, extent: float
) -> None:
    """Raise BadInput where a given size had to grow, naming what did hold."""
    gap = f"{spec.gap_mm:g} mm"
    tight = layout.turn_radius_mm is not None and layout.turn_radius_mm < sizes.radius_mm
    near = layout.turn_pitch_mm is not None and layout.turn_pitch_mm < sizes.pitch_mm
    roomy = f"; {rule.pitch_mm:g} leaves gates room to pass" if rule.pitch_mm > sizes.pitch_mm else ""
    if tight and near:
        raise BadInput(
            f"layout.turn_radius_mm: {layout.turn_radius_mm:g} with turn_pitch_mm {layout.turn_pitch_mm:g} brings "
            f"links nearer than {gap}; give a radius of {sizes.radius_mm:g} with a pitch of {sizes.pitch_mm:g} or more"
        )
    if tight:
        raise BadInput(
            f"layout.turn_radius_mm: {layout.turn_radius_mm:g} bends the links of this chain nearer to each other than "
            f"{gap}; give {sizes.radius_mm:g} or more"
        )
    if near and layout.shape == "serpentine" and sizes.radius_mm > least:
        raise BadInput(
            f"layout.turn_pitch_mm: rows {layout.turn_pitch_mm:g} mm apart need bends tighter than the radius of "
            f"{sizes.radius_mm:g} mm; give {sizes.pitch_mm:g} or more"
        )
    if near:
        raise BadInput(
            f"layout.turn_pitch_mm: {layout.turn_pitch_mm:g} is too little for a chain {extent:.1f} mm across that "
            f"keeps {gap} from its next turn; give {sizes.pitch_mm:g} or more{roomy}"
        )


def _stiff(
    spec: ChainSpec, layout: LayoutSpec, pattern: Pattern, measure: Measure, pitches_mm: FloatArray, links: int
) -> CannotBuild:
    """Say that the joints cannot bend at all and keep the gap, and at which gap they can."""
    for gap in np.floor(spec.gap_mm * np.array(LESS_PERCENT)) / 100:
        radius = least_radius_mm(measure, pattern, pitches_mm, float(gap), links=links, face=layout.face, both=True)
        if gap > 0 and radius < STIFF * float(pitches_mm.max()):
            return CannotBuild(
                f"layout.shape: the joints of this chain keep {spec.gap_mm:g} mm straight but not on a {layout.shape}; "
                f"with gap_mm = {gap:g} it can be wound to a radius of {_up(radius):g} mm"
            )
    return CannotBuild(
        "layout.shape: the joints of this chain do not bend as it lies; lay it straight, or give it wider links"
    )


def _up(size_mm: float) -> float:
    """Round a size up to the grid."""
    return round(float(np.ceil(size_mm / GRID_MM - 1e-9)) * GRID_MM, 6)
