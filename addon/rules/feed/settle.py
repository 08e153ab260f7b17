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


def settled(solid: Mesh) -> Mesh:
    """Move points by no more than a grid step and take triangles away that fall together.

    Gives the solid as it came where no step leaves it as sound as it was: closed, with the same shells, handles and
    volume.
    """
    before, volume = facts(solid), volume_mm3(solid)
    finest = float(np.spacing(np.float32(SCALED * np.abs(solid.points).max())))
    for step in finest * np.array(STEPS):
        moved = np.round(solid.points / step) * step
        tried = _without_fallen(weld(moved, solid.triangles))
        same = len(tried.triangles) and abs(volume_mm3(tried) - volume) <= SAME_VOLUME * abs(volume)
        if same and _as_sound(facts(tried), before):
            return tried
    return solid


def _without_fallen(mesh: Mesh) -> Mesh:
    """Leave out triangles with two corners at one place, and pairs on the same three points that face each other."""
    a, b, c = mesh.triangles.T
    whole: IntArray = mesh.triangles[(a != b) & (b != c) & (c != a)]
    number, _ = same_rows(np.sort(whole, axis=1))
    alone = np.bincount(number)[number] == 1
    return weld(mesh.points, whole[alone])


def _as_sound(now: MeshFacts, before: MeshFacts) -> bool:
    return (
        now.closed
        and not now.inside_out
        and now.non_manifold_edges == 0
        and now.doubled_faces == 0
        and (now.shells, now.genus) == (before.shells, before.genus)
    )
