"""Rinse reach: narrow closed-in slots where liquid resin stays, since the way out is long against their width.

Places are spread evenly over every body. The width of the room over a place is the largest ball that rests on it and
reaches into nothing, as in the gap field but square to the surface; where that ball is as wide as `WIDEST_MM` the place
is open. For a width w, a place of narrower room has its way out to the nearest place of wider room, along the surface.
It is out of reach when that way is longer than `WAY_SHARE` times w for some w that the slot itself has.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from ..base.errors import BadInput
from ..base.progress import Steps, part
from ..solid.candidates import near_boxes, same_questions
from ..solid.measure import bounds_mm, normals
from ..solid.mesh import Body, FloatArray, IntArray, Mesh, Pose, rigid
from ..solid.metal import in_metal_of
from ..solid.section import expanded
from ..solid.surface import Surface, nearest_on, surface_of
from ..solid.wall_places import halved
from ..solid.weld import components
from .body_findings import as_point
from .finding import Finding

BoolArray = npt.NDArray[np.bool_]
Point = tuple[float, float, float]

# Wider room is rinsed by moving the job in the bath. Our judgement.
WIDEST_MM = 0.6
# A way out so many times as long as the slot is wide is too long. Our judgement.
WAY_SHARE = 8.0
# A smaller area holds no more than a droplet. Our judgement.
LEAST_MM2 = 1.0
# Places are so far apart, or farther where a body is so large that there would be more than `_MOST`: a way out is true
# to two of that and 3 % of its length, whatever the mesh.
SPACING_MM = 0.2
_MOST = 40_000
# Slots told of one by one.
SHOWN = 5
# A ball may reach through the surface by this share of its radius: facets beside each other lean in that much.
_ROUGH = 0.05
_MOVES = 12
# Places are neighbours when they are no farther apart than this many spacings and do not look at each other.
_REACH, _OPPOSITE = 2.2, -0.3
# Widths looked at in one slot, and the least one, mm: narrower room has bled shut.
_LEVELS, _THINNEST_MM = 8, 0.03
_ABOVE = 1.02
_AT_ONCE = 1 << 17
_PIECES = 1 << 13


@dataclass(frozen=True, slots=True)
class Slot:
    """A slot between bodies ``a`` and ``b``, the same where it lies within one: nowhere wider than ``width_mm``.

    ``at`` its innermost place on ``a``, ``across`` what lies over it on ``b``; ``way_mm`` from there to the open,
    infinite where there is no way; ``area_mm2`` of one side, as far as it is out of reach.
    """

    a: str
    b: str
    at: Point
    across: Point
    width_mm: float
    way_mm: float
    area_mm2: float


@dataclass(frozen=True, slots=True, eq=False)
class _Places:
    """Places of a surface: ``at`` (n, 3), unit ``out`` (n, 3), the area (n,) each stands for, ``spacing_mm``."""

    at: FloatArray
    out: FloatArray
    area_mm2: FloatArray
    spacing_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class _Found:
    """A slot in a body's own coordinates: ``other`` the number of the neighbour across it, -1 for the body itself."""

    other: int
    at: FloatArray
    across: FloatArray
    width_mm: float
    way_mm: float
    area_mm2: float


@dataclass(frozen=True, slots=True)
class _Obstacle:
    """A mesh and its surface, and the pose in which it stands beside a body; ``met``: the body may reach into it."""

    mesh: Mesh
    surface: Surface
    pose: Pose
    met: bool


