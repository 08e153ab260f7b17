"""Volume, area and bounds of a mesh."""

import numpy as np

from .mesh import FloatArray, Mesh


def volume_mm3(mesh: Mesh) -> float:
    """Give the signed volume inside a closed mesh, mm3: positive when its faces look outward.

    Sum of the signed tetrahedra from one point to every triangle (divergence theorem). The point is the centre of the
    bounds: from the origin, a small body far away would be the difference of huge numbers.
    """
    low, high = bounds_mm(mesh.points)
    corners = (mesh.points - (low + high) / 2)[mesh.triangles]
    return float(six_volumes(corners).sum() / 6)


def area_mm2(mesh: Mesh) -> float:
    """Give the area of all triangles, mm2."""
    return float(np.linalg.norm(normals(mesh.corners()), axis=1).sum() / 2)


def bounds_mm(points: FloatArray) -> FloatArray:
    """Give the least and the greatest coordinates of points (n, 3), as (2, 3)."""
    return np.stack([points.min(axis=0), points.max(axis=0)])


def normals(corners: FloatArray) -> FloatArray:
    """Give the outward normal of every triangle (m, 3, 3), twice as long as its area, (m, 3)."""
    return np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])


def six_volumes(corners: FloatArray) -> FloatArray:
    """Give six times the signed volume between the origin and every triangle (m, 3, 3), (m,)."""
    result: FloatArray = np.einsum("ij,ij->i", corners[:, 0], np.cross(corners[:, 1], corners[:, 2]))
    return result
