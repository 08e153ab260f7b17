"""The pour over again: how full every element is at a time, and how much of its metal is solid."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..solid.mesh import FloatArray
from .forecast import Forecast
from .freeze import share_solid

# An element with less metal than this share counts as empty.
NO_METAL = 0.01
# An element that changes by less is at its end.
_STILL = 1e-3
# What is not quite solid shows as less than solid.
_NEARLY = 0.999


@dataclass(frozen=True, slots=True, eq=False)
class Replay:
    """The usual case of a forecast in time, n elements. All times in s from the start of the pour.

    ``fill_s`` (s,) and ``shares`` (s, n): how full; ``filled`` (n,) at the end, and ``poured_s`` when that is.
    ``begins_s``, ``half_s`` and ``solid_s`` (n,): when an element begins to freeze, is half solid, and solid; nan where
    there is no metal, inf where it never comes to it. ``volume_mm3`` (n,) of the elements.
    """

    fill_s: FloatArray
    shares: npt.NDArray[np.float32]
    filled: FloatArray
    poured_s: float
    begins_s: FloatArray
    half_s: FloatArray
    solid_s: FloatArray
    volume_mm3: FloatArray

    def filled_at(self, time_s: float) -> FloatArray:
        """Give how full each element (n,) is."""
        if time_s >= self.fill_s[-1]:
            return self.filled
        return np.minimum(_between(self.fill_s, self.shares, time_s), self.filled)

    def solid_at(self, time_s: float) -> FloatArray:
        """Give the share solid (n,), even between the times that are known; nan where there is no metal yet."""
        share = share_solid(np.full_like(self.half_s, time_s), self.begins_s, self.half_s, self.solid_s)
        share = np.where(self.solid_s <= time_s, 1.0, np.minimum(share, _NEARLY))
        return np.where(np.isnan(self.solid_s) | (self.filled_at(time_s) < NO_METAL), np.nan, share)

    def filling_ends_s(self, some: npt.NDArray[np.bool_]) -> float:
        """Give when some elements (n,) bool are as full as they get."""
        moving = (self.filled[some] - self.shares[:, some] > _STILL).any(axis=1)
        last = int(np.flatnonzero(moving)[-1]) + 1 if moving.any() else 0
        return float(self.fill_s[min(last, len(self.fill_s) - 1)])

    def freezing_ends_s(self, some: npt.NDArray[np.bool_]) -> float:
        """Give when some elements (n,) bool are solid, as far as they ever are."""
        ends = self.solid_s[some]
        return float(np.max(ends[np.isfinite(ends)], initial=self.poured_s))


def replay(forecast: Forecast, liquidus_c: float) -> Replay:
    """Take the usual case out of a forecast."""
    filled, frozen = forecast.filled, forecast.frozen
    poured = float(filled.end_s[0])
    metal = filled.filled[:, 0] >= NO_METAL
    below = frozen.shown_c <= liquidus_c
    begins = np.where(below.any(axis=0), frozen.times_s[below.argmax(axis=0)], np.inf)
    begins, half, solid = (
        np.where(metal, poured + at, np.nan) for at in (begins, frozen.freeze_s[:, 0], frozen.solid_s[:, 0])
    )
    return Replay(
        fill_s=filled.times_s,
        # Fronts that push each other give back a trace: what was full stays so.
        shares=np.maximum.accumulate(filled.shown, axis=0),
        filled=filled.filled[:, 0],
        poured_s=poured,
        begins_s=np.minimum(begins, half),
        half_s=half,
        solid_s=solid,
        volume_mm3=forecast.network.volume_mm3,
    )


def _between(times_s: FloatArray, rows: npt.NDArray[np.float32], time_s: float) -> FloatArray:
    """Give the row (n,) of a time, even between those that are known."""
    after = int(np.clip(np.searchsorted(times_s, time_s), 1, max(len(times_s) - 1, 1)))
    if len(times_s) == 1:
        return np.asarray(rows[0], dtype=np.float64)
    begin, end = float(times_s[after - 1]), float(times_s[after])
    share = np.clip((time_s - begin) / max(end - begin, 1e-12), 0.0, 1.0)
    return np.asarray((1.0 - share) * rows[after - 1] + share * rows[after], dtype=np.float64)
