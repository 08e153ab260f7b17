"""The planner for small sets of bodies that follow no path: a hub, spokes, and branches under every body.

Branches play the part of the ring: gates rise from them by the same routes. Same input, same lattice. Planned on
centrelines, then checked on the exact meshes (`soundness`).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from math import ceil, pi

import numpy as np

from ..base.profile import Profile
from ..base.progress import Steps, part
from ..inspect.finding import Finding, worst_first
from ..solid.curves import Spline
from ..solid.measure import area_mm2, volume_mm3
from ..solid.mesh import Body, FloatArray
from .anchors import Anchors, all_anchors
from .branches import WAYS_GONE, Branch, Rod, Tree, branches, hub_places, nearest_mm, same_places, tightest
from .by_hand import without
from .course import Course, through
from .drawn import gate_solid, narrowed_findings
from .fillets import with_fillets
from .kept_findings import anchor_findings, kept_out_gates
from .lattice import Lattice, LatticeSolid, Strut, place
from .plan import TIP_STEPS, checked, steadied
from .refusals import refusal_findings
from .rods import lying
from .second import Limits
from .sections import ROUND
from .sides import UPRIGHT, Job, lay_side
from .sizes import (
    LONG_SHAFT,
    SPOKE_SUNK_MM,
    STEP,
    Sizes,
    WheelSizes,
    choose_sizes,
    choose_wheel,
    written_size_findings,
)
from .skeletons import Skeletons, between, skeletons
from .soundness import check_lattice
from .spec import FeedSpec
from .standing import Standing
from .tip_fillets import with_tip_fillets
from .tries import Hold
from .wheel import OVER_RING, stand_hub

# Where a branch begins on another, it is this much thinner, so that no two surfaces coincide.
THINNER = 0.98
# Up to this thickness gates are as full as those of a chain; above it as thick as the quick rule asks. Our judgement.
FULL_MM = 3.5
# Between hub and branch a spoke is at least this long.
SHORTEST_SPOKE_MM = 1.5
# A hub is given the room it takes with so many spokes, then more of it.
SPOKES = 4
ROOMS = (1.0, 1.15, 1.3, 1.5, 1.8, 2.2)
# Branches lie this far apart on the length that counts them all, so that feet that slide never reach the next one.
BETWEEN_MM = 20.0
LOOK_MM = 0.25
LOOK, ROUNDS = 24, 2
LEAST_MM = 1e-6
# Spokes count as even where this part of one more would make them so.
UNEVEN = 0.3
# Spokes nearer to each other than this many would be, evenly spread, would make the hub too wide.
MOST_AROUND = 6


@dataclass(frozen=True, slots=True, eq=False)
class Plot:
    """A tree laid on the plate: its branches with their thickness (b,), spokes and hub.

    ``flow_mm2`` is the section of all tips together. ``spare_mm`` is the investment over the web at its thinnest,
    negative where it is under it; ``corner_mm`` the same, with branches that meet measured where they have parted.
    """

    tree: Tree
    branches: tuple[Branch, ...]
    d_mm: tuple[float, ...]
    wheel: WheelSizes
    flow_mm2: float
    spare_mm: float
    corner_mm: float

    @property
    def ring_mm(self) -> float:
        """Give the thickness of the thinnest branch."""
        return min(self.d_mm)

    @property
    def worth(self) -> tuple[float, float]:
        """Order plots: what keeps the web is worth more, then what has wider corners."""
        return (min(self.spare_mm, 0.0), self.corner_mm)


class Branched(Course):
    """The courses of all branches one after the other, as one: a place's nearest is looked for on all of them."""

    def nearest(self, points: FloatArray, near_mm: FloatArray) -> FloatArray:  # noqa: ARG002
        """Give the length to the place of any branch straight above or below each point (c, 3)."""
        walked = self._least(points, np.arange(0.0, self.length_mm, LOOK_MM)[None])
        reach = LOOK_MM
        for _ in range(ROUNDS):
            walked = self._least(points, walked[:, None] + np.linspace(-reach, reach, 2 * LOOK + 1))
            reach /= LOOK / 2
        return walked

    def _least(self, points: FloatArray, tried: FloatArray) -> FloatArray:
        tried = np.broadcast_to(np.clip(tried, 0.0, self.length_mm), (len(points), tried.shape[1]))
        away = self.at(tried)[..., :2] - points[:, None, :2]
        return np.asarray(tried[np.arange(len(tried)), (away**2).sum(axis=2).argmin(axis=1)])

    @property
    def pitch_mm(self) -> float:
        """Give the whole length: all bodies of a set are neighbours."""
        return self.length_mm


