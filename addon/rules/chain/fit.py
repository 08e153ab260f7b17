"""Fit: the pitch of the widest smallest gap, the interval of pitches that keep a gap, and the pitches of contact.

All of it on smooth tubes and on uniformly bent chains: straight, or a ring whose pitch is the distance between
neighbouring link centres.
"""

from dataclasses import dataclass

import numpy as np

from ..solid.mesh import FloatArray, IntArray
from .link import Link
from .uniform import Lay, are_linked, uniform_gaps

GRID = 33
PITCH_MM = 1e-5
GAP_MM = 1e-6
BEST_STEPS = 40
REACH_STEPS = 200
# Within this share of the wire of its floor, a gap that falls at least so steeply ends on it by Newton steps.
NEAR_SHARE = 0.01
STEEP = 0.2
POLISH_STEPS = 3


@dataclass(frozen=True, slots=True)
class Fit:
    """The fit of one even bend. ``best_mm`` the pitch of the widest smallest gap ``gap_mm``.

    ``low_mm`` to ``high_mm`` keeps the wanted gap; at ``pushed_mm`` and ``pulled_mm`` metal first meets metal. Those
    are NaN where the wanted gap, or any, cannot be had.
    """

    best_mm: float
    gap_mm: float
    low_mm: float
    high_mm: float
    pushed_mm: float
    pulled_mm: float


def fit(link: Link, lay: Lay, bend: float, gap_mm: float) -> Fit:
    """Fit a chain bent by ``bend`` radians at every joint (0: straight) to a wanted gap."""
    best, gap = widest(link, lay, np.array([bend]))
    toward, floor = np.array([-1.0, 1.0, -1.0, 1.0]), np.array([gap_mm, gap_mm, 0.0, 0.0])
    ends = reach(link, lay, np.full(4, bend), np.repeat(best, 4), toward, floor)
    return Fit(float(best[0]), float(gap[0]), *(float(end) for end in ends))


