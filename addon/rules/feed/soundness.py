"""Is a lattice sound? A check of any lattice, planned or edited, on its exact meshes.

Every body has a gate that is sunk into it; all feed metal hangs together; every strut keeps its distance; no point of a
body is too far from a gate; the modulus never falls towards the button; links stand steady; the upper ring is carried.
"""

from collections.abc import Sequence

import numpy as np

from ..base.profile import Profile
from ..base.progress import Steps, part
from ..inspect.finding import Finding, worst_first
from ..solid.mesh import Body, FloatArray
from .distances import distance_findings
from .freezing import order_findings, quick_rule_findings
from .joined import joined_pairs, reached
from .lattice import Lattice, Strut, place
from .piercing import pierced
from .steadiness import Column, sway_mm
from .upper import HELD

SUNK_MM = 0.15
FEED_WIRES = 7.0
STEADY_SHARE = 0.25
RIM_RAYS = 4


def check_lattice(
    bodies: Sequence[Body], lattice: Lattice, profile: Profile, *, wire_mm: float, gap_mm: float | None = None
) -> Steps[tuple[Finding, ...]]:
    """Check a lattice against the feed rules; give the findings, worst first.

    ``wire_mm`` is the thickness sizes are judged by, ``gap_mm`` the printed gap that steadiness is judged by (None: the
    profile's warning floor).
    """
    bodies = tuple(bodies)
    found: list[Finding] = []
    gates = _gates_of(bodies, lattice)
    found += _without_gate(bodies, gates)
    found += _loose(lattice)
    yield 0.1
    boxes = _triangle_boxes(bodies)
    for body, own in zip(bodies, gates, strict=True):
        found += [f for gate in own for f in _sunk(body, gate, boxes[id(body.mesh)])]
        yield 0.2
    yield 0.3
    found += _too_far(bodies, gates, profile, wire_mm)
    yield 0.25
    found += order_findings(lattice)
    found += quick_rule_findings(lattice, wire_mm)
    found += _spans(lattice, profile)
    yield 0.3
    found += _unsteady(bodies, lattice, profile, profile.gap_warn_mm if gap_mm is None else gap_mm)
    yield 0.4
    found += yield from part(distance_findings(bodies, lattice, profile), 0.4, 1.0)
    return worst_first(found)


def sways(bodies: Sequence[Body], lattice: Lattice, profile: Profile) -> list[float]:
    """Estimate how far each drawn link that has a gate from below moves while it is printed, in mm."""
    return [sway for _, sway in _sways(tuple(bodies), lattice, profile)]


def _gates_of(bodies: tuple[Body, ...], lattice: Lattice) -> list[list[Strut]]:
    number = {body.name: k for k, body in enumerate(bodies)}
    gates: list[list[Strut]] = [[] for _ in bodies]
    for strut in lattice.struts:
        if strut.feeds in number:
            gates[number[strut.feeds]].append(strut)
    return gates


def _without_gate(bodies: tuple[Body, ...], gates: list[list[Strut]]) -> list[Finding]:
    return [
        Finding(
            "no-gate",
            "stop",
            (body.name,),
            f"{body.name} has no gate, so it stays without metal; add one",
            at=place(body.points().mean(axis=0)),
        )
        for body, own in zip(bodies, gates, strict=True)
        if not own
    ]


def _loose(lattice: Lattice) -> list[Finding]:
    """Find solids that no feed metal joins to the hub, or to the base ring where there is no hub."""
    if not lattice.solids:
        return []
    roots = [k for k, s in enumerate(lattice.solids) if s.role == "trunk"]
    if not roots:
        roots = [k for k, s in enumerate(lattice.solids) if s.role == "ring"] or [0]
    linked = reached(len(lattice.solids), joined_pairs(lattice.solids), roots)
    found = []
    for solid, hangs in zip(lattice.solids, linked, strict=True):
        if not hangs:
            feeds = solid.feeds
            what = f"the gate of {feeds}" if feeds is not None else f"a strut ({solid.role})"
            found.append(
                Finding(
                    "no-gate" if feeds is not None else "solid",
                    "stop",
                    (feeds,) if feeds is not None else (),
                    f"{what} is not joined to the hub by feed metal; lead it to the ring",
                    at=solid.struts[0].start,
                )
            )
    return found


