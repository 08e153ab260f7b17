"""How large the two halves of a closure are for given end links, and what they add to the worn length."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ..base.errors import CannotBuild
from ..solid.mesh import FloatArray
from .clasps import Closure, bar, eye, hook, hook_sizes
from .hang import drawn_to_contact, end_frame, swung
from .link import SAMPLES, Link, columns, even_parameters
from .measure import Measure

# Shares of the wire by which a hole is widened beyond the gap, until the end link's curved wire has its gap in it.
WIDENED = (0.03, 0.1, 0.2, 0.35, 0.5, 0.75, 1.0)
# Space between the legs of a bar or hook, in wires: enough for a web, too little to let the end link's wire in.
SLOT, MOST_SLOT = 0.5, 0.9
# Room for an eye's wire in the mouth of a hook, in wires of the hook. The more, the smaller the eye.
PLAY = 0.3
# Swings of a bar about the end link's wire that are tried to pass it through its ring, and ways it is drawn along.
TILTS_DEG = np.array([35.0, 50.0, 65.0, -35.0, -50.0, -65.0])
WAYS_DEG = np.arange(-80.0, 81.0, 20.0)
SLIDES = 5
ROUNDS, CLOSE_MM = 12, 0.01
CIRCLE_STEPS = 30
# Angles at which the link of a bar dives through its ring, and places along the hole at each.
DIVES_DEG = np.arange(20.0, 81.0, 10.0)
DRAWS = 16


@dataclass(frozen=True, slots=True, eq=False)
class Clasp:
    """The two halves of a closure: ``first`` hangs on the first link, ``last`` on the last one.

    ``clear_mm`` of each: how far the end link's wire lies from the inner end of its hole. ``length_mm`` is what the
    closure adds between the outer ends of the two end links, all of it drawn to contact: from the first end link
    through every hole to the last. A bar lies across its ring, its link pulled through as far as it goes; two eyes are
    taken to be joined by a jump ring as wide inside as two of their wires and a gap.
    """

    first: Closure
    last: Closure
    clear_mm: tuple[float, float]
    length_mm: float


def clasp_for(kind: str, first: Link, last: Link, gap_mm: float) -> Clasp:
    """Size the halves of a closure ("ring-bar", "hook-eye", "eyes") for two end links and a gap.

    Raises CannotBuild where the gap leaves the end link's wire room to slide along a bar, or no hole keeps the gap.
    """
    if kind == "ring-bar":
        return _ring_and_bar(first, last, gap_mm)
    if kind == "hook-eye":
        return _hook_and_eye(first, last, gap_mm)
    return _eyes(first, last, gap_mm)


def _eyes(first: Link, last: Link, gap_mm: float) -> Clasp:
    wire = max(first.wire_mm, last.wire_mm)

    def draw(name: str, link: Link) -> tuple[Closure, float]:
        inside = wire + _span(link) + 3 * gap_mm
        return _cleared(
            lambda c: eye(name, link.wire_mm, max(inside, wire + _span(link) + 2 * c), _span(link), c), link, gap_mm
        )

    (one, clear_1), (two, clear_2) = draw("eye 1", first), draw("eye 2", last)
    jump = 2 * wire + gap_mm
    length = one.hole_mm + jump + two.hole_mm + _into(one, first, clear_1) + _into(two, last, clear_2)
    return Clasp(one, two, (clear_1, clear_2), length)


def _ring_and_bar(first: Link, last: Link, gap_mm: float) -> Clasp:
    slot = _slot(last, gap_mm, "ring-bar")
    wire, across = first.wire_mm, _span(last)
    long = 6 * last.width_mm
    rod, clear = _cleared(lambda c: bar(last.wire_mm, long, across, c, slot), last, gap_mm)
    tilts = _free_tilts(rod, last, clear)
    through = float(np.hypot(rod.link.length_mm, last.wire_mm))

    def lacks(inside: float) -> float:
        trial = bar(last.wire_mm, bar_length(inside, wire), across, clear, slot)
        return max(through, passing(trial, last, tilts)) + 2 * gap_mm - inside

    inside = _widened(through + 2 * gap_mm, lacks)
    if inside is None:
        raise CannotBuild(
            f"layout.clasp: no ring lets its bar pass beside this end link, {last.length_mm:g} x {last.width_mm:g} mm; "
            'choose "hook-eye" or "eyes"'
        )
    rod = bar(last.wire_mm, bar_length(inside, wire), across, clear, slot)
    loop, clear_1 = _cleared(lambda c: eye("ring", wire, inside, _span(first), c), first, gap_mm)
    length = _into(loop, first, clear_1) + _drawn_through(loop, rod, last, slot)
    return Clasp(loop, rod, (clear_1, clear), length)


def _widened(least_mm: float, lacks: Callable[[float], float]) -> float | None:
    """Widen a ring until it lacks nothing, by secant steps: its bar grows with it, but slower.

    None where no ring is ever wide enough, or the bar passes at no tilt.
    """
    inside, lack = least_mm, lacks(least_mm)
    grown = lack
    for _ in range(ROUNDS):
        if lack < CLOSE_MM:
            return inside
        if not np.isfinite(lack):
            return None
        before, inside = lack, inside + grown
        lack = lacks(inside)
        grown = lack * grown / (before - lack) if 0 < lack < before else max(lack, CLOSE_MM)
    return None


def _drawn_through(loop: Closure, rod: Closure, link: Link, slot_mm: float) -> float:
    """Give how far in mm the outer end of a bar's link lies from the inner end of the ring's hole, pulled to its limit.

    The bar lies across the ring, its lower leg on the ring's face; the link dives through the hole at some angle until
    it meets the ring's far side. Of all angles that one counts at which the link's other end comes out furthest.
    """
    local = end_frame(link, 1)
    hole, legs = loop.hole_mm, (slot_mm + rod.link.wire_mm) / 2
    angle = np.repeat(np.radians(DIVES_DEG), DRAWS)
    c, s, zero, one = np.cos(angle), np.sin(angle), np.zeros_like(angle), np.ones_like(angle)
    high = (loop.link.wire_mm + rod.link.wire_mm) / 2 + legs * s
    at = np.tile(np.linspace(-hole / 2, hole / 2, DRAWS), len(DIVES_DEG))
    frames = np.stack((columns(-c, s, zero), columns(s, c, zero), columns(zero, zero, one)), axis=-1)
    frames[..., 1] *= -1  # Keep them right-handed: the bar's length, z, is square to both.
    turns = frames @ local.rotation.T
    ends = columns(at, high, zero)
    gap = _guiding(loop.link, link).guide(0, 1, turns, ends - turns @ local.origin).gap_mm
    # Room that is left: to the ring's metal, and for the link's axis inside the hole.
    room = np.minimum(gap - extra_mm(link), hole / 2 * s - at * s - high * c).reshape(-1, DRAWS)
    ahead = np.clip(room[:, :-1] / np.maximum(room[:, :-1] - room[:, 1:], 1e-9), 0.0, 1.0) * (at[1] - at[0])
    drawn = (at.reshape(-1, DRAWS) + np.pad(ahead, ((0, 0), (0, 1)))).reshape(-1)
    long = link.length_mm - 1.5 * link.wire_mm
    total = np.hypot(drawn + hole / 2 + long * c, high - long * s).reshape(-1, DRAWS)
    return float(np.where(room >= 0, total, 0.0).max()) - long - link.wire_mm / 2


def bar_length(inside_mm: float, wire_mm: float) -> float:
    """Give the length of the bar of a ring: it reaches over the ring's wire on both sides. Our judgement."""
    return inside_mm + 2 * wire_mm


