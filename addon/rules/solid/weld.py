"""Equal things made one: points with the same coordinates, rows with the same numbers."""

import numpy as np

from ..base.progress import Steps, finish, part
from .mesh import FloatArray, IntArray, Mesh
from .sorting import stable_order

# Odd multipliers that spread a coordinate's bits over the whole key (golden ratio and two from splitmix64, Steele,
# Lea, Flood 2014; from memory). Any odd numbers give right answers, since equal keys are compared in full.
_SPREAD = np.array([0x9E3779B97F4A7C15, 0xBF58476D1CE4E5B9, 0x94D049BB133111EB], dtype=np.uint64)

# Pairs hooked at a time.
_HOOKS = 1 << 19


def weld(points: FloatArray, triangles: IntArray) -> Mesh:
    """Merge points with exactly equal coordinates, and leave out those that no triangle names.

    ``points`` (n, 3), ``triangles`` (m, 3). Points keep the order of their first use in ``points``; -0.0 equals 0.0.
    Nothing is merged by nearness: a crack of one rounding step stays a crack, so that it can be reported.
    """
    return finish(welding(points, triangles))


def welding(points: FloatArray, triangles: IntArray) -> Steps[Mesh]:
    """Do as `weld`, a step at a time."""
    used = np.zeros(len(points), dtype=bool)
    used[triangles.ravel()] = True
    kept = np.flatnonzero(used)
    yield 0.1
    place = np.zeros(len(points), dtype=np.int64)
    number, first = yield from part(numbering_rows(points[kept] + 0.0), 0.1, 0.9)
    place[kept] = number
    return Mesh(points[kept[first]], place[triangles])


def same_rows(rows: FloatArray | IntArray) -> tuple[IntArray, IntArray]:
    """Give each row of an (n, 3) array of 8-byte numbers its number (n,), and the first row of every number (k,).

    Equal rows have one number; numbers count up in the order of first appearance. NaN and -0.0 must not occur.
    """
    return finish(numbering_rows(rows))


def numbering_rows(rows: FloatArray | IntArray) -> Steps[tuple[IntArray, IntArray]]:
    """Do as `same_rows`, a step at a time."""
    bits = np.ascontiguousarray(rows).view(np.uint64)
    key = np.zeros(len(rows), dtype=np.uint64)
    for column, spread in zip(bits.T, _SPREAD, strict=True):
        key += (column ^ (column >> np.uint64(32))) * spread
    yield 0.1
    order = yield from part(stable_order(key), 0.1, 0.6)
    differs = np.zeros(max(0, len(order) - 1), dtype=bool)
    for column in rows.T:
        there = column[order]
        differs |= there[1:] != there[:-1]
        yield 0.65
    if (differs & (key[order[1:]] == key[order[:-1]])).any():
        order = np.lexsort((rows[:, 2], rows[:, 1], rows[:, 0]))
        differs = (rows[order[1:]] != rows[order[:-1]]).any(axis=1)
    starts = np.concatenate([np.ones(min(1, len(order)), dtype=bool), differs])
    group = np.cumsum(starts) - 1
    # Both sorts are stable, so a group's first member is its first row.
    first = order[starts]
    by_first = yield from part(stable_order(first), 0.7, 0.9)
    rank = np.empty(len(first), dtype=np.int64)
    rank[by_first] = np.arange(len(first))
    number = np.empty(len(order), dtype=np.int64)
    number[order] = rank[group]
    return number, first[by_first]


def components(count: int, a: IntArray, b: IntArray) -> IntArray:
    """Join ``a[i]`` with ``b[i]`` for every i, and give each of ``count`` nodes the least node it hangs together with.

    Every round hooks each tree onto its least neighbour and flattens the trees by pointer jumping; the rounds grow
    with the logarithm of the count (after Shiloach and Vishkin 1982, Journal of Algorithms 3, 57-67; from memory).
    """
    return finish(hanging_together(count, a, b))


def hanging_together(count: int, a: IntArray, b: IntArray) -> Steps[IntArray]:
    """Do as `components`, a step at a time."""
    root = np.arange(count)
    pairs = len(a)
    while len(a):
        a = root[a]
        yield 1.0 - len(a) / pairs
        b = root[b]
        yield 1.0 - len(a) / pairs
        apart = np.flatnonzero(a != b)
        a = a[apart]
        yield 1.0 - len(a) / pairs
        b = b[apart]
        yield 1.0 - len(a) / pairs
        for begin in range(0, len(a), _HOOKS):
            one, other = a[begin : begin + _HOOKS], b[begin : begin + _HOOKS]
            np.minimum.at(root, np.maximum(one, other), np.minimum(one, other))
            yield 1.0 - len(a) / pairs
        while True:
            above = root[root]
            yield 1.0 - len(a) / pairs
            if np.array_equal(above, root):
                break
            root = above
    return root