def _sunk(body: Body, gate: Strut, boxes: tuple[FloatArray, FloatArray]) -> list[Finding]:
    """Check that a tip ends inside its body, deep enough and not through the other side.

    ``boxes`` are the least and greatest corners of the triangles of the body's mesh, each (m, 3).
    """
    ends = (np.array([gate.start, gate.end]) - body.pose.origin) @ body.pose.rotation
    start, way = ends[0], ends[1] - ends[0]
    length = float(np.linalg.norm(way))
    ahead = way / length
    axis = np.zeros(3)
    axis[np.abs(ahead).argmin()] = 1.0
    side = np.cross(ahead, axis)
    side /= np.linalg.norm(side)
    up = np.cross(ahead, side)
    angle = np.arange(RIM_RAYS) * (2 * np.pi / RIM_RAYS)
    rim = gate.d_end_mm / 2 * (np.cos(angle)[:, None] * side + np.sin(angle)[:, None] * up)
    spare = gate.d_end_mm
    near = ((boxes[0] <= ends.max(axis=0) + spare) & (boxes[1] >= ends.min(axis=0) - spare)).all(axis=1)
    corners = body.mesh.points[body.mesh.triangles[near]]
    depths = []
    for shift in np.concatenate((np.zeros((1, 3)), rim)):
        cuts = pierced(corners, start + shift, ahead)
        cuts = cuts[cuts <= length]
        depths.append(length - float(cuts[-1]) if len(cuts) % 2 else 0.0)
    if depths[0] <= 0.0:
        text = f"a gate of {body.name} does not end in its metal; lead it {SUNK_MM:g} mm or more into it"
        return [Finding("no-gate", "stop", (body.name,), text, at=gate.end, value=0.0, limit=SUNK_MM)]
    if depths[0] < SUNK_MM:
        text = f"a gate of {body.name} is sunk only {depths[0]:.2f} mm; sink it {SUNK_MM:g} mm or more"
        return [Finding("solid", "stop", (body.name,), text, at=gate.end, value=depths[0], limit=SUNK_MM)]
    if min(depths) <= 0.0:
        text = (
            f"the tip of a gate of {body.name} shows at the side of its wire; make the tip thinner or move it to the "
            f"middle"
        )
        return [Finding("solid", "stop", (body.name,), text, at=gate.end)]
    return []


def _triangle_boxes(bodies: tuple[Body, ...]) -> dict[int, tuple[FloatArray, FloatArray]]:
    boxes: dict[int, tuple[FloatArray, FloatArray]] = {}
    for body in bodies:
        if id(body.mesh) not in boxes:
            corners = body.mesh.corners()
            boxes[id(body.mesh)] = (corners.min(axis=1), corners.max(axis=1))
    return boxes


def _too_far(bodies: tuple[Body, ...], gates: list[list[Strut]], profile: Profile, wire_mm: float) -> list[Finding]:
    """Find the bodies with a point further along the metal from its nearest gate than the feed distance."""
    far: list[tuple[float, float, str, FloatArray]] = []
    for body, own in zip(bodies, gates, strict=True):
        if not own:
            continue
        thick = 2 * body.wire.radius_mm if body.wire is not None else wire_mm
        limit = profile.feed_distance_mm if profile.feed_distance_mm is not None else FEED_WIRES * thick
        reach, at = _farthest(body, np.array([gate.end for gate in own]))
        if reach > limit + 1e-9:
            far.append((reach, limit, body.name, at))
    if not far:
        return []
    reach, limit, name, at = max(far, key=lambda row: row[0] / row[1])
    return [
        Finding(
            "feed-far",
            "warn",
            tuple(row[2] for row in far),
            f"{_and_more(name, len(far))} reaches {reach:.1f} mm from its nearest gate, {limit:.1f} mm is the feed "
            f"distance; add "
            "an upper ring, or make the link shorter or its wire thicker",
            at=place(at),
            value=reach,
            limit=limit,
        )
    ]


