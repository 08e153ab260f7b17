"""The elements of links that we drew ourselves: pieces of wire along a closed centreline."""

from dataclasses import replace

import numpy as np

from ..solid.measure import volume_mm3
from ..solid.mesh import FloatArray, Mesh, Wire
from .nearest_element import Elements
from .part import Part, Shape, in_row
from .surface_points import PIECE, given_to

# An element's length over the wire, and the fewest in a link.
SHARE, FEWEST = 0.6, 6


def link_shape(mesh: Mesh, wire: Wire, h_mm: float) -> Shape:
    """Cut a link into elements along its centreline; ``h_mm`` is how finely its surface is looked at.

    The wire is the same all round, so that metal and surface are shared out by length. Sections are volume over length,
    bores four times volume over surface: both are the wire's own for a round wire, however bent (Pappus' theorems).
    """
    d = 2 * wire.radius_mm
    at, length = _middles(wire.centreline, SHARE * d)
    count = len(at)
    elements = Elements(at, np.array([0, count]))
    surface = given_to(
        mesh.points,
        mesh.triangles,
        PIECE * h_mm,
        lambda places, _: elements.nearest(places, np.zeros(len(places), dtype=np.int64)),
    )
    whole, area = volume_mm3(mesh), float(surface.area_mm2.sum())
    mine = np.bincount(surface.of, surface.area_mm2, minlength=count)
    surface = replace(surface, area_mm2=surface.area_mm2 * (area / count / np.maximum(mine, 1e-9))[surface.of])
    volume = np.full(count, whole / count)
    section = volume / length
    joints = in_row(count, closed=True)
    part = Part(
        at,
        np.full(count, length),
        np.full(count, 4 * whole / max(area, 1e-9)),
        section,
        np.zeros(count, dtype=bool),
        joints,
        section[joints].min(axis=1),
        np.zeros((0, 3)),
        np.zeros(0),
    )
    return Shape(part, volume, surface)


def _middles(line: FloatArray, wanted_mm: float) -> tuple[FloatArray, float]:
    """Give places evenly along a closed line (k, 3), about ``wanted_mm`` apart, and how far apart they are."""
    closed = np.concatenate((line, line[:1]))
    arc = np.append(0.0, np.cumsum(np.linalg.norm(np.diff(closed, axis=0), axis=1)))
    count = max(FEWEST, round(float(arc[-1]) / wanted_mm))
    length = float(arc[-1]) / count
    walked = (np.arange(count) + 0.5) * length
    return np.stack([np.interp(walked, arc, closed[:, k]) for k in range(3)], axis=1), length