def joined_courses(laid: Sequence[Branch], first_mm: FloatArray) -> Branched:
    """Put the courses of branches one after the other; ``first_mm`` (n, 2) the place under each body."""
    cubics: list[FloatArray] = []
    lengths: list[FloatArray] = []
    knots: list[FloatArray] = []
    walked, piece = 0.0, 0.0
    for number, branch in enumerate(laid):
        line = branch.course.line
        cubics.append(line.cubics)
        lengths.append(walked + line.lengths)
        knots.append(piece + line.knots)
        walked, piece = walked + line.length_mm, piece + len(line.cubics)
        if number + 1 < len(laid):
            # On the way from one branch to the next a place stays at the end it is nearer to.
            ends = np.zeros((2, 4, 3))
            ends[0, 0] = line.at(np.array(line.length_mm))
            ends[1, 0] = laid[number + 1].course.line.at(np.zeros(()))
            cubics.append(ends)
            lengths.append(walked + np.array([BETWEEN_MM / 2, BETWEEN_MM]))
            knots.append(piece + np.array([1.0, 2.0]))
            walked, piece = walked + BETWEEN_MM, piece + 2
    whole = Spline(np.concatenate(cubics), False, walked, np.concatenate(lengths), np.concatenate(knots))
    course = Branched(whole, np.zeros(len(first_mm)), closed=False, over=np.zeros(len(first_mm), dtype=bool))
    flat = np.column_stack((first_mm, np.zeros(len(first_mm))))
    return replace(course, at_mm=course.nearest(flat, np.zeros(len(flat))))


@dataclass(frozen=True, slots=True, eq=False)
class _Lying:
    """A rod on the plate: its line (k + 1, 2), radii (k,), and how near to its last place what stands belongs to it."""

    line: FloatArray
    radii: FloatArray
    node_mm: float = 0.0


class OnPlate(Standing):
    """What stands, and what lies on the plate under it: gates keep away from branches that they do not stand on."""

    def __init__(self, lying: Sequence[_Lying]) -> None:
        """Lay rods, all at the height where gates start."""
        super().__init__()
        self._start = np.concatenate([one.line[:-1] for one in lying])
        self._end = np.concatenate([one.line[1:] for one in lying])
        self._r = np.concatenate([one.radii for one in lying])
        self._owner = np.concatenate([np.full(len(one.radii), k) for k, one in enumerate(lying)])
        self._nodes = np.array([one.line[-1] for one in lying])
        self._node_mm = np.array([one.node_mm for one in lying])

    def gap(self, points: FloatArray, radii: FloatArray, reach_mm: float, *, node_mm: float = -1.0) -> float:
        """Give the smallest distance to all that stands, and to what lies there unless the foot is in it."""
        stands = super().gap(points, radii, reach_mm, node_mm=node_mm)
        level = np.full((len(self._r), 1), points[0, 2])
        a, b = np.hstack((self._start, level)), np.hstack((self._end, level))
        foot = np.broadcast_to(points[0], a.shape)
        on = self._owner[between(foot, foot, a, b) < self._r]
        at_node = np.flatnonzero(np.linalg.norm(self._nodes - points[0, :2], axis=1) < self._node_mm)
        off = ~np.isin(self._owner, np.concatenate((on, at_node)))
        if not off.any():
            return stands
        away = between(points[:-1, None], points[1:, None], a[None, off], b[None, off])
        return min(stands, float((away - radii[:, None] - self._r[None, off]).min()))


