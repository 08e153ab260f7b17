"""What lies on the plate: base ring or runner, hub, and swept spokes or short bridges between them.

The hub takes the trunk. Spokes are bowed: a closed hoop shrinks on its core as it cools, and straight spokes tear.
"""

from dataclasses import dataclass

import numpy as np

from ..solid.mesh import FloatArray
from .course import Course
from .lattice import LatticeSolid, Strut, place
from .plane import flat_gap, roomiest
from .rods import drum, lying
from .sections import Section
from .sizes import LONG_SHAFT, SPOKE_SUNK_MM, Sizes, WheelSizes, choose_wheel, drum_modulus_mm

MM_PER_SPOKE = 50.0
LEAST_SPOKES, MOST_SPOKES = 3, 8
# How far a spoke bows to the side, as a share of its length, in the order tried.
BOWS = (0.22, 0.12, -0.22, -0.12)
SHORT_BOWS = (0.1, -0.1)
POINTS = 17
# A spoke meets the ring at the ring's own height, a hair higher so that no two surfaces coincide.
OVER_RING = 1.02
SHORTEST_SPOKE_MM = 3.0
BRIDGE_ROOM_MM = 5.0
# A disc that is hub and spokes in one stays this share of the ring's radius above the ring's axis: under its top.
DISC_TOP = 0.35


@dataclass(frozen=True, slots=True, eq=False)
class Wheel:
    """The solids on the plate, and why spokes are missing, if they are: ``trouble`` is a sentence or None."""

    solids: tuple[LatticeSolid, ...]
    trouble: str | None = None


@dataclass(frozen=True, slots=True, eq=False)
class _Plan:
    """Where a wheel is laid: its course and that course drawn on the plate (k, 2), the places where gates stand along
    it (g,), the sizes, the plate, and what must be kept.
    """  # noqa: D205

    course: Course
    line: FloatArray
    feet_mm: FloatArray
    sizes: Sizes
    gates: int
    plate_z_mm: float
    web_mm: float

    def chosen(self, spokes: int) -> WheelSizes:
        return choose_wheel(self.sizes, gates=self.gates, spokes=spokes, web_mm=self.web_mm)


def lay_wheel(
    course: Course, feet_mm: FloatArray, sizes: Sizes, *, gates: int, plate_z_mm: float, web_mm: float
) -> Wheel:
    """Lay base ring, spokes and hub.

    ``feet_mm`` (g,) are where gates stand on the course: spokes run to those. ``gates`` counts all tips that are fed.
    """
    line = course.sampled(over_mm=0.6 * sizes.ring_mm)[0][:, :2]
    plan = _Plan(course, line, feet_mm, sizes, gates, plate_z_mm, web_mm)
    d = np.full(len(line), sizes.ring_mm)
    ring = _piece("ring", line, d, sizes.lying, plate_z_mm, closed=course.closed)
    return _round(plan, ring) if course.closed else _runner(plan, ring)


def _round(plan: _Plan, ring: LatticeSolid) -> Wheel:
    """Lay hub and spokes inside a closed ring: as many as are wanted, else fewer and thicker ones."""
    course = plan.course
    middle, room = roomiest(plan.line)
    wanted = int(np.clip(round(course.length_mm / MM_PER_SPOKE), LEAST_SPOKES, MOST_SPOKES))
    for count in range(wanted, 0, -1):
        wheel = plan.chosen(count)
        if room - plan.sizes.ring_mm / 2 < wheel.hub_mm / 2 + SHORTEST_SPOKE_MM:
            continue
        targets = np.arange(count) * (course.length_mm / count) + plan.feet_mm[0]
        spokes = _spokes(plan, wheel, targets, course.length_mm / count / 2, middle)
        if len(spokes) == count:
            hub = _hub(middle, wheel.hub_mm, wheel.hub_height_mm, plan.plate_z_mm)
            return Wheel((ring, *spokes, hub))
    if room <= 2 * plan.chosen(LEAST_SPOKES).hub_mm:
        return _disc(plan, ring, middle, 2 * room + 0.3 * plan.sizes.ring_mm)
    return Wheel(
        (ring,),
        trouble="no spoke finds a way from the middle to the base ring: the ring comes too near to itself; make the "
        "curve rounder or write a thinner feed.ring_mm",
    )


