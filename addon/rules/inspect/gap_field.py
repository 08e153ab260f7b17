"""The local gap: for every point of every body, how far the nearest other body is. What colours a model by its gaps."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..base.errors import BadInput
from ..base.progress import Steps, part
from ..solid.candidates import same_questions
from ..solid.contact import TOUCHING
from ..solid.distance import GapTable, gaps
from ..solid.mesh import Body, FloatArray, IntArray, Mesh, Pose, rigid
from ..solid.metal import in_metal_of
from ..solid.surface import Surface, nearest_on, surface_of


@dataclass(frozen=True, slots=True, eq=False)
class GapField:
    """The gap at every point of every body, in the order of the bodies.

    ``gap_mm``: for each body one distance for every point of its mesh, (points,): to the nearest other body, 0 in
    another's metal, infinite beyond the range. ``nearest`` (points,): the number of that body, -1 where there is none.
    Bodies that ask the same of their neighbours share one array of gaps: nobody may write into it.
    """

    gap_mm: tuple[FloatArray, ...]
    nearest: tuple[IntArray, ...]


@dataclass(frozen=True, slots=True, eq=False)
class _Near:
    """The points of one body near another: ``point`` (k,) their numbers, ``gap_mm`` (k,)."""

    point: IntArray
    gap_mm: FloatArray


@dataclass(frozen=True, slots=True)
class _Neighbour:
    """What a body asks: the number of the question, from which side of it, and the other body's number."""

    question: int
    side: int
    body: int


def gap_field(bodies: Sequence[Body], *, range_mm: float, table: GapTable | None = None) -> Steps[GapField]:
    """Measure the gap at every point of every body, as far as it is below ``range_mm``.

    ``table``: the pairs of bodies nearer than that (or than something more), from `gaps`, where they are known. Equal
    meshes in equal relative poses are measured once. Raises BadInput for a range that is not a number of at least 0.
    """
    if not range_mm >= 0.0:
        raise BadInput(f"local gaps: a range of {range_mm:g} mm does not work; give a number of at least 0")
    begin = 0.0
    if table is None:
        begin = 0.4
        table = yield from part(gaps(bodies, range_mm=range_mm), 0.0, begin)
    listed = np.flatnonzero((table.gap_mm < range_mm) | (table.gap_mm == 0.0))
    pairs = np.stack((table.a[listed], table.b[listed]), axis=1)
    stand: list[Body] = []
    reach: list[float] = []
    for body in bodies:
        stand.append(rigid(body))
        reach.append(float(np.abs(stand[-1].mesh.points).max()))
        yield begin
    mesh_of = _numbers([body.mesh for body in stand])
    asked, question, exchanged = same_questions(
        mesh_of,
        np.array([body.pose.rotation for body in stand]).reshape(-1, 3, 3),
        np.array([body.pose.origin for body in stand]).reshape(-1, 3),
        np.array(reach),
        pairs,
    )
    gap_mm = table.gap_mm[listed[asked]]
    answers = yield from part(_answers(stand, mesh_of, pairs[asked], gap_mm, range_mm), begin, 0.95)
    neighbours: list[list[_Neighbour]] = [[] for _ in bodies]
    for (a, b), number, turned in zip(pairs.tolist(), question.tolist(), exchanged.tolist(), strict=True):
        neighbours[a].append(_Neighbour(number, int(turned), b))
        neighbours[b].append(_Neighbour(number, 1 - int(turned), a))
    return (yield from part(_gathered(stand, mesh_of, neighbours, answers), 0.95, 1.0))


def _numbers(meshes: Sequence[Mesh]) -> IntArray:
    """Give every mesh a number, the same for the same mesh."""
    numbers: dict[int, int] = {}
    return np.array([numbers.setdefault(id(mesh), len(numbers)) for mesh in meshes], dtype=np.int64)


