"""What could not be routed, said so that the maker can make room."""

import numpy as np

from ..inspect.finding import Finding
from .course import Course
from .gates import ENTERS_NOWHERE, STRUT, Refusal
from .lattice import place
from .sides import MIRROR, Job, Side
from .sizes import Sizes

# Up to this many links refused for the same kind of reason are told one by one.
FEW = 3
# Bodies further along the chain than this many places are no neighbours but another turn of it.
NEIGHBOURS = 4.5


def refusal_findings(job: Job, side: Side, *, above: bool) -> list[Finding]:
    """Say which links no gate reaches, what is in the way, by how much, and what would make room.

    Where more than a few are refused for the same kind of reason, they share a finding, which tells the worst of them.
    """
    groups: dict[str, list[Refusal]] = {}
    for refusal in side.refusals:
        groups.setdefault(_kind(job, refusal), []).append(refusal)
    fed = {gate.body for gate in side.gates}
    found = []
    for kind, group in groups.items():
        for shared in [group] if len(group) > FEW else [[refusal] for refusal in group]:
            found += _findings(job, kind, shared, fed, above=above)
    return found


def _findings(job: Job, kind: str, group: list[Refusal], fed: set[int], *, above: bool) -> list[Finding]:
    worst = min(group, key=lambda r: np.inf if np.isnan(r.gap_mm) else r.gap_mm)
    bodies = list(dict.fromkeys([worst.hold.body, *(r.hold.body for r in group)]))
    names = tuple(job.bodies[k].name for k in bodies)
    gate = "an upper gate" if above else "a further gate" if fed.issuperset(bodies) else "a gate"
    if worst.hold.wanted:
        gate = "the upper gate you asked for" if above else "the gate you asked for"
    why, mend, value = _reason(job, worst, kind)
    text = f"{_with_others(names[0], len(names))}: no way for {gate}: {why}; {mend}"
    at = place(worst.hold.anchors.points[worst.hold.order[0]] * (MIRROR if above else 1.0))
    limit = job.profile.strut_web_mm
    found = [Finding("strut-unrouted", "stop", names, text, at=at, value=value, limit=limit)]
    bare = tuple(job.bodies[k].name for k in bodies if k not in fed)
    if bare and not above:
        stay = "has no gate, so it stays" if len(bare) == 1 else "have no gate, so they stay"
        text = f"{_with_others(bare[0], len(bare))} {stay} without metal"
        found.append(Finding("no-gate", "stop", bare, text, at=at))
    return found


def _with_others(name: str, count: int) -> str:
    return name if count == 1 else f"{name} and {count - 1} more"


def _kind(job: Job, refusal: Refusal) -> str:
    mine, other = refusal.hold.body, refusal.blocker
    if other == ENTERS_NOWHERE:
        return "metal"
    if other == STRUT or refusal.gap_mm >= job.profile.strut_web_mm:
        return "strut"
    if other == mine:
        return "limb"
    if job.base.over[mine] or job.base.over[other]:
        return "turn"
    along = np.abs(job.base.at_mm[mine] - job.base.at_mm[other])
    if job.base.closed:
        along = min(along, job.base.length_mm - along)
    return "neighbour" if along <= NEIGHBOURS * job.base.pitch_mm else "turn"


def _reason(job: Job, refusal: Refusal, kind: str) -> tuple[str, str, float | None]:
    """Give why there is no way, what would mend it, and the distance found where it counts."""
    floor = job.profile.strut_web_mm
    if kind == "metal":
        why = "no tip can enter its metal steeply enough"
        return why, "make the tip thinner, or turn the link so that its wire passes level over the feed ring", None
    if kind == "strut":
        return (
            f"every way keeps less than {floor:g} mm from other struts",
            "make the gates thinner or the pitch longer",
            None,
        )
    value = refusal.gap_mm
    short = floor - value
    passes = (
        f"the best way passes {value:.2f} mm from it" if value > 0 else f"the best way passes {-value:.2f} mm inside it"
    )
    if kind == "turn":
        name = job.bodies[refusal.blocker].name
        why = f"the chain lies over itself and {name} is in the way: {passes}, {floor:g} mm is the floor"
        mend = f"leave {short:.2f} mm more between the turns (layout.turn_pitch_mm), or lay it out as a spiral or a "
        return why, f"{mend}serpentine, where every link stands free over the feed ring", value
    name = "its own other limb" if kind == "limb" else job.bodies[refusal.blocker].name
    why = f"{name} is in the way: {passes}, {floor:g} mm is the floor"
    return why, f"a gate {2 * short:.2f} mm thinner or {short:.2f} mm more room between the links would do", value


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
            f"rounder than {sizes.ring_mm / 1.8:.1f} mm there, or the ring thinner than {1.8 * radius:.1f} "
            "mm (feed.ring_mm)",
            at=place(at * [1, 1, 0] + [0, 0, plate_z]),
            value=radius,
            limit=sizes.ring_mm / 1.8,
        )
    ]
