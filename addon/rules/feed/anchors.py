"""Anchor points: the places of a body where a gate may enter it from below, best first.

A gate must hold every place where printing a body begins; further places lie all over what can be entered from below,
in the order of their scores. None lies in a joint or where the maker wants no gate, unless printing begins there: such
a one stays and is marked. From above, turn the body over.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from ..base.progress import Steps, finish
from ..solid.feet import feet
from ..solid.mesh import Body, FloatArray, IntArray
from .around import near_each_other, one_per_cell
from .facets import surface_places
from .piercing import pierced_side_by_side
from .score import Places, Setting, scored, setting
from .spec import FeedSpec
from .starts import LEVEL_MM, dents, valleys

BoolArray = npt.NDArray[np.bool_]

# Wire directions nearer to upright than this are not entered from below.
STEEPEST = 0.87
MOST_OTHERS = 20
# Faces of a mesh that look down by less than this are not entered from below.
LEAST_DOWN = 0.3
# On a mesh, one place per cell of this size is looked at.
CELL_MM = 1.2
# A surface is plane where it stays within this angle (its cosine) and height, this far around.
PLANE_COS, PLANE_MM, AROUND_MM = 0.996, 0.05, 1.2
# A line upwards enters where it was meant to, within this: facets slope.
NEAR_ENTRY_MM = 0.05
UP = np.array([0.0, 0.0, 1.0])


@dataclass(frozen=True, slots=True, eq=False)
class Anchors:
    """Places on one body, best first: ``points`` (k, 3) in the middle of the metal, ``along`` (k, 3) the wire there.

    ``lowest`` (k,) how high the underside is; ``arc_mm`` (k,) how far along the wire. ``along`` is zero on a mesh that
    we did not draw; ``half_mm`` (k,) is half the thickness of the metal seen from below. ``holds`` tells how many of
    the first places each hold an island of their own. ``score`` (k,) as in `Score.total`. Among the holds, ``in_joint``
    (k,) tells those in a joint, and ``kept_out`` (k,) those that stand beside their island because the maker keeps it
    out; ``closed`` tells that he keeps out all places there are, so that none may be used. ``thick_mm`` (k,) is the
    ball that the metal holds there. All from ``score`` on are empty where places were not compared.
    """

    points: FloatArray
    along: FloatArray
    lowest: FloatArray
    half_mm: FloatArray
    arc_mm: FloatArray
    holds: int
    score: FloatArray = field(default_factory=lambda: np.zeros(0))
    in_joint: BoolArray = field(default_factory=lambda: np.zeros(0, dtype=bool))
    kept_out: BoolArray = field(default_factory=lambda: np.zeros(0, dtype=bool))
    closed: bool = False
    thick_mm: FloatArray = field(default_factory=lambda: np.zeros(0))

    def metal_mm(self, row: int) -> float:
        """Give how thick the metal is that a tip goes into: along a limb that stands upright it is not its length."""
        seen = 2 * float(self.half_mm[row])
        return min(seen, float(self.thick_mm[row])) if len(self.thick_mm) else seen


@dataclass(frozen=True, slots=True, eq=False)
class _Found:
    """All places looked at on one body, holds first, in the view it is seen in; fields as in `Anchors` and `Places`."""

    points: FloatArray
    along: FloatArray
    lowest: FloatArray
    half_mm: FloatArray
    arc_mm: FloatArray
    facing: FloatArray
    thick_mm: FloatArray
    flat: FloatArray
    holds: int
    spacing_mm: float

    def surface(self) -> FloatArray:
        """Give where gates enter that rise straight, (k, 3)."""
        level = np.sqrt(np.maximum(1.0 - self.along[:, 2] ** 2, 1.0 - STEEPEST**2))
        return np.asarray(self.points - (self.half_mm / level)[:, None] * UP)


def anchors(body: Body, turned: FloatArray) -> Anchors:
    """Find the anchor points of a body by itself; ``turned`` (3,) is ones, or (1, 1, -1) to enter it from above."""
    return finish(all_anchors((body,), FeedSpec(), turned))[0]


def all_anchors(
    bodies: Sequence[Body], spec: FeedSpec, turned: FloatArray, *, tip_mm: float | None = None
) -> Steps[tuple[Anchors, ...]]:
    """Find the anchor points of every body among its neighbours, for a tip of ``tip_mm`` (None: as written, or usual).

    Bodies that share a mesh, a tilt and the way their neighbours stand are looked at once. Raises BadInput for marked
    triangles that the link does not have.
    """
    bodies = tuple(bodies)
    if not bodies:
        return ()
    at = setting(bodies, spec, turned, tip_mm=tip_mm)
    yield 0.2
    known: dict[tuple[int, bytes], tuple[int, _Found]] = {}
    found: list[_Found] = []
    for k, body in enumerate(bodies):
        key = (id(body.mesh), np.round(body.pose.rotation[2], 9).tobytes())
        if key not in known:
            known[key] = (k, _looked_at(body, turned))
        leader, here = known[key]
        found.append(here if leader == k else _carried(here, bodies[leader], body, turned))
        yield 0.2 + 0.5 * k / len(bodies)
    leaders = _leaders(at)
    some = np.unique(leaders)
    thickest = np.array([one.thick_mm.max() for one in found])
    every = [found[k] for k in some]
    counts = [len(one.points) for one in every]
    places = _as_places(every, some)
    result = scored(places, at, thickest)
    yield 0.9
    heads = np.cumsum(counts) - counts
    chosen: dict[int, _Choice] = {}
    for leader, head, count in zip(some.tolist(), heads.tolist(), counts, strict=True):
        rows = slice(head, head + count)
        joint, out = result.joint_mm[rows] <= 0.0, result.room_mm[rows] < 0.0
        chosen[leader] = _chosen(found[leader], np.round(result.total[rows], 6), joint, out)
    return tuple(_taken(one, chosen[int(leader)]) for one, leader in zip(found, leaders, strict=True))


def places_of(body: Body, number: int, turned: FloatArray) -> tuple[Places, float]:
    """Give all places looked at on a body as they are scored, under its ``number``, and its thickest metal in mm."""
    found = _looked_at(body, turned)
    return _as_places([found], np.array([number])), float(found.thick_mm.max())


def _looked_at(body: Body, turned: FloatArray) -> _Found:
    return _on_wire(body, turned) if body.wire is not None else _on_mesh(body, turned)


def _as_places(found: Sequence[_Found], numbers: IntArray) -> Places:
    counts = [len(one.points) for one in found]
    return Places(
        np.repeat(numbers, counts),
        np.concatenate([one.surface() for one in found]),
        np.concatenate([one.facing for one in found]),
        np.concatenate([one.thick_mm for one in found]),
        np.concatenate([one.flat for one in found]),
        np.concatenate([np.arange(n) < one.holds for n, one in zip(counts, found, strict=True)]),
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Choice:
    """The rows of the places chosen, and what is told of them; as in `Anchors`."""

    rows: IntArray
    score: FloatArray
    in_joint: BoolArray
    kept_out: BoolArray
    closed: bool


def _taken(found: _Found, choice: _Choice) -> Anchors:
    rows = choice.rows
    return Anchors(
        found.points[rows],
        found.along[rows],
        found.lowest[rows],
        found.half_mm[rows],
        found.arc_mm[rows],
        found.holds,
        choice.score,
        choice.in_joint,
        choice.kept_out,
        choice.closed,
        found.thick_mm[rows],
    )


def _chosen(found: _Found, score: FloatArray, joint: BoolArray, out: BoolArray) -> _Choice:
    """Choose the holds, or what is nearest to one that is kept out; then by score further places that lie apart."""
    free = ~(joint | out)
    free[: found.holds] = False
    chosen: list[int] = []
    for hold in range(found.holds):
        away = np.linalg.norm(found.points - found.points[hold], axis=1)
        beside = np.flatnonzero(free)
        chosen.append(int(beside[np.round(away[beside], 6).argmin()]) if out[hold] and len(beside) else hold)
        free[chosen[-1]] = False
    for k in chosen:
        free &= np.linalg.norm(found.points - found.points[k], axis=1) >= found.spacing_mm
    for k in np.lexsort((found.arc_mm, np.round(found.lowest, 6), -score)):
        if len(chosen) == found.holds + MOST_OTHERS:
            break
        if free[k]:
            chosen.append(int(k))
            free &= np.linalg.norm(found.points - found.points[k], axis=1) >= found.spacing_mm
    rows = np.array(chosen, dtype=np.int64)
    kept_out = np.zeros(len(rows), dtype=bool)
    kept_out[: found.holds] = out[: found.holds]
    return _Choice(rows, score[rows], joint[rows], kept_out, bool(out[rows].all()))


def _leaders(at: Setting) -> IntArray:
    """Give for every body the first one that is its like, (n,): mesh, tilt, neighbours, outward side, bars."""
    rotation = np.array([body.pose.rotation for body in at.bodies])
    origin = np.array([body.pose.origin for body in at.bodies])
    _, mesh = np.unique(np.array([id(body.mesh) for body in at.bodies]), return_inverse=True)
    one, other = near_each_other(at.bodies)
    turn = np.einsum("pji,pjk->pik", rotation[one], rotation[other]).reshape(-1, 9)
    shift = np.einsum("pji,pj->pi", rotation[one], origin[other] - origin[one])
    key = np.column_stack((mesh[other], np.round(turn, 4) + 0.0, np.round(shift, 3) + 0.0))
    _, kind = np.unique(key, axis=0, return_inverse=True)
    kind = kind.reshape(-1)
    out = np.round(np.einsum("nji,nj->ni", rotation, at.outward), 2) + 0.0
    first = np.searchsorted(one, np.arange(len(at.bodies) + 1))
    known: dict[tuple[object, ...], int] = {}
    leaders = []
    for k, body in enumerate(at.bodies):
        alike = (
            int(mesh[k]),
            (np.round(rotation[k, 2], 9) + 0.0).tobytes(),
            np.sort(kind[first[k] : first[k + 1]]).tobytes(),
            out[k].tobytes(),
            body.name if body.name in at.keep_out.places else None,
        )
        leaders.append(known.setdefault(alike, k))
    return np.array(leaders, dtype=np.int64)


def _carried(found: _Found, leader: Body, body: Body, turned: FloatArray) -> _Found:
    """Give what was found on one body for another of the same mesh and tilt."""
    turn = body.pose.rotation @ leader.pose.rotation.T
    points = ((found.points * turned - leader.pose.origin) @ turn.T + body.pose.origin) * turned
    rise = points[:, 2] - found.points[:, 2]
    along, facing = (((v * turned) @ turn.T) * turned for v in (found.along, found.facing))
    return replace(found, points=points, along=along, facing=facing, lowest=found.lowest + rise)


def _on_wire(body: Body, turned: FloatArray) -> _Found:
    assert body.wire is not None
    line = body.pose.apply(body.wire.centreline) * turned
    r = body.wire.radius_mm
    length = np.linalg.norm(np.roll(line, -1, axis=0) - line, axis=1)
    along = np.roll(line, -1, axis=0) - np.roll(line, 1, axis=0)
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    level = np.sqrt(np.maximum(0.0, 1.0 - along[:, 2] ** 2))
    lowest = line[:, 2] - r * level
    arc = np.concatenate(([0.0], np.cumsum(length)[:-1]))
    whole = float(length.sum())
    holds = valleys(lowest)
    spacing = max(r, whole / (MOST_OTHERS + len(holds) + 1))
    # Looked at are places at even steps from the deepest start, so that alike links are looked at alike.
    steps = np.arange(1, max(2, int(2 * whole / spacing))) * spacing / 2
    wanted = (arc[holds[0]] + steps[steps < whole]) % whole
    others = np.searchsorted(arc, wanted, side="right") - 1
    others = others[np.abs(along[others, 2]) < STEEPEST]
    rows = np.concatenate((holds, others[~np.isin(others, holds)])).astype(np.int64)
    down = along * along[:, 2:] - UP
    facing = down / np.maximum(level, 1e-9)[:, None]
    k = len(rows)
    return _Found(
        line[rows], along[rows], lowest[rows], np.full(k, r), arc[rows], facing[rows],
        np.full(k, 2 * r), np.zeros(k), len(holds), spacing,
    )  # fmt: skip


def _on_mesh(body: Body, turned: FloatArray) -> _Found:
    """Find the places under a mesh of other origin: its starts, each in the middle of what lies level, then others."""
    points = body.points() * turned
    t = body.mesh.triangles if turned[2] > 0 else body.mesh.triangles[:, ::-1]
    corners, middle = points[t], points.mean(axis=0)
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-300)
    down = np.flatnonzero(normal[:, 2] < 0.0)
    under, row = surface_places(points, t[down])
    facing = normal[down[row]]
    starts, wanted = [], []
    for dent in dents(points, t):
        low, high = dent.min(axis=0) - LEVEL_MM, dent.max(axis=0) + LEVEL_MM
        level = np.flatnonzero(((under >= low) & (under <= high)).all(axis=1))
        # The middle of what lies level, where that is metal; else the place nearest to it. What stands on a level edge
        # is held at the middle of that.
        wanted.append((under[level] if len(level) and len(dent) != 2 else dent).mean(axis=0))
        near = level if len(level) else np.arange(len(under))
        starts.append(int(near[np.linalg.norm(under[near] - wanted[-1], axis=1).argmin()]))
    enough = np.flatnonzero(facing[:, 2] <= -LEAST_DOWN)
    others = enough[one_per_cell(under[enough] - middle, CELL_MM)]
    rows = np.concatenate((starts, others[~np.isin(others, starts)])).astype(np.int64)
    n = len(starts)
    entry, half, good = _through(corners, under[rows], middle)
    there, half_there, level_there = _through(corners, np.array(wanted).reshape(-1, 3), middle)
    entry[:n][level_there], half[:n][level_there] = there[level_there], half_there[level_there]
    good[:n] |= level_there
    holds = int(np.count_nonzero(good[:n]))
    rows, entry, half = rows[good], entry[good], half[good]
    face, flat = facing[rows], _plane(under, facing, rows)
    if not holds:  # No line enters where printing begins: the middle of the body stands for it.
        entry, half = np.concatenate((middle[None], entry)), np.concatenate(([0.0], half))
        face, flat = np.concatenate((-UP[None], face)), np.concatenate(([0.0], flat))
        holds = 1
    centre = entry + half[:, None] * UP
    k = len(entry)
    return _Found(
        centre, np.zeros((k, 3)), entry[:, 2], half, np.zeros(k), face,
        thickness_mm(corners, centre, 2 * half), flat, holds,
        max(CELL_MM, float(np.ptp(points, axis=0).max()) / 10),
    )  # fmt: skip


def _through(corners: FloatArray, spots: FloatArray, middle: FloatArray) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Follow lines upwards from below places (k, 3) of the surface: where they enter there, half the metal, if they do.

    Lines go a little towards the middle of the body, so that they meet faces and not just a corner or an edge.
    """
    starts = spots - UP
    starts[:, :2] += 1e-4 * (middle[:2] - starts[:, :2])
    flat_low, flat_high = corners[:, :, :2].min(axis=1), corners[:, :, :2].max(axis=1)
    entry, half, good = starts.copy(), np.zeros(len(spots)), np.zeros(len(spots), dtype=bool)
    for k, start in enumerate(starts):
        near = ((flat_low <= start[:2]) & (start[:2] <= flat_high)).all(axis=1)
        cuts = pierced_side_by_side(corners[near], (start - 1e3 * UP)[None], UP)[0] - 1e3
        if len(cuts) < 2 or len(cuts) % 2:
            continue
        which = 2 * int(np.abs(cuts[::2] - 1.0).argmin())
        if abs(cuts[which] - 1.0) < NEAR_ENTRY_MM:
            entry[k] = start + cuts[which] * UP
            half[k], good[k] = (cuts[which + 1] - cuts[which]) / 2, True
    return entry, half, good


