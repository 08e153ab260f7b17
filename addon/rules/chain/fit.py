"""Fit: the pitch of the widest smallest gap, the interval of pitches that keep a gap, and the pitches of contact.

All of it on evenly bent chains: straight, or a ring whose pitch is the distance between neighbouring stations. The
types of joint are fitted one after another; each knows the pitches of those before it.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..solid.mesh import FloatArray, IntArray
from .measure import drafting
from .meshed import look
from .uniform import (
    Cases,
    Even,
    Tightest,
    UniformGaps,
    are_linked,
    beside,
    case_gaps,
    cases_of,
    distinct,
    smallest,
    together,
    uniform_gaps,
)

GRID = 33
# Chains bent nearly alike have their best pitch within this share of all pitches of each other.
ABOUT, ABOUT_GRID = 0.1, 7
PITCH_MM = 1e-5
GAP_MM = 1e-6
BEST_STEPS = 40
REACH_STEPS = 200
# Within this share of the wire of its floor, a gap that falls at least so steeply ends on it by Newton steps.
NEAR_SHARE = 0.01
STEEP = 0.2
POLISH_STEPS = 3
# Pairs that stay free over so many wires of pitch are left out on the way, and looked at again at its end.
TRAVEL = 0.4


@dataclass(frozen=True, slots=True)
class Fit:
    """The fit of one type of joint on one even bend. ``best_mm`` the pitch of the widest smallest gap ``gap_mm``.

    ``low_mm`` to ``high_mm`` keeps the wanted gap; at ``pushed_mm`` and ``pulled_mm`` metal first meets metal. Those
    are NaN where the wanted gap, or any, cannot be had. ``tightest`` the pair with that gap, where it is known.
    """

    best_mm: float
    gap_mm: float
    low_mm: float
    high_mm: float
    pushed_mm: float
    pulled_mm: float
    tightest: Tightest | None = None


def fit(even: Even, bends: FloatArray, gap_mm: float, repeats: float | None = None) -> tuple[Fit, ...]:
    """Fit a chain bent by ``bends`` (t,) radians at its types of joint (0: straight) to a wanted gap.

    ``repeats`` of a closed one, over which the turn left over is spread.
    """
    number = None if repeats is None else np.array([repeats])
    pitches = np.zeros((1, even.types))
    fits = []
    aside = beside(even)
    for kind in range(even.types):
        cases = distinct(cases_of(even, kind, bends[None], pitches, number))
        found = _by_wires(cases, gap_mm)[0] if cases.measure.solids is None else _by_meshes(cases, gap_mm)
        fits.append(_beside(found, aside, gap_mm))
        pitches[:, kind] = found.best_mm
    return tuple(fits)


def fit_alike(
    evens: Sequence[Even], bends: FloatArray, gap_mm: float, near: FloatArray | None = None
) -> list[tuple[Fit, ...]]:
    """Fit several chains of one family and links of different sizes as `fit` does, each bent by its row of (n, t).

    Those of round wire are fitted together. ``near`` pitches (n, t) to look about first.
    """
    measure = drafting([link for even in evens for link in even.pattern.links]) if _plain(evens) else None
    pitches = np.zeros_like(bends)
    aside = [beside(even) for even in evens]
    fits: list[tuple[Fit, ...]] = [()] * len(evens)
    for kind in range(bends.shape[1]):
        each = [
            cases_of(even, kind, bend[None], pitch[None])
            for even, bend, pitch in zip(evens, bends, pitches, strict=True)
        ]
        cases = None if measure is None else together(each, measure)
        if cases is None:
            return [fit(even, bend, gap_mm) for even, bend in zip(evens, bends, strict=True)]
        wires = _by_wires(distinct(cases), gap_mm, None if near is None else near[:, kind])
        found = [_beside(one, gap, gap_mm) for one, gap in zip(wires, aside, strict=True)]
        fits = [(*before, one) for before, one in zip(fits, found, strict=True)]
        pitches[:, kind] = [one.best_mm for one in found]
    return fits


def _plain(evens: Sequence[Even]) -> bool:
    return all(even.measure.solids is None for even in evens)


def _beside(found: Fit, aside_mm: float, gap_mm: float) -> Fit:
    """Tell of links that stand at the same station, too, which no pitch moves apart."""
    if aside_mm < gap_mm:
        found = replace(found, low_mm=np.nan, high_mm=np.nan)
    return replace(found, gap_mm=min(found.gap_mm, aside_mm))


def _by_wires(cases: Cases, gap_mm: float, near: FloatArray | None = None) -> list[Fit]:
    best, gap = widest(cases) if near is None else widest_near(cases, near)
    k = len(best)
    toward, floor = np.array([-1.0, 1.0, -1.0, 1.0]), np.array([gap_mm, gap_mm, 0.0, 0.0])
    ends = reach(cases.of(np.repeat(np.arange(k), 4)), np.repeat(best, 4), np.tile(toward, k), np.tile(floor, k))
    return [Fit(*row) for row in np.column_stack((best, gap, ends.reshape(k, 4))).tolist()]


def _by_meshes(cases: Cases, gap_mm: float) -> Fit:
    ends = look(cases, gap_mm)[0]
    return Fit(ends.best_mm, ends.gap_mm, ends.low_mm, ends.high_mm, ends.pushed_mm, ends.pulled_mm, ends.tightest)


def widest_about(cases: Cases, main: int) -> tuple[FloatArray, FloatArray]:
    """Find the same as `widest` of chains bent nearly alike: of the ``main`` one first, then near its pitch."""
    best, gap = np.empty((2, len(cases.most_mm)))
    best[main], gap[main] = (found[0] for found in widest(cases.of(np.array([main]))))
    others = np.delete(np.arange(len(best)), main)
    if len(others):
        best[others], gap[others] = widest_near(cases.of(others), float(best[main]))
    return best, gap


def widest_near(cases: Cases, pitch_mm: FloatArray | float) -> tuple[FloatArray, FloatArray]:
    """Find the same as `widest`, looking about a pitch first, one for all chains or (k,).

    Where that leads to the end of what was looked at, or to no gap, all pitches are looked at after all.
    """
    half = ABOUT * (cases.most_mm - cases.least_mm)
    low, high = pitch_mm - half, np.minimum(pitch_mm + half, cases.most_mm)
    best, gap = widest(replace(cases, least_mm=low, most_mm=high), grid=ABOUT_GRID)
    cell = (high - low) / (ABOUT_GRID - 1)
    again = np.flatnonzero((best < low + cell) | (best > high - cell) | (gap <= 0))
    if len(again):
        best[again], gap[again] = widest(cases.of(again))
    return best, gap


def widest(cases: Cases, *, grid: int = GRID) -> tuple[FloatArray, FloatArray]:
    """Find the pitch of the widest smallest gap of each of k chains: pitches (k,), gaps (k,).

    A ``grid`` over all pitches at which neighbours are linked, then steps to where the tangents of both sides meet. A
    gap below 0: no pitch is free. For chains of round wire, whose gaps are exact and never just 0 where they overlap.
    """
    share = np.linspace(0.0, 1.0, grid)
    looked = cases.least_mm[:, None] + (cases.most_mm - cases.least_mm)[:, None] * share
    each, towards = case_gaps(cases, looked)
    coarse = smallest(cases, each, towards)
    height = _only_linked(cases, looked, coarse.gap_mm)
    top = np.clip(height.argmax(axis=1), 1, grid - 2)
    rows: IntArray = np.arange(len(looked))
    left, here, right = (_points(looked, coarse, rows, top + step) for step in (-1, 0, 1))
    best, gap = here[0].copy(), here[1].copy()
    _narrow(left, right, here, rows)
    # No gap changes by more than its ratio of the pitch: pairs that far apart decide nothing between both sides.
    cell, most = looked[:, 1] - looked[:, 0], cases.ratio.max(axis=0, initial=0.0)
    nearest = np.stack([each[:, rows, top + step] for step in (-1, 0, 1)]).min(axis=0)
    _climb(cases.where(nearest - cases.ratio * cell < gap + most * cell), left, right, best, gap)
    parted = gap > 0
    parted[parted] = ~are_linked(cases.of(np.flatnonzero(parted)), best[parted])
    return np.where(parted, looked[rows, top], best), np.where(parted, np.minimum(height[rows, top], 0.0), gap)


def reach(cases: Cases, start_mm: FloatArray, toward: FloatArray, floor_mm: FloatArray) -> FloatArray:
    """Follow the pitch of k chains from a start up or down until a gap first falls to a floor; all arrays (k,).

    ``toward`` is 1 (up) or -1 (down). No contact is jumped: a step is kept only when the changes of pitch that the
    gaps at its two ends allow overlap (conservative advancement, a little hurried). NaN where the start itself lies
    below its floor. For chains of round wire.
    """
    all_margins = _all_margins(cases, start_mm, floor_mm)
    margin = all_margins.min(axis=0)
    near_by = all_margins < np.maximum(margin, 0) + TRAVEL * min(link.wire_mm for link in cases.measure.links)
    hidden = cases.meets & ~near_by
    ends = reached(cases.where(near_by), start_mm, toward, floor_mm)
    known = np.flatnonzero(np.isfinite(ends) & hidden.any(axis=0))
    if len(known):
        # Pairs left out cannot have met on the way where what they could move at both ends covers it.
        at_end = _all_margins(cases.where(hidden).of(known), ends[known], floor_mm[known])
        way = np.abs(ends[known] - start_mm[known])
        met = known[((all_margins[:, known] + at_end < way) & hidden[:, known]).any(axis=0)]
        if len(met):
            ends[met] = reached(cases.of(met), start_mm[met], toward[met], floor_mm[met])
    return ends


def reached(cases: Cases, start_mm: FloatArray, toward: FloatArray, floor_mm: FloatArray) -> FloatArray:
    """Follow the same with all pairs looked at all the way: quicker from near the end."""
    pitch = start_mm.copy()
    margin, slope = _margins(cases, pitch, floor_mm)
    pitch[margin < 0] = np.nan
    near = NEAR_SHARE * min(link.wire_mm for link in cases.measure.links)
    active = np.flatnonzero(margin >= 0)
    for _ in range(REACH_STEPS):
        steep = -toward[active] * slope[active] > STEEP
        active = active[(margin[active] > near) | (~steep & (margin[active] > GAP_MM))]
        # What is looked at may open on and on, where the pair that ends it was left out.
        active = active[(pitch[active] > cases.least_mm[active] / 2) & (pitch[active] < 2 * cases.most_mm[active])]
        if not len(active):
            break
        here, fall = margin[active], np.clip(-toward[active] * slope[active], -0.9, 1.0)
        stride = np.minimum(1.96 * here / (1 + fall), cases.most_mm[active])
        trial = pitch[active] + toward[active] * stride
        ahead, ahead_slope = _margins(cases.of(active), trial, floor_mm[active])
        proven = (ahead >= 0) & (here + ahead >= stride)
        pitch[active] += toward[active] * np.where(proven, stride, 0.0)
        margin[active[proven]], slope[active[proven]] = ahead[proven], ahead_slope[proven]
        slow = active[~proven]
        if len(slow):
            pitch[slow] += toward[slow] * margin[slow]
            margin[slow], slope[slow] = _margins(cases.of(slow), pitch[slow], floor_mm[slow])
    ends = np.flatnonzero(np.isfinite(pitch))
    for step in range(POLISH_STEPS if len(ends) else 0):
        if step:
            margin[ends], slope[ends] = _margins(cases.of(ends), pitch[ends], floor_mm[ends])
        pitch[ends] += toward[ends] * margin[ends] / np.maximum(-toward[ends] * slope[ends], STEEP)
    return pitch


def _climb(cases: Cases, left: FloatArray, right: FloatArray, best: FloatArray, gap: FloatArray) -> None:
    """Close the brackets (3, k: pitch, gap, slope) on the widest gap; ``best`` and ``gap`` (k,) are filled in place."""
    active: IntArray = np.arange(len(best))
    for step in range(BEST_STEPS):
        (x0, f0, s0), (x1, f1, s1) = left[:, active], right[:, active]
        run = np.where(s0 - s1 > 1e-12, s0 - s1, 1.0)
        meet = np.where(s0 - s1 > 1e-12, (f1 - f0 + s0 * x0 - s1 * x1) / run, x0)
        usable = (meet > x0) & (meet < x1)
        done = (x1 - x0 < PITCH_MM) | (usable & (f0 + s0 * (meet - x0) - gap[active] < GAP_MM))
        active, meet, usable = active[~done], meet[~done], usable[~done]
        if not len(active):
            break
        # At a kink the tangents meet on it; of a round top the slopes of both sides tell where it is level.
        if step % 2:
            (x0, _, s0), (x1, _, s1) = left[:, active], right[:, active]
            meet = np.where(usable, x0 + (x1 - x0) * np.clip(s0 / np.maximum(s0 - s1, 1e-12), 0.02, 0.98), meet)
        trial = np.where(usable & (step % 4 != 3), meet, (left[0, active] + right[0, active]) / 2)
        found = uniform_gaps(cases.of(active), trial[:, None])
        value = found.gap_mm[:, 0]
        best[active] = np.where(value > gap[active], trial, best[active])
        gap[active] = np.maximum(value, gap[active])
        _narrow(left, right, np.stack((trial, value, found.slope[:, 0])), active)


def _points(grid: FloatArray, found: UniformGaps, rows: IntArray, at: IntArray) -> FloatArray:
    return np.stack((grid[rows, at], found.gap_mm[rows, at], found.slope[rows, at]))


def _margins(cases: Cases, pitch: FloatArray, floor_mm: FloatArray) -> tuple[FloatArray, FloatArray]:
    found = uniform_gaps(cases, pitch[:, None], floor_mm=floor_mm[:, None])
    return found.margin_mm[:, 0], found.margin_slope[:, 0]


def _all_margins(cases: Cases, pitch: FloatArray, floor_mm: FloatArray) -> FloatArray:
    """Give how far the pitch may move before each pair's gap can have fallen to the floor, (c, k)."""
    return np.asarray((case_gaps(cases, pitch[:, None])[0][..., 0] - floor_mm) / np.maximum(cases.ratio, 1e-12))


def _only_linked(cases: Cases, grid: FloatArray, gap: FloatArray) -> FloatArray:
    """Strike out the pitches at which a sharply bent chain has come apart: free, but neighbours no longer linked."""
    height = gap.copy()
    for _ in range(grid.shape[1]):
        top = height.argmax(axis=1)
        free = np.flatnonzero(np.take_along_axis(height, top[:, None], axis=1)[:, 0] > 0)
        apart = free[~are_linked(cases.of(free), grid[free, top[free]])]
        if not len(apart):
            break
        height[apart] = np.where(np.arange(grid.shape[1]) >= top[apart, None], -np.inf, height[apart])
    return height


def _narrow(left: FloatArray, right: FloatArray, trial: FloatArray, rows: IntArray) -> None:
    """Close brackets of a maximum in place: a rising trial becomes the left end, a falling one the right end."""
    rising = trial[2] > 0
    left[:, rows[rising]] = trial[:, rising]
    right[:, rows[~rising]] = trial[:, ~rising]
