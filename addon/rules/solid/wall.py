"""The thinnest metal of a closed mesh: the diameter of the smallest ball inside it that is held between its sides.

From every place of the surface a ball is blown up (see `held_ball`) until sides that face each other hold it, or until
it no longer reaches back to the place where it began, as where metal runs out in an edge. Its diameter is the thickness
there: the distance of parallel sides, the diameter of a round wire, the thin end of a taper; the corners of a box have
none of their own. The smallest of all is the wall. A ball only counts while the metal contains it whole, so that the
facets of a mesh measure as they are: a wire of n flat sides is as thick as the circle inscribed in them.

A ball found is exact to rounding, in a mesh of many facets to a ten-thousandth. Of two balls nearer in size than
`TOLERANCE` either may be told. A smooth dent could hide between the places where balls begin: it leaves no more than a
twentieth less metal than is told (see `PATCH`). Round the thinnest place the search goes on in smaller steps, and along
the shortest lines between its sides.
"""

from dataclasses import dataclass

import numpy as np

from ..base.progress import Steps, part
from .fitting_ball import too_small_for
from .held_ball import EXACT, LEFT_BEHIND, ROUGH, HeldBalls, held_balls
from .measure import finding_volume
from .mesh import FloatArray, Mesh
from .surface import Surface, nearest_on, surface_of
from .triangle_pairs import closest_points
from .wall_places import EdgeLine, Faces, Places, edges_of, faces_of, few_places, halved, one_a_patch, spread_places

# Balls begin all over the surface, one for every flat patch within a cube whose side is this share of the smallest
# radius r. Its middle is no farther than about e = 0.4 r from the rest of it, where a ball of radius r begun there
# still keeps r + sqrt(r^2 - e^2) of height free: 0.96 of its diameter.
PATCH = 0.4
# Balls that come so near the size of the smallest known count as no smaller.
TOLERANCE = 1e-3
# So much smaller balls that fit at once settle a place.
_NEARLY = 2e-3
# Round the thinnest place the search goes on while it finds metal thinner by the tolerance; this much a round is a tip.
_ROUNDS, _RUNS_OUT = 60, 0.03
_ROUNDING = 1e-9
# The smallest balls are blown up again exactly where the mesh has no more triangles than this: in the middle of a ball
# of many facets every one is as near as the others.
_EXACTLY, _EXACT_MOST = 2, 5_000
# Sides that face each other near the thinnest place, as shares of its radius, and how many triangles of each.
_SIDE, _SIDE_MOST, _FACING = 0.5, 100, -0.5
_FACES = 1 << 16
_LINES = 32
# Metal runs out where the balls are smaller than this in mm, and this share of the size of the mesh.
SHARP_MM, SHARP_SHARE = 0.01, 1e-3
# Balls blown up to begin with, the very first by itself, and then at a time.
_FEW, _FIRST, _MORE = 32, 8, 8192
# Thinner metal asks for smaller patches.
_PASSES, _SMALLER = 4, 1.5


@dataclass(frozen=True, slots=True, eq=False)
class Wall:
    """The thinnest metal: ``thickness_mm`` between ``point_a`` and ``point_b`` (3,), in the mesh's own coordinates.

    ``sharp``: the metal runs out to an edge or a tip, both points lie on it and the thickness is 0.
    """

    thickness_mm: float
    point_a: FloatArray
    point_b: FloatArray
    sharp: bool


@dataclass(frozen=True, slots=True, eq=False)
class _Thinnest:
    """The smallest ball so far: its radius in mm, the two places (2, 3) it touches, and where it ``began`` (3,)."""

    radius: float
    points: FloatArray
    began: FloatArray

    def or_of(self, balls: HeldBalls, at: FloatArray) -> "_Thinnest":
        if len(balls.radius) == 0 or balls.radius.min() >= self.radius:
            return self
        smallest = int(balls.radius.argmin())
        return _Thinnest(float(balls.radius[smallest]), balls.points[smallest], at[smallest])


def thinnest_wall(mesh: Mesh) -> Steps[Wall | None]:
    """Find the thinnest metal of a mesh; None for one that is open, or whose faces look inward or disagree."""
    low, high = mesh.points.min(axis=0), mesh.points.max(axis=0)
    middle, size = 0.5 * (low + high), float((high - low).max())
    here = Mesh(mesh.points - middle, mesh.triangles)
    edges = yield from part(edges_of(here), 0.0, 0.1)
    if edges is None or not (yield from part(finding_volume(here), 0.1, 0.1)) > 0.0:
        return None
    sharp = _sharp_edge(edges)
    if sharp is not None:
        return Wall(0.0, sharp + middle, sharp + middle, True)
    faces = yield from part(faces_of(here), 0.1, 0.15)
    surface = yield from part(surface_of(here), 0.15, 0.25)
    found = yield from part(_search(surface, faces, edges), 0.25, 0.9)
    found = yield from part(_closer(surface, faces, found), 0.9, 1.0)
    if found.radius == np.inf:
        return None
    if 2.0 * found.radius < min(SHARP_MM, SHARP_SHARE * size):
        tip = found.points.mean(axis=0) + middle
        return Wall(0.0, tip, tip, True)
    return Wall(2.0 * found.radius, found.points[0] + middle, found.points[1] + middle, False)


