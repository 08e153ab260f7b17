"""Columns: where a chain lies over itself, its upper turns are fed from the side.

A column leans out from the base ring, past the lowest turn, and stands upright beside the turns; slanted gates lead
from it up into the room between two turns, each to the lowest place of a link. One column serves links of several
turns and neighbours. A link is held from both sides of the chain where there is room: then it ties their columns.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ..base.progress import Steps
from ..solid.mesh import Body, FloatArray, IntArray
from .course import BoolArray, Course
from .gates import STRUT, Gate, Refusal
from .lattice import NODE_MM, LatticeSolid
from .piercing import pierced_side_by_side
from .posts import post_solid
from .sections import ROUND
from .sides import Job, Side
from .sizes import Sizes
from .skeletons import Rods, clearances
from .standing import Standing
from .tries import SPARE_DEG, Feed, Ground, Hold, Routes, Tries, Ways, measured

# Columns are tried at places so many pitches apart along the course, at most.
SPACING = 0.5
# Gates are tried at these slopes, degrees over the flattest that prints.
STEEPER_DEG = (0.0, 7.0, 13.0, 20.0, 28.0, 38.0)
# The lowest place of the metal lies at least this deep in its tip, so that printing the link begins on it.
HELD_MM = 0.05
# A gate reaches so many pitches along the chain from its column.
REACH = 1.6
# Shafts are tried with these shares of their full thickness.
SHARES = (1.0, 0.85, 0.0)
# Those of second gates: the steps between bring few more of them.
SECOND = (1.0, 0.0)
# A gate that keeps the floor but not the aim is worth this share of one that does, and each mm of its length costs.
TIGHT, PER_MM = 0.6, 0.01
# Leans of a column's foot, degrees from the level, no flatter than prints; feet this many nodes away at most.
LEANS_DEG = (0.0, 45.0, 60.0)
FEET = 5
# Between two neighbouring feet on the ring a column may stand at the middle.
MIDDLE = 0.5
# Places beside the chain are drawn in steps of this.
DRAWN_MM = 1.0
TALLER = 0.5
RIM = 16
OVER_MM = 0.05
# What stands further from a gate than this many of its own radii does not come near it: no rod is so much thicker.
THICK = 4.0


@dataclass(frozen=True, slots=True, eq=False)
class Columns:
    """Columns and what they feed: gates in the order of the holds, solids, where they stand on the course (k,) mm.

    ``refusals`` are the holds that no column reaches.
    """

    gates: tuple[Gate, ...]
    solids: tuple[LatticeSolid, ...]
    feet_mm: FloatArray
    refusals: tuple[Refusal, ...]


@dataclass(frozen=True, slots=True, eq=False)
class _Places:
    """Where columns may stand: the length walked along the course (c,) and the place seen from above (c, 2)."""

    at_mm: FloatArray
    plan: FloatArray


def stand_columns(
    job: Job,
    sizes: Sizes,
    below: Side,
    lying: Sequence[LatticeSolid],
    standing: Standing,
    base_z_mm: float,
    further: Sequence[Hold] = (),
) -> Steps[Columns]:
    """Stand columns beside a chain that lies over itself, and route from them what the base ring does not reach.

    ``below`` is the base ring with its gates and refusals, ``lying`` the solids on the plate, ``base_z_mm`` the height
    of the ring's axis, ``further`` places that are left out in silence where no gate fits. Columns and gates are added
    to ``standing``. Of a chain that nowhere lies over itself the refusals are given back as they are.
    """
    if not below.refusals or not job.base.crosses:
        return Columns((), (), np.zeros(0), below.refusals)
    holds = [r.hold for r in below.refusals] + [hold for hold in further if job.base.over[hold.body]]
    for solid in lying:
        if solid.role in ("spoke", "trunk"):
            standing.add(*solid.rod())
    d = column_mm(sizes, job.profile.overhang_deg)
    places = _places(job, sizes, holds)
    yield 0.1
    ways = _ways(job, sizes, holds, places, d, base_z_mm)
    yield 0.5
    lines: dict[int, FloatArray] = {}
    gates = yield from _chosen(job, holds, below, places, ways, standing, d, base_z_mm, lines, {})
    yield 0.8
    # Slender as columns are, a link stands steady only where it is held from both sides of the chain. Where the maker
    # pointed at a place, one gate is what was asked for.
    lone = {k: gate for k, gate in gates.items() if not holds[k].wanted}
    both = (yield from _chosen(job, holds, below, places, ways, standing, d, base_z_mm, lines, lone)) if lone else {}
    left = [
        r if r.blocker != STRUT or not np.isnan(r.gap_mm) else _refusal(k, r.hold, ways)
        for k, r in enumerate(below.refusals)
        if k not in gates
    ]
    made = tuple(one[k] for one in (gates, both) for k in sorted(one))
    feet = [float(job.base.nearest(line[:1], places.at_mm[k : k + 1])[0]) for k, line in lines.items()]
    yield 1.0
    return Columns(made, tuple(post_solid(line, d) for line in lines.values()), np.array(feet), tuple(left))


def column_mm(sizes: Sizes, overhang_deg: float) -> float:
    """Give the diameter of columns: tall and slender, they are as thick as the base ring under them allows.

    Its modulus sets one limit; the end of a leaning foot, level with the ring's axis, stays above the plate.
    """
    upright = np.cos(np.radians(min(85.0, overhang_deg + SPARE_DEG)))
    most = min(
        sizes.lying.modulus_mm(sizes.ring_mm) / ROUND.modulus_mm(1.0), 2 * (sizes.ring_axis_mm - OVER_MM) / upright
    )
    return float(max(sizes.post_mm, most))


def _places(job: Job, sizes: Sizes, holds: Sequence[Hold]) -> _Places:
    """Lay places for columns along both sides of the course, clear of the metal of all turns."""
    base = job.base
    d = column_mm(sizes, job.profile.overhang_deg)
    away = job.profile.strut_web_aim_mm + d / 2 + OVER_MM
    count = max(2, int(np.ceil(base.length_mm / (SPACING * base.pitch_mm))))
    at = np.arange(count) * (base.length_mm / count) if base.closed else np.linspace(0.0, base.length_mm, count + 1)
    near = np.array([base.nearest(h.anchors.points[h.order[:1]], np.array([h.near_mm]))[0] for h in holds])
    apart = np.abs(at[:, None] - near[None])
    if base.closed:
        apart = np.minimum(np.mod(apart, base.length_mm), base.length_mm - np.mod(apart, base.length_mm))
    at = at[apart.min(axis=1) <= REACH * base.pitch_mm]
    left, right = _flanks(job, at, d / 2 + job.profile.strut_web_aim_mm)
    centre, ahead = base.at(at)[:, :2], base.ahead(at)
    across = np.stack((-ahead[:, 1], ahead[:, 0]), axis=1)
    both = [centre + (left + away)[:, None] * across, centre - (right + away)[:, None] * across]
    return _Places(np.tile(at, 2), np.concatenate(both))


def _flanks(job: Job, at: FloatArray, half_mm: float) -> tuple[FloatArray, FloatArray]:
    """Measure how far metal of any turn stands out of the course to the left and to the right, (k,) mm each.

    Looked at within ``half_mm`` and half a pitch along the course.
    """
    base = job.base
    dense = np.arange(0.0, base.length_mm, DRAWN_MM)
    drawn, ahead = base.at(dense)[:, :2], base.ahead(dense)[:, :2]
    of = np.repeat(np.arange(len(job.bodies)), np.diff(job.lines.first))
    points = job.lines.starts[:, :2]
    along, out = np.empty(len(points)), np.empty(len(points))
    for begin in range(0, len(points), 4000):
        few = slice(begin, begin + 4000)
        away = points[few, None] - drawn[None]
        near = (away**2).sum(axis=2).argmin(axis=1)
        offset = away[np.arange(len(near)), near]
        along[few] = dense[near] + (offset * ahead[near]).sum(axis=1)
        out[few] = ahead[near, 0] * offset[:, 1] - ahead[near, 1] * offset[:, 0]
    r = job.lines.radius_mm[of]
    # What lies a long way off belongs to another stretch of the chain.
    mine = np.abs(out) <= base.pitch_mm * 2
    apart = np.abs(at[:, None] - along[None])
    if base.closed:
        apart = np.minimum(apart, base.length_mm - apart)
    beside = mine[None] & (apart <= half_mm + base.pitch_mm / 2)
    left = np.where(beside, out + r, -np.inf).max(axis=1)
    right = np.where(beside, r - out, -np.inf).max(axis=1)
    return np.maximum(left, 0.0), np.maximum(right, 0.0)


def _ways(
    job: Job, sizes: Sizes, holds: Sequence[Hold], places: _Places, d: float, base_z: float
) -> tuple[Ways, IntArray]:
    """Make the straight gates from every place for a column to the holds in its reach; give them and their places."""
    base, profile = job.base, job.profile
    flattest = min(85.0, profile.overhang_deg + SPARE_DEG) + 0.01
    goal = np.array([h.anchors.points[h.order[0]] for h in holds])
    near = base.nearest(goal, np.array([h.near_mm for h in holds]))
    apart = np.abs(places.at_mm[:, None] - near[None])
    if base.closed:
        apart = np.minimum(np.mod(apart, base.length_mm), base.length_mm - np.mod(apart, base.length_mm))
    column, hold = np.nonzero(apart <= REACH * base.pitch_mm)
    run = np.linalg.norm(goal[hold, :2] - places.plan[column], axis=1)
    foot, which, whose, rank = [], [], [], []
    for number, steeper in enumerate(STEEPER_DEG):
        slope = np.tan(np.radians(min(85.0, flattest + steeper)))
        foot.append(np.column_stack((places.plan[column], goal[hold, 2] - run * slope)))
        which.append(hold)
        whose.append(column)
        rank.append(np.full(len(hold), number))
    feet: FloatArray = np.concatenate(foot)
    row, of, order = (np.concatenate(x) for x in (which, whose, rank))
    high = feet[:, 2] >= base_z + d
    feet, row, of, order = feet[high], row[high], of[high], order[high]
    ground = Ground(
        job.bodies,
        job.lines,
        Feed(base, d, above=False, upright=True),
        sizes,
        aim_mm=profile.strut_web_aim_mm,
        floor_mm=profile.strut_web_mm,
        overhang_deg=profile.overhang_deg,
    )
    routes = Routes(
        row,
        np.array([holds[k].order[0] for k in row], dtype=np.int64),
        np.zeros(len(row), dtype=np.int64),
        of * len(STEEPER_DEG) + order,
        feet,
        (feet + goal[row]) / 2,
    )
    ways = measured(holds, ground, routes)
    ways = ways.take(np.flatnonzero(_held(holds, ways)))
    return ways, ways.rank // len(STEEPER_DEG)


def _held(holds: Sequence[Hold], ways: Ways) -> BoolArray:
    """Tell which gates (c,) hold what is printed first: a flat one meets its wire at the side, not at its lowest."""
    half = np.array([holds[k].anchors.half_mm[holds[k].order[0]] for k in ways.hold])
    way = ways.points[:, 4] - ways.points[:, 2]
    level = np.hypot(way[:, 0], way[:, 1]) / np.linalg.norm(way, axis=1)
    return np.asarray(half * level <= ways.tip_mm / 2 - HELD_MM)


def _chosen(
    job: Job,
    holds: Sequence[Hold],
    below: Side,
    places: _Places,
    found: tuple[Ways, IntArray],
    standing: Standing,
    d: float,
    base_z: float,
    lines: dict[int, FloatArray],
    first: Mapping[int, Gate],
) -> Steps[dict[int, Gate]]:
    """Choose columns one after the other, each time the one that serves most of what is left; give the gates by hold.

    What full shafts leave over is tried with thinner ones. Columns are added to ``lines`` by their place. With gates
    that are there ``first``, each of their holds gets a second one from its other side, if there is room.
    """
    ways, column = found
    made: dict[int, Gate] = {}
    for share in SECOND if first else SHARES:
        tries, barred = ways.at(share), set(lines)
        value = _worth(tries, job.profile.strut_web_mm, job.profile.strut_web_aim_mm)
        if first:
            value[~_other_side(tries, first)] = -np.inf
            made |= _from_lines(job, holds, tries, column, value, standing, lines, first, made, d)
        while True:
            score = np.full((len(places.at_mm), len(holds)), -np.inf)
            free = np.isfinite(value) & ~np.isin(tries.hold, sorted(made)) & ~np.isin(column, sorted(barred))
            rows = np.flatnonzero(free)
            if not len(rows):
                break
            yield 0.5
            np.maximum.at(score, (column[rows], tries.hold[rows]), value[rows])
            best = int(np.where(np.isfinite(score), score, 0.0).sum(axis=1).argmax())
            barred.add(best)
            mine = rows[column[rows] == best]
            stood = _stand(job, below, places, best, tries.rods.points[mine, 0, 2], standing, d, base_z)
            served = {} if stood is None else _served(job, holds, tries, mine, float(stood[1, 2]), standing, first)
            if stood is None or not served:
                continue
            top = max(g.points[0, 2] for g in served.values()) + TALLER * d
            line = np.array([stood[0], stood[1], [stood[1, 0], stood[1, 1], max(top, stood[1, 2] + d)]])
            for gate in served.values():
                standing.add(gate.points, gate.radii)
            standing.add(line, np.full(2, d / 2))
            made |= served
            lines[best] = line
        # What no further column finds room for may still start from one that stands.
        made |= _from_lines(job, holds, tries, column, value, standing, lines, first, made, d)
    return made


def _other_side(tries: Tries, first: Mapping[int, Gate]) -> BoolArray:
    """Tell which gates (c,) hold what one holds already that comes from the other side."""
    toward = np.full((max((*first, int(tries.hold.max(initial=0)))) + 1, 2), np.nan)
    for k, gate in first.items():
        toward[k] = (gate.points[3] - gate.points[0])[:2]
    way = (tries.rods.points[:, 3] - tries.rods.points[:, 0])[:, :2]
    return np.asarray((way * toward[tries.hold]).sum(axis=1) < 0.0)


def _from_lines(
    job: Job,
    holds: Sequence[Hold],
    tries: Tries,
    column: IntArray,
    value: FloatArray,
    standing: Standing,
    lines: Mapping[int, FloatArray],
    first: Mapping[int, Gate],
    made: Mapping[int, Gate],
    d_mm: float,
) -> dict[int, Gate]:
    """Route gates from columns that stand to holds that have none ``made`` yet; add them to what stands."""
    found: dict[int, Gate] = {}
    for place, line in lines.items():
        free = np.isfinite(value) & (column == place) & ~np.isin(tries.hold, sorted({*made, *found}))
        mine = np.flatnonzero(free & (tries.rods.points[:, 0, 2] <= line[2, 2] - TALLER * d_mm))
        if not len(mine):
            continue
        others = Standing(rod for rod in standing.rods() if rod[0] is not line)
        more = _served(job, holds, tries, mine, float(line[1, 2]), others, first)
        for gate in more.values():
            standing.add(gate.points, gate.radii)
        found |= more
    return found


def _worth(tries: Tries, floor_mm: float, aim_mm: float) -> FloatArray:
    """Give what each gate is worth (c,): one that keeps the aim more than one that keeps the floor, short ones more.

    Minus infinity for one that keeps neither.
    """
    length = np.linalg.norm(tries.rods.points[:, 0] - tries.rods.points[:, 3], axis=1)
    kept = np.where(tries.gap_mm >= aim_mm, 1.0, np.where(tries.gap_mm >= floor_mm, TIGHT, -np.inf))
    return np.asarray(kept - PER_MM * length)


def _served(
    job: Job,
    holds: Sequence[Hold],
    tries: Tries,
    mine: IntArray,
    knee_z: float,
    standing: Standing,
    first: Mapping[int, Gate],
) -> dict[int, Gate]:
    """Route gates from one column, rows ``mine`` of the tries, to each hold it reaches, the lowest first.

    A second gate to a place may touch the ``first``: both meet in their link.
    """
    floor = job.profile.strut_web_mm
    served: dict[int, Gate] = {}
    used = Standing(standing.rods())
    reached = sorted(set(tries.hold[mine].tolist()), key=lambda h: (holds[h].anchors.points[holds[h].order[0], 2], h))
    for hold in reached:
        options = mine[tries.hold[mine] == hold]
        partner = first.get(hold)
        strangers = used if partner is None else _near(used, partner, tries.rods.points[options], floor)
        for row in options[np.lexsort((tries.rank[options], tries.gap_mm[options] < job.profile.strut_web_aim_mm))]:
            points, radii = tries.rods.points[row], tries.rods.radii[row]
            if points[0, 2] < knee_z or strangers.gap(points, radii, floor, node_mm=NODE_MM) < floor:
                continue
            if not _sunk(job.bodies[holds[hold].body], points, float(tries.tip_mm[row])):
                continue
            served[hold] = Gate(
                holds[hold].body,
                points,
                float(tries.shaft_mm[row]),
                float(tries.tip_mm[row]),
                float(tries.clear_mm[row]),
                float(tries.gap_mm[row]),
                float(tries.arc_mm[row]),
                0,
            )
            used.add(points, radii)
            break
    return served


def _near(standing: Standing, but: Gate, points: FloatArray, reach_mm: float) -> Standing:
    """Give the rods that stand near gates (c, 5, 3), one gate left out."""
    low, high = points.min(axis=(0, 1)), points.max(axis=(0, 1))
    return Standing(
        (line, radii)
        for line, radii in standing.rods()
        if line is not but.points
        and (line.min(axis=0) - high < reach_mm + THICK * radii.max()).all()
        and (low - line.max(axis=0) < reach_mm + THICK * radii.max()).all()
    )


def _stand(
    job: Job, below: Side, places: _Places, k: int, heights: FloatArray, standing: Standing, d: float, base_z: float
) -> FloatArray | None:
    """Find how the column at a place leans up from the base ring: foot and knee (2, 3); None if nothing is free."""
    floor, aim = job.profile.strut_web_mm, job.profile.strut_web_aim_mm
    at = float(places.at_mm[k])
    nodes = _nodes(job.base, below, at)
    foot = job.base.at(nodes)[:, :2]
    run = np.linalg.norm(places.plan[k] - foot, axis=1)
    top = float(heights.max()) + TALLER * d
    flattest = min(85.0, job.profile.overhang_deg + SPARE_DEG)
    best: tuple[float, FloatArray] | None = None
    for lean in LEANS_DEG:
        slope = np.tan(np.radians(max(lean, flattest)))
        knee_z = base_z + run * slope
        lines = np.stack(
            (
                np.column_stack((foot, np.full(len(foot), base_z))),
                np.column_stack((np.tile(places.plan[k], (len(foot), 1)), knee_z)),
                np.column_stack((np.tile(places.plan[k], (len(foot), 1)), np.maximum(top, knee_z + d))),
            ),
            axis=1,
        )
        rods = Rods(lines, np.full((len(lines), 2), d / 2))
        gap, _ = clearances(rods, np.full(len(lines), -1), job.lines, reach_mm=aim + 0.5)
        for line, free in zip(lines, gap, strict=True):
            if free < floor or (best is not None and min(free, aim) <= best[0]):
                continue
            if standing.gap(line, np.full(2, d / 2), floor + 1e-9, node_mm=NODE_MM) < floor:
                continue
            best = (min(float(free), aim), line[:2])
    return None if best is None else best[1]


def _nodes(base: Course, below: Side, at_mm: float) -> FloatArray:
    """Give the places along the base ring where a column near ``at_mm`` may begin, (n,): its own, at gates, between."""
    feet = np.array([base.nearest(g.points[:1], base.at_mm[g.body : g.body + 1])[0] for g in below.gates])
    if base.closed:
        feet = np.unique(np.mod(feet, base.length_mm))
        around = np.concatenate((feet - base.length_mm, feet, feet + base.length_mm))
    else:
        around = np.unique(feet)
    between = (around[:-1] + around[1:]) * MIDDLE
    every = np.concatenate(([at_mm], around, between))
    order = np.argsort(np.abs(every - at_mm), kind="stable")[:FEET]
    return np.asarray(every[order])


def _sunk(body: Body, points: FloatArray, tip_mm: float) -> bool:
    """Tell whether the tip of a gate (5, 3) begins outside its body and ends inside it, axis and rim.

    A slanted tip on a bent wire may begin inside its metal at one side, or come out of it at the other.
    """
    start, stop = (points[[2, 4]] - body.pose.origin) @ body.pose.rotation
    length = float(np.linalg.norm(stop - start))
    ahead = (stop - start) / length
    axis = np.zeros(3)
    axis[np.abs(ahead).argmin()] = 1.0
    side = np.cross(ahead, axis)
    side /= np.linalg.norm(side)
    angle = np.arange(RIM) * (2 * np.pi / RIM)
    rim = tip_mm / 2 * (np.cos(angle)[:, None] * side + np.sin(angle)[:, None] * np.cross(ahead, side))
    corners = body.mesh.corners()
    low, high = np.minimum(start, stop) - tip_mm, np.maximum(start, stop) + tip_mm
    near = ((corners.min(axis=1) <= high) & (corners.max(axis=1) >= low)).all(axis=1)
    starts = start + np.concatenate((np.zeros((1, 3)), rim))
    return all((met <= length).sum() % 2 == 1 for met in pierced_side_by_side(corners[near], starts, ahead))


def _refusal(k: int, hold: Hold, found: tuple[Ways, IntArray]) -> Refusal:
    """Say how near the best gate from any column came, and to whom."""
    tries = found[0].at(0.0)
    rows = np.flatnonzero(tries.hold == k)
    if not len(rows):
        return Refusal(hold, float("nan"), STRUT)
    best = rows[tries.gap_mm[rows].argmax()]
    return Refusal(hold, float(tries.gap_mm[best]), int(tries.who[best]))
