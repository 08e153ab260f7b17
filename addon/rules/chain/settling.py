"""Moving the pitches of a row that stands already until every pair of neighbours keeps the wanted gap."""

from collections.abc import Callable

import numpy as np

from ..solid.mesh import FloatArray, IntArray
from .measure import Measure
from .path import Path
from .placed import relative
from .row import Row, stood

ROUNDS = 12
# Bodies so many apart in the row are looked at.
NEIGHBOURS = 3
# What a moved pitch aims over the wanted gap, so that it stays there when its neighbours move too.
OVER_MM = 1e-4
# A gap that hardly hangs on the pitch is not chased further than this slope allows.
STEEP = 0.2


def settled(
    measure: Measure, row: Row, path_of: Callable[[FloatArray], Path], chords_mm: FloatArray, gap_mm: float
) -> tuple[FloatArray, Path]:
    """Move the chords (j,) between stations, on a path made of them, until no pair of neighbours lacks gap.

    Gives the chords and the path they make; where some pair still lacks gap after a dozen rounds, the last ones. Every
    chord between two bodies that lack gap grows or shrinks, as their gap does along the chain; one that is asked for
    both goes to the middle.
    """
    path = path_of(chords_mm)
    for _ in range(ROUNDS):
        lack, rise, pairs = _lacking(measure, row, path, gap_mm)
        if not len(lack):
            break
        chords_mm = _moved(chords_mm, row, lack, rise, pairs)
        path = path_of(chords_mm)
    return chords_mm, path


def _lacking(measure: Measure, row: Row, path: Path, gap_mm: float) -> tuple[FloatArray, FloatArray, IntArray]:
    """Find the neighbours that lack gap: by how much, how the gap grows along the chain, and which bodies (p, 2)."""
    rotations, origins = stood(row, path)
    n = len(row.kind)
    k = np.arange(n)
    pairs: IntArray = np.concatenate([np.stack((k, k + on), axis=1) for on in range(1, NEIGHBOURS + 1)])
    pairs = pairs % n if row.closed else pairs[pairs[:, 1] < n]
    turn, shift = relative(rotations, origins, pairs)
    away = np.sqrt((shift**2).sum(axis=1))
    reach = np.array([link.reach_mm for link in measure.links])[row.kind]
    close = away < reach[pairs].sum(axis=1) + gap_mm
    pairs, turn, shift, away = pairs[close], turn[close], shift[close], away[close]
    found = measure.pair_gaps(row.kind[pairs[:, 0]], row.kind[pairs[:, 1]], turn, shift)
    gap, rise = found.gap_mm, (found.towards * shift).sum(axis=1) / np.maximum(away, 1e-9)
    short = gap < gap_mm
    return gap_mm + OVER_MM - gap[short], rise[short], pairs[short]


def _moved(chords_mm: FloatArray, row: Row, lack: FloatArray, rise: FloatArray, pairs: IntArray) -> FloatArray:
    longer, shorter = np.zeros(len(chords_mm)), np.zeros(len(chords_mm))
    for need, slope, (a, b) in zip(lack, rise, pairs, strict=True):
        steps = int(row.station[b] - row.station[a]) % row.stations
        if not steps:
            continue
        joints = (int(row.station[a]) + np.arange(steps)) % row.stations
        target = longer if slope >= 0 else shorter
        target[joints] = np.maximum(target[joints], need / max(abs(float(slope)), STEEP) / steps)
    both = (longer > 0) & (shorter > 0)
    return np.asarray(chords_mm + np.where(both, (longer - shorter) / 2, longer - shorter))
