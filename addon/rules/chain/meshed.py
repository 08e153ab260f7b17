"""The fit of links that are no plain round wire: centrelines show where to look, meshes how much gap there is.

Measuring meshes is slow, so it is done where it decides: at the pitches that matter as far as known. How much each gap
differs there from what the centrelines show changes slowly with the pitch; in between, and on rings a little larger or
smaller, it is read off those places. Looked at again until nothing moves.
"""

from dataclasses import dataclass

import numpy as np

from ..solid.mesh import FloatArray, IntArray
from .seen import Seen, cubic, nothing_seen
from .uniform import BoolArray, Cases, Tightest, are_linked, case_gaps

# Pitches at which the centrelines are measured, and parts into which each step between is divided.
GUIDED, FINE = 49, 24
# Beside a chain looked at, fewer do, from a little under the pitch of one contact to a little over that of the other.
BESIDE_GUIDED, BESIDE_SHARE = 17, 0.03
# Of crossing meshes it is only known that they cross.
CROSSING_MM = 0.05
# Contact is looked for at this gap, where there still is a slope, and the rest of the way read off it.
NEARLY_MM = 0.02
# A gap and the centrelines' one change with the pitch by at most one and a half each, mostly together.
STEEPEST = 1.5
# Gaps wider than the smallest by so much are not measured again, nor more than so many of a pitch.
SLACK_MM, MOST_CASES = 0.25, 8
# Looked at until the pitches move less than this, or so often: in a draft, and on the meshes that are built.
DRAFT_MM, BUILT_MM = 0.02, 1e-3
DRAFT_ROUNDS, BUILT_ROUNDS = 3, 8
# Where no gap was found by following the centrelines so often, so many pitches are looked at.
BLIND_ROUNDS, SPREAD = 2, 11
# A pair that a chain lacks is out of the way.
AWAY_MM = 1e4


@dataclass(frozen=True, slots=True)
class Ends:
    """Of one chain: the pitch of the widest smallest gap, that gap, the pitches that keep a wanted one, and of contact.

    NaN where there is none. ``tightest`` the pair that has the smallest gap at the best pitch, where meshes were looked
    at.
    """

    best_mm: float
    gap_mm: float
    low_mm: float
    high_mm: float
    pushed_mm: float
    pulled_mm: float
    tightest: Tightest | None = None


def look(cases: Cases, gap_mm: float, guess: Seen | None = None) -> tuple[Ends, Seen]:
    """Fit one chain by its meshes to a wanted gap. Gives what was seen, too.

    A ``guess`` from a chain bent nearly alike saves looking. The gap is 0 where no pitch is free.
    """
    settled, rounds = (BUILT_MM, BUILT_ROUNDS) if cases.measure.exact else (DRAFT_MM, DRAFT_ROUNDS)
    grid = np.linspace(cases.least_mm[0], cases.most_mm[0], GUIDED)
    guide, rise = (table[:, 0] for table in _guide(cases, grid[None]))
    twin = _twins(cases, guide)
    apart = _apart(cases, grid, guide)
    fine, guided = _finer(grid, guide, rise)
    linked = fine < apart
    seen = nothing_seen(cases)
    held = guess if guess is not None and len(guess.bodies) == len(cases.a) else seen
    for step in range(rounds):
        off = held.offsets(fine)
        wanted = _wanted(_read(fine, guided + off, linked, gap_mm, contact_mm=NEARLY_MM), seen, settled)
        if step == BLIND_ROUNDS and not (seen.least_mm > 0).any():
            wanted = np.linspace(grid[0], min(grid[-1], apart), SPREAD + 2)[1:-1]
        if not len(wanted):
            break
        seen = _measured(cases, seen, wanted, (fine, guided, off), twin, everything=not len(held.pitch_mm))
        held = seen
    ends = _read(fine, guided + seen.offsets(fine), linked, gap_mm)
    top = int(seen.least_mm.argmax())
    gap = float(seen.least_mm[top])
    known = (ends.low_mm, ends.high_mm, ends.pushed_mm, ends.pulled_mm) if gap > 0 else (np.nan,) * 4
    case = int(np.nan_to_num(seen.gap_mm[top], nan=np.inf).argmin())
    first, second = cases.bodies[case].tolist()
    return Ends(float(seen.pitch_mm[top]), gap, *known, Tightest(gap, first, second, float(cases.phase[case, 0]))), seen


