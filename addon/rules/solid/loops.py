"""Loops that carry a mesh's handles: twice its genus of them, by tree and co-tree.

A spanning tree of the points and a spanning tree of the faces that crosses none of its edges leave 2 x genus edges;
each closes one loop through the point tree, and together they generate the first homology of the surface: Eppstein
(2003), "Dynamic generators of topologically embedded graphs". Taking the co-tree greedily by loop length gives the
shortest such set through the root: Erickson and Whittlesey (2005), "Greedy optimal homotopy and homology generators".
(Both from memory.) All passes are whole-array: breadth first by levels, the co-tree by Boruvka's rounds.
"""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from ..base.progress import Steps, finish, part
from .mesh import FloatArray, IntArray, Mesh
from .sorting import stable_order
from .weld import hanging_together, welding

BoolArray = npt.NDArray[np.bool_]

# Loops closed at a time.
_CLOSED = 64


def loops(mesh: Mesh) -> tuple[FloatArray, ...]:
    """Give 2 x genus closed polygons (k, 3) on the surface, summed over the shells; the last point joins the first.

    They run along edges of the mesh and generate the first homology of its surface. Deterministic. A mesh that is open
    or has an edge without exactly two opposite faces carries none, even after points at one place are made one. A point
    where a surface pinches is cut apart first, so that it joins nothing.
    """
    return finish(finding_loops(mesh))


def finding_loops(mesh: Mesh) -> Steps[tuple[FloatArray, ...]]:
    """Do as `loops`, a step at a time."""
    twins = yield from part(_twins(mesh), 0.0, 0.1)
    if twins is None:
        mesh = yield from part(_made_one(mesh), 0.1, 0.2)
        twins = yield from part(_twins(mesh), 0.2, 0.3)
    if twins is None:
        return ()
    spots, points = yield from part(_umbrellas(mesh, twins), 0.3, 0.5)
    heads = spots[_next(np.arange(len(spots)))]
    yield 0.5
    once = np.flatnonzero(np.arange(len(twins)) < twins)
    ends = np.stack([spots[once], heads[once]], axis=1)
    lengths = np.linalg.norm(points[ends[:, 1]] - points[ends[:, 0]], axis=1)
    yield 0.5
    parent, reach, in_tree = yield from part(_breadth_first(len(points), ends, lengths), 0.5, 0.7)
    rest = np.flatnonzero(~in_tree)
    order = yield from part(stable_order(-(reach[ends[rest, 0]] + reach[ends[rest, 1]] + lengths[rest])), 0.7, 0.8)
    longest_first = rest[order]
    faces = np.stack([once, twins[once]], axis=1)[longest_first] // 3
    yield 0.8
    in_forest = yield from part(_spanning_forest(len(mesh.triangles), faces), 0.8, 1.0)
    left = longest_first[~in_forest]
    closing = ends[np.sort(left)]
    found: list[FloatArray] = []
    for begin in range(0, len(closing), _CLOSED):
        found += [points[path] for path in _closed_paths(parent, closing[begin : begin + _CLOSED])]
        yield 1.0
    return tuple(found)


