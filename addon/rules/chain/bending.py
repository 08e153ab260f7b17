"""How far a chain bends as laid out: the tightest even bend that keeps the gap at the pitch of the straight chain."""

import numpy as np

from ..solid.mesh import FloatArray, IntArray
from .measure import Measure
from .path import Path
from .pattern import Pattern
from .placed import near_in_row, relative, unlike_gaps
from .row import Row, row_of, stood
from .turning import bend

# Looked for in so many steps up to a bend of 60 degrees, then twice more between the last that holds and the next.
STEPS = 9
ROUNDS = 3
# Of a turn that does not repeat soon so many repeats are looked at, of a chain of unlike links so many stretches.
PHASES = 24
STRETCHES = 6
GAP_MM = 1e-6


def least_radius_mm(
    measure: Measure,
    pattern: Pattern,
    pitches_mm: FloatArray,
    gap_mm: float,
    *,
    links: int,
    face: str,
    over_face: bool | None = None,
    both: bool = False,
) -> float:
    """Find the radius in mm of the tightest even bend that keeps a gap at the pitches (t,) of the joint types.

    ``links`` of the chain that is to bend. The bend lies level, so that a chain with its face out bends over it, unless
    ``over_face`` tells otherwise. ``both``: to either side. Infinite where no bend keeps the gap.
    """
    over = face != "flat" if over_face is None else over_face
    row, firsts = _sample(pattern, links, face)
    chords = pitches_mm[row.joint]
    low, high = 0.0, 1.0 / float(chords.max())
    for _ in range(ROUNDS):
        curvatures = np.linspace(low, high, STEPS)
        gap = np.full(STEPS, np.inf)
        for way in (1, -1) if both else (1,):
            found = arc_gaps(measure, row, chords, way * curvatures, over_face=over, firsts=firsts)
            gap = np.minimum(gap, found)
        short = np.flatnonzero(gap < gap_mm - GAP_MM)
        if not len(short):
            low = high
            break
        if short[0] == 0:
            return np.inf
        low, high = float(curvatures[short[0] - 1]), float(curvatures[short[0]])
    return 1 / low if low > 0 else np.inf


def straight_gap_mm(measure: Measure, pattern: Pattern, pitches_mm: FloatArray, *, links: int, face: str) -> float:
    """Give the smallest gap in mm of neighbours on the straight chain at the pitches (t,) of its joint types."""
    row, firsts = _sample(pattern, links, face)
    return float(arc_gaps(measure, row, pitches_mm[row.joint], np.zeros(1), over_face=True, firsts=firsts)[0])


def arc_gaps(
    measure: Measure, row: Row, chords_mm: FloatArray, curvatures: FloatArray, *, over_face: bool, firsts: IntArray
) -> FloatArray:
    """Find the smallest gap (k,) of an open row bent evenly to curvatures (k,) 1/mm, ``chords_mm`` (s - 1,).

    ``firsts``: the bodies whose pairs with those near them further on are looked at. A negative curvature bends the
    other way. The chords are at most twice the radius.
    """
    pairs = near_in_row(row, firsts)
    halves = np.arcsin(chords_mm * curvatures[:, None] / 2)
    zero = np.zeros((len(curvatures), 1))
    angles = np.concatenate((zero, 2 * np.cumsum(halves, axis=1)), axis=1)
    steps = bend(angles[:, :-1] + halves, over_face=over_face)[..., 0] * chords_mm[:, None]
    places = np.concatenate((np.zeros((len(curvatures), 1, 3)), np.cumsum(steps, axis=1)), axis=1)
    frames = bend(angles, over_face=over_face)
    stands = [stood(row, Path(p, f, closed=False)) for p, f in zip(places, frames, strict=True)]
    poses = [relative(*stand, pairs) for stand in stands]
    turn, shift = (np.concatenate(part) for part in zip(*poses, strict=True))
    gap = unlike_gaps(measure, np.tile(row.kind[pairs], (len(curvatures), 1)), turn, shift)
    return np.asarray(gap.reshape(len(curvatures), -1).min(axis=1))


def _sample(pattern: Pattern, links: int, face: str) -> tuple[Row, IntArray]:
    """Give an open row of up to ``links`` bodies that shows every pair of the pattern, and the first of them."""
    places = len(pattern.places)
    if places > PHASES:
        row = row_of(pattern, min(links, places), closed=False, face=face)
        return row, np.unique(np.linspace(0, len(row.kind) - 2, STRETCHES).round().astype(np.int64))
    whole = 180.0 if pattern.symmetric else 360.0
    turns = pattern.turn_deg * np.arange(1, PHASES + 1) / whole
    again = np.flatnonzero(np.abs(turns - turns.round()) < 1e-9)
    phases = int(again[0]) + 1 if len(again) else PHASES
    # Bodies further on, two for every station that a link can reach, are enough for a partner to every first one.
    beyond = 2 * (2 * max(step for _, step in pattern.linked) + 2)
    row = row_of(pattern, min(links, places * phases + beyond), closed=False, face=face)
    return row, np.arange(min(len(row.kind), places * phases))
