"""Inspect a set of bodies: are they sound, do they keep their gaps, and do they hang together as they should."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ..base.errors import BadInput
from ..base.profile import Profile
from ..base.progress import Steps, part
from ..solid.congruent import copies_of, on_first_meshes
from ..solid.crossing import Crossing, crossings
from ..solid.distance import GapTable, gaps
from ..solid.measure import bounds_mm
from ..solid.mesh import Body
from .body_findings import as_point, is_sound, is_too_small, size_findings, soundness_findings
from .finding import Finding
from .gap_findings import Limits, gap_findings, slit_findings
from .heads import HOT_STRENGTH_MPA
from .joint_map import LINKED, NOT_LINKED, UNDECIDED, BoolArray, JointMap, joint_map
from .ladder import Ladder
from .link_findings import Hanging, link_findings
from .shapes import Shape, shapes_of
from .wall_findings import wall_findings, wall_mm
from .web_findings import web_weak_findings
from .webs import THICKEST_MM, webs

Point = tuple[float, float, float]

_AS_TOLD = {LINKED: True, NOT_LINKED: False, UNDECIDED: None}


@dataclass(frozen=True, slots=True)
class BodyFacts:
    """What is true of one body. ``volume_mm3`` is negative inside out; ``genus`` is None unless closed and even.

    ``wall_mm``: the thinnest metal, None where the surface bounds none; ``wall_at``: its middle.
    """

    name: str
    volume_mm3: float
    area_mm2: float
    closed: bool
    genus: int | None
    bounds_mm: tuple[Point, Point]
    wall_mm: float | None = None
    wall_at: Point | None = None


@dataclass(frozen=True, slots=True)
class Pair:
    """Two bodies near each other or linked.

    ``gap_mm`` in the model, 0 when fused, None beyond the search range; ``point_a`` and ``point_b`` where it is;
    ``linked`` None when fused, not sound or undecided; ``ladder`` what becomes of the gap, None when fused or beyond
    the range; ``depth_mm`` how deep fused bodies reach into each other, 0 where they only touch, None unless fused.
    """

    a: str
    b: str
    gap_mm: float | None
    point_a: Point | None
    point_b: Point | None
    linked: bool | None
    ladder: Ladder | None = None
    depth_mm: float | None = None


@dataclass(frozen=True, slots=True)
class WebPatch:
    """The widest thin patch of investment between two bodies, in the mould: its width over its thickness is greatest.

    ``thickness_mm``: nowhere thicker than this; ``depth_mm``: from its open edge to the farthest place inside it;
    ``width_mm``: the span, twice that; infinite where no edge is open. ``at``: the farthest place, in the model.
    """

    a: str
    b: str
    at: Point
    thickness_mm: float
    area_mm2: float
    width_mm: float
    depth_mm: float


@dataclass(frozen=True, slots=True)
class Inspection:
    """All that an inspection says. ``bodies``, ``pairs`` and ``webs`` in the order of the bodies given."""

    bodies: tuple[BodyFacts, ...]
    pairs: tuple[Pair, ...]
    webs: tuple[WebPatch, ...]
    findings: tuple[Finding, ...]

    def met(self) -> tuple[tuple[int, int], ...]:
        """Give the pairs of body numbers that touch or cross, a body that crosses itself paired with itself."""
        number = {body.name: place for place, body in enumerate(self.bodies)}
        crossed = {name for one in self.findings if one.code == "self-crossing" for name in one.bodies}
        return (
            *((number[pair.a], number[pair.b]) for pair in self.pairs if pair.gap_mm == 0.0),
            *((number[name], number[name]) for name in sorted(crossed)),
        )


def inspect(
    bodies: Sequence[Body],
    profile: Profile,
    *,
    range_mm: float = 1.5,
    joints: Sequence[tuple[int, int]] | None = None,
    scale: float = 1.0,
    mould_expansion: float = 0.0,
    shrinkage: float = 0.0,
    head: str = "vacuum",
    hot_strength_mpa: float = HOT_STRENGTH_MPA,
) -> Steps[Inspection]:
    """Inspect bodies with unique names: soundness, gaps down the ladder, joint map.

    ``range_mm``: pairs nearer than this are listed; ``joints``: the pairs of body numbers that should be linked, None
    when nobody knows; the rest as in `Limits`. Raises BadInput when there is no body, or a number is out of its range.
    """
    _check(bodies, range_mm, scale, mould_expansion, shrinkage, joints)
    limits = Limits(profile, scale, mould_expansion, shrinkage, head, hot_strength_mpa)
    copies = yield from part(copies_of(bodies), 0.0, 0.01)
    shapes = yield from part(shapes_of(bodies, copies, limits.slit_mm()), 0.01, 0.3)
    known = [shape.facts for shape in shapes]
    sound = np.array([is_sound(f) for f in known])
    measured = yield from part(_facts_of(bodies, shapes), 0.3, 0.3)
    low, high = np.swapaxes(np.array([facts_of_body.bounds_mm for facts_of_body in measured]), 0, 1)
    alone = (
        *size_findings([body.name for body in bodies], low, high),
        *soundness_findings(bodies, known, [shape.crossing for shape in shapes]),
        *wall_findings(bodies, [shape.wall for shape in shapes], profile, scale),
        *slit_findings(bodies, [shape.slit for shape in shapes], limits),
    )
    yield 0.3
    if is_too_small(low, high):
        return Inspection(measured, (), (), alone)
    wide_mm = max(range_mm, limits.reach_mm())
    table = yield from part(gaps(bodies, range_mm=wide_mm), 0.3, 0.6)
    touching = np.flatnonzero(table.gap_mm <= 0.0)
    met = np.stack((table.a[touching], table.b[touching]), axis=1)
    how = yield from part(crossings(bodies, met), 0.6, 0.65)
    fused = {(int(a), int(b)): crossing for (a, b), crossing in zip(met, how, strict=True)}
    joint = yield from part(joint_map(bodies, sound, table, wide_mm), 0.65, 0.8)
    shared = on_first_meshes(bodies, copies)
    thin = yield from part(webs(shared, table, limits, thickest_mm=min(range_mm, THICKEST_MM)), 0.8, 1.0)
    pairs = yield from part(_pairs(bodies, sound, table, joint, range_mm, limits, fused), 1.0, 1.0)
    hanging = Hanging(
        bodies,
        sound,
        np.array([f.genus is None or f.genus > 0 for f in known]),
        0.5 * (low + high),
        frozenset(fused),
        joint,
        None if joints is None else frozenset((min(pair), max(pair)) for pair in joints),
        {
            (int(a), int(b)): float(gap)
            for a, b, gap in zip(table.a, table.b, table.gap_mm, strict=True)
            if 0.0 < gap < range_mm
        },
    )
    between = gap_findings(bodies, table, limits, fused)
    yield 1.0
    findings = (*alone, *between, *web_weak_findings(bodies, thin, limits), *link_findings(hanging))
    yield 1.0
    patches = tuple(
        WebPatch(
            bodies[web.a].name,
            bodies[web.b].name,
            as_point(web.at),
            web.thickness_mm,
            web.area_mm2,
            web.width_mm,
            web.depth_mm,
        )
        for web in thin
    )
    return Inspection(measured, pairs, patches, findings)


def _check(
    bodies: Sequence[Body],
    range_mm: float,
    scale: float,
    mould_expansion: float,
    shrinkage: float,
    joints: Sequence[tuple[int, int]] | None,
) -> None:
    if len(bodies) == 0:
        raise BadInput("inspect: there is no body; give at least one mesh")
    if not (math.isfinite(range_mm) and range_mm > 0.0):
        raise BadInput(f"inspect: a search range of {range_mm:g} mm does not work; give a number above 0 mm")
    if not (math.isfinite(scale) and scale > 0.0):
        raise BadInput(f"inspect: a scale of {scale:g} does not work; give a number above 0")
    if not (math.isfinite(mould_expansion) and -0.5 < mould_expansion < 0.5):
        raise BadInput(
            f"inspect: a mould expansion of {mould_expansion:g} does not work; give a share from -0.5 to 0.5"
        )
    if not (math.isfinite(shrinkage) and 0.0 <= shrinkage < 0.5):
        raise BadInput(f"inspect: a shrinkage of {shrinkage:g} does not work; give a share from 0 to 0.5")
    for pair in joints or ():
        if pair[0] == pair[1] or not all(0 <= number < len(bodies) for number in pair):
            raise BadInput(f"inspect: joint {tuple(pair)} does not name two of the {len(bodies)} bodies")


def _facts_of(bodies: Sequence[Body], shapes: Sequence[Shape]) -> Steps[tuple[BodyFacts, ...]]:
    measured = []
    for body, shape in zip(bodies, shapes, strict=True):
        low, high = bounds_mm(body.points())
        known, wall = shape.facts, shape.wall
        measured.append(
            BodyFacts(
                body.name,
                shape.volume_mm3,
                shape.area_mm2,
                known.closed,
                known.genus,
                (as_point(low), as_point(high)),
                None if wall is None else wall_mm(body, wall),
                None if wall is None else as_point(body.pose.apply(0.5 * (wall.point_a + wall.point_b))),
            )
        )
        yield len(measured) / len(bodies)
    return tuple(measured)


def _pairs(
    bodies: Sequence[Body],
    sound: BoolArray,
    table: GapTable,
    joint: JointMap,
    range_mm: float,
    limits: Limits,
    fused: Mapping[tuple[int, int], Crossing],
) -> Steps[tuple[Pair, ...]]:
    """List the pairs nearer than the range and the linked ones, in the order of the bodies."""
    states = joint.states()
    near = {
        (int(a), int(b)): place
        for place, (a, b) in enumerate(zip(table.a, table.b, strict=True))
        if table.gap_mm[place] < range_mm
    }
    linked = {pair for pair, state in states.items() if state == LINKED}
    listed = []
    for a, b in sorted(near.keys() | linked):
        place = near.get((a, b))
        unlisted = NOT_LINKED if sound[a] and sound[b] else UNDECIDED
        state = _AS_TOLD[states.get((a, b), unlisted)]
        names = (bodies[a].name, bodies[b].name)
        if place is None:
            listed.append(Pair(*names, None, None, None, state))
            continue
        gap, on_a, on_b = float(table.gap_mm[place]), as_point(table.point_a[place]), as_point(table.point_b[place])
        if (a, b) in fused:
            listed.append(Pair(*names, gap, on_a, on_b, state, depth_mm=fused[a, b].depth_mm))
        else:
            along = as_point(table.point_b[place] - table.point_a[place])
            listed.append(Pair(*names, gap, on_a, on_b, state, ladder=limits.ladder(gap, along)))
        yield 1.0
    return tuple(listed)
