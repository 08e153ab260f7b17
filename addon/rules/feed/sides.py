"""One feed ring at its height and the gates that start from it: the base ring, or the upper ring seen in a mirror."""

from dataclasses import dataclass, replace

import numpy as np

from ..base.profile import Profile
from ..base.progress import Steps
from ..solid.mesh import Body, FloatArray, IntArray, Mesh
from .anchors import Anchors
from .by_hand import anchor_at, holds, kept, wanted_places
from .course import Course, through
from .gates import STRUT, Gate, Refusal, route
from .sizes import LONG_GATE_MM, Sizes
from .skeletons import Skeletons
from .spec import FeedSpec
from .standing import Standing
from .tries import Feed, Ground, Hold

# Clear length for each tool: a little more than the 3 mm of a threaded saw and the 4 mm of a disc, since the ends of
# spokes stand out of the ring.
TOOL_ROOM_MM = {"saw": 3.15, "disc": 4.2, "nipper": 3.15}
# Turning the job over: a gate from above is a gate from below in the mirror.
MIRROR = np.array([1.0, 1.0, -1.0])
UPRIGHT = np.ones(3)
HALVINGS = 60
# A gate that finds no way is led to so many other places at most.
ELSEWHERE = 10
# A further gate is led to the first of this many places that has a way.
MOST_PLACES = 12


@dataclass(frozen=True, slots=True, eq=False)
class Job:
    """What a lattice is planned for. ``low`` and ``high`` are the anchors of every body from below and from above."""

    bodies: tuple[Body, ...]
    lines: Skeletons
    base: Course
    low: tuple[Anchors, ...]
    high: tuple[Anchors, ...]
    profile: Profile
    spec: FeedSpec


@dataclass(frozen=True, slots=True, eq=False)
class Side:
    """What one feed ring reaches: its gates, its refusals, the course of its axis, all upright."""

    gates: tuple[Gate, ...]
    refusals: tuple[Refusal, ...]
    course: Course


def lay_side(
    job: Job,
    sizes: Sizes,
    standing: Standing,
    *,
    above: bool,
    further: tuple[Hold, ...] = (),
    own: tuple[Sizes, ...] = (),
) -> Steps[Side]:
    """Lay one feed ring at its height and route its gates; an upper one with everything mirrored in z.

    Gates the maker pinned stand first; then gates to the places he wants, to every place where printing begins, and to
    ``further`` ones. ``own`` are the sizes of each body's gates where they differ. The new gates are added to
    ``standing``, which is given upright.
    """
    found = job.high if above else job.low
    d = sizes.upper_ring_mm if above else sizes.ring_mm
    lowest = np.array([a.lowest[: a.holds].min() for a in found])
    level = _smoothed(lowest, closed=job.base.closed) if above else np.full(len(lowest), lowest.min())
    height = level - _drop(job.base, found, level, d, job.spec)
    course = _carried(job.base, height) if above else _raised(job.base, float(height[0]))
    view = Standing((points * MIRROR, radii) for points, radii in standing.rods()) if above else standing
    ground = Ground(
        tuple(_seen(b) for b in job.bodies) if above else job.bodies,
        _turned(job.lines) if above else job.lines,
        Feed(course, d, above),
        sizes,
        aim_mm=job.profile.strut_web_aim_mm,
        floor_mm=job.profile.strut_web_mm,
        overhang_deg=job.profile.overhang_deg,
        own=own,
    )
    pinned = kept(job.spec.pinned, job.bodies, ground.feed, MIRROR if above else UPRIGHT)
    for gate in pinned:
        view.add(gate.points, gate.radii)
    ends: dict[int, list[FloatArray]] = {}
    for gate in pinned:
        ends.setdefault(gate.body, []).append(gate.points[-1])
    wanted = _wanted(job, course, above=above)
    for hold in wanted:
        ends.setdefault(hold.body, []).append(hold.anchors.points[0])
    starts = [
        Hold(k, a, _order(a, number), float(course.at_mm[k]))
        for k, a in enumerate(found)
        for number in range(0 if a.closed else a.holds)
        if not any(holds(end, a, number) for end in ends.get(k, ()))
    ]
    # What stands over other turns is left to columns.
    shaded = np.zeros(len(job.bodies), dtype=bool) if above else job.base.over
    asked = [*wanted, *starts]
    routed, refusals = yield from route([hold for hold in asked if not shaded[hold.body]], ground, view)
    refusals += [Refusal(hold, float("nan"), STRUT) for hold in asked if shaded[hold.body]]
    free = tuple(hold for hold in further if not shaded[hold.body])
    gates = [*pinned, *routed, *(yield from _further(free, ground, view))]
    if not above:
        return Side(tuple(gates), tuple(refusals), course)
    upright = tuple(replace(g, points=g.points * MIRROR) for g in gates)
    for gate in upright:
        standing.add(gate.points, gate.radii)
    return Side(upright, tuple(refusals), _carried(job.base, -height))