def beside(cases: Cases, ends: Ends, seen: Seen) -> list[Ends]:
    """Fit k chains bent nearly alike by what was ``seen`` of one, with its ``ends``, and by their own centrelines."""
    k = len(cases.most_mm)
    if not (np.isfinite(ends.pushed_mm) and np.isfinite(ends.pulled_mm)):
        return [Ends(*(np.nan,) * 6)] * k
    more = BESIDE_SHARE * float(cases.most_mm[0])
    grid = np.linspace(ends.pushed_mm - more, ends.pulled_mm + more, BESIDE_GUIDED)
    alone = np.unique(_twins(cases, _guide(cases.of(np.array([0])), grid[None, ::8])[0][:, 0]))
    guide, rise = _guide(cases.only(alone), np.broadcast_to(grid, (k, len(grid))))
    fine = _finer(grid, guide[:, 0], rise[:, 0])[0]
    off, linked = seen.offsets(fine)[alone], np.ones(len(fine), dtype=bool)
    return [_read(fine, _finer(grid, guide[:, row], rise[:, row])[1] + off, linked, 0.0) for row in range(k)]


def _measured(
    cases: Cases,
    seen: Seen,
    pitches: FloatArray,
    guide: tuple[FloatArray, FloatArray, FloatArray],
    twin: IntArray,
    *,
    everything: bool,
) -> Seen:
    """Measure meshes at pitches (n,): all pairs, or those that may be the tightest.

    ``guide``: pitches (f,), the gaps (c, f) of the centrelines there, and how much wider they are thought to be.
    """
    fine, guided, thought = guide
    of_guide = _between(fine, guided, pitches)
    alone = (twin == np.arange(len(twin))) & cases.meets[:, 0]
    held = np.where(alone[:, None], of_guide + _between(fine, thought, pitches), np.inf)
    take = alone[:, None] & (everything | (held < np.maximum(held.min(axis=0), 0) + SLACK_MM))
    take &= np.argsort(np.argsort(held, axis=0, kind="stable"), axis=0) < MOST_CASES
    gap, slope = np.full((2, len(twin), len(pitches)), np.nan)
    case, at = np.nonzero(take)
    if len(case):
        shift = cases.still[case, 0] + pitches[at, None] * cases.move[case, 0]
        found = cases.measure.pair_gaps(cases.a[case], cases.b[case], cases.turn[case, 0], shift)
        gap[case, at] = found.gap_mm
        slope[case, at] = np.einsum("ni,ni->n", found.towards, cases.move[case, 0])
    step = fine[1] - fine[0]
    rise = (_between(fine, guided, pitches + step) - _between(fine, guided, pitches - step)) / (2 * step)
    off = np.where(gap <= 0, -of_guide - CROSSING_MM, gap - of_guide)
    slope = np.where(gap <= 0, 0.0, np.clip(slope - rise, -STEEPEST, STEEPEST))
    meets = cases.meets[:, 0]
    gap, off, slope = (np.where(meets, table[twin].T, np.nan) for table in (gap, off, slope))
    return seen.joined_by(pitches, gap, off, slope)


def _wanted(ends: Ends, seen: Seen, settled_mm: float) -> FloatArray:
    """Give the pitches that matter and were not looked at nearly enough.

    Near contact only a place where the meshes are still free tells how far it is.
    """
    free = seen.pitch_mm[seen.least_mm > 0]
    kept: list[float] = []
    for pitch in (ends.best_mm, ends.low_mm, ends.high_mm, ends.pushed_mm, ends.pulled_mm):
        places = free if pitch in (ends.pushed_mm, ends.pulled_mm) else seen.pitch_mm
        away = np.abs(np.concatenate((places, kept)) - pitch).min(initial=np.inf)
        if np.isfinite(pitch) and away > settled_mm:
            kept.append(pitch)
    return np.sort(kept)


