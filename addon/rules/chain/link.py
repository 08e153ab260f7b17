"""One link as a family draws it: a closed centreline and its section, or the maker's own mesh."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ..solid.mesh import FloatArray, Mesh
from .section import Section, round_wire

# Parameters t (...,) in radians, period 2 pi, to position, first and second derivative, each (..., 3).
Curve = Callable[[FloatArray], tuple[FloatArray, FloatArray, FloatArray]]
# Parameters t (...,) to directions (..., 3), not yet square to the centreline.
Field = Callable[[FloatArray], FloatArray]

# Where the coarse look for the nearest places of two centrelines begins: fine enough that every bend of a link
# is several samples long, coarse enough for a thousand pairs within a drag of a slider.
SAMPLES = 64


@dataclass(frozen=True, slots=True, eq=False)
class Link:
    """One link in its own frame: x along the chain, y across the width, z normal to the face. Lengths in mm.

    ``curve`` the closed centreline in closed form (of an own mesh: a rough guide through its metal), ``section`` what
    is swept along it, ``length_mm`` and ``width_mm`` outside sizes, ``samples`` (64, 3) points of the centreline at
    even parameters. ``normal`` the way the broad side of a section looks (None for round wire). ``stud_mm`` thickness
    of a round bar across the middle, along y. ``own`` the maker's own mesh, in the link's frame, which then is the
    link.
    """

    curve: Curve
    section: Section
    length_mm: float
    width_mm: float
    samples: FloatArray
    normal: Field | None = None
    stud_mm: float | None = None
    own: Mesh | None = None

    @property
    def wire_mm(self) -> float:
        """Give the thickness of the wire, from the inside of the loop to its outside."""
        return self.section.thick_mm

    @property
    def plain(self) -> bool:
        """Tell whether the link is a round wire and nothing else: then its gaps follow from centrelines exactly."""
        return self.section.round and self.stud_mm is None and self.own is None

    @property
    def reach_mm(self) -> float:
        """Give the largest distance of any point of the metal from the link's centre, or a little more."""
        if self.own is not None:
            return float(np.sqrt((self.own.points**2).sum(axis=1)).max())
        half = float(np.hypot(self.section.thick_mm, self.section.broad_mm)) / 2 if not self.section.round else 0.0
        return float(np.sqrt((self.samples**2).sum(axis=1)).max()) + max(half, self.wire_mm / 2)


def link_of(
    curve: Curve,
    *,
    length_mm: float,
    width_mm: float,
    wire_mm: float | None = None,
    section: Section | None = None,
    normal: Field | None = None,
    stud_mm: float | None = None,
    own: Mesh | None = None,
) -> Link:
    """Make a link from its centreline and either a round ``wire_mm`` or a ``section``."""
    if section is None:
        assert wire_mm is not None
        section = round_wire(wire_mm)
    samples = curve(even_parameters(SAMPLES))[0]
    return Link(curve, section, length_mm, width_mm, samples, normal, stud_mm, own)


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