def thinned(many: Sequence[FloatArray], tolerance_mm: FloatArray) -> tuple[FloatArray, ...]:
    """Drop points of closed polygons so that no original point lies farther than its tolerance from its new side.

    ``many`` each (k, 3), ``tolerance_mm`` one each. Every original point can slide straight to its new side without
    leaving the tolerance, so a loop that keeps more than that from another keeps its linking number with it. A loop
    that fits inside its tolerance of one point may shrink to one or two points.
    """
    if len(many) == 0:
        return ()
    points = np.concatenate(many)
    sizes = np.array([len(loop) for loop in many])
    offsets = np.cumsum(sizes) - sizes
    owner = np.repeat(np.arange(len(many)), sizes)
    allowed = (np.asarray(tolerance_mm, dtype=np.float64) ** 2)[owner]
    kept = np.ones(len(points), dtype=bool)
    idle, parity = 0, 1
    while idle < 2:
        rank = np.cumsum(kept) - 1
        rank -= rank[offsets][owner]
        trial = kept & ((rank % 2 != parity) | (rank == 0))
        spans = np.flatnonzero(trial)
        span = np.cumsum(trial) - 1
        last_of_loop = np.append(owner[spans][1:] != owner[spans][:-1], True)
        next_kept = np.where(last_of_loop, offsets[owner[spans]], np.append(spans[1:], 0))
        far = _squared_to_side(points, points[spans][span], points[next_kept][span]) > allowed
        spoiled = np.logical_or.reduceat(far, spans)
        new = trial | (kept & spoiled[span])
        idle = 0 if (new != kept).any() else idle + 1
        kept, parity = new, 1 - parity
    return tuple(
        points[begin:end][kept[begin:end]] for begin, end in zip(offsets, offsets + sizes, strict=True)
    )  # fmt: skip


def _squared_to_side(points: FloatArray, start: FloatArray, end: FloatArray) -> FloatArray:
    along = end - start
    squared = np.einsum("ij,ij->i", along, along)
    from_start = points - start
    share = np.einsum("ij,ij->i", from_start, along) / np.where(squared > 0, squared, 1.0)
    off = from_start - np.clip(share, 0.0, 1.0)[:, None] * along
    return np.asarray(np.einsum("ij,ij->i", off, off))


def _next(half_edges: IntArray) -> IntArray:
    """Give the next half-edge round the same triangle; half-edge 3 t + k runs from corner k of triangle t."""
    return np.asarray(half_edges + np.where(half_edges % 3 == 2, -2, 1))


def _twins(mesh: Mesh) -> Steps[IntArray | None]:
    """Give each half-edge's opposite, (3 m,), or None when some edge has not exactly two opposite faces."""
    tails = mesh.triangles.ravel()
    heads = mesh.triangles[:, [1, 2, 0]].ravel()
    if len(tails) % 2 or len(tails) == 0:
        return None
    key = np.minimum(tails, heads) * len(mesh.points) + np.maximum(tails, heads)
    yield 0.1
    order = yield from part(stable_order(key), 0.1, 0.8)
    even, odd = order[0::2], order[1::2]
    paired = (key[even] == key[odd]).all() and (key[even][1:] != key[even][:-1]).all()
    yield 0.9
    if not paired or (tails[even] != heads[odd]).any() or (tails == heads).any():
        return None
    twins = np.empty_like(order)
    twins[even], twins[odd] = odd, even
    return twins


def _made_one(mesh: Mesh) -> Steps[Mesh]:
    """Make points at one place one point, and drop the triangles that lose a corner by it."""
    joined = yield from welding(mesh.points, mesh.triangles)
    t = joined.triangles
    whole = (t[:, 0] != t[:, 1]) & (t[:, 1] != t[:, 2]) & (t[:, 2] != t[:, 0])
    return Mesh(joined.points, t[whole])


def _umbrellas(mesh: Mesh, twins: IntArray) -> Steps[tuple[IntArray, FloatArray]]:
    """Give places of the surface numbers, a pinched point one for every sheet that passes through it.

    Returns the number of each half-edge's tail (3 m,) and the points (n, 3).
    """
    round_point = _next(twins)
    label = np.arange(len(twins))
    while True:
        yield 0.0
        lower = np.minimum(label, label[round_point])
        if (lower == label).all():
            break
        label, round_point = lower, round_point[round_point]
    is_first = label == np.arange(len(label))
    spots = (np.cumsum(is_first) - 1)[label]
    return spots, mesh.points[mesh.triangles.ravel()[is_first]]


