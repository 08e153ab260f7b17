"""The tightest even curve a chain can lie on: bent evenly from straight until any two links near each other meet."""

from dataclasses import dataclass

import numpy as np

from ..base.progress import Steps, part
from ..solid.mesh import FloatArray, IntArray
from .chain import Chain
from .motion import Metal, Motions, best_slide, first_contact
from .placed import near_stations
from .row import Row
from .turning import bend, roll

FINE_RAD = float(np.radians(0.05))
# Links stand apart by less than the circle's diameter: no joint bends further than this.
MOST_RAD = float(np.radians(170.0))
# Where links are turned against the face in many ways, or all are unlike, so many first ones are looked at.
MOST_FIRSTS = 8
UNLIKE_FIRSTS = 4
# To either side over the face, then to either side edgewise.
OVER = np.array([True, True, False, False])
SIGNS = np.array([1.0, -1.0, 1.0, -1.0])


@dataclass(frozen=True, slots=True, eq=False)
class _Pairs:
    """Links that stand near each other in the row, p pairs.

    ``kinds`` (p, 2), ``turns`` (p, 2, 3, 3), ``aside`` (p, 2, 3); ``types`` (p, k) the joints between their stations,
    -1 past the last.
    """

    kinds: IntArray
    turns: FloatArray
    aside: FloatArray
    types: IntArray


def least_radii(chain: Chain, metal: Metal) -> Steps[tuple[float, float]]:
    """Find the radius in mm of the tightest even curve (over the face, edgewise), to the worse side of each.

    All joints are slid alike, from pushed together to pulled apart, to where most is allowed. A chain that is free
    only as bent as it is laid out is bent on from there. Infinite where no bend is free.
    """
    pairs = _near(chain)
    if pairs is None:
        return np.inf, np.inf
    radii = np.full(4, np.inf)
    bent = np.radians(np.repeat(chain.bends_deg, 2)) * (SIGNS > 0)
    for k, start in enumerate((np.zeros(4), bent)):
        blocked = np.flatnonzero(~np.isfinite(radii) & ((k == 0) | (start > 0)))
        if len(blocked):
            found = yield from part(_tightest(chain, metal, pairs, blocked, start[blocked]), k / 2, (k + 1) / 2)
            radii[blocked] = found
    return float(radii[:2].max()), float(radii[2:].max())


def forward(row: Row, a: int, b: int) -> tuple[int, int]:
    """Put two bodies in the order in which the chain runs from one to the other by the shorter way."""
    a, b = int(a), int(b)
    if row.closed and 2 * (int(row.station[b] - row.station[a]) % row.stations) > row.stations:
        return b, a
    return a, b


def types_between(row: Row, a: int, b: int) -> list[int]:
    """Give the types of the joints from the station of one body forward to that of another."""
    first, last = int(row.station[a]), int(row.station[b])
    last += row.stations if last < first else 0
    return [int(row.joint[station % row.stations]) for station in range(first, last)]


def _tightest(chain: Chain, metal: Metal, pairs: _Pairs, sides: IntArray, start: FloatArray) -> Steps[FloatArray]:
    """Find the least radius (d,) to some sides, each bent from ``start`` (d,) radians on."""
    pitch = np.array([fit.pitch_mm for fit in chain.fits])
    pushed, pulled = (np.array([getattr(fit, end) for fit in chain.fits]) for end in ("pushed_mm", "pulled_mm"))
    inward = np.where(np.isfinite(pushed), pitch - pushed, 0.0)
    outward = np.where(np.isfinite(pulled), pulled - pitch, 0.0)

    d = len(sides)

    def laid(share: FloatArray) -> FloatArray:
        return np.asarray(pitch + share[:, None] * np.where(share[:, None] < 0, inward, outward))

    def gaps(rows: IntArray, shares: FloatArray, bends: FloatArray) -> FloatArray:
        return _bending(metal, pairs, sides[rows], laid(shares), start[rows]).least(bends)

    printed = np.zeros(d)
    begun = _bending(metal, pairs, sides, laid(printed), start)
    bends = yield from part(first_contact(begun), 0.0, 0.3)
    gap = gaps(np.arange(d), printed, printed)
    most = float((MOST_RAD - start).min())
    best = yield from part(best_slide(gaps, -np.ones(d), np.ones(d), np.minimum(bends, most), gap, most), 0.3, 0.6)
    further = yield from part(first_contact(_bending(metal, pairs, sides, laid(best), start)), 0.6, 1.0)
    radius = np.full(d, np.inf)
    for share, ends in ((printed, bends), (best, further)):
        bent = np.sin(np.minimum(start + ends, MOST_RAD) / 2)
        there = laid(share).max(axis=1) / np.where(ends > 0, 2 * bent, np.inf)
        radius = np.minimum(radius, np.where(ends > 0, there, np.inf))
    return radius


