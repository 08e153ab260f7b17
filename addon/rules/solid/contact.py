"""Where two posed meshes are nearest, for many pairs of them: the nearest triangles, or which one is buried."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..base.progress import Steps, part
from .containment import in_metal
from .hierarchy import block_size, blocks, levels_for
from .mesh import FloatArray, IntArray, Mesh, Pose
from .nearest import Sets, nearest
from .prepared import GROUP, Prepared, groups_near, rough_gap

# What is nearer than this share of the coordinates touches: rounding alone moves points so far.
TOUCHING = 1e-12
# Coarsest blocks of one set of triangles at most, and triangles searched together at least.
_COARSEST = 32
_TOGETHER = 60_000
# Share of the work that goes into cutting a pair down.
_PART = 0.3


@dataclass(frozen=True, slots=True, eq=False)
class PosedPair:
    """Two posed meshes. They are seen from the origin of ``pose_a``, so that a far place costs no digits."""

    a: Prepared
    pose_a: Pose
    b: Prepared
    pose_b: Pose

    def points(self) -> tuple[FloatArray, FloatArray]:
        """Give the points of both, (3, n) and (3, m), coordinate first."""
        return self.of_a(self.a.points), self.of_b(self.b.points)

    def of_a(self, points: FloatArray) -> FloatArray:
        """Carry points (3, n) of the one mesh to where it stands."""
        return _turned(self.pose_a.rotation, points)

    def of_b(self, points: FloatArray) -> FloatArray:
        """Carry points (3, n) of the other mesh to where it stands."""
        shift = self.pose_b.origin - self.pose_a.origin
        turned = _turned(self.pose_b.rotation, points)
        return turned + shift[:, None] if shift.any() else turned

    def touching_mm(self) -> float:
        """Give the distance below which rounding decides."""
        far = float(np.abs(self.pose_b.origin - self.pose_a.origin).max())
        return TOUCHING * (far + self.a.reach_mm + self.b.reach_mm)


@dataclass(frozen=True, slots=True, eq=False)
class Contact:
    """The nearest triangles of a pair, -1 when none is in range, or ``buried``: "a" in b's metal or "b" in a's."""

    triangle_a: int = -1
    triangle_b: int = -1
    buried: str = ""

    def exchanged(self) -> "Contact":
        """Give the same with a and b exchanged."""
        return Contact(self.triangle_b, self.triangle_a, {"a": "b", "b": "a"}.get(self.buried, ""))


@dataclass(frozen=True, slots=True, eq=False)
class _Near:
    """What of a pair can be nearest: for both meshes the corners (3, 3, t) and numbers (t,); an upper bound."""

    pair: int
    corners: tuple[FloatArray, FloatArray]
    numbers: tuple[IntArray, IntArray]
    upper_mm: float

    def triangles(self) -> int:
        return max(len(self.numbers[0]), len(self.numbers[1]))


def contacts(pairs: Sequence[PosedPair], range_mm: float) -> Steps[list[Contact]]:
    """Find where every pair is nearest, if nearer than ``range_mm``, and which are buried one in the other's metal."""
    found = [Contact()] * len(pairs)
    gap = np.full(len(pairs), np.inf)
    batch: list[_Near] = []
    done, held = 0.0, 0
    for i, pair in enumerate(pairs):
        near = _near_parts(i, pair, range_mm)
        done += _PART / len(pairs)
        yield done
        if near is not None and batch and _levels(near) != _levels(batch[0]):
            yield from part(_search(batch, found, gap), done, i / len(pairs))
            batch, held, done = [], 0, i / len(pairs)
        if near is not None:
            batch.append(near)
            held += near.triangles()
        if batch and (i == len(pairs) - 1 or held >= _TOGETHER):
            yield from part(_search(batch, found, gap), done, (i + 1) / len(pairs))
            batch, held, done = [], 0, (i + 1) / len(pairs)
    for i, pair in enumerate(pairs):
        if gap[i] > pair.touching_mm():
            buried = yield from part(_buried(pair), 1.0, 1.0)
            if buried:
                found[i] = Contact(buried=buried)
            yield 1.0
    return found


