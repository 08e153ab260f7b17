"""How far metal runs in a body from its nearest gate, against the feed distance.

A section feeds only so far before it freezes: 7 x its thickness or more, by alloy, our judgement; the freeze network
has the last word.
"""

from collections.abc import Mapping, Sequence

import numpy as np

from ..base.profile import Profile
from ..inspect.finding import Finding
from ..solid.mesh import Body, FloatArray
from .lattice import Lattice, Place, Strut, place

# The thickness that bodies are judged by, in mm: one for all, or one for each by its name.
Thickness = float | Mapping[str, float]


def gates_of(bodies: tuple[Body, ...], lattice: Lattice) -> list[list[Strut]]:
    """Give the struts that feed each body."""
    number = {body.name: k for k, body in enumerate(bodies)}
    gates: list[list[Strut]] = [[] for _ in bodies]
    for strut in lattice.struts:
        if strut.feeds in number:
            gates[number[strut.feeds]].append(strut)
    return gates


def wire_of(thickness: Thickness, name: str) -> float:
    """Give the thickness of a body."""
    return thickness[name] if isinstance(thickness, Mapping) else thickness


def feed_distance_mm(body: Body, profile: Profile, wire_mm: Thickness) -> float:
    """Give how far metal may run in a body: the maker's own figure, else by its wire, ``wire_mm`` on a foreign mesh."""
    if profile.feed_distance_mm is not None:
        return profile.feed_distance_mm
    return profile.feed_wires * (2 * body.wire.radius_mm if body.wire is not None else wire_of(wire_mm, body.name))


def supports(
    bodies: tuple[Body, ...], lattice: Lattice, profile: Profile, wire_mm: Thickness, thin: Sequence[int]
) -> frozenset[int]:
    """Tell which of the ``thin`` gates, by their numbers among the lattice's solids, only hold their body up.

    Its other gates feed all of it, so it is no matter that these freeze early.
    """
    ends: dict[str, list[Place]] = {}
    for k, solid in enumerate(lattice.solids):
        if solid.feeds is not None and k not in thin:
            ends.setdefault(solid.feeds, []).append(solid.struts[-1].end)
    fed = {
        body.name
        for body in bodies
        if body.name in ends
        and farthest(body, np.array(ends[body.name]))[0] <= feed_distance_mm(body, profile, wire_mm) + 1e-9
    }
    return frozenset(k for k in thin if lattice.solids[k].feeds in fed)


def reach_findings(
    bodies: tuple[Body, ...], gates: list[list[Strut]], profile: Profile, wire_mm: Thickness
) -> list[Finding]:
    """Find the bodies with a point further along the metal from its nearest gate than the feed distance."""
    far: list[tuple[float, float, str, FloatArray]] = []
    for body, own in zip(bodies, gates, strict=True):
        if not own:
            continue
        limit = feed_distance_mm(body, profile, wire_mm)
        reach, at = farthest(body, np.array([gate.end for gate in own]))
        if reach > limit + 1e-9:
            far.append((reach, limit, body.name, at))
    if not far:
        return []
    reach, limit, name, at = max(far, key=lambda row: row[0] / row[1])
    others = f" (and {len(far) - 1} more, less so)" if len(far) > 1 else ""
    return [
        Finding(
            "feed-far",
            "warn",
            tuple(row[2] for row in far),
            f"{name}{others} reaches {reach:.1f} mm from its nearest gate, {limit:.1f} mm is the feed distance; give "
            "it a further gate or the job an upper ring, or make it shorter or thicker",
            at=place(at),
            value=reach,
            limit=limit,
        )
    ]


def farthest(body: Body, ends: FloatArray) -> tuple[float, FloatArray]:
    """Give how far a body's farthest point lies from its nearest gate's end (k, 3), and where it is."""
    points, away = walked(body, ends)
    nearest = away.min(axis=1)
    worst = int(nearest.argmax())
    return float(nearest[worst]), points[worst]


def walked(body: Body, places: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Give how far each point of a body's metal (n, 3) lies from each of some places (k, 3) in it, as (n, k), mm.

    Along the wire where there is one, both ways round; straight on a mesh not ours.
    """
    if body.wire is None:
        points = body.points()
        return points, np.asarray(np.linalg.norm(points[:, None] - places[None], axis=2))
    line = body.pose.apply(body.wire.centreline)
    step = np.linalg.norm(np.roll(line, -1, axis=0) - line, axis=1)
    arc, whole = np.concatenate(([0.0], np.cumsum(step)[:-1])), float(step.sum())
    roots = arc[np.linalg.norm(line[None] - places[:, None], axis=2).argmin(axis=1)]
    away = np.abs(arc[:, None] - roots[None])
    return line, np.minimum(away, whole - away)
