"""The narrowest slit of a closed mesh: where two sides of a body face each other across the open, as in a split ring.

From places all over the surface a ball is set down outside, touching it; where another side that looks back reaches
into the ball, the way there is the width of the slit. Smaller balls go before larger ones, which would lie in the metal
beyond. A slit is found where it is longer than `SPACING_MM`; the corner between two sides that meet is none, nor are
sides that lie on each other.
"""

from dataclasses import dataclass

import numpy as np

from ..base.progress import Steps, part
from .measure import normals
from .mesh import FloatArray, Mesh
from .surface import nearest_on, surface_of
from .wall_places import MOST, halved, one_a_patch

# One place stands for what lies within a cube of this side and looks the same way; large triangles are cut to fit.
SPACING_MM = 0.3
# Balls as shares of the greatest.
_SIZES = (1.0 / 27.0, 1.0 / 9.0, 1.0 / 3.0, 1.0)
# Sides that lean less than 25 degrees to each other face each other. Our judgement.
_FACING = -0.9
_THROUGH = 1e-3
_TRIANGLES = 1 << 16


@dataclass(frozen=True, slots=True, eq=False)
class Slit:
    """A slit ``width_mm`` wide between ``point_a`` and ``point_b`` (3,), in the mesh's own coordinates."""

    width_mm: float
    point_a: FloatArray
    point_b: FloatArray


def narrowest_slit(mesh: Mesh, below_mm: float) -> Steps[Slit | None]:
    """Find the narrowest slit below a width, mm; ``mesh`` closed, its faces looking outward. None if there is none."""
    surface = yield from part(surface_of(mesh), 0.0, 0.3)
    best: Slit | None = None
    count = len(mesh.triangles)
    for start in range(0, count, _TRIANGLES):
        corners = mesh.points[mesh.triangles[start : start + _TRIANGLES]]
        outward = normals(corners)
        area = np.sqrt((outward * outward).sum(axis=1))
        real = area > 0.0
        corners, outward = halved(corners[real], outward[real] / area[real, None], SPACING_MM, MOST)
        at = corners.mean(axis=1)
        chosen = one_a_patch(at, outward, SPACING_MM)
        at, outward = at[chosen], outward[chosen]
        for nth, size in enumerate(_SIZES):
            radius = 0.5 * size * (below_mm if best is None else best.width_mm)
            share = 0.3 + 0.7 * (start + _TRIANGLES * nth / len(_SIZES)) / count
            asking = nearest_on(surface, at + radius * outward, radius * (1.0 - _THROUGH))
            met = yield from part(asking, min(1.0, share), min(1.0, share))
            hit = np.flatnonzero(met.triangle >= 0)
            way = met.foot[hit] - at[hit]
            back = normals(mesh.points[mesh.triangles[met.triangle[hit]]])
            size_of_back = np.sqrt((back * back).sum(axis=1))
            facing = (back * outward[hit]).sum(axis=1) < _FACING * size_of_back
            width = (way * outward[hit]).sum(axis=1)
            facing &= (width > 0.0) & (width < (below_mm if best is None else best.width_mm))
            if facing.any():
                row = np.flatnonzero(facing)[int(width[facing].argmin())]
                best = Slit(float(width[row]), at[hit[row]], met.foot[hit[row]])
    return best
