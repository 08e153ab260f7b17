"""Where a straight line goes through a mesh."""

import numpy as np

from ..solid.mesh import FloatArray

# A ray through an edge meets both its triangles, whatever rounding says; such meetings are one.
SHARED = 1e-9
SAME_MM = 1e-6


def pierced(corners: FloatArray, start: FloatArray, direction: FloatArray) -> FloatArray:
    """Give the rising distances at which a ray from ``start`` (3,) along ``direction`` (3,) meets triangles (m, 3, 3).

    Triangles seen edge-on count as missed; a meeting on an edge or corner that several share counts once.
    """
    return pierced_side_by_side(corners, start[None], direction)[0]


def pierced_side_by_side(corners: FloatArray, starts: FloatArray, direction: FloatArray) -> list[FloatArray]:
    """Do so for rays from several ``starts`` (k, 3) that all run along one direction: distances for each of them.

    Moeller, Trumbore, Fast, minimum storage ray/triangle intersection, Journal of Graphics Tools 2 (1997) 21
    (from memory).
    """
    a = corners[:, 0]
    e1, e2 = corners[:, 1] - a, corners[:, 2] - a
    p = np.cross(direction, e2)
    det = (e1 * p).sum(axis=1)
    met = np.abs(det) > 1e-14
    inverse = 1.0 / np.where(met, det, 1.0)
    s = starts[:, None] - a
    u = (s * p).sum(axis=2) * inverse
    q = np.cross(s, e1)
    v = (q @ direction) * inverse
    t = (e2 * q).sum(axis=2) * inverse
    hit = met & (u >= -SHARED) & (v >= -SHARED) & (u + v <= 1 + SHARED) & (t > 0)
    found = []
    for row, here in zip(t, hit, strict=True):
        at = np.sort(row[here])
        found.append(np.asarray(at[np.concatenate((np.ones(min(1, len(at)), dtype=bool), np.diff(at) > SAME_MM))]))
    return found
