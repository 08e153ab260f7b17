"""The gap between two meshes in many poses of one against the other: what fit and free play ask again and again.

All poses are searched together. Pairs of blocks of triangles whose lower bound is not below the smallest distance
found in their pose are dropped, what stays is split, four by four, down to pairs of triangles, and those are measured
exactly. So the answer is exact whatever the bounds are worth; they decide only how long it takes.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from .contact import TOUCHING
from .hierarchy import CENTRE, CHILDREN, NORMAL, PAIR, THICK
from .mesh import FloatArray, IntArray
from .posable import Posable, posable
from .rough_bounds import SLACK, Float32Array, disc_bounds, triangle_bounds
from .triangle_pairs import closest_points, squared_gaps

__all__ = ["Posable", "posable", "posed_bounds", "posed_gaps"]

# Poses searched together, and pairs of coarsest blocks.
POSES = 64
TOGETHER = 2_000_000
# Pairs worked on at a time, by kind of work: their arrays stay in a core's own cache.
SPLIT = 1024
SIFTED = 4096
MEASURED = 2048
# Most promising pairs of a pose followed down to get a small distance early.
STARTS = 3
# Where more finest pairs than so many are left, the most promising of every pose is measured before the rest.
MANY = 4096
# Rounding of squared distances taken as |p|^2 + |q|^2 - 2 pq, as a share of the largest square, with room to spare.
SQUARE_SLACK = np.float32(4e-6)

# Pairs of blocks or triangles: pose, number in a, number in b, (n,) each.
Pairs = tuple[IntArray, IntArray, IntArray]


@dataclass(frozen=True, slots=True, eq=False)
class _Poses:
    """The poses searched together: ``turn`` (3, 3, m), ``shift`` (3, m), and the same in single precision.

    ``touching_mm`` (m,): what is nearer touches. ``far_mm``: no point of either mesh stands farther from the origin.
    """

    turn: FloatArray
    shift: FloatArray
    turn32: Float32Array
    shift32: Float32Array
    touching_mm: FloatArray
    far_mm: np.float32

    @property
    def count(self) -> int:
        return self.shift.shape[1]

    def limit(self, gap_mm: FloatArray) -> Float32Array:
        """Raise distances (m,) so that no bound below one is lost to single precision."""
        return (gap_mm + SLACK * float(self.far_mm)).astype(np.float32)

    def directions(self, of_b: Float32Array) -> Float32Array:
        """Turn directions (3, k) of b into every pose: (3, m * k)."""
        turned: Float32Array = self.turn32.transpose(0, 2, 1).reshape(-1, 3) @ of_b
        return turned.reshape(3, -1)

    def places(self, of_b: Float32Array) -> Float32Array:
        """Carry places (3, k) of b into every pose: (3, m * k)."""
        placed = self.directions(of_b).reshape(3, self.count, -1)
        placed += self.shift32[:, :, None]
        return placed.reshape(3, -1)


@dataclass(frozen=True, slots=True, eq=False)
class _Best:
    """The nearest triangles of every pose so far: distance, number in a, number in b, (m,) each. Filled in place.

    Only what is nearer than the ``share`` of the distance is still looked for.
    """

    gap_mm: FloatArray
    a: IntArray
    b: IntArray
    share: float

    def wanted_mm(self) -> FloatArray:
        """Give how near (m,) triangles have to be to be of interest."""
        return self.gap_mm * self.share


@dataclass(frozen=True, slots=True, eq=False)
class _Front:
    """Pairs of blocks still in question: pose, numbers in a and b, lower bound, distance of middles, (n,) each."""

    pose: IntArray
    a: IntArray
    b: IntArray
    bound: Float32Array
    apart: Float32Array

    def pick(self, which: IntArray | slice) -> "_Front":
        return _Front(self.pose[which], self.a[which], self.b[which], self.bound[which], self.apart[which])

    def below(self, best: _Best) -> "_Front":
        return self.pick(np.flatnonzero(self.bound < best.wanted_mm()[self.pose]))

    def slices(self, size: int) -> Iterator["_Front"]:
        for start in range(0, len(self.pose), size):
            yield self.pick(slice(start, start + size))


def posed_gaps(a: Posable, b: Posable, rotation: FloatArray, shift: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Measure the gap between ``a`` at rest and ``b`` in m poses: ``rotation`` (m, 3, 3), ``shift`` (m, 3) mm.

    Returns the gaps (m,) in mm, 0 where the surfaces touch or cross, and unit vectors (m, 3) from the nearest point
    of a to that of b, in a's frame, zeros where the gap is 0. Of surfaces only: a body buried whole in the other's
    metal is not told.
    """
    gap, towards = np.zeros(len(shift)), np.zeros((len(shift), 3))
    for part, poses, best in _searched(a, b, rotation, shift, 1.0):
        gap[part], towards[part] = _measured(a, b, poses, best)
    return gap, towards