def rinse_reach(
    bodies: Sequence[Body], *, fused: Sequence[tuple[int, int]] | None = None, widest_mm: float = WIDEST_MM
) -> Steps[tuple[Slot, ...]]:
    """Find the slots of bodies and between them, the largest area first.

    ``fused``: the only pairs of bodies that touch or cross; None when nobody knows. What lies in another body's metal
    is no room. Only room narrower than ``widest_mm`` is looked at. Equal meshes among equal neighbours are asked once.
    Raises BadInput for no bodies, one without area, or a width that is not a number above 0.
    """
    if not bodies:
        raise BadInput("rinse: there is no body; give at least one mesh")
    if not (math.isfinite(widest_mm) and widest_mm > 0.0):
        raise BadInput(f"rinse: a width of {widest_mm:g} mm does not work; give a number above 0 mm")
    for body in {id(body.mesh): body for body in reversed(bodies)}.values():
        if not normals(body.mesh.points[body.mesh.triangles]).any():
            raise BadInput(f"rinse: {body.name} has no area; delete it, or give it a surface")
        yield 0.01
    stand = [rigid(body) for body in bodies]
    numbers: dict[int, int] = {}
    mesh_of = np.array([numbers.setdefault(id(body.mesh), len(numbers)) for body in stand], dtype=np.int64)
    ends = np.array([bounds_mm(body.points()) for body in stand])
    yield 0.02
    pairs = yield from part(near_boxes(ends[:, 0], ends[:, 1], widest_mm), 0.02, 0.05)
    _, question, exchanged = same_questions(
        mesh_of,
        np.array([body.pose.rotation for body in stand]),
        np.array([body.pose.origin for body in stand]),
        np.array([float(np.abs(body.mesh.points).max()) for body in stand]),
        pairs,
    )
    around: list[list[tuple[int, int]]] = [[] for _ in stand]
    for (a, b), asked, turned in zip(pairs.tolist(), question.tolist(), exchanged.tolist(), strict=True):
        around[a].append((2 * asked + turned, b))
        around[b].append((2 * asked + 1 - turned, a))
    met = None if fused is None else {frozenset(pair) for pair in fused}
    ready: dict[int, Surface] = {}
    spread: dict[int, _Places] = {}
    known: dict[tuple[int, ...], tuple[_Found, ...]] = {}
    found: list[tuple[int, int, _Found]] = []
    for number, body in enumerate(stand):
        begin, end = 0.05 + 0.95 * number / len(stand), 0.05 + 0.95 * (number + 1) / len(stand)
        beside = sorted(around[number])
        asks = (int(mesh_of[number]), *(ask for ask, _ in beside))
        if asks not in known:
            for which in (number, *(other for _, other in beside)):
                if int(mesh_of[which]) not in ready:
                    making = surface_of(stand[which].mesh)
                    ready[int(mesh_of[which])] = yield from part(making, begin, begin)
            if int(mesh_of[number]) not in spread:
                spread[int(mesh_of[number])] = yield from part(_spread(body.mesh), begin, begin)
            obstacles = [
                _Obstacle(
                    stand[which].mesh,
                    ready[int(mesh_of[which])],
                    _beside(body.pose, stand[which].pose),
                    which != number and (met is None or frozenset((number, which)) in met),
                )
                for which in (number, *(other for _, other in beside))
            ]
            searching = _slots(spread[int(mesh_of[number])], obstacles, widest_mm)
            known[asks] = yield from part(searching, begin, end)
        found += [(number, number if f.other < 0 else beside[f.other][1], f) for f in known[asks]]
        yield end
    return _told(bodies, stand, found)


def rinse_findings(slots: Sequence[Slot]) -> tuple[Finding, ...]:
    """Say where liquid resin stays, the largest slots one by one and the others together.

    That resin left in a slot cures there, or is left in the mould as ash, is common practice, no published source.
    """
    told = []
    for slot in slots[:SHOWN]:
        names: tuple[str, ...] = (slot.a,) if slot.a == slot.b else (slot.a, slot.b)
        way = f"{slot.way_mm:.1f} mm from the nearest way out" if math.isfinite(slot.way_mm) else "with no way out"
        told.append(
            Finding(
                "rinse", "warn", names,
                f"{' and '.join(names)}: {slot.area_mm2:.2g} mm2 of slot under {slot.width_mm:.2f} mm wide, {way}; "
                "liquid resin stays in it and cures there. Open the gap, or rinse twice with the joint moved, with a "
                "syringe or ultrasound, as the resin maker's data sheet says, with gloves.",
                slot.at, slot.way_mm / slot.width_mm, WAY_SHARE,
            )
        )  # fmt: skip
    others = slots[SHOWN:]
    if others:
        area = sum(slot.area_mm2 for slot in others)
        names = tuple(dict.fromkeys(name for slot in others for name in (slot.a, slot.b)))
        text = f"{len(others)} more slots where liquid resin stays, {area:.2g} mm2 in all; rinse them in the same way."
        told.append(Finding("rinse", "warn", names, text, others[0].at, area, LEAST_MM2))
    return tuple(told)


