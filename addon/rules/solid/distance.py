"""The exact gap between bodies: the smallest distance of their surfaces, and where it is.

Triangle to triangle in float64. Bodies that touch, cross or lie one in the other's metal have gap 0; a body in the
other's cavity has the gap to the cavity's wall. Neither order nor place nor direction of the bodies plays a part.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..base.errors import BadInput
from ..base.progress import Steps, finish, part
from .candidates import boxes_near, near_boxes, same_questions
from .contact import Contact, PosedPair, contacts
from .mesh import Body, FloatArray, IntArray, Mesh, Pose
from .prepared import Prepared, prepare, preparing
from .triangle_pairs import closest_points

# Pairs measured between two looks at the clock.
_MEASURED = 512

__all__ = ["GapTable", "PairGap", "Prepared", "gaps", "pair_gap", "prepare"]


@dataclass(frozen=True, slots=True, eq=False)
class GapTable:
    """Pairs of bodies that come near each other, sorted by (a, b).

    ``a`` and ``b`` (p,) numbers of the bodies, a < b; ``gap_mm`` (p,), 0 where they touch, cross or are buried;
    ``point_a`` and ``point_b`` (p, 3): where, on either body, in the world. A buried body shows one of its own points.
    """

    a: IntArray
    b: IntArray
    gap_mm: FloatArray
    point_a: FloatArray
    point_b: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class PairGap:
    """The gap of one pair in mm and its two places (3,); infinite with no places (nan) beyond the range."""

    gap_mm: float
    point_a: FloatArray
    point_b: FloatArray


def gaps(bodies: Sequence[Body], *, range_mm: float, pairs: IntArray | None = None) -> Steps[GapTable]:
    """Find every pair of bodies nearer than ``range_mm``, with its gap; fused pairs whatever the range.

    ``pairs`` (p, 2) restricts the search to some pairs, in any order. Raises BadInput for a range that is not a
    number of at least 0 and for pairs that name bodies that are not there.
    """
    if not range_mm >= 0.0:
        raise BadInput(f"search range: {range_mm:g} mm does not work; give a number of at least 0")
    wanted = None if pairs is None else _checked(pairs, len(bodies))
    meshes, mesh_of = _different_meshes(bodies)
    rotations = np.array([body.pose.rotation for body in bodies], dtype=np.float64).reshape(-1, 3, 3)
    origins = np.array([body.pose.origin for body in bodies], dtype=np.float64).reshape(-1, 3)
    low, high = np.zeros((len(bodies), 3)), np.zeros((len(bodies), 3))
    for i, body in enumerate(bodies):
        points = body.points()
        low[i], high[i] = points.min(axis=0), points.max(axis=0)
        yield 0.05 * i / len(bodies)
    if wanted is None:
        wanted = yield from part(near_boxes(low, high, range_mm), 0.05, 0.05)
    else:
        wanted = wanted[boxes_near(low, high, wanted, range_mm)]
    if len(wanted) == 0:
        return _table(wanted, np.zeros(0), np.zeros((0, 3)), np.zeros((0, 3)))
    reach = np.array([float(np.abs(mesh.points).max()) for mesh in meshes])[mesh_of]
    asked, question, exchanged = same_questions(mesh_of, rotations, origins, reach, wanted)

    ready: dict[int, Prepared] = {}
    used = np.unique(mesh_of[wanted[asked]])
    for i, number in enumerate(used):
        ready[int(number)] = yield from part(
            preparing(meshes[number]), 0.05 + 0.25 * i / len(used), 0.05 + 0.25 * (i + 1) / len(used)
        )

    def posed(pairs: IntArray) -> list[PosedPair]:
        return [
            PosedPair(ready[int(mesh_of[a])], bodies[a].pose, ready[int(mesh_of[b])], bodies[b].pose) for a, b in pairs
        ]

    found = yield from part(contacts(posed(wanted[asked]), range_mm), 0.3, 0.95)
    gap = np.empty(len(wanted))
    point_a, point_b = np.empty((len(wanted), 3)), np.empty((len(wanted), 3))
    for begin in range(0, len(wanted), _MEASURED):
        here = slice(begin, begin + _MEASURED)
        told = [
            found[number].exchanged() if turned else found[number]
            for number, turned in zip(question[here], exchanged[here], strict=True)
        ]
        gap[here], point_a[here], point_b[here] = _measured(posed(wanted[here]), told, range_mm)
        yield 0.95 + 0.05 * begin / len(wanted)
    return _table(wanted, gap, point_a, point_b)


def pair_gap(prep_a: Prepared, pose_a: Pose, prep_b: Prepared, pose_b: Pose, *, range_mm: float = math.inf) -> PairGap:
    """Find the gap of two posed meshes, if nearer than ``range_mm`` or fused. Made for being asked again and again."""
    pair = PosedPair(prep_a, pose_a, prep_b, pose_b)
    gap, point_a, point_b = _measured([pair], finish(contacts([pair], range_mm)), range_mm)
    return PairGap(float(gap[0]), point_a[0], point_b[0])


def _measured(
    pairs: Sequence[PosedPair], found: Sequence[Contact], range_mm: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Measure every contact where its own pair stands: gaps (p,), infinite out of range; places (p, 3)."""
    gap = np.full(len(pairs), np.inf)
    point_a, point_b = np.full((len(pairs), 3), np.nan), np.full((len(pairs), 3), np.nan)
    met = [i for i, contact in enumerate(found) if contact.triangle_a >= 0 and not contact.buried]
    corners_a = np.empty((len(met), 3, 3))
    corners_b = np.empty((len(met), 3, 3))
    for row, i in enumerate(met):
        corners_a[row] = pairs[i].of_a(pairs[i].a.points[:, pairs[i].a.mesh.triangles[found[i].triangle_a]]).T
        corners_b[row] = pairs[i].of_b(pairs[i].b.points[:, pairs[i].b.mesh.triangles[found[i].triangle_b]]).T
    exact, on_a, on_b = closest_points(corners_a, corners_b)
    touching = np.array([pairs[i].touching_mm() for i in met])
    exact = np.where(exact > touching, exact, 0.0)
    origins = np.array([pairs[i].pose_a.origin for i in met]).reshape(-1, 3)
    near = (exact == 0.0) | (exact < range_mm)
    kept = np.array(met, dtype=np.int64)[near]
    gap[kept], point_a[kept], point_b[kept] = exact[near], (on_a + origins)[near], (on_b + origins)[near]
    for i, (pair, contact) in enumerate(zip(pairs, found, strict=True)):
        if contact.buried:
            mesh, pose = (pair.a.mesh, pair.pose_a) if contact.buried == "a" else (pair.b.mesh, pair.pose_b)
            gap[i], point_a[i] = 0.0, pose.apply(mesh.points[mesh.triangles[0, 0]])
            point_b[i] = point_a[i]
    return gap, point_a, point_b


