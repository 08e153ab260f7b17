"""What each piece of surface looks into: other metal at some distance, thick mould, or metal it is joined to."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..base.progress import Steps
from ..solid.mesh import FloatArray, IntArray
from .occupied import Occupied

# Lengths in cells: where the look begins, how far apart its places lie, and where it begins again.
BEGIN, STEP = 0.4, 0.8
AGAIN = 0.8
GOLDEN = (5**0.5 - 1) / 2
# A piece sees its own metal only past so many cells of mould.
OWN = 2.0


@dataclass(frozen=True, slots=True, eq=False)
class View:
    """What p pieces of surface look at: ``gap_mm`` (p,) inf for none; ``facing`` (p,) owner, -1 for none.

    ``covered`` (p,): metal of another solid that it is joined to lies on it.
    """

    gap_mm: FloatArray
    facing: IntArray
    covered: npt.NDArray[np.bool_]


def look_out(
    grid: Occupied,
    at: FloatArray,
    normal: FloatArray,
    owner: IntArray,
    joined: npt.NDArray[np.int64],
    owners: int,
    bodies: int,
    reach_mm: float,
) -> Steps[View]:
    """Look straight out of pieces of surface (p, 3), up to ``reach_mm``, by which the grid is wider than the metal.

    ``joined`` are the pairs of owners that meet, as lower * ``owners`` + higher, sorted; the first ``bodies`` owners
    are no struts.
    """
    gap = np.full(len(at), np.inf)
    facing = np.full(len(at), -1, dtype=np.int64)
    h = grid.h_mm
    seen = grid.at(at + BEGIN * h * normal)
    own = (owner + 1).astype(np.int32)
    # The cell there may still be the piece's own.
    again = np.flatnonzero(seen == own)
    seen[again] = grid.at(at[again] + AGAIN * h * normal[again])
    meets = np.flatnonzero((seen != 0) & (seen != own))
    other = seen[meets].astype(np.int64) - 1
    pair = np.minimum(owner[meets], other) * owners + np.maximum(owner[meets], other)
    # Struts keep their distance but at nodes, where what touches is one metal.
    on = np.isin(pair, joined) | ((owner[meets] >= bodies) & (other >= bodies))
    covered = grid.at(at - BEGIN * h * normal)
    covered = (covered != 0) & (covered != own)
    covered[meets[on]] = True
    gap[meets[~on]] = BEGIN * h / 2
    facing[meets[~on]] = other[~on]
    alive = np.flatnonzero(((seen == 0) | (seen == own)) & ~covered)
    clear = seen[alive] == 0
    ahead, mine = normal[alive], own[alive]
    # Looks begin at different places, so that flat faces do not all miss the cells' sides alike.
    shift = STEP * (np.mod(alive * GOLDEN, 1.0) - 0.5)
    places = (at[alive] - grid.low) / h + shift[:, None] * ahead
    reach = reach_mm / h
    walked = BEGIN
    while walked < reach and len(alive):
        walked = min(walked + STEP, reach)
        seen = grid.labels(places + walked * ahead)
        hit = (seen != 0) & ((seen != mine) | (clear & (walked > OWN)))
        rows = np.flatnonzero(hit)
        if len(rows):
            back = np.full(len(rows), walked)
            for part in (STEP / 2, STEP / 4):
                nearer = grid.labels(places[rows] + (back - part)[:, None] * ahead[rows]) == seen[rows]
                back = np.where(nearer, back - part, back)
            gap[alive[rows]] = h * np.minimum(back - STEP / 8 + shift[rows], reach)
            facing[alive[rows]] = seen[rows] - 1
            left = np.flatnonzero(~hit)
            clear |= seen == 0
            alive, places, ahead, shift = alive[left], places[left], ahead[left], shift[left]
            mine, clear = mine[left], clear[left]
        else:
            clear |= seen == 0
        yield walked / reach
    return View(gap, facing, covered)
