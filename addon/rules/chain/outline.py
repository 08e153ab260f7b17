"""The outline of a wire's section: arcs and straight lines, drawn as a polygon, and how far a point lies outside it.

Section coordinates in mm: x from the inside of the loop to its outside, y square to the loop. Outlines run
counter-clockwise. A D has its flat towards the inside of the loop.
"""

from dataclasses import dataclass

import numpy as np

from ..solid.mesh import FloatArray
from .section import Section

# A straight line of an outline is parted into pieces no longer than this share of the wire's thickness, so that the
# quads of a flat are no thin strips.
LINE_SHARE = 0.5
TOUCHING_MM = 1e-9


@dataclass(frozen=True, slots=True)
class Arc:
    """An arc of an outline: ``x``, ``y`` its centre, ``radius``, from angle ``start`` up to ``end`` in radians."""

    x: float
    y: float
    radius: float
    start: float
    end: float

    def points(self, angle: FloatArray) -> FloatArray:
        """Give the points (..., 2) at angles (...)."""
        return np.stack((self.x + self.radius * np.cos(angle), self.y + self.radius * np.sin(angle)), axis=-1)


@dataclass(frozen=True, slots=True, eq=False)
class Outline:
    """A polygon inscribed in a section's outline: ``points`` (m, 2) mm and the outward ``normals`` there (m, 2)."""

    points: FloatArray
    normals: FloatArray


def arcs(section: Section) -> tuple[Arc, ...]:
    """Give the arcs of an outline in order; straight lines join each end to the next start."""
    half, side = section.thick_mm / 2, section.broad_mm / 2
    if section.kind == "round":
        return (Arc(0.0, 0.0, half, 0.0, 2 * np.pi),)
    if section.kind == "double":
        apart = side - half
        below = np.arcsin(apart / half)
        upper = Arc(0.0, apart, half, -below, np.pi + below)
        return upper, Arc(0.0, -apart, half, np.pi - below, 2 * np.pi + below)
    ease = section.corner_mm
    x, y = half - ease, side - ease
    if section.kind == "rectangle":
        corners = ((x, y), (-x, y), (-x, -y), (x, -y))
        quarter = np.pi / 2
        return tuple(Arc(cx, cy, ease, k * quarter, (k + 1) * quarter) for k, (cx, cy) in enumerate(corners))
    back, lean = _back(section)
    near, far = Arc(-x, y, ease, lean, np.pi), Arc(-x, -y, ease, np.pi, 2 * np.pi - lean)
    return near, far, Arc(half - back, 0.0, back, -lean, lean)


def _back(section: Section) -> tuple[float, float]:
    """Give the radius of a D's back, and the angle up to which it reaches to either side of straight outward.

    A low D's back is one arc that meets both eased corners smoothly, so that the outline is as broad as asked. A high
    one's back is a half circle on two straight sides.
    """
    thick, side, ease = section.thick_mm, section.broad_mm / 2, section.corner_mm
    if thick >= side + ease:
        return side, np.pi / 2
    back = ((side - ease) ** 2 / (thick - 2 * ease) + thick) / 2
    return back, float(np.arctan2(side - ease, back - thick + ease))


def outline(section: Section, sagitta_mm: float) -> Outline:
    """Inscribe a polygon in an outline, no further than ``sagitta_mm`` inside it. Symmetric as the section is."""
    points, normals = [], []
    drawn = arcs(section)
    for arc, following in zip(drawn, drawn[1:] + drawn[:1], strict=True):
        step = 2 * np.arccos(max(1 - sagitta_mm / max(arc.radius, sagitta_mm), 0.0))
        pieces = max(1, int(np.ceil((arc.end - arc.start) / step - 1e-9)))
        # Even counts put a corner of the polygon on the line of symmetry.
        angle = np.linspace(arc.start, arc.end, 2 * -(-pieces // 2) + 1)
        points.append(arc.points(angle))
        normals.append(np.stack((np.cos(angle), np.sin(angle)), axis=1))
        start, end = points[-1][-1], following.points(np.array(following.start))
        length = float(np.hypot(*(end - start)))
        pieces = 2 * int(np.ceil(length / (LINE_SHARE * section.thick_mm) / 2)) if length > TOUCHING_MM else 0
        share = np.arange(1, pieces)[:, None] / max(pieces, 1)
        points.append(start + share * (end - start))
        normals.append(np.broadcast_to(normals[-1][-1], points[-1].shape))
    return _without_doubles(np.concatenate(points), np.concatenate(normals))


def _without_doubles(points: FloatArray, normals: FloatArray) -> Outline:
    """Drop points that repeat the one before.

    A notch of two strands has two normals: it gets the direction and length at which moving it moves both by 1.
    """
    repeats = np.sqrt(((points - np.roll(points, 1, axis=0)) ** 2).sum(axis=1)) < TOUCHING_MM
    before = np.flatnonzero(repeats) - 1
    middle = normals.copy()
    middle[before] += normals[repeats]
    middle[before] *= 2 / (middle[before] ** 2).sum(axis=1)[:, None]
    return Outline(points[~repeats], middle[~repeats])


def outside_either_mm(section: Section, x: FloatArray, y: FloatArray) -> FloatArray:
    """Give how far points (...) lie outside the further one of two strands, in mm."""
    half = section.thick_mm / 2
    return np.asarray(np.hypot(x, np.abs(y) + section.broad_mm / 2 - half) - half)


def outside_mm(section: Section, x: FloatArray, y: FloatArray) -> FloatArray:
    """Give how far points (...) lie outside an outline, in mm; 0 or less inside, by less than to the nearest line."""
    half, side, ease = section.thick_mm / 2, section.broad_mm / 2, section.corner_mm
    y = np.abs(y)
    if section.kind == "round":
        return np.asarray(np.hypot(x, y) - half)
    if section.kind == "double":
        return np.asarray(np.hypot(x, y - (side - half)) - half)
    if section.kind == "rectangle":
        over_x, over_y = np.abs(x) - (half - ease), y - (side - ease)
        corner = np.hypot(np.maximum(over_x, 0), np.maximum(over_y, 0))
        return np.asarray(corner + np.minimum(np.maximum(over_x, over_y), 0) - ease)
    back, lean = _back(section)
    centre = half - back
    dx, dy = x + half - ease, y - (side - ease)
    # Beyond the line from the back's centre through the corner's, and above the flat's eased end: the corner's own.
    at_corner = (dy > 0) & (dx * np.sin(lean) - dy * np.cos(lean) < 0)
    rounded = np.where(x > centre, np.hypot(x - centre, y), y) if lean >= np.pi / 2 else np.hypot(x - centre, y)
    rest = np.maximum(rounded - back, -half - x)
    return np.asarray(np.where(at_corner, np.hypot(dx, dy) - ease, rest))
