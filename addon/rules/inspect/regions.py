"""The connected regions of level sections: outer outline, holes, area, and a point inside each.

Metal is where loops go round more than nothing: winding number above 0, so bodies that overlap count once. Loops that
cross belong together and are judged as one.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..base.progress import Steps, part
from ..solid.mesh import FloatArray, IntArray
from ..solid.section import Sections, box_pairs, chunks, crossings, expanded, turns
from ..solid.weld import components

BoolArray = npt.NDArray[np.bool_]

# Pairs of loops, and of regions, worked on between two looks at the clock.
RUN = 4_000
PAIRS = 4_000
# Pieces of outline tested against each other between two looks at the clock.
PIECES = 40_000
# The upper of two layers is moved by this much, in no special direction, so that walls that stand straight do not lie
# on each other to the last digit.
NUDGE_MM = np.array([7.3e-8, 4.1e-8])


@dataclass(frozen=True, slots=True, eq=False)
class Regions:
    """The r regions of sections, sorted by layer.

    ``layer`` (r,), ``area_mm2`` (r,), ``inner`` (r, 2) a point inside, ``low`` and ``high`` (r, 2) bounds; ``loops``
    all their loops, region by region, ``begin`` (r + 1,) each region's run of them, the first an outer one.
    """

    of: Sections
    layer: IntArray
    area_mm2: FloatArray
    inner: FloatArray
    low: FloatArray
    high: FloatArray
    loops: IntArray
    begin: IntArray

    def holds(self, region: IntArray, points: FloatArray) -> BoolArray:
        """Tell whether region i holds point i: ``region`` (p,), ``points`` (p, 2)."""
        row, place = expanded(np.arange(len(region)), self.begin[region], self.begin[region + 1] - self.begin[region])
        counted = turns(self.of, points, row, self.loops[place])
        return np.bincount(row, weights=counted, minlength=len(region)) > 0.5


def regions(of: Sections, tested: Callable[[IntArray], BoolArray] | None = None) -> Steps[Regions]:
    """Find the regions of sections.

    ``tested`` tells of pairs of loops (p, 2) which are worth testing for a crossing, (p,), as `may_cross` does: loops
    of bodies that keep apart are not. None: all are.
    """
    pairs = box_pairs(of.layer, of.low, of.high, 0)
    yield 0.05
    pairs = pairs[pairs[:, 0] != pairs[:, 1]]
    once = pairs[pairs[:, 0] < pairs[:, 1]]
    if tested is not None:
        once = once[tested(once)]
    count = len(of.layer)
    yield 0.1
    crossed = [np.zeros((0, 3), dtype=np.int64)]
    for rows in chunks((of.begin[once + 1] - of.begin[once]).sum(axis=1), PIECES):
        crossed.append(crossings(of, once[rows], np.zeros(2)) + np.array([rows.start, 0, 0]))
        yield 0.1 + 0.5 * rows.stop / len(once)
    cross = np.concatenate(crossed)
    tied = once[cross[:, 0]]
    group = components(count, tied[:, 0], tied[:, 1])
    area = of.area_mm2.copy()
    knotted = np.bincount(group, minlength=count)[group] > 1
    area[knotted] = _outline_area(of, pairs, np.concatenate([cross[:, 1:], cross[:, :0:-1]]), group, knotted)[knotted]
    # How often the loops of no other group go round each group: the same all over it, since they do not cross it.
    apart = pairs[group[pairs[:, 0]] != group[pairs[:, 1]]]
    around = np.zeros(len(apart), dtype=np.int64)
    for rows in _runs(len(apart)):
        around[rows] = turns(of, of.start[of.begin[:-1]], apart[rows, 0], apart[rows, 1])
        yield 0.6 + 0.3 * rows.stop / len(apart)
    outside = np.bincount(apart[:, 0], weights=around, minlength=count).astype(np.int64)
    solid = np.zeros(count, dtype=bool)
    solid[group[of.area_mm2 > 0]] = True
    hollow = np.zeros(count, dtype=bool)
    hollow[group[of.area_mm2 < 0]] = True
    founds = solid[group] & (outside == 0)
    bores = hollow[group] & (outside == 1)
    owner = np.where(founds, group, -1)
    # A hole belongs to the smallest outline round it that founds a region.
    round_it = apart[(around > 0) & bores[apart[:, 0]] & founds[apart[:, 1]]]
    by_size = round_it[np.argsort(-of.area_mm2[round_it[:, 1]], kind="stable")]
    owner[by_size[:, 0]] = group[by_size[:, 1]]
    yield 0.9
    found = _gathered(of, owner, group, area)
    yield 1.0
    return found


def may_cross(body: IntArray, count: int, fused: Sequence[tuple[int, int]] | None) -> Callable[[IntArray], BoolArray]:
    """Give the test that keeps pairs of loops of bodies that may cross; ``body`` (k,) of each loop, -1 for no body's.

    ``fused``: the only pairs of the ``count`` bodies that touch or cross; None when nobody knows.
    """
    cross = np.full((count + 1, count + 1), fused is None)
    for a, b in fused or ():
        cross[a, b] = cross[b, a] = True
    cross[-1] = cross[:, -1] = False
    return lambda pairs: cross[body[pairs[:, 0]], body[pairs[:, 1]]]


def _runs(count: int) -> list[slice]:
    return [slice(begin, min(begin + RUN, count)) for begin in range(0, count, RUN)]


def _gathered(of: Sections, owner: IntArray, group: IntArray, area: FloatArray) -> Regions:
    loops = np.flatnonzero(owner >= 0)
    # Outer loops of the founding group first, the largest ahead; groups are named by their lowest loop, so by layer.
    order = np.lexsort((-of.area_mm2[loops], owner[loops] != group[loops], owner[loops]))
    loops = loops[order]
    first = np.flatnonzero(np.concatenate([np.ones(min(1, len(loops)), bool), np.diff(owner[loops]) != 0]))
    begin = np.append(first, len(loops))
    if len(first) == 0:
        flat = np.zeros((0, 2))
        return Regions(of, loops, np.zeros(0), flat, flat, flat, loops, begin)
    low = np.minimum.reduceat(of.low[loops], first)
    high = np.maximum.reduceat(of.high[loops], first)
    inner = _inner_points(of, loops, begin, (low[:, 1] + high[:, 1]) / 2.0)
    return Regions(
        of, of.layer[loops[first]], np.add.reduceat(area[loops], first), inner, low, high, loops, begin
    )  # fmt: skip


def _inner_points(of: Sections, loops: IntArray, begin: IntArray, level: FloatArray) -> FloatArray:
    """Give the middle of the widest stretch of metal on the line y = ``level`` (r,) through each region."""
    region = np.repeat(np.arange(len(level)), np.diff(begin))
    found: list[tuple[IntArray, FloatArray, IntArray]] = []
    for some in chunks(of.begin[loops + 1] - of.begin[loops]):
        row, piece = expanded(region[some], of.begin[loops[some]], of.begin[loops[some] + 1] - of.begin[loops[some]])
        (x0, y0), (x1, y1) = of.start[piece].T, of.start[of.following[piece]].T
        rises, falls = (y0 <= level[row]) & (level[row] < y1), (y1 <= level[row]) & (level[row] < y0)
        hit = np.flatnonzero(rises | falls)
        x = x0[hit] + (level[row[hit]] - y0[hit]) / (y1[hit] - y0[hit]) * (x1[hit] - x0[hit])
        # Going right, metal begins at a falling piece and ends at a rising one.
        found.append((row[hit], x, falls[hit].astype(np.int64) - rises[hit]))
    row, x, step = (np.concatenate(column) for column in zip(*found, strict=True))
    order = np.lexsort((-step, x, row))
    row, x, depth = row[order], x[order], np.cumsum(step[order])
    # Each region's steps add to nothing, so the running sum needs no restart.
    width = np.where((depth[:-1] > 0) & (row[:-1] == row[1:]), x[1:] - x[:-1], -1.0)
    widest = np.zeros(len(level), dtype=np.int64)
    by_width = np.argsort(width, kind="stable")
    widest[row[:-1][by_width]] = by_width
    return np.stack([(x[widest] + x[widest + 1]) / 2.0, level], axis=1)


def _outline_area(of: Sections, pairs: IntArray, cross: IntArray, group: IntArray, knotted: BoolArray) -> FloatArray:
    """Give each knotted loop's share of the area of metal: of its pieces only what bounds the metal counts.

    ``pairs`` (p, 2) loops whose boxes overlap, both ways; ``cross`` (c, 2) a piece and one that crosses it, both ways.
    """
    share = np.zeros(len(of.layer))
    piece = np.flatnonzero(knotted[of.loop])
    if len(piece) == 0:
        return share
    start, end = of.start[cross], of.start[of.following[cross]]
    along, other, apart = end[:, 0] - start[:, 0], end[:, 1] - start[:, 1], start[:, 1] - start[:, 0]
    at = (apart[:, 0] * other[:, 1] - apart[:, 1] * other[:, 0]) / (
        along[:, 0] * other[:, 1] - along[:, 1] * other[:, 0]
    )
    owner = np.concatenate([piece, cross[:, 0]])
    begin = np.concatenate([np.zeros(len(piece)), at])
    order = np.lexsort((begin, owner))
    owner, begin = owner[order], begin[order]
    stop = np.where(np.append(owner[1:] == owner[:-1], False), np.append(begin[1:], 1.0), 1.0)
    p = of.start[owner]
    step = of.start[of.following[owner]] - p
    middle = p + step * ((begin + stop) / 2.0)[:, None]
    loop = of.loop[owner]
    # Metal on the left: what others count at the middle, and one more for a loop that goes round its metal.
    firsts = np.searchsorted(pairs[:, 0], np.arange(len(of.layer) + 1))
    counted = (of.area_mm2[loop] > 0).astype(np.int64)
    row, place = expanded(np.arange(len(owner)), firsts[loop], firsts[loop + 1] - firsts[loop])
    around = turns(of, middle, row, pairs[place, 1])
    counted += np.bincount(row, weights=around, minlength=len(owner)).astype(np.int64)
    bounds = counted == 1
    # One origin for a whole group: its outline is closed only as a whole.
    p = p - of.low[group[loop]]
    a, b = p + step * begin[:, None], p + step * stop[:, None]
    twice = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    np.add.at(share, loop[bounds], twice[bounds] / 2.0)
    return share


def overlapping(found: Regions, pairs: IntArray) -> Steps[BoolArray]:
    """Tell which pairs (p, 2) of a region and one of the layer below it overlap, seen from above.

    They do when one holds the other's inner point or when their outlines cross; nearly all are settled by the points.
    """
    over = yield from part(overlapping_by_points(found, pairs), 0.0, 0.4)
    left = np.flatnonzero(~over)
    over[left] = yield from part(outlines_cross(found, pairs[left]), 0.4, 1.0)
    return over


def overlapping_by_points(found: Regions, pairs: IntArray) -> Steps[BoolArray]:
    """Tell which pairs (p, 2) of regions overlap for sure, since one holds the other's inner point."""
    over = np.zeros(len(pairs), dtype=bool)
    for begin in range(0, len(pairs), PAIRS):
        upper, lower = pairs[begin : begin + PAIRS].T
        some = found.holds(lower, found.inner[upper])
        yield begin / len(pairs)
        left = np.flatnonzero(~some)
        some[left] = found.holds(upper[left], found.inner[lower[left]])
        over[begin : begin + PAIRS] = some
        yield min(begin + PAIRS, len(pairs)) / len(pairs)
    return over


def outlines_cross(found: Regions, pairs: IntArray) -> Steps[BoolArray]:
    """Tell which pairs (p, 2) of a region and one of the layer below it have outlines that cross."""
    of = found.of
    counts = found.begin[pairs + 1] - found.begin[pairs]
    row, cell = expanded(np.arange(len(pairs)), np.zeros(len(pairs), dtype=np.int64), counts.prod(axis=1))
    one = found.loops[found.begin[pairs[row, 0]] + cell // counts[row, 1]]
    other = found.loops[found.begin[pairs[row, 1]] + cell % counts[row, 1]]
    meet = np.flatnonzero(((of.low[one] <= of.high[other]) & (of.low[other] <= of.high[one])).all(axis=1))
    loops = np.stack([one[meet], other[meet]], axis=1)
    met = np.zeros(len(pairs), dtype=bool)
    pieces = (of.begin[loops + 1] - of.begin[loops]).sum(axis=1)
    for some in chunks(pieces, PIECES):
        yield some.start / len(meet)
        cross = crossings(of, loops[some], NUDGE_MM)
        met[row[meet[some.start + cross[:, 0]]]] = True
    return met
