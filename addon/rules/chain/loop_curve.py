"""Closed curves drawn from straight pieces and arcs: a smooth periodic spline through even points of the drawing."""

from collections.abc import Sequence

import numpy as np

from ..solid.mesh import FloatArray
from .link import Curve


def looped(points: FloatArray) -> Curve:
    """Lay a periodic cubic spline through points (n, 3) mm, even in parameter: twice continuously differentiable.

    The second derivatives at the points solve the cyclic system M(k-1) + 4 M(k) + M(k+1) = 6 (p(k-1) - 2 p(k) +
    p(k+1)) for steps of one (the usual equations of a cubic spline; any text on numerical analysis). The matrix is
    circulant, so the discrete Fourier transform solves it.
    """
    n = len(points)
    fold = np.roll(points, 1, axis=0) - 2 * points + np.roll(points, -1, axis=0)
    waves = np.arange(n // 2 + 1) * (2 * np.pi / n)
    bent = np.fft.irfft(6 * np.fft.rfft(fold, axis=0) / (4 + 2 * np.cos(waves))[:, None], n=n, axis=0)
    after, bent_after = np.roll(points, -1, axis=0), np.roll(bent, -1, axis=0)
    rise = after - points - (2 * bent + bent_after) / 6
    per_step = n / (2 * np.pi)

    def curve(t: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        at = np.mod(t, 2 * np.pi) * per_step
        piece = np.minimum(at.astype(np.int64), n - 1)
        u = (at - piece)[..., None]
        m, turn = bent[piece], bent_after[piece] - bent[piece]
        point = points[piece] + u * (rise[piece] + u * (m / 2 + u * turn / 6))
        first = rise[piece] + u * (m + u * turn / 2)
        second = m + u * turn
        return point, first * per_step, second * per_step**2

    return curve


def even_points(pieces: Sequence[FloatArray], count: int) -> FloatArray:
    """Give ``count`` points (count, 3), evenly spaced by length, of the closed line through finely drawn pieces."""
    line = np.concatenate(pieces)
    line = line[np.concatenate(([True], np.linalg.norm(np.diff(line, axis=0), axis=1) > 1e-9))]
    if np.linalg.norm(line[-1] - line[0]) > 1e-9:
        line = np.concatenate((line, line[:1]))
    walked = np.concatenate(([0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))))
    at = np.arange(count) * (walked[-1] / count)
    return np.stack([np.interp(at, walked, line[:, axis]) for axis in range(3)], axis=1)
