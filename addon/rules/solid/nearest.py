"""The nearest two triangles of two sets, for many pairs of sets at once, by lower bounds on blocks.

Every pair of sets keeps the smallest distance seen so far. A pair of blocks whose lower bound is not below it is
dropped; what stays is split into children, four by four, down to pairs of triangles, which are measured exactly. So the
answer is exact whatever the bounds are worth; they decide only how long it takes. Bounds are taken along four
directions: between the centres, along either normal, and along the mean of the two normals.
"""

from dataclasses import dataclass

import numpy as np

from ..base.progress import Steps, part
from .hierarchy import CENTRE, CHILDREN, NORMAL, PAIR, RADIUS, THICK, Blocks
from .mesh import FloatArray, IntArray
from .triangle_pairs import squared_gaps

# Block pairs split at a time: the arrays of their sixteen children each are about as large as a core's own cache.
SLICE = 1024
# Block pairs held at a time; a longer list is taken part by part, the most promising part first.
MOST = 1_000_000
# Pairs of blocks followed down at once to find a small distance early.
STARTS = 4
# Pairs of triangles measured between two looks at the smallest distance.
MEASURED = 1024
# Squares lose half of their digits near 1: what is under a root is raised by this, so that a bound errs downwards.
SLACK = 4e-15


@dataclass(frozen=True, slots=True, eq=False)
class Sets:
    """Pairs of sets of triangles, by their coarsest blocks: ``begin_a`` to ``end_a`` against those of b, (p,) each."""

    begin_a: IntArray
    end_a: IntArray
    begin_b: IntArray
    end_b: IntArray


@dataclass(frozen=True, slots=True, eq=False)
class Nearest:
    """The nearest triangles of every pair of sets: distance (p,), triangles (p,), -1 where none came near enough."""

    gap_mm: FloatArray
    triangle_a: IntArray
    triangle_b: IntArray


@dataclass(frozen=True, slots=True, eq=False)
class _Front:
    """Pairs of blocks of one level still to be split: pair of sets, block of a, block of b, lower bound, (n,) each."""

    job: IntArray
    a: IntArray
    b: IntArray
    bound: FloatArray

    def pick(self, which: IntArray | slice) -> "_Front":
        return _Front(self.job[which], self.a[which], self.b[which], self.bound[which])

    def below(self, best: Nearest) -> "_Front":
        return self.pick(np.flatnonzero(self.bound < best.gap_mm[self.job]))


def nearest(tree: Blocks, sets: Sets, upper_mm: FloatArray) -> Steps[Nearest]:
    """Find the nearest two triangles of every pair of sets, if nearer than its ``upper_mm`` (p,)."""
    none = np.full(len(upper_mm), -1, dtype=np.int64)
    best = Nearest(np.array(upper_mm, dtype=np.float64), none, none.copy())
    top = len(tree.discs) - 1
    front = _all_pairs(tree.discs[top], sets, best)
    _dive(tree, top, front, best)
    yield from _descend(tree, top, front.below(best), best)
    return best


def _all_pairs(discs: FloatArray, sets: Sets, best: Nearest) -> _Front:
    """Every coarsest block of a against every one of b that may be near enough."""
    wide = sets.end_b - sets.begin_b
    counts = (sets.end_a - sets.begin_a) * wide
    job = np.repeat(np.arange(len(counts)), counts)
    place = np.arange(len(job)) - np.repeat(np.cumsum(counts) - counts, counts)
    row, column = np.divmod(place, wide[job])
    a, b = sets.begin_a[job] + row, sets.begin_b[job] + column
    fronts = []
    for start in range(0, len(job), 16 * SLICE):
        here = slice(start, start + 16 * SLICE)
        bound = _disc_bounds(discs[:, a[here]], discs[:, b[here]])
        fronts.append(_Front(job[here], a[here], b[here], bound).below(best))
    return _joined(fronts)


def _joined(fronts: list[_Front]) -> _Front:
    if not fronts:
        none = np.zeros(0, dtype=np.int64)
        return _Front(none, none, none, np.zeros(0))
    return _Front(
        np.concatenate([f.job for f in fronts]),
        np.concatenate([f.a for f in fronts]),
        np.concatenate([f.b for f in fronts]),
        np.concatenate([f.bound for f in fronts]),
    )


def _guess(a: FloatArray, b: FloatArray) -> FloatArray:
    """Guess the distance of two blocks: from the centre of each to the disc of the other, taken as flat."""
    x, y, z = b[CENTRE] - a[CENTRE]
    square = x * x + y * y + z * z
    guess: FloatArray = np.zeros_like(square)
    for disc in (a, b):
        nx, ny, nz = disc[NORMAL]
        height = x * nx + y * ny + z * nz
        height *= height
        beside = np.maximum(np.sqrt(np.maximum(square - height, 0.0)) - disc[RADIUS], 0.0)
        beside *= beside
        beside += height
        np.maximum(guess, beside, out=guess)
    return guess