def _sharp_edge(edges: EdgeLine) -> FloatArray | None:
    """Give the middle of the sharpest edge on which a ball would be left behind at once, or None."""
    outer = ~edges.inner & (edges.height > SHARP_MM)
    outer &= np.sqrt(((edges.end - edges.start) ** 2).sum(axis=1)) > SHARP_MM
    sharp = np.flatnonzero(outer & (edges.cosine < 2.0 / LEFT_BEHIND**2 - 1.0))
    if len(sharp) == 0:
        return None
    worst = sharp[int(edges.cosine[sharp].argmin())]
    middle: FloatArray = 0.5 * (edges.start[worst] + edges.end[worst])
    return middle


def _search(surface: Surface, faces: Faces, edges: EdgeLine) -> Steps[_Thinnest]:
    """Blow up balls all over the surface, none much larger than the smallest known."""
    narrow = 0.51 * float((surface.high - surface.low).min())
    found = _Thinnest(np.inf, np.zeros((2, 3)), np.zeros(3))
    found = yield from part(_blown(surface, few_places(faces, _FEW), found, narrow), 0.0, 0.1)
    for turn in range(_PASSES):
        patch = PATCH * min(found.radius, narrow)
        begin = 0.1 + 0.9 * turn / _PASSES
        places = yield from part(spread_places(faces, edges, patch), begin, begin + 0.05)
        found = yield from part(_blown(surface, places, found, narrow), begin + 0.05, begin + 0.9 / _PASSES)
        if patch <= _SMALLER * PATCH * found.radius:
            break
    return found


def _blown(surface: Surface, places: Places, found: _Thinnest, narrow: float) -> Steps[_Thinnest]:
    """Blow up balls at places, one first, then more and more, since each tells how large the others need be."""
    count = len(places.at)
    # Neighbours are far apart in this order, so that thin metal shows early.
    order = np.argsort(np.arange(count) * 0.6180339887498949 % 1.0, kind="stable")
    start, many = 0, _FIRST if found.radius == np.inf else _MORE
    while start < count:
        some = order[start : start + many]
        trying = _tried(surface, Places(places.at[some], places.inward[some]), found, narrow, look_first=True)
        found = yield from part(trying, start / count, min(1.0, (start + many) / count))
        start, many = start + many, _MORE
    return found


def _tried(surface: Surface, places: Places, found: _Thinnest, narrow: float, *, look_first: bool) -> Steps[_Thinnest]:
    """Blow up balls at places, up to the smallest known; the smallest of them are blown up again exactly.

    ``look_first``: pass over the places where a ball nearly so large fits at once.
    """
    largest = min((1.0 - TOLERANCE) * found.radius, narrow)
    at, inward = places.at, places.inward
    if look_first:
        small = yield from part(too_small_for(surface, at, inward, (1.0 - _NEARLY) * largest), 0.0, 0.2)
        at, inward = at[small], inward[small]
    rough = yield from part(held_balls(surface, at, inward, largest, through=ROUGH), 0.2, 0.8)
    if len(surface.numbers) > _EXACT_MOST:
        return found.or_of(rough, at)
    held = np.flatnonzero(rough.radius < np.inf)
    held = held[np.argsort(rough.radius[held], kind="stable")[:_EXACTLY]]
    at, inward = at[held], inward[held]
    return found.or_of((yield from part(held_balls(surface, at, inward, largest), 0.8, 1.0)), at)


