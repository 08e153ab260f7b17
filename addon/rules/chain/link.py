"""One link as a family draws it: a closed centreline, its wire, and the turn to the next link."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ..solid.mesh import FloatArray

# Parameters t (...,) in radians, period 2 pi, to position, first and second derivative, each (..., 3).
Curve = Callable[[FloatArray], tuple[FloatArray, FloatArray, FloatArray]]

# Where the coarse look for the nearest places of two centrelines begins: fine enough that every bend of a link
# is several samples long, coarse enough for a thousand pairs within a drag of a slider.
SAMPLES = 64


@dataclass(frozen=True, slots=True, eq=False)
class Link:
    """One link in its own frame: x along the chain, y across the width, z normal to the face. Lengths in mm.

    ``curve`` the closed centreline in closed form, ``wire_mm`` the diameter of its round section, ``length_mm`` and
    ``width_mm`` outside sizes, ``turn_deg`` how far the next link is turned about x (0 or 90), ``samples`` (64, 3)
    points of the centreline at even parameters. A half turn about x must carry the link into itself.
    """

    curve: Curve
    wire_mm: float
    length_mm: float
    width_mm: float
    turn_deg: float
    samples: FloatArray

    @property
    def reach_mm(self) -> float:
        """Give the largest distance of any point of the metal from the link's centre."""
        return float(np.sqrt((self.samples**2).sum(axis=1)).max()) + self.wire_mm / 2


def link_of(curve: Curve, *, wire_mm: float, length_mm: float, width_mm: float, turn_deg: float) -> Link:
    """Make a link from its centreline."""
    return Link(curve, wire_mm, length_mm, width_mm, turn_deg, curve(even_parameters(SAMPLES))[0])


def columns(x: FloatArray, y: FloatArray, z: FloatArray) -> FloatArray:
    """Put three coordinates (...,) side by side as points (..., 3)."""
    points = np.empty((*x.shape, 3))
    points[..., 0], points[..., 1], points[..., 2] = x, y, z
    return points


def even_parameters(count: int) -> FloatArray:
    """Give ``count`` even parameters of a closed curve, from 0 to just before 2 pi."""
    return np.arange(count) * (2 * np.pi / count)


def curvature(curve: Curve, t: FloatArray) -> FloatArray:
    """Give the curvature of a curve in 1/mm at parameters t: |p' x p''| / |p'|^3."""
    _, first, second = curve(t)
    speed = np.sqrt((first**2).sum(axis=-1))
    return np.asarray(np.sqrt((np.cross(first, second) ** 2).sum(axis=-1)) / speed**3)
