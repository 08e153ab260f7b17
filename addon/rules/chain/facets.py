"""The flat facets of a heavy curb: a round wire cut by two planes, top and bottom, as outlines from station to station.

Where a plane cuts the wire, the outline at that station is the circle's part below the plane. Every outline has the
same corners: two where a cut begins and ends, so that the edge of a facet runs along edges of the mesh, one between
them, and the rest evenly on the round sides. Where the plane passes above the wire the first two stand a small angle
apart.
"""

import numpy as np

from ..solid.mesh import FloatArray
from .link import Curve, even_parameters

LOOK = 1440
# How far the edge of a facet may swing from station to station, by half the angle between two corners of a circle.
SWING = 0.5


def heights(curve: Curve) -> tuple[FloatArray, FloatArray]:
    """Give the height z of a loop's centreline in mm at 1440 even parameters, and how upright its sections stand.

    Upright is the rise of z per mm across the section: the wire's top lies at height + upright x half the wire.
    """
    point, first, _ = curve(even_parameters(LOOK))
    along = first[:, 2] ** 2 / (first**2).sum(axis=1)
    return point[:, 2], np.sqrt(1 - along)


def top_mm(curve: Curve, wire_mm: float) -> float:
    """Give the greatest height of a round wire's surface above the middle plane of its loop, mm."""
    height, upright = heights(curve)
    top = height + upright * wire_mm / 2
    k = int(top.argmax())
    before, here, after = top[k - 1], top[k], top[(k + 1) % LOOK]
    # The parabola through the three highest places.
    bowl = before - 2 * here + after
    return float(here - (after - before) ** 2 / (8 * bowl)) if bowl < 0 else float(here)


def deepest_mm(curve: Curve, wire_mm: float, left_mm: float) -> float:
    """Give the deepest facet, mm, that leaves ``left_mm`` of the wire's thickness everywhere."""
    height, upright = heights(curve)
    top = top_mm(curve, wire_mm)
    one_cut = top - height - (left_mm - wire_mm / 2) * upright
    both_cut = top - left_mm * upright / 2
    return float(np.minimum(one_cut, both_cut).min())


def stations(curve: Curve, wire_mm: float, flat_mm: float, along: int, circle: int) -> FloatArray:
    """Give the parameters of a cut loop's stations: ``along`` evenly, and more where the edges of facets swing out.

    From one to the next no edge swings by more than a share of the angle between two of the ``circle``'s corners. Their
    number is a whole four.
    """
    height, upright = heights(curve)
    t = np.arange(LOOK + 1) * (2 * np.pi / LOOK)
    swing = np.zeros(LOOK)
    for sign in (1.0, -1.0):
        half = _half_angle((flat_mm - sign * height) / upright, np.array(wire_mm / 2), np.pi / circle)
        swing += np.abs(np.diff(half, append=half[0]))
    count = np.concatenate(([0.0], np.cumsum(along / LOOK + swing / (SWING * np.pi / circle))))
    total = 4 * int(np.ceil(count[-1] / 4 - 1e-9))
    return np.asarray(np.interp(np.arange(total) * (count[-1] / total), count, t))


def corners_around(circle: int) -> int:
    """Tell how many corners an outline has that is as fine as a circle of ``circle`` corners."""
    return circle + 2


def cut_outlines(radius: FloatArray, wire_radius: FloatArray, top: FloatArray, bottom: FloatArray) -> FloatArray:
    """Give the corners (k, n, m, 2) of cut outlines of k links at n stations, y towards the top plane.

    ``radius`` (k, n, m) of every corner from the wire's centre, ``wire_radius`` (k,) of the whole wire; ``top`` and
    ``bottom`` (k, n) distance of the planes from the centre, up and down.
    """
    m = radius.shape[-1]
    sides = m // 2 - 2
    shallow = np.pi / (m - 2)
    r = wire_radius[:, None]
    up, down = _half_angle(top, r, shallow), _half_angle(bottom, r, shallow)
    share = np.arange(sides + 1) / sides
    right = (down - np.pi / 2)[..., None] + (np.pi - up - down)[..., None] * share
    middle = np.full((*top.shape, 1), np.pi / 2)
    angle = np.concatenate((right, middle, np.pi - right[..., ::-1], -middle), axis=-1)
    x, y = radius * np.cos(angle), radius * np.sin(angle)
    for plane, sign, edges, crown in (
        (top, 1.0, (sides, sides + 2), sides + 1),
        (-bottom, -1.0, (0, m - 2), m - 1),
    ):
        reached = sign * plane < r * np.cos(shallow)
        for edge in edges:
            y[..., edge] = np.where(reached, plane, y[..., edge])
            half = np.sqrt(np.maximum(radius[..., edge] ** 2 - y[..., edge] ** 2, 0.0))
            x[..., edge] = np.copysign(half, x[..., edge])
        y[..., crown] = sign * np.minimum(radius[..., crown], sign * plane)
    return np.stack((x, y), axis=-1)


def _half_angle(plane: FloatArray, radius: FloatArray, shallow: float) -> FloatArray:
    """Give half the angle a plane at a distance from the centre cuts off, or the small angle kept where it is less."""
    return np.maximum(shallow, np.arccos(np.clip(plane / radius, -1.0, 1.0)))
