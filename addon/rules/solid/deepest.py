"""The place of one surface that lies deepest in the metal of another: found by splitting, with bounds that hold.

The depth of a place is its distance from the other surface, taken negative outside the metal. Over a piece of a
triangle it is bounded twice: it changes no faster than the place moves, and it is nowhere more than the distance from
any one triangle of the other surface, which over a flat piece is greatest at a corner (the distance from a convex set
is convex). The second bound is exact where flat faces lie side by side, the first wherever the other does not help.
Pieces that cannot be deeper than what is known are dropped, the others cut across their longest edge; so no place is
overlooked between points that were tried. Where the surfaces lie on each other neither bound helps before a piece is
under one triangle of the other: there pieces are cut along that triangle's edges.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..base.progress import Steps, part
from .containment import finding_closed
from .feet import feet
from .mesh import FloatArray, IntArray, Mesh
from .metal import in_metal_of
from .surface import Surface, nearest_on
from .triangle_overlap import inside, planes_of

# A place of a triangle is at most this share of its longest edge away from the nearest corner.
_FROM_CORNER = 1.0 / np.sqrt(3.0)
# Pieces bounded together, and pieces cut together.
_TOGETHER = 4096
# Triangles near a piece that may bound it: the nearest of each corner, and one more.
_NEAR = 4
# Cuts along the other's edges that a piece and what it was cut from may have had, and the least share they cut off.
_FITTED = 24
_LEAST = 0.02


@dataclass(frozen=True, slots=True, eq=False)
class Deepest:
    """How deep a surface reaches into metal and where (3,); nan where no place is deeper than was asked for."""

    depth_mm: float
    at: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class _Pieces:
    """Pieces of triangles: ``corners`` (3, 3, k) corner, coordinate, piece; ``depth`` (3, k) of the corners.

    ``near`` (4, k): triangles of the other surface, by their place in it: nearest to each corner, and one near the
    middle. ``fitted`` (k,): how often it was cut along the other's edges. ``bound`` (k,): no place of it is deeper.
    """

    corners: FloatArray
    depth: FloatArray
    near: IntArray
    fitted: IntArray
    bound: FloatArray

    def pick(self, rows: IntArray | slice) -> "_Pieces":
        """Give some of the pieces."""
        return _Pieces(
            self.corners[..., rows], self.depth[:, rows], self.near[:, rows], self.fitted[rows], self.bound[rows]
        )

    def but(self, near: IntArray, bound: FloatArray) -> "_Pieces":
        """Give the same pieces with other triangles near and another bound."""
        return _Pieces(self.corners, self.depth, near, self.fitted, bound)


class _Best:
    """The deepest place known so far."""

    def __init__(self, depth: float) -> None:
        self.depth = depth
        self.at = np.full(3, np.nan)

    def learn(self, depth: FloatArray, places: FloatArray) -> None:
        """Take in the depths (k,) of places (3, k)."""
        if len(depth) and depth.max() > self.depth:
            most = int(depth.argmax())
            self.depth, self.at = float(depth[most]), places[:, most].copy()


@dataclass(frozen=True, slots=True, eq=False)
class _Metal:
    """The other body: its mesh and its surface; ``place_of`` (t,) of a triangle's number, its place in the surface."""

    mesh: Mesh
    surface: Surface
    place_of: IntArray


