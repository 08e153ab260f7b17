"""What could not be routed, said so that the maker can make room."""

import numpy as np

from ..base.profile import Profile
from ..inspect.finding import Finding
from ..solid.mesh import Body
from .course import Course
from .gates import Refusal
from .lattice import place
from .sides import MIRROR
from .sizes import Sizes


def refusal_findings(bodies: tuple[Body, ...], refusal: Refusal, profile: Profile, *, above: bool) -> list[Finding]:
    """Say which link a gate does not reach, what is in the way, by how much, and what would make room."""
    body = bodies[refusal.hold.body]
    at = place(refusal.hold.anchors.points[refusal.hold.order[0]] * (MIRROR if above else 1.0))
    side = "an upper gate" if above else "a gate"
    floor = profile.strut_web_mm
    if refusal.blocker == -2:
        why = "no tip can enter its metal steeply enough"
        mend = "make the tip thinner, or turn the link so that its wire passes level over the feed ring"
        value = None
    elif refusal.blocker == -1 or refusal.gap_mm >= floor:
        why = f"every way keeps less than {floor:g} mm from other struts"
        mend = "make the gates thinner or the pitch longer"
        value = None
    else:
        value = refusal.gap_mm
        name = "its own other limb" if refusal.blocker == refusal.hold.body else bodies[refusal.blocker].name
        short = floor - value
        what = f"{value:.2f} mm from it" if value > 0 else f"{-value:.2f} mm inside it"
        why = f"{name} is in the way: the best way passes {what}, {floor:g} mm is the floor"
        mend = f"a gate {2 * short:.2f} mm thinner or {short:.2f} mm more room between the links would do"
    text = f"{body.name}: no way for {side}: {why}; {mend}"
    found = [Finding("strut-unrouted", "stop", (body.name,), text, at=at, value=value, limit=floor)]
    if not above:
        found.append(
            Finding("no-gate", "stop", (body.name,), f"{body.name} has no gate, so it stays without metal", at=at)
        )
    return found


def course_findings(base: Course, sizes: Sizes, plate_z: float) -> list[Finding]:
    """Find where a ring is bent tighter than it is thick."""
    walked = np.linspace(0.0, base.length_mm, max(64, 4 * len(base.at_mm)))
    bend = base.bends(walked)
    worst = int(bend.argmax())
    if bend[worst] * sizes.ring_mm / 2 < 0.9:
        return []
    at = base.at(walked[worst : worst + 1])[0]
    radius = 1.0 / float(bend[worst])
    return [
        Finding(
            "strut-unrouted",
            "stop",
            (),
            f"base ring: bent to a radius of {radius:.1f} mm, tighter than its own {sizes.ring_mm:.1f} mm allow; "
            f"make the curve "
            f"rounder than {sizes.ring_mm / 1.8:.1f} mm there, or the ring thinner",
            at=place(at * [1, 1, 0] + [0, 0, plate_z]),
            value=radius,
            limit=sizes.ring_mm / 1.8,
        )
    ]
