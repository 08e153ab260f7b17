"""The place of a triangle nearest to a point, many pairs at once, exact in float64.

It is the nearest place of the three edges, or the place straight below the point where that lies inside the triangle
(C. Ericson, Real-Time Collision Detection, 2005, section 5.1.5, for the split; solved by cross products, which keeps
slivers). Every candidate is a true place of the triangle, so rounding never makes a distance smaller than it is, and
slivers and triangles without area need no case of their own.
"""

import numpy as np

from .mesh import FloatArray
from .triangle_pairs import cross, dot


def feet(corners: FloatArray, at: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Give the squared distance of every point (3, k) from its triangle (3, 3, k), and the nearest place (3, k).

    ``corners``: corner, coordinate, pair.
    """
    a, b, c = corners
    u, v, w = b - a, c - a, at - a
    foot, square = _along(u, w)
    for edge, begin in ((v, None), (c - b, u)):
        other, other_square = _along(edge, w if begin is None else w - begin)
        nearer = other_square < square
        square = np.where(nearer, other_square, square)
        foot = np.where(nearer, other if begin is None else other + begin, foot)
    normal = cross(u, v)
    area = dot(normal, normal)
    divisor = np.where(area > 0.0, area, 1.0)
    p = dot(cross(w, v), normal) / divisor
    q = dot(cross(u, w), normal) / divisor
    below = p * u + q * v
    rest = w - below
    straight = dot(rest, rest)
    inside = (area > 0.0) & (p >= 0.0) & (q >= 0.0) & (p + q <= 1.0) & (straight < square)
    return np.where(inside, straight, square), a + np.where(inside, below, foot)


def _along(edge: FloatArray, w: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Give the nearest place of a segment from the origin along ``edge`` to points ``w`` (3, k), and the square."""
    length = dot(edge, edge)
    foot = np.clip(dot(w, edge) / np.where(length > 0.0, length, 1.0), 0.0, 1.0) * edge
    rest = w - foot
    return foot, dot(rest, rest)
