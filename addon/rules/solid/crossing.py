"""How deep fused bodies reach into each other, and where.

The depth is that of the deepest place of either surface in the other's metal. Solids that cross without being the same
always have such a place; for two of the same solid on one place the metal under the largest face speaks instead.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..base.errors import BadInput
from ..base.progress import Steps, part
from .candidates import same_questions
from .contact import Contact, PosedPair, contacts
from .deepest import Deepest, deepest
from .mesh import Body, FloatArray, IntArray, Mesh, Pose, rigid
from .metal import in_metal_of
from .prepared import Prepared, preparing
from .surface import Surface, nearest_on, surface_of
from .triangle_pairs import closest_points, cross, dot

__all__ = ["WITHIN_MM", "WITHIN_SHARE", "Crossing", "crossings"]

# A depth is told to whichever of these is more.
WITHIN_MM = 0.001
WITHIN_SHARE = 0.001


@dataclass(frozen=True, slots=True, eq=False)
class Crossing:
    """How two fused bodies meet.

    ``depth_mm``: how deep the surface of one lies in the other's metal at the deepest place, to `WITHIN_MM` or
    `WITHIN_SHARE`, 0 where they only touch; ``at`` (3,): that place in the world, or a place of contact. ``buried``:
    one lies in the other's metal whole, or both are the same solid.

    An open surface bounds no metal, so nothing is deep in it.
    """

    depth_mm: float
    at: FloatArray
    buried: bool


def crossings(bodies: Sequence[Body], pairs: IntArray) -> Steps[tuple[Crossing, ...]]:
    """Measure pairs (p, 2) of bodies whose gap is 0, in their order. Equal relative poses are measured once.

    Raises BadInput for pairs that name bodies that are not there, and for a pair that keeps a gap.
    """
    asked_for = np.asarray(pairs, dtype=np.int64).reshape(-1, 2)
    if len(asked_for) == 0:
        return ()
    if asked_for.min() < 0 or asked_for.max() >= len(bodies) or (asked_for[:, 0] == asked_for[:, 1]).any():
        raise BadInput(f"pairs: each must name two different bodies by the numbers 0 to {len(bodies) - 1}")
    standing = {int(number): rigid(bodies[number]) for number in np.unique(asked_for)}
    numbers = {number: row for row, number in enumerate(standing)}
    stand = list(standing.values())
    seen = np.array([numbers[int(number)] for number in asked_for.ravel()], dtype=np.int64).reshape(-1, 2)
    mesh_numbers: dict[int, int] = {}
    mesh_of = np.array([mesh_numbers.setdefault(id(body.mesh), len(mesh_numbers)) for body in stand], dtype=np.int64)
    asked, question, exchanged = same_questions(
        mesh_of,
        np.array([body.pose.rotation for body in stand]),
        np.array([body.pose.origin for body in stand]),
        np.array([float(np.abs(body.mesh.points).max()) for body in stand]),
        seen,
    )
    yield 0.0
    answers = []
    ready = _Ready(seen[asked], mesh_of)
    for done, (a, b) in enumerate(seen[asked].tolist()):
        steps = _crossing(stand, (a, b), ready)
        answers.append((yield from part(steps, done / len(asked), (done + 1) / len(asked))))
        ready.forget(done)
    told = []
    for (a, b), number, turned in zip(seen.tolist(), question.tolist(), exchanged.tolist(), strict=True):
        answer = answers[number]
        first = stand[b] if turned else stand[a]
        told.append(Crossing(answer.depth_mm, first.pose.apply(answer.at), answer.buried))
    return tuple(told)


class _Ready:
    """Meshes made ready, each once, and kept until the last question that needs it."""

    def __init__(self, questions: IntArray, mesh_of: IntArray) -> None:
        self.mesh_of = mesh_of
        self.last = {int(mesh_of[body]): done for done, pair in enumerate(questions) for body in pair}
        self.prepared: dict[int, Prepared] = {}
        self.surfaces: dict[int, Surface] = {}

    def of(self, number: int, mesh: Mesh) -> Steps[tuple[Prepared, Surface]]:
        """Make the mesh of body ``number`` ready."""
        key = int(self.mesh_of[number])
        if key not in self.prepared:
            self.prepared[key] = yield from part(preparing(mesh), 0.0, 0.5)
            self.surfaces[key] = yield from part(surface_of(mesh), 0.5, 1.0)
        return self.prepared[key], self.surfaces[key]

    def forget(self, done: int) -> None:
        """Drop what no question after ``done`` needs."""
        for key in [key for key in self.prepared if self.last[key] <= done]:
            del self.prepared[key], self.surfaces[key]


def _crossing(bodies: Sequence[Body], numbers: tuple[int, int], ready: _Ready) -> Steps[Crossing]:
    """Measure one pair; the place is told as the first of the two bodies sees it."""
    a, b = (bodies[number] for number in numbers)
    prepared_a, surface_a = yield from part(ready.of(numbers[0], a.mesh), 0.0, 0.1)
    prepared_b, surface_b = yield from part(ready.of(numbers[1], b.mesh), 0.1, 0.2)
    pair = PosedPair(prepared_a, a.pose, prepared_b, b.pose)
    (contact,) = yield from part(contacts([pair], 0.0), 0.2, 0.3)
    back = a.pose.rotation.T
    from_b = Pose(back @ b.pose.rotation, back @ (b.pose.origin - a.pose.origin))
    to_b = Pose(from_b.rotation.T, -from_b.rotation.T @ from_b.origin)
    shared: Deepest | None = None
    if not contact.buried and _same_box(a.mesh.points, from_b.apply(b.mesh.points)):
        shared = yield from part(_shared_metal(a.mesh, surface_a, b.mesh, surface_b, to_b), 0.3, 0.4)
    depth, at = (0.0, np.full(3, np.nan)) if shared is None else (shared.depth_mm, shared.at)
    if contact.buried != "b":
        mesh = Mesh(to_b.apply(a.mesh.points), a.mesh.triangles)
        found = yield from part(_deepest(mesh, b.mesh, surface_b, depth), 0.4, 0.7)
        if found.depth_mm > depth:
            depth, at = found.depth_mm, from_b.apply(found.at)
    if contact.buried != "a":
        mesh = Mesh(from_b.apply(b.mesh.points), b.mesh.triangles)
        found = yield from part(_deepest(mesh, a.mesh, surface_a, depth), 0.7, 1.0)
        if found.depth_mm > depth:
            depth, at = found.depth_mm, found.at
    if contact.buried or depth > pair.touching_mm():
        return Crossing(depth, at, bool(contact.buried) or shared is not None)
    touch = _touch(pair, contact)
    if touch is None:
        raise BadInput(f"pairs: {a.name} and {b.name} keep a gap; give only pairs whose gap is 0")
    return Crossing(0.0, back @ (touch - a.pose.origin), False)


def _deepest(mesh: Mesh, other: Mesh, surface: Surface, beyond_mm: float) -> Steps[Deepest]:
    return deepest(mesh, other, surface, beyond_mm=beyond_mm, within_mm=WITHIN_MM, within_share=WITHIN_SHARE)


def _touch(pair: PosedPair, contact: Contact) -> FloatArray | None:
    """Give a place in the world where two bodies touch, None where they keep a gap."""
    if contact.triangle_a < 0:
        return None
    of_a = pair.of_a(pair.a.points[:, pair.a.mesh.triangles[contact.triangle_a]])
    of_b = pair.of_b(pair.b.points[:, pair.b.mesh.triangles[contact.triangle_b]])
    gap, on_a, _ = closest_points(of_a.T[None], of_b.T[None])
    place: FloatArray = on_a[0] + pair.pose_a.origin
    return place if gap[0] <= pair.touching_mm() else None


def _same_box(points: FloatArray, others: FloatArray) -> bool:
    """Tell whether two sets of points fill the same box as nearly as depths are told."""
    ends = (points.min(axis=0) - others.min(axis=0), points.max(axis=0) - others.max(axis=0))
    return bool(np.abs(ends).max() <= 2 * WITHIN_MM)


def _shared_metal(a: Mesh, surface_a: Surface, b: Mesh, surface_b: Surface, to_b: Pose) -> Steps[Deepest | None]:
    """Look half through the metal under the largest face of a, where all points of either lie on the other's surface.

    Such surfaces are not deep in either metal, and yet the two may be the same solid: then that place is in both.
    None where it is not.
    """
    back = Pose(to_b.rotation.T, -to_b.rotation.T @ to_b.origin)
    for points, surface in ((to_b.apply(a.points), surface_b), (back.apply(b.points), surface_a)):
        found = yield from part(nearest_on(surface, points), 0.0, 0.5)
        if found.distance_mm.max() > WITHIN_MM:
            return None
    places = yield from part(_under_largest_face(surface_a), 0.5, 0.8)
    depth = np.full(len(places), np.inf)
    for mesh, surface, at in ((a, surface_a, places), (b, surface_b, to_b.apply(places))):
        inside = yield from part(in_metal_of(mesh, surface, at), 0.8, 1.0)
        found = yield from part(nearest_on(surface, at), 1.0, 1.0)
        depth = np.minimum(depth, np.where(inside, found.distance_mm, 0.0))
    if depth.max(initial=0.0) <= WITHIN_MM:
        return None
    most = int(depth.argmax())
    return Deepest(float(depth[most]), places[most])


def _under_largest_face(surface: Surface) -> Steps[FloatArray]:
    """Give the places (k, 3) halfway from the middle of the largest face to what is next straight below and above."""
    corners = surface.corners
    u, v = corners[1] - corners[0], corners[2] - corners[0]
    normal = cross(u, v)
    area = dot(normal, normal)
    yield 0.2
    largest = int(area.argmax())
    start = corners[..., largest].mean(axis=0)
    way = normal[:, largest] / np.sqrt(max(float(area[largest]), 1e-300))
    # How far along the way every plane is met, and where in its triangle, in shares of its two sides.
    slope = way @ normal
    yield 0.4
    from_start = start[:, None] - corners[0]
    far = -dot(from_start, normal) / np.where(slope == 0.0, 1.0, slope)
    met = from_start + way[:, None] * far
    yield 0.6
    divisor = np.where(area > 0.0, area, 1.0)
    p = dot(cross(met, v), normal) / divisor
    yield 0.8
    q = dot(cross(u, met), normal) / divisor
    hit = (slope != 0.0) & (area > 0.0) & (p >= 0.0) & (q >= 0.0) & (p + q <= 1.0) & (np.abs(far) > 2 * WITHIN_MM)
    ways = [far[hit & (far < 0.0)].max(initial=-np.inf), far[hit & (far > 0.0)].min(initial=np.inf)]
    places: FloatArray = start + np.array([way * (0.5 * reach) for reach in ways if np.isfinite(reach)]).reshape(-1, 3)
    return places
