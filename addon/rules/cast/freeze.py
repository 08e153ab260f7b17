"""Freezing: the heat of every element in time, until all metal is solid."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..base.progress import Steps
from ..solid.mesh import FloatArray, IntArray
from .cases import Cases, sized
from .elimination import Elimination
from .enthalpy import heat_at, solid_share, temperature_at
from .metal_heat import heat_step, metal_of
from .mould_around import Surroundings, surroundings
from .mould_law import MouldState, advance, at_rest, held_j, pull, store_rise_k
from .network import Mould, Network

# Steps in s: the first, and each as a share of the time gone by.
FIRST_S = 0.008
GROWTH = 0.08
LONGEST_S = 3600.0
SHOWN = 60


@dataclass(frozen=True, slots=True, eq=False)
class Frozen:
    """How n elements froze in b cases. Times in s from the start of freezing.

    ``freeze_s`` (n, b) until half solid, ``solid_s`` (n, b) until solid, the last time if it melts again; 0 where it
    was so from the start, inf where it never came to it, nan where there is no metal. ``end_s`` (b,): the last of
    ``solid_s``. ``web_peak_c`` (k, b): the hottest that the mould in front of a patch was in the mean, nan where it is
    thick; ``web_over_s`` (limits, k, b): how long it was above each limit, until all metal of the case was solid.
    ``times_s`` (s,) and ``shown_c`` (s, n): temperatures of case 0. ``imbalance`` (b,): heat that the sums gained or
    lost, over all heat given off.
    """

    freeze_s: FloatArray
    solid_s: FloatArray
    end_s: FloatArray
    web_peak_c: FloatArray
    web_over_s: FloatArray
    times_s: FloatArray
    shown_c: npt.NDArray[np.float32]
    imbalance: FloatArray


def freeze(
    network: Network,
    mould: Mould,
    cases: Cases,
    *,
    start_c: FloatArray | None = None,
    filled: FloatArray | None = None,
    around: Surroundings | None = None,
    state: MouldState | None = None,
    plan: Elimination | None = None,
    limits_c: Sequence[float] = (),
    first_s: float = FIRST_S,
    growth: float = GROWTH,
    longest_s: float = LONGEST_S,
) -> Steps[Frozen]:
    """Let the metal of every case freeze, from the pour temperature in a mould at rest if nothing else is said.

    ``start_c`` (n, b) degC; ``filled`` (n, b) the share of each element that has metal; ``state`` of the mould, in
    ``around`` of the same cases. ``limits_c`` of the investment. The march ends when all is solid or at ``longest_s``.
    """
    sizes = sized(network, cases)
    metal = metal_of(network, sizes, cases, filled, plan)
    around = surroundings(mould, sizes, cases) if around is None else around
    state = at_rest(around) if state is None else state
    wetted = None if filled is None or bool(np.all(filled == 1.0)) else filled
    empty = metal.mass_g <= 0.0
    metal_c = np.where(empty, cases.flask_c, cases.pour_c if start_c is None else start_c)
    heat = heat_at(metal.content, metal_c)
    begun, held = heat, held_j(around, state)
    half, solid = (_Passing.of(heat, empty, mark) for mark in (0.5 * metal.content.liquidus_j, np.zeros(cases.count)))
    webs = _Webs.of(store_rise_k(around, state, wetted), np.subtract.outer(np.array(limits_c, float), cases.flask_c))
    mass = np.maximum(metal.mass_g.sum(axis=0), 1e-300)
    time, rate, share = 0.0, np.zeros_like(heat), 0.0
    times, shown = [time], [metal_c[:, 0].astype(np.float32)]
    while (busy := np.any(~empty & (heat > 0.0), axis=0)).any() and time < longest_s:
        seconds = min(max(first_s, growth * time), longest_s - time)
        taking = pull(around, state, metal_c, seconds, wetted)
        after, driving_c = heat_step(metal, heat, heat + rate * seconds, taking.conductance, taking.source, seconds)
        state = advance(around, state, taking, driving_c)
        half.note(heat, after, time, seconds)
        solid.note(heat, after, time, seconds)
        webs.note(store_rise_k(around, state, wetted), seconds, busy)
        rate = (after - heat) / seconds
        heat, time = after, time + seconds
        metal_c, _ = temperature_at(metal.content, heat)
        times.append(time)
        shown.append(metal_c[:, 0].astype(np.float32))
        share = max(share, float(((solid_share(metal.content, heat) * metal.mass_g).sum(axis=0) / mass).min()))
        yield min(share, 1.0)
    given = metal.mass_g * (begun - heat)
    off = given.sum(axis=0) - (held_j(around, state) - held)
    chosen = _evenly(len(times))
    return Frozen(
        freeze_s=half.at_s,
        solid_s=solid.at_s,
        end_s=np.where(empty, 0.0, solid.at_s).max(axis=0),
        web_peak_c=_on_patches(around, len(mould.element), cases.flask_c + webs.peak_k),
        web_over_s=_on_patches(around, len(mould.element), webs.over_s),
        times_s=np.array(times)[chosen],
        shown_c=np.stack(shown)[chosen],
        imbalance=off / np.maximum(np.abs(given).sum(axis=0), 1e-300),
    )


def share_solid(time_s: FloatArray, begins_s: FloatArray, half_s: FloatArray, solid_s: FloatArray) -> FloatArray:
    """Give the share solid at a time, as even from where freezing begins to half, and from half to solid.

    All (n,). What is inf never comes; nan where ``half_s`` is nan.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        early = np.where(time_s > begins_s, 0.5 * (time_s - begins_s) / (half_s - begins_s), 0.0)
        late = np.nan_to_num(0.5 + 0.5 * (time_s - half_s) / (solid_s - half_s), nan=1.0)
    share = np.where(solid_s <= time_s, 1.0, np.clip(np.where(time_s < half_s, early, late), 0.0, 1.0))
    return np.where(np.isnan(half_s), np.nan, share)


