"""Which small cells of space are metal, and whose: a grid kept only for the columns that hold metal.

Upright lines through the middles of the cells are met with all triangles; a cell is metal where the line's middle lies
inside, by winding number, so that shells may lie in each other. Where two solids overlap, the one of higher rank has
the cell.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..base.progress import Steps
from ..solid.mesh import FloatArray, IntArray

# Cells are laid off the round places that drawn shapes like, so that few lines meet an edge.
_ASIDE = (0.4142135623, 0.7320508075, 0.2360679774)
# Candidates of line and triangle looked at at a time.
_PAIRS = 1 << 19
# Heights are put in order to this part of a cell.
_FINE = 4096


@dataclass(frozen=True, slots=True, eq=False)
class Cells:
    """Cells inside solids, sorted by solid: ``owner`` (c,), their middles ``at`` (c, 3), their ``index`` in the grid.

    ``kept`` (c,): the cell is this owner's; else one of higher rank has it.
    """

    owner: IntArray
    at: FloatArray
    index: IntArray
    kept: npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class Occupied:
    """Labels of cells of width ``h_mm``, the first with its corner at ``low`` (3,): 0 for mould, else owner plus 1.

    ``row`` (nx, ny) tells where each column's cells lie in ``label`` (rows, nz); row 0 is empty.
    """

    low: FloatArray
    h_mm: float
    row: npt.NDArray[np.int32]
    label: npt.NDArray[np.int32]

    def at(self, points: FloatArray) -> npt.NDArray[np.int32]:
        """Give the labels at points (p, 3) mm, 0 for those outside the grid."""
        last = np.array([*self.row.shape, self.label.shape[1]]) - 1
        return self.labels(np.clip((points - self.low) * (1.0 / self.h_mm), 0, last))

    def labels(self, places: FloatArray) -> npt.NDArray[np.int32]:
        """Give the labels at places (p, 3) counted in cells from ``low``, none of them outside the grid."""
        x, y, z = places.T.astype(np.int32)
        x *= self.row.shape[1]
        x += y
        index = self.row.ravel()[x].astype(np.int64)
        index *= self.label.shape[1]
        index += z
        found: npt.NDArray[np.int32] = self.label.ravel()[index]
        return found


def occupied(
    points: FloatArray, triangles: IntArray, owner: IntArray, rank: IntArray, h_mm: float, margin_mm: float = 0.0
) -> Steps[tuple[Occupied, Cells]]:
    """Fill the cells of closed solids: ``points`` (n, 3), ``triangles`` (t, 3) that look outward and whose they are.

    ``owner`` (t,); ``rank`` (owners,) of each owner. The grid reaches ``margin_mm`` further than the metal.
    """
    low = points.min(axis=0) - margin_mm - h_mm * (2.0 + np.array(_ASIDE))
    places = (points - low) / h_mm - 0.5
    shape = np.ceil(places.max(axis=0) + margin_mm / h_mm).astype(np.int64) + 3
    count = int(shape[0] * shape[1])
    yield 0.05
    met: list[tuple[IntArray, FloatArray, IntArray]] = []
    for share, some in _batches(places, triangles):
        tri, x, y, z, up = _met(places, triangles, some)
        met.append((owner[tri] * count + x * shape[1] + y, z, up))
        yield 0.7 * share
    column, z, up = (np.concatenate(parts) for parts in zip(*met, strict=True))
    yield 0.72
    order = np.argsort(column * (int(shape[2]) * _FINE) + (z * _FINE).astype(np.int64))
    yield 0.76
    column, z, up = column[order], z[order], up[order]
    yield 0.8
    # A line enters through faces that look down. Of a solid that is not closed, columns may have no way out.
    depth = -np.cumsum(up)
    first = np.flatnonzero(np.diff(column, prepend=-1))
    size = np.diff(np.append(first, len(column)))
    before = np.append(0, depth)[first]
    sound = depth[first + size - 1] == before
    inside = (depth > np.repeat(before, size)) & np.repeat(sound, size)
    begin = np.flatnonzero(inside)
    start, stop = np.ceil(z[begin]).astype(np.int64), np.ceil(z[begin + 1]).astype(np.int64)
    tall = stop - start
    whose, flat = np.divmod(column[begin], count)
    row = np.zeros(count, dtype=np.int32)
    row[flat] = 1
    filled = np.flatnonzero(row)
    row[filled] = np.arange(1, len(filled) + 1, dtype=np.int32)
    label = np.zeros((len(filled) + 1) * int(shape[2]), dtype=np.int32)
    k = np.arange(tall.sum()) + np.repeat(start - np.cumsum(tall) + tall, tall)
    whose, flat = np.repeat(whose, tall), np.repeat(flat, tall)
    yield 0.85
    index = row[flat] * shape[2] + k
    yield 0.9
    ranks = rank[whose]
    for one in np.unique(rank):
        chosen = np.flatnonzero(ranks == one)
        label[index[chosen]] = whose[chosen] + 1
        yield 0.95
    at = np.stack((flat // shape[1], flat % shape[1], k), axis=1)
    cells = Cells(whose, low + h_mm * (at + 0.5), index, label[index] == whose + 1)
    return Occupied(low, h_mm, row.reshape(shape[0], shape[1]), label.reshape(-1, shape[2])), cells


def _batches(places: FloatArray, triangles: IntArray) -> Iterator[tuple[float, IntArray]]:
    """Give the share done and triangles that lines may meet, so many at a time that what meets fits; at first none."""
    x, y = np.ceil(places[:, 0]).astype(np.int32), np.ceil(places[:, 1]).astype(np.int32)
    wide = _span(x, triangles)
    yield 0.05, np.zeros(0, dtype=np.int64)
    deep = _span(y, triangles)
    yield 0.1, np.zeros(0, dtype=np.int64)
    some = np.flatnonzero((wide > 0) & (deep > 0))
    reach = np.cumsum(wide[some] * deep[some])
    start = 0
    while start < len(some):
        done = reach[start - 1] if start else 0
        stop = max(start + 1, int(np.searchsorted(reach, done + _PAIRS, side="right")))
        yield 0.1 + 0.9 * stop / len(some), some[start:stop]
        start = stop


def _span(numbers: npt.NDArray[np.int32], triangles: IntArray) -> npt.NDArray[np.int32]:
    a, b, c = (numbers[t] for t in triangles.T)
    return np.asarray(np.maximum(np.maximum(a, b), c) - np.minimum(np.minimum(a, b), c))


def _met(
    places: FloatArray, triangles: IntArray, some: IntArray
) -> tuple[IntArray, IntArray, IntArray, FloatArray, IntArray]:
    """Give where lines meet triangles: triangle, column x and y, height, and whether it looks up (1) or down (-1).

    Every triangle is cut by planes of one x, and the lines in it lie between two of its edges. Edges run from left to
    right: what two triangles share they reckon alike, so that no line slips through or counts twice.
    """
    a, b, c = (places[t] for t in triangles[some].T)
    ab, ac = b - a, c - a
    turned = ab[:, 0] * ac[:, 1] - ab[:, 1] * ac[:, 0]
    flat = np.where(turned == 0.0, 1.0, turned)
    rise_x = (ab[:, 2] * ac[:, 1] - ac[:, 2] * ab[:, 1]) / flat
    rise_y = (ac[:, 2] * ab[:, 0] - ab[:, 2] * ac[:, 0]) / flat
    level = a[:, 2] - rise_x * a[:, 0] - rise_y * a[:, 1]
    (ax, ay), (bx, by), (cx, cy) = a[:, :2].T, b[:, :2].T, c[:, :2].T
    ax, ay, bx, by = _in_order(ax, ay, bx, by)
    bx, by, cx, cy = _in_order(bx, by, cx, cy)
    ax, ay, bx, by = _in_order(ax, ay, bx, by)
    begin = np.ceil(ax).astype(np.int64)
    wide = np.ceil(cx).astype(np.int64) - begin
    tri = np.repeat(np.arange(len(some)), wide)
    x = np.arange(len(tri)) + np.repeat(begin - np.cumsum(wide) + wide, wide)
    with np.errstate(divide="ignore", invalid="ignore"):
        long, left, right = (cy - ay) / (cx - ax), (by - ay) / (bx - ax), (cy - by) / (cx - bx)
    past = x >= bx[tri]
    one = ay[tri] + (x - ax[tri]) * long[tri]
    other = np.where(past, by[tri] + (x - bx[tri]) * right[tri], ay[tri] + (x - ax[tri]) * left[tri])
    one, other = np.ceil(one).astype(np.int64), np.ceil(other).astype(np.int64)
    begin, deep = np.minimum(one, other), np.abs(one - other)
    y = np.arange(deep.sum()) + np.repeat(begin - np.cumsum(deep) + deep, deep)
    x, tri = np.repeat(x, deep), np.repeat(tri, deep)
    z = level[tri] + rise_x[tri] * x + rise_y[tri] * y
    return some[tri], x, y, z, np.where(turned[tri] > 0, 1, -1)


def _in_order(
    ax: FloatArray, ay: FloatArray, bx: FloatArray, by: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Put the one further left first; of two above each other the lower."""
    keep = (ax < bx) | ((ax == bx) & (ay <= by))
    return np.where(keep, ax, bx), np.where(keep, ay, by), np.where(keep, bx, ax), np.where(keep, by, ay)
