"""The planner: from placed bodies and the chain's path to a lattice.

Same input, same lattice. Planned on centrelines, then checked on the exact meshes (`soundness`).
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from ..base.errors import BadInput
from ..base.profile import Profile
from ..base.progress import Steps, part
from ..inspect.finding import Finding, worst_first
from ..solid.measure import volume_mm3
from ..solid.mesh import Body, FloatArray
from .anchors import all_anchors, anchors
from .by_hand import without
from .columns import stand_columns
from .course import Course, Route, plan_course
from .drawn import gate_solid, narrowed_findings
from .fillets import with_fillets
from .gates import Gate
from .kept_findings import anchor_findings, kept_out_gates
from .lattice import Lattice
from .post_places import Setting
from .posts import post_solid, stand_posts
from .refusals import course_findings, refusal_findings
from .second import Lack, Limits, lacking, second_starts
from .sides import MIRROR, TOOL_ROOM_MM, UPRIGHT, Job, Side, lay_side
from .sizes import RING, Sizes, choose_sizes, written_size_findings
from .skeletons import skeletons
from .soundness import check_lattice
from .spec import FeedSpec
from .standing import Standing
from .steadiness import sliced
from .ties import with_ties
from .tip_fillets import with_tip_fillets
from .tries import Hold
from .upper import upper_hoop
from .wheel import lay_wheel

SIZES = (
    "tip_mm", "gate_mm", "gate_length_mm", "ring_mm", "upper_ring_mm", "post_mm", "spoke_mm", "hub_mm",
    "trunk_length_mm",
)  # fmt: skip
# A tip that the maker left to the rules is thickened in these steps until the links stand steady.
TIP_STEPS = (1.0, 1.25, 1.5)
NO_UPPER_RING = Finding(
    "strut-unrouted",
    "warn",
    (),
    "upper ring: the chain lies over itself, and the turns above shade the lower ones from an upper ring, so it is "
    "left out; columns beside the turns feed the upper ones; write upper_ring = false, or lay the chain out as a "
    "spiral",
)
# Up to this share of the links lacking, they get a second gate rather than all a thicker tip.
FEW = 0.25
# How often further gates are given to links that still lack.
ROUNDS = 2
# Where further gates leave more than this share of what lacked, there is no room for them: nothing more is tried.
HOPELESS = 0.9


def plan_lattice(
    bodies: Sequence[Body],
    path: Route,
    profile: Profile,
    spec: FeedSpec,
    *,
    wire_mm: float | None = None,
    gap_mm: float | None = None,
) -> Steps[Lattice]:
    """Plan gates, rings, posts, spokes and hub for bodies that stand along ``path``, one body per place.

    ``wire_mm`` thickness of the wire (None: that of the bodies), ``gap_mm`` the printed gap that steadiness is
    judged by
    (None: the profile's warning floor). What cannot be routed becomes a finding. The lattice stays in the coordinates
    of the bodies; ``plate_z_mm`` tells where its plate lies. Raises BadInput and CannotBuild for bodies, paths and
    sizes that no lattice can be planned on.
    """
    bodies = tuple(bodies)
    wire = checked(bodies, spec, wire_mm)
    base = plan_course(bodies, path, apart_mm=RING * wire + profile.strut_web_mm)
    lines = skeletons(bodies)
    low = yield from part(all_anchors(bodies, spec, UPRIGHT), 0.0, 0.05)
    high = (yield from part(all_anchors(bodies, spec, MIRROR), 0.05, 0.1)) if spec.upper_ring else ()
    job = Job(bodies, lines, base, low, high, profile, spec)
    yield 0.1
    gap = profile.gap_warn_mm if gap_mm is None else gap_mm

    def sized(factor: float) -> Sizes:
        return choose_sizes(spec, profile, wire_mm=wire, tip_factor=factor)

    def built(sizes: Sizes, further: tuple[Hold, ...]) -> Steps[Lattice]:
        return _built(job, sizes, further)

    sizes, lattice = yield from part(steadied(job, Limits(gap, wire), sized, built), 0.1, 0.6)
    lattice = yield from part(with_ties(bodies, lines, lattice, profile, gap), 0.6, 0.7)
    lattice = without(lattice, spec.removed, bodies)
    lattice = yield from part(with_tip_fillets(lattice, bodies, spec, profile.strut_web_mm), 0.7, 0.75)
    found = yield from part(check_lattice(bodies, lattice, profile, wire_mm=wire, gap_mm=gap), 0.75, 1.0)
    told = {name for f in lattice.findings if f.code == "no-gate" for name in f.bodies}
    fresh = [f for f in found if f.code != "no-gate" or not told.issuperset(f.bodies)]
    findings = (*lattice.findings, *written_size_findings(spec, sizes), *kept_out_gates(bodies, lattice, spec), *fresh)
    return replace(lattice, findings=worst_first(findings))


def checked(bodies: tuple[Body, ...], spec: FeedSpec, wire_mm: float | None) -> float:
    """Give the thickness of the wire that sizes go by. Raises BadInput for bodies and sizes that nothing works with."""
    if not bodies:
        raise BadInput("lattice: there are no bodies to feed; make or select a chain first")
    if not spec.base_ring:
        raise BadInput(
            "feed.base_ring: false leaves the links without feed and an upper ring without posts; write true"
        )
    names = [b.name for b in bodies]
    if len(set(names)) < len(names):
        twice = next(name for name in names if names.count(name) > 1)
        raise BadInput(f"lattice: two bodies are called {twice!r}; give every body its own name")
    for key in SIZES:
        value = getattr(spec, key)
        if value is not None and not (np.isfinite(value) and 0.1 <= value <= 100.0):
            raise BadInput(f"feed.{key}: {value:g} does not work; give a length from 0.1 to 100 mm")
    if wire_mm is None:
        radii = [b.wire.radius_mm for b in bodies if b.wire is not None]
        wire_mm = 2 * min(radii) if radii else min(_thickness(b) for b in bodies)
    if not (np.isfinite(wire_mm) and wire_mm > 0.0):
        raise BadInput(f"lattice: a wire of {wire_mm:g} mm does not work; give its thickness in mm")
    return wire_mm


def _thickness(body: Body) -> float:
    """Take the metal under the lowest place of a mesh for its wire; volume over a flat box if it has none."""
    half = float(anchors(body, UPRIGHT).half_mm[0])
    return 2 * half if half > 0.0 else abs(volume_mm3(body.mesh)) ** (1 / 3)


def steadied(
    job: Job,
    limits: Limits,
    sized: Callable[[float], Sizes],
    built: Callable[[Sizes, tuple[Hold, ...]], Steps[Lattice]],
) -> Steps[tuple[Sizes, Lattice]]:
    """Build with the sizes of the rules; where links stay unsteady or far from feed, thicken tips or start again.

    ``sized`` gives the sizes with tips thickened by a factor, ``built`` the lattice with sizes and further starts.

    One thicker tip on all is the lesser work when many links are unsteady, a second gate when few are; only a further
    gate brings feed nearer. Of what still lacks at the end, the least is taken.
    """
    usual = sized(1.0)
    slices = yield from part(sliced(job.bodies), 0.0, 0.05)
    lattice = yield from part(built(usual, ()), 0.05, 0.3)
    lacks = lacking(job, slices, lattice, limits)
    if not lacks or _stopped(lattice):
        return usual, lattice
    widths = [usual]
    for factor in TIP_STEPS[1:] if job.spec.tip_mm is None else ():
        thicker = sized(factor)
        if thicker.tip_mm != widths[-1].tip_mm:
            widths.append(thicker)
    loose = sum(lack.sway > 1.0 for lack in lacks.values())
    thicken = [(sizes, 0) for sizes in widths[1:]] if loose else []
    again = [(sizes, ROUNDS) for sizes in (widths if loose else widths[:1])]
    few = loose <= FEW * len(job.bodies)
    plans = [*again[:1], *thicken, *again[1:]] if few else [*thicken, *again]
    best = (_worth(lacks), usual, lattice)
    for number, (sizes, rounds) in enumerate(plans):
        share = 0.3 + 0.7 * number / len(plans)
        yield share
        made = yield from part(built(sizes, ()), share, share + 0.1)
        lacks = lacking(job, slices, made, limits)
        hopeless = False
        further: tuple[Hold, ...] = ()
        for _ in range(rounds):
            more = yield from part(second_starts(job, slices, made, limits), share + 0.1, share + 0.2)
            if not more or hopeless or _stopped(made):
                break
            further += more
            before = _worth(lacks)
            made = yield from part(built(sizes, further), share + 0.1, share + 0.2)
            lacks = lacking(job, slices, made, limits)
            hopeless = _worth(lacks) > HOPELESS * before
        if not _stopped(made):
            best = min(best, (_worth(lacks), sizes, made), key=lambda one: one[0])
        if not lacks or hopeless:
            break
    return best[1], best[2]


def _worth(lacks: Mapping[int, Lack]) -> float:
    return round(sum(lack.worst for lack in lacks.values()), 3)


def _stopped(lattice: Lattice) -> bool:
    return any(f.severity == "stop" for f in lattice.findings)


def _built(job: Job, sizes: Sizes, further: tuple[Hold, ...]) -> Steps[Lattice]:
    """Route everything with one set of sizes."""
    profile, base = job.profile, job.base
    standing = Standing()
    below = yield from part(lay_side(job, sizes, standing, above=False, further=further), 0.0, 0.35)
    base_z = float(below.course.at(np.zeros(1))[0, 2])
    plate_z = base_z - sizes.ring_axis_mm
    findings = anchor_findings(job.bodies, job.low, UPRIGHT)
    findings += course_findings(base, sizes, plate_z)
    feet = _feet(base, below.gates) if below.gates else base.at_mm
    wheel = lay_wheel(
        base,
        feet,
        sizes,
        gates=sum(a.holds for a in (*job.low, *job.high)),
        plate_z_mm=plate_z,
        web_mm=profile.strut_web_mm,
        clear_mm=min((g.clear_mm for g in below.gates), default=np.inf),
        spec=job.spec,
    )
    findings += wheel.findings
    columns = yield from part(stand_columns(job, sizes, below, wheel.solids, standing, base_z, further), 0.35, 0.5)
    gates = (*below.gates, *columns.gates)
    findings += refusal_findings(job, replace(below, gates=gates, refusals=columns.refusals), above=False)
    findings += narrowed_findings(gates, job.bodies, sizes, above=False)
    solids = [gate_solid(g, job.bodies, above=False, sizes=sizes) for g in gates]
    solids += columns.solids
    if job.spec.upper_ring and base.crosses:
        findings.append(NO_UPPER_RING)
    elif job.spec.upper_ring:
        for solid in wheel.solids:
            if solid.role == "trunk":
                standing.add(*solid.rod())
        above = yield from part(lay_side(job, sizes, standing, above=True), 0.35, 0.7)
        findings += anchor_findings(job.bodies, job.high, MIRROR)
        findings += refusal_findings(job, above, above=True)
        findings += narrowed_findings(above.gates, job.bodies, sizes, above=True)
        setting = Setting(
            base,
            base_z,
            above.course,
            above.gates,
            _kept_mm(job.spec),
            sizes,
            profile,
            job.lines,
            standing,
            spokes=tuple(s for s in wheel.solids if s.role == "spoke"),
            fillet_mm=job.spec.fillet_mm,
        )
        carried = yield from part(stand_posts(setting, *_both_ends(below, above)), 0.7, 1.0)
        if len(carried.posts):
            hung = carried.hung(above.gates)
            solids += [gate_solid(g, job.bodies, above=True, sizes=sizes) for g in hung]
            solids.append(upper_hoop(carried, sizes))
            solids += [post_solid(line, sizes.post_mm) for line in carried.posts]
        else:
            findings.append(
                Finding(
                    "strut-unrouted",
                    "stop",
                    (),
                    "upper ring: no post finds a way past the chain with "
                    f"{profile.strut_web_mm:g} mm of investment around it, so the upper ring is left out; leave more "
                    "room between the turns of the chain, or plan without upper_ring",
                )
            )
    yield 1.0
    drawn, told = with_fillets((*wheel.solids, *solids), job.spec.fillet_mm, profile.strut_web_mm)
    return Lattice(drawn, plate_z, (*findings, *told), wheel.apart)


def _kept_mm(spec: FeedSpec) -> float:
    """Give the clear length that gates keep where the upper ring dips: what the maker wrote, else the tool's room."""
    if spec.gate_length_mm is not None:
        return spec.gate_length_mm
    return TOOL_ROOM_MM[spec.cut]


def _feet(course: Course, gates: Sequence[Gate]) -> FloatArray:
    """Give where along a ring's course gates start, (g,)."""
    near = np.array([course.at_mm[g.body] for g in gates])
    return course.nearest(np.array([g.points[0] for g in gates]), near)


def _both_ends(below: Side, above: Side) -> tuple[FloatArray, FloatArray]:
    """Give where each body's first gate starts on the base ring and on the upper ring; without one, its place."""
    ends = []
    for side in (below, above):
        at = np.array(side.course.at_mm)
        for gate in reversed(side.gates):
            at[gate.body] = _feet(side.course, [gate])[0]
        ends.append(at)
    return ends[0], ends[1]