def posed_bounds(a: Posable, b: Posable, rotation: FloatArray, shift: FloatArray, share: float) -> FloatArray:
    """Bound the gaps (m,) of `posed_gaps` from below: by no less than ``share`` of each, and 0 only where it is 0.

    Quicker, the more so the smaller the share.
    """
    bound = np.zeros(len(shift))
    for part, _, best in _searched(a, b, rotation, shift, share):
        bound[part] = best.wanted_mm()
    return bound


def _searched(
    a: Posable, b: Posable, rotation: FloatArray, shift: FloatArray, share: float
) -> Iterator[tuple[slice, _Poses, _Best]]:
    """Search all poses, so many together, for triangles of which none are nearer than their share."""
    top = min(len(a.levels), len(b.levels)) - 1
    step = max(1, min(POSES, TOGETHER // (a.levels[top].balls.shape[1] * b.levels[top].balls.shape[1])))
    for start in range(0, len(shift), step):
        part = slice(start, start + step)
        poses = _poses(a, b, rotation[part], shift[part])
        yield part, poses, _nearest(a, b, poses, top, share)


def _poses(a: Posable, b: Posable, rotation: FloatArray, shift: FloatArray) -> _Poses:
    turn, moved = np.ascontiguousarray(np.moveaxis(rotation, 0, -1)), np.ascontiguousarray(shift.T)
    far = np.sqrt((moved**2).sum(axis=0)) + a.reach_mm + b.reach_mm
    single = turn.astype(np.float32), moved.astype(np.float32)
    return _Poses(turn, moved, *single, TOUCHING * far, np.float32(far.max()))


def _nearest(a: Posable, b: Posable, poses: _Poses, top: int, share: float) -> _Best:
    """Find the nearest triangles in every pose, or some of which none are nearer than that share."""
    none = np.zeros(poses.count, dtype=np.int64)
    best = _Best(np.full(poses.count, np.inf), none, none.copy(), share)
    front = _sifted(a, b, poses, top, _coarse(a, b, poses, top, best), best)
    for level in range(top - 1, -1, -1):
        front = _sifted(a, b, poses, level, _split(a, b, poses, level, front, best), best)
    if len(front.pose) > MANY:
        first = front.pick(_lowest(front.pose, front.apart))
        _measure(a, b, poses, _children((first.pose, first.a, first.b), PAIR), best)
        front = front.below(best)
    _finish(a, b, poses, front, best)
    return best


def _coarse(a: Posable, b: Posable, poses: _Poses, top: int, best: _Best) -> Pairs:
    """Compare all coarsest blocks with all, follow the nearest two of each pose down, and keep what may be nearer."""
    of_a, of_b = a.levels[top].balls, b.levels[top].balls
    places = poses.places(of_b[:3])
    left, right = np.ones((places.shape[1], 5), dtype=np.float32), np.ones((5, of_a.shape[1]), dtype=np.float32)
    left[:, :3], left[:, 4] = places.T, (places * places).sum(axis=0)
    right[:3], right[3] = -2 * of_a[:3], (of_a[:3] * of_a[:3]).sum(axis=0)
    square = (left @ right).reshape(poses.count, -1)
    nearest_b, nearest_a = np.divmod(square.argmin(axis=1), of_a.shape[1])
    _dive(a, b, poses, top, (np.arange(poses.count), nearest_a, nearest_b), best)
    limit = (of_b[3][:, None] + of_a[3]).reshape(-1) + poses.limit(best.wanted_mm())[:, None]
    limit *= limit
    limit += SQUARE_SLACK * poses.far_mm**2
    pose, pair = np.divmod(np.flatnonzero(square.reshape(-1) < limit.reshape(-1)), square.shape[1])
    number_b, number_a = np.divmod(pair, of_a.shape[1])
    return pose, number_a, number_b


def _dive(a: Posable, b: Posable, poses: _Poses, top: int, pairs: Pairs, best: _Best) -> None:
    """Follow the pairs of blocks whose middles are nearest down to triangles and measure those."""
    number = np.arange(poses.count)[:, None]
    for level in range(top, -1, -1):
        pose, number_a, number_b = pairs
        of_a, of_b = a.levels[level].balls[:3].take(number_a, axis=1), b.levels[level].balls[:3].take(number_b, axis=1)
        apart = (poses.turn32.take(pose, axis=2) * of_b).sum(axis=1) + poses.shift32.take(pose, axis=1) - of_a
        square = (apart * apart).sum(axis=0).reshape(poses.count, -1)
        most = min(STARTS, square.shape[1])
        kept = (np.argpartition(square, most - 1, axis=1)[:, :most] + number * square.shape[1]).reshape(-1)
        pairs = _children((pose[kept], number_a[kept], number_b[kept]), CHILDREN if level else PAIR)
    _measure(a, b, poses, pairs, best)


def _sifted(a: Posable, b: Posable, poses: _Poses, level: int, pairs: Pairs, best: _Best) -> _Front:
    """Keep the pairs of blocks whose discs may be nearer than the best so far."""
    of_a, of_b = a.levels[level].discs, b.levels[level].discs
    places, normals = poses.places(of_b[CENTRE]), poses.directions(of_b[NORMAL])
    pose, number_a, number_b = pairs
    bound, apart = np.empty((2, len(pose)), dtype=np.float32)
    for start in range(0, len(pose), SIFTED):
        part = slice(start, start + SIFTED)
        posed = pose[part] * of_b.shape[1] + number_b[part]
        bound[part], apart[part] = disc_bounds(
            of_a.take(number_a[part], axis=1),
            places.take(posed, axis=1),
            normals.take(posed, axis=1),
            of_b[THICK:].take(number_b[part], axis=1),
        )
    return _Front(*pairs, np.maximum(bound - SLACK * poses.far_mm, 0), apart).below(best)


def _split(a: Posable, b: Posable, poses: _Poses, level: int, front: _Front, best: _Best) -> Pairs:
    """Split blocks into their children, which are those of ``level``, and keep pairs whose balls may be nearer."""
    of_a, of_b = a.levels[level].balls, b.levels[level].balls
    parents = of_b.shape[1] // CHILDREN
    balls_a, radius_b = of_a.reshape(4, -1, CHILDREN), of_b[3].reshape(-1, CHILDREN)
    places = poses.places(of_b[:3]).reshape(3, -1, CHILDREN)
    near = poses.limit(best.wanted_mm())
    kept = []
    for part in front.slices(SPLIT):
        ball = balls_a.take(part.a, axis=1)[..., None]
        place = places.take(part.pose * parents + part.b, axis=1)[:, :, None]
        square = (place[0] - ball[0]) ** 2
        square += (place[1] - ball[1]) ** 2
        square += (place[2] - ball[2]) ** 2
        limit = ball[3] + radius_b.take(part.b, axis=0)[:, None] + near[part.pose][:, None, None]
        limit *= limit
        parent, child = np.divmod(np.flatnonzero(square.reshape(-1) < limit.reshape(-1)), CHILDREN * CHILDREN)
        child_a, child_b = np.divmod(child, CHILDREN)
        kept.append((part.pose[parent], part.a[parent] * CHILDREN + child_a, part.b[parent] * CHILDREN + child_b))
    return _joined(kept)


def _finish(a: Posable, b: Posable, poses: _Poses, front: _Front, best: _Best) -> None:
    """Measure the triangles of finest blocks as far as their own bounds do not rule them out, nearest bounds first."""
    kept: list[Pairs] = []
    bounds = [np.zeros(0, dtype=np.float32)]
    for part in front.slices(SPLIT):
        turn, shift = poses.turn32.take(part.pose, axis=2)[:, :, None], poses.shift32.take(part.pose, axis=1)[:, None]
        corners = b.pairs.take(part.b, axis=3)
        placed = np.stack([(turn * corner).sum(axis=1) + shift for corner in corners])
        normals = (turn * b.normals.take(part.b, axis=2)).sum(axis=1)
        bound = triangle_bounds(
            a.pairs.take(part.a, axis=3)[:, :, :, None],
            a.normals.take(part.a, axis=2)[:, :, None],
            placed[:, :, None],
            normals[:, None],
        )
        bound = np.maximum(bound - SLACK * poses.far_mm, 0)
        of_a, of_b, which = np.nonzero(bound < best.wanted_mm()[part.pose])
        kept.append((part.pose[which], part.a[which] * PAIR + of_a, part.b[which] * PAIR + of_b))
        bounds.append(bound[of_a, of_b, which])
    bound = np.concatenate(bounds)
    order = np.argsort(bound, kind="stable")
    pose, number_a, number_b = _joined(kept)
    for start in range(0, len(order), MEASURED):
        row = order[start : start + MEASURED]
        row = row[bound[row] < best.wanted_mm()[pose[row]]]
        _measure(a, b, poses, (pose[row], number_a[row], number_b[row]), best)


def _measure(a: Posable, b: Posable, poses: _Poses, pairs: Pairs, best: _Best) -> None:
    """Measure pairs of triangles exactly and keep the nearest of each pose."""
    pose, number_a, number_b = pairs
    gap = np.sqrt(squared_gaps(a.corners.take(number_a, axis=2), _placed(b, poses, pose, number_b)))
    gap[gap <= poses.touching_mm[pose]] = 0.0
    better = np.flatnonzero(gap < best.gap_mm[pose])
    pose, gap = pose[better], gap[better]
    np.minimum.at(best.gap_mm, pose, gap)
    won = np.flatnonzero(gap == best.gap_mm[pose])
    best.a[pose[won]] = number_a[better[won]]
    best.b[pose[won]] = number_b[better[won]]


def _measured(a: Posable, b: Posable, poses: _Poses, best: _Best) -> tuple[FloatArray, FloatArray]:
    """Give the gaps (m,) and unit vectors (m, 3) of the nearest triangles."""
    placed = _placed(b, poses, np.arange(poses.count), best.b)
    _, on_a, on_b = closest_points(np.moveaxis(a.corners.take(best.a, axis=2), -1, 0), np.moveaxis(placed, -1, 0))
    towards = (on_b - on_a) / np.where(best.gap_mm > 0.0, best.gap_mm, np.inf)[:, None]
    return best.gap_mm, towards


def _placed(b: Posable, poses: _Poses, pose: IntArray, number: IntArray) -> FloatArray:
    """Give triangles of b where they stand in their poses, (3, 3, n)."""
    corners, turn = b.corners.take(number, axis=2), poses.turn.take(pose, axis=2)
    placed = np.empty_like(corners)
    for i in range(3):
        placed[:, i] = turn[i, 0] * corners[:, 0] + turn[i, 1] * corners[:, 1] + turn[i, 2] * corners[:, 2]
        placed[:, i] += poses.shift[i].take(pose)
    return placed


def _children(pairs: Pairs, size: int) -> Pairs:
    """Give all pairs of the ``size`` children of either block."""
    child_a, child_b = np.divmod(np.arange(size * size), size)
    pose, number_a, number_b = pairs
    return (
        np.repeat(pose, size * size),
        (number_a[:, None] * size + child_a).reshape(-1),
        (number_b[:, None] * size + child_b).reshape(-1),
    )


def _lowest(pose: IntArray, value: Float32Array) -> IntArray:
    """Give the numbers of the lowest value of every pose there is; ``pose`` (n,) rises."""
    starts = np.flatnonzero(np.diff(pose, prepend=-1))
    least = np.minimum.reduceat(value, starts)
    lowest: IntArray = np.flatnonzero(value == np.repeat(least, np.diff(starts, append=len(pose))))
    return lowest


def _joined(pairs: list[Pairs]) -> Pairs:
    if not pairs:
        none = np.zeros(0, dtype=np.int64)
        return none, none, none
    pose, number_a, number_b = (np.concatenate(each) for each in zip(*pairs, strict=True))
    return pose, number_a, number_b