def _dive(tree: Blocks, level: int, front: _Front, best: Nearest) -> None:
    """Follow the most promising pair of blocks of every pair of sets down to single triangles and measure those."""
    front = _most_promising(tree.discs[level], front, len(best.gap_mm))
    while level > 0:
        level -= 1
        a, b = _children(tree.discs[level], front)
        chosen = _guess(a, b).reshape(CHILDREN * CHILDREN, -1).argmin(axis=0)
        row, column = np.divmod(chosen, CHILDREN)
        front = _Front(front.job, front.a * CHILDREN + row, front.b * CHILDREN + column, front.bound)
    row, column = np.divmod(np.arange(PAIR * PAIR), PAIR)
    a, b = front.a[:, None] * PAIR + row, front.b[:, None] * PAIR + column
    _measure(tree, np.repeat(front.job, PAIR * PAIR), a.reshape(-1), b.reshape(-1), best)


def _most_promising(discs: FloatArray, front: _Front, jobs: int) -> _Front:
    """Pick a few pairs of blocks with the lowest guesses for every pair of sets that has any."""
    guess = _guess(discs[:, front.a], discs[:, front.b])
    picked = []
    for _ in range(STARTS):
        lowest = np.full(jobs, np.inf)
        np.minimum.at(lowest, front.job, guess)
        at = np.flatnonzero(guess == lowest[front.job])
        chosen = np.full(jobs, -1, dtype=np.int64)
        chosen[front.job[at]] = at
        picked.append(chosen[chosen >= 0])
        guess[picked[-1]] = np.inf
    return front.pick(np.concatenate(picked))


def _descend(tree: Blocks, level: int, front: _Front, best: Nearest) -> Steps[None]:
    """Split pairs of blocks until only measured pairs of triangles are left."""
    if len(front.job) > MOST:
        front = front.pick(np.argsort(front.bound, kind="stable"))
        for start in range(0, len(front.job), MOST):
            piece = front.pick(slice(start, start + MOST)).below(best)
            yield from part(
                _descend(tree, level, piece, best), start / len(front.job), min(1.0, (start + MOST) / len(front.job))
            )
        return
    if level == 0:
        yield from _finish(tree, front, best)
        return
    children = []
    for start in range(0, len(front.job), SLICE):
        piece = front.pick(slice(start, start + SLICE))
        bound = _disc_bounds(*_children(tree.discs[level - 1], piece))
        a, b, parent = np.nonzero(bound < best.gap_mm[piece.job])
        children.append(
            _Front(
                piece.job[parent], piece.a[parent] * CHILDREN + a, piece.b[parent] * CHILDREN + b, bound[a, b, parent]
            )
        )
        yield 0.5 * start / len(front.job)
    front = _joined(children)
    if len(front.job) > 0:
        _dive(tree, level - 1, front, best)
        front = front.below(best)
    yield from part(_descend(tree, level - 1, front, best), 0.5, 1.0)


def _finish(tree: Blocks, front: _Front, best: Nearest) -> Steps[None]:
    """Measure the triangles of pairs of finest blocks, as far as their own bounds do not rule them out.

    The most promising blocks come first: what they show leaves little of the rest.
    """
    front = front.pick(np.argsort(front.bound, kind="stable"))
    for start in range(0, len(front.job), 2 * SLICE):
        piece = front.pick(slice(start, start + 2 * SLICE)).below(best)
        of_a, of_b = tree.pairs[..., piece.a], tree.pairs[..., piece.b]
        bound = _triangle_bounds(of_a[:, :, :, None], of_b[:, :, None, :])
        a, b, parent = np.nonzero(bound < best.gap_mm[piece.job])
        triangles = _Front(
            piece.job[parent], piece.a[parent] * PAIR + a, piece.b[parent] * PAIR + b, bound[a, b, parent]
        )
        triangles = triangles.pick(np.argsort(triangles.bound, kind="stable"))
        for first in range(0, len(triangles.job), MEASURED):
            near = triangles.pick(slice(first, first + MEASURED)).below(best)
            _measure(tree, near.job, near.a, near.b, best)
        yield start / len(front.job)


def _measure(tree: Blocks, job: IntArray, a: IntArray, b: IntArray, best: Nearest) -> None:
    """Measure pairs of triangles and keep the smallest of each pair of sets."""
    gap = np.sqrt(squared_gaps(tree.corners[..., a], tree.corners[..., b]))
    better = np.flatnonzero(gap < best.gap_mm[job])
    job, gap = job[better], gap[better]
    np.minimum.at(best.gap_mm, job, gap)
    won = np.flatnonzero(gap == best.gap_mm[job])
    best.triangle_a[job[won]] = a[better[won]]
    best.triangle_b[job[won]] = b[better[won]]


