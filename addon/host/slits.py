"""Slits of no width: places where one triangle's edge lies along two or more edges of its neighbours.

A solver that works with faces of many corners can leave them when its faces are cut into triangles. The triangle at the
long edge is divided at the corners that lie on it, so nothing moves and no triangle without area is made.
"""

from itertools import pairwise

import numpy as np

from ..rules.solid.mesh import FloatArray, IntArray, Mesh

# How far from an edge a corner may lie to be on it: what single precision leaves of a piece of 200 mm.
ON_EDGE_MM = 5e-5
ROUNDS = 8
MOST = 2000


def close_slits(solid: Mesh) -> Mesh:
    """Close the slits of a mesh; one without slits, or open in another way, comes back as it is."""
    triangles = solid.triangles
    for _ in range(ROUNDS):
        edges, owners = lone_edges(triangles, len(solid.points))
        if not len(edges) or len(edges) > MOST:
            break
        divided = _divide(solid.points, triangles, edges, owners)
        if divided is None:
            break
        triangles = divided
    return Mesh(solid.points, triangles)


def lone_edges(triangles: IntArray, count: int) -> tuple[IntArray, IntArray]:
    """Give the directed edges (k, 2) that no triangle runs the other way, and the triangles (k,) they are of."""
    starts, ends = triangles.ravel(), np.roll(triangles, -1, axis=1).ravel()
    forward, backward = starts * count + ends, ends * count + starts
    lone = np.flatnonzero(~np.isin(forward, backward))
    return np.stack((starts[lone], ends[lone]), axis=1), lone // 3


def _divide(points: FloatArray, triangles: IntArray, edges: IntArray, owners: IntArray) -> IntArray | None:
    """Divide the triangles whose lone edge has other lone corners on it; None when there is none."""
    corners = np.unique(edges)
    taken: set[int] = set()
    fresh: list[tuple[int, int, int]] = []
    for (start, end), owner in zip(edges.tolist(), owners.tolist(), strict=True):
        if owner in taken:
            continue
        between = _on_edge(points, start, end, corners)
        if not between:
            continue
        (apex,) = (c for c in triangles[owner].tolist() if c not in (start, end))
        walk = [start, *between, end]
        if apex in walk:
            continue
        taken.add(owner)
        fresh += [(p, q, apex) for p, q in pairwise(walk)]
    if not fresh:
        return None
    kept = np.delete(triangles, sorted(taken), axis=0)
    return np.concatenate([kept, np.array(fresh, dtype=np.int64)])


def _on_edge(points: FloatArray, start: int, end: int, corners: IntArray) -> list[int]:
    """Give the corners on an edge between its ends, in their order from the start."""
    along = points[end] - points[start]
    length = float(np.linalg.norm(along))
    if length <= ON_EDGE_MM:
        return []
    offset = points[corners] - points[start]
    walked = offset @ along / length
    away = np.linalg.norm(offset - walked[:, None] * (along / length), axis=1)
    on = (away < ON_EDGE_MM) & (walked > 0) & (walked < length) & (corners != start) & (corners != end)
    return [int(c) for c in corners[on][np.argsort(walked[on])]]