def widest(link: Link, lay: Lay, bends: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Find the pitch of the widest smallest gap for each of k bends (radians a joint): pitches (k,), gaps (k,).

    A grid over all pitches at which neighbours are linked, then steps to where the tangents of both sides meet. A
    gap below 0: no pitch is free.
    """
    rows: IntArray = np.arange(len(bends))
    # At the length of the centreline the ends of straight neighbours cross and they part; bent ones part earlier.
    most = link.length_mm - link.wire_mm
    grid = np.linspace(0.3 * most, most, GRID)
    coarse = uniform_gaps(link, lay, bends, np.broadcast_to(grid, (len(bends), GRID)))
    height = _only_linked(link, lay, bends, grid, coarse.gap_mm)
    top = np.clip(height.argmax(axis=1), 1, GRID - 2)
    best, gap = grid[top], coarse.gap_mm[rows, top]
    left = np.stack((grid[top - 1], coarse.gap_mm[rows, top - 1], coarse.slope[rows, top - 1]))
    right = np.stack((grid[top + 1], coarse.gap_mm[rows, top + 1], coarse.slope[rows, top + 1]))
    _narrow(left, right, np.stack((best, gap, coarse.slope[rows, top])), rows)
    active = rows
    for step in range(BEST_STEPS):
        (x0, f0, s0), (x1, f1, s1) = left[:, active], right[:, active]
        run = np.where(s0 - s1 > 1e-12, s0 - s1, 1.0)
        meet = np.where(s0 - s1 > 1e-12, (f1 - f0 + s0 * x0 - s1 * x1) / run, x0)
        usable = (meet > x0) & (meet < x1)
        done = (x1 - x0 < PITCH_MM) | (usable & (f0 + s0 * (meet - x0) - gap[active] < GAP_MM))
        active, meet, usable = active[~done], meet[~done], usable[~done]
        if not len(active):
            break
        trial = np.where(usable & (step % 4 != 3), meet, (left[0, active] + right[0, active]) / 2)
        found = uniform_gaps(link, lay, bends[active], trial[:, None])
        value = found.gap_mm[:, 0]
        best[active] = np.where(value > gap[active], trial, best[active])
        gap[active] = np.maximum(value, gap[active])
        _narrow(left, right, np.stack((trial, value, found.slope[:, 0])), active)
    parted = gap > 0
    parted[parted] = ~are_linked(link, lay, bends[parted], best[parted])
    return np.where(parted, grid[top], best), np.where(parted, np.minimum(height[rows, top], 0.0), gap)


def reach(
    link: Link, lay: Lay, bends: FloatArray, start_mm: FloatArray, toward: FloatArray, floor_mm: FloatArray
) -> FloatArray:
    """Follow the pitch from a start up or down until a gap first falls to a floor; all arrays (k,).

    ``toward`` is 1 (up) or -1 (down). No contact is jumped: a step is kept only when the changes of pitch that the
    gaps at its two ends allow overlap (conservative advancement, a little hurried). NaN where the start itself lies
    below its floor.
    """
    pitch = start_mm.copy()
    margin, slope = _margins(link, lay, bends, pitch, floor_mm)
    pitch[margin < 0] = np.nan
    near = NEAR_SHARE * link.wire_mm
    active = np.flatnonzero(margin >= 0)
    for _ in range(REACH_STEPS):
        steep = -toward[active] * slope[active] > STEEP
        active = active[(margin[active] > near) | (~steep & (margin[active] > GAP_MM))]
        if not len(active):
            break
        here, fall = margin[active], np.clip(-toward[active] * slope[active], -0.9, 1.0)
        stride = 1.96 * here / (1 + fall)
        trial = pitch[active] + toward[active] * stride
        ahead, ahead_slope = _margins(link, lay, bends[active], trial, floor_mm[active])
        proven = (ahead >= 0) & (here + ahead >= stride)
        pitch[active] += toward[active] * np.where(proven, stride, 0.0)
        margin[active[proven]], slope[active[proven]] = ahead[proven], ahead_slope[proven]
        slow = active[~proven]
        if len(slow):
            pitch[slow] += toward[slow] * margin[slow]
            margin[slow], slope[slow] = _margins(link, lay, bends[slow], pitch[slow], floor_mm[slow])
    ends = np.flatnonzero(np.isfinite(pitch))
    for step in range(POLISH_STEPS if len(ends) else 0):
        if step:
            margin[ends], slope[ends] = _margins(link, lay, bends[ends], pitch[ends], floor_mm[ends])
        pitch[ends] += toward[ends] * margin[ends] / np.maximum(-toward[ends] * slope[ends], STEEP)
    return pitch


def _margins(
    link: Link, lay: Lay, bends: FloatArray, pitch: FloatArray, floor_mm: FloatArray
) -> tuple[FloatArray, FloatArray]:
    found = uniform_gaps(link, lay, bends, pitch[:, None], floor_mm=floor_mm[:, None])
    return found.margin_mm[:, 0], found.margin_slope[:, 0]


def _only_linked(link: Link, lay: Lay, bends: FloatArray, grid: FloatArray, gap: FloatArray) -> FloatArray:
    """Strike out the pitches at which a sharply bent chain has come apart: free, but neighbours no longer linked."""
    height = gap.copy()
    for _ in range(len(grid)):
        top = height.argmax(axis=1)
        free = np.flatnonzero(np.take_along_axis(height, top[:, None], axis=1)[:, 0] > 0)
        apart = free[~are_linked(link, lay, bends[free], grid[top[free]])]
        if not len(apart):
            break
        height[apart] = np.where(np.arange(len(grid)) >= top[apart, None], -np.inf, height[apart])
    return height


def _narrow(left: FloatArray, right: FloatArray, trial: FloatArray, rows: IntArray) -> None:
    """Close brackets of a maximum in place: a rising trial becomes the left end, a falling one the right end."""
    rising = trial[2] > 0
    left[:, rows[rising]] = trial[:, rising]
    right[:, rows[~rising]] = trial[:, ~rising]
