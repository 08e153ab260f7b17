"""Systems of equations on a graph, solved directly: nodes are taken out in rounds of such as do not touch each other.

What runs along paths is halved in every round (cyclic reduction; R. Hockney, J. ACM 12, 1965), what branches is taken
out by least degree (H. Markowitz, Management Science 3, 1957). Nothing is pivoted: the systems are diagonally dominant.
The order depends on the graph alone and is found once; every round then is a handful of operations over all its nodes
and over all cases.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..solid.mesh import FloatArray, IntArray

# In a round nodes go that have at most so many neighbours, or so many more than any: fewer rounds, hardly more to do.
PATH, MORE = 3, 3


@dataclass(frozen=True, slots=True, eq=False)
class _Round:
    """One round: nodes (r,) go. Entries of the matrix are numbers into one list: diagonals first.

    For every neighbour of a node: ``owner`` (p,) its place among the nodes, ``beside`` (p,) the neighbour, ``inward``
    and ``outward`` (p,) the entries in the neighbour's row and in the node's. Each pair of them changes an entry:
    ``by`` and ``of`` (q,) are places among the p, sorted by the entry; ``into`` (t,) the entries, ``first`` (t,) where
    each begins. ``rows`` (s,) and ``row_first`` (s,) in the same way for right sides, over the p in ``row_order``.
    ``with_neighbours`` are the places of nodes that have any, and ``node_first`` where the p of each begin.
    """

    nodes: IntArray
    owner: IntArray
    beside: IntArray
    inward: IntArray
    outward: IntArray
    by: IntArray
    of: IntArray
    into: IntArray
    first: IntArray
    row_order: IntArray
    rows: IntArray
    row_first: IntArray
    node_first: IntArray
    with_neighbours: IntArray


@dataclass(frozen=True, slots=True, eq=False)
class Elimination:
    """The order in which a graph of ``count`` nodes is taken apart. Make it with `elimination`.

    ``entries`` there are in all, ``forward`` and ``backward`` (m,) those of the joints; ``is_plain``: no pair of nodes
    is joined more than once.
    """

    count: int
    entries: int
    forward: IntArray
    backward: IntArray
    rounds: tuple[_Round, ...]
    is_plain: bool


def elimination(count: int, joints: IntArray) -> Elimination:
    """Find the order for nodes 0 to ``count`` - 1 joined by ``joints`` (m, 2); a pair may be named more than once."""
    around: list[dict[int, int]] = [{} for _ in range(count)]  # neighbour -> entry of A[node, neighbour]
    size = count
    forward, backward = [], []
    for a, b in np.asarray(joints, dtype=np.int64).reshape(-1, 2).tolist():
        if b not in around[a]:
            around[a][b], around[b][a] = size, size + 1
            size += 2
        forward.append(around[a][b])
        backward.append(around[b][a])
    left = list(range(count))
    rounds: list[_Round] = []
    while left:
        degree = [len(around[v]) for v in left]
        most = max(PATH, min(degree) + MORE)
        touched: set[int] = set()
        chosen = []
        for d, v in sorted(zip(degree, left, strict=True)):
            if d <= most and v not in touched:
                chosen.append(v)
                touched.add(v)
                touched.update(around[v])
        made, size = _round(chosen, around, size)
        rounds.append(made)
        gone = set(chosen)
        left = [v for v in left if v not in gone]
    return Elimination(
        count=count,
        entries=size,
        forward=np.array(forward, dtype=np.int64),
        backward=np.array(backward, dtype=np.int64),
        rounds=tuple(rounds),
        is_plain=len({*forward, *backward}) == 2 * len(forward),
    )


def solve(
    plan: Elimination, diagonal: FloatArray, forward: FloatArray, backward: FloatArray, right: FloatArray
) -> FloatArray:
    """Solve A x = right in every case: x (n, b).

    ``diagonal`` (n, b); of joint (i, j) ``forward`` (m, b) is A[i, j] and ``backward`` A[j, i]; ``right`` (n, b). What
    is named twice adds up. The matrix has to be diagonally dominant, by rows or by columns.
    """
    cases = right.shape[1]
    entries = np.zeros((plan.entries, cases))
    entries[: plan.count] = diagonal
    if plan.is_plain:
        entries[plan.forward] = forward
        entries[plan.backward] = backward
    else:
        np.add.at(entries, plan.forward, forward)
        np.add.at(entries, plan.backward, backward)
    known = right.copy()
    kept = []
    for one in plan.rounds:
        pivot = entries.take(one.nodes, axis=0)
        share = entries.take(one.inward, axis=0)
        share /= pivot.take(one.owner, axis=0)
        outward = entries.take(one.outward, axis=0)
        kept.append((pivot, outward))
        if len(one.into):
            changes = share.take(one.by, axis=0)
            changes *= outward.take(one.of, axis=0)
            entries[one.into] -= _summed(changes, one.first)
        if len(one.rows):
            share *= known.take(one.nodes, axis=0).take(one.owner, axis=0)
            known[one.rows] -= _summed(share.take(one.row_order, axis=0), one.row_first)
    found = np.empty_like(known)
    for one, (pivot, outward) in zip(reversed(plan.rounds), reversed(kept), strict=True):
        rest = known.take(one.nodes, axis=0)
        if len(one.with_neighbours):
            outward *= found.take(one.beside, axis=0)
            rest[one.with_neighbours] -= _summed(outward, one.node_first)
        rest /= pivot
        found[one.nodes] = rest
    return found


def _round(chosen: Sequence[int], around: list[dict[int, int]], size: int) -> tuple[_Round, int]:
    """Take nodes out of the graph, joining the neighbours of each; give the round and the new number of entries."""
    owner: list[int] = []
    beside: list[int] = []
    inward: list[int] = []
    outward: list[int] = []
    by: list[int] = []
    of: list[int] = []
    into: list[int] = []
    for place, v in enumerate(chosen):
        mine = list(around[v])
        begin = len(beside)
        for u in mine:
            owner.append(place)
            beside.append(u)
            inward.append(around[u].pop(v))
            outward.append(around[v][u])
        for p, u in enumerate(mine):
            for q, w in enumerate(mine):
                if u == w:
                    entry = u
                else:
                    if w not in around[u]:
                        around[u][w], around[w][u] = size, size + 1
                        size += 2
                    entry = around[u][w]
                by.append(begin + p)
                of.append(begin + q)
                into.append(entry)
        around[v] = {}
    order = np.argsort(np.array(into, dtype=np.int64), kind="stable")
    targets, first = np.unique(np.array(into, dtype=np.int64)[order], return_index=True)
    row_order = np.argsort(np.array(beside, dtype=np.int64), kind="stable")
    rows, row_first = np.unique(np.array(beside, dtype=np.int64)[row_order], return_index=True)
    with_neighbours, node_first = np.unique(np.array(owner, dtype=np.int64), return_index=True)
    return (
        _Round(
            nodes=np.array(chosen, dtype=np.int64),
            owner=np.array(owner, dtype=np.int64),
            beside=np.array(beside, dtype=np.int64),
            inward=np.array(inward, dtype=np.int64),
            outward=np.array(outward, dtype=np.int64),
            by=np.array(by, dtype=np.int64)[order],
            of=np.array(of, dtype=np.int64)[order],
            into=targets,
            first=first,
            row_order=row_order,
            rows=rows,
            row_first=row_first,
            node_first=node_first,
            with_neighbours=with_neighbours,
        ),
        size,
    )


def _summed(values: FloatArray, first: IntArray) -> FloatArray:
    """Sum rows (k, b) in runs that begin at ``first`` (t,): (t, b)."""
    if len(first) == len(values):
        return values
    if values.shape[1] == 1:
        # Far quicker on one axis than on two.
        return np.asarray(np.add.reduceat(values[:, 0], first))[:, None]
    return np.asarray(np.add.reduceat(values, first, axis=0))
