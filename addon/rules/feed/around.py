"""What lies around a place of a body: where its neighbours rub on it, and the room a saw has there.

Bodies are looked at as clouds of points: the centreline of a drawn link, the surface of a mesh of other origin. So the
figures are true to about 0.1 mm beside a drawn link and to about half the spacing beside a mesh.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..solid.mesh import Body, FloatArray, IntArray
from .facets import surface_places
from .skeletons import boxes_meet

# Neighbours that come no nearer than this do not rub: looser joints look loose.
RUBS_MM = 1.0
# Of a joint's surface all that lies within this much of its closest place counts: links move by about their gap.
PLAY_MM = 0.4
# Points of a wire are about this far apart, and those of a mesh.
ON_WIRE_MM, ON_MESH_MM = 0.6, 0.6
# The saw cuts the stub this far under the link, and takes this much to either side: a disc is 0.7 mm thick.
CUT_MM, KERF_MM = 0.5, 0.35
# Room beyond this is not looked for.
FAR_MM = 6.0
# Saw room is looked for in this many directions.
WAYS = 24
AT_ONCE = 2_000_000


@dataclass(frozen=True, slots=True, eq=False)
class Clouds:
    """Bodies as points (m, 3) in the world, body k owning rows ``first[k]`` to ``first[k + 1]``; see `clouds`.

    ``radius_mm`` (n,) of the metal around its points; ``low`` and ``high`` (n, 3) its bounds with that radius.
    """

    points: FloatArray
    first: IntArray
    radius_mm: FloatArray
    low: FloatArray
    high: FloatArray

    def of(self, body: int) -> FloatArray:
        """Give the points of one body."""
        return self.points[self.first[body] : self.first[body + 1]]

    def seen(self, view: FloatArray) -> "Clouds":
        """Give the clouds in a view (3,): ones, or mirrored in z."""
        if view[2] > 0:
            return self
        low, high = self.low * view, self.high * view
        return Clouds(self.points * view, self.first, self.radius_mm, np.minimum(low, high), np.maximum(low, high))


def clouds(bodies: Sequence[Body]) -> Clouds:
    """Draw bodies as points."""
    local: dict[int, FloatArray] = {}
    points, radius = [], []
    for body in bodies:
        key = id(body.mesh) if body.wire is None else id(body.wire)
        if key not in local:
            local[key] = _thinned(body)
        points.append(body.pose.apply(local[key]))
        radius.append(0.0 if body.wire is None else body.wire.radius_mm)
    r = np.array(radius)[:, None]
    low = np.array([p.min(axis=0) for p in points]) - r
    high = np.array([p.max(axis=0) for p in points]) + r
    first = np.cumsum([0] + [len(p) for p in points])
    return Clouds(np.concatenate(points), first, r[:, 0], low, high)


def _thinned(body: Body) -> FloatArray:
    if body.wire is not None:
        line = body.wire.centreline
        step = float(np.linalg.norm(np.roll(line, -1, axis=0) - line, axis=1).mean())
        return line[:: max(1, int(ON_WIRE_MM / max(step, 1e-9)))]
    places, _ = surface_places(body.mesh.points, body.mesh.triangles, ON_MESH_MM)
    return places[one_per_cell(places, ON_MESH_MM)]


def one_per_cell(places: FloatArray, cell_mm: float) -> IntArray:
    """Choose of places (k, 3) in every cell of a grid the one nearest its middle: their rows, in order."""
    cell = np.floor(places / cell_mm)
    away = np.linalg.norm(places / cell_mm - cell - 0.5, axis=1)
    order = np.lexsort((np.round(away, 6), cell[:, 2], cell[:, 1], cell[:, 0]))
    fresh = np.any(np.diff(cell[order], axis=0) != 0, axis=1)
    return np.sort(order[np.concatenate((np.ones(min(1, len(order)), dtype=bool), fresh))])


def near_each_other(bodies: Sequence[Body]) -> tuple[IntArray, IntArray]:
    """Give the pairs of a body and one that may matter to its joints or its saw room: (p,) each, sorted.

    By balls around them, so that it is the same however they stand.
    """
    balls: dict[int, tuple[FloatArray, float]] = {}
    middle, size = [], []
    for body in bodies:
        if id(body.mesh) not in balls:
            points = body.mesh.points
            centre = (points.min(axis=0) + points.max(axis=0)) / 2
            balls[id(body.mesh)] = (centre, float(np.linalg.norm(points - centre, axis=1).max()))
        centre, radius = balls[id(body.mesh)]
        middle.append(body.pose.apply(centre))
        size.append(radius)
    c, r = np.array(middle), np.array(size)[:, None]
    one, other = boxes_meet(c - r - FAR_MM, c + r + FAR_MM, c - r, c + r)
    reach = r[one, 0] + r[other, 0] + FAR_MM
    near = (one != other) & (np.linalg.norm(c[one] - c[other], axis=1) <= reach)
    return one[near], other[near]


@dataclass(frozen=True, slots=True, eq=False)
class Joints:
    """Where bodies rub: places (r, 3) on the surface of ``body`` (r,), sorted by it, from which ``other`` (r,) is near.

    ``first`` (n + 1,): body k owns rows ``first[k]`` to ``first[k + 1]``.
    """

    places: FloatArray
    body: IntArray
    other: IntArray
    first: IntArray


def joints(bodies: Sequence[Body], of: Clouds) -> Joints:
    """Find the contact zones of all bodies: pairs that stand alike are measured once."""
    a, b = boxes_meet(of.low - RUBS_MM, of.high + RUBS_MM, of.low, of.high)
    a, b = a[a < b], b[a < b]
    rotation = np.array([body.pose.rotation for body in bodies])
    origin = np.array([body.pose.origin for body in bodies])
    mesh = np.array([id(body.mesh) for body in bodies])
    turn = np.einsum("pji,pjk->pik", rotation[a], rotation[b]).reshape(-1, 9)
    shift = np.einsum("pji,pj->pi", rotation[a], origin[b] - origin[a])
    _, mesh_number = np.unique(mesh, return_inverse=True)
    key = np.column_stack((mesh_number[a], mesh_number[b], np.round(turn, 6) + 0.0, np.round(shift, 5) + 0.0))
    _, leader, alike = np.unique(key, axis=0, return_index=True, return_inverse=True)
    rubbed = [_rubbed(bodies, of, int(a[k]), int(b[k])) for k in leader]
    places, whose, by = [np.zeros((0, 3))], [np.zeros(0, dtype=np.int64)], [np.zeros(0, dtype=np.int64)]
    for one, other, kind in zip(a.tolist(), b.tolist(), alike.reshape(-1).tolist(), strict=True):
        for mine, its, here in ((one, other, rubbed[kind][0]), (other, one, rubbed[kind][1])):
            places.append(bodies[mine].pose.apply(here))
            whose.append(np.full(len(here), mine))
            by.append(np.full(len(here), its))
    body, who = np.concatenate(whose), np.concatenate(by)
    order = np.argsort(body, kind="stable")
    first = np.searchsorted(body[order], np.arange(len(bodies) + 1))
    return Joints(np.concatenate(places)[order], body[order], who[order], first)


def _rubbed(bodies: Sequence[Body], of: Clouds, a: int, b: int) -> tuple[FloatArray, FloatArray]:
    """Give the places where two bodies come near each other, each in its own body's coordinates."""
    p, q = of.of(a), of.of(b)
    r, s = float(of.radius_mm[a]), float(of.radius_mm[b])
    reach = RUBS_MM + PLAY_MM
    p = p[((p >= of.low[b] - reach - r) & (p <= of.high[b] + reach + r)).all(axis=1)]
    q = q[((q >= of.low[a] - reach - s) & (q <= of.high[a] + reach + s)).all(axis=1)]
    if not (len(p) and len(q)):
        return np.zeros((0, 3)), np.zeros((0, 3))
    gap = np.sqrt(np.maximum((p * p).sum(axis=1)[:, None] + (q * q).sum(axis=1) - 2 * p @ q.T, 0.0)) - r - s
    least = float(gap.min())
    if least > RUBS_MM:
        return np.zeros((0, 3)), np.zeros((0, 3))
    found = []
    for own, its, gaps, thick, body in ((p, q, gap, r, bodies[a]), (q, p, gap.T, s, bodies[b])):
        near = np.flatnonzero(gaps.min(axis=1) <= max(least, 0.0) + PLAY_MM)
        way = its[gaps[near].argmin(axis=1)] - own[near]
        length = np.maximum(np.linalg.norm(way, axis=1, keepdims=True), 1e-9)
        found.append((own[near] + thick * way / length - body.pose.origin) @ body.pose.rotation)
    return found[0], found[1]


