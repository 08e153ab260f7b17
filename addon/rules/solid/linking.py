"""Linking numbers of closed polygons, by the exact form of the Gauss integral.

The Gauss integral over two straight segments is the signed solid angle of a spherical quadrilateral, so over two
polygons it is a finite sum and comes out whole to rounding: no quadrature, no step size. The form is that of Banchoff
(1976), "Self linking numbers of space polygons", and of Klenin and Langowski (2000), "Computation of writhe in
modeling of supercoiled DNA", method 1a. The differences of two segments fill a flat parallelogram, so the quadrilateral
is cut into two triangles and each measured by van Oosterom and Strackee (1983), "The solid angle of a plane triangle",
equation 8, which needs one arctangent for both and has no poles. (Sources and equation numbers from memory.)
"""

from collections.abc import Iterator, Sequence

import numpy as np

from ..base.progress import Steps, finish
from .mesh import FloatArray, IntArray

# A sum farther than this from a whole number is undecided: the loops touch, or very nearly.
WHOLE = 1e-3
# Segment pairs worked on at a time: about 30 arrays of 1 MB, which stay near the processor and bound the memory.
CHUNK = 1 << 17
# A parallelogram flatter than this, in units of its largest side, that holds the origin is a touch.
FLAT = 1e-14


def linking_number(loop_a: FloatArray, loop_b: FloatArray) -> float:
    """Give the linking number of two closed polygons, (n, 3) and (m, 3): the last point joins the first.

    The sum as it stands, whole to about 1e-12. NaN where the polygons meet. The sign follows the right-hand rule.
    """
    return float(linking_numbers([loop_a, loop_b], np.array([0]), np.array([1]))[0])


def linking_numbers(loops: Sequence[FloatArray], first: IntArray, second: IntArray) -> FloatArray:
    """Give the linking numbers of many pairs of closed polygons at once, (p,).

    ``loops`` each (n, 3), n of at least 1; ``first`` and ``second`` (p,) are places in ``loops``. NaN where two meet.
    """
    return finish(counting_links(loops, first, second))


def counting_links(loops: Sequence[FloatArray], first: IntArray, second: IntArray) -> Steps[FloatArray]:
    """Do as `linking_numbers`, a step at a time."""
    sums = np.zeros(len(first))
    if len(first) == 0:
        return sums
    used, place = np.unique(np.concatenate([first, second]), return_inverse=True)
    loops = [loops[number] for number in used]
    first, second = np.split(place.reshape(-1), [len(first)])
    starts = np.concatenate(loops)
    steps = np.concatenate([np.roll(loop, -1, axis=0) - loop for loop in loops])
    sizes = np.array([len(loop) for loop in loops])
    offsets = np.cumsum(sizes) - sizes
    # One row for each segment of a first loop; its columns are the segments of the second.
    row_pair = np.repeat(np.arange(len(first)), sizes[first])
    row_segment = _ranges(offsets[first], sizes[first])
    row_length = sizes[second][row_pair]
    row_begin = offsets[second][row_pair]
    for rows in _chunks(row_length):
        lengths = row_length[rows]
        a = np.repeat(row_segment[rows], lengths)
        b = _ranges(row_begin[rows], lengths)
        quarter = _quarter_turns(starts[b] - starts[a], steps[a], steps[b])
        row_ends = np.cumsum(lengths) - lengths
        sums += np.bincount(row_pair[rows], weights=np.add.reduceat(quarter, row_ends), minlength=len(sums))
        yield rows.stop / len(row_length)
    return sums


def whole(numbers: FloatArray) -> tuple[IntArray, np.ndarray[tuple[int, ...], np.dtype[np.bool_]]]:
    """Round sums to whole numbers; the second array tells which are decided (within `WHOLE`, and no touch)."""
    met = np.isnan(numbers)
    rounded = np.rint(np.where(met, 0.0, numbers))
    decided = ~met & (np.abs(np.where(met, 0.0, numbers) - rounded) <= WHOLE)
    return rounded.astype(np.int64), decided


def _quarter_turns(apart: FloatArray, step_a: FloatArray, step_b: FloatArray) -> FloatArray:
    """Give each segment pair's share of the linking number: its solid angle over 4 pi.

    ``apart`` (k, 3) from the start of segment a to the start of segment b.
    """
    x, y, z = apart.T
    ax, ay, az = step_a.T
    bx, by, bz = step_b.T
    side_a = ax * ax + ay * ay + az * az
    side_b = bx * bx + by * by + bz * bz
    diagonal = (bx - ax) ** 2 + (by - ay) ** 2 + (bz - az) ** 2
    volume = x * (ay * bz - az * by) + y * (az * bx - ax * bz) + z * (ax * by - ay * bx)
    s00 = x * x + y * y + z * z
    s10 = (x + bx) ** 2 + (y + by) ** 2 + (z + bz) ** 2
    s01 = (x - ax) ** 2 + (y - ay) ** 2 + (z - az) ** 2
    s11 = (x + bx - ax) ** 2 + (y + by - ay) ** 2 + (z + bz - az) ** 2
    n00, n10, n01, n11 = np.sqrt(s00), np.sqrt(s10), np.sqrt(s01), np.sqrt(s11)
    # 2 a.b = |a|^2 + |b|^2 - |a - b|^2 spares three products per corner pair.
    across = s00 + s11 - diagonal
    lower = (
        2.0 * n00 * n10 * n11
        + (s00 + s10 - side_b) * n11
        + (s10 + s11 - side_a) * n00
        + across * n10
    )  # fmt: skip
    upper = (
        2.0 * n00 * n11 * n01
        + across * n01
        + (s11 + s01 - side_b) * n00
        + (s00 + s01 - side_a) * n11
    )  # fmt: skip
    # Both triangles have the same volume. A flat quadrilateral spans less than half the sphere, so the two half angles
    # add inside one turn of the arctangent.
    turned = 2.0 * volume * (lower + upper)
    facing = lower * upper - 4.0 * volume * volume
    size = np.maximum(np.maximum(side_a, side_b), s00)
    met = (facing <= FLAT * size**3) & (np.abs(volume) <= FLAT * size**1.5)
    angle = np.arctan2(turned, facing)
    return np.where(met & (side_a > 0) & (side_b > 0), np.nan, angle / (-2.0 * np.pi))


def _ranges(begins: IntArray, lengths: IntArray) -> IntArray:
    """Put the ranges begin, begin + 1, ... one after another."""
    ends = np.cumsum(lengths)
    return np.arange(int(ends[-1]) if len(ends) else 0) + np.repeat(begins - ends + lengths, lengths)


def _chunks(lengths: IntArray) -> Iterator[slice]:
    """Cut rows into runs of about `CHUNK` columns in all, at least one row each."""
    ends = np.cumsum(lengths)
    begin = 0
    while begin < len(lengths):
        before = int(ends[begin - 1]) if begin else 0
        end = max(begin + 1, int(np.searchsorted(ends, before + CHUNK, side="right")))
        yield slice(begin, end)
        begin = end