def deepest(
    mesh: Mesh, other: Mesh, surface: Surface, *, beyond_mm: float, within_mm: float, within_share: float
) -> Steps[Deepest]:
    """Find the place of a mesh that is deepest in the metal of another, if deeper than ``beyond_mm``.

    Both in the same coordinates; ``surface`` is the other's. No place is deeper than what is told by more than
    ``within_mm`` or ``within_share`` of it, whichever is more. An open mesh bounds no metal: nothing is deep in it.
    """
    best = _Best(beyond_mm)
    if not (yield from part(finding_closed(other), 0.0, 0.0)):
        return Deepest(best.depth, best.at)
    place_of = np.zeros(len(other.triangles), dtype=np.int64)
    place_of[surface.numbers] = np.arange(len(surface.numbers))
    metal = _Metal(other, surface, place_of)
    stack = yield from part(_begun(mesh, metal, best), 0.0, 0.3)
    done = 0.3
    while stack:
        pieces = stack.pop()
        allowed = max(within_mm, within_share * best.depth)
        pieces = pieces.pick(np.flatnonzero(pieces.bound > best.depth + allowed))
        done += 0.01 * (1.0 - done)
        if len(pieces.bound):
            pieces = yield from part(_laid_on(pieces, metal, allowed), done, done)
            pieces = pieces.pick(np.flatnonzero(pieces.bound > best.depth + allowed))
            cut = yield from part(_cut(pieces, metal, best, allowed), done, done)
            # The deepest halves are cut first: what they show spares the others.
            cut = cut.pick(np.argsort(cut.bound, kind="stable"))
            stack += [cut.pick(slice(start, start + _TOGETHER)) for start in range(0, len(cut.bound), _TOGETHER)]
        yield done
    return Deepest(best.depth, best.at)


def _begun(mesh: Mesh, metal: _Metal, best: _Best) -> Steps[list[_Pieces]]:
    """Measure the points of the mesh and bound those of its triangles that can reach into the metal."""
    low, high = metal.surface.low, metal.surface.high
    corners = mesh.corners()
    reaching = np.flatnonzero(((corners.min(axis=1) <= high) & (corners.max(axis=1) >= low)).all(axis=1))
    yield 0.0
    triangles = mesh.triangles[reaching]
    used, rank = np.unique(triangles, return_inverse=True)
    points = np.ascontiguousarray(mesh.points[used].T)
    depth, near = yield from part(_measured(points, metal), 0.0, 0.5)
    best.learn(depth, points)
    rank = rank.reshape(-1, 3)
    stack = []
    for start in range(0, len(rank), _TOGETHER):
        some = rank[start : start + _TOGETHER].T
        here = np.ascontiguousarray(np.moveaxis(points.take(some, axis=1), 0, 1))
        none = np.zeros(some.shape[1])
        all_near = np.concatenate((near[some], near[some[:1]]))
        pieces = _first_bound(_Pieces(here, depth[some], all_near, none.astype(np.int64), none))
        pieces = pieces.pick(np.flatnonzero(pieces.bound > best.depth))
        pieces.near[3] = yield from part(_under_middle(pieces, metal), 0.5, 1.0)
        stack.append(_bounded(pieces, metal))
    return stack


def _under_middle(pieces: _Pieces, metal: _Metal) -> Steps[IntArray]:
    found = yield from nearest_on(metal.surface, pieces.corners.mean(axis=0).T)
    return metal.place_of[found.triangle]


def _laid_on(pieces: _Pieces, metal: _Metal, allowed_mm: float) -> Steps[_Pieces]:
    """Bound pieces that lie on the other surface by the triangle under their middle."""
    laid = np.flatnonzero(_is_laid(pieces, allowed_mm))
    if len(laid) == 0:
        return pieces
    near, bound = pieces.near.copy(), pieces.bound.copy()
    some = pieces.pick(laid)
    near[3, laid] = some.near[3] = yield from _under_middle(some, metal)
    bound[laid] = _bounded(some, metal).bound
    return pieces.but(near, bound)


def _is_laid(pieces: _Pieces, allowed_mm: float) -> npt.NDArray[np.bool_]:
    laid: npt.NDArray[np.bool_] = (np.abs(pieces.depth).max(axis=0) <= allowed_mm) & (pieces.fitted < _FITTED)
    return laid


def _where_to_cut(pieces: _Pieces, metal: _Metal, allowed_mm: float) -> tuple[IntArray, FloatArray, IntArray]:
    """Choose for every piece an edge (k,), the share of it (k,) where it is cut, and whether that fits, 0 or 1 (k,)."""
    ends = pieces.corners[(1, 2, 0), :]
    square = ((ends - pieces.corners) ** 2).sum(axis=1)
    edge, share = square.argmax(axis=0), np.full(square.shape[1], 0.5)
    fits = np.zeros(len(edge), dtype=np.int64)
    laid = np.flatnonzero(_is_laid(pieces, allowed_mm))
    if len(laid) == 0:
        return edge, share, fits
    under = metal.surface.corners.take(pieces.near[3, laid], axis=2)
    normal = planes_of(under).normal
    longest = np.zeros(len(laid))
    for side in range(3):
        line = np.stack((pieces.corners[side][:, laid], ends[side][:, laid]))
        for at in inside(line, under, normal, 0.0):
            better = (at > _LEAST) & (at < 1.0 - _LEAST) & (square[side, laid] > longest)
            longest = np.where(better, square[side, laid], longest)
            edge[laid[better]], share[laid[better]], fits[laid[better]] = side, at[better], 1
    return edge, share, fits