def _beside(own: Pose, other: Pose) -> Pose:
    """Give the pose of another body as one body sees it."""
    back = own.rotation.T
    return Pose(back @ other.rotation, back @ (other.origin - own.origin))


def _spread(mesh: Mesh) -> Steps[_Places]:
    """Spread places evenly: pieces of triangles that look the same way in one cube are one place."""
    outward = normals(mesh.points[mesh.triangles])
    twice = np.sqrt((outward * outward).sum(axis=1))
    real = np.flatnonzero(twice > 0.0)
    spacing = max(SPACING_MM, math.sqrt(0.5 * float(twice.sum()) / _MOST))
    yield 0.1
    pieces, ways = [], []
    # About as many pieces as each triangle falls into, so that a step takes as long for long thin ones as for small.
    faces = mesh.points[mesh.triangles[real]]
    longest = np.sqrt(((faces - faces[:, (1, 2, 0)]) ** 2).sum(axis=2).max(axis=1))
    expected = (1.0 + longest / spacing) * (1.0 + twice[real] / (longest * spacing))
    so_far = np.cumsum(expected)
    ends = np.unique(np.searchsorted(so_far, np.arange(_PIECES, so_far[-1], _PIECES)))
    for some in np.split(np.arange(len(real)), ends[ends > 0]):
        most = int(1.0 + 8.0 * _MOST * expected[some].sum() / so_far[-1])
        corners, looking = halved(faces[some], outward[real[some]] / twice[real[some], None], 0.5 * spacing, most)
        pieces.append(corners)
        ways.append(looking)
        yield 0.1 + 0.6 * float(so_far[some[-1]] / so_far[-1])
    corners, out = np.concatenate(pieces), np.concatenate(ways)
    turned = normals(corners)
    area = 0.5 * np.sqrt((turned * turned).sum(axis=1))
    middle = corners.mean(axis=1)
    yield 0.8
    place = _numbered(
        np.column_stack([np.floor(middle / spacing).astype(np.int64), np.rint(1.5 * out).astype(np.int64)])
    )
    yield 0.9
    count = int(place.max()) + 1
    whole: FloatArray = np.bincount(place, area, count).astype(np.float64)
    mean = np.stack([np.bincount(place, area * middle[:, k], count) for k in range(3)], axis=1) / whole[:, None]
    off = np.linalg.norm(middle - mean[place], axis=1)
    # The piece nearest to the middle of all stands for them: it lies on the surface, their mean may not.
    order = np.lexsort((off, place))
    chosen = order[np.searchsorted(place[order], np.arange(count))]
    return _Places(middle[chosen], out[chosen], whole, spacing)


def _numbered(rows: IntArray) -> IntArray:
    """Give equal rows (n, k) the same number, (n,), from 0."""
    rows = rows - rows.min(axis=0)
    key = np.zeros(len(rows), dtype=np.int64)
    for column in rows.T:
        key = key * (int(column.max()) + 1) + column
    numbers: IntArray = np.unique(key, return_inverse=True)[1].reshape(-1)
    return numbers


def _slots(places: _Places, obstacles: Sequence[_Obstacle], widest_mm: float) -> Steps[tuple[_Found, ...]]:
    """Find the slots beside one body; the first obstacle is its own surface."""
    for metal in obstacles:
        if metal.met:
            seen = (places.at - metal.pose.origin) @ metal.pose.rotation
            inside = yield from in_metal_of(metal.mesh, metal.surface, seen)
            places = replace(places, at=places.at[~inside], out=places.out[~inside], area_mm2=places.area_mm2[~inside])
    width, across, foot = yield from part(_widths(places, obstacles, widest_mm), 0.0, 0.8)
    narrow = np.flatnonzero(across >= 0)
    if len(narrow) == 0:
        return ()
    one, other, length = yield from part(_links(places, narrow), 0.8, 0.85)
    inner = across[other] >= 0
    piece = components(len(width), one[inner], other[inner])
    area = np.bincount(piece[narrow], places.area_mm2[narrow], len(width))
    found: list[_Found] = []
    held_before = np.zeros((0, 3))
    for which in np.argsort(-area, kind="stable"):
        if area[which] < LEAST_MM2:
            break
        mine = np.flatnonzero(piece[one] == which)
        inside = narrow[piece[narrow] == which]
        searching = _of_piece(places, width, foot, one[mine], other[mine], length[mine], inside)
        slot, held = yield from part(searching, 0.9, 0.9)
        if slot is None:
            continue
        # A slot within one body has two sides: the other one is the same slot.
        if np.bincount(across[held]).argmax() == 0 and _same(foot[held], held_before, 2.0 * places.spacing_mm):
            continue
        held_before = np.concatenate([held_before, places.at[held]])
        found.append(replace(slot, other=int(np.bincount(across[held]).argmax()) - 1))
    return tuple(found)


