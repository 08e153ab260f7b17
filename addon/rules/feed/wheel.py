"""What lies on the plate: base ring or runner, hub, and swept spokes or short bridges between them.

The hub takes the trunk. Spokes are bowed: a closed hoop shrinks on its core as it cools, and straight spokes tear.
"""

from dataclasses import dataclass
from math import ceil, pi, sqrt

import numpy as np

from ..inspect.finding import Finding
from ..solid.mesh import FloatArray
from .course import Course
from .lattice import LatticeSolid, Strut, place
from .plane import flat_gap, roomiest
from .rods import drum, lying
from .sections import CHORD_MM, ROUND, Section
from .sizes import LONG_SHAFT, SPOKE_SUNK_MM, Sizes, WheelSizes, choose_trunk_mm, choose_wheel, drum_modulus_mm
from .spec import FeedSpec
from .trunk import arms_between, fit_socket, marked_hub, socket_hub, trunk_findings, trunk_length_mm, trunk_solid

MM_PER_SPOKE = 50.0
LEAST_SPOKES, MOST_SPOKES = 3, 8
# How far a spoke bows to the side, as a share of its length, in the order tried.
BOWS = (0.22, 0.12, -0.22, -0.12)
SHORT_BOWS = (0.1, -0.1)
# The arc of a spoke is followed in so many points, and drawn in no fewer than these.
POINTS, LEAST_POINTS = 68, 6
# A spoke meets the ring at the ring's own height, a hair higher so that no two surfaces coincide.
OVER_RING = 1.02
SHORTEST_SPOKE_MM = 3.0
BRIDGE_ROOM_MM = 5.0
# A disc that is hub and spokes in one stays this share of the ring's radius above the ring's axis: under its top.
DISC_TOP = 0.35
# A fillet takes up at most this share of a spoke, and is drawn in so many steps.
FILLET_SHARE = 0.3
FILLET_STEPS = 4
# Sizes are compared with this much to spare: they come out of sums of sines.
SPARE = 1e-6


@dataclass(frozen=True, slots=True, eq=False)
class Wheel:
    """The solids on the plate, what is printed apart, and what there is to say of them."""

    solids: tuple[LatticeSolid, ...]
    apart: tuple[LatticeSolid, ...] = ()
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class _Plan:
    """Where a wheel is laid: its course and that course drawn on the plate (k, 2), the places where gates stand along
    it (g,), the sizes, the plate, what must be kept and what the maker wrote.
    """  # noqa: D205

    course: Course
    line: FloatArray
    feet_mm: FloatArray
    sizes: Sizes
    gates: int
    plate_z_mm: float
    web_mm: float
    clear_mm: float
    spec: FeedSpec

    def chosen(self, spokes: int) -> WheelSizes:
        return choose_wheel(
            self.sizes, gates=self.gates, spokes=spokes, web_mm=self.web_mm, fillet_mm=self.spec.fillet_mm
        )


@dataclass(frozen=True, slots=True, eq=False)
class Hub:
    """A hub, what is printed apart for it, and what there is to say."""

    solid: LatticeSolid
    apart: tuple[LatticeSolid, ...]
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True, eq=False)
class _Spoke:
    """A spoke's line (k, 2), its diameters (k,) and how far its halves are moved apart for fillets (k,)."""

    line: FloatArray
    d_mm: FloatArray
    wider_mm: FloatArray

    @property
    def half_mm(self) -> FloatArray:
        """Give the largest half width of each piece, (k - 1,)."""
        half = self.d_mm / 2 + self.wider_mm
        return np.maximum(half[:-1], half[1:])


def lay_wheel(
    course: Course,
    feet_mm: FloatArray,
    sizes: Sizes,
    *,
    gates: int,
    plate_z_mm: float,
    web_mm: float,
    clear_mm: float,
    spec: FeedSpec,
) -> Wheel:
    """Lay base ring, spokes and hub.

    ``feet_mm`` (g,) are where gates stand on the course: spokes run to those. ``gates`` counts all tips that are fed;
    ``clear_mm`` is the least length of gates between ring and links.
    """
    line = course.sampled(over_mm=0.6 * sizes.ring_mm)[0][:, :2]
    plan = _Plan(course, line, feet_mm, sizes, gates, plate_z_mm, web_mm, clear_mm, spec)
    d = np.full(len(line), sizes.ring_mm)
    ring = _piece("ring", line, d, sizes.lying, plate_z_mm, closed=course.closed)
    return _round(plan, ring) if course.closed else _runner(plan, ring)