def _hook_and_eye(first: Link, last: Link, gap_mm: float) -> Clasp:
    slot = _slot(last, gap_mm, "hook-eye")
    play = PLAY * last.wire_mm

    def bent(clear: float) -> Closure:
        sizes = hook_sizes(last.wire_mm, _span(last), first.wire_mm, clear, play)
        return hook(last.wire_mm, sizes, _span(last), clear, slot)[0]

    catch, clear = _cleared(bent, last, gap_mm)
    inside = max(hook_takes(last.wire_mm, slot, play), _span(first) + last.wire_mm + 2 * gap_mm)
    loop, clear_1 = _cleared(lambda c: eye("eye", first.wire_mm, inside, _span(first), c), first, gap_mm)
    length = catch.hole_mm + _into(loop, first, clear_1) + _into(catch, last, clear)
    return Clasp(loop, catch, (clear_1, clear), length + _with_two_wires(inside, last.wire_mm, slot))


def _with_two_wires(inside_mm: float, wire_mm: float, slot_mm: float) -> float:
    """Give how far along a round hole two wires side by side reach, from its other end, mm."""
    aside = (slot_mm + wire_mm) / 2
    return inside_mm / 2 + wire_mm / 2 + float(np.sqrt((inside_mm / 2 - wire_mm / 2) ** 2 - aside**2))


def hook_takes(wire_mm: float, slot_mm: float, play_mm: float) -> float:
    """Give the inside diameter of the eye that slides over a hook's two wires, its own wire in the hook's mouth.

    There it has the play d to either side of its wire, so its hole is off the middle of the hook's wires by all of its
    radius R but their half thickness and d; both wires, half a spacing c aside, must still lie inside:
    (R - w/2 - d)^2 + c^2 <= (R - w/2)^2, so R - w/2 >= (c^2 + d^2) / 2d. It gets a quarter of the play more.
    """
    aside = (slot_mm + wire_mm) / 2
    return float((aside**2 + play_mm**2) / play_mm + wire_mm + play_mm / 2)


