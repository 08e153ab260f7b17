"""Which meshes are one shape in different places, as the links of a file that names every link apart."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..base.progress import Steps
from .mesh import IDENTITY, Body, FloatArray, IntArray, Mesh, Pose

# Places of two meshes that differ by no more than this, in mm, count as one: what a file of float32 numbers leaves.
SAME_MM = 2e-5
# Of the size of a mesh, what decides that two are not worth a closer look.
_SIZE_SHARE = 1e-4


@dataclass(frozen=True, slots=True, eq=False)
class Copy:
    """A mesh as a copy of another: ``first``, and the ``pose`` that carries that one onto it."""

    first: Mesh
    pose: Pose


def copies_of(bodies: Sequence[Body]) -> Steps[tuple[Copy, ...]]:
    """Give for the mesh of every body the first mesh it is a moved copy of.

    A copy has the same triangles in the same order and every point within `SAME_MM` of the other's after the best
    rigid motion (never a mirroring). A mesh that is no copy is its own first.
    """
    firsts: dict[tuple[int, int], list[tuple[float, Mesh]]] = {}
    found: dict[int, Copy] = {}
    for done, body in enumerate(bodies):
        mesh = body.mesh
        if id(mesh) in found:
            continue
        offset = mesh.points - mesh.points.mean(axis=0)
        size = float(np.sqrt((offset * offset).sum(axis=1).mean()))
        alike = firsts.setdefault((len(mesh.points), len(mesh.triangles)), [])
        copies = (
            Copy(first, pose)
            for first_size, first in alike
            if abs(first_size - size) <= _SIZE_SHARE * size and (pose := _motion(first, mesh)) is not None
        )
        copy = next(copies, None)
        if copy is None:
            alike.append((size, mesh))
            copy = Copy(mesh, IDENTITY)
        found[id(mesh)] = copy
        yield done / len(bodies)
    return tuple(found[id(body.mesh)] for body in bodies)


def on_first_meshes(bodies: Sequence[Body], copies: Sequence[Copy]) -> tuple[Body, ...]:
    """Give the same bodies (to `SAME_MM`) as posed copies of the first meshes."""
    return tuple(
        Body(
            body.name,
            copy.first,
            Pose(body.pose.rotation @ copy.pose.rotation, body.pose.apply(copy.pose.origin)),
        )
        for body, copy in zip(bodies, copies, strict=True)
    )


def _motion(source: Mesh, target: Mesh) -> Pose | None:
    """Give the rigid motion that carries one mesh onto another, None where none does to `SAME_MM`."""
    if not _same(source.triangles, target.triangles):
        return None
    rotation = _rotation(source.points, target.points)
    origin = target.points.mean(axis=0) - rotation @ source.points.mean(axis=0)
    pose = Pose(rotation, origin)
    apart = pose.apply(source.points) - target.points
    return pose if float((apart * apart).sum(axis=1).max()) <= SAME_MM**2 else None


def _same(a: IntArray, b: IntArray) -> bool:
    return a is b or np.array_equal(a, b)


def _rotation(source: FloatArray, target: FloatArray) -> FloatArray:
    """Give the rotation that turns points (n, 3) best onto others: W. Kabsch, Acta Cryst. A32, 1976, 922-923.

    The sign that keeps out mirrorings: S. Umeyama, IEEE Trans. PAMI 13, 1991, 376-380 (both from memory).
    """
    product = (target - target.mean(axis=0)).T @ (source - source.mean(axis=0))
    u, _, v = np.linalg.svd(product)
    keep = np.array([1.0, 1.0, np.sign(np.linalg.det(u) * np.linalg.det(v))])
    rotation: FloatArray = (u * keep) @ v
    return rotation
