"""Points along a Blender spline, evaluated by ourselves in double precision from its control points.

Blender's own preview polyline is as coarse as its resolution setting; a chain needs the curve itself.
Bezier: de Casteljau. NURBS: the rational B-spline basis by the Cox-de Boor recursion (de Boor 1978), on the knots that
Blender gives its splines (cyclic, endpoint and Bezier flags).
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

# The most times a segment's count is doubled for its fastest stretch.
MOST_DOUBLINGS = 6

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Polyline:
    """Vertices (n, 3) in mm; ``cyclic`` joins the last one to the first, which is not repeated."""

    points: FloatArray
    cyclic: bool


@dataclass(frozen=True, slots=True)
class Knots:
    """The flags of a NURBS spline that decide its knots."""

    order: int
    cyclic: bool
    endpoint: bool
    bezier: bool


def bezier_polyline(left: FloatArray, knot: FloatArray, right: FloatArray, cyclic: bool, step_mm: float) -> Polyline:
    """Evaluate a Bezier spline of points ``knot`` (n, 3) mm with handles ``left`` and ``right``.

    The density of every segment starts from its control polygon, which is never shorter than the curve, and doubles
    until no chord is longer than ``step_mm``.
    """
    following = np.roll(np.arange(len(knot)), -1) if cyclic else np.arange(1, len(knot))
    first = np.arange(len(following))
    pieces = []
    for a, b in zip(first, following, strict=True):
        hull = np.array([knot[a], right[a], left[b], knot[b]])
        count = _pieces(float(np.linalg.norm(np.diff(hull, axis=0), axis=1).sum()), step_mm)
        for _ in range(MOST_DOUBLINGS):
            segment = _de_casteljau(hull, np.arange(count + 1) / count)
            if _longest(segment) <= step_mm:
                break
            count *= 2
        pieces.append(segment[:-1])
    if not cyclic:
        pieces.append(knot[-1:])
    return Polyline(np.concatenate(pieces), cyclic)


def poly_polyline(points: FloatArray, cyclic: bool, step_mm: float) -> Polyline:
    """Divide the straight pieces of a polyline so that none is longer than ``step_mm``; its corners stay."""
    following = np.roll(points, -1, axis=0) if cyclic else points[1:]
    first = points if cyclic else points[:-1]
    pieces = []
    for a, b in zip(first, following, strict=True):
        count = _pieces(float(np.linalg.norm(b - a)), step_mm)
        pieces.append(a + (b - a) * (np.arange(count) / count)[:, None])
    if not cyclic:
        pieces.append(points[-1:])
    return Polyline(np.concatenate(pieces), cyclic)


def nurbs_polyline(points: FloatArray, weights: FloatArray, shape: Knots, step_mm: float) -> Polyline:
    """Evaluate a NURBS spline. ``points`` (n, 3) mm, ``weights`` (n,); a point each ``step_mm`` or denser.

    Where Blender finds the count of points, order and flags not valid together it draws the control polygon; so do we.
    """
    if not valid_knots(len(points), shape):
        return poly_polyline(points, shape.cyclic, step_mm)
    degree = shape.order - 1
    knots = knot_vector(len(points), shape)
    last = len(points) + degree if shape.cyclic else len(points)
    spans = np.unique(knots[degree : last + 1])
    polygon = np.concatenate([points, points[:1]]) if shape.cyclic else points
    # The speed along a spline with uneven weights is uneven too: twice the polygon's share is enough in practice,
    # and the longest chord is checked below.
    length = float(np.linalg.norm(np.diff(polygon, axis=0), axis=1).sum())
    count = _pieces(2.0 * length / max(len(spans) - 1, 1), step_mm)
    for _ in range(MOST_DOUBLINGS):
        fractions = np.arange(count) / count
        u = (spans[:-1, None] + np.diff(spans)[:, None] * fractions).ravel()
        if not shape.cyclic:
            u = np.append(u, spans[-1])
        curve = _rational(u, knots, degree, points, weights, last)
        if _longest(np.concatenate([curve, curve[:1]]) if shape.cyclic else curve) <= step_mm:
            break
        count *= 2
    return Polyline(curve, shape.cyclic)


def valid_knots(count: int, shape: Knots) -> bool:
    """Tell whether Blender evaluates a spline of ``count`` points with these flags as NURBS."""
    if count < shape.order or shape.order < 2:
        return False
    if shape.bezier:
        if not shape.endpoint and count <= shape.order:
            return False
        return not shape.cyclic or count % (shape.order - 1) == 0
    return True


def knot_vector(count: int, shape: Knots) -> FloatArray:
    """Give Blender's knots for ``count`` points: n + order of them, n + 2 order - 1 when cyclic."""
    order = shape.order
    total = count + 2 * order - 1 if shape.cyclic else count + order
    repeat = order - 1 if shape.bezier else 1
    head = min(2, repeat) if shape.bezier else 1
    if shape.endpoint:
        head = order - 1 if shape.cyclic else order
    tail = 2 * order - 1 if shape.cyclic else (order if shape.endpoint else 0)
    knots = np.zeros(total)
    current, left = 0.0, head
    offset = 1 if shape.endpoint and shape.cyclic else 0
    if offset:
        current = 1.0
    for i in range(offset, total - tail):
        knots[i] = current
        left -= 1
        if left == 0:
            current += 1.0
            left = repeat
    for i in range(tail):
        knots[total - tail + i] = current + (knots[i] - knots[0])
    return knots


def _rational(
    u: FloatArray, knots: FloatArray, degree: int, points: FloatArray, weights: FloatArray, last: int
) -> FloatArray:
    """Evaluate the curve at parameters ``u`` by the triangular Cox-de Boor table, all parameters at once."""
    # The end of the last span belongs to that span: repeated knots after it hold no curve.
    within = np.searchsorted(knots, u, side="right") - 1
    at_end = int(np.searchsorted(knots, knots[last], side="left")) - 1
    span = np.clip(np.where(u >= knots[last], at_end, within), degree, last - 1)
    basis = np.ones((len(u), 1))
    for k in range(1, degree + 1):
        grown = np.zeros((len(u), k + 1))
        for j in range(k):
            right = knots[span + j + 1]
            left = knots[span + j + 1 - k]
            width = right - left
            share = np.divide(basis[:, j], width, out=np.zeros(len(u)), where=width > 0)
            grown[:, j] += (right - u) * share
            grown[:, j + 1] += (u - left) * share
        basis = grown
    index = (span[:, None] - degree + np.arange(degree + 1)) % len(points)
    mass = basis * weights[index]
    return np.asarray(np.einsum("ij,ijk->ik", mass, points[index]) / mass.sum(axis=1, keepdims=True))


def _de_casteljau(hull: FloatArray, t: FloatArray) -> FloatArray:
    """Evaluate one cubic with the control polygon ``hull`` (4, 3) at parameters ``t`` (n,)."""
    level = [np.broadcast_to(corner, (len(t), 3)) for corner in hull]
    while len(level) > 1:
        level = [p + (q - p) * t[:, None] for p, q in pairwise(level)]
    return np.asarray(level[0])


def _longest(points: FloatArray) -> float:
    return float(np.linalg.norm(np.diff(points, axis=0), axis=1).max(initial=0.0))


def _pieces(length_mm: float, step_mm: float) -> int:
    return max(1, int(np.ceil(length_mm / step_mm - 1e-9)))
