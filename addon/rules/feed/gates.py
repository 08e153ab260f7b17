"""Routes of gates: from a feed ring to anchor points, straight first, then with one bend, then to another point.

All of it looks upwards: gates that come down from an upper ring are planned on the whole job mirrored in z.
Same input, same routes: candidates are made and tried in one fixed order, links in the order of the chain.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..base.progress import Steps
from ..solid.mesh import Body, FloatArray, IntArray
from .anchors import Anchors
from .course import Course
from .entering import LEAST_SHOWN_MM, into_mesh, into_wire
from .sizes import Sizes
from .skeletons import Rods, Skeletons, clearances
from .standing import Standing

# Feet slide along the ring this far, in mm, before a gate is bent.
SLIDES_MM = (0.0, 1.0, -1.0, 2.0, -2.0, 3.0, -3.0)
BENT_SLIDES_MM = (0.0, 2.0, -2.0)
# Bends: how far below the surface the last straight piece begins, and where the knee goes sideways.
RISES_MM = (2.0, 3.5)
SIDESTEPS_MM = (1.2, 2.4)
SIDE_DIRECTIONS = 8
# Tips end within this share of their diameter.
TIP_SHARE = 0.98
# A gate that leans leans no flatter than this above the overhang limit.
SPARE_DEG = 5.0
# Own metal further along the wire than this many wires counts as a stranger.
OWN_WIRES = 2.0
LEVELS = ("straight", "bent", "elsewhere")


@dataclass(frozen=True, slots=True, eq=False)
class Feed:
    """A ring gates start from: its course along its axis, its thickness, and whether it is the mirrored upper ring."""

    course: Course
    d_mm: float
    above: bool


@dataclass(frozen=True, slots=True, eq=False)
class Ground:
    """What routes are planned on: the bodies, their lines, the feed and its sizes, and what must be kept.

    ``bodies`` and ``lines`` are looked at from the feed's side: mirrored in z for an upper ring. ``aim_mm`` and
    ``floor_mm`` are the wanted and the least distance from strangers, ``overhang_deg`` the flattest lean that prints.
    """

    bodies: Sequence[Body]
    lines: Skeletons
    feed: Feed
    sizes: Sizes
    aim_mm: float
    floor_mm: float
    overhang_deg: float


@dataclass(frozen=True, slots=True, eq=False)
class Hold:
    """A place to be held: one body, its anchors with the wanted one first, and where its link stands on the course."""

    body: int
    anchors: Anchors
    order: IntArray
    near_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class Gate:
    """A routed gate: its points (5, 3): foot, knee, root of the tip, surface, sunk end; diameters of shaft and tip.

    ``clear_mm`` its length between ring and metal, ``gap_mm`` its distance to the nearest stranger, ``arc_mm`` where
    it enters along the wire, ``level`` which kind of route it took.
    """

    body: int
    points: FloatArray
    shaft_mm: float
    tip_mm: float
    clear_mm: float
    gap_mm: float
    arc_mm: float
    level: int

    @property
    def radii(self) -> FloatArray:
        """Give the radius of the rod that holds each of the four pieces, (4,)."""
        s, t = self.shaft_mm / 2, self.tip_mm / 2
        return np.array([s, s, s, t])


@dataclass(frozen=True, slots=True, eq=False)
class Refusal:
    """A place that no gate reaches: the widest free distance that was found (negative: metal in the way), and to whom.

    ``blocker`` is the index of the body in the way, -1 for another strut, -2 when no direction enters the metal.
    """

    hold: Hold
    gap_mm: float
    blocker: int


@dataclass(frozen=True, slots=True, eq=False)
class _Routes:
    """Candidate routes before they are measured: whose, to which anchor, how preferred, and foot and knee (c, 3)."""

    hold: IntArray
    anchor: IntArray
    level: IntArray
    rank: IntArray
    foot: FloatArray
    knee: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class _Tries:
    """Candidate routes of many holds, in the order they are preferred."""

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


def route(holds: Sequence[Hold], ground: Ground, standing: Standing) -> Steps[tuple[list[Gate], list[Refusal]]]:
    """Route a gate to every hold, clear of ``standing``, to which the new gates are added."""
    aim_mm, floor_mm = ground.aim_mm, ground.floor_mm
    made: dict[int, Gate] = {}
    reasons: dict[int, tuple[float, int]] = {}
    waiting = list(range(len(holds)))
    # Each round: which kinds of route, how much of the full shaft, and the clearance it must keep.
    rounds = (
        ((0,), 1.0, aim_mm),
        ((0, 1), 1.0, aim_mm),
        ((0, 1), 1.0, floor_mm),
        ((0, 1), 0.85, aim_mm),
        ((0, 1), 0.0, floor_mm),
        ((2,), 1.0, aim_mm),
        ((2,), 0.0, floor_mm),
    )
    asked: tuple[tuple[int, ...], float] | None = None
    for number, (levels, share, least) in enumerate(rounds):
        if not waiting:
            break
        yield number / len(rounds)
        if asked != (levels, share):
            asked, numbers = (levels, share), {k: row for row, k in enumerate(waiting)}
            tries = _tries([holds[k] for k in waiting], ground, levels, share)
        left = []
        for k in waiting:
            rows = np.flatnonzero(tries.hold == numbers[k])
            gate = _first_fit(tries, rows, holds[k], standing, least, floor_mm)
            if gate is None:
                left.append(k)
                reasons[k] = _reason(tries, rows, reasons.get(k))
                continue
            made[k] = gate
            standing.add(gate.points, gate.radii)
        waiting = left
    gates = [made[k] for k in sorted(made)]
    refusals = [Refusal(holds[k], *reasons[k]) for k in waiting]
    return gates, refusals


def _first_fit(
    tries: _Tries, rows: IntArray, hold: Hold, standing: Standing, least: float, floor_mm: float
) -> Gate | None:
    good = rows[tries.gap_mm[rows] >= least]
    for row in good[np.lexsort((tries.rank[good], tries.level[good]))]:
        points, radii = tries.rods.points[row], tries.rods.radii[row]
        if standing.gap(points, radii, floor_mm) >= floor_mm:
            return Gate(
                hold.body,
                points,
                float(tries.shaft_mm[row]),
                float(tries.tip_mm[row]),
                float(tries.clear_mm[row]),
                float(tries.gap_mm[row]),
                float(tries.arc_mm[row]),
                int(tries.level[row]),
            )
    return None


def _reason(tries: _Tries, rows: IntArray, before: tuple[float, int] | None) -> tuple[float, int]:
    if not len(rows):
        return before if before is not None else (float("nan"), -2)
    best = rows[tries.gap_mm[rows].argmax()]
    gap, who = float(tries.gap_mm[best]), int(tries.who[best])
    if before is not None and before[1] != -2 and before[0] >= gap:
        return before
    return gap, who


def _tries(holds: Sequence[Hold], ground: Ground, levels: tuple[int, ...], share: float) -> _Tries:
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
        knee.append((base + goal) / 2 if bend is None else bend)
        level.append(nowhere + (2 if elsewhere else 0 if bend is None else 1))
        rank.append(nowhere + k)
    at, f, q = np.concatenate(place), np.concatenate(foot), np.concatenate(knee)
    order = np.concatenate(rank)
    if 2 in levels:  # Anchor points one after the other, each by all routes.
        nth = np.concatenate([np.arange(len(t)) for t in targets])
        order = order + nth[at] * 1000
    routes = _Routes(number[at], row[at], np.concatenate(level), order, f, q)
    return _measured(holds, ground, routes, share)


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


def _measured(holds: Sequence[Hold], ground: Ground, routes: _Routes, share: float) -> _Tries:
    """Lay tips, shafts and lengths on routes, drop those that cannot be built, and measure the rest."""
    bodies, lines, feed, sizes = ground.bodies, ground.lines, ground.feed, ground.sizes
    hold, row, foot, knee = routes.hold, routes.anchor, routes.foot, routes.knee
    steepest = min(85.0, ground.overhang_deg + SPARE_DEG)
    body = np.array([holds[n].body for n in hold])
    picked = [holds[n].anchors for n in range(len(holds))]
    goal = np.array([picked[n].points[r] for n, r in zip(hold, row, strict=True)])
    along = np.array([picked[n].along[r] for n, r in zip(hold, row, strict=True)])
    half = np.array([picked[n].half_mm[r] for n, r in zip(hold, row, strict=True)])
    arc = np.array([picked[n].arc_mm[r] for n, r in zip(hold, row, strict=True)])
    last, first = goal - knee, knee - foot
    reach, run = np.linalg.norm(last, axis=1), np.linalg.norm(first, axis=1)
    ahead = last / np.maximum(reach, 1e-9)[:, None]
    start = first / np.maximum(run, 1e-9)[:, None]
    rough = run + reach - half - feed.d_mm / 2
    tip = np.array([sizes.tip_for_mm(c, 2 * h) for c, h in zip(rough, half, strict=True)])
    end, surface = into_wire(ahead, along, half, tip)
    for k in np.flatnonzero((along == 0.0).all(axis=1)):
        b = bodies[body[k]]
        end[k], surface[k] = into_mesh(b.points()[b.mesh.triangles], goal[k], ahead[k], float(tip[k]))
    root = end + TIP_SHARE * tip
    clear = run + reach - surface - feed.d_mm / 2 / np.maximum(start[:, 2], 0.3)
    wished = np.array([sizes.shaft_mm(c, above=feed.above) if np.isfinite(c) else sizes.gate_mm for c in clear])
    thin = np.maximum(np.minimum(wished, sizes.thinnest_gate_mm), tip)
    shaft = np.maximum(thin, np.maximum(share * wished, tip))
    if feed.above:  # Printed from the tip upwards: the cone must open no flatter than the overhang limit.
        flank = np.tan(np.radians(steepest))
        shaft = np.minimum(shaft, tip + 2 * np.maximum(root - surface, 0.0) / flank)
    least_rise = np.sin(np.radians(steepest))
    with np.errstate(invalid="ignore"):
        fits = (
            np.isfinite(end)
            & (root - surface >= LEAST_SHOWN_MM)
            & (reach > root + 0.05)
            & (run > 0.05)
            & (ahead[:, 2] >= least_rise)
            & (start[:, 2] >= least_rise)
            & ((ahead * start).sum(axis=1) > 0.5)
            & (clear > 0.0)
        )
    keep = np.flatnonzero(fits)
    points = np.stack(
        (
            foot[keep],
            knee[keep],
            goal[keep] - root[keep, None] * ahead[keep],
            goal[keep] - surface[keep, None] * ahead[keep],
            goal[keep] - end[keep, None] * ahead[keep],
        ),
        axis=1,
    )
    s, t = shaft[keep] / 2, tip[keep] / 2
    rods = Rods(points, np.stack((s, s, s, t), axis=1))
    gap, who = clearances(rods, body[keep], lines, reach_mm=ground.aim_mm + 0.5)
    own = _own_gaps(rods, body[keep], arc[keep], lines, ground.aim_mm + 0.5)
    blocked = own < gap
    gap, who = np.where(blocked, own, gap), np.where(blocked, body[keep], who)
    return _Tries(
        hold[keep],
        routes.rank[keep],
        routes.level[keep],
        rods,
        shaft[keep],
        tip[keep],
        clear[keep],
        arc[keep],
        gap,
        who,
    )


def _own_gaps(rods: Rods, body: IntArray, arc: FloatArray, lines: Skeletons, reach_mm: float) -> FloatArray:
    """Give each rod's distance (c,) to those parts of its own wire that lie well away from where it enters."""
    gaps = np.full(len(rods), reach_mm)
    for b in np.unique(body):
        r = lines.radius_mm[b]
        if r == 0.0:
            continue
        line = lines.line(int(b))
        step = np.linalg.norm(np.roll(line, -1, axis=0) - line, axis=1)
        whole = float(step.sum())
        walked = np.concatenate(([0.0], np.cumsum(step)[:-1]))
        rows = np.flatnonzero(body == b)
        away = np.abs(walked[None] - arc[rows, None])
        far = np.minimum(away, whole - away) > OWN_WIRES * 2 * r
        gap = np.full(far.shape, np.inf)
        for piece in range(rods.radii.shape[1]):
            a, c = rods.points[rows, piece], rods.points[rows, piece + 1]
            gap = np.minimum(gap, _to_points(a, c, line) - rods.radii[rows, piece][:, None])
        gaps[rows] = np.minimum(reach_mm, np.where(far, gap - r, np.inf).min(axis=1))
    return gaps


def _to_points(start: FloatArray, end: FloatArray, points: FloatArray) -> FloatArray:
    """Give the distance from straight pieces (c, 3) to points (m, 3), as (c, m)."""
    d = end - start
    offset = points[None] - start[:, None]
    t = np.clip((offset * d[:, None]).sum(axis=2) / np.maximum((d * d).sum(axis=1), 1e-300)[:, None], 0.0, 1.0)
    return np.asarray(np.linalg.norm(offset - t[..., None] * d[:, None], axis=2))
