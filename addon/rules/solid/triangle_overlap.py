"""How two triangles of one mesh meet: pierced, laid on each other, or only in touch, many pairs at once in float64.

Two triangles pierce each other as deep as the shortest shift that parts them. Of two flat convex shapes that shift is
square to either plane or to an edge of each (the facets of their Minkowski difference; S. Gottschalk, M. C. Lin,
D. Manocha, OBBTree, 1996, section 5, for the axes; from memory). So triangles that share a corner or an edge need no
case of their own: as long as they only meet there, no shift at all parts them. Triangles in one plane overlap as wide
as the shortest shift within the plane, square to an edge of either.

What is left is a surface that passes another exactly along one of its edges: there no two triangles pierce each other,
only the two at the edge lie on different sides. Such touches are told, for whoever knows the whole mesh.

Arrays run coordinate by coordinate, the pairs along the last axis.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from .mesh import FloatArray, IntArray
from .triangle_pairs import cross, dot

BoolArray = npt.NDArray[np.bool_]

# Edges nearer to parallel than this (the sine) have no axis of their own; nor has a triangle whose height is less
# than this share of its longest edge a plane.
_PARALLEL = 1e-9
_FLAT = 1e-12


@dataclass(frozen=True, slots=True, eq=False)
class Planes:
    """Planes of triangles: ``normal`` (3, t), unit or 0 where there is none, and ``height`` (t,) over the origin."""

    normal: FloatArray
    height: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Meetings:
    """Pairs of triangles ``a`` and ``b`` (k,) that do more than touch at a corner.

    ``depth_mm`` (k,): how deep they pierce each other or how wide they overlap in one plane; 0 where they only touch,
    along an edge that lies in the other's plane. ``off_a`` (k,): then the corner of a opposite that edge, -1 where a
    has none, and ``side_a`` (k,) on which side of b's plane it is, 1 or -1; ``off_b`` and ``side_b`` the same of b.
    """

    a: IntArray
    b: IntArray
    depth_mm: FloatArray
    off_a: IntArray
    off_b: IntArray
    side_a: IntArray
    side_b: IntArray


def planes_of(corners: FloatArray) -> Planes:
    """Give the planes of triangles (3, 3, t): corner, coordinate, triangle."""
    u, v = corners[1] - corners[0], corners[2] - corners[0]
    normal = cross(u, v)
    w = v - u
    long = np.maximum(np.maximum(dot(u, u), dot(v, v)), dot(w, w))
    length = np.sqrt(dot(normal, normal))
    flat = length <= _FLAT * long
    normal /= np.where(flat, 1.0, length)
    normal[:, flat] = 0.0
    return Planes(normal, dot(normal, corners[0]))


def meetings(corners: FloatArray, planes: Planes, a: IntArray, b: IntArray, slack_mm: float) -> Meetings:
    """Find how pairs of triangles ``a`` and ``b`` (k,) of ``corners`` (3, 3, t) meet.

    What reaches no further than ``slack_mm`` past a plane lies in it, and what so short a shift parts only touches.
    Triangles on the same three places are doubled, not crossing: they are left out.
    """
    over_b = _heights(corners, planes, a, b)
    kept = np.flatnonzero(_involved(over_b, slack_mm))
    a, b, over_b = a[kept], b[kept], over_b[:, kept]
    over_a = _heights(corners, planes, b, a)
    kept = np.flatnonzero(_involved(over_a, slack_mm))
    a, b, over_b, over_a = a[kept], b[kept], over_b[:, kept], over_a[:, kept]

    through_b, through_a = _through(over_b, slack_mm), _through(over_a, slack_mm)
    flat_a, flat_b = (np.abs(over).max(axis=0) <= slack_mm for over in (over_b, over_a))
    depth = np.zeros(len(a))
    laid = np.flatnonzero(flat_a | flat_b)
    carrier = np.where(flat_a[laid], b[laid], a[laid])
    one, two = corners[..., a[laid]], corners[..., b[laid]]
    depth[laid] = np.where(_same(one, two), 0.0, _overlap(one, two, planes.normal[:, carrier]))
    pierced = np.flatnonzero(through_a & through_b & ~(flat_a | flat_b))
    depth[pierced] = _depth(corners[..., a[pierced]], corners[..., b[pierced]])
    np.minimum(depth, np.where(flat_a | flat_b, np.inf, np.minimum(_reach(over_a), _reach(over_b))), out=depth)
    depth[depth <= slack_mm] = 0.0

    off_a, off_b = _off(over_b, slack_mm), _off(over_a, slack_mm)
    edge = ((off_a >= 0) & ((off_b >= 0) | through_a)) | ((off_b >= 0) & through_b)
    kept = np.flatnonzero((depth > 0.0) | (edge & ~(flat_a | flat_b)))
    off_a, off_b, over_a, over_b = off_a[kept], off_b[kept], over_a[:, kept], over_b[:, kept]
    side_a, side_b = _side(over_b, off_a), _side(over_a, off_b)
    return Meetings(a[kept], b[kept], depth[kept], off_a, off_b, side_a, side_b)


def _heights(corners: FloatArray, planes: Planes, of: IntArray, over: IntArray) -> FloatArray:
    """Give the heights of the corners of triangles over the planes of others: (3, k)."""
    x, y, z = planes.normal.take(over, axis=1)
    height = np.empty((3, len(of)))
    for corner in range(3):
        px, py, pz = corners[corner].take(of, axis=1)
        height[corner] = px * x + py * y + pz * z
    height -= planes.height.take(over)
    return height


def _involved(heights: FloatArray, slack_mm: float) -> BoolArray:
    """Tell which triangles pass a plane, or have at least an edge in it."""
    low, high = heights.min(axis=0), heights.max(axis=0)
    middle = heights.sum(axis=0) - low - high
    involved: BoolArray = ((low < -slack_mm) & (high > slack_mm)) | (
        (np.abs(middle) <= slack_mm) & ((low >= -slack_mm) | (high <= slack_mm))
    )
    return involved


def _through(heights: FloatArray, slack_mm: float) -> BoolArray:
    through: BoolArray = (heights.min(axis=0) < -slack_mm) & (heights.max(axis=0) > slack_mm)
    return through


def _reach(heights: FloatArray) -> FloatArray:
    """Tell how far a plane has to move until a triangle lies on one side of it."""
    reach: FloatArray = np.minimum(-heights.min(axis=0), heights.max(axis=0))
    return reach


def _off(heights: FloatArray, slack_mm: float) -> IntArray:
    """Give the one corner off the plane where the two others lie in it, else -1."""
    off = np.abs(heights) > slack_mm
    return np.where(off.sum(axis=0) == 1, off.argmax(axis=0), -1)


def _side(heights: FloatArray, corner: IntArray) -> IntArray:
    return np.where(heights[np.maximum(corner, 0), np.arange(len(corner))] > 0.0, 1, -1)


def _same(a: FloatArray, b: FloatArray) -> BoolArray:
    """Tell which triangles have the same three places as corners."""
    same: BoolArray = (a[:, None] == b[None]).all(axis=2).any(axis=1).all(axis=0)
    return same


def _depth(a: FloatArray, b: FloatArray) -> FloatArray:
    """Give the shortest shift square to an edge of each triangle that parts them, (k,)."""
    u, v = a[(1, 2, 0), :] - a, b[(1, 2, 0), :] - b
    shortest = np.full(a.shape[2], np.inf)
    for edge_a in u:
        for edge_b in v:
            axis = cross(edge_a, edge_b)
            square = dot(axis, axis)
            none = square <= _PARALLEL**2 * dot(edge_a, edge_a) * dot(edge_b, edge_b)
            shift = _shift(a, b, axis) / np.sqrt(np.where(none, 1.0, square))
            shortest = np.minimum(shortest, np.where(none, np.inf, shift))
    return shortest


def _overlap(a: FloatArray, b: FloatArray, normal: FloatArray) -> FloatArray:
    """Give the shortest shift across a plane that parts two triangles seen along its ``normal`` (3, k)."""
    shortest = np.full(a.shape[2], np.inf)
    for of in (a, b):
        for edge in of[(1, 2, 0), :] - of:
            axis = cross(normal, edge)
            square = dot(axis, axis)
            none = square == 0.0
            shift = _shift(a, b, axis) / np.sqrt(np.where(none, 1.0, square))
            shortest = np.minimum(shortest, np.where(none, 0.0, shift))
    return shortest


def _shift(a: FloatArray, b: FloatArray, axis: FloatArray) -> FloatArray:
    """Tell how far triangles must move along an axis (3, k) of any length until they are apart; below 0 they are."""
    of_a, of_b = (dot(of - a[0], np.broadcast_to(axis, of.shape)) for of in (a, b))
    shift: FloatArray = np.minimum(of_a.max(axis=0) - of_b.min(axis=0), of_b.max(axis=0) - of_a.min(axis=0))
    return shift


def inside(
    line: FloatArray, triangle: FloatArray, normal: FloatArray, slack_mm: float
) -> tuple[FloatArray, FloatArray]:
    """Clip lines (2, 3, k) in the planes of triangles (3, 3, k), unit ``normal`` (3, k), to their insides.

    Returns where they begin and end, (k,) shares of the line; the end is not after the beginning where they stay out.
    """
    begin, end = np.zeros(line.shape[2]), np.ones(line.shape[2])
    for corner, edge in zip(triangle, triangle[(1, 2, 0), :] - triangle, strict=True):
        inward = cross(normal, edge)
        inward /= np.sqrt(np.maximum(dot(inward, inward), 1e-300))
        first, last = dot(line[0] - corner, inward) - slack_mm, dot(line[1] - corner, inward) - slack_mm
        drop = first - last
        at = first / np.where(drop == 0.0, 1.0, drop)
        begin = np.where(drop < 0.0, np.maximum(begin, at), begin)
        end = np.where(drop > 0.0, np.minimum(end, at), end)
        end = np.where((drop == 0.0) & (first < 0.0), -1.0, end)
    return begin, end


def shared_place(a: FloatArray, b: FloatArray, slack_mm: float) -> FloatArray:
    """Give the middle (3,) of what two triangles (3, 3), corner by corner, have in common.

    That is what is left of a between the planes that stand upright on b's edges and those just above and below it.
    """
    normal = planes_of(b[..., None]).normal[:, 0]
    cuts = [(np.cross(normal, end - start), start, 0.0) for start, end in zip(b, b[[1, 2, 0]], strict=True)]
    cuts += [(way, b[0], slack_mm) for way in (normal, -normal)]
    left = a
    for inward, start, slack in cuts:
        height = (left - start) @ inward + slack
        after = np.roll(left, -1, axis=0), np.roll(height, -1)
        crossed = height * after[1] < 0.0
        share = height / np.where(crossed, height - after[1], 1.0)
        cut = left + share[:, None] * (after[0] - left)
        corners = [
            place
            for k in range(len(left))
            for place in ([left[k]] * bool(height[k] >= 0.0) + [cut[k]] * bool(crossed[k]))
        ]
        if corners:
            left = np.array(corners)
    middle: FloatArray = left.mean(axis=0)
    return middle