def passing(rod: Closure, link: Link, tilts: tuple[tuple[float, float], ...]) -> float:
    """Give the inside diameter in mm through which a bar and its end link just pass together, straight.

    The bar is swung about the link's wire by one of ``tilts`` (radians, and how far it is drawn out then); the two are
    seen along many ways, and the smallest circle round all of their metal counts.
    """
    local = end_frame(link, 1)
    near = (link.curve(even_parameters(SAMPLES))[0] - local.origin) @ local.rotation
    loop = rod.link.curve(even_parameters(SAMPLES))[0]
    ways = np.radians(WAYS_DEG)
    views = np.stack((np.cos(ways), np.zeros_like(ways), np.sin(ways)), axis=1)
    side = np.stack((-np.sin(ways), np.zeros_like(ways), np.cos(ways)), axis=1)
    least = np.inf
    for angle, out in tilts:
        swing = swung(np.array(angle))
        points = np.concatenate((near, loop @ swing.T + out * swing[:, 0]))
        seen = np.stack((points @ side.T, np.broadcast_to(points[:, 1:2], (len(points), len(views)))), axis=-1)
        least = min(least, float(_circles(seen.transpose(1, 0, 2)).min()))
    return 2 * least + max(_span(link), rod.link.wire_mm)


def _free_tilts(rod: Closure, link: Link, clear_mm: float) -> tuple[tuple[float, float], ...]:
    """Give the swings of a bar that its end link allows, each with the slide along itself at which it is freest."""
    local = end_frame(link, 1)
    slides = np.linspace(-clear_mm, clear_mm, SLIDES)
    turns = local.rotation @ swung(np.radians(TILTS_DEG))
    origins = local.origin + slides[None, :, None] * turns[:, None, :, 0]
    measure = Measure((link, rod.link), None, exact=True)
    gap = measure.guide(0, 1, np.repeat(turns, SLIDES, axis=0), origins.reshape(-1, 3)).gap_mm.reshape(-1, SLIDES)
    gap = gap - extra_mm(link)
    best = gap.argmax(axis=1)
    free = np.flatnonzero(gap[np.arange(len(gap)), best] > 0)
    return tuple((float(np.radians(TILTS_DEG[i])), float(slides[best[i]])) for i in free)


def _circles(points: FloatArray) -> FloatArray:
    """Give the radii (k,) of the smallest circles round k sets of points (k, n, 2), never too small, by 1 % at most.

    The centre steps towards the farthest point, ever less (Badoiu and Clarkson, Smaller core-sets for balls, 2003; from
    memory): after i steps it is within 1 / sqrt(i) of the best, in practice far nearer.
    """
    centre = (points.min(axis=1) + points.max(axis=1)) / 2
    rows = np.arange(len(points))
    least = np.full(len(points), np.inf)
    for step in range(1, CIRCLE_STEPS + 1):
        away = np.sqrt(((points - centre[:, None]) ** 2).sum(axis=2))
        far = away.argmax(axis=1)
        least = np.minimum(least, away[rows, far])
        centre = centre + (points[rows, far] - centre) / (step + 1)
    return least


def _cleared(draw: Callable[[float], Closure], link: Link, gap_mm: float) -> tuple[Closure, float]:
    """Widen a hole until a link's end has the gap in it. Gives it, and how far the wire lies from the hole's end.

    Raises CannotBuild where no widening is enough.
    """
    for share in WIDENED:
        clear = gap_mm + extra_mm(link) + share * link.wire_mm
        closure = draw(clear)
        local = end_frame(link, 1)
        slides = np.linspace(clear, -clear, SLIDES) / 2
        origins = local.origin + (slides - closure.seat_mm)[:, None] * local.rotation[:, 0]
        turns = np.broadcast_to(local.rotation, (SLIDES, 3, 3))
        if _guiding(link, closure.link).guide(0, 1, turns, origins).gap_mm.max() >= gap_mm + extra_mm(link):
            return closure, clear
    raise CannotBuild(
        f"layout.clasp: no {closure.name} fits the end link with {gap_mm:g} mm all round; take a wider link, a thinner "
        "wire or a smaller gap_mm"
    )


def _guiding(one: Link, other: Link) -> Measure:
    """Give the quick measure of two links: of one that is no round wire an estimate."""
    return Measure((one, other), None, exact=one.plain and other.plain)


def _span(link: Link) -> float:
    """Give the largest thickness of a link's wire in any direction."""
    return link.wire_mm + 2 * extra_mm(link)


def extra_mm(link: Link) -> float:
    """Give how far a link's metal may reach beyond a round wire of its thickness: to the corners of its section."""
    if link.section.round:
        return 0.0
    return float(np.hypot(link.section.thick_mm, link.section.broad_mm) - link.section.thick_mm) / 2


def _slot(link: Link, gap_mm: float, clasp: str) -> float:
    slot = max(SLOT * link.wire_mm, gap_mm)
    if slot > MOST_SLOT * link.wire_mm:
        raise CannotBuild(
            f"layout.clasp: with a gap of {gap_mm:g} mm the legs of a {clasp.replace('-', ' and ')} would let a wire "
            f"of {link.wire_mm:g} mm slide between them; ask for a gap_mm up to {MOST_SLOT * link.wire_mm:.2f}, "
            'or clasp = "eyes"'
        )
    return slot


def _into(closure: Closure, link: Link, clear_mm: float) -> float:
    """Give how far outward of the link's outer end the hole begins when drawn to contact, mm: about minus its wire."""
    drawn = drawn_to_contact(_guiding(link, closure.link), 0, 1, closure, 1)
    hole_begins = drawn - clear_mm - _span(link) / 2
    return hole_begins - link.wire_mm / 2
