"""Meshes as flat shapes: fewer triangles, those that face the eye, sliced by depth."""

from dataclasses import dataclass

import numpy as np

from ..solid.mesh import FloatArray, Mesh

SLICES = 16
BEHIND = 0.1  # of the size of a body


@dataclass(frozen=True, slots=True, eq=False)
class Slice:
    """What one range of depths of a body shows: its middle ``depth`` and flat triangles (n, 3, 2), mm.

    ``behind``: how far behind its own depth a slice's dark edge ranks, so that neighbouring slices cover it and what
    passes behind the body does not.
    """

    depth: float
    behind: float
    triangles: FloatArray


def slices(mesh: Mesh, axes: FloatArray) -> list[Slice]:
    """Cut what a mesh shows the eye into slices by depth, the farthest first.

    ``axes`` (3, 3): rows to the right, up, and towards the eye.
    """
    seen = mesh.points @ axes.T
    corners = seen[mesh.triangles]
    side, up = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    facing = corners[side[:, 0] * up[:, 1] - side[:, 1] * up[:, 0] > 0.0]
    depth = facing[:, :, 2].mean(axis=1)
    low, high = float(seen[:, 2].min()), float(seen[:, 2].max())
    thickness = max((high - low) / SLICES, 1e-9)
    owner = np.clip(((depth - low) / thickness).astype(np.int64), 0, SLICES - 1)
    behind = max(1.5 * thickness, min(0.5 * (high - low), BEHIND * float(np.ptp(seen, axis=0).max())))
    return [Slice(low + (k + 0.5) * thickness, behind, facing[owner == k][:, :, :2]) for k in np.unique(owner).tolist()]


def thinned(mesh: Mesh, most_triangles: int) -> Mesh:
    """Merge points by cells of a grid, coarser until at most ``most_triangles`` (at least 12) are left."""
    most = max(most_triangles, 12)
    if len(mesh.triangles) <= most:
        return mesh
    low = mesh.points.min(axis=0)
    size = float((mesh.points.max(axis=0) - low).max())
    corners = mesh.corners()
    area = 0.5 * np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1).sum()
    cell = max(float(np.sqrt(area / most)), size * 1e-6)
    points, triangles = mesh.points, mesh.triangles
    while len(triangles) > most and cell < size:
        place = np.floor((mesh.points - low) / cell).astype(np.int64)
        _, owner = np.unique((place[:, 0] << 42) | (place[:, 1] << 21) | place[:, 2], return_inverse=True)
        count = np.bincount(owner)
        points = np.stack([np.bincount(owner, weights=mesh.points[:, k]) / count for k in range(3)], axis=1)
        merged = owner[mesh.triangles]
        kept = (merged[:, 0] != merged[:, 1]) & (merged[:, 1] != merged[:, 2]) & (merged[:, 2] != merged[:, 0])
        triangles = merged[kept]
        cell *= 1.2
    return Mesh(points, triangles)
