"""Handles of a chain: where they stand, which way they are dragged, and what a millimetre of drag does to a size."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from bpy_extras.view3d_utils import region_2d_to_origin_3d, region_2d_to_vector_3d

from ..rules.solid.mesh import FloatArray
from .conversions import double
from .settings import size_choice
from .showing import parts

SIZE_KEYS = {
    "INNER": "inner_length_mm", "WRIST": "wrist_mm", "FINGER": "finger_mm", "LENGTH": "length_mm", "LINKS": "links",
}  # fmt: skip
WIDTH_KEY = "link_width_mm"
# A handle leads to as many links as the panel's slider, or to as many as there are: more would not follow the pointer.
MOST_LINKS = 200
# Seen along its own way a handle cannot be dragged: its view ray and its way are as good as parallel.
PARALLEL = 1e-3


@dataclass(frozen=True, slots=True, eq=False)
class Handle:
    """One handle of a chain.

    ``key``: the setting it changes; ``place`` (3,) mm and ``along`` (3,), of length 1, in the chain's own coordinates;
    ``per_mm``: by how much a millimetre of drag changes the setting; ``low`` and ``high``: how far it goes.
    """

    key: str
    place: FloatArray
    along: FloatArray
    per_mm: float
    low: float
    high: float

    @property
    def whole(self) -> bool:
        """Tell whether the setting is a whole number."""
        return self.key == SIZE_KEYS["LINKS"]

    def dragged(self, start: float, along_mm: float, step: float = 0.0) -> float:
        """Give the setting after a drag, within its limits, rounded to a ``step`` where there is one."""
        value = start + self.per_mm * along_mm
        step = max(step, 1.0) if self.whole else step
        if step > 0.0:
            value = round(value / step) * step
        return min(max(value, self.low), self.high)


def size_handle(ob: Any, mm: float) -> Handle | None:
    """Give the handle of what sets a chain's size; None on a curve that the chain fills, and where no links stand.

    On a ring it stands outside the first link and is dragged outwards; else beyond the last link, along the chain.
    ``mm`` of a scene unit.
    """
    group, links = ob.linkwright, parts(ob, "LINK")
    key = SIZE_KEYS.get(size_choice(group))
    if key is None or len(links) < 2:
        return None
    per_mm = 1.0
    if group.shape == "ring":
        link = links[0]
        out = double(link.matrix_basis)[:3, 3] * (1.0, 1.0, 0.0)
        per_mm = 2.0 * math.pi
    else:
        link = links[-1]
        out = double(link.matrix_basis)[:3, 3] - double(links[-2].matrix_basis)[:3, 3]
        if group.shape == "straight":
            # It lies about its middle: both ends move.
            per_mm = 2.0
    if not np.linalg.norm(out) > 0.0:
        return None
    figures = group.figures
    per_link = max(figures.worn_mm, 1e-6) / max(figures.links, 1)
    if key == "links":
        per_mm /= per_link
    low, high = _limits(group, key)
    most = max(MOST_LINKS, figures.links)
    high = min(high, float(most) if key == "links" else most * per_link)
    return _beyond(link, out, group.wire_mm, mm, key, per_mm, low, max(high, float(getattr(group, key))))


def width_handle(ob: Any, mm: float) -> Handle | None:
    """Give the handle of the width of a chain's links: it stands beside the first link. None for links of a mesh."""
    group, links = ob.linkwright, parts(ob, "LINK")
    if group.family == "mesh" or not links:
        return None
    return _beyond(
        links[0], double(links[0].matrix_basis)[:3, 1], group.wire_mm, mm, WIDTH_KEY, 2.0, *_limits(group, WIDTH_KEY)
    )


def _limits(group: Any, key: str) -> tuple[float, float]:
    prop = group.bl_rna.properties[key]
    return float(prop.hard_min), float(prop.hard_max)


def _beyond(
    link: Any, out: FloatArray, clear_mm: float, mm: float, key: str, per_mm: float, low: float, high: float
) -> Handle:
    """Put a handle as far beyond a link's metal as its wire is thick, the way ``out`` from its middle."""
    along = out / np.linalg.norm(out)
    matrix = double(link.matrix_basis)
    corners = double([tuple(corner) for corner in link.bound_box]) @ matrix[:3, :3].T
    reach = float((corners @ along).max()) * mm
    return Handle(key, matrix[:3, 3] * mm + along * (reach + clear_mm), along, per_mm, low, high)


def along_line(origin: FloatArray, ahead: FloatArray, place: FloatArray, along: FloatArray) -> float | None:
    """Give how far along a line through ``place`` it comes nearest to a view ray; None where they are parallel.

    All (3,); ``ahead`` and ``along`` of length 1. The nearest places of two lines: C. Ericson, Real-Time Collision
    Detection, 2005, section 5.1.8.
    """
    apart = place - origin
    across = float(along @ ahead)
    fall = 1.0 - across * across
    if fall < PARALLEL:
        return None
    return float(across * (ahead @ apart) - along @ apart) / fall


def view_ray(region: Any, view: Any, x: float, y: float) -> tuple[FloatArray, FloatArray]:
    """Give origin and direction (3,) of the ray under a place of the window in a 3D view's main region."""
    pixel = (x - region.x, y - region.y)
    return double(region_2d_to_origin_3d(region, view, pixel)), double(region_2d_to_vector_3d(region, view, pixel))
