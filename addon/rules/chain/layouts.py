"""The ways a chain is wound up to fit a flask: a flat spiral, a coil, a serpentine; and the room between its turns.

All three run anticlockwise seen from above, so that a face that looks to the right of the way looks outward.
"""

from dataclasses import dataclass

import numpy as np

from ..solid.curves import GAUSS_AT, GAUSS_WEIGHT
from ..solid.mesh import FloatArray
from .link import columns

NEWTON_STEPS = 50
SETTLED = 1e-13
# Pieces in which the bend of a serpentine is added up.
TABLE = 129
HALVINGS = 30


@dataclass(frozen=True, slots=True)
class Spiral:
    """A flat Archimedean spiral about the z axis: its radius grows by ``pitch_mm`` a turn, from ``radius_mm`` on."""

    radius_mm: float
    pitch_mm: float
    cyclic: bool = False
    length_mm: float = np.inf

    def at(self, walked_mm: FloatArray) -> FloatArray:
        """Give the places (..., 3) at lengths walked (...) from the innermost one, which lies on the x axis."""
        angle = self.turned(walked_mm)
        radius = self.radius_mm + self.pitch_mm / (2 * np.pi) * angle
        return columns(radius * np.cos(angle), radius * np.sin(angle), np.zeros_like(radius))

    def walked_mm(self, turned: FloatArray) -> FloatArray:
        """Give the length walked (...) after turning by angles (...) in radians.

        With r = b u, the length from the pole is b (u sqrt(1 + u^2) + asinh u) / 2 (E. H. Lockwood, A Book of Curves,
        Cambridge 1961, page 173; from memory).
        """
        growth = self.pitch_mm / (2 * np.pi)
        return _from_pole(self.radius_mm / growth + turned, growth) - _from_pole(self.radius_mm / growth, growth)

    def turned(self, walked_mm: FloatArray) -> FloatArray:
        """Give the angles (...) in radians turned after lengths walked (...): Newton steps on `walked_mm`."""
        growth = self.pitch_mm / (2 * np.pi)
        start = self.radius_mm / growth
        length = np.asarray(walked_mm, dtype=np.float64) / growth
        # At any distance from the pole the length is nearly u^2 / 2.
        turned = np.sqrt(np.maximum(start**2 + 2 * length, 0.0)) - start
        for _ in range(NEWTON_STEPS):
            u = start + turned
            step = (_from_pole(u, 1.0) - _from_pole(start, 1.0) - length) / np.sqrt(1 + u * u)
            turned = turned - step
            if float(np.abs(step).max(initial=0.0)) < SETTLED * start:
                break
        return np.asarray(turned)


@dataclass(frozen=True, slots=True)
class Coil:
    """A helix about the z axis that climbs by ``pitch_mm`` a turn."""

    radius_mm: float
    pitch_mm: float
    cyclic: bool = False
    length_mm: float = np.inf

    def at(self, walked_mm: FloatArray) -> FloatArray:
        """Give the places (..., 3) at lengths walked (...) from its lowest one, which lies on the x axis at z = 0."""
        climb = self.pitch_mm / (2 * np.pi)
        angle = np.asarray(walked_mm) / np.hypot(self.radius_mm, climb)
        return columns(self.radius_mm * np.cos(angle), self.radius_mm * np.sin(angle), climb * angle)


