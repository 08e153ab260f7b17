"""Smooth curves through given points, and places on them by the length walked."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..base.errors import BadInput
from .mesh import FloatArray

MOST_POINTS = 200_000
# How finely the length is tabulated: so many pieces in all, but no fewer than this between two points.
PIECES = 2048
LEAST_PIECES = 4
# Three-point Gauss-Legendre rule on 0 to 1 (from memory; exact to the fifth degree).
GAUSS_AT = np.array([0.5 - np.sqrt(0.15), 0.5, 0.5 + np.sqrt(0.15)])
GAUSS_WEIGHT = np.array([5.0, 8.0, 5.0]) / 18


@dataclass(frozen=True, slots=True, eq=False)
class Spline:
    """A smooth curve through points. ``cubics`` (k, 4, 3): the coefficients of 1, u, u^2, u^3 of every piece.

    ``length_mm`` of the whole, ``lengths`` and ``knots`` (m,): a table of length walked against piece + u.
    """

    cubics: FloatArray
    cyclic: bool
    length_mm: float
    lengths: FloatArray
    knots: FloatArray

    def at(self, walked_mm: FloatArray) -> FloatArray:
        """Give the places (..., 3) at lengths walked (...) from the first point.

        A cyclic curve goes round again; an open one goes on straight beyond its ends.
        """
        if self.cyclic:
            return self._on(np.mod(walked_mm, self.length_mm))
        inside = np.clip(walked_mm, 0.0, self.length_mm)
        over = (walked_mm - inside)[..., None]
        start, end = self.cubics[0, 1], self.cubics[-1, 1] + 2 * self.cubics[-1, 2] + 3 * self.cubics[-1, 3]
        ahead = np.where(over > 0, end / np.linalg.norm(end), start / np.linalg.norm(start))
        return np.asarray(self._on(inside) + over * ahead)

    def _on(self, walked_mm: FloatArray) -> FloatArray:
        knot = np.interp(walked_mm, self.lengths, self.knots)
        piece = np.minimum(knot.astype(np.int64), len(self.cubics) - 1)
        return _cubic(self.cubics[piece], knot - piece)


def spline(points: npt.ArrayLike, *, cyclic: bool, where: str) -> Spline:
    """Lay a centripetal Catmull-Rom spline through points (n, 3) mm, passing each, with a steady tangent.

    Knots are spaced by the square root of the chord, so the curve neither loops nor overshoots between unevenly
    spaced points (Yuksel, Schaefer, Keyser: Parameterization and applications of Catmull-Rom curves, Computer-Aided
    Design 43 (2011) 747). An open curve is continued beyond its ends by mirroring, which keeps its bend. Raises
    BadInput naming ``where`` for too few, doubled or endless points.
    """
    p = _checked(points, cyclic=cyclic, where=where)
    line = _around(p, cyclic=cyclic)
    chords = np.sqrt(np.linalg.norm(np.diff(line, axis=0), axis=1))
    before, after, last = chords[:-2, None], chords[1:-1, None], chords[2:, None]
    p0, p1, p2, p3 = line[:-3], line[1:-2], line[2:-1], line[3:]
    out = after * ((p1 - p0) / before - (p2 - p0) / (before + after) + (p2 - p1) / after)
    into = after * ((p2 - p1) / after - (p3 - p1) / (after + last) + (p3 - p2) / last)
    cubics = np.stack((p1, out, 3 * (p2 - p1) - 2 * out - into, 2 * (p1 - p2) + out + into), axis=1)
    pieces = max(LEAST_PIECES, int(np.ceil(PIECES / len(cubics))))
    start = (np.arange(len(cubics) * pieces) / pieces)[:, None]
    piece = np.minimum(start.astype(np.int64), len(cubics) - 1)
    c = cubics[np.broadcast_to(piece, (len(start), 3))]
    u = (start - piece + GAUSS_AT / pieces)[..., None]
    speed = np.linalg.norm(c[..., 1, :] + u * (2 * c[..., 2, :] + u * 3 * c[..., 3, :]), axis=-1)
    lengths = np.concatenate(([0.0], np.cumsum(speed @ GAUSS_WEIGHT) / pieces))
    knots = np.arange(len(lengths)) / pieces
    return Spline(cubics, cyclic, float(lengths[-1]), lengths, knots)


def _checked(points: npt.ArrayLike, *, cyclic: bool, where: str) -> FloatArray:
    try:
        p = np.array(points, dtype=np.float64)
    except (TypeError, ValueError):
        raise BadInput(f"{where}: must be a list of [x, y, z] in mm") from None
    if p.size == 0:
        raise BadInput(f"{where}: the curve has no points; give at least two as [[x, y, z], ...] in mm")
    if p.ndim != 2 or p.shape[1] != 3:
        raise BadInput(f"{where}: every point must be [x, y, z] in mm, the list has shape {p.shape}")
    if len(p) > MOST_POINTS:
        raise BadInput(f"{where}: {len(p)} points are more than a curve needs; give up to {MOST_POINTS}")
    if not np.isfinite(p).all():
        first = int(np.flatnonzero(~np.isfinite(p).all(axis=1))[0])
        raise BadInput(f"{where}: point {first + 1} has a coordinate that is not a number; give finite mm")
    if np.abs(p).max() > 1e6:
        raise BadInput(f"{where}: a point lies {np.abs(p).max():g} mm away; give coordinates within 1e6 mm")
    extent = float((p.max(axis=0) - p.min(axis=0)).max())
    if extent < 1e-6:
        raise BadInput(f"{where}: the curve has no length; give points that lie apart")
    if cyclic and len(p) > 2 and np.linalg.norm(p[-1] - p[0]) <= 1e-9 * extent:
        p = p[:-1]  # The last point repeats the first: another way of writing a closed curve.
    least = 3 if cyclic else 2
    if len(p) < least:
        raise BadInput(
            f"{where}: {len(p)} points do not make {'a closed' if cyclic else 'a'} curve; give {least} or more"
        )
    step = np.linalg.norm(np.diff(p, axis=0), axis=1)
    if (step <= 1e-9 * extent).any():
        first = int(np.flatnonzero(step <= 1e-9 * extent)[0])
        raise BadInput(f"{where}: points {first + 1} and {first + 2} are the same place; remove one of them")
    return p


def _around(p: FloatArray, *, cyclic: bool) -> FloatArray:
    """Give the points with one more at each end: the curve's own where it closes, mirrored ones where it ends."""
    if cyclic:
        return np.concatenate((p[-1:], p, p[:2]))
    return np.concatenate((_mirrored(p[1], p[0], p[2:3]), p, _mirrored(p[-2], p[-1], p[-3:-2])))


def _mirrored(inner: FloatArray, end: FloatArray, third: FloatArray) -> FloatArray:
    """Mirror the third point in the plane halfway between the end and its neighbour, (1, 3)."""
    chord = end - inner
    if len(third) == 0:
        return (end + chord)[None]
    along = (third[0] - (inner + end) / 2) @ chord / (chord @ chord)
    return np.asarray((third[0] - 2 * along * chord)[None])


def _cubic(c: FloatArray, u: FloatArray) -> FloatArray:
    u = u[..., None]
    return np.asarray(c[..., 0, :] + u * (c[..., 1, :] + u * (c[..., 2, :] + u * c[..., 3, :])))
