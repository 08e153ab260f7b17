"""Turns about the axes of a link: roll about the chain's axis, and the bend from one link to the next."""

import numpy as np

from ..solid.mesh import FloatArray


def roll(angle: FloatArray) -> FloatArray:
    """Give rotations about x, (..., 3, 3), of angles (...) in radians."""
    return _about(angle, 1, 2)


def bend(angle: FloatArray, *, over_face: bool) -> FloatArray:
    """Give rotations (..., 3, 3) that carry a link's frame to the next of a ring: about y over the face, else about z.

    A ring has its face outward, or its inside on the +y side when it lies flat.
    """
    return _about(angle, 2, 0) if over_face else _about(angle, 0, 1)


def _about(angle: FloatArray, first: int, second: int) -> FloatArray:
    """Rotate axis ``first`` towards axis ``second``."""
    angle = np.asarray(angle, dtype=np.float64)
    turn = np.zeros((*angle.shape, 3, 3))
    turn[..., range(3), range(3)] = 1.0
    c, s = np.cos(angle), np.sin(angle)
    turn[..., first, first] = c
    turn[..., second, second] = c
    turn[..., second, first] = s
    turn[..., first, second] = -s
    return turn