def _farthest(body: Body, ends: FloatArray) -> tuple[float, FloatArray]:
    """Give how far a body's farthest point lies from its gates: along the wire, or straight on a mesh not ours."""
    if body.wire is None:
        points = body.points()
        away = np.linalg.norm(points[:, None] - ends[None], axis=2).min(axis=1)
        return float(away.max()), points[int(away.argmax())]
    line = body.pose.apply(body.wire.centreline)
    step = np.linalg.norm(np.roll(line, -1, axis=0) - line, axis=1)
    walked, whole = np.concatenate(([0.0], np.cumsum(step)[:-1])), float(step.sum())
    roots = walked[np.linalg.norm(line[None] - ends[:, None], axis=2).argmin(axis=1)]
    away = np.abs(walked[None] - roots[:, None])
    nearest = np.minimum(away, whole - away).min(axis=0)
    return float(nearest.max()), line[int(nearest.argmax())]


def _spans(lattice: Lattice, profile: Profile) -> list[Finding]:
    """Find where the upper ring spans more between neighbouring posts than the bridge limit."""
    hoops = [s for s in lattice.solids if s.role == "upper"]
    posts = [s for s in lattice.solids if s.role == "post"]
    found = []
    for upper in hoops:
        line = np.array([s.start for s in upper.struts] + [upper.struts[-1].end])
        closed = bool(np.linalg.norm(line[0] - line[-1]) < 1e-6)
        walked = np.concatenate(([0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))))
        tops = np.array([s.struts[-1].end for s in posts]).reshape(-1, 3)
        away = np.linalg.norm(line[None] - tops[:, None], axis=2)
        at = np.sort(walked[away.argmin(axis=1)]) if len(tops) else np.zeros(0)
        held = HELD * min((s.struts[-1].d_end_mm for s in posts), default=0.0)
        if not len(at):
            spans, where = np.array([walked[-1]]), np.array([0])
        elif closed:
            spans = np.diff(np.append(at, at[0] + walked[-1])) - held
            where = np.searchsorted(walked, at) % len(line)
        else:
            spans = np.concatenate(([at[0]], np.diff(at) - held, [walked[-1] - at[-1]]))
            where = np.searchsorted(walked, np.concatenate(([0.0], at))) % len(line)
        # The line is cut where its pieces join: a span is known to one such piece.
        slack = float(np.diff(walked).max())
        worst = int(spans.argmax())
        if spans[worst] > profile.bridge_mm + slack:
            found.append(
                Finding(
                    "bridge",
                    "warn",
                    (),
                    f"the upper ring spans {spans[worst]:.1f} mm between posts, {profile.bridge_mm:g} mm is the "
                    f"limit; set a post "
                    "there or leave more room for one",
                    at=place(line[where[worst]]),
                    value=float(spans[worst]),
                    limit=profile.bridge_mm,
                )
            )
    return found


def _sways(bodies: tuple[Body, ...], lattice: Lattice, profile: Profile) -> list[tuple[Body, float]]:
    columns: dict[str, list[Column]] = {}
    for solid in lattice.solids:
        if solid.feeds is None or solid.above:
            continue
        tip = next(s for s in solid.struts if s.feeds is not None)
        shaft = [s for s in solid.struts if s.feeds is None]
        columns.setdefault(solid.feeds, []).append(
            Column(
                np.array(tip.end),
                sum(s.length_mm for s in shaft),
                min((s.d_end_mm for s in shaft), default=tip.d_start_mm),
                tip.length_mm / 2,
                tip.d_end_mm,
            )
        )
    return [
        (
            body,
            sway_mm(
                body.pose.apply(body.wire.centreline),
                body.wire.radius_mm,
                columns[body.name],
                profile.peel_pressure_kpa,
            ),
        )
        for body in bodies
        if body.wire is not None and body.name in columns
    ]


def _unsteady(bodies: tuple[Body, ...], lattice: Lattice, profile: Profile, gap_mm: float) -> list[Finding]:
    limit = STEADY_SHARE * gap_mm
    loose = [(sway, body.name) for body, sway in _sways(bodies, lattice, profile) if sway > limit]
    if not loose:
        return []
    sway, name = max(loose, key=lambda row: row[0])
    return [
        Finding(
            "unsteady",
            "warn",
            tuple(row[1] for row in loose),
            f"{_and_more(name, len(loose))} may sway {sway:.2f} mm while it is printed (an estimate), a quarter of "
            f"the gap is "
            f"{limit:.2f} mm; make the tip thicker or give it a second gate",
            value=sway,
            limit=limit,
        )
    ]


def _and_more(name: str, count: int) -> str:
    """Name one body for several that are alike."""
    return name if count == 1 else f"{name} (and {count - 1} more, less so)"
