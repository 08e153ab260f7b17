"""A mesh made ready for distance questions, and the parts of two of them that can come near each other."""

import math
from dataclasses import dataclass

import numpy as np

from ..base.progress import Steps, finish
from .hierarchy import block_size, neighbours_first
from .mesh import FloatArray, IntArray, Mesh

# Triangles that are kept or left out together, so that blocks stay the compact clusters they were made as.
GROUP = block_size(1)

_SAMPLES = 64
_WALKS = 3


@dataclass(frozen=True, slots=True, eq=False)
class Prepared:
    """A mesh in the order of its clusters.

    ``mesh``: it, without points that belong to no triangle; ``points`` (3, n) mm, coordinate first; ``corners``
    (3, t): the three points of every triangle, in cluster order, the last one repeated up to whole groups; ``numbers``
    (t,): which triangle of ``mesh`` it is; ``axes`` (3, 3): the directions of the mesh's own box, as columns;
    ``reach_mm``: the farthest coordinate from the origin.
    """

    mesh: Mesh
    points: FloatArray
    corners: IntArray
    numbers: IntArray
    axes: FloatArray
    reach_mm: float


def prepare(mesh: Mesh) -> Prepared:
    """Make a mesh ready for `pair_gap`. Do it once for a mesh, however often it is posed."""
    return finish(preparing(mesh))


def preparing(mesh: Mesh) -> Steps[Prepared]:
    """Do as `prepare`, a step at a time."""
    mesh = _without_loose_points(mesh)
    points = np.ascontiguousarray(mesh.points.T)
    offset = points - points.mean(axis=1, keepdims=True)
    axes: FloatArray = np.linalg.eigh(offset @ offset.T)[1]
    turned = axes.T @ offset
    corners = np.ascontiguousarray(mesh.triangles.T)
    yield 0.0
    places = sum(turned.take(corner, axis=1) for corner in corners)
    yield 0.0
    order = yield from neighbours_first(places)
    missing = -len(order) % GROUP
    numbers = np.concatenate((order, np.full(missing, order[-1]))) if missing else order
    return Prepared(mesh, points, corners.take(numbers, axis=1), numbers, axes, float(np.abs(points).max()))


def _without_loose_points(mesh: Mesh) -> Mesh:
    """Leave out points that belong to no triangle: they are no part of the surface."""
    used = np.zeros(len(mesh.points), dtype=np.bool_)
    used[mesh.triangles] = True
    if used.all():
        return mesh
    return Mesh(mesh.points[used], (np.cumsum(used) - 1)[mesh.triangles])


def rough_gap(points_a: FloatArray, points_b: FloatArray) -> float:
    """Give a distance that occurs between two sets of points (3, n), near the smallest: no more than a start.

    The nearest of a few samples, then from point to nearest point, to and fro.
    """
    a, b = (p[:, :: math.ceil(p.shape[1] / _SAMPLES)] for p in (points_a, points_b))
    between = a[:, :, None] - b[:, None]
    at = b[:, int(np.einsum("ijk,ijk->jk", between, between).argmin()) % b.shape[1]]
    square = math.inf
    for _ in range(_WALKS):
        for points in (points_a, points_b):
            offset = points - at[:, None]
            squares = np.einsum("ij,ij->j", offset, offset)
            nearest = int(squares.argmin())
            at = points[:, nearest]
        if squares[nearest] >= square:
            break
        square = float(squares[nearest])
    return math.sqrt(square)


def groups_near(
    prepared: Prepared, points: FloatArray, other: FloatArray, axes: FloatArray, within_mm: float
) -> IntArray:
    """Give the groups of triangles that may come within a distance of another set of points.

    ``points`` (3, n): the mesh's points where it stands; ``other`` (3, m) the other's; ``axes`` (3, 3) unit directions
    as columns. A triangle stays unless all its corners lie off the same side of the other's extent along one of them.
    """
    extent = axes.T @ other
    low = extent.min(axis=1, keepdims=True) - within_mm
    high = extent.max(axis=1, keepdims=True) + within_mm
    along = axes.T @ points
    off = np.packbits(np.concatenate((along < low, along > high)), axis=0)[0]
    corner = off[prepared.corners]
    near = (corner[0] & corner[1] & corner[2]) == 0
    return np.flatnonzero(near.reshape(-1, GROUP).any(axis=1))
