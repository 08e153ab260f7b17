"""Which face meets which across every edge.

A half-edge is one side of a triangle: half-edge ``3 f + i`` runs from corner i of triangle f to its next corner.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..base.progress import Steps, finish, part
from .mesh import FloatArray, IntArray
from .sorting import stable_order

BoolArray = npt.NDArray[np.bool_]

# Faces nearer than this about their edge, in radians, count as lying on each other: wider than the rounding of
# float64 places, far finer than that of a float32 file.
_SAME_ANGLE = 1e-9
# Edges of two faces paired at a time.
_PAIRS = 1 << 18
# Edges of more than two faces sorted out at a time.
_CROWDS = 1 << 14


@dataclass(frozen=True, slots=True, eq=False)
class Pairing:
    """The half-edges of m triangles, paired.

    ``mate`` (3m,) the half-edge across, -1 where there is none. ``turned`` (3m,) the mate runs the same way, so one of
    the two faces looks inward. ``crowded`` (k,) one half-edge of each edge that has more than two faces.
    """

    mate: IntArray
    turned: BoolArray
    crowded: IntArray


def edges_pair(triangles: IntArray) -> bool:
    """Tell whether every edge of triangles (m, 3) is run as often one way as the other, by the points' numbers.

    Such a mesh is closed, and turned the same way throughout. An edge that four triangles share passes, as robust
    booleans leave and take such ones; a mesh without triangles does not.
    """
    if not len(triangles):
        return False
    size = int(triangles.max()) + 1
    starts, ends = triangles.ravel(), np.roll(triangles, -1, axis=1).ravel()
    up, down = starts < ends, starts > ends
    return bool(np.array_equal(np.sort(starts[up] * size + ends[up]), np.sort(ends[down] * size + starts[down])))


def pair_edges(points: FloatArray, triangles: IntArray) -> Pairing:
    """Pair the faces at every edge: two faces with each other, more than two by angle so that the metal sides close.

    ``points`` (n, 3) all different, ``triangles`` (m, 3) each with three different points.
    """
    return finish(pairing_edges(points, triangles))


def pairing_edges(points: FloatArray, triangles: IntArray) -> Steps[Pairing]:
    """Do as `pair_edges`, a step at a time."""
    tail = triangles.ravel()
    head = triangles[:, [1, 2, 0]].ravel()
    forward = tail < head
    yield 0.05
    key = np.minimum(tail, head) * len(points) + np.maximum(tail, head)
    yield 0.1
    order = yield from part(stable_order(key), 0.1, 0.6)
    in_order = key[order]
    yield 0.65
    starts = np.flatnonzero(np.concatenate([[True], in_order[1:] != in_order[:-1]]))
    faces = np.diff(np.append(starts, len(order)))
    yield 0.7

    mate = np.full(len(tail), -1)
    turned = np.zeros(len(tail), dtype=bool)
    pair = starts[faces == 2]
    for begin in range(0, len(pair), _PAIRS):
        yield 0.7 + 0.1 * begin / len(pair)
        here = pair[begin : begin + _PAIRS]
        _join(triangles, mate, turned, forward, order[here], order[here + 1])
    yield 0.8

    crowd = np.flatnonzero(faces > 2)
    crowded = order[starts[crowd]]
    for begin in range(0, len(crowd), _CROWDS):
        here = crowd[begin : begin + _CROWDS]
        edge = np.repeat(np.arange(len(here)), faces[here])
        nth = np.arange(len(edge)) - (np.cumsum(faces[here]) - faces[here])[edge]
        members = order[starts[here][edge] + nth]
        angle = _angles(points, triangles, members, edge)
        _join(triangles, mate, turned, forward, *_match_sides(members, edge, angle, opens=~forward[members]))
        yield 0.8 + 0.2 * begin / len(crowd)
    return Pairing(mate, turned, crowded)


def _join(triangles: IntArray, mate: IntArray, turned: BoolArray, forward: BoolArray, a: IntArray, b: IntArray) -> None:
    """Pair half-edges a with b (k,), except where both faces are one and the same face twice."""
    turn = forward[a] == forward[b]
    third = triangles.ravel()[_opposite(np.stack([a, b]))]
    pairs = ~(turn & (third[0] == third[1]))
    a, b = a[pairs], b[pairs]
    mate[a], mate[b] = b, a
    turned[a] = turned[b] = turn[pairs]


def _opposite(half_edge: IntArray) -> IntArray:
    """Give the corner across from a half-edge."""
    result: IntArray = half_edge + np.where(half_edge % 3 == 0, 2, -1)
    return result


def _angles(points: FloatArray, triangles: IntArray, members: IntArray, edge: IntArray) -> FloatArray:
    """Give the angle of each half-edge's face about its edge, 0 to 2 pi, right-handed about the edge's direction.

    Angles count from the edge's first face. A face without width has none: it comes last, at 7.
    """
    face, side = np.divmod(members, 3)
    ends = np.sort(np.stack([triangles[face, side], triangles[face, (side + 1) % 3]], axis=1), axis=1)
    start = points[ends[:, 0]]
    along = points[ends[:, 1]] - start
    reach = points[triangles[face, (side + 2) % 3]] - start
    length = np.linalg.norm(along, axis=1, keepdims=True)
    along = along / np.where(length > 0, length, 1.0)
    across = reach - (reach * along).sum(axis=1, keepdims=True) * along
    width = np.linalg.norm(across, axis=1)
    flat = width <= 8 * np.finfo(np.float64).eps * np.maximum(length[:, 0], np.linalg.norm(reach, axis=1))

    position = np.arange(len(members))
    first = np.flatnonzero(np.concatenate([[True], edge[1:] != edge[:-1]]))
    reference = np.minimum.reduceat(np.where(flat, len(members), position), first)
    reference = np.where(reference < len(members), reference, first)[edge]
    x = across[reference]
    y = np.cross(along, x)
    angle: FloatArray = np.arctan2((across * y).sum(axis=1), (across * x).sum(axis=1)) % (2 * np.pi)
    angle[angle > 2 * np.pi - _SAME_ANGLE] = 0.0
    angle[flat] = 7.0
    return angle


def _match_sides(
    members: IntArray, edge: IntArray, angle: FloatArray, *, opens: BoolArray
) -> tuple[IntArray, IntArray]:
    """Match faces around edges like brackets around a circle: where metal begins with where it ends.

    Turning about the edge, a face whose half-edge runs against the edge's direction (``opens``) has metal after it,
    the others before it. Neighbours that enclose metal pair first, then those next to them, and so on. Of faces at
    one angle those that end metal come first, so that two solids face to face stay two; and copies of one face lie
    like the layers of an onion, so that first copies pair with first copies at every edge, and second with second.
    What is left over at an edge all faces one way; it is paired by neighbours too (as turned faces), and an odd last
    one stays open.
    """
    by_angle = np.lexsort((angle, edge))
    step = np.diff(angle[by_angle], prepend=-1.0) > _SAME_ANGLE
    place = np.cumsum(step | (np.diff(edge[by_angle], prepend=-1) != 0))
    copies = np.where(opens, -members, members)
    order = by_angle[np.lexsort((copies[by_angle], opens[by_angle], place))]
    members, opens = members[order], opens[order]

    # Begin each circle just after its least depth: from there on no bracket is cut in two.
    first = np.flatnonzero(np.concatenate([[True], edge[1:] != edge[:-1]]))
    size = np.diff(np.append(first, len(edge)))
    depth = _depth(opens, first, size)
    least = np.repeat(np.minimum.reduceat(depth, first), size)
    position = np.arange(len(edge)) - first[edge]
    lowest = np.minimum.reduceat(np.where(depth == least, position, len(edge)), first)
    turn = np.lexsort(((position - lowest[edge] - 1) % size[edge], edge))
    members, opens = members[turn], opens[turn]

    # At one level opening and closing take turns, so a bracket's other half is the next at its level.
    level = _depth(opens, first, size) + ~opens
    nested = np.lexsort((level, edge))
    here, after = nested[:-1], nested[1:]
    fits = (edge[here] == edge[after]) & (level[here] == level[after]) & opens[here] & ~opens[after]
    begin, end = here[fits], after[fits]

    left = np.ones(len(edge), dtype=bool)
    left[begin] = left[end] = False
    rest = np.flatnonzero(left)
    rest_first = np.flatnonzero(np.diff(edge[rest], prepend=-1))
    rank = np.arange(len(rest)) - np.repeat(rest_first, np.diff(np.append(rest_first, len(rest))))
    even = np.flatnonzero((rank[:-1] % 2 == 0) & (edge[rest[:-1]] == edge[rest[1:]]))
    a = np.concatenate([begin, rest[even]])
    b = np.concatenate([end, rest[even + 1]])
    return members[a], members[b]


def _depth(opens: BoolArray, first: IntArray, size: IntArray) -> IntArray:
    """Give how many brackets are open after each member, counted from the start of its circle."""
    total: IntArray = np.cumsum(np.where(opens, 1, -1))
    before = np.where(first > 0, total[first - 1], 0)
    result: IntArray = total - np.repeat(before, size)
    return result