def _runner(plan: _Plan, ring: LatticeSolid) -> Wheel:
    """Lay the hub of an open runner beside its middle, with two bridges; where there is no room, on the runner."""
    course = plan.course
    half = course.length_mm / 2
    at, ahead = course.at(np.array([half]))[0, :2], course.ahead(np.array([half]))[0, :2]
    side = np.array([-ahead[1], ahead[0]])
    for count in (2, 1):
        wheel = plan.chosen(count)
        out = wheel.hub_mm / 2 + plan.sizes.ring_mm / 2 + max(BRIDGE_ROOM_MM, plan.web_mm)
        places = [at + out * side, at - out * side]
        rooms = [float(np.linalg.norm(plan.line - p, axis=1).min()) for p in places]
        inner = [float(np.linalg.norm(p - plan.line.mean(axis=0))) for p in places]
        for k in sorted((0, 1), key=lambda k: (round(-rooms[k], 1), inner[k])):
            if rooms[k] - wheel.hub_mm / 2 - plan.sizes.ring_mm / 2 < plan.web_mm:
                continue
            spread = out if count == 2 else 0.0
            targets = np.clip(half + np.array([-spread, spread])[:count], 0.0, course.length_mm)
            spokes = _spokes(plan, wheel, targets, out, places[k])
            if len(spokes) == count:
                hub = _hub(places[k], wheel.hub_mm, wheel.hub_height_mm, plan.plate_z_mm)
                return Wheel((ring, *spokes, hub))
    return _disc(plan, ring, at, plan.chosen(1).hub_mm)


def _disc(plan: _Plan, ring: LatticeSolid, middle: FloatArray, d_mm: float) -> Wheel:
    """Join a low disc straight to the ring: hub and spokes in one, under the ring's top so that gates stay free."""
    height = plan.sizes.ring_axis_mm + DISC_TOP * plan.sizes.ring_mm / 2
    return Wheel((ring, _hub(middle, d_mm, height, plan.plate_z_mm)))


def _piece(
    role: str, line: FloatArray, d: FloatArray, section: Section, plate_z_mm: float, *, closed: bool
) -> LatticeSolid:
    axis = np.column_stack((line, plate_z_mm + section.foot * d / 2))
    ends = np.roll(axis, -1, axis=0) if closed else axis[1:]
    d_ends = np.roll(d, -1) if closed else d[1:]
    struts = tuple(
        Strut(role, place(a), place(b), float(da), float(db))
        for a, b, da, db in zip(axis, ends, d, d_ends, strict=False)
    )
    mesh = lying(line, d, section, plate_z_mm=plate_z_mm, closed=closed)
    return LatticeSolid(role, mesh, struts, section.modulus_mm(float(d.max())))


def _hub(middle: FloatArray, d_mm: float, height_mm: float, plate_z_mm: float) -> LatticeSolid:
    bottom = (float(middle[0]), float(middle[1]), plate_z_mm)
    top = (bottom[0], bottom[1], plate_z_mm + height_mm)
    mesh = drum(middle, d_mm, plate_z_mm=plate_z_mm, height_mm=height_mm)
    strut = Strut("trunk", bottom, top, d_mm, d_mm)
    return LatticeSolid("trunk", mesh, (strut,), drum_modulus_mm(d_mm, height_mm))


