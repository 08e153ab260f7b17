"""The webs between bodies: how wide a thin patch of investment is, which says whether it stands the metal.

The investment between two bodies near each other is a web. It is held where it grows thick. For a thickness t the patch
where the web is nowhere thicker is found on either body's surface; its depth is the farthest a place of it lies from
the patch's open edge, in a straight line, and its width, the span between what holds it, twice that. (Where a patch
goes half round a wire the straight line is up to a tenth shorter than the way along the surface.) Of all thicknesses
the one counts for which width over thickness is greatest.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..base.progress import Steps, part
from ..solid.candidates import same_questions
from ..solid.distance import GapTable
from ..solid.mesh import Body, FloatArray, IntArray, Pose
from ..solid.refine import edges_of, split_edges
from ..solid.surface import Surface, nearest_on, surface_of
from ..solid.weld import components
from .gap_findings import Limits

# Edges are split until they are no longer than this share of the gap beside them, or mm.
FINE_SHARE, FINE_MM = 0.7, 0.3
_ROUNDS, _MOST = 10, 16_000
# Thicknesses looked at, from just above the smallest to the thickest, and how far above in a share of it.
_LEVELS, _ABOVE = 6, 0.08
# Thicker webs are not looked at: our judgement.
THICKEST_MM = 1.5
# A web that bleeds shut counts as this thick.
_SHUT_MM = 0.01
# What is past the thickest web, or on a side that looks away, counts as so many times the thickest.
_BEYOND = 1.5
_TOGETHER = 4_000_000
# Poses that differ by less, as a share of the size, and upright to this, have the same web.
_SAME, _UPRIGHT = 3e-5, 1e-3


@dataclass(frozen=True, slots=True, eq=False)
class Web:
    """The patch of the web between bodies ``a`` and ``b`` that is widest for its thickness, as it is in the mould.

    ``at`` (3,) its innermost place, in the model's world; ``thickness_mm`` nowhere more; ``area_mm2``; ``depth_mm``
    from its open edge to the innermost place; ``width_mm`` twice that. Both are infinite where no edge is open.
    """

    a: int
    b: int
    at: FloatArray
    thickness_mm: float
    area_mm2: float
    width_mm: float
    depth_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class _Side:
    """One body's surface near another, as that other sees it: ``points`` (n, 3), ``triangles``, web ``thick`` (n,)."""

    points: FloatArray
    triangles: IntArray
    thick: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class _Patch:
    at: FloatArray
    thickness_mm: float
    area_mm2: float
    depth_mm: float


def webs(bodies: Sequence[Body], table: GapTable, limits: Limits, *, thickest_mm: float) -> Steps[tuple[Web, ...]]:
    """Measure the web of every pair in ``table`` that keeps a gap and is thinner than ``thickest_mm`` somewhere.

    Equal meshes in equal relative poses are measured once; where the direction of a gap plays a part, those that also
    stand the same way up.
    """
    reach = (thickest_mm / (1.0 + limits.mould_expansion) + _lost_mm(limits)) / limits.scale
    rows = np.flatnonzero((table.gap_mm > 0.0) & (table.gap_mm < reach))
    if len(rows) == 0:
        return ()
    pairs = np.stack((table.a[rows], table.b[rows]), axis=1)
    numbers: dict[int, int] = {}
    mesh_of = np.array([numbers.setdefault(id(body.mesh), len(numbers)) for body in bodies], dtype=np.int64)
    asked, question, exchanged = same_questions(
        _mesh_and_up(mesh_of, bodies, directed=_lost_mm(limits) > 0.0),
        np.array([body.pose.rotation for body in bodies]),
        np.array([body.pose.origin for body in bodies]),
        np.array([float(np.abs(body.mesh.points).max()) for body in bodies]),
        pairs,
        same=_SAME,
    )
    last = {int(mesh_of[body]): done for done, row in enumerate(asked) for body in pairs[row]}
    ready: dict[int, Surface] = {}
    answers: list[_Patch | None] = []
    for done, row in enumerate(asked):
        a, b = (bodies[number] for number in pairs[row])
        found: list[_Patch] = []
        for half, (mine, other) in enumerate(((a, b), (b, a))):
            key = int(mesh_of[pairs[row][1 - half]])
            if key not in ready:
                ready[key] = yield from part(surface_of(other.mesh), *2 * _share(done, half, asked)[:1])
            side = yield from part(
                _side(mine, other, ready[key], reach, limits, thickest_mm), *_share(done, half, asked)
            )
            patch = None if side is None else _widest(side, limits, thickest_mm)
            if patch is not None:
                at = a.pose.rotation.T @ (other.pose.apply(patch.at) - a.pose.origin)
                found.append(_Patch(at, patch.thickness_mm, patch.area_mm2, patch.depth_mm))
        answers.append(max(found, key=lambda patch: patch.depth_mm / patch.thickness_mm) if found else None)
        for body in pairs[row]:
            if last[int(mesh_of[body])] == done:
                ready.pop(int(mesh_of[body]), None)
    told = []
    for (a, b), number, turned in zip(pairs.tolist(), question.tolist(), exchanged.tolist(), strict=True):
        answer = answers[number]
        if answer is not None:
            at = bodies[b if turned else a].pose.apply(answer.at)
            width = 2.0 * answer.depth_mm
            told.append(Web(a, b, at, answer.thickness_mm, answer.area_mm2, width, answer.depth_mm))
            yield 1.0
    return tuple(told)


