"""Where solids meet: elements that are joined because one solid ends inside another."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..solid.mesh import FloatArray, IntArray
from .nearest_element import Elements
from .network import BUTTON, LINK, TRUNK, Owner
from .occupied import Cells, Occupied
from .part import Part

# Places where two solids meet over fewer cells than this share of their best are the rim of that one.
RIM = 0.25
# Velocity heads: a sharp-edged entrance 0.5; a square turn into or out of a branch 1.0. Handbook figures for fittings
# (Crane, Technical Paper 410; Perry, Chemical Engineers' Handbook, section 6), from memory.
ENTRY, TURN = 0.5, 1.0
_LOSS = {
    frozenset(("ring", "gate")): ENTRY,
    frozenset(("upper", "gate")): ENTRY,
    frozenset(("post", "gate")): ENTRY,
    frozenset(("ring", "post")): ENTRY,
    frozenset(("hub", "spoke")): ENTRY,
    frozenset(("hub", "ring")): ENTRY,
    frozenset((TRUNK, BUTTON)): ENTRY,
}


@dataclass(frozen=True, slots=True, eq=False)
class Meetings:
    """Places (q, 3) where one owner's metal ends inside another's: ``joints`` (q, 2) elements, ``section_mm2``."""

    at: FloatArray
    joints: IntArray
    section_mm2: FloatArray


def loss_between(one: Owner, other: Owner) -> float:
    """Give the velocity heads lost where metal runs from one owner into another."""
    return _LOSS.get(frozenset((one.kind, other.kind)), TURN)


def meetings(
    grid: Occupied, cells: Cells, parts: Sequence[Part], owners: Sequence[Owner], elements: Elements
) -> Meetings:
    """Find who meets whom, by the cells that two claim and by the ends of axes; ``parts`` and ``owners`` in order."""
    lost = np.flatnonzero(~cells.kept)
    ends = np.concatenate([p.ends for p in parts])
    whose = np.repeat(np.arange(len(parts)), [len(p.ends) for p in parts])
    into = grid.at(ends).astype(np.int64) - 1
    other = np.flatnonzero((into >= 0) & (into != whose))
    at = np.concatenate((cells.at[lost], ends[other]))
    loser = np.concatenate((cells.owner[lost], whose[other]))
    winner = np.concatenate((grid.label.ravel()[cells.index[lost]].astype(np.int64) - 1, into[other]))
    of = elements.nearest(at, loser)
    key, which = np.unique(of * len(parts) + winner, return_inverse=True)
    many = np.bincount(which, minlength=len(key))
    middle = np.stack([np.bincount(which, at[:, k], minlength=len(key)) for k in range(3)], axis=1) / many[:, None]
    of, winner = np.divmod(key, len(parts))
    owner = np.searchsorted(elements.first, of, side="right") - 1
    pair, member = np.unique(owner * len(parts) + winner, return_inverse=True)
    best = np.zeros(len(pair))
    np.maximum.at(best, member, many)
    chosen = np.flatnonzero(many >= RIM * best[member])
    of, winner, owner, middle = of[chosen], winner[chosen], owner[chosen], middle[chosen]
    into = elements.nearest(middle, winner)
    sections = [
        _section(parts[a], parts[b], owners[a], owners[b], int(i - elements.first[a]), int(j - elements.first[b]), p)
        for a, b, i, j, p in zip(owner.tolist(), winner.tolist(), of, into, middle, strict=True)
    ]
    return Meetings(middle, np.stack((of, into), axis=1).reshape(-1, 2), np.array(sections, dtype=np.float64))


def _section(one: Part, other: Part, own: Owner, into: Owner, i: int, j: int, at: FloatArray) -> float:
    """Give the smallest section where element ``i`` of one ends in ``j`` of another, at a place (3,)."""
    if own.kind == "hub":
        # A disc meets a ring all along it.
        return float(min(other.length_mm[j] * other.bore_mm[j], one.section_mm2[i]))
    mine = float(one.section_mm2[i])
    if len(one.ends):
        away = np.linalg.norm(one.ends - at, axis=1)
        end = int(away.argmin())
        if away[end] < 2 * one.bore_mm[i]:
            mine = float(one.end_mm2[end])
    return mine if into.kind == "hub" else min(mine, _passable(other, j, into))


def _passable(part: Part, j: int, owner: Owner) -> float:
    # Metal that comes in from the side leaves both ways along a wire or ring.
    return float(part.section_mm2[j]) * (2.0 if owner.kind in (LINK, "ring", "upper") else 1.0)
