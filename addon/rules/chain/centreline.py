"""Places nearest to a point on a closed centreline."""

import numpy as np

from ..solid.mesh import FloatArray
from .link import Curve


def foot(curve: Curve, points: FloatArray, near: FloatArray, steps: int) -> FloatArray:
    """Find the parameters (...) nearest to points (..., 3) by Newton steps from parameters near by (...)."""
    t = near
    for _ in range(steps):
        p, p1, p2 = curve(t)
        d = points - p
        bowl = (p1**2).sum(axis=-1) - (p2 * d).sum(axis=-1)
        t = t + (p1 * d).sum(axis=-1) / np.maximum(bowl, 0.1 * (p1**2).sum(axis=-1))
    return t


def distance_from(curve: Curve, points: FloatArray, near: FloatArray) -> FloatArray:
    """Give the distance (...) of points (..., 3) from a centreline, found from parameters (...) near by."""
    t = foot(curve, points, near, 2)
    return np.asarray(np.sqrt(((points - curve(t)[0]) ** 2).sum(axis=-1)))