def _round(plan: _Plan, ring: LatticeSolid) -> Wheel:
    """Lay hub and spokes inside a closed ring: as many as are wanted, else fewer and thicker ones."""
    course = plan.course
    middle, room = roomiest(plan.line)
    wanted = int(np.clip(round(course.length_mm / MM_PER_SPOKE), LEAST_SPOKES, MOST_SPOKES))
    cramped, nearest = [], []
    for count in range(wanted, 0, -1):
        wheel = plan.chosen(count)
        short = wheel.hub_mm / 2 + SHORTEST_SPOKE_MM + plan.sizes.ring_mm / 2 - room
        if short > 0.0:
            cramped.append((short, wheel))
            continue
        targets = np.arange(count) * (course.length_mm / count) + plan.feet_mm[0]
        spokes, best = _spokes(plan, wheel, targets, course.length_mm / count / 2, middle)
        if len(spokes) == count:
            return _wheel(plan, wheel, ring, spokes, middle, wanted)
        nearest.append(-best)
    if room <= 2 * plan.chosen(LEAST_SPOKES).least_hub_mm:
        return _disc(plan, ring, middle, 2 * room + 0.3 * plan.sizes.ring_mm, np.zeros(0))
    return Wheel((ring,), findings=(_no_spokes(plan, middle, cramped, nearest),))


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
            spokes, _ = _spokes(plan, wheel, targets, out, places[k])
            if len(spokes) == count:
                return _wheel(plan, wheel, ring, spokes, places[k], 2)
    along = float(np.arctan2(ahead[1], ahead[0]))
    return _disc(plan, ring, at, plan.chosen(1).hub_mm, np.array([along, along + pi]))


def _wheel(
    plan: _Plan, wheel: WheelSizes, ring: LatticeSolid, spokes: list[_Spoke], middle: FloatArray, wanted: int
) -> Wheel:
    """Put ring, spokes and hub together; ``wanted`` is how many spokes the rules ask for."""
    section = plan.sizes.lying
    solids = [
        _piece("spoke", s.line, s.d_mm, section, plan.plate_z_mm, closed=False, wider_mm=s.wider_mm) for s in spokes
    ]
    out = np.array([s.line[0] - middle for s in spokes])
    joins = np.arctan2(out[:, 1], out[:, 0])
    hub = stand_hub(
        middle, (wheel.hub_mm, wheel.hub_height_mm), wheel.flow_mm2, joins, plan.sizes, plan.spec, plan.plate_z_mm
    )
    return Wheel(
        (ring, *solids, hub.solid), hub.apart, (*_written(plan, wheel, len(spokes), wanted, middle), *hub.findings)
    )


def _disc(plan: _Plan, ring: LatticeSolid, middle: FloatArray, d_mm: float, joins: FloatArray) -> Wheel:
    """Join a low disc straight to the ring: hub and spokes in one, under the ring's top so that gates stay free.

    ``joins`` (j,) are the directions in which the ring leaves it; none when the ring runs all round it.
    """
    height = plan.sizes.ring_axis_mm + DISC_TOP * plan.sizes.ring_mm / 2
    flow = plan.gates * pi * plan.sizes.tip_mm**2 / 4
    hub = stand_hub(middle, (d_mm, height), flow, joins, plan.sizes, plan.spec, plan.plate_z_mm)
    written = [f"feed.{key}" for key, size in (("hub_mm", plan.spec.hub_mm), ("spoke_mm", plan.spec.spoke_mm)) if size]
    told: tuple[Finding, ...] = ()
    wider = 4 * plan.chosen(LEAST_SPOKES).least_hub_mm - d_mm
    smaller = d_mm - 1.3 * plan.sizes.ring_mm - 2 * SHORTEST_SPOKE_MM
    if written and not len(joins):
        text = (
            f"{' and '.join(written)}: there is no room for spokes inside the ring, so hub and spokes are one disc of "
            f"{d_mm:.1f} mm; a ring {wider:.1f} mm wider across has room, or a hub under {smaller:.1f} mm"
        )
        told = (Finding("strut-unrouted", "warn", (), text, at=hub.solid.struts[0].start, value=d_mm),)
    return Wheel((ring, hub.solid), hub.apart, (*told, *hub.findings))