def plan_set(
    bodies: Sequence[Body],
    profile: Profile,
    spec: FeedSpec,
    *,
    wire_mm: float | None = None,
    gap_mm: float | None = None,
) -> Steps[Lattice]:
    """Plan gates, branches, spokes and hub for bodies that stand anywhere, drawn ones or closed meshes of any shape.

    ``wire_mm`` thickness that all sizes go by (None: gates by their own body, branches by the thickest of all),
    ``gap_mm`` the printed gap that steadiness is judged by (None: the profile's warning floor). What cannot be routed
    becomes a finding. The lattice stays in the coordinates of the bodies; ``plate_z_mm`` tells where its plate lies.
    Raises BadInput for bodies and sizes that no lattice can be planned on.
    """
    bodies = tuple(bodies)
    spec = replace(spec, upper_ring=False)
    checked(bodies, spec, 1.0 if wire_mm is None else wire_mm)
    low = yield from part(all_anchors(bodies, spec, UPRIGHT), 0.0, 0.05)
    wires = tuple(thickness_mm(b, a) if wire_mm is None else wire_mm for b, a in zip(bodies, low, strict=True))
    gap = profile.gap_warn_mm if gap_mm is None else gap_mm
    lines = skeletons(bodies)
    yield 0.1
    planner = _Planner(bodies, lines, low, wires, profile, spec)
    # Further starts are looked for by the bodies alone: any course will do.
    base = through(np.array([[0.0, 0.0, 0.0], [1.0, 0.0, 0.0]]), closed=False)
    job = planner.job(replace(base, at_mm=np.zeros(len(bodies))))
    own = {body.name: wire for body, wire in zip(bodies, wires, strict=True)}
    sizes, lattice = yield from part(steadied(job, Limits(gap, own), planner.sized, planner.built), 0.2, 0.7)
    lattice = without(lattice, spec.removed, bodies)
    lattice = yield from part(with_tip_fillets(lattice, bodies, spec, profile.strut_web_mm), 0.7, 0.8)
    wrong = yield from part(check_lattice(bodies, lattice, profile, wire_mm=own, gap_mm=gap), 0.8, 1.0)
    told = {name for f in lattice.findings if f.code == "no-gate" for name in f.bodies}
    fresh = [f for f in wrong if f.code != "no-gate" or not told.issuperset(f.bodies)]
    findings = (*lattice.findings, *written_size_findings(spec, sizes), *kept_out_gates(bodies, lattice, spec), *fresh)
    return replace(lattice, findings=worst_first(findings))


def thickness_mm(body: Body, low: Anchors) -> float:
    """Give the thickness of a body: its wire, else that of a round rod of its modulus, or of the metal under it.

    The modulus is volume over area (Chvorinov), a quarter of the diameter for a long rod.
    """
    if body.wire is not None:
        return 2 * body.wire.radius_mm
    rod = 4 * abs(volume_mm3(body.mesh)) / area_mm2(body.mesh)
    under = 2 * float(low.half_mm[0])
    return min(rod, under) if under > 0.0 else rod