def _children(discs: FloatArray, front: _Front) -> tuple[FloatArray, FloatArray]:
    """Discs of the four children of both blocks, (8, 4, 1, n) and (8, 1, 4, n); ``discs`` are the children's."""
    grouped = discs.reshape(8, -1, CHILDREN)
    a = np.ascontiguousarray(np.moveaxis(grouped[:, front.a], 2, 1))
    b = np.ascontiguousarray(np.moveaxis(grouped[:, front.b], 2, 1))
    return a[:, :, None], b[:, None]


def _disc_bounds(a: FloatArray, b: FloatArray) -> FloatArray:
    """Lower bounds of the distance of discs (8, ...) from discs (8, ...)."""
    x, y, z = b[CENTRE] - a[CENTRE]
    ax, ay, az = a[NORMAL]
    bx, by, bz = b[NORMAL]
    along_a = x * ax + y * ay + z * az
    along_b = x * bx + y * by + z * bz
    turn = ax * bx + ay * by + az * bz
    square = x * x + y * y + z * z
    turn *= np.sign(along_a) * np.sign(along_b)
    along_a = np.abs(along_a)
    along_b = np.abs(along_b)
    thick_a, radius_a, thick_b, radius_b = a[THICK], a[RADIUS], b[THICK], b[RADIUS]

    level = np.abs(turn)
    tilt = np.sqrt(np.maximum((1.0 + SLACK) - turn * turn, 0.0))
    bound: FloatArray = along_a - thick_a - radius_b * tilt - thick_b * level
    np.maximum(bound, along_b - thick_b - radius_a * tilt - thick_a * level, out=bound)

    distance = np.sqrt(square)
    raised = square * (1.0 + SLACK)
    reach = radius_a * np.sqrt(raised - along_a * along_a) + thick_a * along_a
    reach += radius_b * np.sqrt(raised - along_b * along_b) + thick_b * along_b
    np.maximum(bound, distance - reach / np.maximum(distance, 1e-300), out=bound)

    # The mean normal is of no use where the normals are far apart, and its length has no digits left there.
    length = np.sqrt(np.maximum(2.0 + 2.0 * turn, 1.0))
    mean = (along_a + along_b) / length - (radius_a + radius_b) * np.sqrt(np.maximum((0.5 + SLACK) - 0.5 * turn, 0.0))
    mean -= (thick_a + thick_b) * np.sqrt(np.maximum(0.5 + SLACK + 0.5 * turn, 0.0))
    np.maximum(bound, mean, out=bound)
    return bound


def _triangle_bounds(a: FloatArray, b: FloatArray) -> FloatArray:
    """Lower bounds of the distance of triangles, corner and coordinate first: (3, 3, ...) and (3, 3, ...)."""
    bound = _apart(b.sum(axis=0) - a.sum(axis=0), a, b)
    for edge, other in ((a, b), (b, a)):
        u, v = edge[1] - edge[0], edge[2] - edge[0]
        nx = u[1] * v[2] - u[2] * v[1]
        ny = u[2] * v[0] - u[0] * v[2]
        nz = u[0] * v[1] - u[1] * v[0]
        length = np.sqrt(nx * nx + ny * ny + nz * nz)
        heights = [(c[0] - edge[0][0]) * nx + (c[1] - edge[0][1]) * ny + (c[2] - edge[0][2]) * nz for c in other]
        low = np.minimum(np.minimum(heights[0], heights[1]), heights[2])
        high = np.maximum(np.maximum(heights[0], heights[1]), heights[2])
        rise_u = u[0] * nx + u[1] * ny + u[2] * nz
        rise_v = v[0] * nx + v[1] * ny + v[2] * nz
        low -= np.maximum(np.maximum(rise_u, rise_v), 0.0)
        high -= np.minimum(np.minimum(rise_u, rise_v), 0.0)
        np.maximum(bound, np.maximum(low, -high) / np.maximum(length, 1e-300), out=bound)
    return bound


def _apart(direction: FloatArray, a: FloatArray, b: FloatArray) -> FloatArray:
    x, y, z = direction
    origin = a[0]
    of_a = [(c[0] - origin[0]) * x + (c[1] - origin[1]) * y + (c[2] - origin[2]) * z for c in a[1:]]
    of_b = [(c[0] - origin[0]) * x + (c[1] - origin[1]) * y + (c[2] - origin[2]) * z for c in b]
    high = np.maximum(np.maximum(of_a[0], of_a[1]), 0.0)
    low = np.minimum(np.minimum(of_b[0], of_b[1]), of_b[2])
    bound: FloatArray = (low - high) / np.maximum(np.sqrt(x * x + y * y + z * z), 1e-300)
    return bound