@dataclass(frozen=True, slots=True, eq=False)
class Serpentine:
    """Straight rows of ``row_mm`` along x, ``pitch_mm`` apart, joined by bends to the left and right in turn.

    A bend is a quarter turn, a straight piece ``across_mm`` and another quarter turn. ``walked`` (k,) and ``quarter``
    (k, 3) tabulate a quarter turn: length, and heading, ahead and aside there.
    """

    row_mm: float
    across_mm: float
    pitch_mm: float
    walked: FloatArray
    quarter: FloatArray
    cyclic: bool = False
    length_mm: float = np.inf

    @property
    def bend_mm(self) -> float:
        """Give the length of one bend."""
        return float(2 * self.walked[-1] + self.across_mm)

    def at(self, walked_mm: FloatArray) -> FloatArray:
        """Give the places (..., 3) at lengths walked (...) from the start of the first row, which runs in +x."""
        walked = np.asarray(walked_mm, dtype=np.float64)
        row = np.floor(walked / (self.row_mm + self.bend_mm))
        left = walked - row * (self.row_mm + self.bend_mm)
        turned = np.clip(left - self.row_mm, 0.0, self.bend_mm)
        # The second half of a bend mirrors the first.
        nearer = np.minimum(turned, self.bend_mm - turned)
        ahead, aside = self._quarter(np.minimum(nearer, self.walked[-1]))
        aside = aside + np.maximum(nearer - self.walked[-1], 0.0)
        aside = np.where(turned > self.bend_mm / 2, self.pitch_mm - aside, aside)
        way = np.where(row % 2 == 0, 1.0, -1.0)
        ahead = np.minimum(left, self.row_mm) + ahead - self.row_mm / 2
        return columns(way * ahead, row * self.pitch_mm + aside, np.zeros_like(walked))

    def _quarter(self, walked: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Give places ahead and aside in a quarter turn: the cubic that meets the table's places and headings."""
        before = np.clip(np.searchsorted(self.walked, walked, side="right") - 1, 0, len(self.walked) - 2)
        step = self.walked[before + 1] - self.walked[before]
        u = (walked - self.walked[before]) / step
        found = []
        for axis, slope in ((1, np.cos), (2, np.sin)):
            p, q = self.quarter[before, axis], self.quarter[before + 1, axis]
            m, n = step * slope(self.quarter[before, 0]), step * slope(self.quarter[before + 1, 0])
            found.append(p + u * (m + u * (3 * (q - p) - 2 * m - n + u * (2 * (p - q) + m + n))))
        return found[0], found[1]


def serpentine(row_mm: float, radius_mm: float, ramp_mm: float, *, pitch_mm: float = 0.0) -> Serpentine:
    """Make a serpentine whose bends are no tighter than a radius, rows ``pitch_mm`` apart or as near as they come.

    Over ``ramp_mm`` the curvature of a quarter turn rises evenly from none to that of the radius (Euler's spiral), but
    over no more than the whole quarter turn: from a line straight into a circle the link on the seam would stand askew.
    """
    ramp = min(ramp_mm, np.pi * radius_mm)
    whole = (np.pi * radius_mm + ramp) / 2
    walked = np.linspace(0.0, whole, TABLE)
    step = whole / (TABLE - 1)

    def heading(at: FloatArray) -> FloatArray:
        on = np.minimum(at, ramp)
        return np.asarray((on * on / (2 * ramp) + (at - on)) / radius_mm)

    inner = heading(walked[:-1, None] + GAUSS_AT * step)
    pieces = np.stack((np.cos(inner) @ GAUSS_WEIGHT, np.sin(inner) @ GAUSS_WEIGHT), axis=1) * step
    places = np.concatenate((np.zeros((1, 2)), np.cumsum(pieces, axis=0)))
    across = max(pitch_mm - 2 * float(places[-1, 1]), 0.0)
    table = np.column_stack((heading(walked), places))
    return Serpentine(row_mm, across, 2 * float(places[-1, 1]) + across, walked, table)


Wound = Spiral | Coil | Serpentine


def turn_room_mm(wire_mm: float, *, web_mm: float = 1.0, gate_share: float = 1.25) -> float:
    """Give the room in mm between the metal of two turns that lets gates pass between them.

    A gate shaft of ``gate_share`` times the wire, and ``web_mm`` of investment on both its sides. Our judgement: the
    web that struts aim at, and the shaft of a gate too long for the quick rule.
    """
    return 2 * web_mm + gate_share * wire_mm


def bulge_mm(radius_mm: float, extent_mm: float, link_mm: float) -> float:
    """Give how far in mm the ends of a straight link of ``link_mm`` stand out of a turn, beyond its middle.

    ``radius_mm`` of the turn through the middle of a chain ``extent_mm`` thick there.
    """
    outside = radius_mm + extent_mm / 2
    return float(np.hypot(outside, link_mm / 2) - outside)


def compact_coil_mm(length_mm: float, pitch_mm: float) -> float:
    """Give the radius in mm at which a coil of ``length_mm`` stands as tall as it is broad. Our judgement."""
    return float(np.sqrt(length_mm * pitch_mm / (4 * np.pi)))


def compact_rows_mm(length_mm: float, bend_mm: float, pitch_mm: float, *, beside_mm: float, along_mm: float) -> float:
    """Give the length in mm of the rows that fit ``length_mm`` into the smallest round flask, all rows full.

    A row and its two bends take ``row + beside_mm``, the rows and the chain's own breadth ``along_mm``. The number of
    rows with the shortest diagonal is chosen, of a chain too short for a bend one. Our judgement.
    """
    if length_mm < bend_mm:
        return length_mm
    rows = np.arange(2, int(length_mm / bend_mm) + 2)
    row = (length_mm - (rows - 1) * bend_mm) / rows
    return float(row[int(np.hypot(row + beside_mm, (rows - 1) * pitch_mm + along_mm).argmin())])


def filling_radius_mm(pitch_mm: float, ramp_mm: float) -> float:
    """Give the radius in mm of the bends of a serpentine that has no straight piece between rows ``pitch_mm`` apart."""
    low, high = 0.0, pitch_mm
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        fits = serpentine(0.0, middle, ramp_mm).pitch_mm <= pitch_mm
        low, high = (middle, high) if fits else (low, middle)
    return low


def _from_pole(u: FloatArray | float, growth: float) -> FloatArray:
    return np.asarray(growth * (u * np.sqrt(1 + np.square(u)) + np.arcsinh(u)) / 2)
