"""Where a mesh looks at its points."""

import numpy as np

from .mesh import FloatArray, IntArray


def point_normals(points: FloatArray, triangles: IntArray) -> FloatArray:
    """Give the outward unit normals (n, 3) of a mesh at its points (n, 3), each triangle by its area."""
    a, b, c = points[triangles].swapaxes(0, 1)
    turned = np.repeat(np.cross(b - a, c - a), 3, axis=0)
    return unit(np.stack([np.bincount(triangles.ravel(), turned[:, k], len(points)) for k in range(3)], axis=1))


def unit(vectors: FloatArray) -> FloatArray:
    """Give vectors (n, 3) at length 1, those of length 0 as they are."""
    length = np.linalg.norm(vectors, axis=1, keepdims=True)
    return np.asarray(vectors / np.where(length > 0.0, length, 1.0))
