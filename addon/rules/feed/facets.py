"""Meshes that we did not draw, made plain for planning: lines over every facet, and places on its underside."""

import numpy as np

from ..solid.mesh import FloatArray, IntArray

# Facets larger than this get lines across them, so that no rod slips through the middle of one.
SPACING_MM = 1.0
MOST_LINES = 200


def facet_lines(points: FloatArray, triangles: IntArray) -> tuple[FloatArray, FloatArray]:
    """Give every edge once, and lines across large facets, as starts and ends, each (m, 3)."""
    both = np.concatenate((triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]))
    edges = np.unique(np.sort(both, axis=1), axis=0)
    a, b, c = (points[triangles[:, k]] for k in range(3))
    count = _cuts(a, b, c)
    row = np.repeat(np.arange(len(triangles)), count - 1)
    step = np.arange(len(row)) - np.repeat(np.cumsum(count - 1) - (count - 1), count - 1) + 1
    u = (step / count[row])[:, None]
    starts = np.concatenate((points[edges[:, 0]], a[row] + u * (b - a)[row]))
    ends = np.concatenate((points[edges[:, 1]], a[row] + u * (c - a)[row]))
    return starts, ends


def under_places(points: FloatArray, triangles: IntArray) -> FloatArray:
    """Give places (k, 3) all over the facets that look down, no further apart than about the spacing."""
    a, b, c = (points[triangles[:, k]] for k in range(3))
    down = np.cross(b - a, c - a)[:, 2] < 0
    a, b, c = a[down], b[down], c[down]
    count = _cuts(a, b, c)
    found = []
    for n in np.unique(count):
        u, v = np.meshgrid((np.arange(n) + 1 / 3) / n, (np.arange(n) + 1 / 3) / n)
        inner = u + v < 1
        rows = count == n
        weight = np.stack((1 - u - v, u, v), axis=-1)[inner]
        corners = np.stack((a[rows], b[rows], c[rows]), axis=1)
        found.append(np.einsum("kw,twx->tkx", weight, corners).reshape(-1, 3))
    return np.concatenate(found) if found else np.zeros((0, 3))


def _cuts(a: FloatArray, b: FloatArray, c: FloatArray) -> IntArray:
    """Choose into how many strips each triangle is cut, (m,): by its longest edge."""
    longest = np.sqrt(np.maximum.reduce([((p - q) ** 2).sum(axis=1) for p, q in ((a, b), (b, c), (c, a))]))
    return np.asarray(np.clip(np.ceil(longest / SPACING_MM), 1, MOST_LINES).astype(np.int64))
