"""Do struts keep their distance? From bodies that are not theirs and from struts they do not join, on exact meshes."""

from collections.abc import Sequence

import numpy as np

from ..base.profile import Profile
from ..base.progress import Steps
from ..inspect.finding import Finding
from ..solid.distance import gaps
from ..solid.mesh import Body, FloatArray, IntArray
from .joined import joined_pairs
from .lattice import NODE_MM, Lattice, LatticeSolid, Place, place
from .skeletons import Rods, between, boxes_meet, near_bodies, skeletons

# A drawn link's centreline is kept as straight pieces: they may lie this far from the true one.
FACET_MM = 0.05
# At a bend of 45 degrees the mitre stands out by this share of the radius: 1 / cos 22.5 degrees less 1.
MITRE = 0.083


def distance_findings(bodies: tuple[Body, ...], lattice: Lattice, profile: Profile) -> Steps[list[Finding]]:
    """Measure struts against bodies that are not theirs, and against struts they do not join, on the exact meshes."""
    solids = lattice.solids
    if not solids:
        yield 1.0
        return []
    things = (*bodies, *(Body(s.role, s.mesh) for s in solids))
    n = len(bodies)
    joined = {tuple(sorted(pair)) for pair in joined_pairs(solids).tolist()}
    names = [s.feeds for s in solids]
    wanted = np.array(
        [
            (a, b)
            for a, b in _candidates(bodies, solids, profile.strut_web_aim_mm).tolist()
            if not (
                names[b - n] == bodies[a].name
                if a < n
                else (a - n, b - n) in joined or _share_node(solids[a - n], solids[b - n])
            )
        ],
        dtype=np.int64,
    ).reshape(-1, 2)
    if not len(wanted):
        yield 1.0
        return []
    table = yield from gaps(things, range_mm=profile.strut_web_aim_mm, pairs=wanted)
    found: list[Finding] = []
    tight: list[tuple[float, str, Place]] = []
    for a, b, gap, at in zip(table.a, table.b, table.gap_mm, table.point_b, strict=True):
        body = bodies[a].name if a < n else None
        strut = solids[b - n]
        if a >= n and _at_node(solids[a - n], strut, at):
            continue
        feeds = [name for name in ((None if a < n else names[a - n]), names[b - n]) if name is not None]
        other = body if body is not None else _called(solids[a - n])
        text = f"{_called(strut)} keeps {gap:.2f} mm from {other}"
        if gap < profile.strut_web_mm:
            involved = tuple(dict.fromkeys([*([body] if body is not None else []), *feeds]))
            found.append(
                Finding(
                    "strut-near",
                    "stop",
                    involved,
                    f"{text}, {profile.strut_web_mm:g} mm of investment is the floor; move it "
                    f"{profile.strut_web_mm - gap:.2f} mm or make it thinner",
                    at=place(at),
                    value=float(gap),
                    limit=profile.strut_web_mm,
                )
            )
        else:
            tight.append((float(gap), text, place(at)))
    if tight:
        gap, text, at = min(tight)
        found.append(
            Finding(
                "strut-near",
                "note",
                (),
                f"{len(tight)} distances of struts are under the aim of {profile.strut_web_aim_mm:g} mm and above "
                f"the floor; the "
                f"smallest: {text}",
                at=at,
                value=gap,
                limit=profile.strut_web_aim_mm,
            )
        )
    return found


def _called(solid: LatticeSolid) -> str:
    words = {
        "ring": "the base ring",
        "upper": "the upper ring",
        "trunk": "the hub",
        "post": "a post",
        "spoke": "a spoke",
    }
    if solid.feeds is not None:
        return f"the {'upper gate' if solid.above else 'gate'} of {solid.feeds}"
    return words.get(solid.role, "a strut")


def _share_node(one: LatticeSolid, other: LatticeSolid) -> bool:
    """Tell whether two struts begin or end at one place of a third: there they cannot keep apart."""
    ends_one = (one.struts[0].start, one.struts[-1].end)
    ends_other = (other.struts[0].start, other.struts[-1].end)
    return any(bool(np.linalg.norm(np.subtract(a, b)) < NODE_MM) for a in ends_one for b in ends_other)


def _at_node(one: LatticeSolid, other: LatticeSolid, at: FloatArray) -> bool:
    """Tell whether a place lies where a spoke meets the ring, or a disc that is all below the ring's top.

    The feet next to it grow from the same node: so low down they are still inside the ring.
    """
    for hub, gate in ((one, other), (other, one)):
        foot = gate.struts[0]
        if hub.role == "trunk" and gate.role == "gate" and not gate.above:
            return bool(hub.struts[-1].end[2] <= foot.start[2] + foot.d_start_mm / 2)
    for spoke in (one, other):
        if spoke.role == "spoke" and one.role != other.role:
            end = spoke.struts[-1]
            return bool(np.linalg.norm(np.subtract(at, end.end)) < (end.d_end_mm + end.d_start_mm) / 2 + NODE_MM)
    return False


def _candidates(bodies: tuple[Body, ...], solids: Sequence[LatticeSolid], reach_mm: float) -> IntArray:
    """Give the pairs (p, 2), a < b, of a strut with a body or another strut that may be nearer than ``reach_mm``.

    Struts lie inside their round pieces and drawn links inside their wires, so those distances are never larger than
    the true ones: pairs that are far by them are far. A body without a wire is taken by its bounds.
    """
    n = len(bodies)
    rods = [s.rod() for s in solids]
    owner = np.concatenate([np.full(len(r), k) for k, (_, r) in enumerate(rods)])
    points = np.concatenate([np.stack((p[:-1], p[1:]), axis=1) for p, _ in rods])
    radii = np.concatenate([r for _, r in rods])
    reach = reach_mm + FACET_MM + MITRE * radii.max()
    spread = radii[:, None]
    low, high = points.min(axis=1) - spread, points.max(axis=1) + spread
    a, b = boxes_meet(low - reach, high + reach, low, high)
    first = owner[a] < owner[b]
    a, b = a[first], b[first]
    gap = between(points[a, 0], points[a, 1], points[b, 0], points[b, 1]) - radii[a] - radii[b]
    struts = np.stack((owner[a], owner[b]), axis=1)[gap < reach] + n
    drawn = [k for k, body in enumerate(bodies) if body.wire is not None]
    other = [k for k, body in enumerate(bodies) if body.wire is None]
    parts = [struts]
    if drawn:
        lines = skeletons([bodies[k] for k in drawn])
        rod, body, _ = near_bodies(Rods(points, radii[:, None]), np.full(len(points), -1), lines, reach_mm=reach)
        parts.append(np.stack((np.array(drawn)[body], owner[rod] + n), axis=1))
    if other:
        boxes = [(p.min(axis=0), p.max(axis=0)) for p in (bodies[k].points() for k in other)]
        rod, body = boxes_meet(
            low - reach, high + reach, np.array([b[0] for b in boxes]), np.array([b[1] for b in boxes])
        )
        parts.append(np.stack((np.array(other)[body], owner[rod] + n), axis=1))
    return np.asarray(np.unique(np.concatenate(parts), axis=0))
