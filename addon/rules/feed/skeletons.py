"""Fast distances for planning: bodies as round wires, struts as round rods, line against line.

A body we drew is its centreline with the radius of its wire. A mesh of other origin is all of its edges and lines
across its large facets, with radius 0. What is planned this way is proven with the exact meshes afterwards.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from ..solid.mesh import Body, FloatArray, IntArray
from .facets import facet_lines

PAIRS_AT_ONCE = 20_000
# Lines of a body are measured in blocks of this many that lie together; a block out of reach is left out whole.
BLOCK = 32


@dataclass(frozen=True, slots=True, eq=False)
class Skeletons:
    """The bodies of a job as lines: ``starts``/``ends`` (m, 3), body k owning rows ``first[k]`` to ``first[k + 1]``.

    ``radius_mm`` (n,) per body; ``low``/``high`` (n, 3) its bounds with the radius.
    """

    starts: FloatArray
    ends: FloatArray
    first: IntArray
    radius_mm: FloatArray
    low: FloatArray
    high: FloatArray

    def line(self, body: int) -> FloatArray:
        """Give the first ends of a body's lines, (k, 3): the centreline of a wire."""
        return self.starts[self.first[body] : self.first[body + 1]]


def skeletons(bodies: Sequence[Body]) -> Skeletons:
    """Draw every body as lines in the world."""
    lines: dict[int, tuple[FloatArray, FloatArray]] = {}
    starts, ends, radius = [], [], []
    for body in bodies:
        if body.wire is not None:
            line = body.pose.apply(body.wire.centreline)
            starts.append(line)
            ends.append(np.roll(line, -1, axis=0))
            radius.append(body.wire.radius_mm)
            continue
        if id(body.mesh) not in lines:
            lines[id(body.mesh)] = _gathered(*facet_lines(body.mesh.points, body.mesh.triangles))
        for ends_of, here in zip((starts, ends), lines[id(body.mesh)], strict=True):
            ends_of.append(body.pose.apply(here))
        radius.append(0.0)
    r = np.array(radius)
    low = np.array([np.minimum(s.min(axis=0), e.min(axis=0)) for s, e in zip(starts, ends, strict=True)])
    high = np.array([np.maximum(s.max(axis=0), e.max(axis=0)) for s, e in zip(starts, ends, strict=True)])
    first = np.cumsum([0] + [len(s) for s in starts])
    return Skeletons(np.concatenate(starts), np.concatenate(ends), first, r, low - r[:, None], high + r[:, None])


@dataclass(frozen=True, slots=True, eq=False)
class Rods:
    """Struts being planned, c of them with k straight pieces each: ``points`` (c, k + 1, 3), ``radii`` (c, k) mm.

    A piece of no length counts for nothing: it repeats a point.
    """

    points: FloatArray
    radii: FloatArray

    def __len__(self) -> int:
        return len(self.points)

    def take(self, rows: IntArray) -> "Rods":
        """Give some of the rods."""
        return Rods(self.points[rows], self.radii[rows])


def clearances(rods: Rods, own: IntArray, bodies: Skeletons, *, reach_mm: float) -> tuple[FloatArray, IntArray]:
    """Give each rod's smallest distance to any body but its own (c,), and which body that is (c,).

    ``own`` (c,) is the rod's own body, -1 for none. Distances over ``reach_mm`` read as ``reach_mm``, body -1.
    """
    best = np.full(len(rods), reach_mm)
    who = np.full(len(rods), -1, dtype=np.int64)
    rod, body, gap = near_bodies(rods, own, bodies, reach_mm=reach_mm)
    order = np.lexsort((body, gap, rod))
    first = order[np.concatenate((np.ones(min(1, len(order)), dtype=bool), np.diff(rod[order]) > 0))]
    best[rod[first]], who[rod[first]] = gap[first], body[first]
    return best, who


def near_bodies(
    rods: Rods, own: IntArray, bodies: Skeletons, *, reach_mm: float
) -> tuple[IntArray, IntArray, FloatArray]:
    """Find the pairs of a rod with a body not its own and nearer than ``reach_mm``: rod, body, distance, each (p,)."""
    spread = (rods.radii + reach_mm)[..., None]
    low = np.minimum(rods.points[:, :-1], rods.points[:, 1:]) - spread
    high = np.maximum(rods.points[:, :-1], rods.points[:, 1:]) + spread
    rod, body = boxes_meet(low.min(axis=1), high.max(axis=1), bodies.low, bodies.high)
    other = body != own[rod]
    rod, body = rod[other], body[other]
    blocks, first, size, block_low, block_high = _blocks(bodies)
    last = np.cumsum(blocks)
    gaps = np.full(len(rod), np.inf)
    middle, half = (block_low + block_high) / 2, np.linalg.norm(block_high - block_low, axis=1) / 2
    for piece in range(rods.radii.shape[1]):
        p, q = low[rod, piece], high[rod, piece]
        near = np.flatnonzero(((p <= bodies.high[body]) & (bodies.low[body] <= q)).all(axis=1))
        for begin, end in _batches(blocks[body[near]]):
            few = near[begin:end]
            b = body[few]
            met = _ranges((last - blocks)[b], blocks[b])
            whose = np.repeat(few, blocks[b])
            meet = ((p[whose] <= block_high[met]) & (block_low[met] <= q[whose])).all(axis=1)
            met, whose = met[meet], whose[meet]
            mine = rod[whose]
            away = between(rods.points[mine, piece], rods.points[mine, piece + 1], middle[met], middle[met])
            meet = away - rods.radii[mine, piece] <= half[met] + reach_mm
            met, whose = met[meet], whose[meet]
            for one, to in _batches(size[met]):
                n = size[met[one:to]]
                line, owner = _ranges(first[met[one:to]], n), np.repeat(whose[one:to], n)
                mine = rod[owner]
                start, stop = rods.points[mine, piece], rods.points[mine, piece + 1]
                gap = between(start, stop, bodies.starts[line], bodies.ends[line]) - rods.radii[mine, piece]
                heads = np.flatnonzero(np.diff(owner, prepend=-1))
                gaps[owner[heads]] = np.minimum(gaps[owner[heads]], np.minimum.reduceat(gap, heads))
    gaps -= bodies.radius_mm[body]
    found = gaps < reach_mm
    return rod[found], body[found], gaps[found]


