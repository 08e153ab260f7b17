"""Candidate routes from a feed ring to anchor points: made, built up with tips and shafts, measured against the chain.

All of it looks upwards: gates that come down from an upper ring are planned on the whole job mirrored in z.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..solid.mesh import Body, FloatArray, IntArray
from .anchors import Anchors
from .course import BoolArray, Course
from .entering import LEAST_SHOWN_MM, inside_bend, into_mesh, into_wire
from .sizes import Sizes, widest_tip_mm
from .skeletons import Rods, Skeletons, clearances

# Feet slide along the ring this far, in mm, before a gate is bent.
SLIDES_MM = (0.0, 1.0, -1.0, 2.0, -2.0, 3.0, -3.0, 3.5, -3.5, 4.0, -4.0)
BENT_SLIDES_MM = (0.0, 2.0, -2.0)
# Bends: how far below the surface the last straight piece begins, and where the knee goes sideways.
RISES_MM = (2.0, 3.5)
SIDESTEPS_MM = (1.2, 2.4)
SIDE_DIRECTIONS = 8
# A straight gate is cut in two this far up, well below the tip of even a wide one.
STRAIGHT_KNEE = 0.25
# Tips end within this share of their diameter.
TIP_SHARE = 0.98
# A gate that leans leans no flatter than this above the overhang limit.
SPARE_DEG = 5.0
# Own metal further along the wire than this many wires counts as a stranger.
OWN_WIRES = 2.0
# On a mesh of other origin, what lies further from there than this many of its own thickness does.
OWN_SHAFTS = 2.0
# Where metal that we did not draw is too thin for a tip, it is drawn in by these shares, one after the other.
TIP_SHARES = (1.0, 0.85, 0.8, 0.8)
THINNEST_TIP_MM = 0.4
# A slanted tip reaches this far past the lowest place of the wire it enters.
UNDER_MM = 0.15
# Distances are known up to this much over the aim.
BEYOND_MM = 0.5
# Distances worked out at a time: what stays in the processor's cache.
AT_ONCE = 32_768


@dataclass(frozen=True, slots=True, eq=False)
class Feed:
    """A ring gates start from: its course along its axis, its thickness, and whether it is the mirrored upper ring.

    With ``upright`` gates start from columns of that thickness instead.
    """

    course: Course
    d_mm: float
    above: bool
    upright: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Ground:
    """What routes are planned on: the bodies, their lines, the feed and its sizes, and what must be kept.

    ``bodies`` and ``lines`` are looked at from the feed's side: mirrored in z for an upper ring. ``aim_mm`` and
    ``floor_mm`` are the wanted and the least distance from strangers, ``overhang_deg`` the flattest lean that prints.
    ``own`` are the sizes of each body's gates where they differ, else empty.
    """

    bodies: Sequence[Body]
    lines: Skeletons
    feed: Feed
    sizes: Sizes
    aim_mm: float
    floor_mm: float
    overhang_deg: float
    own: tuple[Sizes, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Hold:
    """A place to be held: one body, its anchors with the wanted one first, and where its link stands on the course.

    ``wanted`` is one the maker pointed at.
    """

    body: int
    anchors: Anchors
    order: IntArray
    near_mm: float
    wanted: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Routes:
    """Candidate routes before they are measured: whose, to which anchor, how preferred, and foot and knee (c, 3)."""

    hold: IntArray
    anchor: IntArray
    level: IntArray
    rank: IntArray
    foot: FloatArray
    knee: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Tries:
    """Candidate routes of many holds at one thickness of their shafts, all (c,).

    ``hold`` is a row of the holds asked for; ``rank`` and ``level`` how preferred; ``gap_mm`` and ``who`` the distance
    to the nearest stranger and which body that is, -1 for none.
    """

    hold: IntArray
    rank: IntArray
    level: IntArray
    rods: Rods
    shaft_mm: FloatArray
    tip_mm: FloatArray
    clear_mm: FloatArray
    arc_mm: FloatArray
    gap_mm: FloatArray
    who: IntArray


@dataclass(frozen=True, slots=True, eq=False)
class Ways:
    """Candidate routes that can be built, measured once for shafts of every thickness.

    ``points`` (c, 5, 3) as in a gate; ``wished_mm`` (c,) the full shaft, ``least_mm`` the thinnest, ``most_mm`` what
    prints. ``gap_mm`` (c, 4) and ``who`` (c, 4): how near the full shaft and the tip come to other bodies, then to
    their own; inf, -1 where nothing is in reach.
    """

    hold: IntArray
    rank: IntArray
    level: IntArray
    points: FloatArray
    wished_mm: FloatArray
    least_mm: FloatArray
    most_mm: FloatArray
    tip_mm: FloatArray
    clear_mm: FloatArray
    arc_mm: FloatArray
    gap_mm: FloatArray
    who: IntArray
    reach_mm: float

    def shafts(self, share: float) -> FloatArray:
        """Give the diameters (c,) of shafts that have this share of their full thickness, as far as may be."""
        return np.minimum(np.maximum(self.least_mm, share * self.wished_mm), self.most_mm)

    def take(self, rows: IntArray) -> "Ways":
        """Give some of the routes, (k,)."""
        return replace(
            self,
            hold=self.hold[rows],
            rank=self.rank[rows],
            level=self.level[rows],
            points=self.points[rows],
            wished_mm=self.wished_mm[rows],
            least_mm=self.least_mm[rows],
            most_mm=self.most_mm[rows],
            tip_mm=self.tip_mm[rows],
            clear_mm=self.clear_mm[rows],
            arc_mm=self.arc_mm[rows],
            gap_mm=self.gap_mm[rows],
            who=self.who[rows],
        )

    def at(self, share: float) -> Tries:
        """Give the routes with shafts of this share of their full thickness."""
        shaft = self.shafts(share)
        s, t = shaft / 2, self.tip_mm / 2
        gaps = self.gap_mm.copy()
        gaps[:, [0, 2]] += (self.shafts(1.0) / 2 - s)[:, None]
        nearest = gaps.argmin(axis=1)
        rows = np.arange(len(gaps))
        gap = gaps[rows, nearest]
        return Tries(
            self.hold,
            self.rank,
            self.level,
            Rods(self.points, np.stack((s, s, s, t), axis=1)),
            shaft,
            self.tip_mm,
            self.clear_mm,
            self.arc_mm,
            np.minimum(gap, self.reach_mm),
            np.where(gap < self.reach_mm, self.who[rows, nearest], -1),
        )


def ways(holds: Sequence[Hold], ground: Ground, levels: tuple[int, ...]) -> Ways:
    """Make the candidate routes of the levels asked for, and measure them."""
    feed = ground.feed
    place, level, rank, foot, knee = [], [], [], [], []
    targets = [h.order[1:] if 2 in levels else h.order[:1] for h in holds]
    number = np.repeat(np.arange(len(holds)), [len(t) for t in targets])
    row = np.concatenate([np.asarray(t, dtype=np.int64) for t in targets])
    goal = np.array([holds[n].anchors.points[r] for n, r in zip(number, row, strict=True)]).reshape(-1, 3)
    under = np.array([holds[n].anchors.half_mm[r] for n, r in zip(number, row, strict=True)])
    near = feed.course.nearest(goal, np.array([holds[n].near_mm for n in number]))
    beside = feed.course.ahead(near)
    # Kinds of route in the order they are preferred; another anchor point is tried by few of each.
    nowhere = np.zeros(len(goal), dtype=np.int64)
    elsewhere = 2 in levels
    slides = SLIDES_MM[:1] if levels == (0,) else BENT_SLIDES_MM if elsewhere else SLIDES_MM
    straight = [(slide, None) for slide in slides]
    knees = _knees(goal, under, beside) if levels != (0,) else []
    bent = [(slide, bend) for bend in (knees[: len(RISES_MM)] if elsewhere else knees) for slide in BENT_SLIDES_MM]
    for k, (slide, bend) in enumerate([*straight, *bent]):
        walked = near + slide
        if not feed.course.closed:
            walked = np.clip(walked, 0.0, feed.course.length_mm)
        base = feed.course.at(walked)
        place.append(np.arange(len(goal)))
        foot.append(base)
        knee.append(base + STRAIGHT_KNEE * (goal - base) if bend is None else bend)
        level.append(nowhere + (2 if elsewhere else 0 if bend is None else 1))
        rank.append(nowhere + k)
    at, f, q = np.concatenate(place), np.concatenate(foot), np.concatenate(knee)
    order = np.concatenate(rank)
    if 2 in levels:  # Anchor points one after the other, each by all routes.
        nth = np.concatenate([np.arange(len(t)) for t in targets])
        order = order + nth[at] * 1000
    routes = Routes(number[at], row[at], np.concatenate(level), order, f, q)
    return measured(holds, ground, routes)


def _knees(goal: FloatArray, under: FloatArray, beside: FloatArray) -> list[FloatArray]:
    """Give the knees to try: straight under the goal, then set to the sides, each for every goal (c, 3)."""
    across = np.stack((-beside[:, 1], beside[:, 0], np.zeros(len(beside))), axis=1)
    found = []
    for rise in RISES_MM:
        found.append(goal - np.stack((0 * under, 0 * under, under + rise), axis=1))
    for step in SIDESTEPS_MM:
        for turn in range(SIDE_DIRECTIONS):
            angle = 2 * np.pi * turn / SIDE_DIRECTIONS
            out = step * (np.cos(angle) * across + np.sin(angle) * beside)
            found.append(goal + out - np.stack((0 * under, 0 * under, under + RISES_MM[-1]), axis=1))
    return found


def measured(holds: Sequence[Hold], ground: Ground, routes: Routes) -> Ways:
    """Lay tips, shafts and lengths on routes, drop those that cannot be built, and measure the rest."""
    bodies, feed = ground.bodies, ground.feed
    steepest = min(85.0, ground.overhang_deg + SPARE_DEG)
    least_rise = np.sin(np.radians(steepest))
    picked = [(holds[n].body, holds[n].anchors, r) for n, r in zip(routes.hold, routes.anchor, strict=True)]
    goal = np.array([a.points[r] for _, a, r in picked]).reshape(-1, 3)
    last, first = goal - routes.knee, routes.knee - routes.foot
    reach, run = np.linalg.norm(last, axis=1), np.linalg.norm(first, axis=1)
    ahead = last / np.maximum(reach, 1e-9)[:, None]
    start = first / np.maximum(run, 1e-9)[:, None]
    # What leans too flat is dropped before anything is measured.
    steep = (
        (run > 0.05) & (ahead[:, 2] >= least_rise) & (start[:, 2] >= least_rise) & ((ahead * start).sum(axis=1) > 0.5)
    )
    rows = np.flatnonzero(steep)
    picked = [picked[k] for k in rows]
    goal, reach, run, ahead, start = goal[rows], reach[rows], run[rows], ahead[rows], start[rows]
    body = np.array([b for b, _, _ in picked], dtype=np.int64)
    along = np.array([a.along[r] for _, a, r in picked]).reshape(-1, 3)
    half = np.array([a.half_mm[r] for _, a, r in picked])
    arc = np.array([a.arc_mm[r] for _, a, r in picked])
    rough = run + reach - half - feed.d_mm / 2
    sizes = [ground.own[b] if ground.own else ground.sizes for b in body]
    tip = np.array([s.tip_for_mm(c, a.metal_mm(r)) for s, c, (_, a, r) in zip(sizes, rough, picked, strict=True)])
    if feed.upright or not (feed.above or ground.sizes.tip_given):
        # A slanted tip must still be under the lowest place of its wire, or printing begins beside it in mid-air.
        under = 2 * (half * np.hypot(ahead[:, 0], ahead[:, 1]) + UNDER_MM)
        tip = np.maximum(tip, np.minimum(under, [widest_tip_mm(2 * h) for h in half]))
    end, surface = into_wire(ahead, along, half, tip)
    drawn = (along != 0.0).any(axis=1)
    for b in np.unique(body[~drawn]):
        mine = np.flatnonzero(~drawn & (body == b))
        corners = bodies[b].points()[bodies[b].mesh.triangles]
        for share in TIP_SHARES:
            tip[mine] *= share
            end[mine], surface[mine] = into_mesh(corners, goal[mine], ahead[mine], tip[mine])
            mine = mine[np.isnan(end[mine]) & (tip[mine] * share >= THINNEST_TIP_MM)]
    root = end + TIP_SHARE * tip
    # The way out of the feed: up out of a ring; what runs along a column counts as free, for it freezes like the gate.
    out = np.ones(len(start)) if feed.upright else start[:, 2]
    clear = run + reach - surface - feed.d_mm / 2 / np.maximum(out, 0.3)
    wished = np.array(
        [s.shaft_mm(c, above=feed.above) if np.isfinite(c) else s.gate_mm for s, c in zip(sizes, clear, strict=True)]
    )
    wished = np.maximum(wished, tip)
    thinnest = np.array([s.thinnest_gate_mm for s in sizes])
    least = np.minimum(wished, np.maximum(thinnest, tip))
    most = np.full(len(tip), np.inf)
    if feed.above:  # Printed from the tip upwards: the cone must open no flatter than the overhang limit.
        most = tip + 2 * np.maximum(root - surface, 0.0) / np.tan(np.radians(steepest))
    with np.errstate(invalid="ignore"):
        fits = np.isfinite(end) & (root - surface >= LEAST_SHOWN_MM) & (reach > root + 0.05) & (clear > 0.0)
    keep = np.flatnonzero(fits)
    kept = rows[keep]
    points = np.stack(
        (
            routes.foot[kept],
            routes.knee[kept],
            goal[keep] - root[keep, None] * ahead[keep],
            goal[keep] - surface[keep, None] * ahead[keep],
            goal[keep] - end[keep, None] * ahead[keep],
        ),
        axis=1,
    )
    sunk = np.ones(len(keep), dtype=bool)
    for b in np.unique(body[keep][drawn[keep]]):
        mine = np.flatnonzero(body[keep] == b)
        rows = keep[mine]
        sunk[mine] = inside_bend(
            points[mine, 4], ahead[rows], tip[rows], ground.lines.line(int(b)), float(ground.lines.radius_mm[b])
        )
    keep, kept, points = keep[sunk], kept[sunk], points[sunk]
    reach_mm = ground.aim_mm + BEYOND_MM
    full = np.minimum(wished, most)[keep]
    gaps, who = _gaps(points, full / 2, tip[keep] / 2, body[keep], arc[keep], ground.lines, reach_mm)
    return Ways(
        routes.hold[kept],
        routes.rank[kept],
        routes.level[kept],
        points,
        wished[keep],
        least[keep],
        most[keep],
        tip[keep],
        clear[keep],
        arc[keep],
        gaps,
        who,
        reach_mm,
    )


def _gaps(
    points: FloatArray,
    shaft: FloatArray,
    tip: FloatArray,
    body: IntArray,
    arc: FloatArray,
    lines: Skeletons,
    reach_mm: float,
) -> tuple[FloatArray, IntArray]:
    """Measure shafts and tips of radius (c,) against other bodies and their own: (c, 4) and (c, 4), as in `Ways`."""
    gaps, who = np.full((len(points), 4), np.inf), np.full((len(points), 4), -1, dtype=np.int64)
    parts = (
        Rods(points[:, :4], np.repeat(shaft[:, None], 3, axis=1)),
        Rods(points[:, 3:], tip[:, None]),
    )
    for k, rods in enumerate(parts):
        gap, near = clearances(rods, body, lines, reach_mm=reach_mm)
        gaps[:, k], who[:, k] = np.where(near >= 0, gap, np.inf), near
        gaps[:, k + 2], who[:, k + 2] = _own_gaps(rods, body, arc, lines), body
    return gaps, who


def _own_gaps(rods: Rods, body: IntArray, arc: FloatArray, lines: Skeletons) -> FloatArray:
    """Give each rod's distance (c,) to those parts of its own body that lie well away from where it enters.

    Along a wire; straight on a mesh of other origin.
    """
    gaps = np.full(len(rods), np.inf)
    for b in np.unique(body):
        line = lines.line(int(b))
        every = np.flatnonzero(body == b)
        few = max(1, AT_ONCE // max(len(line), 1))
        for begin in range(0, len(every), few):
            rows = every[begin : begin + few]
            far = _lies_off(rods.take(rows), arc[rows], line, float(lines.radius_mm[b]))
            away = _to_line(rods.take(rows), line)
            gaps[rows] = np.where(far, away - lines.radius_mm[b], np.inf).min(axis=1)
    return gaps


def _lies_off(rods: Rods, arc: FloatArray, line: FloatArray, radius_mm: float) -> BoolArray:
    """Tell which places (m, 3) of a body lie well away from where rods enter it, (c, m); ``radius_mm`` 0 on a mesh."""
    if radius_mm == 0.0:
        return np.asarray(_apart(rods.points[:, -1], line) > OWN_SHAFTS * 2 * rods.radii.max(axis=1)[:, None])
    step = np.linalg.norm(np.roll(line, -1, axis=0) - line, axis=1)
    whole = float(step.sum())
    walked = np.concatenate(([0.0], np.cumsum(step)[:-1]))
    away = np.abs(walked[None] - arc[:, None])
    return np.asarray(np.minimum(away, whole - away) > OWN_WIRES * 2 * radius_mm)


def _to_line(rods: Rods, line: FloatArray) -> FloatArray:
    """Give the distance of each rod's surface from places (m, 3), as (c, m)."""
    gap = np.full((len(rods), len(line)), np.inf)
    for piece in range(rods.radii.shape[1]):
        away = _to_points(rods.points[:, piece], rods.points[:, piece + 1], line)
        away -= rods.radii[:, piece][:, None]
        np.minimum(gap, away, out=gap)
    return gap


def _to_points(start: FloatArray, end: FloatArray, points: FloatArray) -> FloatArray:
    """Give the distance from straight pieces (c, 3) to points (m, 3), as (c, m)."""
    d = end - start
    # Coordinate by coordinate: sums over an axis of three are slow.
    offset = [points[None, :, k] - start[:, k, None] for k in range(3)]
    way = [d[:, k, None] for k in range(3)]
    t = offset[0] * way[0] + offset[1] * way[1] + offset[2] * way[2]
    t /= np.maximum((d * d).sum(axis=1), 1e-300)[:, None]
    np.clip(t, 0.0, 1.0, out=t)
    x, y, z = (o - t * w for o, w in zip(offset, way, strict=True))
    return np.asarray(np.sqrt(x * x + y * y + z * z))


def _apart(one: FloatArray, other: FloatArray) -> FloatArray:
    """Give the distances between places (c, 3) and (m, 3), as (c, m)."""
    x, y, z = (other[None, :, k] - one[:, k, None] for k in range(3))
    return np.asarray(np.sqrt(x * x + y * y + z * z))
