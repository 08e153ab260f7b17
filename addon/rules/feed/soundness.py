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
from .astray import astray_findings
from .distances import distance_findings
from .freezing import order_findings, quick_rule_findings, thin_gates
from .joined import joined_pairs, reached
from .lattice import Lattice, Strut, place
from .leaning import leaning_findings
from .piercing import pierced
from .reach import Thickness, gates_of, reach_findings, supports
from .steadiness import unsteady_findings
from .upper import span_findings

SUNK_MM = 0.15
RIM_RAYS = 4


def check_lattice(
    bodies: Sequence[Body], lattice: Lattice, profile: Profile, *, wire_mm: Thickness, gap_mm: float | None = None
) -> Steps[tuple[Finding, ...]]:
    """Check a lattice against the feed rules; give the findings, worst first.

    ``wire_mm`` is the thickness sizes are judged by, ``gap_mm`` the printed gap that steadiness is judged by (None: the
    profile's warning floor).
    """
    bodies = tuple(bodies)
    found: list[Finding] = []
    gates = gates_of(bodies, lattice)
    found += _without_gate(bodies, gates)
    found += _loose(lattice)
    found += yield from part(astray_findings(bodies, lattice), 0.0, 0.1)
    yield 0.1
    boxes = _triangle_boxes(bodies)
    for body, own in zip(bodies, gates, strict=True):
        found += [f for gate in own for f in _sunk(body, gate, boxes[id(body.mesh)])]
        yield 0.2
    yield 0.3
    found += reach_findings(bodies, gates, profile, wire_mm)
    yield 0.25
    found += order_findings(lattice)
    thin = sorted({row[0] for rows in thin_gates(lattice, wire_mm) for row in rows})
    found += quick_rule_findings(lattice, wire_mm, supports(bodies, lattice, profile, wire_mm, thin))
    found += span_findings(lattice, profile)
    yield 0.3
    gap = profile.gap_warn_mm if gap_mm is None else gap_mm
    found += yield from part(unsteady_findings(bodies, lattice, profile, gap), 0.3, 0.38)
    found += yield from part(leaning_findings(bodies, lattice, profile, gap), 0.38, 0.4)
    yield 0.4
    found += yield from part(distance_findings(bodies, lattice, profile), 0.4, 1.0)
    return worst_first(found)


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
    # All that lies further on counts too: what is inside is told by how often the way on leaves the metal.
    way_on = ends[1] + ahead * float(np.linalg.norm(boxes[1].max(axis=0) - boxes[0].min(axis=0)))
    row = np.stack((ends[0], way_on))
    near = ((boxes[0] <= row.max(axis=0) + spare) & (boxes[1] >= row.min(axis=0) - spare)).all(axis=1)
    corners = body.mesh.points[body.mesh.triangles[near]]
    depths = []
    for shift in np.concatenate((np.zeros((1, 3)), rim)):
        cuts = pierced(corners, start + shift, ahead)
        before = cuts[cuts <= length]
        inside = (len(cuts) - len(before)) % 2 == 1
        depths.append(length - float(before.max(initial=0.0)) if inside else 0.0)
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
