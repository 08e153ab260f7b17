"""Sizes of the lattice: what the maker wrote, else what the rules choose, so that freezing runs towards the button.

Gates. Quick rule: up to 4 mm long, shaft 0.75 x wire or more, tip 1 mm or more; longer, shaft 1.25 x wire and tip
0.75 x wire. Towards the button the modulus (area over perimeter of the true section) never falls, and the last steps
(spoke, hub) grow by 1.2; what carries the summed flow is at least as large as all the tips it feeds together, or as
the two arms of the ring it feeds. The tip is exempt from the modulus rule. Common practice, no published source; the
factor 1.2 is quoted from memory (Campbell).

Necks. A break-off neck has `NECK` of the tip's diameter, two thirds of its area, and no less than the thinnest wall
that prints: our judgement.
"""

from dataclasses import dataclass
from math import inf, pi, sin

from ..base.profile import Profile
from ..inspect.finding import Finding
from .sections import ROUND, Section, footed
from .spec import FeedSpec

LONG_GATE_MM = 4.0
SHORT_SHAFT, LONG_SHAFT = 0.75, 1.25
SHORT_TIP_MM, LONG_TIP = 1.0, 0.75
# Tips keep their size on the print, so in finished size they are off by the export scale: up to this share.
SCALED_TIP = 0.03
STEP = 1.2
# What the rules choose, as shares of the wire: our judgement. The full gate fits under a face-out chain.
FULL_SHAFT, FULL_UPPER_SHAFT = 1.1, 0.9
FULL_TIP = 0.5
RING, UPPER_RING, POST = 1.6, 1.25, 1.25
# A tip wider than this would show on the far side of a round wire.
WIDEST_TIP, LEAST_RIM_MM = 0.8, 0.26
NECK = 0.8
# The hub stands this much higher than its spokes, so that none pokes out of it.
HUB_OVER_MM = 0.5
# Spokes begin this deep in the hub, far enough from each other that each is fed by its own side of it.
SPOKE_SUNK_MM = 0.5
BOWED = 0.9
# A spoke feeds the ring to both sides.
ARMS = 2
LEAST_MM = 1e-9


@dataclass(frozen=True, slots=True)
class Sizes:
    """All diameters in mm; rings and spokes as the round rod that holds their section. ``lying`` lies on the plate.

    ``spoke_mm`` and ``hub_mm`` are None unless the maker wrote them. ``least_neck_mm`` is the thinnest break-off neck
    that prints, None where gates have no necks.
    """

    wire_mm: float
    tip_mm: float
    gate_mm: float
    ring_mm: float
    upper_gate_mm: float
    upper_ring_mm: float
    post_mm: float
    lying: Section
    tip_given: bool
    gate_given: bool
    spoke_mm: float | None = None
    hub_mm: float | None = None
    least_neck_mm: float | None = None

    @property
    def ring_axis_mm(self) -> float:
        """Give the height of the base ring's axis above the plate."""
        return self.lying.foot * self.ring_mm / 2

    @property
    def thinnest_gate_mm(self) -> float:
        """Give the thinnest shaft a crowded place may have."""
        return self.gate_mm if self.gate_given else max(SHORT_SHAFT * self.wire_mm, self.tip_mm)

    def shaft_mm(self, clear_mm: float, *, above: bool) -> float:
        """Give the shaft for a gate of a clear length."""
        full = self.upper_gate_mm if above else self.gate_mm
        if self.gate_given or clear_mm <= LONG_GATE_MM + LEAST_MM:
            return full
        return max(full, LONG_SHAFT * self.wire_mm)

    def tip_for_mm(self, clear_mm: float, wire_mm: float) -> float:
        """Give the tip for a gate of a clear length into metal ``wire_mm`` thick."""
        tip = self.tip_mm
        if not self.tip_given and clear_mm > LONG_GATE_MM + LEAST_MM:
            tip = max(tip, LONG_TIP * wire_mm)
        return min(tip, widest_tip_mm(wire_mm))

    def neck_for_mm(self, tip_mm: float) -> float | None:
        """Give the neck of a tip; None where gates have none, or the tip is no thicker than a neck may be."""
        if self.least_neck_mm is None or tip_mm <= self.least_neck_mm + LEAST_MM:
            return None
        return max(NECK * tip_mm, self.least_neck_mm)