def _bending(metal: Metal, pairs: _Pairs, side: IntArray, pitches: FloatArray, begin: FloatArray) -> Motions:
    """Bend m chains evenly: their ``side``, the pitches (m, t) of their joints, and the bend they begin with.

    What grows is the bend of the joint of the longest pitch, the others' bends and all places follow.
    """
    m, p = len(side), len(pairs.kinds)
    group, pair = np.repeat(np.arange(m), p), np.tile(np.arange(p), m)
    types = pairs.types[pair]
    chords = np.where(types >= 0, np.take_along_axis(pitches[group], np.maximum(types, 0), axis=1), 0.0)
    longest = pitches.max(axis=1)[group]
    over, sign, begins = OVER[side][group], SIGNS[side][group], begin[group]
    kinds, turns, aside = pairs.kinds[pair], pairs.turns[pair], pairs.aside[pair]
    back = turns[:, 0].transpose(0, 2, 1)
    reach = np.array([metal.solids[int(kind)].reach_mm for kind in kinds[:, 1]]) + np.linalg.norm(aside[:, 1], axis=1)
    # A shorter joint bends by no more than its share of the longest, a chord turns by the bends before it and half its
    # own: no point travels faster than this.
    share = chords / longest[:, None]
    before = np.cumsum(share, axis=1) - share
    speed = (chords * (before + share / 2)).sum(axis=1) + reach * share.sum(axis=1)

    def posed(rows: IntArray, gone: FloatArray) -> tuple[IntArray, IntArray, FloatArray, FloatArray]:
        half = np.arcsin(share[rows] * np.sin((begins[rows] + gone) / 2)[:, None])
        after = 2 * np.cumsum(half, axis=1)
        ahead, frame = np.empty((*half.shape, 3)), np.empty((len(rows), 3, 3))
        for flag in (True, False):
            mine = over[rows] == flag
            signs = sign[rows][mine]
            ahead[mine] = bend(signs[:, None] * (after - half)[mine], over_face=flag)[..., 0]
            frame[mine] = bend(signs * after[mine, -1], over_face=flag)
        place = (ahead * chords[rows][..., None]).sum(axis=1)
        place += np.einsum("nij,nj->ni", frame, aside[rows, 1]) - aside[rows, 0]
        shift = np.einsum("nij,nj->ni", back[rows], place)
        return kinds[rows, 0], kinds[rows, 1], back[rows] @ frame @ turns[rows, 1], shift

    def gaps(rows: IntArray, gone: FloatArray) -> FloatArray:
        return metal.gaps(*posed(rows, gone))

    def least(gone: FloatArray) -> FloatArray:
        return metal.least_gaps(*posed(np.arange(len(group)), gone[group]), group)

    return Motions(gaps, least, speed, MOST_RAD - begins, np.full(len(group), FINE_RAD), group)


def _near(chain: Chain) -> _Pairs | None:
    """Give all unlike pairs of links near each other in the row, None where there are none."""
    row = chain.row
    n, whole = len(row.kind), np.pi if chain.pattern.symmetric else 2 * np.pi
    furthest = near_stations(row)
    found: dict[object, tuple[int, int, list[int]]] = {}
    for a in _firsts(chain):
        for b in range(a + 1, a + n if row.closed else n):
            types = types_between(row, a, b % n)
            if len(types) > furthest:
                break
            rolls = tuple(np.round(row.roll[[a, b % n]] % whole, 2).tolist())
            aside = tuple(np.round(row.aside_mm[[a, b % n]], 6).reshape(-1).tolist())
            found.setdefault((row.kind[a], row.kind[b % n], tuple(types), rolls, aside), (a, b % n, types))
    if not found:
        return None
    ends = np.array([(a, b) for a, b, _ in found.values()])
    joints = np.full((len(ends), furthest), -1, dtype=np.int64)
    for line, (_, _, types) in zip(joints, found.values(), strict=True):
        line[: len(types)] = types
    aside = np.concatenate((np.zeros((len(ends), 2, 1)), row.aside_mm[ends]), axis=2)
    return _Pairs(row.kind[ends], roll(row.roll[ends]), aside, joints)


def _firsts(chain: Chain) -> IntArray:
    """Give the bodies whose pairs with those further on stand for all: unlike by place in the pattern, or by roll."""
    row, places = chain.row, len(chain.pattern.places)
    if chain.spec.tapered:
        return np.unique(np.linspace(0, max(len(row.kind) - 2, 0), UNLIKE_FIRSTS).round().astype(np.int64))
    whole = np.pi if chain.pattern.symmetric else 2 * np.pi
    n = len(row.kind)
    key = np.stack((np.arange(n) % places, np.round(row.roll % whole, 2)), axis=1)
    # Near the end of an open chain some partners are missing, so the first of each kind is taken.
    first = np.sort(np.unique(key, axis=0, return_index=True)[1])
    return first[:: -(-len(first) // MOST_FIRSTS)]
