"""Small pieces of surface, each with its middle, its outward normal and its area."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ..solid.mesh import FloatArray, IntArray, Pose

# Size of a shape's pieces over the fine cells they are looked at with.
PIECE = 2.0
# Pieces that are given away one by one are so much smaller.
SMALL = 0.3


@dataclass(frozen=True, slots=True, eq=False)
class SurfacePoints:
    """Pieces of surface: ``at`` and ``normal`` (p, 3), ``area_mm2`` (p,), and whose they are, ``of`` (p,)."""

    at: FloatArray
    normal: FloatArray
    area_mm2: FloatArray
    of: IntArray

    def posed(self, pose: Pose) -> tuple[FloatArray, FloatArray]:
        """Give places and normals in the world."""
        return pose.apply(self.at), self.normal @ pose.rotation.T


def surface_points(points: FloatArray, triangles: IntArray, of: IntArray, size_mm: float) -> SurfacePoints:
    """Cut triangles (t, 3) up and gather them to pieces of about ``size_mm``; pieces of different ``of`` stay apart.

    ``points`` (n, 3), ``of`` (t,). Areas sum up to those of the triangles.
    """
    return gathered(*_pieces(points, triangles, of, size_mm), size_mm)


def given_to(
    points: FloatArray, triangles: IntArray, size_mm: float, whose: Callable[[FloatArray, FloatArray], IntArray]
) -> SurfacePoints:
    """Do as `surface_points`, with small pieces given away one by one: ``whose`` takes places and normals (p, 3)."""
    none = np.zeros(len(triangles), dtype=np.int64)
    at, twice, area, _ = _pieces(points, triangles, none, SMALL * size_mm)
    return gathered(at, twice, area, whose(at, twice / (2 * area[:, None])), size_mm)


def gathered(at: FloatArray, twice: FloatArray, area: FloatArray, of: IntArray, size_mm: float) -> SurfacePoints:
    """Gather pieces: middles and normals twice as long as their areas (p, 3), areas and ``of`` (p,)."""
    facing = way_of(twice)
    cell = ((at - at.min(axis=0)) * (1.0 / size_mm)).astype(np.int64)
    span = cell.max(axis=0) + 1
    key = (((of * span[0] + cell[:, 0]) * span[1] + cell[:, 1]) * span[2] + cell[:, 2]) * 6 + facing
    order = np.argsort(key)
    first = np.flatnonzero(np.diff(key[order], prepend=-1))
    rows = np.column_stack((at * area[:, None], twice, area))[order]
    sums = np.add.reduceat(rows, first, axis=0)
    whose = of[order][first]
    kept = sums[:, 6] > 0.0
    if not kept.all():
        sums, whose = sums[kept], whose[kept]
    long = np.sqrt((sums[:, 3:6] ** 2).sum(axis=1, keepdims=True))
    return SurfacePoints(sums[:, :3] / sums[:, 6:], sums[:, 3:6] / np.maximum(long, 1e-300), sums[:, 6], whose)


def way_of(vectors: FloatArray) -> IntArray:
    """Tell which of the six ways along the axes each vector (p, 3) looks most, 0 to 5."""
    up = (vectors > 0).astype(np.int64)
    x, y, z = np.abs(vectors).T
    level = np.where(x > y, up[:, 0], 2 + up[:, 1])
    return np.asarray(np.where(z > np.maximum(x, y), 4 + up[:, 2], level))


def _pieces(
    points: FloatArray, triangles: IntArray, of: IntArray, size_mm: float
) -> tuple[FloatArray, FloatArray, FloatArray, IntArray]:
    """Slice triangles across their longest edge: middles, normals, areas, and whose they are.

    Triangles that are too high over that edge are halved first.
    """
    done: list[tuple[FloatArray, FloatArray, FloatArray, IntArray]] = []
    a, b, c = (points[t] for t in triangles.T)
    while len(a):
        a, b, c = _longest_first(a, b, c)
        ab, ac = b - a, c - a
        twice = _cross(ab, ac)
        double = np.sqrt(_dot(twice, twice))
        long = np.sqrt(_dot(ab, ab))
        low = double <= size_mm * long
        some = np.flatnonzero(low & (double > 0.0))
        done.append(_slices(a[some], ab[some], ac[some], twice[some], double[some] / 2, of[some], long[some] / size_mm))
        high = np.flatnonzero(~low)
        a, b, c, of = a[high], b[high], c[high], np.tile(of[high], 2)
        middle = (a + b) / 2
        a, b, c = np.concatenate((a, middle)), np.concatenate((middle, b)), np.concatenate((c, c))
    at, twice, area, whose = (np.concatenate(parts) for parts in zip(*done, strict=True))
    return at, twice, area, whose


def _slices(
    a: FloatArray, ab: FloatArray, ac: FloatArray, twice: FloatArray, area: FloatArray, of: IntArray, many: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, IntArray]:
    count = np.maximum(np.ceil(many), 1.0).astype(np.int64)
    top = np.clip(_dot(ab, ac) / _dot(ab, ab), 1e-9, 1 - 1e-9)
    up = ac - top[:, None] * ab
    tri = np.repeat(np.arange(len(a)), count)
    number = np.arange(len(tri)) - np.repeat(np.cumsum(count) - count, count)
    step = 1.0 / count[tri]
    start = number * step
    middle, top = start + step / 2, top[tri]
    share = _before(start + step, top) - _before(start, top)
    wide = np.minimum(middle / top, (1 - middle) / (1 - top)) / 2
    at = a[tri] + middle[:, None] * ab[tri] + wide[:, None] * up[tri]
    return at, twice[tri] * share[:, None], area[tri] * share, of[tri]


def _before(t: FloatArray, top: FloatArray) -> FloatArray:
    """Give the share of a triangle's area before a place along its edge; its top stands over ``top``."""
    return np.where(t < top, t * t / top, 1 - (1 - t) ** 2 / (1 - top))


def _longest_first(a: FloatArray, b: FloatArray, c: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    one, two, three = (_dot(e, e) for e in (b - a, c - b, a - c))
    second = ((two > one) & (two >= three))[:, None]
    third = ((three > one) & (three > two))[:, None]
    return (
        np.where(second, b, np.where(third, c, a)),
        np.where(second, c, np.where(third, a, b)),
        np.where(second, a, np.where(third, b, c)),
    )


def _dot(a: FloatArray, b: FloatArray) -> FloatArray:
    return np.asarray(np.einsum("ij,ij->i", a, b))


def _cross(a: FloatArray, b: FloatArray) -> FloatArray:
    (ax, ay, az), (bx, by, bz) = a.T, b.T
    return np.stack((ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx), axis=1)
