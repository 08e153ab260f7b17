"""From gaps measured on a printed gauge to what a profile holds: bleed, over-cure, the smallest gap that comes free.

The model is the ladder's: an upright gap prints as model x scale - 2 bleed, a level one as model x scale - over-cure.
Each is one unknown, and its least squares estimate is the mean of what the
readings say of it (Gauss, Theoria motus corporum coelestium, 1809, book 2, section 3; from memory).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..base.errors import BadInput
from ..solid.mesh import FloatArray

MOST_MM = 5.0
# What a profile can hold of bleed and over-cure.
MOST_GROWTH_MM = 1.0
# Our judgement: fewer readings of a kind say little, a wider spread is no single figure, and gaps that follow the
# model's less evenly than this were not printed or not read as told.
FEWEST, WIDEST_SPREAD_MM, SLOPES = 3, 0.04, (0.75, 1.25)
FEWEST_FOR_SLOPE, SHORTEST_RUN_MM = 4, 0.15
FLOOR_STEP_MM = 0.01


@dataclass(frozen=True, slots=True)
class Reading:
    """One gap of a printed gauge: ``gap_mm`` in the model; ``measured_mm`` on the print, None where it is stuck.

    ``level``: the vertical gap over the bar; else one of the two upright gaps beside the link.
    """

    gap_mm: float
    measured_mm: float | None
    level: bool


@dataclass(frozen=True, slots=True)
class Growth:
    """One figure found from ``count`` readings: its mean and their standard deviation, None of a single one.

    Below zero the print came out with wider gaps than the model's.
    """

    mm: float
    spread_mm: float | None
    count: int


@dataclass(frozen=True, slots=True)
class Calibration:
    """What the readings of a gauge say.

    ``bleed`` and ``over_cure`` are None where no gap of that kind was measured. ``free_gap_mm``: the smallest gap of
    the model from which on everything read came free, both kinds where both were read; ``gap_floor_mm``: the smallest
    printed gap that did, as a floor for a profile. ``notes``: what to know before the figures are used.
    """

    bleed: Growth | None
    over_cure: Growth | None
    free_gap_mm: float | None
    gap_floor_mm: float | None
    notes: tuple[str, ...]

    def profile_values(self) -> dict[str, float]:
        """Give the keys of a profile that the readings settle, to 0.001 mm.

        A growth below zero gives no value of its own: a profile holds none, so it is 0 there, and a note says so.
        """
        values: dict[str, float] = {}
        if self.bleed is not None:
            values["bleed_mm"] = max(0.0, round(self.bleed.mm, 3))
        if self.over_cure is not None:
            values["over_cure_mm"] = max(0.0, round(self.over_cure.mm, 3))
        if self.gap_floor_mm is not None:
            values["gap_floor_mm"] = self.gap_floor_mm
        return values


def calibrate(readings: Sequence[Reading], *, scale: float = 1.0) -> Calibration:
    """Find bleed, over-cure and the smallest free gap from the readings of a printed gauge.

    ``scale``: size in print over size in the model. A gap may be read more than once. Raises BadInput for a number that
    cannot be, for readings of which none could be measured, and for a growth that no profile holds.
    """
    _check(readings, scale)
    notes: list[str] = []
    kinds = {level: [r for r in readings if r.level is level] for level in (False, True)}
    growths = {level: _growth(some, scale, notes) for level, some in kinds.items()}
    free = {level: _free(some, notes) for level, some in kinds.items() if some}
    told = [found for found in free.values() if found is not None]
    whole = bool(free) and len(told) == len(free)
    _note_left_out(kinds, notes)
    return Calibration(
        growths[False],
        growths[True],
        max(gap for gap, _ in told) if whole else None,
        _rounded_up(max(printed for _, printed in told)) if whole else None,
        tuple(notes),
    )


def _check(readings: Sequence[Reading], scale: float) -> None:
    if not (math.isfinite(scale) and 0.5 <= scale <= 2.0):
        raise BadInput(f"calibration: a scale of {scale:g} does not work; give a number from 0.5 to 2")
    for number, r in enumerate(readings, 1):
        if not (math.isfinite(r.gap_mm) and 0.0 < r.gap_mm <= MOST_MM):
            raise BadInput(
                f"calibration: reading {number}: a gap of {r.gap_mm:g} mm does not work; give the figure engraved "
                f"before the station, above 0 and up to {MOST_MM:g} mm"
            )
        if r.measured_mm is not None and not (math.isfinite(r.measured_mm) and 0.0 < r.measured_mm <= MOST_MM):
            raise BadInput(
                f"calibration: reading {number} ({_named(r)}): {r.measured_mm:g} mm measured does not work; give a "
                f"number above 0 and up to {MOST_MM:g} mm, or say that it is stuck"
            )
    if not any(r.measured_mm is not None for r in readings):
        what = "all of them are stuck" if readings else "there are no readings"
        raise BadInput(
            f"calibration: {what}, so nothing can be found; measure one gap at least, of a gauge with wider gaps if "
            "none is free"
        )


def _growth(readings: Sequence[Reading], scale: float, notes: list[str]) -> Growth | None:
    """Find bleed (half of what an upright gap loses) or over-cure (all that a level one does)."""
    pairs = np.array([(r.gap_mm * scale, r.measured_mm) for r in readings if r.measured_mm is not None])
    if not len(pairs):
        return None
    level = readings[0].level
    kind, name, key = ("level", "over-cure", "over_cure_mm") if level else ("upright", "bleed", "bleed_mm")
    lost = (pairs[:, 0] - pairs[:, 1]) / (1.0 if level else 2.0)
    mean = float(lost.mean())
    spread = float(lost.std(ddof=1)) if len(lost) > 1 else None
    if abs(mean) > MOST_GROWTH_MM:
        raise BadInput(
            f"calibration: the {kind} gaps give {name} {mean:.3g} mm, and a profile holds up to {MOST_GROWTH_MM:g} mm; "
            "check that model and print were read at the same stations, in mm"
        )
    if len(lost) < FEWEST:
        notes.append(
            f"{name} rests on {len(lost)} measured {kind} gap{'s' if len(lost) > 1 else ''}; measure {FEWEST} at least"
        )
    odd = _uneven(pairs, kind)
    if odd:
        notes.append(odd)
    elif spread is not None and spread > WIDEST_SPREAD_MM:
        notes.append(
            f"{name} is uncertain, the {kind} gaps disagree, their spread is {spread:.3f} mm; measure them again, best "
            "with the same strips"
        )
    if round(mean, 3) < 0.0:
        notes.append(
            f"{name} is {mean:.3f} mm, below zero, the {kind} gaps came out wider than the model's; a profile "
            f"holds none below 0, so {key} is 0. Check the scale of the print"
        )
    return Growth(mean, spread, len(lost))


def _uneven(pairs: FloatArray, kind: str) -> str:
    """Say where printed gaps (n, 2: expected, measured) do not widen as the model's do; empty where they do."""
    expected, measured = pairs.T
    if len(pairs) < FEWEST_FOR_SLOPE or np.ptp(expected) < SHORTEST_RUN_MM:
        return ""
    off = expected - expected.mean()
    slope = float(off @ measured / (off @ off))
    if SLOPES[0] <= slope <= SLOPES[1]:
        return ""
    hint = (
        "if the link was pushed aside, halve what was measured"
        if kind == "upright" and slope > SLOPES[1]
        else "check the scale of the print and which station each reading belongs to"
    )
    return (
        f"where the model's {kind} gap widens by 1 mm the print's widens by {round(slope, 2) + 0.0:.2f} mm, so one "
        f"figure does not describe them; {hint}"
    )