def _spokes(
    plan: _Plan, wheel: WheelSizes, targets: FloatArray, spread: float, middle: FloatArray
) -> list[LatticeSolid]:
    """Lay a spoke to a gate's foot near each target; stop at the first target that none reaches."""
    course, feet = plan.course, plan.feet_mm
    laid: list[FloatArray] = []
    solids: list[LatticeSolid] = []
    used: set[int] = set()
    for target in targets:
        away = np.abs(feet - target)
        if course.closed:
            away = np.mod(away, course.length_mm)
            away = np.minimum(away, course.length_mm - away)
        order = [k for k in np.argsort(away, kind="stable").tolist() if away[k] <= spread and k not in used][:6]
        bows = BOWS if course.closed else _square_first(course.at(target)[:2], middle, course.ahead(target)[:2])
        for k, bow in [(k, bow) for bow in bows for k in order]:
            line, d = _bowed(course.at(feet[k])[:2], middle, bow, plan.sizes, wheel)
            if _free(line, laid, plan, wheel):
                used.add(k)
                laid.append(line)
                solids.append(_piece("spoke", line, d, plan.sizes.lying, plan.plate_z_mm, closed=False))
                break
        else:
            return solids
    return solids


def _square_first(foot: FloatArray, middle: FloatArray, ahead: FloatArray) -> tuple[float, ...]:
    """Order the bows of a short bridge so that it meets the runner as squarely as it can."""
    chord = foot - middle
    turned = np.array([-chord[1], chord[0]])
    return tuple(sorted(SHORT_BOWS, key=lambda bow: abs(float((chord / 2 - bow * turned) @ ahead))))


def _bowed(
    foot: FloatArray, middle: FloatArray, bow: float, sizes: Sizes, wheel: WheelSizes
) -> tuple[FloatArray, FloatArray]:
    """Draw a spoke from inside the hub to the ring's axis: a parabola's arc, necked down where it meets the ring."""
    chord = foot - middle
    bend = (middle + foot) / 2 + bow * np.array([-chord[1], chord[0]])
    u = np.linspace(0.0, 1.0, 4 * POINTS)[:, None]
    arc = (1 - u) ** 2 * middle + 2 * u * (1 - u) * bend + u**2 * foot
    walked = np.concatenate(([0.0], np.cumsum(np.linalg.norm(np.diff(arc, axis=0), axis=1))))
    out = np.linalg.norm(arc - middle, axis=1)
    start = float(np.interp(max(0.0, wheel.hub_mm / 2 - SPOKE_SUNK_MM), out, walked))
    neck = max(start + 0.1, walked[-1] - 0.9 * sizes.ring_mm / 2)
    at = np.append(np.linspace(start, neck, POINTS), walked[-1])
    line = np.stack((np.interp(at, walked, arc[:, 0]), np.interp(at, walked, arc[:, 1])), axis=1)
    d = np.full(len(at), wheel.spoke_mm)
    d[-1] = min(OVER_RING * sizes.ring_mm, wheel.spoke_mm)
    return line, d


def _free(line: FloatArray, laid: list[FloatArray], plan: _Plan, wheel: WheelSizes) -> bool:
    """Tell whether a spoke keeps the web from the ring, away from where it joins it, and from other spokes."""
    ring = plan.line
    before, after = (ring, np.roll(ring, -1, axis=0)) if plan.course.closed else (ring[:-1], ring[1:])
    node = plan.sizes.ring_mm / 2 + wheel.spoke_mm / 2 + plan.web_mm
    outer = line[np.linalg.norm(line - line[-1], axis=1) > 1.6 * node]
    if len(outer):
        gap = flat_gap(outer, outer, before, after) - plan.sizes.ring_mm / 2 - wheel.spoke_mm / 2
        if gap.min() < plan.web_mm:
            return False
    feet = plan.course.at(plan.feet_mm)[:, :2]
    feet = feet[np.linalg.norm(feet - line[-1], axis=1) > node]
    gate = max(plan.sizes.gate_mm, LONG_SHAFT * plan.sizes.wire_mm)
    if len(feet) and flat_gap(feet, feet, line[:-1], line[1:]).min() < (wheel.spoke_mm + gate) / 2 + plan.web_mm:
        return False
    return all(
        flat_gap(line[:-1], line[1:], other[:-1], other[1:]).min() >= wheel.spoke_mm + plan.web_mm for other in laid
    )
