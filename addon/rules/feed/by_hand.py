"""What the maker did by hand: gates kept as they are, gates wanted at a place, gates taken away.

Places are kept in the link's own coordinates, so that they go where the link goes.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from ..solid.mesh import Body, FloatArray
from .anchors import Anchors
from .gates import Gate
from .lattice import Lattice, LatticeSolid
from .piercing import pierced
from .spec import FeedSpec, GatePlace, PinnedGate
from .tries import Feed

# A foot this near to the feed ring stands on it.
ON_RING_MM = 1e-6
# A gate that ends within this distance of a place is the one meant.
MEANT_MM = 1.0
# A gate holds a starting place of the print from this many half thicknesses of its metal away.
HOLDS = 2.0
STRAIGHT = 1e-9
LEAST_MM = 0.05
UP = np.array([0.0, 0.0, 1.0])


def kept(pinned: Sequence[PinnedGate], bodies: Sequence[Body], feed: Feed, view: FloatArray) -> list[Gate]:
    """Give the pinned gates of one feed ring where their links stand, seen in ``view`` (3,): mirrored in z or not.

    A foot goes with the ring where the ring has moved; pins of links that are not there are passed over, and those of
    links that stand over other turns: see `wanted_places`.
    """
    number = {body.name: k for k, body in enumerate(bodies)}
    found = []
    for pin in pinned:
        if pin.above != feed.above or pin.body not in number:
            continue
        k = number[pin.body]
        if feed.course.over[k]:
            continue
        points = bodies[k].pose.apply(np.array(pin.points)) * view
        points = _on_ring(points, feed, float(feed.course.at_mm[k]))
        clear = float(np.linalg.norm(np.diff(points[:4], axis=0), axis=1).sum()) - feed.d_mm / 2
        found.append(Gate(k, points, pin.shaft_mm, pin.tip_mm, clear, np.inf, np.nan, 1))
    return found


def wanted_places(spec: FeedSpec, bodies: Sequence[Body], over: npt.NDArray[np.bool_]) -> list[GatePlace]:
    """Give the places that gates are led to: those asked for, and where a pinned gate enters a link that is ``over``.

    A column under such a gate is planned with it, so its place is kept, not its shaft.
    """
    above = {body.name for body, shaded in zip(bodies, over, strict=True) if shaded}
    pinned = [GatePlace(pin.body, pin.points[-1], pin.above) for pin in spec.pinned if pin.body in above]
    return [*spec.wanted, *pinned]


def _on_ring(points: FloatArray, feed: Feed, near_mm: float) -> FloatArray:
    """Stand the foot of a gate (5, 3) on its ring."""
    walked = feed.course.nearest(points[:1], np.array([near_mm]))
    foot = feed.course.at(walked)[0]
    if np.linalg.norm(foot - points[0]) <= ON_RING_MM:
        return points
    first, last = points[1] - points[0], points[2] - points[1]
    straight = np.linalg.norm(np.cross(first, last)) <= STRAIGHT
    knee = (foot + points[2]) / 2 if straight or points[1, 2] < foot[2] + LEAST_MM else points[1]
    return np.concatenate((foot[None], knee[None], points[2:]))


def anchor_at(body: Body, at: FloatArray, view: FloatArray) -> Anchors | None:
    """Give the anchor point of a body nearest to a place (3,) in its own coordinates, seen in ``view`` (3,).

    On a mesh that we did not draw: in the middle of the metal above or below the place; None where there is none.
    """
    goal = body.pose.apply(at) * view
    if body.wire is not None:
        line = body.pose.apply(body.wire.centreline) * view
        step = np.roll(line, -1, axis=0) - line
        k = int(np.linalg.norm(line - goal, axis=1).argmin())
        along = step[k] + step[k - 1]
        along /= np.linalg.norm(along)
        arc = float(np.linalg.norm(step[:k], axis=1).sum())
        r = body.wire.radius_mm
        lowest = line[k, 2] - r * np.sqrt(max(0.0, 1.0 - along[2] ** 2))
        return _one(line[k], along, lowest, r, arc)
    points = body.points() * view
    triangles = body.mesh.triangles if view[2] > 0 else body.mesh.triangles[:, ::-1]
    start = np.array([goal[0], goal[1], points[:, 2].min() - 1.0])
    # A little towards the middle, so that the line upwards meets faces and not just a corner or an edge.
    start[:2] += 1e-4 * (points.mean(axis=0)[:2] - start[:2])
    cuts = pierced(points[triangles], start, UP)
    cuts = cuts[: len(cuts) // 2 * 2].reshape(-1, 2)
    if not len(cuts):
        return None
    heights = cuts + start[2]
    away = np.maximum(np.maximum(heights[:, 0] - goal[2], goal[2] - heights[:, 1]), 0.0)
    low, high = cuts[int(away.argmin())]
    middle = start + (low + high) / 2 * UP
    return _one(middle, np.zeros(3), middle[2] - (high - low) / 2, (high - low) / 2, 0.0)


def _one(point: FloatArray, along: FloatArray, lowest: float, half: float, arc: float) -> Anchors:
    return Anchors(point[None], along[None], np.array([lowest]), np.array([half]), np.array([arc]), 1)


def holds(gate_end: FloatArray, found: Anchors, row: int) -> bool:
    """Tell whether a gate that ends at a place (3,) holds the start of a print at an anchor."""
    reach = HOLDS * float(found.half_mm[row])
    return bool(np.linalg.norm(found.points[row] - gate_end) <= max(reach, MEANT_MM))


def without(lattice: Lattice, removed: Sequence[GatePlace], bodies: Sequence[Body]) -> Lattice:
    """Take away the gates that end at the places the maker cleared."""
    where: dict[tuple[str, bool], list[FloatArray]] = {}
    poses = {body.name: body.pose for body in bodies}
    for one in removed:
        if one.body in poses:
            where.setdefault((one.body, one.above), []).append(poses[one.body].apply(np.array(one.at)))

    def meant(solid: LatticeSolid) -> bool:
        if solid.feeds is None:
            return False
        end = np.array(solid.struts[-1].end)
        places = where.get((solid.feeds, solid.above), [])
        return any(float(np.linalg.norm(end - p)) <= MEANT_MM for p in places)

    return replace(lattice, solids=tuple(s for s in lattice.solids if not meant(s))) if where else lattice