@dataclass(frozen=True, slots=True)
class WheelSizes:
    """Sizes of spokes and hub in mm.

    ``least_hub_mm`` is what the rules ask for, the hub's own diameter unless the maker wrote one. ``flow_mm2`` is the
    section that hub and trunk must have for what they feed.
    """

    spoke_mm: float
    hub_mm: float
    hub_height_mm: float
    least_hub_mm: float
    flow_mm2: float


def widest_tip_mm(wire_mm: float) -> float:
    """Give the widest tip that sinks into a wire without showing at its sides."""
    return max(0.2, min(WIDEST_TIP * wire_mm, wire_mm - LEAST_RIM_MM))


def choose_sizes(spec: FeedSpec, profile: Profile, *, wire_mm: float, tip_factor: float = 1.0) -> Sizes:
    """Choose the sizes of gates, rings and posts; ``tip_factor`` thickens a tip that is free."""
    lying = footed(profile.overhang_deg)
    tip = spec.tip_mm if spec.tip_mm is not None else max(SHORT_TIP_MM, FULL_TIP * wire_mm) * tip_factor
    tip = min(tip, widest_tip_mm(wire_mm))
    gate = spec.gate_mm if spec.gate_mm is not None else max(FULL_SHAFT * wire_mm, tip)
    upper_gate = spec.gate_mm if spec.gate_mm is not None else max(FULL_UPPER_SHAFT * wire_mm, tip)
    written_upper = spec.upper_ring_mm if spec.upper_ring_mm is not None else 0.0
    post_wish = spec.post_mm if spec.post_mm is not None else max(POST * wire_mm, upper_gate, written_upper)
    if spec.ring_mm is not None:
        ring = spec.ring_mm
    else:
        least = STEP * ROUND.modulus_mm(gate)
        if spec.upper_ring:
            least = max(least, ROUND.modulus_mm(post_wish))
        ring = max(RING * wire_mm, lying.d_for_modulus(least))
    # Under a thin size of the maker's own, what hangs on it is drawn in as far as the gates allow.
    ring_allows = lying.modulus_mm(ring) / ROUND.modulus_mm(1.0)
    post_allows = min(ring_allows, inf if spec.post_mm is None else spec.post_mm)
    upper_allows = min(post_allows, inf if spec.upper_ring_mm is None else spec.upper_ring_mm)
    if spec.gate_mm is None:
        upper_gate = max(min(upper_gate, upper_allows), SHORT_SHAFT * wire_mm, tip)
    upper_ring, post = spec.upper_ring_mm, spec.post_mm
    if upper_ring is None:
        upper_ring = max(min(max(UPPER_RING * wire_mm, upper_gate), post_allows), upper_gate)
    if post is None:
        post = max(min(post_wish, ring_allows), upper_ring)
    return Sizes(
        wire_mm=wire_mm,
        tip_mm=tip,
        gate_mm=gate,
        ring_mm=ring,
        upper_gate_mm=upper_gate,
        upper_ring_mm=upper_ring,
        post_mm=post,
        lying=lying,
        tip_given=spec.tip_mm is not None,
        gate_given=spec.gate_mm is not None,
        spoke_mm=spec.spoke_mm,
        hub_mm=spec.hub_mm,
        least_neck_mm=profile.wall_floor_mm if spec.cut == "nipper" else None,
    )


def choose_wheel(sizes: Sizes, *, gates: int, spokes: int, web_mm: float, fillet_mm: float = 0.0) -> WheelSizes:
    """Choose hub and spokes, ``spokes`` of them, for the flow of ``gates`` tips.

    A spoke carries its share of what all tips together take, but no more than the two arms of the ring it feeds. What
    the maker wrote is kept. At the hub's rim spokes keep ``web_mm`` from each other, fillets of ``fillet_mm`` included.
    """
    lying, flow = sizes.lying, gates * pi * sizes.tip_mm**2 / 4
    share = min(flow / spokes, ARMS * lying.area_mm2(sizes.ring_mm))
    least_spoke = max(lying.d_for_modulus(STEP * lying.modulus_mm(sizes.ring_mm)), lying.d_for_area(share))
    spoke = least_spoke if sizes.spoke_mm is None else sizes.spoke_mm
    height = (1 + lying.foot) * spoke / 2 + HUB_OVER_MM
    wide = spoke + 2 * fillet_mm
    apart = (wide + web_mm) / BOWED / sin(pi / (4 if spokes <= 2 else spokes)) + 2 * SPOKE_SUNK_MM
    least_hub = max(
        drum_d_mm(STEP * lying.modulus_mm(spoke), height), STEP * spoke, ROUND.d_for_area(share * spokes), apart
    )
    hub = least_hub if sizes.hub_mm is None else sizes.hub_mm
    return WheelSizes(spoke, hub, height, least_hub, share * spokes)