@dataclass(frozen=True, slots=True, eq=False)
class _Planner:
    """The bodies of a set with their anchors and thickness, and what lays a lattice under them."""

    bodies: tuple[Body, ...]
    lines: Skeletons
    low: tuple[Anchors, ...]
    wires_mm: tuple[float, ...]
    profile: Profile
    spec: FeedSpec

    def own(self, factor: float) -> tuple[Sizes, ...]:
        """Choose the sizes for each body; ``factor`` thickens tips that are free."""
        chosen = {w: _spared(choose_sizes(self.spec, self.profile, wire_mm=w, tip_factor=factor), self.spec)
                  for w in set(self.wires_mm)}  # fmt: skip
        return tuple(chosen[w] for w in self.wires_mm)

    def sized(self, factor: float) -> Sizes:
        """Choose the sizes of the thickest body: what carries all of them goes by it."""
        return max(self.own(factor), key=lambda sizes: sizes.wire_mm)

    def plotted(self, sizes: Sizes, further: tuple[Hold, ...]) -> Steps[Plot]:
        """Lay the tree under every place that is held, and under ``further`` ones."""
        own = self.own(self._factor(sizes))
        tips = [pi * one.tip_mm**2 / 4 for one in own]
        feet = [a.points[: a.holds, :2] for a in self.low] + [h.anchors.points[h.order[:1], :2] for h in further]
        flow = [t for t, a in zip(tips, self.low, strict=True) for _ in range(a.holds)] + [
            tips[h.body] for h in further
        ]
        places, which = same_places(np.concatenate(feet))
        carried = np.bincount(which, weights=flow, minlength=len(places)).tolist()
        web = self.profile.strut_web_mm
        plot = yield from part(_plotted(places, carried, sizes, self.spec, web), 0.0, 0.5)
        # Where there is no room, branches are drawn in as far as the gates on them allow.
        thin = sizes.lying.d_for_modulus(ROUND.modulus_mm(sizes.gate_mm))
        if plot.spare_mm >= 0.0 or self.spec.ring_mm is not None or thin >= sizes.ring_mm:
            return plot
        thinner = yield from part(_plotted(places, carried, replace(sizes, ring_mm=thin), self.spec, web), 0.5, 1.0)
        return max(plot, thinner, key=lambda one: one.worth)

    def job(self, base: Course) -> Job:
        """Give what routes are planned on, over a course."""
        return Job(self.bodies, self.lines, base, self.low, (), self.profile, self.spec)

    def built(self, sizes: Sizes, further: tuple[Hold, ...] = ()) -> Steps[Lattice]:
        """Lay the tree and route everything with one set of sizes."""
        plot = yield from part(self.plotted(sizes, further), 0.0, 0.4)
        own = self.own(self._factor(sizes))
        job = self.job(joined_courses(plot.branches, np.array([a.points[0, :2] for a in self.low])))
        sizes = replace(sizes, ring_mm=plot.ring_mm)
        standing = OnPlate(_lying(plot))
        below = yield from part(lay_side(job, sizes, standing, above=False, further=further, own=own), 0.4, 1.0)
        plate_z = float(below.course.at(np.zeros(1))[0, 2]) - sizes.ring_axis_mm
        web = self.profile.strut_web_mm
        findings = anchor_findings(self.bodies, self.low, UPRIGHT)
        findings += refusal_findings(job, below, above=False)
        if plot.spare_mm < 0.0:
            findings.append(
                Finding(
                    "strut-unrouted",
                    "stop",
                    (),
                    f"branches come within {max(0.0, plot.spare_mm + web):.2f} mm of each other on the plate, "
                    f"{web:g} mm is the floor; stand the bodies further apart, or write a thinner feed.ring_mm",
                    value=plot.spare_mm + web,
                    limit=web,
                )
            )
        for wire in sorted(set(self.wires_mm)):
            gates = [g for g in below.gates if self.wires_mm[g.body] == wire]
            like = next(one for one, w in zip(own, self.wires_mm, strict=True) if w == wire)
            findings += narrowed_findings(gates, self.bodies, like, above=False)
        spokes = _spokes(plot)
        out = np.array([line[0] - plot.tree.hub for line, _ in spokes])
        wheel, joins = plot.wheel, np.arctan2(out[:, 1], out[:, 0])
        hub = stand_hub(
            plot.tree.hub, (wheel.hub_mm, wheel.hub_height_mm), plot.flow_mm2, joins, sizes, self.spec, plate_z
        )
        lines = [(b.drawn(d), d) for b, d in zip(plot.branches, plot.d_mm, strict=True)]
        solids = [
            *(_piece("ring", line, np.full(len(line), d), sizes, plate_z) for line, d in lines),
            *(_piece("spoke", line, d, sizes, plate_z) for line, d in spokes),
            hub.solid,
            *(gate_solid(g, self.bodies, above=False, sizes=own[g.body]) for g in below.gates),
        ]
        drawn, told = with_fillets(solids, self.spec.fillet_mm, web)
        return Lattice(drawn, plate_z, (*findings, *hub.findings, *told), hub.apart)

    def _factor(self, sizes: Sizes) -> float:
        return next((f for f in TIP_STEPS if self.sized(f).tip_mm == sizes.tip_mm), 1.0)


def _spared(sizes: Sizes, spec: FeedSpec) -> Sizes:
    """Draw in the gate and the branches of a body that is thick all round: it is fed from near by, not along a wire."""
    if sizes.gate_mm <= FULL_MM:
        return sizes
    gate = sizes.gate_mm if spec.gate_mm is not None else max(FULL_MM, sizes.thinnest_gate_mm)
    least = max(STEP * max(gate, sizes.wire_mm), LONG_SHAFT * sizes.wire_mm)
    needed = sizes.lying.d_for_modulus(ROUND.modulus_mm(least))
    return replace(sizes, gate_mm=gate, ring_mm=sizes.ring_mm if spec.ring_mm is not None else needed)


def _plotted(feet: FloatArray, carried: list[float], sizes: Sizes, spec: FeedSpec, web_mm: float) -> Steps[Plot]:
    """Find a place for the hub from which branches reach every foot and keep their distance: the first that does.

    Where none does, the one that comes nearest to it.
    """
    flow = ceil(sum(carried) / (pi * sizes.tip_mm**2 / 4))
    least = _room(choose_wheel(sizes, gates=flow, spokes=SPOKES, web_mm=web_mm), sizes.ring_mm)
    best: Plot | None = None
    for number, more in enumerate(ROOMS):
        for gone in WAYS_GONE:
            for tree in (yield from hub_places(feet, more * least, gone)):
                yield number / len(ROOMS)
                plot = _plot(tree, carried, sizes, spec, web_mm)
                if best is None or plot.worth > best.worth:
                    best = plot
                if plot.spare_mm >= 0.0 and plot.corner_mm >= 0.0:
                    return plot
    assert best is not None
    return best


def _room(wheel: WheelSizes, ring_mm: float) -> float:
    return wheel.hub_mm / 2 + ring_mm / 2 + SHORTEST_SPOKE_MM


