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

from .mesh import FloatArray, IntArray, Mesh
from .weld import components, weld

BoolArray = npt.NDArray[np.bool_]


def loops(mesh: Mesh) -> tuple[FloatArray, ...]:
    """Give 2 x genus closed polygons (k, 3) on the surface, summed over the shells; the last point joins the first.

    They run along edges of the mesh and generate the first homology of its surface. Deterministic. A mesh that is open
    or has an edge without exactly two opposite faces carries none, even after points at one place are made one. A point
    where a surface pinches is cut apart first, so that it joins nothing.
    """
    twins = _twins(mesh)
    if twins is None:
        mesh = _made_one(mesh)
        twins = _twins(mesh)
    if twins is None:
        return ()
    spots, points = _umbrellas(mesh, twins)
    heads = spots[_next(np.arange(len(spots)))]
    once = np.flatnonzero(np.arange(len(twins)) < twins)
    ends = np.stack([spots[once], heads[once]], axis=1)
    lengths = np.linalg.norm(points[ends[:, 1]] - points[ends[:, 0]], axis=1)
    parent, reach, in_tree = _breadth_first(len(points), ends, lengths)
    rest = np.flatnonzero(~in_tree)
    longest_first = rest[np.argsort(-(reach[ends[rest, 0]] + reach[ends[rest, 1]] + lengths[rest]), kind="stable")]
    faces = np.stack([once, twins[once]], axis=1)[longest_first] // 3
    left = longest_first[~_spanning_forest(len(mesh.triangles), faces)]
    return tuple(points[path] for path in _closed_paths(parent, ends[np.sort(left)]))


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


def _twins(mesh: Mesh) -> IntArray | None:
    """Give each half-edge's opposite, (3 m,), or None when some edge has not exactly two opposite faces."""
    tails = mesh.triangles.ravel()
    heads = mesh.triangles[:, [1, 2, 0]].ravel()
    if len(tails) % 2 or len(tails) == 0:
        return None
    key = np.minimum(tails, heads) * len(mesh.points) + np.maximum(tails, heads)
    order = np.argsort(key, kind="stable")
    even, odd = order[0::2], order[1::2]
    paired = (key[even] == key[odd]).all() and (key[even][1:] != key[even][:-1]).all()
    if not paired or (tails[even] != heads[odd]).any() or (tails == heads).any():
        return None
    twins = np.empty_like(order)
    twins[even], twins[odd] = odd, even
    return twins


def _made_one(mesh: Mesh) -> Mesh:
    """Make points at one place one point, and drop the triangles that lose a corner by it."""
    joined = weld(mesh.points, mesh.triangles)
    t = joined.triangles
    whole = (t[:, 0] != t[:, 1]) & (t[:, 1] != t[:, 2]) & (t[:, 2] != t[:, 0])
    return Mesh(joined.points, t[whole])


def _umbrellas(mesh: Mesh, twins: IntArray) -> tuple[IntArray, FloatArray]:
    """Give places of the surface numbers, a pinched point one for every sheet that passes through it.

    Returns the number of each half-edge's tail (3 m,) and the points (n, 3).
    """
    round_point = _next(twins)
    label = np.arange(len(twins))
    while True:
        lower = np.minimum(label, label[round_point])
        if (lower == label).all():
            break
        label, round_point = lower, round_point[round_point]
    firsts, spots = np.unique(label, return_inverse=True)
    return spots.reshape(-1), mesh.points[mesh.triangles.ravel()[firsts]]


def _breadth_first(count: int, ends: IntArray, lengths: FloatArray) -> tuple[IntArray, FloatArray, BoolArray]:
    """Grow a spanning tree in every connected part at once, by levels.

    Returns each point's parent (its own number at a root), its distance from the root along the tree, and which edges
    (k, 2) are in the tree.
    """
    edge = np.tile(np.arange(len(ends)), 2)
    tail, head = ends.T.ravel(), ends[:, ::-1].T.ravel()
    order = np.argsort(tail, kind="stable")
    edge, head = edge[order], head[order]
    begins = np.searchsorted(tail[order], np.arange(count + 1))
    parent = np.full(count, -1)
    reach = np.zeros(count)
    in_tree = np.zeros(len(ends), dtype=bool)
    front = np.unique(components(count, ends[:, 0], ends[:, 1]))
    parent[front] = front
    while len(front):
        degree = begins[front + 1] - begins[front]
        stops = np.cumsum(degree)
        slots = np.arange(int(stops[-1])) + np.repeat(begins[front] - stops + degree, degree)
        slots, source = slots[parent[head[slots]] < 0], np.repeat(front, degree)[parent[head[slots]] < 0]
        reached, first = np.unique(head[slots], return_index=True)
        parent[reached] = source[first]
        reach[reached] = reach[source[first]] + lengths[edge[slots[first]]]
        in_tree[edge[slots[first]]] = True
        front = reached
    return parent, reach, in_tree


def _jumped(parent: IntArray) -> IntArray:
    """Point every node straight at its root."""
    while True:
        further = parent[parent]
        if (further == parent).all():
            return parent
        parent = further


def _spanning_forest(count: int, links: IntArray) -> BoolArray:
    """Tell which links (k, 2) are in the spanning forest that prefers earlier links (Boruvka's rounds)."""
    part = np.arange(count)
    chosen = np.zeros(len(links), dtype=bool)
    alive = np.arange(len(links))
    while True:
        a, b = part[links[alive, 0]], part[links[alive, 1]]
        crossing = a != b
        alive, a, b = alive[crossing], a[crossing], b[crossing]
        if len(alive) == 0:
            return chosen
        best = np.full(count, len(links))
        np.minimum.at(best, a, alive)
        np.minimum.at(best, b, alive)
        hooked = np.flatnonzero(best < len(links))
        picks = best[hooked]
        chosen[picks] = True
        one, other = part[links[picks, 0]], part[links[picks, 1]]
        onto = np.arange(count)
        onto[hooked] = np.where(one == hooked, other, one)
        # Each link has its own rank, so the only rings are two parts that picked the same link.
        mutual = (onto[onto] == np.arange(count)) & (np.arange(count) < onto)
        onto[mutual] = np.flatnonzero(mutual)
        part = _jumped(onto)[part]


def _closed_paths(parent: IntArray, closing: IntArray) -> list[IntArray]:
    """Give the loop each closing edge (k, 2) makes through the tree, without the stem the two ways share."""
    if len(closing) == 0:
        return []
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
