"""The nearest of an owner's own elements."""

from dataclasses import dataclass

import numpy as np

from ..solid.mesh import FloatArray, IntArray

# Owners of more elements are searched by coarse boxes first, each with so many candidates.
_FEW, _CANDIDATES = 10, 5


@dataclass(frozen=True, slots=True, eq=False)
class Elements:
    """Middles ``at`` (n, 3) of elements, sorted by owner; those of owner k are ``first[k]`` to ``first[k + 1]``."""

    at: FloatArray
    first: IntArray

    def nearest(self, points: FloatArray, owner: IntArray) -> IntArray:
        """Give the nearest element of its own ``owner`` (p,) to each point (p, 3); -1 where the owner has none."""
        count = np.diff(self.first)
        found = np.full(len(points), -1, dtype=np.int64)
        mine = count[owner]
        few = np.flatnonzero((mine > 0) & (mine <= _FEW))
        found[few] = self._least(points[few], self.first[owner[few]], mine[few])
        many = np.flatnonzero(mine > _FEW)
        for one in np.unique(owner[many]):
            rows = many[owner[many] == one]
            found[rows] = self._by_boxes(points[rows], int(self.first[one]), int(self.first[one + 1]))
        return found

    def _least(self, points: FloatArray, first: IntArray, count: IntArray) -> IntArray:
        best, least = first.copy(), np.full(len(points), np.inf)
        for k in range(int(count.max(initial=0))):
            rows = np.flatnonzero(count > k)
            off = points[rows] - self.at[first[rows] + k]
            away = np.einsum("ij,ij->i", off, off)
            nearer = away < least[rows]
            least[rows[nearer]] = away[nearer]
            best[rows[nearer]] = first[rows[nearer]] + k
        return best

    def _by_boxes(self, points: FloatArray, begin: int, end: int) -> IntArray:
        at = self.at[begin:end]
        width = max(float(np.median(np.linalg.norm(np.diff(at, axis=0), axis=1))), 1e-9)
        box = np.floor((points - points.min(axis=0)) / width).astype(np.int64)
        span = box.max(axis=0) + 1
        key = (box[:, 0] * span[1] + box[:, 1]) * span[2] + box[:, 2]
        number = np.zeros(int(span.prod()), dtype=np.int64)
        number[key] = 1
        boxes = np.flatnonzero(number)
        number[boxes] = np.arange(len(boxes))
        which = number[key]
        middle = np.stack((boxes // (span[1] * span[2]), boxes // span[2] % span[1], boxes % span[2]), axis=1) + 0.5
        middle = points.min(axis=0) + width * middle
        away = (middle**2).sum(axis=1)[:, None] - 2 * middle @ at.T + (at**2).sum(axis=1)
        near = np.argpartition(away, min(_CANDIDATES, len(at)) - 1, axis=1)[:, :_CANDIDATES]
        best, least = np.zeros(len(points), dtype=np.int64), np.full(len(points), np.inf)
        for column in near.T:
            tried = column[which]
            off = points - at[tried]
            d = np.einsum("ij,ij->i", off, off)
            nearer = d < least
            least = np.where(nearer, d, least)
            best = np.where(nearer, tried, best)
        return begin + best
