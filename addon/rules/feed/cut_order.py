"""In which order gates are cut, so that the piece stays held evenly to the end.

Every link is loose as soon as its own gates are off, and hangs in its neighbours. So the first round leaves every
second gate standing: a loose link then always lies between two that are held. Opposite places follow one another, on an
open runner its two ends, so that neither side springs while the other is still fast. Three gates spread over the whole
length go last: three places hold a ring steady, and an open piece by its ends and its middle. Common practice, no
published source; the two rounds are our judgement.
"""

import numpy as np

from ..solid.mesh import FloatArray, IntArray

# The rounds of the order; the last has this many gates.
FIRST, SECOND, LAST = 1, 2, 3
LEFT_STANDING = 3
# Places are told apart to so many digits of a mm, so that rounding decides nothing.
SURE_DIGITS = 5


def alternately(at_mm: FloatArray, length_mm: float, *, closed: bool) -> tuple[IntArray, IntArray]:
    """Order places ``at_mm`` (n,) along a ring or an open line: which is cut first, second ... and in which round each.

    ``length_mm`` is once round a closed ring; of an open line it counts for nothing. Both (n,), in order of cutting.
    """
    at_mm = np.round(at_mm, SURE_DIGITS)
    row = np.argsort(at_mm, kind="stable").astype(np.int64)
    last = _spread(at_mm[row], length_mm, closed=closed)
    rest = np.setdiff1d(np.arange(len(row)), last)
    if closed and len(rest):
        # Begun next to a gate that stays, no two of the first round meet where the row closes.
        rest = np.roll(rest, -int((rest < last[0]).sum()))
    first, second = rest[::2], rest[1::2]
    order = np.concatenate((_opposite(first, closed), _opposite(second, closed), last)).astype(np.int64)
    rounds = np.repeat((FIRST, SECOND, LAST), (len(first), len(second), len(last)))
    return row[order], rounds


def _opposite(row: IntArray, closed: bool) -> IntArray:
    """Take places in turn from both sides: on a ring each with the one half round, on a line from both ends inwards."""
    half = (len(row) + 1) // 2
    other = row[half:] if closed else row[half:][::-1]
    both = np.full((half, 2), -1, dtype=np.int64)
    both[:, 0], both[: len(other), 1] = row[:half], other
    return both.ravel()[both.ravel() >= 0]


def _spread(at: FloatArray, length_mm: float, *, closed: bool) -> IntArray:
    """Choose the three of rising places (n,) that lie most evenly; all where there are no more."""
    n = len(at)
    if n <= LEFT_STANDING:
        return np.arange(n)
    if not closed:
        middle = 1 + int(np.abs(at[1:-1] - (at[0] + at[-1]) / 2).argmin())
        return np.array([0, middle, n - 1])
    third = length_mm / LEFT_STANDING
    wanted = at[:, None] + third * np.arange(LEFT_STANDING)
    off = np.mod(at[None, None] - wanted[..., None] + length_mm / 2, length_mm) - length_mm / 2
    chosen = np.sort(np.round(np.abs(off), SURE_DIGITS).argmin(axis=2), axis=1)
    chosen = chosen[(np.diff(chosen, axis=1) > 0).all(axis=1)]
    if not len(chosen):
        # Gates in a bunch: no three lie apart.
        return np.arange(LEFT_STANDING) * n // LEFT_STANDING
    places = at[chosen]
    gaps = np.diff(np.column_stack((places, places[:, :1] + length_mm)), axis=1)
    return np.asarray(chosen[int(np.round(gaps.max(axis=1), SURE_DIGITS).argmin())])