def _plot(tree: Tree, carried: list[float], sizes: Sizes, spec: FeedSpec, web_mm: float) -> Plot:
    """Size a tree by what it carries, and measure it."""
    laid = branches(tree)
    load = tree.loads(carried)
    most = max(
        [*carried, *(load[a] if tree.parent[a] == b else load[b] for one in laid for a, b in pairwise(one.places))]
    )
    deepest = max(one.depth for one in laid)
    ring = sizes.ring_mm if spec.ring_mm is not None else max(sizes.ring_mm, sizes.lying.d_for_area(most))
    d = tuple(ring * THINNER ** (one.depth - deepest) for one in laid)
    roots = [k for k, p in enumerate(tree.parent) if p < 0]
    way = tree.feet[roots] - tree.hub
    angle = np.sort(np.arctan2(way[:, 1], way[:, 0]))
    apart = float(np.diff(np.append(angle, angle[0] + 2 * pi)).min())
    spokes = max(len(roots), ceil(2 * pi / apart - UNEVEN))
    gates = ceil(spokes * max(load[k] for k in roots) / (pi * sizes.tip_mm**2 / 4))
    wheel = choose_wheel(
        replace(sizes, ring_mm=max(d)), gates=gates, spokes=spokes, web_mm=web_mm, fillet_mm=spec.fillet_mm
    )
    short = float(np.linalg.norm(tree.feet - tree.hub, axis=1).min()) - _room(wheel, ring)
    if spokes > MOST_AROUND:
        short = min(short, -wheel.hub_mm)
    plot = Plot(tree, laid, d, wheel, sum(carried), short, short)
    if short < -LEAST_MM:
        return plot
    lines = [one.drawn(thick) for one, thick in zip(laid, d, strict=True)]
    rods = [Rod(line, thick, frozenset(one.places)) for line, one, thick in zip(lines, laid, d, strict=True)]
    aside = min(nearest_mm(rod.line, tree.hub) - rod.d_mm / 2 for rod in rods) - wheel.hub_mm / 2 - web_mm
    rods += [Rod(line, wheel.spoke_mm, frozenset([k])) for (line, _), k in zip(_spokes(plot), roots, strict=True)]
    corner, apart = tightest(rods, tree.feet, web_mm)
    return replace(plot, spare_mm=min(aside, apart), corner_mm=min(aside, corner))


def _spokes(plot: Plot) -> list[tuple[FloatArray, FloatArray]]:
    """Draw the spokes: lines (3, 2) from inside the hub to the first branches, and diameters (3,)."""
    tree, wheel = plot.tree, plot.wheel
    found = []
    for k, parent in enumerate(tree.parent):
        if parent >= 0:
            continue
        ring = next(d for one, d in zip(plot.branches, plot.d_mm, strict=True) if k in one.places)
        way = tree.feet[k] - tree.hub
        length = float(np.linalg.norm(way))
        at = np.array([max(0.0, wheel.hub_mm / 2 - SPOKE_SUNK_MM), length - 0.9 * ring / 2, length])
        line = tree.hub + at[:, None] * way / length
        found.append((line, np.array([wheel.spoke_mm, wheel.spoke_mm, min(OVER_RING * ring, wheel.spoke_mm)])))
    return found


def _lying(plot: Plot) -> list[_Lying]:
    """Give what lies on the plate; gates round the end of a spoke grow from the same node."""
    found = []
    for one, d in zip(plot.branches, plot.d_mm, strict=True):
        line = one.drawn(d)
        found.append(_Lying(line, np.full(len(line) - 1, d / 2)))
    found += [_Lying(line, d[:-1] / 2, (d[-1] + d[-2]) / 2) for line, d in _spokes(plot)]
    hub = np.stack((plot.tree.hub, plot.tree.hub + np.array([1e-3, 0.0])))
    return [*found, _Lying(hub, np.array([plot.wheel.hub_mm / 2]))]


def _piece(role: str, line: FloatArray, d: FloatArray, sizes: Sizes, plate_z_mm: float) -> LatticeSolid:
    section = sizes.lying
    axis = np.column_stack((line, plate_z_mm + section.foot * d / 2))
    struts = tuple(
        Strut(role, place(a), place(b), float(da), float(db))
        for (a, b), (da, db) in zip(pairwise(axis), pairwise(d), strict=True)
    )
    mesh = lying(line, d, section, plate_z_mm=plate_z_mm, closed=False)
    return LatticeSolid(role, mesh, struts, section.modulus_mm(float(d.max())))
