"""How far bodies reach along the 13 lines of the 26 directions, and which of them may overlap."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..base.progress import Steps
from ..solid.mesh import Body, FloatArray, IntArray
from .freeing import PAD_MM, axes, frame

# Pairs filtered, and points measured, at a time.
CHUNK = 1 << 16
POINTS = 1 << 16


@dataclass(frozen=True, slots=True, eq=False)
class Extents:
    """The reach of bodies as seen along each of 13 lines: ``low`` and ``high`` (n, 13, 3): across, up, along, mm."""

    low: FloatArray
    high: FloatArray

    def of_groups(self, group: IntArray, count: int) -> "Extents":
        """Give the reach of ``count`` groups of these bodies; ``group`` (n,) names each body's."""
        low = np.full((count, *self.low.shape[1:]), np.inf)
        high = np.full((count, *self.high.shape[1:]), -np.inf)
        np.minimum.at(low, group, self.low)
        np.maximum.at(high, group, self.high)
        return Extents(low, high)

    def only(self, bodies: IntArray) -> "Extents":
        """Give the reach of some of the bodies."""
        return Extents(self.low[bodies], self.high[bodies])

    def overlapping(self) -> Steps[IntArray]:
        """Give the pairs (p, 2), lower number first, in order, that no plane across one of the 13 lines keeps apart."""
        low, high = self.low[..., 2], self.high[..., 2] + PAD_MM
        order = np.argsort(low, axis=0, kind="stable")
        followers = [
            np.searchsorted(low[order[:, axis], axis], high[order[:, axis], axis], side="right")
            - np.arange(len(low))
            - 1
            for axis in range(low.shape[1])
        ]
        best = int(np.argmin([count.sum() for count in followers]))
        count, rank = followers[best], order[:, best]
        ends = np.cumsum(count)
        found = [np.zeros((0, 2), dtype=np.int64)]
        begin = 0
        while begin < len(count):
            before = int(ends[begin - 1]) if begin else 0
            end = max(begin + 1, int(np.searchsorted(ends, before + CHUNK, side="right")))
            rows = np.repeat(np.arange(begin, end), count[begin:end])
            inner = np.arange(len(rows)) - np.repeat(ends[begin:end] - count[begin:end] - before, count[begin:end])
            one, other = rank[rows], rank[rows + 1 + inner]
            meet = (low[one] <= high[other]).all(axis=1) & (low[other] <= high[one]).all(axis=1)
            found.append(np.sort(np.stack([one[meet], other[meet]], axis=1), axis=1))
            begin = end
            yield begin / len(count)
        pairs = np.concatenate(found)
        return np.asarray(pairs[np.lexsort((pairs[:, 1], pairs[:, 0]))])


def extents(bodies: Sequence[Body]) -> Steps[Extents]:
    """Measure how far every body reaches along the 13 lines and across them."""
    rows = np.concatenate([frame(axis) for axis in axes()])
    low, high = np.empty((len(bodies), len(rows))), np.empty((len(bodies), len(rows)))
    for number, body in enumerate(bodies):
        turned = rows @ body.pose.rotation
        shift = rows @ body.pose.origin
        low[number], high[number] = np.inf, -np.inf
        for begin in range(0, len(body.mesh.points), POINTS):
            reach = turned @ body.mesh.points[begin : begin + POINTS].T
            np.minimum(low[number], reach.min(axis=1) + shift, out=low[number])
            np.maximum(high[number], reach.max(axis=1) + shift, out=high[number])
            yield number / len(bodies)
    return Extents(low.reshape(len(bodies), 13, 3), high.reshape(len(bodies), 13, 3))