def _read(fine: FloatArray, gap: FloatArray, linked: BoolArray, wanted_mm: float, *, contact_mm: float = 0.0) -> Ends:
    """Read the fit off gaps (c, f) at fine pitches (f,); ``contact_mm`` the gap that counts as contact."""
    low = np.where(linked, gap.min(axis=0), -np.inf)
    top = int(low.argmax())
    kept, touch = ([_crossing(fine, low, top, way, floor) for way in (-1, 1)] for floor in (wanted_mm, contact_mm))
    return Ends(float(fine[top]), float(low[top]), kept[0], kept[1], touch[0], touch[1])


def _crossing(fine: FloatArray, low: FloatArray, top: int, way: int, floor: float) -> float:
    """Follow gaps (f,) from the widest one either way to where they fall below a floor."""
    if low[top] < floor:
        return np.nan
    below = np.flatnonzero((low[top:] if way > 0 else low[top::-1]) < floor)
    if not len(below):
        return float(fine[-1 if way > 0 else 0])
    last = top + way * int(below[0])
    before = last - way
    if not np.isfinite(low[last]):
        return float(fine[before])
    share = (low[before] - floor) / (low[before] - low[last])
    return float(fine[before] + share * (fine[last] - fine[before]))


def _guide(cases: Cases, pitches: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Give the gaps (c, k, g) of the centrelines and their slopes; pairs that a chain lacks are out of the way."""
    gap, towards = case_gaps(cases, pitches, guide=True)
    rise = np.einsum("ckgi,cki->ckg", towards, cases.move)
    return np.where(np.isfinite(gap), gap, AWAY_MM), np.where(np.isfinite(gap), rise, 0.0)


def _apart(cases: Cases, grid: FloatArray, guide: FloatArray) -> float:
    """Give the pitch from which on the links of a sharply bent chain are free of each other, no longer linked."""
    free = np.flatnonzero(guide[cases.linked].min(axis=0, initial=np.inf) > 0)
    # No pair comes apart or together without crossing: one look at each run of free pitches tells of all of it.
    free = free[np.diff(free, prepend=-2) > 1]
    if not len(free):
        return np.inf
    apart = ~are_linked(cases.of(np.zeros(len(free), dtype=np.int64)), grid[free])
    return float(grid[free[apart.argmax()]]) if apart.any() else np.inf


def _twins(cases: Cases, guide: FloatArray) -> IntArray:
    """Give for every pair the first of the same two links with the same gaps: its mirror image, or itself.

    An own link may differ from its mirror image where its centreline does not show it.
    """
    if any(link.own is not None for link in cases.measure.links):
        return np.arange(len(guide))
    ends = np.sort(np.stack((cases.a, cases.b), axis=1), axis=1)
    first, back = np.unique(
        np.concatenate((ends, guide.round(7)), axis=1), axis=0, return_index=True, return_inverse=True
    )[1:]
    return np.asarray(first[back.reshape(-1)], dtype=np.int64)


def _finer(grid: FloatArray, values: FloatArray, slopes: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Give a finer grid (f,), and rows of values (c, f) on it by cubics through values and slopes (c, g)."""
    fine = np.linspace(grid[0], grid[-1], FINE * (len(grid) - 1) + 1)
    return fine, np.array([cubic(grid, row, rise, fine) for row, rise in zip(values, slopes, strict=True)])


def _between(grid: FloatArray, values: FloatArray, at: FloatArray) -> FloatArray:
    """Read rows of values (c, g) off between the places of a rising even grid."""
    place = np.clip((at - grid[0]) / (grid[1] - grid[0]), 0, len(grid) - 1)
    whole = np.minimum(place.astype(np.int64), len(grid) - 2)
    part = place - whole
    return np.asarray(values[:, whole] * (1 - part) + values[:, whole + 1] * part)