def thickness_mm(corners: FloatArray, middle: FloatArray, chord_mm: FloatArray) -> FloatArray:
    """Give how thick metal is around places (k, 3) in it, (k,): the ball there that fits into triangles (m, 3, 3).

    ``middle`` is in the middle of a chord of length ``chord_mm`` (k,) through the metal.
    """
    low, high = corners.min(axis=1), corners.max(axis=1)
    thick = chord_mm.copy()
    for k, (here, chord) in enumerate(zip(middle, chord_mm, strict=True)):
        near = np.flatnonzero(((low <= here + chord / 2) & (high >= here - chord / 2)).all(axis=1))
        if len(near):
            at = np.broadcast_to(here[:, None], (3, len(near)))
            square, _ = feet(np.moveaxis(corners[near], 0, -1), at)
            thick[k] = min(chord, 2 * float(np.sqrt(square.min())))
    return thick


def _plane(under: FloatArray, facing: FloatArray, rows: IntArray) -> FloatArray:
    """Give the share of the surface around places that is plane with it, (k,)."""
    share = np.zeros(len(rows))
    for k, row in enumerate(rows):
        way = under - under[row]
        near = np.flatnonzero((way * way).sum(axis=1) <= AROUND_MM**2)
        level = (facing[near] @ facing[row] >= PLANE_COS) & (np.abs(way[near] @ facing[row]) <= PLANE_MM)
        share[k] = level.mean()
    return share