@dataclass(slots=True, eq=False)
class _Passing:
    """When each element's heat content came down past a ``mark`` (b,): ``at_s`` (n, b), written as the march goes."""

    mark: FloatArray
    at_s: FloatArray

    @classmethod
    def of(
        cls, heat: FloatArray, empty: np.ndarray[tuple[int, int], np.dtype[np.bool_]], mark: FloatArray
    ) -> "_Passing":
        return cls(mark, np.where(empty, np.nan, np.where(heat <= mark, 0.0, np.inf)))

    def note(self, before: FloatArray, after: FloatArray, time: float, seconds: float) -> None:
        was, is_above = before > self.mark, after > self.mark
        down = was & ~is_above
        if down.any():
            part = (before - self.mark)[down] / (before - after)[down]
            self.at_s[down] = time + seconds * part
        self.at_s[is_above & ~was] = np.inf


@dataclass(slots=True, eq=False)
class _Webs:
    """How hot every store was: ``peak_k`` (w, b), and ``over_s`` (limits, w, b) above ``limits_k`` (limits, b)."""

    limits_k: FloatArray
    peak_k: FloatArray
    over_s: FloatArray

    @classmethod
    def of(cls, rise_k: FloatArray, limits_k: FloatArray) -> "_Webs":
        return cls(limits_k, rise_k.copy(), np.zeros((len(limits_k), *rise_k.shape)))

    def note(self, rise_k: FloatArray, seconds: float, busy: npt.NDArray[np.bool_]) -> None:
        np.maximum(self.peak_k, rise_k if busy.all() else np.where(busy, rise_k, 0.0), out=self.peak_k)
        for over, limit in zip(self.over_s, self.limits_k, strict=True):
            over += seconds * (busy & (rise_k > limit))


def _on_patches(around: Surroundings, count: int, values: FloatArray) -> FloatArray:
    """Set values (..., w, b) of the webs among all patches: (..., count, b), nan where the mould is thick."""
    spread = np.full((*values.shape[:-2], count, values.shape[-1]), np.nan)
    spread[..., around.webs.patch, :] = values
    return spread


def _evenly(count: int) -> IntArray:
    """Choose about `SHOWN` of so many steps, the first and the last among them."""
    return np.unique(np.linspace(0, count - 1, min(count, SHOWN)).round().astype(np.int64))
