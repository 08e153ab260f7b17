"""The inside of a ring of unlike links: how near the metal comes to the ring's axis."""

import numpy as np

from ..solid.mesh import FloatArray
from .link import even_parameters
from .measure import Measure
from .path import ring
from .row import Row, stood

LOOK = 256


def inside_mm(measure: Measure, row: Row, chords_mm: FloatArray, face: str) -> float:
    """Give the inside length in mm of bodies on a ring of ``chords_mm`` (s,): 2 pi times the metal's least radius.

    Of round wire by its centreline, of other links by the corners of their meshes. NaN where a chord is no number, 0
    where the other chords do not reach round the longest.
    """
    if not np.isfinite(chords_mm).all():
        return float("nan")
    if not goes_round(chords_mm):
        return 0.0
    rotations, origins = stood(row, ring(chords_mm, face))
    least = np.inf
    for kind in np.unique(row.kind):
        link, bodies = measure.links[int(kind)], np.flatnonzero(row.kind == kind)
        wire = measure.solids is None or link.plain
        points = link.curve(even_parameters(LOOK))[0] if wire else _corners(measure, int(kind))
        level = rotations[bodies][:, :2].transpose(0, 2, 1)
        placed = points @ level + origins[bodies][:, None, :2]
        away = np.hypot(placed[..., 0], placed[..., 1])
        least = min(least, float(_bottom(away).min()) - link.wire_mm / 2 if wire else float(away.min()))
    return 2 * np.pi * least


def goes_round(chords_mm: FloatArray) -> bool:
    """Tell whether chords (s,) close to a ring: on the circle over the longest the others make half a round or more."""
    return bool(np.arcsin(np.minimum(chords_mm / (chords_mm.max() * (1 + 1e-9)), 1.0)).sum() > np.pi)


def _corners(measure: Measure, kind: int) -> FloatArray:
    assert measure.solids is not None
    corners = np.moveaxis(measure.solids[kind].corners, 1, -1)
    return np.asarray(np.unique(corners.reshape(-1, 3), axis=0))


def _bottom(values: FloatArray) -> FloatArray:
    """Give the lowest value of each closed row (k, n), through a parabola over the lowest sample and its neighbours."""
    low = values.argmin(axis=1)
    rows, n = np.arange(len(values)), values.shape[1]
    before, here, after = values[rows, low - 1], values[rows, low], values[rows, (low + 1) % n]
    bowl = before - 2 * here + after
    safe = np.where(bowl > 1e-15, bowl, 1.0)
    return np.asarray(here - np.where(bowl > 1e-15, (after - before) ** 2 / (8 * safe), 0.0))