def _no_spokes(
    plan: _Plan, middle: FloatArray, cramped: list[tuple[float, WheelSizes]], nearest: list[float]
) -> Finding:
    """Say why no spoke leads from the middle to the ring, by how much it does not fit, and what makes room."""
    at = place(np.array([*middle, plan.plate_z_mm]))
    if nearest:
        short = min(nearest)
        text = (
            f"no spoke finds a way from the middle to the base ring: the best comes {short:.2f} mm too near to the "
            f"ring or a gate; make the curve rounder, or write feed.spoke_mm or feed.ring_mm {short:.2f} mm thinner"
        )
    else:
        short, wheel = min(cramped, key=lambda row: row[0])
        text = (
            f"no spoke finds a way from the middle to the base ring: with a hub of {wheel.hub_mm:.1f} mm "
            f"{short:.2f} mm are missing; make the ring {2 * short:.1f} mm wider, or write feed.hub_mm {2 * short:.1f} "
            "mm smaller or a thinner feed.ring_mm"
        )
    return Finding("strut-unrouted", "stop", (), text, at=at, value=short, limit=0.0)


def _written(plan: _Plan, wheel: WheelSizes, count: int, wanted: int, middle: FloatArray) -> list[Finding]:
    """Find what the maker's own spokes and hub do not carry, and what they leave no room for."""
    at = place(np.array([*middle, plan.plate_z_mm]))
    share, section = wheel.flow_mm2 / count, plan.sizes.lying
    area, found = section.area_mm2(wheel.spoke_mm), []
    if plan.spec.spoke_mm is not None and area < share * (1 - SPARE):
        text = (
            f"feed.spoke_mm: {count} spokes of {wheel.spoke_mm:g} mm carry {count * area:.1f} mm2, what they feed "
            f"takes {wheel.flow_mm2:.1f} mm2; {section.d_for_area(share):.2f} mm or more would do"
        )
        found.append(Finding("modulus", "warn", (), text, at=at, value=area, limit=share))
    area = ROUND.area_mm2(wheel.hub_mm)
    if plan.spec.hub_mm is not None and area < wheel.flow_mm2 * (1 - SPARE):
        text = (
            f"feed.hub_mm: a hub of {wheel.hub_mm:g} mm carries {area:.1f} mm2, what it feeds takes "
            f"{wheel.flow_mm2:.1f} mm2; {ROUND.d_for_area(wheel.flow_mm2):.2f} mm or more would do"
        )
        found.append(Finding("modulus", "warn", (), text, at=at, value=area, limit=wheel.flow_mm2))
    if plan.spec.hub_mm is not None and count < wanted:
        would = plan.chosen(wanted).least_hub_mm
        if would > wheel.hub_mm:
            text = (
                f"feed.hub_mm: round a hub of {wheel.hub_mm:g} mm there is room for only {count} of {wanted} spokes; "
                f"{would:.1f} mm has room for all"
            )
            found.append(Finding("strut-unrouted", "note", (), text, at=at, value=wheel.hub_mm, limit=would))
    rise = (1 + section.foot) / 2
    over, room = rise * (wheel.spoke_mm - plan.sizes.ring_mm), plan.clear_mm - plan.web_mm
    if plan.spec.spoke_mm is not None and over > room:
        most = plan.sizes.ring_mm + room / rise
        text = (
            f"feed.spoke_mm: spokes of {wheel.spoke_mm:g} mm stand {over:.1f} mm over the base ring, too near to the "
            f"links, {room:.1f} mm would leave {plan.web_mm:g} mm; write {most:.2f} or less, or "
            f"a feed.gate_length_mm {over - room:.1f} mm longer"
        )
        found.append(Finding("strut-unrouted", "warn", (), text, at=at, value=over, limit=room))
    return found


