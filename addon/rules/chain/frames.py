"""Rotation-minimising frames along a row of places: the double reflection method.

Wang, Juettler, Zheng, Liu: Computation of rotation minimizing frames, ACM Transactions on Graphics 27 (2008), no. 1,
article 2; table I. Its global error falls with the fourth power of the step.
"""

import numpy as np

from ..solid.mesh import FloatArray


def rotation_minimising(
    places: FloatArray, tangents: FloatArray, first: FloatArray, *, closed: bool, period: float = 2 * np.pi
) -> FloatArray:
    """Carry the unit vector ``first`` (3,), square to ``tangents[0]``, along places (n, 3) with unit tangents (n, 3).

    Gives unit vectors (n, 3), each square to its tangent. ``closed``: the way leads back to the first place, and the
    turn left over there is spread evenly over all steps. ``period``: a turn about the tangent, in radians, that makes
    no difference, so that no more than half of it is ever spread.

    Every double reflection is a turn, so it is enough to carry any square vector over each step by itself and to add
    up how far it lands from the next one: no step waits for the one before it.
    """
    n = len(places)
    square = square_to(tangents)
    after = np.roll(np.arange(n), -1) if closed else np.arange(1, n)
    before = np.arange(len(after))
    landed = _double_reflection(square[before], tangents[before], tangents[after], places[after] - places[before])
    step = angle_about(tangents[after], square[after], landed)
    start = angle_about(tangents[:1], square[:1], first[None])[0]
    turn = start + np.concatenate(([0.0], np.cumsum(step)))
    if closed:
        left_over = turn[-1] - start
        left_over -= period * np.round(left_over / period)
        turn = turn[:-1] - left_over * np.arange(n) / n
    return np.asarray(np.cos(turn)[:, None] * square + np.sin(turn)[:, None] * np.cross(tangents, square))


def square_to(tangents: FloatArray) -> FloatArray:
    """Give some unit vector square to each tangent, (n, 3)."""
    axis = np.zeros_like(tangents)
    axis[np.arange(len(tangents)), np.abs(tangents).argmin(axis=1)] = 1.0
    return unit(axis - (axis * tangents).sum(axis=1)[:, None] * tangents)


def unit(vectors: FloatArray) -> FloatArray:
    """Bring vectors (..., 3) to length 1."""
    return np.asarray(vectors / np.sqrt((vectors**2).sum(axis=-1))[..., None])


def angle_about(axes: FloatArray, start: FloatArray, end: FloatArray) -> FloatArray:
    """Give the angle in radians about each axis (n, 3) that turns ``start`` to ``end`` (n, 3), both square to it."""
    return np.asarray(np.arctan2((np.cross(start, end) * axes).sum(axis=-1), (start * end).sum(axis=-1)))


def _double_reflection(r: FloatArray, t: FloatArray, t_next: FloatArray, step: FloatArray) -> FloatArray:
    """Carry r over a step: mirror in the plane halfway between the places, then so that the tangent fits."""
    c1 = (step**2).sum(axis=1)[:, None]
    r_left = r - 2 / c1 * (step * r).sum(axis=1)[:, None] * step
    t_left = t - 2 / c1 * (step * t).sum(axis=1)[:, None] * step
    fit = t_next - t_left
    c2 = (fit**2).sum(axis=1)[:, None]
    # The mirrored tangent is the wanted one only where the way turns straight back: nothing is left to mirror then.
    away = np.where(c2 > 1e-24, c2, 1.0)
    return np.asarray(r_left - np.where(c2 > 1e-24, 2 / away, 0.0) * (fit * r_left).sum(axis=1)[:, None] * fit)
