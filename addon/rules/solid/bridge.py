"""A bridge between two places of a surface: a patch taken out of each, and strips of quads from hole to hole.

A solid grows a handle this way without any boolean: its triangles stay closed and outward, its genus rises by one.
"""

import numpy as np

from ..base.errors import Bug
from .mesh import FloatArray, IntArray, Mesh


def bridge(mesh: Mesh, first: IntArray, second: IntArray, rings: FloatArray) -> Mesh:
    """Take two patches out of a mesh and lead a tube of quads from one hole to the other.

    ``first`` and ``second`` number the triangles of the patches, each with one boundary of n edges. ``rings``
    (q, n, 3) mm are the tube's corners from the first hole to the second; each ring turns as the first patch's
    boundary does. Every quad is split from a corner on one ring to the next corner on the next. Raises Bug for patches
    that do not fit the rings.
    """
    q, n = rings.shape[:2]
    start, end = boundary(mesh.triangles[first]), boundary(mesh.triangles[second])[::-1]
    if not len(start) == len(end) == n:
        raise Bug(f"patches with {len(start)} and {len(end)} edges for rings of {n}")
    start = _turned_to(mesh.points, start, rings[0])
    end = _turned_to(mesh.points, end, rings[-1])
    tube = len(mesh.points) + np.arange(q * n).reshape(q, n)
    lines = np.concatenate((start[None], tube, end[None]))
    kept = np.delete(mesh.triangles, np.concatenate((first, second)), axis=0)
    triangles = np.concatenate((kept, strips(lines)))
    points = np.concatenate((mesh.points, rings.reshape(-1, 3)))
    used = np.zeros(len(points), dtype=bool)
    used[triangles] = True
    return Mesh(points[used], (np.cumsum(used) - 1)[triangles])


def boundary(triangles: IntArray) -> IntArray:
    """Give the points (n,) of the one boundary of a patch of triangles (m, 3), in the sense its triangles turn.

    Raises Bug where there is no such boundary or more than one.
    """
    edges = np.stack((triangles, np.roll(triangles, -1, axis=1)), axis=-1).reshape(-1, 2)
    known = {(int(a), int(b)) for a, b in edges}
    after = {a: b for a, b in known if (b, a) not in known}
    if not after:
        raise Bug("a patch without a boundary")
    loop = [min(after)]
    while (following := after[loop[-1]]) != loop[0]:
        loop.append(following)
    if len(loop) != len(after):
        raise Bug("a patch with more than one boundary")
    return np.array(loop, dtype=np.int64)


def strips(lines: IntArray) -> IntArray:
    """Give the triangles of quads between closed lines (q, n) of points, each and the next one."""
    here, there = lines[:-1], lines[1:]
    a, b, c, d = here, np.roll(here, -1, axis=1), np.roll(there, -1, axis=1), there
    return np.asarray(np.stack((a, b, c, a, c, d), axis=-1).reshape(-1, 3))


def _turned_to(points: FloatArray, loop: IntArray, ring: FloatArray) -> IntArray:
    """Start a closed loop at the point that brings all its points nearest to a ring's."""
    apart = ((points[loop][:, None] - ring[None]) ** 2).sum(axis=-1)
    k = np.arange(len(loop))
    far = [apart[(k + turn) % len(loop), k].sum() for turn in k]
    return np.asarray(np.roll(loop, -int(np.argmin(far))))