def _piece(
    role: str,
    line: FloatArray,
    d: FloatArray,
    section: Section,
    plate_z_mm: float,
    *,
    closed: bool,
    wider_mm: FloatArray | float = 0.0,
) -> LatticeSolid:
    axis = np.column_stack((line, plate_z_mm + section.foot * d / 2))
    holds = d + 2 * wider_mm
    ends, d_ends = (np.roll(axis, -1, axis=0), np.roll(holds, -1)) if closed else (axis[1:], holds[1:])
    struts = tuple(
        Strut(role, place(a), place(b), float(da), float(db))
        for a, b, da, db in zip(axis, ends, holds, d_ends, strict=False)
    )
    mesh = lying(line, d, section, plate_z_mm=plate_z_mm, closed=closed, wider_mm=wider_mm)
    return LatticeSolid(role, mesh, struts, section.modulus_mm(float(d.max())))


def stand_hub(
    middle: FloatArray,
    size_mm: tuple[float, float],
    flow_mm2: float,
    joins: FloatArray,
    sizes: Sizes,
    spec: FeedSpec,
    plate_z_mm: float,
) -> Hub:
    """Stand a hub on the plate, its foot made ready for the trunk.

    ``size_mm`` are its diameter and height, ``flow_mm2`` the section that the trunk must have for what it feeds,
    ``joins`` (j,) the directions that the hub is joined in. Where nothing can lead out of it, its foot
    stays plain.
    """
    d_mm, height_mm = size_mm
    modulus, slope = drum_modulus_mm(d_mm, height_mm), sizes.lying.slope
    trunk = choose_trunk_mm(d_mm, height_mm, flow_mm2)
    z = plate_z_mm
    arms = arms_between(joins) if len(joins) else np.zeros(0)
    socket = fit_socket(d_mm, height_mm, trunk, slope) if spec.trunk == "printed" else None
    apart: tuple[LatticeSolid, ...] = ()
    if socket is not None:
        mesh = socket_hub(middle, d_mm, socket, plate_z_mm=z, height_mm=height_mm, arms=arms)
        apart = (trunk_solid(middle, socket, plate_z_mm=z, trunk_mm=trunk, length_mm=trunk_length_mm(spec)),)
    elif len(arms):
        mesh = marked_hub(middle, d_mm, plate_z_mm=z, height_mm=height_mm, trunk_mm=trunk, arms=arms, slope=slope)
    else:
        mesh = drum(middle, d_mm, plate_z_mm=z, height_mm=height_mm)
    foot = np.array([*middle, z])
    strut = Strut("trunk", place(foot), (*place(foot)[:2], z + height_mm), d_mm, d_mm)
    told = trunk_findings(spec, (d_mm, height_mm), trunk, socket, slope, foot)
    return Hub(LatticeSolid("trunk", mesh, (strut,), modulus), apart, told)


def _spokes(
    plan: _Plan, wheel: WheelSizes, targets: FloatArray, spread: float, middle: FloatArray
) -> tuple[list[_Spoke], float]:
    """Lay a spoke to a gate's foot near each target; stop at the first target that none reaches.

    Gives the spokes, and the best room over the web that was found at the target none reaches (negative: too little).
    """
    course, feet = plan.course, plan.feet_mm
    laid: list[_Spoke] = []
    used: set[int] = set()
    for target in targets:
        away = np.abs(feet - target)
        if course.closed:
            away = np.mod(away, course.length_mm)
            away = np.minimum(away, course.length_mm - away)
        order = [k for k in np.argsort(away, kind="stable").tolist() if away[k] <= spread and k not in used][:6]
        bows = BOWS if course.closed else _square_first(course.at(target)[:2], middle, course.ahead(target)[:2])
        best = -np.inf
        for k, bow in [(k, bow) for bow in bows for k in order]:
            spoke = _bowed(course.at(feet[k])[:2], middle, bow, plan, wheel)
            room = _room(spoke, laid, plan, wheel)
            best = max(best, room)
            if room >= 0.0:
                used.add(k)
                laid.append(spoke)
                break
        else:
            return laid, best
    return laid, 0.0


def _square_first(foot: FloatArray, middle: FloatArray, ahead: FloatArray) -> tuple[float, ...]:
    """Order the bows of a short bridge so that it meets the runner as squarely as it can."""
    chord = foot - middle
    turned = np.array([-chord[1], chord[0]])
    return tuple(sorted(SHORT_BOWS, key=lambda bow: abs(float((chord / 2 - bow * turned) @ ahead))))


