"""Places of a surface from which balls are blown up to find its thinnest metal: close enough that none is passed over.

A place stands for a flat patch round it. Where triangles are small beside the patch, one place stands for several that
look nearly the same way; where they are large they are halved. Inner edges, where the metal is cut into, have places of
their own: two of them may face each other and no flat side. So do the corners of faces at outer edges.
"""

from dataclasses import dataclass

import numpy as np

from ..base.progress import Steps, part
from .edges import BoolArray, pairing_edges
from .hierarchy import neighbours_first
from .measure import normals
from .mesh import FloatArray, IntArray, Mesh
from .weld import same_rows, welding

# Inner edges that turn more than this have places of their own.
_TURNS = float(np.cos(np.radians(30.0)))
# Large triangles are halved until there are so many places, no further.
MOST = 20_000
# How far places in corners lie towards the middle of the face.
_INTO = 0.02
# Triangles narrower than this share of the mesh, the rounding of single precision, look nowhere in particular.
_SLIVER = 1e-6
# Triangles looked at together.
_TRIANGLES = 1 << 16
# More than there are cubes along a side.
_WIDE = 1 << 21


@dataclass(frozen=True, slots=True, eq=False)
class Places:
    """Places ``at`` (n, 3) with the unit direction ``inward`` (n, 3) into the metal."""

    at: FloatArray
    inward: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Faces:
    """Triangles with area, neighbours first: ``corners`` (t, 3, 3), unit ``inward`` normals (t, 3)."""

    corners: FloatArray
    inward: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class EdgeLine:
    """Edges of two faces: ``start`` and ``end`` (e, 3), ``inward`` (e, 3) the mean of both faces, ``cosine`` (e,).

    ``cosine`` of the angle between the faces' normals, 1 where they are one plane; ``height`` (e,) of the lower
    triangle over the edge; ``inner``: the metal fills more than half a turn. ``middles`` and ``sides`` (e, 2, 3): the
    middles of the two faces and their inward normals.
    """

    start: FloatArray
    end: FloatArray
    inward: FloatArray
    cosine: FloatArray
    height: FloatArray
    inner: BoolArray
    middles: FloatArray
    sides: FloatArray


def faces_of(mesh: Mesh) -> Steps[Faces]:
    """Give the faces of a mesh that have an area, slivers left out."""
    parts = []
    narrow = _SLIVER * float(np.abs(mesh.points).max())
    for start in range(0, len(mesh.triangles), _TRIANGLES):
        some = mesh.points[mesh.triangles[start : start + _TRIANGLES]]
        out = normals(some)
        length = np.sqrt((out * out).sum(axis=1))
        real = length > narrow * _longest(some)
        parts.append((some[real], -out[real] / length[real, None]))
        yield 0.2 * start / len(mesh.triangles)
    corners = np.concatenate([c for c, _ in parts])
    yield 0.2
    inward = np.concatenate([n for _, n in parts])
    yield 0.2
    if len(corners) == 0:
        return Faces(corners, inward)
    places = np.ascontiguousarray(corners.sum(axis=1).T)
    yield 0.2
    order = yield from part(neighbours_first(places), 0.2, 0.9)
    return Faces(corners[order], inward[order])