def _measured(places: FloatArray, metal: _Metal, known: FloatArray | None = None) -> Steps[tuple[FloatArray, IntArray]]:
    """Give the depth of places (3, k) and the nearest triangle of the other surface, by its place in it.

    ``known`` (k,): 1 for places known to be in the metal, -1 outside, 0 where nobody knows.
    """
    found = yield from part(nearest_on(metal.surface, places.T), 0.0, 0.6)
    side = np.zeros(places.shape[1]) if known is None else known
    unknown = np.flatnonzero(side == 0.0)
    inside = yield from part(in_metal_of(metal.mesh, metal.surface, places.T[unknown]), 0.6, 1.0)
    side[unknown] = np.where(inside, 1.0, -1.0)
    return side * found.distance_mm, metal.place_of[found.triangle]


def _cut(pieces: _Pieces, metal: _Metal, best: _Best, allowed_mm: float) -> Steps[_Pieces]:
    """Cut every piece in two and give those halves that may still be deeper than what is known."""
    edge, share, fits = _where_to_cut(pieces, metal, allowed_mm)
    each = np.arange(len(edge))
    # Turned so that the edge to cut runs from the first corner to the second.
    order = (edge + np.arange(3)[:, None]) % 3
    corners = np.ascontiguousarray(pieces.corners[order, :, each].swapaxes(1, 2))
    depth, near = pieces.depth[order, each], pieces.near.copy()
    near[:3] = near[order, each]
    place = corners[0] + share * (corners[1] - corners[0])
    # Nearer to a corner than that is to the surface, a place is on the same side.
    known = np.zeros(len(edge))
    for end in (0, 1):
        away = np.sqrt(((place - corners[end]) ** 2).sum(axis=0))
        known = np.where(away < 0.999 * np.abs(depth[end]), np.sign(depth[end]), known)
    at_place, near_place = yield from _measured(place, metal, known)
    best.learn(at_place, place)
    kept = (corners, depth, near, pieces.fitted + fits, pieces.bound)
    both = _Pieces(*(np.concatenate((values, values), axis=-1) for values in kept))
    for side, half in enumerate((slice(0, len(edge)), slice(len(edge), None))):
        both.corners[side][:, half], both.depth[side, half], both.near[side, half] = place, at_place, near_place
    both = both.but(both.near, np.minimum(both.bound, _first_bound(both).bound))
    return _bounded(both.pick(np.flatnonzero(both.bound > best.depth)), metal)


def _first_bound(pieces: _Pieces) -> _Pieces:
    """Bound pieces by what is known of their corners alone."""
    edges = pieces.corners[(1, 2, 0), :] - pieces.corners
    longest = np.sqrt((edges * edges).sum(axis=1).max(axis=0))
    bound = pieces.depth.max(axis=0) + _FROM_CORNER * longest
    return pieces.but(pieces.near, bound)


def _bounded(pieces: _Pieces, metal: _Metal) -> _Pieces:
    """Bound pieces also by their distance from single triangles of the other surface, and keep the best of these."""
    if len(pieces.bound) == 0:
        return pieces
    farthest = np.empty((_NEAR, len(pieces.bound)))
    for row in range(_NEAR):
        triangle = metal.surface.corners.take(pieces.near[row], axis=2)
        squares = [feet(triangle, corner)[0] for corner in pieces.corners]
        farthest[row] = np.maximum.reduce(squares)
    chosen = farthest.argmin(axis=0)
    each = np.arange(len(chosen))
    bound = np.minimum(pieces.bound, np.sqrt(farthest[chosen, each]))
    near = pieces.near.copy()
    near[3] = near[chosen, each]
    return pieces.but(near, bound)
