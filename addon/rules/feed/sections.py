"""Sections of feed metal: a round rod, and a round rod with a flat foot that lies on the plate."""

from dataclasses import dataclass
from math import acos, ceil, cos, pi, radians, sin

import numpy as np

from ..solid.mesh import FloatArray

# How far a facet may lie inside the true round.
CHORD_MM = 0.02
# The flank of a foot rises at least this much steeper than the profile's overhang, so that facets stay printable.
SPARE_DEG = 5.0
FOOT_DEG = 45.0


@dataclass(frozen=True, slots=True)
class Section:
    """The section of a strut of one mm across: a circle, or a circle cut off level by the plate.

    ``foot`` is how far below the axis the plane cuts, as a share of the radius; 1 is the whole circle.
    """

    foot: float = 1.0

    @property
    def slope(self) -> float:
        """Give how steep the flanks rise from the foot, in radians from the level; those of a circle count as a foot's.

        It is the least slope at which feed metal is drawn: that of the foot's flanks is chosen by the overhang limit.
        """
        return acos(self.foot) if self.foot < 1.0 else radians(FOOT_DEG)

    def area_mm2(self, d_mm: float) -> float:
        """Give the area of the section inside a rod of diameter ``d_mm``: circle less its cut-off segment."""
        half = acos(self.foot)
        return (d_mm / 2) ** 2 * (pi - half + sin(half) * cos(half))

    def perimeter_mm(self, d_mm: float) -> float:
        """Give the length of the outline, the foot included."""
        half = acos(self.foot)
        return d_mm / 2 * (2 * (pi - half) + 2 * sin(half))

    def modulus_mm(self, d_mm: float) -> float:
        """Give area over perimeter: what freezing time goes by (Chvorinov). A round rod has d / 4."""
        return self.area_mm2(d_mm) / self.perimeter_mm(d_mm)

    def d_for_modulus(self, modulus_mm: float) -> float:
        """Give the diameter whose modulus is ``modulus_mm``: both grow in step."""
        return modulus_mm / self.modulus_mm(1.0)

    def d_for_area(self, area_mm2: float) -> float:
        """Give the diameter whose area is ``area_mm2``."""
        return float(np.sqrt(area_mm2 / self.area_mm2(1.0)))

    def outline(self, d_mm: float) -> FloatArray:
        """Give the corners (k, 2) of the section of radius 1, counter-clockwise, inscribed; ``d_mm`` sets how many.

        The first axis is across, the second up. A foot runs from the last corner to the first.
        """
        count = corners_round(d_mm)
        if self.foot >= 1.0:
            angle = np.arange(count) * (2 * pi / count)
        else:
            start = -np.arcsin(self.foot)
            angle = np.linspace(start, pi - start, count)
        corners = np.stack((np.cos(angle), np.sin(angle)), axis=1)
        if self.foot < 1.0:
            corners[[0, -1], 1] = -self.foot
        return np.asarray(corners)


ROUND = Section()


def footed(overhang_deg: float) -> Section:
    """Give the section that lies on the plate: its flanks rise from the foot steeper than ``overhang_deg``."""
    slope = max(FOOT_DEG, min(85.0, overhang_deg + SPARE_DEG))
    return Section(foot=sin(radians(90.0 - slope)))


def corners_round(d_mm: float) -> int:
    """Choose how many corners keep a circle of diameter ``d_mm`` within the chord tolerance, a multiple of 4."""
    half = acos(max(0.0, 1.0 - CHORD_MM / max(d_mm / 2, CHORD_MM)))
    return max(16, 4 * ceil(pi / half / 4 - 1e-9))