def _table(pairs: IntArray, gap_mm: FloatArray, point_a: FloatArray, point_b: FloatArray) -> GapTable:
    near = gap_mm < np.inf
    return GapTable(pairs[near, 0], pairs[near, 1], gap_mm[near], point_a[near], point_b[near])


def _checked(pairs: IntArray, bodies: int) -> IntArray:
    """Put each pair once, the smaller number first, in order."""
    given = np.asarray(pairs, dtype=np.int64).reshape(-1, 2)
    if len(given) and (given.min() < 0 or given.max() >= bodies or (given[:, 0] == given[:, 1]).any()):
        raise BadInput(f"pairs: each must name two different bodies by the numbers 0 to {bodies - 1}")
    return np.unique(np.sort(given, axis=1), axis=0)


def _different_meshes(bodies: Sequence[Body]) -> tuple[list[Mesh], IntArray]:
    """Give the meshes that occur, each once, and the number of every body's mesh."""
    meshes: dict[int, Mesh] = {}
    numbers: dict[int, int] = {}
    for body in bodies:
        if id(body.mesh) not in numbers:
            numbers[id(body.mesh)] = len(meshes)
            meshes[len(meshes)] = body.mesh
    return list(meshes.values()), np.array([numbers[id(body.mesh)] for body in bodies], dtype=np.int64)