def edges_of(mesh: Mesh) -> Steps[EdgeLine | None]:
    """Give the edges of a closed mesh that turns the same way throughout; None if it is not so."""
    welded = yield from part(welding(mesh.points, mesh.triangles), 0.0, 0.3)
    a, b, c = welded.triangles.T
    triangles = welded.triangles[(a != b) & (b != c) & (c != a)]
    if len(triangles) == 0:
        return None
    pairing = yield from part(pairing_edges(welded.points, triangles), 0.3, 0.7)
    if (pairing.mate < 0).any() or pairing.turned.any():
        return None
    corners = welded.points[triangles]
    out, length = np.empty((len(corners), 3)), np.empty(len(corners))
    sliver = np.empty(len(corners), dtype=np.bool_)
    narrow = _SLIVER * float(np.abs(welded.points).max())
    for first in range(0, len(corners), _TRIANGLES):
        here = slice(first, first + _TRIANGLES)
        normal = normals(corners[here])
        length[here] = np.sqrt((normal * normal).sum(axis=1))
        out[here] = normal / np.where(length[here] > 0.0, length[here], 1.0)[:, None]
        sliver[here] = length[here] <= narrow * _longest(corners[here])
        yield 0.7 + 0.2 * first / len(corners)
    one = np.flatnonzero(pairing.mate > np.arange(len(pairing.mate)))
    other = pairing.mate[one]
    yield 0.9
    cosine = np.einsum("ij,ij->i", out[one // 3], out[other // 3])
    yield 0.9
    # Edges of one plane, most of all, say nothing.
    bent = (cosine < _TURNS) & ~sliver[one // 3] & ~sliver[other // 3]
    one, other, cosine = one[bent], other[bent], cosine[bent]
    start, end = _corner(corners, one), _corner(corners, _next(one))
    long = np.sqrt(((end - start) ** 2).sum(axis=1))
    least = np.minimum(length[one // 3], length[other // 3])
    third = _corner(corners, _next(_next(other)))
    mean = -out[one // 3] - out[other // 3]
    size = np.sqrt((mean * mean).sum(axis=1))
    return EdgeLine(
        start,
        end,
        mean / np.where(size > 0.0, size, 1.0)[:, None],
        cosine,
        least / np.where(long > 0.0, long, 1.0),
        ((third - start) * out[one // 3]).sum(axis=1) > 0.0,
        np.stack((corners[one // 3].mean(axis=1), corners[other // 3].mean(axis=1)), axis=1),
        np.stack((-out[one // 3], -out[other // 3]), axis=1),
    )


def _longest(corners: FloatArray) -> FloatArray:
    """Give the longest side of every triangle (t, 3, 3), (t,)."""
    result: FloatArray = np.sqrt(((corners - corners[:, (1, 2, 0)]) ** 2).sum(axis=2).max(axis=1))
    return result


def _next(half_edge: IntArray) -> IntArray:
    result: IntArray = half_edge + np.where(half_edge % 3 == 2, -2, 1)
    return result


def _corner(corners: FloatArray, half_edge: IntArray) -> FloatArray:
    place: FloatArray = corners[half_edge // 3, half_edge % 3]
    return place


def few_places(faces: Faces, most: int) -> Places:
    """Give the middles of some faces, spread over all."""
    some = np.arange(0, len(faces.corners), -(-len(faces.corners) // most))
    return Places(faces.corners[some].mean(axis=1), faces.inward[some])


def spread_places(faces: Faces, edges: EdgeLine, patch_mm: float) -> Steps[Places]:
    """Give places that stand for all of a surface, each for a flat patch within a cube of side ``patch_mm``."""
    count = len(faces.corners)
    at, inward = [], []
    for start in range(0, count, _TRIANGLES):
        here = slice(start, start + _TRIANGLES)
        some = faces.corners[here]
        corners, facing = halved(some, faces.inward[here], patch_mm, MOST * len(some) // count)
        chosen = one_a_patch(corners.mean(axis=1), facing, patch_mm)
        at.append(corners[chosen].mean(axis=1))
        inward.append(facing[chosen])
        yield 0.9 * (start + len(some)) / count
    every, facing = np.concatenate(at), np.concatenate(inward)
    chosen = one_a_patch(every, facing, patch_mm)
    line, corner = on_edges(edges, patch_mm), in_corners(edges)
    return Places(
        np.concatenate((every[chosen], line.at, corner.at)),
        np.concatenate((facing[chosen], line.inward, corner.inward)),
    )


def one_a_patch(at: FloatArray, inward: FloatArray, patch_mm: float) -> IntArray:
    """Choose places (n, 3) so that one stands for all that look about the same way in one cube of side ``patch_mm``."""
    # What looks the same way to about 20 degrees, in one cube and at one height, is one patch.
    way = np.round(3.0 * inward).astype(np.int64)
    height = np.round((at * way).sum(axis=1) / patch_mm).astype(np.int64)
    cell = np.floor(at / patch_mm).astype(np.int64)
    keys = np.stack((cell[:, 0] * _WIDE + cell[:, 1], cell[:, 2] * _WIDE + height, way @ (49, 7, 1)), axis=1)
    off = ((at / patch_mm - cell - 0.5) ** 2).sum(axis=1)
    middlemost = np.argsort(off, kind="stable")
    _, first = same_rows(keys[middlemost])
    chosen: IntArray = middlemost[first]
    return chosen


def halved(corners: FloatArray, inward: FloatArray, patch_mm: float, most: int) -> tuple[FloatArray, FloatArray]:
    """Halve triangles (t, 3, 3) across their longest sides until their corners lie so near their middles.

    Of the halves the largest go on first, and none once there would be more than ``most`` beyond those given.
    """
    most += len(corners)
    while True:
        middle = corners.mean(axis=1, keepdims=True)
        reach = ((corners - middle) ** 2).sum(axis=2).max(axis=1)
        large = np.flatnonzero(reach > patch_mm**2)
        room = most - len(corners)
        if len(large) > room:
            large = large[np.argsort(-reach[large], kind="stable")[:room]]
        if len(large) == 0:
            return corners, inward
        sides = ((corners[large] - corners[large][:, (1, 2, 0)]) ** 2).sum(axis=2)
        turn = (sides.argmax(axis=1)[:, None] + np.arange(3)) % 3
        a, b, c = (corners[large, turn[:, k]] for k in range(3))
        half = 0.5 * (a + b)
        kept = np.ones(len(corners), dtype=np.bool_)
        kept[large] = False
        corners = np.concatenate((corners[kept], np.stack((a, half, c), axis=1), np.stack((half, b, c), axis=1)))
        inward = np.concatenate((inward[kept], inward[large], inward[large]))


def on_edges(edges: EdgeLine, patch_mm: float) -> Places:
    """Give places along inner edges, their ends among them, no farther apart than the patch is across."""
    inner = np.flatnonzero(edges.inner)
    start, end = edges.start[inner], edges.end[inner]
    long = np.sqrt(((end - start) ** 2).sum(axis=1))
    pieces = np.ceil(np.minimum(long / (2.0 * patch_mm), MOST / max(1, len(inner))) + 1.0).astype(np.int64)
    edge = np.repeat(np.arange(len(inner)), pieces + 1)
    nth = np.arange(len(edge)) - np.repeat(np.cumsum(pieces + 1) - pieces - 1, pieces + 1)
    share = (nth / pieces[edge])[:, None]
    return Places(start[edge] + share * (end - start)[edge], edges.inward[inner[edge]])


def in_corners(edges: EdgeLine) -> Places:
    """Give places in the corners of faces at outer edges: what a ball leaves behind first."""
    outer = ~edges.inner
    corner = np.stack((edges.start[outer], edges.end[outer]), axis=1)
    at = corner[:, :, None] + _INTO * (edges.middles[outer][:, None] - corner[:, :, None])
    inward = np.broadcast_to(edges.sides[outer][:, None], at.shape)
    return Places(at.reshape(-1, 3), inward.reshape(-1, 3))