def _share(done: int, half: int, asked: IntArray) -> tuple[float, float]:
    return (done + 0.5 * half) / len(asked), (done + 0.5 * half + 0.5) / len(asked)


def _mesh_and_up(mesh_of: IntArray, bodies: Sequence[Body], *, directed: bool) -> IntArray:
    """Give the bodies numbers (n,) by their mesh and, if ``directed``, by how they stand to the upright."""
    if not directed:
        return mesh_of
    up = np.rint(np.array([body.pose.rotation[2] for body in bodies]) / _UPRIGHT).astype(np.int64)
    numbers: IntArray = np.unique(np.column_stack((mesh_of, up)), axis=0, return_inverse=True)[1].reshape(-1)
    return numbers


def _lost_mm(limits: Limits) -> float:
    return 2.0 * limits.profile.bleed_mm + limits.profile.over_cure_mm


def _side(
    mine: Body, other: Body, surface: Surface, reach_mm: float, limits: Limits, thickest_mm: float
) -> Steps[_Side | None]:
    """Take the part of a body's surface near another, fine enough, and find how thick the web is at its points."""
    back = other.pose.rotation.T
    placed = Pose(back @ mine.pose.rotation, back @ (mine.pose.origin - other.pose.origin)).apply(mine.mesh.points)
    corners = placed[mine.mesh.triangles]
    near = (corners.min(axis=1) <= surface.high + reach_mm) & (corners.max(axis=1) >= surface.low - reach_mm)
    used, triangles = np.unique(mine.mesh.triangles[near.all(axis=1)], return_inverse=True)
    points, triangles = placed[used], triangles.reshape(-1, 3)
    if len(triangles) == 0:
        return None
    gap = np.zeros(0)
    for _ in range(_ROUNDS):
        edges, of_triangle = edges_of(triangles)
        length = np.linalg.norm(points[edges[:, 0]] - points[edges[:, 1]], axis=1)
        within = np.full(len(points), reach_mm)
        np.maximum.at(within, edges.ravel(), np.repeat(reach_mm + length, 2))
        fresh = yield from part(nearest_on(surface, points[len(gap) :], within[len(gap) :]), 0.0, 0.0)
        gap = np.concatenate((gap, fresh.distance_mm))
        least = np.minimum(gap[edges[:, 0]], gap[edges[:, 1]])
        near_enough = least - 0.5 * length < reach_mm
        cut = near_enough & (length > np.maximum(FINE_MM, FINE_SHARE * np.minimum(least, reach_mm)))
        if not cut.any() or len(triangles) + 3 * int(cut.sum()) > _MOST:
            break
        points, triangles = split_edges(points, triangles, edges, of_triangle, cut)
        yield 0.0
    met = yield from part(nearest_on(surface, points, reach_mm), 0.5, 1.0)
    towards = met.foot - points
    corners = points[triangles]
    turned = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normal = np.stack(
        [np.bincount(triangles.ravel(), np.repeat(turned[:, k], 3), len(points)) for k in range(3)], axis=1
    )
    faces = (met.triangle >= 0) & ((towards * normal).sum(axis=1) > 0.0)
    thick = np.full(len(points), _BEYOND * thickest_mm)
    thick[faces] = np.minimum(_web_mm(towards[faces], met.distance_mm[faces], other.pose, limits), thick[faces])
    return _Side(points, triangles, thick)


def _web_mm(towards: FloatArray, gap: FloatArray, pose: Pose, limits: Limits) -> FloatArray:
    """Take local gaps (n,) down the ladder to the web; see `ladder.printed_gap_mm`."""
    upward = np.abs(towards @ pose.rotation[2]) / np.where(gap > 0.0, gap, 1.0)
    across = np.sqrt(np.maximum(1.0 - upward * upward, 0.0))
    lost = 2.0 * limits.profile.bleed_mm * across + limits.profile.over_cure_mm * upward
    web: FloatArray = np.maximum((gap * limits.scale - lost) * (1.0 + limits.mould_expansion), _SHUT_MM)
    return web


