"""Equal things made one: points with the same coordinates, rows with the same numbers."""

import numpy as np

from .mesh import FloatArray, IntArray, Mesh

# Odd multipliers that spread a coordinate's bits over the whole key (golden ratio and two from splitmix64, Steele,
# Lea, Flood 2014; from memory). Any odd numbers give right answers, since equal keys are compared in full.
_SPREAD = np.array([0x9E3779B97F4A7C15, 0xBF58476D1CE4E5B9, 0x94D049BB133111EB], dtype=np.uint64)


def weld(points: FloatArray, triangles: IntArray) -> Mesh:
    """Merge points with exactly equal coordinates, and leave out those that no triangle names.

    ``points`` (n, 3), ``triangles`` (m, 3). Points keep the order of their first use in ``points``; -0.0 equals 0.0.
    Nothing is merged by nearness: a crack of one rounding step stays a crack, so that it can be reported.
    """
    used = np.zeros(len(points), dtype=bool)
    used[triangles.ravel()] = True
    kept = np.flatnonzero(used)
    place = np.zeros(len(points), dtype=np.int64)
    number, first = same_rows(points[kept] + 0.0)
    place[kept] = number
    return Mesh(points[kept[first]], place[triangles])


def same_rows(rows: FloatArray | IntArray) -> tuple[IntArray, IntArray]:
    """Give each row of an (n, 3) array of 8-byte numbers its number (n,), and the first row of every number (k,).

    Equal rows have one number; numbers count up in the order of first appearance. NaN and -0.0 must not occur.
    """
    bits = np.ascontiguousarray(rows).view(np.uint64)
    mixed = bits ^ (bits >> np.uint64(32))
    key = (mixed * _SPREAD).sum(axis=1, dtype=np.uint64)
    order = np.argsort(key, kind="stable")
    differs = (rows[order[1:]] != rows[order[:-1]]).any(axis=1)
    if (differs & (key[order[1:]] == key[order[:-1]])).any():
        order = np.lexsort((rows[:, 2], rows[:, 1], rows[:, 0]))
        differs = (rows[order[1:]] != rows[order[:-1]]).any(axis=1)
    starts = np.concatenate([np.ones(min(1, len(order)), dtype=bool), differs])
    group = np.cumsum(starts) - 1
    # Both sorts are stable, so a group's first member is its first row.
    first = order[starts]
    rank = np.empty(len(first), dtype=np.int64)
    by_first = np.argsort(first, kind="stable")
    rank[by_first] = np.arange(len(first))
    number = np.empty(len(order), dtype=np.int64)
    number[order] = rank[group]
    return number, first[by_first]


def components(count: int, a: IntArray, b: IntArray) -> IntArray:
    """Join ``a[i]`` with ``b[i]`` for every i, and give each of ``count`` nodes the least node it hangs together with.

    Every round hooks each tree onto its least neighbour and flattens the trees by pointer jumping; the rounds grow
    with the logarithm of the count (after Shiloach and Vishkin 1982, Journal of Algorithms 3, 57-67; from memory).
    """
    root = np.arange(count)
    while len(a):
        a, b = root[a], root[b]
        apart = a != b
        a, b = a[apart], b[apart]
        np.minimum.at(root, np.maximum(a, b), np.minimum(a, b))
        while True:
            above = root[root]
            if np.array_equal(above, root):
                break
            root = above
    return root
