"""Where a surface passes another exactly along one of its own edges, though none of its triangles pierces any.

One triangle that has an edge in another, or along another's edge, only touches it. The two at that edge pass it when
they lie on different sides: of a face, or of the wedge of the two faces at the other edge. Edges are told apart by the
places of their ends, so it does not matter how the points of a mesh are numbered. At an edge with more than two faces
nothing is judged: which two belong together is not known there.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .mesh import FloatArray, IntArray
from .triangle_overlap import BoolArray, Meetings, Planes, inside
from .triangle_pairs import cross, dot

# Faces nearer to one direction than this, in radians, lie on each other: that is told as an overlap.
_SAME_ANGLE = 1e-6


@dataclass(frozen=True, slots=True, eq=False)
class EdgeTouches:
    """Touches of triangles ``a`` and ``b`` (k,) along an ``edge`` (k, 6) of a, its two ends in order of their numbers.

    ``other`` (k, 6): the edge of b it lies along, all nan where it lies inside b; ``side`` (k,): on which side of b
    the triangle a is there.
    """

    a: IntArray
    b: IntArray
    edge: FloatArray
    other: FloatArray
    side: IntArray


def edge_touches(corners: FloatArray, planes: Planes, met: Meetings, slack_mm: float) -> list[EdgeTouches]:
    """Pick from what triangles of ``corners`` (3, 3, t) do to each other the touches along an edge."""
    only = met.depth_mm == 0.0
    found = []
    for a, b, off, off_other, side in (
        (met.a, met.b, met.off_a, met.off_b, met.side_a),
        (met.b, met.a, met.off_b, met.off_a, met.side_b),
    ):
        rows = np.flatnonzero(only & (off >= 0) & (off_other < 0))
        line, face = _line(corners, a[rows], off[rows]), corners[..., b[rows]]
        begin, end = inside(line, face, planes.normal[:, b[rows]], slack_mm)
        rows = rows[(end - begin) * _length(line) > slack_mm]
        edge = _key(_line(corners, a[rows], off[rows]))
        found.append(EdgeTouches(a[rows], b[rows], edge, np.full(edge.shape, np.nan), side[rows]))
    rows = np.flatnonzero(only & (met.off_a >= 0) & (met.off_b >= 0))
    line, other = _line(corners, met.a[rows], met.off_a[rows]), _line(corners, met.b[rows], met.off_b[rows])
    edge, along = _key(line), _key(other)
    kept = np.flatnonzero(_along(line, other, slack_mm) & (edge != along).any(axis=1))
    rows = rows[kept]
    none = np.zeros(len(rows), dtype=np.int64)
    found.append(EdgeTouches(met.a[rows], met.b[rows], edge[kept], along[kept], none))
    return [touches for touches in found if len(touches.a)]


def passes(corners: FloatArray, touches: Sequence[EdgeTouches]) -> IntArray:
    """Give the pairs of triangles (p, 2), of all touches of a mesh, by which its surface passes itself."""
    if not touches:
        return np.zeros((0, 2), dtype=np.int64)
    a, b, edge, other, side = (
        np.concatenate([getattr(each, name) for each in touches]) for name in ("a", "b", "edge", "other", "side")
    )
    on_face = np.isnan(other[:, 0])
    passed = np.concatenate(
        (
            _past_faces(a[on_face], b[on_face], edge[on_face], side[on_face]),
            _past_edges(corners, a[~on_face], b[~on_face], edge[~on_face], other[~on_face]),
        )
    )
    return np.unique(np.sort(passed, axis=1), axis=0)


def _past_faces(a: IntArray, b: IntArray, edge: FloatArray, side: IntArray) -> IntArray:
    group = _groups(np.column_stack((edge, b)))
    two = (np.bincount(group) == 2) & (np.bincount(group, weights=side) == 0)
    rows = np.flatnonzero(two[group])
    return np.stack((a[rows], b[rows]), axis=1)


def _past_edges(corners: FloatArray, a: IntArray, b: IntArray, edge: FloatArray, other: FloatArray) -> IntArray:
    if len(a) == 0:
        return np.zeros((0, 2), dtype=np.int64)
    # Either edge may come first: the lesser one does.
    differs = edge != other
    column = differs.argmax(axis=1)
    row = np.arange(len(a))
    turned = edge[row, column] > other[row, column]
    a, b = np.where(turned, b, a), np.where(turned, a, b)
    edge, other = np.where(turned[:, None], other, edge), np.where(turned[:, None], edge, other)
    group = _groups(np.column_stack((edge, other)))
    faces = [np.unique(np.stack((group, of), axis=1), axis=0) for of in (a, b)]
    two = np.logical_and(*(np.bincount(each[:, 0], minlength=group.max() + 1) == 2 for each in faces))
    judged = np.flatnonzero(two)
    (a1, a2), (b1, b2) = (each[two[each[:, 0]], 1].reshape(-1, 2).T for each in faces)
    first = np.zeros(len(two), dtype=np.int64)
    first[group[::-1]] = row[::-1]
    start, end = edge[first[judged], :3].T, edge[first[judged], 3:].T
    turns = _turns(corners, start, end - start, (a1, a2, b1, b2))
    between = [(turn > _SAME_ANGLE) & (turn < turns[0] - _SAME_ANGLE) for turn in turns[1:]]
    beyond = [(turn > turns[0] + _SAME_ANGLE) & (turn < 2 * np.pi - _SAME_ANGLE) for turn in turns[1:]]
    passed = np.zeros(len(two), dtype=np.bool_)
    passed[judged] = (between[0] & beyond[1]) | (beyond[0] & between[1])
    rows = np.flatnonzero(passed[group])
    return np.stack((a[rows], b[rows]), axis=1)


def _turns(corners: FloatArray, start: FloatArray, way: FloatArray, faces: Sequence[IntArray]) -> list[FloatArray]:
    """Give the angle about an edge (3, g) from the first face to each of the others, 0 to 2 pi."""
    # Two corners of every face lie on the edge: what their sum has across it is the third's.
    sums = [corners[..., face].sum(axis=0) - 3 * start for face in faces]
    square = dot(way, way)
    across = [each - dot(each, way) / square * way for each in sums]
    x = across[0]
    y = cross(way / np.sqrt(square), x)
    return [np.arctan2(dot(each, y), dot(each, x)) % (2 * np.pi) for each in across[1:]]


def _groups(rows: FloatArray) -> IntArray:
    _, group = np.unique(rows, axis=0, return_inverse=True)
    return group.reshape(-1).astype(np.int64)


def _line(corners: FloatArray, of: IntArray, off: IntArray) -> FloatArray:
    """Give the edge of triangles opposite a corner, (2, 3, k)."""
    triangle = corners[..., of]
    each = np.arange(len(of))
    return np.stack((triangle[(off + 1) % 3, :, each].T, triangle[(off + 2) % 3, :, each].T))


def _key(line: FloatArray) -> FloatArray:
    """Give the ends of lines (2, 3, k) side by side, (k, 6), the lesser place first."""
    one, two = line[0].T, line[1].T
    column = (one != two).argmax(axis=1)
    row = np.arange(len(one))
    turned = (one[row, column] > two[row, column])[:, None]
    key: FloatArray = np.concatenate((np.where(turned, two, one), np.where(turned, one, two)), axis=1) + 0.0
    return key


def _length(line: FloatArray) -> FloatArray:
    way = line[1] - line[0]
    length: FloatArray = np.sqrt(dot(way, way))
    return length


def _along(line: FloatArray, other: FloatArray, slack_mm: float) -> BoolArray:
    """Tell which lines (2, 3, k) have more than a point of another in common."""
    long = np.maximum(_length(line), 1e-300)
    way = (line[1] - line[0]) / long
    at = [dot(end - line[0], way) for end in other]
    off = [end - line[0] - place * way for end, place in zip(other, at, strict=True)]
    near = [dot(each, each) <= (2 * slack_mm) ** 2 for each in off]
    shared = np.minimum(np.maximum(*at), long) - np.maximum(np.minimum(*at), 0.0)
    along: BoolArray = near[0] & near[1] & (shared > slack_mm)
    return along
