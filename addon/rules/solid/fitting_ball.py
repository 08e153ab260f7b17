"""Where a ball of a given size fits inside the metal at once, so that no ball need be blown up there.

A ball that touches a facet off its middle overlaps the facet beside it, though the wire is as thick as the ball. So it
is slid along its facet until the facets beside leave it room, which is where a ball blown up there would come to. It
is never slid away from the other side of the metal, nor from a side that leans in towards the place, as in a neck.
"""

import numpy as np

from ..base.progress import Steps, part
from .held_ball import ROUGH
from .mesh import FloatArray, IntArray
from .surface import Surface, nearest_on

_SLIDES = 6
# A ball is slid no farther than this many radii: out of the corner of a box it takes the square root of 2.
_FARTHEST = 1.5
# Facets that turn no more than 110 degrees from where the ball stands are beside it, not the other side.
_BESIDE = -0.34
# A little farther than need be, since facets beside each other push in turn.
_PUSH = 1.0 + 1e-6


def too_small_for(surface: Surface, at: FloatArray, inward: FloatArray, radius_mm: float) -> Steps[IntArray]:
    """Give the numbers of places ``at`` (n, 3) of a surface where no ball of a radius fits, or none was found to.

    ``inward`` (n, 3) unit, square to the surface. A ball that fits touches the plane of the place no farther than
    `_FARTHEST` radii from it, and reaches through the surface by no more than the share `ROUGH` of its radius.
    """
    left: IntArray = np.arange(len(at))
    if not np.isfinite(radius_mm):
        return left
    unfit = [left[:0]]
    middle = at + radius_mm * inward
    for slide in range(_SLIDES):
        asking = nearest_on(surface, middle[left], radius_mm * (1.0 - ROUGH))
        met = yield from part(asking, slide / _SLIDES, (slide + 1) / _SLIDES)
        hit = met.triangle >= 0
        left, foot = left[hit], met.foot[hit]
        out = middle[left] - foot
        length = np.sqrt((out * out).sum(axis=1))
        out /= np.where(length > 0.0, length, 1.0)[:, None]
        along = (out * inward[left]).sum(axis=1)
        sideways = np.sqrt(np.maximum(1.0 - along * along, 0.0))
        beside = ((at[left] - foot) * out).sum(axis=1) > -ROUGH * radius_mm
        beside &= (along > _BESIDE) & (sideways * _FARTHEST * radius_mm > radius_mm - length)
        unfit.append(left[~beside])
        left, out, along, sideways = left[beside], out[beside], along[beside], sideways[beside]
        way = _PUSH * (radius_mm - length[beside]) / sideways
        middle[left] += (way / sideways)[:, None] * (out - along[:, None] * inward[left])
        slid = middle[left] - at[left] - radius_mm * inward[left]
        near = (slid * slid).sum(axis=1) <= (_FARTHEST * radius_mm) ** 2
        unfit.append(left[~near])
        left = left[near]
    return np.sort(np.concatenate((*unfit, left)))
