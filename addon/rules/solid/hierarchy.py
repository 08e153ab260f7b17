"""Triangles in blocks of neighbours, each block inside a flat disc: what a distance search need not look at twice.

A disc is a centre, a unit normal, a half thickness along it and a radius across it, taken from the block's own corners.
Where two surfaces lie side by side it bounds their distance far better than a box or a ball, since its thickness falls
with the square of the block's size. Blocks hold 2, 8, 32, ... triangles; each is four of the level below it, and the
triangles of a block lie next to each other in the arrays.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..base.progress import Steps
from .mesh import FloatArray, IntArray
from .triangle_pairs import cross, dot

BoolArray = npt.NDArray[np.bool_]

PAIR = 2
CHILDREN = 4

# Rows of a disc array.
CENTRE = slice(0, 3)
NORMAL = slice(3, 6)
THICK, RADIUS = 6, 7

# Half thickness of a block without a real triangle: so far from everything that it is never looked into.
VOID = -1e30

# Triangles put into discs at a time: so many fit a core's own cache.
_TRIANGLES = 16_384
# Runs up to this length are joined by halves.
_SHORT = 32
# A place along an axis is kept as a whole number of so many bits beside the triangle's own number.
_PLACE_BITS = 30
_NUMBER = (1 << 32) - 1


@dataclass(frozen=True, slots=True, eq=False)
class Blocks:
    """Many triangles with their blocks.

    ``corners`` (3, 3, t): corner, coordinate, triangle. ``pairs`` (3, 3, 2, t / 2): the same by finest block.
    ``discs``: one array (8, blocks) per level, finest first; rows are centre, normal, half thickness, radius.
    """

    corners: FloatArray
    pairs: FloatArray
    discs: tuple[FloatArray, ...]


def block_size(level: int) -> int:
    """Give the number of triangles in a block of a level."""
    return PAIR << (2 * level)


def levels_for(triangles: int, most: int) -> int:
    """Give the number of levels (two or more) whose coarsest has at most ``most`` blocks for so many triangles."""
    levels = 2
    while block_size(levels - 1) * most < triangles:
        levels += 1
    return levels


def blocks(corners: FloatArray, real: BoolArray, levels: int) -> Steps[Blocks]:
    """Make the blocks of triangles (3, 3, t) that stand in the order of `neighbours_first`.

    t is a multiple of the coarsest block's size; ``real`` (t,) is False for those that only fill it up.
    """
    discs = []
    for level in range(levels):
        size = block_size(level)
        made = np.empty((8, corners.shape[2] // size))
        piece = max(size, _TRIANGLES)
        for start in range(0, corners.shape[2], piece):
            made[:, start // size : (start + piece) // size] = _discs(corners[..., start : start + piece], size)
            yield (level + start / corners.shape[2]) / levels
        made[THICK, ~real.reshape(-1, size).any(axis=1)] = VOID
        discs.append(made)
    pairs = np.empty((3, 3, PAIR, corners.shape[2] // PAIR))
    for made, corner in zip(pairs, corners, strict=True):
        made[...] = np.moveaxis(corner.reshape(3, -1, PAIR), 2, 1)
        yield 1.0
    return Blocks(corners, pairs, tuple(discs))


def _discs(corners: FloatArray, size: int) -> FloatArray:
    normals = _fold(cross(corners[1] - corners[0], corners[2] - corners[0]), size, np.add)
    length = np.sqrt(dot(normals, normals))
    normal = normals / np.where(length > 0.0, length, 1.0)
    normal[2, length == 0.0] = 1.0
    centre = _fold(corners.sum(axis=0), size, np.add) / (3.0 * size)
    each = np.repeat(normal, size, axis=-1)
    offset = corners - np.repeat(centre, size, axis=-1)
    height = dot(offset, each[None])
    top = _fold(height.max(axis=0), size, np.maximum)
    bottom = _fold(height.min(axis=0), size, np.minimum)
    offset -= height[:, None] * each
    made = np.empty((8, len(top)))
    made[CENTRE] = centre + (0.5 * (top + bottom)) * normal
    made[NORMAL] = normal
    made[THICK] = 0.5 * (top - bottom)
    made[RADIUS] = np.sqrt(_fold(dot(offset, offset).max(axis=0), size, np.maximum))
    return made


def _fold(values: FloatArray, size: int, join: np.ufunc) -> FloatArray:
    """Join every ``size`` (a power of two) neighbours along the last axis. Numpy's own way is slow over short runs."""
    if size > _SHORT:
        joined: FloatArray = join.reduce(values.reshape(*values.shape[:-1], -1, size), axis=-1)
        return joined
    while size > 1:
        values = join(values[..., 0::2], values[..., 1::2])
        size //= 2
    return values


def neighbours_first(places: FloatArray) -> Steps[IntArray]:
    """Give an order of places (3, n) in which every run of 2, 4, 8, ... is a compact cluster.

    Halves the places across their longest side again and again (J. L. Bentley, Multidimensional binary search trees
    used for associative searching, 1975). All clusters of one size are halved at once; all but the last are full.
    """
    n = places.shape[1]
    low = places.min(axis=1, keepdims=True)
    long = float((places.max(axis=1, keepdims=True) - low).max())
    keys = ((places - low) * (2.0**_PLACE_BITS / long if long > 0.0 else 0.0)).astype(np.int64)
    keys <<= 32
    keys |= np.arange(n)
    order: IntArray = np.arange(n)
    size = PAIR
    levels = 1
    while size < n:
        size *= 2
        levels += 1
    for level in range(levels - 1):
        rows = -(-n // size)
        missing = rows * size - n
        filled = np.concatenate((order, np.full(missing, order[-1]))) if missing else order
        here = keys.take(filled, axis=1)
        yield (level + 0.4) / levels
        longest = (_fold(here, size, np.maximum) - _fold(here, size, np.minimum)).argmax(axis=0)
        key = here.reshape(3, rows, size)[longest, np.arange(rows)]
        yield (level + 0.7) / levels
        half = size // 2
        if missing:
            key[-1, size - missing :] = np.iinfo(np.int64).max
            key[-1].partition(sorted((half, size - missing)))
            key[:-1].partition(half, axis=1)
        else:
            key.partition(half, axis=1)
        order = key.reshape(-1)[:n] & _NUMBER
        size = half
        yield (level + 1) / levels
    return order