def _bowed(foot: FloatArray, middle: FloatArray, bow: float, plan: _Plan, wheel: WheelSizes) -> _Spoke:
    """Draw a spoke from inside the hub to the ring's axis: a parabola's arc, necked down where it meets the ring.

    Fillets widen it at both ends by quarter rounds.
    """
    ring = plan.sizes.ring_mm
    chord = foot - middle
    bend = (middle + foot) / 2 + bow * np.array([-chord[1], chord[0]])
    u = np.linspace(0.0, 1.0, POINTS)[:, None]
    arc = (1 - u) ** 2 * middle + 2 * u * (1 - u) * bend + u**2 * foot
    walked = np.concatenate(([0.0], np.cumsum(np.linalg.norm(np.diff(arc, axis=0), axis=1))))
    away = np.linalg.norm(arc - middle, axis=1)
    start, rim = (float(np.interp(max(0.0, wheel.hub_mm / 2 - sunk), away, walked)) for sunk in (SPOKE_SUNK_MM, 0.0))
    last = float(walked[-1])
    neck = max(start + 0.1, last - 0.9 * ring / 2)
    # A parabola over a chord is bent most in its middle, by eight of its heights over the chord squared.
    step = sqrt(8 * CHORD_MM * float(np.linalg.norm(chord)) / (4 * abs(bow)))
    at = np.linspace(start, neck, max(LEAST_POINTS, ceil((neck - start) / step) + 1))
    fillet = min(plan.spec.fillet_mm, FILLET_SHARE * (last - ring / 2 - rim))
    if fillet > 0.0:
        out = fillet * (1 - np.cos(np.linspace(0.0, pi / 2, FILLET_STEPS + 1)))
        drawn = np.concatenate((rim + out, last - ring / 2 - out))
        free = (np.abs(at[:, None] - drawn) > 0.05).all(axis=1)
        at = np.unique(np.concatenate((at[free], drawn[(drawn > start) & (drawn < neck)])))
    at = np.append(at, last)
    line = np.stack((np.interp(at, walked, arc[:, 0]), np.interp(at, walked, arc[:, 1])), axis=1)
    d = np.full(len(at), wheel.spoke_mm)
    d[-1] = min(OVER_RING * ring, wheel.spoke_mm)
    inside = np.clip(fillet - np.minimum(at - rim, last - ring / 2 - at), 0.0, fillet)
    return _Spoke(line, d, fillet - np.sqrt(np.maximum(fillet**2 - inside**2, 0.0)))


def _room(spoke: _Spoke, laid: list[_Spoke], plan: _Plan, wheel: WheelSizes) -> float:
    """Give how much more than the web a spoke keeps from the ring, away from where it joins it, and from what stands.

    Negative where it keeps less.
    """
    ring = plan.line
    before, after = (ring, np.roll(ring, -1, axis=0)) if plan.course.closed else (ring[:-1], ring[1:])
    line, fillet = spoke.line, float(spoke.wider_mm.max())
    node = plan.sizes.ring_mm / 2 + wheel.spoke_mm / 2 + plan.web_mm + fillet
    rooms = []
    outer = line[np.linalg.norm(line - line[-1], axis=1) > 1.6 * node]
    if len(outer):
        rooms.append(flat_gap(outer, outer, before, after).min() - plan.sizes.ring_mm / 2 - wheel.spoke_mm / 2)
    feet = plan.course.at(plan.feet_mm)[:, :2]
    feet = feet[np.linalg.norm(feet - line[-1], axis=1) > node]
    gate = max(plan.sizes.gate_mm, LONG_SHAFT * plan.sizes.wire_mm)
    if len(feet):
        rooms.append((flat_gap(feet, feet, line[:-1], line[1:]) - spoke.half_mm).min() - gate / 2)
    for other in laid:
        gap = flat_gap(line[:-1], line[1:], other.line[:-1], other.line[1:])
        rooms.append((gap - spoke.half_mm[:, None] - other.half_mm).min())
    return float(min(rooms, default=np.inf)) - plan.web_mm