def _blocks(bodies: Skeletons) -> tuple[IntArray, IntArray, IntArray, FloatArray, FloatArray]:
    """Cut each body's lines into blocks: how many per body; first line, how many lines, low and high of every block."""
    lines = np.diff(bodies.first)
    blocks = -(-lines // BLOCK)
    size = np.minimum(BLOCK, np.repeat(lines, blocks) - BLOCK * _ranges(np.zeros_like(blocks), blocks))
    first = np.cumsum(size) - size
    thick = np.repeat(bodies.radius_mm, blocks)[:, None]
    low = np.minimum.reduceat(np.minimum(bodies.starts, bodies.ends), first) - thick
    high = np.maximum.reduceat(np.maximum(bodies.starts, bodies.ends), first) + thick
    return blocks, first, size, low, high


def _gathered(starts: FloatArray, ends: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Put lines (m, 3) in such an order that those that follow one another lie together: halved along x, y, z, x..."""
    middle = starts + ends
    order = np.arange(len(middle))
    for level in range(int(np.log2(max(1, len(order) / BLOCK))) + 1):
        half = np.arange(len(order)) * 2**level // len(order)
        order = order[np.lexsort((middle[order, level % 3], half))]
    return starts[order], ends[order]


def rod_gap(one: FloatArray, r_one: FloatArray, others: FloatArray, r_others: FloatArray) -> FloatArray:
    """Give the smallest distance between one rod (k + 1, 3), (k,) and each of m others (m, j + 1, 3), (m, j): (m,)."""
    a0, a1 = one[None, :-1, None], one[None, 1:, None]
    b0, b1 = others[:, None, :-1], others[:, None, 1:]
    shape = np.broadcast_shapes(a0.shape, b0.shape)
    d = between(*(np.broadcast_to(x, shape) for x in (a0, a1, b0, b1)))
    return np.asarray((d - r_one[None, :, None] - r_others[:, None, :]).min(axis=(1, 2)))


def between(p0: FloatArray, p1: FloatArray, q0: FloatArray, q1: FloatArray) -> FloatArray:
    """Give the distance between straight pieces p0-p1 and q0-q1, each (..., 3), as (...,).

    Nearest places by clamping, C. Ericson, Real-Time Collision Detection (2005), section 5.1.9 (from memory).
    """
    d1, d2, r = p1 - p0, q1 - q0, p0 - q0
    a, e, f = _dot(d1, d1), _dot(d2, d2), _dot(d2, r)
    b, c = _dot(d1, d2), _dot(d1, r)
    safe_a, safe_e = np.maximum(a, 1e-300), np.maximum(e, 1e-300)
    denominator = a * e - b * b
    skew = denominator > 1e-12 * a * e
    s = np.where(skew, np.clip((b * f - c * e) / np.where(skew, denominator, 1.0), 0.0, 1.0), 0.0)
    t = np.clip((b * s + f) / safe_e, 0.0, 1.0)
    s = np.clip((b * t - c) / safe_a, 0.0, 1.0)
    gap = r + s[..., None] * d1 - t[..., None] * d2
    return np.asarray(np.sqrt(_dot(gap, gap)))


def boxes_meet(
    low_a: FloatArray, high_a: FloatArray, low_b: FloatArray, high_b: FloatArray
) -> tuple[IntArray, IntArray]:
    """Find which boxes (c, 3) of one set meet which of another (n, 3): indices into both, sorted.

    The second set is sorted along its longest direction, so that each box looks only at a stretch of it.
    """
    axis = int((high_b.max(axis=0) - low_b.min(axis=0)).argmax())
    order = np.argsort(low_b[:, axis], kind="stable")
    widest = (high_b[:, axis] - low_b[:, axis]).max()
    line = low_b[order, axis]
    begin = np.searchsorted(line, low_a[:, axis] - widest, side="left")
    end = np.searchsorted(line, high_a[:, axis], side="right")
    counts = np.maximum(end - begin, 0)
    a = np.repeat(np.arange(len(low_a)), counts)
    b = order[_ranges(begin, counts)]
    meet = ((low_a[a] <= high_b[b]) & (low_b[b] <= high_a[a])).all(axis=1)
    a, b = a[meet], b[meet]
    tidy = np.lexsort((b, a))
    return a[tidy], b[tidy]


def _ranges(begin: IntArray, counts: IntArray) -> IntArray:
    """Give begin[0], begin[0] + 1, ... counts[0] of them, then the same for the next, (sum of counts,)."""
    heads = np.cumsum(counts) - counts
    return np.asarray(np.arange(int(counts.sum())) + np.repeat(begin - heads, counts))


def _batches(costs: IntArray) -> list[tuple[int, int]]:
    """Cut a row of jobs into stretches whose costs stay near the limit, at least one job each."""
    stretch = np.cumsum(costs) // PAIRS_AT_ONCE
    cuts = np.flatnonzero(np.diff(stretch)) + 1
    edges = [0, *cuts.tolist(), len(costs)]
    return [(a, b) for a, b in pairwise(edges) if b > a]


def _dot(a: FloatArray, b: FloatArray) -> FloatArray:
    return np.asarray(np.einsum("...i,...i->...", a, b))
