"""Meshes that we did not draw, made plain for planning: lines over every facet, and places on it."""

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


def surface_places(
    points: FloatArray, triangles: IntArray, spacing_mm: float = SPACING_MM
) -> tuple[FloatArray, IntArray]:
    """Give places (k, 3) all over the facets, no further apart than about the spacing, and the facet of each (k,)."""
    a, b, c = (points[triangles[:, k]] for k in range(3))
    count = _cuts(a, b, c, spacing_mm)
    found, whose = [np.zeros((0, 3))], [np.zeros(0, dtype=np.int64)]
    for n in np.unique(count):
        u, v = np.meshgrid((np.arange(n) + 1 / 3) / n, (np.arange(n) + 1 / 3) / n)
        inner = u + v < 1
        rows = np.flatnonzero(count == n)
        weight = np.stack((1 - u - v, u, v), axis=-1)[inner]
        corners = np.stack((a[rows], b[rows], c[rows]), axis=1)
        found.append(np.einsum("kw,twx->tkx", weight, corners).reshape(-1, 3))
        whose.append(np.repeat(rows, len(weight)))
    return np.concatenate(found), np.concatenate(whose)


def _cuts(a: FloatArray, b: FloatArray, c: FloatArray, spacing_mm: float = SPACING_MM) -> IntArray:
    """Choose into how many strips each triangle is cut, (m,): by its longest edge."""
    longest = np.sqrt(np.maximum.reduce([((p - q) ** 2).sum(axis=1) for p, q in ((a, b), (b, c), (c, a))]))
    return np.asarray(np.clip(np.ceil(longest / spacing_mm), 1, MOST_LINES).astype(np.int64))