def _near_parts(number: int, pair: PosedPair, range_mm: float) -> _Near | None:
    """Cut both meshes down to what can be nearest; None when nothing is in range."""
    points_a, points_b = pair.points()
    # Something must stay below the upper bound, also after rounding.
    upper = min(range_mm, rough_gap(points_a, points_b) * (1.0 + 1e-9)) + 2.0 * pair.touching_mm()
    axes_a, axes_b = _unit(pair.pose_a.rotation @ pair.a.axes), _unit(pair.pose_b.rotation @ pair.b.axes)
    groups_a = groups_near(pair.a, points_a, points_b, axes_b, upper)
    groups_b = groups_near(pair.b, points_b, points_a, axes_a, upper)
    if len(groups_a) == 0 or len(groups_b) == 0:
        return None
    rows_a, rows_b = _rows(groups_a), _rows(groups_b)
    corners_a = points_a.take(pair.a.corners.take(rows_a, axis=1), axis=1).swapaxes(0, 1)
    corners_b = points_b.take(pair.b.corners.take(rows_b, axis=1), axis=1).swapaxes(0, 1)
    return _Near(number, (corners_a, corners_b), (pair.a.numbers[rows_a], pair.b.numbers[rows_b]), upper)


def _search(batch: list[_Near], found: list[Contact], gap: FloatArray) -> Steps[None]:
    """Search some pairs together and write down what they find."""
    levels = _levels(batch[0])
    size = block_size(levels - 1)
    parts = [(near.corners[side], near.numbers[side]) for near in batch for side in (0, 1)]
    ends = np.cumsum([-(-len(numbers) // size) for _, numbers in parts])
    begins = np.concatenate(([0], ends[:-1]))
    corners = np.empty((3, 3, int(ends[-1]) * size))
    numbers = np.empty(corners.shape[2], dtype=np.int64)
    real = np.zeros(len(numbers), dtype=np.bool_)
    for (of_part, number), begin, end in zip(parts, begins * size, ends * size, strict=True):
        filled = begin + len(number)
        corners[..., begin:filled] = of_part
        corners[..., filled:end] = of_part[..., -1:]
        numbers[begin:filled], numbers[filled:end] = number, number[-1]
        real[begin:filled] = True
    tree = yield from part(blocks(corners, real, levels), 0.0, 0.2)
    sets = Sets(begins[0::2], ends[0::2], begins[1::2], ends[1::2])
    best = yield from part(nearest(tree, sets, np.array([near.upper_mm for near in batch])), 0.2, 1.0)
    for i, near in enumerate(batch):
        if best.triangle_a[i] >= 0:
            found[near.pair] = Contact(int(numbers[best.triangle_a[i]]), int(numbers[best.triangle_b[i]]))
            gap[near.pair] = best.gap_mm[i]


def _buried(pair: PosedPair) -> Steps[str]:
    """Tell which mesh lies in the other's metal, given that their surfaces stay apart: one point of it decides."""
    points = pair.points()
    low, high = [p.min(axis=1) for p in points], [p.max(axis=1) for p in points]
    meshes = (pair.a.mesh, pair.b.mesh)
    for inner, outer, name in ((0, 1, "a"), (1, 0, "b")):
        if (low[inner] >= low[outer]).all() and (high[inner] <= high[outer]).all():
            place = points[inner][:, meshes[inner].triangles[0, 0]]
            inside = yield from in_metal(Mesh(points[outer].T, meshes[outer].triangles), place)
            if inside:
                return name
    return ""


def _levels(near: _Near) -> int:
    return levels_for(near.triangles(), _COARSEST)


def _rows(groups: IntArray) -> IntArray:
    return (groups[:, None] * GROUP + np.arange(GROUP)).reshape(-1)


def _turned(rotation: FloatArray, points: FloatArray) -> FloatArray:
    return points if np.array_equal(rotation, np.eye(3)) else rotation @ points


def _unit(axes: FloatArray) -> FloatArray:
    unit: FloatArray = axes / np.linalg.norm(axes, axis=0)
    return unit