def _breadth_first(count: int, ends: IntArray, lengths: FloatArray) -> Steps[tuple[IntArray, FloatArray, BoolArray]]:
    """Grow a spanning tree in every connected part at once, by levels.

    Returns each point's parent (its own number at a root), its distance from the root along the tree, and which edges
    (k, 2) are in the tree.
    """
    edge = np.tile(np.arange(len(ends)), 2)
    tail, head = ends.T.ravel(), ends[:, ::-1].T.ravel()
    order = yield from part(stable_order(tail), 0.0, 0.3)
    edge, head = edge[order], head[order]
    begins = np.zeros(count + 1, dtype=np.int64)
    np.cumsum(np.bincount(tail, minlength=count), out=begins[1:])
    yield 0.35
    parent = np.full(count, -1)
    reach = np.zeros(count)
    in_tree = np.zeros(len(ends), dtype=bool)
    root = yield from part(hanging_together(count, ends[:, 0], ends[:, 1]), 0.35, 0.6)
    front = np.flatnonzero(root == np.arange(count))
    parent[front] = front
    grown = 0
    while len(front):
        degree = begins[front + 1] - begins[front]
        stops = np.cumsum(degree)
        slots = np.arange(int(stops[-1])) + np.repeat(begins[front] - stops + degree, degree)
        slots, source = slots[parent[head[slots]] < 0], np.repeat(front, degree)[parent[head[slots]] < 0]
        reached, first = np.unique(head[slots], return_index=True)
        parent[reached] = source[first]
        reach[reached] = reach[source[first]] + lengths[edge[slots[first]]]
        in_tree[edge[slots[first]]] = True
        grown += len(front)
        front = reached
        yield 0.6 + 0.4 * grown / count
    return parent, reach, in_tree


def _jumped(parent: IntArray) -> IntArray:
    """Point every node straight at its root."""
    while True:
        further = parent[parent]
        if (further == parent).all():
            return parent
        parent = further


def _spanning_forest(count: int, links: IntArray) -> Steps[BoolArray]:
    """Tell which links (k, 2) are in the spanning forest that prefers earlier links (Boruvka's rounds)."""
    home = np.arange(count)
    chosen = np.zeros(len(links), dtype=bool)
    alive = np.arange(len(links))
    while True:
        yield 1.0 - len(alive) / max(1, len(links))
        a, b = home[links[alive, 0]], home[links[alive, 1]]
        crossing = a != b
        alive, a, b = alive[crossing], a[crossing], b[crossing]
        if len(alive) == 0:
            return chosen
        yield 1.0 - len(alive) / len(links)
        best = np.full(count, len(links))
        np.minimum.at(best, a, alive)
        np.minimum.at(best, b, alive)
        hooked = np.flatnonzero(best < len(links))
        picks = best[hooked]
        chosen[picks] = True
        one, other = home[links[picks, 0]], home[links[picks, 1]]
        onto = np.arange(count)
        onto[hooked] = np.where(one == hooked, other, one)
        # Each link has its own rank, so the only rings are two parts that picked the same link.
        mutual = (onto[onto] == np.arange(count)) & (np.arange(count) < onto)
        onto[mutual] = np.flatnonzero(mutual)
        home = _jumped(onto)[home]


def _closed_paths(parent: IntArray, closing: IntArray) -> list[IntArray]:
    """Give the loop each closing edge (k, 2) makes through the tree, without the stem the two ways share."""
    rows = [closing.ravel()]
    while (parent[rows[-1]] != rows[-1]).any():
        rows.append(parent[rows[-1]])
    climbs = np.array(rows)
    paths = []
    for place in range(len(closing)):
        one, other = climbs[:, 2 * place], climbs[:, 2 * place + 1]
        # A climb that has reached the root stays there, so count the steps of each.
        steps = np.count_nonzero(np.stack([one[1:] != one[:-1], other[1:] != other[:-1]]), axis=1)
        one, other = one[: steps[0] + 1], other[: steps[1] + 1]
        shared = min(len(one), len(other))
        differ = np.flatnonzero(one[::-1][:shared] != other[::-1][:shared])
        stem = int(differ[0]) if len(differ) else shared
        # Keep the last shared point once.
        up, down = one[: len(one) - stem + 1], other[: len(other) - stem]
        paths.append(np.concatenate([up, down[::-1]]))
    return paths