def _closer(surface: Surface, faces: Faces, found: _Thinnest) -> Steps[_Thinnest]:
    """Look round the thinnest place in smaller and smaller steps."""
    if found.radius == np.inf:
        return found
    step = PATCH * found.radius
    middle, reach = yield from _middles(faces)
    for turn in range(_ROUNDS):
        known = found.radius
        centres = np.stack((*found.points, found.began))
        near = np.zeros(len(middle), dtype=np.bool_)
        for centre in centres:
            near |= np.sqrt(((middle - centre) ** 2).sum(axis=1)) - reach < 1.5 * step
            yield turn / _ROUNDS
        corners, inward = halved_near(faces.corners[near], faces.inward[near], centres, 1.5 * step, 0.5 * step)
        at = corners.mean(axis=1)
        chosen = one_a_patch(at, inward, 0.5 * step)
        trying = _tried(surface, Places(at[chosen], inward[chosen]), found, known, look_first=False)
        found = yield from part(trying, turn / _ROUNDS, (turn + 1) / _ROUNDS)
        found = yield from part(_between_sides(surface, faces, found), (turn + 1) / _ROUNDS, (turn + 1) / _ROUNDS)
        gain = 1.0 - found.radius / known
        if gain < TOLERANCE or found.radius < 0.1 * SHARP_MM:
            break
        # Metal that runs out is followed in long steps, a dent is looked into in short ones.
        step = min(2.0 * step, found.radius) if gain > _RUNS_OUT else min(0.5 * step, PATCH * found.radius)
    return found


def _middles(faces: Faces) -> Steps[tuple[FloatArray, FloatArray]]:
    """Give the middles (t, 3) of faces and how far their corners are from them (t,)."""
    middle, reach = np.empty((len(faces.corners), 3)), np.empty(len(faces.corners))
    for start in range(0, len(middle), _FACES):
        corners = faces.corners[start : start + _FACES]
        middle[start : start + _FACES] = corners.mean(axis=1)
        apart = corners - middle[start : start + _FACES, None]
        reach[start : start + _FACES] = np.sqrt((apart * apart).sum(axis=2).max(axis=1))
        yield 0.0
    return middle, reach


def _between_sides(surface: Surface, faces: Faces, found: _Thinnest) -> Steps[_Thinnest]:
    """Blow up balls where the sides are nearest to each other round the thinnest place: a neck, or a dent."""
    middle, reach = yield from _middles(faces)
    sides = []
    for point in found.points:
        off = np.sqrt(((middle - point) ** 2).sum(axis=1)) - reach
        near = np.flatnonzero(off < _SIDE * found.radius)
        sides.append(near[np.argsort(off[near], kind="stable")[:_SIDE_MOST]])
    one, other = (x.ravel() for x in np.meshgrid(*sides, indexing="ij"))
    facing = np.flatnonzero((faces.inward[one] * faces.inward[other]).sum(axis=1) < _FACING)
    one, other = one[facing], other[facing]
    if len(one) == 0:
        return found
    gap, p, q = closest_points(faces.corners[one], faces.corners[other])
    yield 0.5
    along = q - p
    through = (along * faces.inward[one]).sum(axis=1) > -_FACING * gap
    through &= (along * faces.inward[other]).sum(axis=1) < _FACING * gap
    shorter = np.flatnonzero(through & (gap < 2.0 * (1.0 - _ROUNDING) * found.radius))
    shorter = shorter[np.argsort(gap[shorter], kind="stable")][:_LINES]
    middles = 0.5 * (p + q)[shorter]
    half = 0.5 * gap[shorter]
    met = yield from nearest_on(surface, middles, (1.0 - ROUGH) * half)
    nearer = met.triangle >= 0
    off = np.where(nearer, met.distance_mm, half)
    # Lines that run along the surface, as at the corner of a box, have no metal round their middle.
    whole = off > 0.5 * half
    foot = np.where(nearer[:, None], met.foot, p[shorter])[whole]
    inward = (middles[whole] - foot) / off[whole, None]
    through = EXACT if len(surface.numbers) <= _EXACT_MOST else ROUGH
    balls = held_balls(surface, foot, inward, (1.0 - _ROUNDING) * found.radius, through=through)
    return found.or_of((yield from balls), foot)


def halved_near(
    corners: FloatArray, inward: FloatArray, points: FloatArray, within: float, patch: float
) -> tuple[FloatArray, FloatArray]:
    """Halve triangles (t, 3, 3) down to patches near points (k, 3); those farther away are left out."""
    done: list[tuple[FloatArray, FloatArray]] = []
    while len(corners):
        middle = corners.mean(axis=1)
        reach = np.sqrt(((corners - middle[:, None]) ** 2).sum(axis=2).max(axis=1))
        off = np.sqrt(((middle[:, None] - points) ** 2).sum(axis=2).min(axis=1))
        near = off - reach < within
        small = near & (reach <= patch)
        done.append((corners[small], inward[small]))
        large = near & ~small
        corners, inward = halved(
            corners[large], inward[large], 0.75 * float(reach[large].max(initial=0.0)), len(corners)
        )
    return np.concatenate([c for c, _ in done]), np.concatenate([n for _, n in done])
