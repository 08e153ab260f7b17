"""A joined solid settled on a fine grid, so that no two of its points are nearer than files can tell apart.

A solver leaves slivers where cuts nearly meet: points a billionth of a millimetre apart. In single precision, or where
a program merges what lies close, they fall together, and triangles without area are left that read as open edges.
"""

import numpy as np

from ..solid.measure import volume_mm3
from ..solid.mesh import IntArray, Mesh
from ..solid.topology import MeshFacts, facts
from ..solid.weld import same_rows, weld

# Steps of the grid tried in turn, as multiples of what single precision can tell apart at the solid's far end.
STEPS = (2.0, 3.0, 5.0, 8.0)
# A print file is scaled before it is written, by at most about this much.
SCALED = 1.1
# How far the volume may change, as a share.
SAME_VOLUME = 1e-6


def settled(solid: Mesh, before: MeshFacts | None = None) -> Mesh:
    """Move points by no more than a grid step and take triangles away that fall together.

    Gives the solid as it came where no step leaves it as sound as it was: closed, with the same shells, handles and
    volume. ``before`` are its facts, where they are known already.
    """
    before, volume = facts(solid) if before is None else before, volume_mm3(solid)
    finest = float(np.spacing(np.float32(SCALED * np.abs(solid.points).max())))
    for step in finest * np.array(STEPS):
        moved = np.round(solid.points / step) * step
        tried = _without_fallen(solid.triangles, weld(moved, solid.triangles))
        if not len(tried.triangles) or abs(volume_mm3(tried) - volume) > SAME_VOLUME * abs(volume):
            continue
        # Where no two points became one, the triangles hang together as before: what was sound is.
        alone = len(tried.points) == len(solid.points) and len(tried.triangles) == len(solid.triangles)
        if _as_sound(before if alone else facts(tried), before):
            return tried
    return solid


def _without_fallen(before: IntArray, welded: Mesh) -> Mesh:
    """Leave out triangles with two corners at one place, and pairs on the same three points that face each other.

    ``before`` are the triangles (m, 3) as they were. Only those at a point that several became can have fallen.
    """
    old, new = before.ravel(), welded.triangles.ravel()
    last = np.zeros(len(welded.points), dtype=np.int64)
    last[new] = old
    several = np.zeros(len(welded.points), dtype=bool)
    several[new[last[new] != old]] = True
    rows = np.flatnonzero(several[welded.triangles].any(axis=1))
    a, b, c = welded.triangles[rows].T
    whole = (a != b) & (b != c) & (c != a)
    number, _ = same_rows(np.sort(welded.triangles[rows], axis=1))
    pairs = np.bincount(number, weights=whole)[number] > 1
    kept = np.ones(len(welded.triangles), dtype=bool)
    kept[rows] = whole & ~pairs
    triangles = welded.triangles[kept]
    used = np.zeros(len(welded.points), dtype=bool)
    used[triangles] = True
    return Mesh(welded.points[used], (np.cumsum(used) - 1)[triangles])


def _as_sound(now: MeshFacts, before: MeshFacts) -> bool:
    return (
        now.closed
        and not now.inside_out
        and now.non_manifold_edges == 0
        and now.doubled_faces == 0
        and (now.shells, now.genus) == (before.shells, before.genus)
    )