def choose_trunk_mm(hub_mm: float, height_mm: float, flow_mm2: float) -> float:
    """Choose the diameter of a round trunk where it meets a hub: it freezes after the hub and carries its flow."""
    return max(ROUND.d_for_modulus(STEP * drum_modulus_mm(hub_mm, height_mm)), ROUND.d_for_area(flow_mm2))


def drum_modulus_mm(d_mm: float, height_mm: float) -> float:
    """Give volume over cooling area of an upright round on whose lower end the trunk stands: d h / (4 h + d)."""
    return d_mm * height_mm / (4 * height_mm + d_mm)


def drum_d_mm(modulus_mm: float, height_mm: float) -> float:
    """Give the diameter of an upright round on a trunk whose modulus is ``modulus_mm``; inf where it is too low."""
    return 4 * height_mm * modulus_mm / (height_mm - modulus_mm) if modulus_mm < height_mm else inf


def written_size_findings(spec: FeedSpec, sizes: Sizes) -> tuple[Finding, ...]:
    """Say which sizes the maker wrote break a rule, and what would keep it."""
    found = []
    w = sizes.wire_mm
    widest = widest_tip_mm(w)
    if spec.tip_mm is not None and spec.tip_mm > widest + LEAST_MM:
        found.append(
            _warn(
                f"feed.tip_mm: a tip of {spec.tip_mm:g} mm would show at the sides of a {w:g} mm wire, so it is made "
                f"{widest:.2f} mm; write {widest:.2f} or less",
                spec.tip_mm,
                widest,
            )
        )
    if spec.tip_mm is not None and spec.tip_mm < min(SHORT_TIP_MM, widest) * (1 - SCALED_TIP):
        found.append(
            _warn(
                f"feed.tip_mm: a tip of {spec.tip_mm:.3g} mm freezes before its link is full; the quick rule asks for "
                f"{min(SHORT_TIP_MM, widest):.2f} mm",
                spec.tip_mm,
                min(SHORT_TIP_MM, widest),
            )
        )
    if spec.tip_mm is None and sizes.tip_mm < SHORT_TIP_MM * (1 - SCALED_TIP):
        found.append(
            Finding(
                "modulus",
                "note",
                (),
                f"tips are {sizes.tip_mm:.2f} mm across, the widest that a {w:g} mm wire hides; the quick rule asks "
                f"for "
                f"{SHORT_TIP_MM:g} mm, so look at the freezing order",
                value=sizes.tip_mm,
                limit=SHORT_TIP_MM,
            )
        )
    if spec.gate_mm is not None and spec.gate_mm < SHORT_SHAFT * w - LEAST_MM:
        found.append(
            _warn(
                f"feed.gate_mm: a gate of {spec.gate_mm:g} mm is thinner than {SHORT_SHAFT:g} x wire; "
                f"{SHORT_SHAFT * w:.2f} mm or more would do",
                spec.gate_mm,
                SHORT_SHAFT * w,
            )
        )
    if spec.gate_length_mm is not None and spec.gate_length_mm < 3.0 - LEAST_MM:
        found.append(
            Finding(
                "saw-room",
                "warn",
                (),
                f"feed.gate_length_mm: {spec.gate_length_mm:g} mm between ring and link leaves no room for a saw; a "
                f"threaded "
                "blade needs 3 mm, a disc 4 mm",
                value=spec.gate_length_mm,
                limit=3.0,
            )
        )
    if sizes.least_neck_mm is not None and sizes.neck_for_mm(sizes.tip_mm) is None:
        found.append(
            Finding(
                "modulus",
                "note",
                (),
                f"feed.cut: tips of {sizes.tip_mm:.2f} mm are as thin as a break-off neck may be, so gates get none; "
                f"the nipper takes them off at the tip, or write a feed.tip_mm over {sizes.least_neck_mm:g}",
                value=sizes.tip_mm,
                limit=sizes.least_neck_mm,
            )
        )
    return tuple(found)


def _warn(text: str, value: float, limit: float) -> Finding:
    return Finding("modulus", "warn", (), text, value=value, limit=limit)