def _free(readings: Sequence[Reading], notes: list[str]) -> tuple[float, float] | None:
    """Give the smallest gap from which on all of one kind came free, in the model and as printed (mean), or None."""
    kind = "level" if readings[0].level else "upright"
    stuck = max((r.gap_mm for r in readings if r.measured_mm is None), default=0.0)
    free = [r for r in readings if r.measured_mm is not None]
    early = [r.gap_mm for r in free if r.gap_mm <= stuck]
    if early:
        notes.append(
            f"{kind} gaps contradict each other: {min(early):g} mm came free, {stuck:g} mm is stuck; the floor is "
            f"taken above {stuck:g} mm. Clean the gauge and read it again"
        )
    above = [r.gap_mm for r in free if r.gap_mm > stuck]
    if not above:
        notes.append(f"no {kind} gap came free above {stuck:g} mm, so no floor is found; print a gauge with wider gaps")
        return None
    least = min(above)
    if not stuck:
        notes.append(f"every {kind} gap came free, the smallest at {least:g} mm, so the floor may lie lower still")
    printed = [r.measured_mm for r in free if r.gap_mm == least and r.measured_mm is not None]
    return least, sum(printed) / len(printed)


def _note_left_out(kinds: dict[bool, list[Reading]], notes: list[str]) -> None:
    for level, name, what in ((False, "upright", "bleed"), (True, "level", "over-cure")):
        if not any(r.measured_mm is not None for r in kinds[level]):
            why = "all are stuck" if kinds[level] else "none was read"
            notes.append(f"no {name} gap was measured ({why}), so {what} stays unknown")


def _named(reading: Reading) -> str:
    return f"{'level' if reading.level else 'upright'} {reading.gap_mm:g} mm"


def _rounded_up(mm: float) -> float:
    return round(math.ceil(mm / FLOOR_STEP_MM - 1e-9) * FLOOR_STEP_MM, 2)