def to_joints(of: Joints, body: IntArray, places: FloatArray) -> tuple[FloatArray, IntArray]:
    """Give how far places (k, 3) on bodies (k,) lie from where a neighbour rubs on that body, and which: inf, -1."""
    counts = of.first[body + 1] - of.first[body]
    gap, who = np.full(len(body), np.inf), np.full(len(body), -1, dtype=np.int64)
    some = np.flatnonzero(counts > 0)
    if not len(some):
        return gap, who
    row, at = _expanded(of.first[body[some]], counts[some])
    away = np.linalg.norm(of.places[at] - places[some[row]], axis=1)
    heads = np.cumsum(counts[some]) - counts[some]
    gap[some] = np.minimum.reduceat(away, heads)
    is_least = np.where(away == gap[some][row], np.arange(len(row)), len(row))
    who[some] = of.other[at[np.minimum.reduceat(is_least, heads)]]
    return gap, who


def saw_room(of: Clouds, places: FloatArray, begin_at: FloatArray) -> FloatArray:
    """Give how far it is free sideways, up to FAR_MM, where stubs under places (k, 3) are cut: (k, WAYS).

    Ways run round from the angle ``begin_at`` (k,) to +x, in radians. All bodies count, the place's own too: what of it
    lies as low as the cut is in the way.
    """
    free = np.full((len(places), WAYS), FAR_MM)
    level = places[:, 2] - CUT_MM
    spread = np.array([FAR_MM, FAR_MM, KERF_MM])
    centre = np.column_stack((places[:, :2], level))
    place, body = boxes_meet(centre - spread, centre + spread, of.low, of.high)
    # Of each body only the points near the level of the cut are looked at: all are sorted by body, then by height.
    owner = np.repeat(np.arange(len(of.first) - 1), np.diff(of.first))
    floor, stack = of.low[:, 2].min(), float(np.ptp(np.concatenate((of.low[:, 2], of.high[:, 2])))) + 4 * FAR_MM
    height = owner * stack + of.points[:, 2] - floor
    order = np.argsort(height, kind="stable")
    thick = np.maximum(of.radius_mm[body], ON_MESH_MM / 2) + KERF_MM
    middle = body * stack + np.clip(level[place] - floor, -FAR_MM, stack - 3 * FAR_MM)
    begin = np.searchsorted(height[order], middle - thick, side="left")
    counts = np.searchsorted(height[order], middle + thick, side="right") - begin
    stretch = np.cumsum(counts) // AT_ONCE
    for some in (np.flatnonzero(stretch == s) for s in np.unique(stretch)):
        row, at = _expanded(begin[some], counts[some])
        pair, at = some[row], order[at]
        rise = np.maximum(np.abs(of.points[at, 2] - level[place[pair]]) - KERF_MM, 0.0)
        r = of.radius_mm[body[pair]]
        # Points of a surface stand for the patch around them.
        low = np.flatnonzero(rise <= np.maximum(r, ON_MESH_MM / 2))
        pair, at = pair[low], at[low]
        r = np.maximum(r[low], ON_MESH_MM / 2)
        half = np.sqrt(np.maximum(r**2 - rise[low] ** 2, 0.0))
        way = of.points[at, :2] - places[place[pair], :2]
        away = np.linalg.norm(way, axis=1)
        near = np.flatnonzero(away - half < FAR_MM)
        way, away, half, pair = way[near], away[near], half[near], pair[near]
        wide = np.arcsin(np.minimum(1.0, half / np.maximum(away, 1e-9))) * (WAYS / (2 * np.pi)) + 0.5
        turn = (np.arctan2(way[:, 1], way[:, 0]) - begin_at[place[pair]]) * (WAYS / (2 * np.pi))
        from_ = np.ceil(turn - wide).astype(np.int64)
        which, sector = _expanded(from_, np.floor(turn + wide).astype(np.int64) - from_ + 1)
        np.minimum.at(free.reshape(-1), place[pair[which]] * WAYS + sector % WAYS, np.maximum(away - half, 0.0)[which])
    return free


def _expanded(begin: IntArray, counts: IntArray) -> tuple[IntArray, IntArray]:
    """Give for stretches of rows their number, repeated, and the rows, both (sum of counts,)."""
    number = np.repeat(np.arange(len(begin)), counts)
    heads = np.cumsum(counts) - counts
    return number, np.asarray(np.arange(len(number)) + (begin - heads)[number], dtype=np.int64)
