"""Inspect a set of bodies: are they sound, do they keep their gaps, and do they hang together as they should."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..base.errors import BadInput
from ..base.profile import Profile
from ..base.progress import Steps, part
from ..solid.distance import GapTable, gaps
from ..solid.measure import area_mm2, bounds_mm, volume_mm3
from ..solid.mesh import Body
from ..solid.topology import MeshFacts, facts
from .body_findings import as_point, is_sound, size_findings, soundness_findings
from .finding import Finding
from .gap_findings import Limits, gap_findings
from .heads import HOT_STRENGTH_MPA
from .joint_map import LINKED, NOT_LINKED, UNDECIDED, BoolArray, JointMap, joint_map
from .ladder import Ladder
from .link_findings import Hanging, link_findings

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
    _check(bodies, range_mm, scale, mould_expansion, joints)
    limits = Limits(profile, scale, mould_expansion, shrinkage, head, hot_strength_mpa)
    known, measured = yield from part(_facts_of_all(bodies), 0.0, 0.1)
    sound = np.array([is_sound(f) for f in known])
    wide_mm = max(range_mm, limits.reach_mm())
    table = yield from part(gaps(bodies, range_mm=wide_mm), 0.1, 0.75)
    joint = yield from part(joint_map(bodies, sound, table, wide_mm), 0.75, 1.0)
    bounds = np.array([facts_of_body.bounds_mm for facts_of_body in measured])
    fused = np.flatnonzero(table.gap_mm <= 0.0)
    hanging = Hanging(
        bodies,
        sound,
        np.array([f.genus is None or f.genus > 0 for f in known]),
        bounds.mean(axis=1),
        frozenset(zip(table.a[fused].tolist(), table.b[fused].tolist(), strict=True)),
        joint,
        None if joints is None else frozenset((min(pair), max(pair)) for pair in joints),
        {
            (int(a), int(b)): float(gap)
            for a, b, gap in zip(table.a, table.b, table.gap_mm, strict=True)
            if 0.0 < gap < range_mm
        },
    )
    findings = (
        *size_findings([body.name for body in bodies], bounds[:, 0], bounds[:, 1]),
        *soundness_findings(bodies, known),
        *gap_findings(bodies, table, limits),
        *link_findings(hanging),
    )
    return Inspection(measured, _pairs(bodies, sound, table, joint, range_mm), (), findings)


def _check(
    bodies: Sequence[Body],
    range_mm: float,
    scale: float,
    mould_expansion: float,
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
    for pair in joints or ():
        if pair[0] == pair[1] or not all(0 <= number < len(bodies) for number in pair):
            raise BadInput(f"inspect: joint {tuple(pair)} does not name two of the {len(bodies)} bodies")


def _facts_of_all(bodies: Sequence[Body]) -> Steps[tuple[list[MeshFacts], tuple[BodyFacts, ...]]]:
    """Measure every body; what copies share is measured once."""
    shapes: dict[int, tuple[MeshFacts, float, float]] = {}
    known, measured = [], []
    for done, body in enumerate(bodies):
        if id(body.mesh) not in shapes:
            shapes[id(body.mesh)] = (facts(body.mesh), volume_mm3(body.mesh), area_mm2(body.mesh))
        of_mesh, volume, area = shapes[id(body.mesh)]
        low, high = bounds_mm(body.points())
        known.append(of_mesh)
        measured.append(
            BodyFacts(body.name, volume, area, of_mesh.closed, of_mesh.genus, (as_point(low), as_point(high)))
        )
        yield (done + 1) / len(bodies)
    return known, tuple(measured)


def _pairs(
    bodies: Sequence[Body], sound: BoolArray, table: GapTable, joint: JointMap, range_mm: float
) -> tuple[Pair, ...]:
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
        listed.append(
            Pair(
                bodies[a].name,
                bodies[b].name,
                None if place is None else float(table.gap_mm[place]),
                None if place is None else as_point(table.point_a[place]),
                None if place is None else as_point(table.point_b[place]),
                _AS_TOLD[states.get((a, b), unlisted)],
            )
        )
    return tuple(listed)