def _widest(side: _Side, limits: Limits, thickest_mm: float) -> _Patch | None:
    """Find the patch that is widest for its thickness."""
    least = float(side.thick.min())
    if least * (1.0 + _ABOVE) >= thickest_mm:
        return None
    best: _Patch | None = None
    grown = limits.scale * (1.0 + limits.mould_expansion)
    for level in np.geomspace(least * (1.0 + _ABOVE), thickest_mm, _LEVELS):
        patch = _deepest(side, float(level), grown)
        if patch is not None and (
            best is None or patch.depth_mm / patch.thickness_mm > best.depth_mm / best.thickness_mm
        ):
            best = patch
    return best


def _deepest(side: _Side, level: float, grown: float) -> _Patch | None:
    """Find the piece of the patch no thicker than ``level`` that reaches deepest; ``grown``: mould over model size."""
    inside = side.thick <= level
    held = inside[side.triangles]
    count = held.sum(axis=1)
    touched = count > 0
    triangles, held, count = side.triangles[touched], held[touched], count[touched]
    if len(triangles) == 0:
        return None
    both = np.concatenate([triangles[held[:, i] & held[:, j]][:, (i, j)] for i, j in ((0, 1), (1, 2), (2, 0))])
    piece = components(len(side.points), both[:, 0], both[:, 1])
    mixed = np.flatnonzero(count < 3)
    edge, of_edge, share = _open_edge(side, triangles[mixed], held[mixed], count[mixed], level)
    corners = side.points[triangles]
    area = 0.5 * np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1)
    area[mixed] *= share
    of_triangle = piece[triangles[np.arange(len(triangles)), held.argmax(axis=1)]]
    areas = np.bincount(of_triangle, area, len(side.points))
    number = np.flatnonzero(inside)
    depth = np.full(len(number), np.inf)
    edge_piece = piece[of_edge]
    for which in np.unique(piece[number]):
        mine, its = np.flatnonzero(piece[number] == which), np.flatnonzero(edge_piece == which)
        if len(its):
            depth[mine] = _from_segments(side.points[number[mine]], edge[:, its])
    if len(number) == 0:
        return None
    deepest = int(depth.argmax())
    its_area = float(areas[piece[number[deepest]]])
    return _Patch(side.points[number[deepest]], level, its_area * grown * grown, float(depth[deepest]) * grown)


def _open_edge(
    side: _Side, triangles: IntArray, held: FloatArray, count: FloatArray, level: float
) -> tuple[FloatArray, IntArray, FloatArray]:
    """Give the line of a level through triangles partly inside it: its ends (2, m, 3), a point inside beside it (m,).

    Also the share (m,) of every triangle that lies inside.
    """
    # The corner alone on its side of the line comes first.
    alone = np.where(count == 1, held.argmax(axis=1), (~held).argmax(axis=1))
    corner = (alone[:, None] + np.arange(3)) % 3
    ordered = np.take_along_axis(triangles, corner, axis=1)
    first, second, third = ordered.T
    thick = side.thick
    ends, shares = [], []
    for other in (second, third):
        rise = thick[other] - thick[first]
        share = np.clip((level - thick[first]) / np.where(rise != 0.0, rise, 1.0), 0.0, 1.0)
        ends.append(side.points[first] + share[:, None] * (side.points[other] - side.points[first]))
        shares.append(share)
    of_corner = shares[0] * shares[1]
    inner = np.where(count == 1, first, second)
    return np.stack(ends), inner, np.where(count == 1, of_corner, 1.0 - of_corner)


def _from_segments(points: FloatArray, ends: FloatArray) -> FloatArray:
    """Give the distance of points (n, 3) from the nearest of segments (2, m, 3)."""
    start, way = ends[0], ends[1] - ends[0]
    square = (way * way).sum(axis=1)
    square = np.where(square > 0.0, square, 1.0)
    nearest = np.empty(len(points))
    step = max(1, _TOGETHER // (3 * len(start)))
    for begin in range(0, len(points), step):
        apart = points[begin : begin + step, None] - start
        along = np.clip((apart * way).sum(axis=2) / square, 0.0, 1.0)
        apart -= along[:, :, None] * way
        nearest[begin : begin + step] = np.sqrt((apart * apart).sum(axis=2).min(axis=1))
    return nearest