def _widths(
    places: _Places, obstacles: Sequence[_Obstacle], widest_mm: float
) -> Steps[tuple[FloatArray, IntArray, FloatArray]]:
    """Find the widest ball on every place: its diameter (n,), what it meets (n,), -1 where open, and where.

    A ball that reaches into something is made so small that it touches it there, until it reaches into nothing
    (J. Ma, S. W. Bae and S. Choi, 3D medial axis point approximation using nearest neighbors and the normal field, The
    Visual Computer 28, 2012; from memory).
    """
    count = len(places.at)
    across, feet = np.full(count, -1), np.zeros((count, 3))
    # A wide ball over a wall this near touches it almost where it rests, so a thin one looks for those.
    radius = np.full(count, 0.5 * _THINNEST_MM)
    bled = yield from part(_struck(places, np.arange(count), radius, obstacles, across, feet), 0.0, 0.1)
    radius[:] = 0.5 * max(widest_mm, _THINNEST_MM)
    radius[bled] = 0.5 * _THINNEST_MM
    left = np.flatnonzero(across < 0)
    for move in range(_MOVES):
        begin, end = 0.1 + 0.9 * move / _MOVES, 0.1 + 0.9 * (move + 1) / _MOVES
        left = yield from part(_struck(places, left, radius, obstacles, across, feet), begin, end)
        if len(left) == 0:
            break
        apart = feet[left] - places.at[left]
        ahead = np.maximum((apart * places.out[left]).sum(axis=1), 1e-12)
        radius[left] = np.minimum((apart * apart).sum(axis=1) / (2.0 * ahead), radius[left])
        left = left[2.0 * radius[left] > _THINNEST_MM]
    return np.maximum(2.0 * radius, _THINNEST_MM), across, feet


def _struck(
    places: _Places,
    left: IntArray,
    radius: FloatArray,
    obstacles: Sequence[_Obstacle],
    across: IntArray,
    feet: FloatArray,
) -> Steps[IntArray]:
    """Give the places of ``left`` whose ball reaches into something; enters in ``across`` what, in ``feet`` where."""
    hit: list[IntArray] = [left[:0]]
    for begin in range(0, len(left), _AT_ONCE):
        some = left[begin : begin + _AT_ONCE]
        middle = places.at[some] + radius[some, None] * places.out[some]
        within = radius[some] * (1.0 - _ROUGH)
        widest = float(within.max())
        touched = np.zeros(len(some), dtype=bool)
        for number, one in enumerate(obstacles):
            seen = (middle - one.pose.origin) @ one.pose.rotation
            near = ((seen >= one.surface.low - widest) & (seen <= one.surface.high + widest)).all(axis=1)
            rows = np.flatnonzero(near)
            met = yield from part(
                nearest_on(one.surface, seen[rows], within[rows]), begin / len(left), begin / len(left)
            )
            struck = np.flatnonzero(met.triangle >= 0)
            rows = rows[struck]
            within[rows] = met.distance_mm[struck]
            across[some[rows]], touched[rows] = number, True
            feet[some[rows]] = one.pose.apply(met.foot[struck])
        hit.append(some[touched])
    return np.concatenate(hit)