def _answers(
    bodies: Sequence[Body], mesh_of: IntArray, pairs: IntArray, gap_mm: FloatArray, range_mm: float
) -> Steps[list[tuple[_Near, _Near]]]:
    """Measure every pair (p, 2) both ways: the points of a near b, then those of b near a.

    A surface made ready is kept until the last pair that needs it. Pairs run in the order of the bodies, since those
    with near numbers mostly lie near each other: so few surfaces are held at a time.
    """
    order = np.lexsort((pairs[:, 1], pairs[:, 0]))
    last = {int(mesh_of[body]): done for done, row in enumerate(order) for body in pairs[row]}
    ready: dict[int, Surface] = {}
    answers: dict[int, tuple[_Near, _Near]] = {}
    for done, row in enumerate(order):
        here: list[_Near] = []
        for side, (mine, other) in enumerate((pairs[row], pairs[row][::-1])):
            steps = _near_points(bodies[mine], bodies[other], int(mesh_of[other]), ready, float(gap_mm[row]), range_mm)
            share = (done + 0.5 * side) / len(order)
            here.append((yield from part(steps, share, share + 0.5 / len(order))))
        answers[int(row)] = (here[0], here[1])
        for body in pairs[row]:
            if last[int(mesh_of[body])] == done:
                ready.pop(int(mesh_of[body]), None)
    return [answers[row] for row in range(len(pairs))]


def _near_points(
    mine: Body, other: Body, number: int, ready: dict[int, Surface], gap_mm: float, range_mm: float
) -> Steps[_Near]:
    """Find the points of one body near another's surface or in its metal; ``number`` is that of the other's mesh."""
    if number not in ready:
        ready[number] = yield from part(surface_of(other.mesh), 0.0, 0.3)
    surface = ready[number]
    back = other.pose.rotation.T
    apart = mine.pose.origin - other.pose.origin
    points = Pose(back @ mine.pose.rotation, back @ apart).apply(mine.mesh.points)
    found = yield from part(nearest_on(surface, points, range_mm), 0.3, 0.9)
    gap = found.distance_mm
    if gap_mm == 0.0:
        reach = float(np.abs(apart).max() + np.abs(mine.mesh.points).max() + np.abs(other.mesh.points).max())
        gap = np.where(gap > TOUCHING * reach, gap, 0.0)
        buried = yield from part(in_metal_of(other.mesh, surface, points), 0.9, 1.0)
        gap[buried] = 0.0
    near = np.flatnonzero(gap < np.inf)
    return _Near(near, gap[near])


def _gathered(
    bodies: Sequence[Body],
    mesh_of: IntArray,
    neighbours: Sequence[list[_Neighbour]],
    answers: Sequence[tuple[_Near, _Near]],
) -> Steps[GapField]:
    """Take the smallest gap of every point over the neighbours of its body."""
    known: dict[tuple[int, ...], tuple[FloatArray, IntArray]] = {}
    gap_mm, nearest = [], []
    for body, number, around in zip(bodies, mesh_of.tolist(), neighbours, strict=True):
        ordered = sorted(around, key=lambda n: (n.question, n.side, n.body))
        asks = (number, *(2 * n.question + n.side for n in ordered))
        if asks not in known:
            known[asks] = _smallest(len(body.mesh.points), [answers[n.question][n.side] for n in ordered])
        gap, which = known[asks]
        gap_mm.append(gap)
        nearest.append(np.array([*(n.body for n in ordered), -1], dtype=np.int64)[which])
        yield len(gap_mm) / len(bodies)
    return GapField(tuple(gap_mm), tuple(nearest))


def _smallest(points: int, answers: Sequence[_Near]) -> tuple[FloatArray, IntArray]:
    """Give the smallest gap of every point and which answer has it, -1 where none has."""
    gap = np.full(points, np.inf)
    which = np.full(points, -1, dtype=np.int64)
    for number, near in enumerate(answers):
        nearer = near.gap_mm < gap[near.point]
        point = near.point[nearer]
        gap[point] = near.gap_mm[nearer]
        which[point] = number
    gap.flags.writeable = False
    return gap, which
