"""The planner: from placed bodies and the chain's path to a lattice.

Same input, same lattice. Planned on centrelines, then checked on the exact meshes (`soundness`).
"""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from ..base.errors import BadInput
from ..base.profile import Profile
from ..base.progress import Steps, part
from ..inspect.finding import Finding, worst_first
from ..solid.measure import volume_mm3
from ..solid.mesh import Body, FloatArray
from .anchors import anchors
from .course import Course, Route, plan_course
from .gates import Gate
from .lattice import Lattice, LatticeSolid, Strut, place
from .refusals import course_findings, refusal_findings
from .rods import rod
from .sections import ROUND
from .sides import MIRROR, Job, Side, lay_side
from .sizes import Sizes, choose_sizes, written_size_findings
from .skeletons import skeletons
from .soundness import STEADY_SHARE, check_lattice, sways
from .spec import FeedSpec
from .standing import Standing
from .upper import post_solid, stand_posts, upper_hoop
from .wheel import lay_wheel

UPRIGHT = np.ones(3)
# A tip that the maker left to the rules is thickened in these steps until the links stand steady.
TIP_STEPS = (1.0, 1.25, 1.5)


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
    wire = _checked(bodies, spec, wire_mm)
    base = plan_course(bodies, path)
    lines = skeletons(bodies)
    low, high = [], []
    for body in bodies:
        low.append(anchors(body, UPRIGHT))
        high += [anchors(body, MIRROR)] if spec.upper_ring else []
        yield 0.05
    job = Job(bodies, lines, base, tuple(low), tuple(high), profile, spec)
    yield 0.1
    gap = profile.gap_warn_mm if gap_mm is None else gap_mm
    sizes = choose_sizes(spec, profile, wire_mm=wire)
    lattice = yield from part(_built(job, sizes), 0.1, 0.4)
    for factor in TIP_STEPS[1:] if spec.tip_mm is None else ():
        thicker = choose_sizes(spec, profile, wire_mm=wire, tip_factor=factor)
        steady = max(sways(bodies, lattice, profile), default=0.0) <= STEADY_SHARE * gap
        if steady or thicker.tip_mm == sizes.tip_mm or any(f.severity == "stop" for f in lattice.findings):
            break
        sizes = thicker
        lattice = yield from part(_built(job, sizes), 0.4, 0.7)
    found = yield from part(check_lattice(bodies, lattice, profile, wire_mm=wire, gap_mm=gap), 0.7, 1.0)
    told = {name for f in lattice.findings if f.code == "no-gate" for name in f.bodies}
    fresh = [f for f in found if f.code != "no-gate" or not told.issuperset(f.bodies)]
    findings = (*lattice.findings, *written_size_findings(spec, sizes), *fresh)
    return Lattice(lattice.solids, lattice.plate_z_mm, worst_first(findings))


def _checked(bodies: tuple[Body, ...], spec: FeedSpec, wire_mm: float | None) -> float:
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
    for key in ("tip_mm", "gate_mm", "gate_length_mm", "ring_mm"):
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


def _built(job: Job, sizes: Sizes) -> Steps[Lattice]:
    """Route everything with one set of sizes."""
    profile, base = job.profile, job.base
    standing = Standing()
    below = yield from part(lay_side(job, sizes, standing, above=False), 0.0, 0.35)
    base_z = float(below.course.at(np.zeros(1))[0, 2])
    plate_z = base_z - sizes.ring_axis_mm
    findings = refusal_findings(job, below, above=False)
    findings += course_findings(base, sizes, plate_z)
    solids = [_gate_solid(g, job.bodies, above=False) for g in below.gates]
    feet = _feet(base, below.gates) if below.gates else base.at_mm
    wheel = lay_wheel(
        base,
        feet,
        sizes,
        gates=sum(a.holds for a in (*job.low, *job.high)),
        plate_z_mm=plate_z,
        web_mm=profile.strut_web_mm,
    )
    if wheel.trouble:
        findings.append(Finding("strut-unrouted", "stop", (), wheel.trouble))
    if job.spec.upper_ring:
        for solid in wheel.solids:
            if solid.role in ("spoke", "trunk"):
                standing.add(*solid.rod())
        above = yield from part(lay_side(job, sizes, standing, above=True), 0.35, 0.7)
        findings += refusal_findings(job, above, above=True)
        posts = yield from part(
            stand_posts(base, base_z, above.course, *_both_ends(below, above), sizes, profile, job.lines, standing),
            0.7,
            1.0,
        )
        if len(posts):
            solids += [_gate_solid(g, job.bodies, above=True) for g in above.gates]
            solids.append(upper_hoop(above.course, sizes))
            solids += [post_solid(line, sizes.post_mm) for line in posts]
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
    return Lattice((*wheel.solids, *solids), plate_z, tuple(findings))


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


def _gate_solid(gate: Gate, bodies: tuple[Body, ...], *, above: bool) -> LatticeSolid:
    """Draw a gate: shaft, cone to the tip, tip sunk into the body. A straight shaft is one piece."""
    s, t = gate.shaft_mm, gate.tip_mm
    foot, knee, root, surface, end = gate.points
    straight = gate.level == 0 or np.linalg.norm(np.cross(knee - foot, root - knee)) < 1e-9
    shaft = [foot, root] if straight else [foot, knee, root]
    line = np.array([*shaft, surface, end])
    d = np.array([s] * len(shaft) + [t, t])
    name = bodies[gate.body].name
    struts = [Strut("brace", place(a), place(b), s, s) for a, b in pairwise(shaft)]
    struts.append(Strut("gate", place(root), place(end), s, t, feeds=name))
    return LatticeSolid("gate", rod(line, d), tuple(struts), ROUND.modulus_mm(s), above=above)
