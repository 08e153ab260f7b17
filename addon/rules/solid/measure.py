"""Volume, area and bounds of a mesh."""

import numpy as np

from ..base.progress import Steps, finish
from .mesh import FloatArray, Mesh

# Triangles measured at a time.
_TRIANGLES = 1 << 17


def volume_mm3(mesh: Mesh) -> float:
    """Give the signed volume inside a closed mesh, mm3: positive when its faces look outward.

    Sum of the signed tetrahedra from one point to every triangle (divergence theorem). The point is the centre of the
    bounds: from the origin, a small body far away would be the difference of huge numbers.
    """
    return finish(finding_volume(mesh))


def finding_volume(mesh: Mesh) -> Steps[float]:
    """Do as `volume_mm3`, a step at a time."""
    low, high = bounds_mm(mesh.points)
    points = mesh.points - (low + high) / 2
    six = 0.0
    for start in range(0, len(mesh.triangles), _TRIANGLES):
        six += float(six_volumes(points[mesh.triangles[start : start + _TRIANGLES]]).sum())
        yield start / len(mesh.triangles)
    return six / 6


def area_mm2(mesh: Mesh) -> float:
    """Give the area of all triangles, mm2."""
    return finish(finding_area(mesh))


def finding_area(mesh: Mesh) -> Steps[float]:
    """Do as `area_mm2`, a step at a time."""
    double = 0.0
    for start in range(0, len(mesh.triangles), _TRIANGLES):
        corners = mesh.points[mesh.triangles[start : start + _TRIANGLES]]
        double += float(np.linalg.norm(normals(corners), axis=1).sum())
        yield start / len(mesh.triangles)
    return double / 2


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