def _further(asked: tuple[Hold, ...], ground: Ground, view: Standing) -> Steps[list[Gate]]:
    """Route further gates where one fits: each to the first of its best places that all kinds of route reach."""
    gates: list[Gate] = []
    for turn in range(MOST_PLACES):
        served = {gate.body for gate in gates}
        left = [h for h in asked if h.body not in served and turn < len(h.order)]
        if left:
            one = [replace(h, order=h.order[turn : turn + 1]) for h in left]
            gates += (yield from route(one, ground, view, briefly=True))[0]
    return gates


def _wanted(job: Job, course: Course, *, above: bool) -> list[Hold]:
    """Give the places the maker pointed at, each with no other to fall back on."""
    number = {body.name: k for k, body in enumerate(job.bodies)}
    found = []
    for one in wanted_places(job.spec, job.bodies, job.base.over):
        if one.above != above or one.body not in number:
            continue
        k = number[one.body]
        anchor = anchor_at(job.bodies[k], np.array(one.at), MIRROR if above else UPRIGHT)
        if anchor is not None:
            found.append(Hold(k, anchor, np.zeros(1, dtype=np.int64), float(course.at_mm[k]), wanted=True))
    return found


def _order(found: Anchors, number: int) -> IntArray:
    # The rest are there for second starts.
    others = np.arange(found.holds, min(len(found.points), found.holds + ELSEWHERE))
    return np.concatenate(([number], others)).astype(np.int64)


def _carried(base: Course, height: FloatArray) -> Course:
    """Carry a course to a height (n,) over each link."""
    if len(height) < 2:
        return _raised(base, float(height[0]))
    return through(np.column_stack((base.at(base.at_mm)[:, :2], height)), closed=base.closed)


def _raised(base: Course, z_mm: float) -> Course:
    cubics = base.line.cubics.copy()
    cubics[:, 0, 2] = z_mm
    return replace(base, line=replace(base.line, cubics=cubics))


def _smoothed(height: FloatArray, *, closed: bool) -> FloatArray:
    """Carry a ring under all links without jumps: the lowest of three neighbours, then their mean."""
    for act in (np.min, np.mean):
        if closed:
            three = np.stack((np.roll(height, 1), height, np.roll(height, -1)))
        else:
            padded = np.concatenate((height[:1], height, height[-1:]))
            three = np.stack((padded[:-2], height, padded[2:]))
        height = np.asarray(act(three, axis=0))
    return height


def _drop(base: Course, found: tuple[Anchors, ...], level: FloatArray, d_mm: float, spec: FeedSpec) -> float:
    """Find how far below ``level`` (n,) the ring's axis lies, so that gates get their length.

    A length the maker wrote is that of the shortest gate. Else the longest gate is 4 mm, up to which the quick rule for
    short gates holds, unless that leaves the shortest without room for its tool; then it gets that.
    """
    body = np.repeat(np.arange(len(found)), [a.holds for a in found])
    goal = np.concatenate([a.points[: a.holds] for a in found])
    along = np.concatenate([a.along[: a.holds] for a in found])
    half = np.concatenate([a.half_mm[: a.holds] for a in found])
    foot = base.at(base.nearest(goal, base.at_mm[body]))

    def clear(drop: float) -> FloatArray:
        foot[:, 2] = level[body] - drop
        way = goal - foot
        length = np.linalg.norm(way, axis=1)
        ahead = way / length[:, None]
        square = np.where((along == 0.0).all(axis=1), 1.0, np.linalg.norm(np.cross(ahead, along), axis=1))
        return np.asarray(length - half / np.maximum(square, 0.5) - d_mm / 2 / np.maximum(ahead[:, 2], 0.3))

    def solved(wanted: float, *, longest: bool) -> float:
        low, high = d_mm / 2, d_mm / 2 + wanted + 40.0
        for _ in range(HALVINGS):
            middle = (low + high) / 2
            reached = clear(middle).max() if longest else clear(middle).min()
            low, high = (middle, high) if reached < wanted else (low, middle)
        return low

    if spec.gate_length_mm is not None:
        return solved(spec.gate_length_mm, longest=False)
    short = solved(LONG_GATE_MM, longest=True)
    room = TOOL_ROOM_MM[spec.cut]
    return short if clear(short).min() >= room else solved(room, longest=False)


def _turned(lines: Skeletons) -> Skeletons:
    return Skeletons(
        lines.starts * MIRROR,
        lines.ends * MIRROR,
        lines.first,
        lines.radius_mm,
        np.column_stack((lines.low[:, :2], -lines.high[:, 2])),
        np.column_stack((lines.high[:, :2], -lines.low[:, 2])),
    )


def _seen(body: Body) -> Body:
    """Give a body mirrored in z, its triangles turned so that they still look outward; wires keep to their lines."""
    if body.wire is not None:
        return body
    return Body(body.name, Mesh(body.points() * MIRROR, body.mesh.triangles[:, ::-1]))
