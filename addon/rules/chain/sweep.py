"""The mesh of a link: a round wire swept along the closed centreline.

The section is a polygon inscribed in the wire's circle, and where the wire bends inward the corners are drawn in a
little, so that every facet lies inside the smooth wire: a gap between meshes is never smaller than the gap between
the wires they stand for. The metal volume comes out low by the inscribed share, about 1 % at the default tolerance,
and approaches Pappus's figure as the tolerance shrinks.
"""

import numpy as np

from ..solid.mesh import FloatArray, IntArray, Mesh, Wire
from .frames import rotation_minimising, square_to, unit
from .link import Curve, Link, curvature, even_parameters

LOOK = 256
DRAW_IN_PASSES = 2


def sweep(link: Link, chord_mm: float) -> tuple[Mesh, Wire]:
    """Sweep a link so that no facet lies further than about ``chord_mm`` inside the true wire.

    The tolerance is shared: half is spent around the section, half along the centreline. The mesh is closed, its
    faces look outward; every quad is split along the same diagonal.
    """
    along, around = resolution(link, chord_mm)
    t = even_parameters(along)
    centre, first, _ = link.curve(t)
    tangent = unit(first)
    side = rotation_minimising(centre, tangent, square_to(tangent[:1])[0], closed=True)
    angle = even_parameters(around)
    up = np.cross(tangent, side)
    spoke = np.cos(angle)[:, None] * side[:, None] + np.sin(angle)[:, None] * up[:, None]
    radius = np.full((along, around, 1), link.wire_mm / 2)
    for _ in range(DRAW_IN_PASSES):
        radius -= _standing_out(link, t, centre[:, None] + radius * spoke)[..., None]
    points = (centre[:, None] + radius * spoke).reshape(-1, 3)
    mesh = Mesh(points, _triangles(along, around))
    for array in (mesh.points, mesh.triangles, centre):
        array.flags.writeable = False
    return mesh, Wire(centre, link.wire_mm / 2)


def resolution(link: Link, chord_mm: float) -> tuple[int, int]:
    """Choose how many steps along and around keep the chord tolerance, both even, with facets about square."""
    r = link.wire_mm / 2
    around = _even(np.pi / np.arccos(max(1 - chord_mm / 2 / r, 0.0)), least=8)
    t = even_parameters(LOOK)
    speed = np.sqrt((link.curve(t)[1] ** 2).sum(axis=1))
    bent = curvature(link.curve, t)
    # Sagitta of the outermost fibre over a parameter step h: (1/k + r)(1 - cos(k v h / 2)), or (1 + k r) k (v h)^2 / 8.
    finest = np.sqrt(8 * chord_mm / 2 / ((1 + bent * r) * bent * speed**2).max())
    girth = float(speed.mean()) * 2 * np.pi
    along = _even(max(2 * np.pi / finest, girth / (2 * np.pi * r / around)), least=16)
    return along, around


def _even(count: float, *, least: int) -> int:
    return max(least, 4 * int(np.ceil(count / 4 - 1e-9)))


def _triangles(along: int, around: int) -> IntArray:
    here = np.arange(along)[:, None] * around
    there = np.roll(here, -1, axis=0)
    now = np.arange(around)[None, :]
    then = np.roll(now, -1, axis=1)
    a, b, c, d = here + now, there + now, there + then, here + then
    return np.asarray(np.stack((a, c, b, a, d, c), axis=-1).reshape(-1, 3), dtype=np.int64)


def _standing_out(link: Link, t: FloatArray, corners: FloatArray) -> FloatArray:
    """Measure how far the middles of the lengthwise edges stand out of the wire, as a share of each corner (n, m)."""
    n, m = corners.shape[:2]
    middle = (corners + np.roll(corners, -1, axis=0)) / 2
    near = np.broadcast_to((t + np.pi / n)[:, None], (n, m))
    out = np.maximum(distance_from(link.curve, middle, near) - link.wire_mm / 2, 0.0)
    return np.asarray(np.maximum(out, np.roll(out, 1, axis=0)))


def distance_from(curve: Curve, points: FloatArray, near: FloatArray) -> FloatArray:
    """Give the distance of points (..., 3) from a centreline, found by Newton steps from parameters near by (...)."""
    t = near
    for _ in range(2):
        p, p1, p2 = curve(t)
        d = points - p
        bowl = (p1**2).sum(axis=-1) - (p2 * d).sum(axis=-1)
        t = t + (p1 * d).sum(axis=-1) / np.maximum(bowl, 0.1 * (p1**2).sum(axis=-1))
    return np.asarray(np.sqrt(((points - curve(t)[0]) ** 2).sum(axis=-1)))
