"""Sizes of the lattice: what the maker wrote, else what the rules choose, so that freezing runs towards the button.

Gates. Quick rule: up to 4 mm long, shaft 0.75 x wire or more, tip 1 mm or more; longer, shaft 1.25 x wire and tip
0.75 x wire. Towards the button the modulus (area over perimeter of the true section) never falls, and the last steps
(spoke, hub) grow by 1.2; what carries the summed flow is at least as large as all the tips it feeds together, or as
the two arms of the ring it feeds. The tip is exempt from the modulus rule. Common practice, no published source; the
factor 1.2 is quoted from memory (Campbell).
"""

from dataclasses import dataclass
from math import pi, sin

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
    """All diameters in mm; rings and spokes as the round rod that holds their section. ``lying`` lies on the plate."""

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


@dataclass(frozen=True, slots=True)
class WheelSizes:
    """Sizes of spokes and hub in mm."""

    spoke_mm: float
    hub_mm: float
    hub_height_mm: float


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
    post_wish = max(POST * wire_mm, upper_gate)
    if spec.ring_mm is not None:
        ring = spec.ring_mm
    else:
        least = STEP * ROUND.modulus_mm(gate)
        if spec.upper_ring:
            least = max(least, ROUND.modulus_mm(post_wish))
        ring = max(RING * wire_mm, lying.d_for_modulus(least))
    # Under a thin ring of the maker's own, what hangs on it is drawn in as far as the gates allow.
    allowed = lying.modulus_mm(ring) / ROUND.modulus_mm(1.0)
    if spec.gate_mm is None:
        upper_gate = max(min(upper_gate, allowed), SHORT_SHAFT * wire_mm, tip)
    upper_ring = max(min(max(UPPER_RING * wire_mm, upper_gate), allowed), upper_gate)
    post = max(min(post_wish, allowed), upper_ring)
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
    )


def choose_wheel(sizes: Sizes, *, gates: int, spokes: int, web_mm: float) -> WheelSizes:
    """Choose hub and spokes, ``spokes`` of them, for the flow of ``gates`` tips.

    A spoke carries its share of what all tips together take, but no more than the two arms of the ring it feeds.
    """
    lying, flow = sizes.lying, gates * pi * sizes.tip_mm**2 / 4
    share = min(flow / spokes, ARMS * lying.area_mm2(sizes.ring_mm))
    spoke = max(lying.d_for_modulus(STEP * lying.modulus_mm(sizes.ring_mm)), lying.d_for_area(share))
    height = (1 + lying.foot) * spoke / 2 + HUB_OVER_MM
    modulus = STEP * lying.modulus_mm(spoke)
    apart = (spoke + web_mm) / BOWED / sin(pi / (4 if spokes <= 2 else spokes)) + 2 * SPOKE_SUNK_MM
    hub = max(4 * height * modulus / (height - modulus), STEP * spoke, ROUND.d_for_area(share * spokes), apart)
    return WheelSizes(spoke, hub, height)


def drum_modulus_mm(d_mm: float, height_mm: float) -> float:
    """Give volume over cooling area of an upright round on whose lower end the trunk stands: d h / (4 h + d)."""
    return d_mm * height_mm / (4 * height_mm + d_mm)


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
                f"feed.tip_mm: a tip of {spec.tip_mm:g} mm freezes before its link is full; the quick rule asks for "
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
    return tuple(found)


def _warn(text: str, value: float, limit: float) -> Finding:
    return Finding("modulus", "warn", (), text, value=value, limit=limit)