def _links(places: _Places, narrow: IntArray) -> Steps[tuple[IntArray, IntArray, FloatArray]]:
    """Give, for narrow places, all neighbours: the place, its neighbour, their distance, (m,) each."""
    reach = _REACH * places.spacing_mm
    cell = np.floor(places.at / reach).astype(np.int64)
    cell -= cell.min(axis=0) - 1
    wide = cell.max(axis=0) + 2
    key = (cell[:, 0] * wide[1] + cell[:, 1]) * wide[2] + cell[:, 2]
    order = np.argsort(key, kind="stable")
    ordered = key[order]
    ones, others = [], []
    for shift in np.argwhere(np.ones((3, 3, 3))) - 1:
        asked = key[narrow] + (shift[0] * wide[1] + shift[1]) * wide[2] + shift[2]
        begin = np.searchsorted(ordered, asked)
        one, place = expanded(narrow, begin, np.searchsorted(ordered, asked, side="right") - begin)
        other = order[place]
        apart = places.at[one] - places.at[other]
        near = ((apart * apart).sum(axis=1) <= reach * reach) & (one != other)
        near &= (places.out[one] * places.out[other]).sum(axis=1) > _OPPOSITE
        ones.append(one[near])
        others.append(other[near])
        yield len(ones) / 27.0
    one, other = np.concatenate(ones), np.concatenate(others)
    return one, other, np.linalg.norm(places.at[one] - places.at[other], axis=1)


def _of_piece(
    places: _Places,
    width: FloatArray,
    foot: FloatArray,
    one: IntArray,
    other: IntArray,
    length: FloatArray,
    mine: IntArray,
) -> Steps[tuple[_Found | None, IntArray]]:
    """Find what of a narrow piece is out of reach, and the places of it; ``mine`` (k,) its places."""
    out_of_reach = np.zeros(len(width), dtype=bool)
    worst, told = WAY_SHARE, None
    for level in np.unique(_ABOVE * np.quantile(width[mine], (np.arange(_LEVELS) + 1.0) / _LEVELS)):
        inside = np.zeros(len(width), dtype=bool)
        inside[mine] = width[mine] <= level
        way = yield from _ways(one, other, length, inside)
        here = mine[inside[mine]]
        out_of_reach[here[way[here] > WAY_SHARE * level]] = True
        deepest = here[way[here].argmax()]
        if way[deepest] / level > worst:
            worst, told = way[deepest] / level, (deepest, float(level), float(way[deepest]))
    held = np.flatnonzero(out_of_reach)
    area = float(places.area_mm2[held].sum())
    if told is None or area < LEAST_MM2:
        return None, held
    return _Found(-1, places.at[told[0]], foot[told[0]], told[1], told[2], area), held


def _ways(one: IntArray, other: IntArray, length: FloatArray, inside: BoolArray) -> Steps[FloatArray]:
    """Give the way (n,) from every place inside to the nearest outside, along links both ways; infinite without one."""
    way = np.full(len(inside), np.inf)
    edge = inside[one] & ~inside[other]
    # The rim of the slot lies between the last place inside and the first outside.
    np.minimum.at(way, one[edge], 0.5 * length[edge])
    within = inside[one] & inside[other]
    one, other, length = one[within], other[within], length[within]
    while True:
        longer = way[other] + length
        better = longer < way[one]
        if not better.any():
            return way
        np.minimum.at(way, one[better], longer[better])
        yield 0.5


def _same(feet: FloatArray, places: FloatArray, near_mm: float) -> bool:
    """Tell whether most of the feet (n, 3) lie on places (m, 3) told of before."""
    if len(places) == 0:
        return False
    some = feet[:: max(1, len(feet) // 50)]
    off = np.array([((places - foot) ** 2).sum(axis=1).min() for foot in some])
    return bool((off < near_mm**2).mean() > 0.5)


def _told(bodies: Sequence[Body], stand: Sequence[Body], found: Sequence[tuple[int, int, _Found]]) -> tuple[Slot, ...]:
    """Give the slots by size; of the two sides of a pair's slots those with the larger area count."""
    total: dict[tuple[int, int], float] = {}
    for own, other, slot in found:
        total[own, other] = total.get((own, other), 0.0) + slot.area_mm2
    slots = []
    for own, other, slot in found:
        mine, theirs = total[own, other], total.get((other, own), 0.0)
        if own != other and (mine, other) < (theirs, own):
            continue
        at, across = (as_point(place) for place in stand[own].pose.apply(np.stack([slot.at, slot.across])))
        names = bodies[own].name, bodies[other].name
        slots.append(Slot(*names, at, across, slot.width_mm, slot.way_mm, slot.area_mm2))
    return tuple(sorted(slots, key=lambda slot: -slot.area_mm2))
