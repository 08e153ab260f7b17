"""Levers: what would make a job pass, each alone, and how much of it.

Every lever is tried at its limit first, all of them beside each other in one run; those that pass there are then tried
between the last value that fails and the first that passes, in a few runs more. A lever passes where every link fills
in the usual and in the cold case and is fed in the usual one. Where none passes alone, all are pulled together, each by
the same share of its way, with more head besides.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from ..base.progress import Steps, part
from ..solid.mesh import FloatArray
from .cases import Cases, beside, sized
from .elimination import Elimination
from .fill import fill
from .freeze import freeze
from .network import Mould, Network
from .pour import COLD, USUAL, Pour, case, near_kpa
from .verdict import FULL_IN_COLD, filled_shares, link_figures

# So many values are tried between one that fails and one that passes, in so many runs.
BETWEEN, RUNS = 2, 2
# Steps of filling and growth of those of freezing: whether a job passes needs no finer ones.
STEPS, GROWTH = 40, 0.12
# So many cases run beside each other at once; a few alone take less time one after the other.
TOGETHER, FEW = 24, 8
# Limits of sizes over the wire, and of a gate over what it is: what may still find room, our judgement; the planner
# has the last word.
GATE_WIRES, TIP_WIRES, RING_WIRES, SHORTEST = 1.5, 0.9, 2.5, 0.5
GATE_KINDS, RING_KINDS = ("gate",), ("ring", "upper", "post", "spoke")
SHORT_GATE_MM = 3.0  # the clear cut of a saw
TOO_LITTLE = "that does too little"


@dataclass(frozen=True, slots=True)
class Lever:
    """One lever: ``change`` in words, from what it is ``before`` to what the job needs ``after``, in ``unit``.

    Where it does not pass alone, ``after`` is the limit it was tried up to and ``reason`` what sets that.
    """

    change: str
    before: float
    after: float
    unit: str
    passes: bool
    reason: str


@dataclass(frozen=True, slots=True, eq=False)
class _Reach:
    """A lever before it is tried: its value goes from ``now`` to ``limit``; ``at`` makes the case for a value.

    In between it goes by ``step``; None for one that is either left or pulled.
    """

    change: str
    unit: str
    now: float
    limit: float
    why: str
    step: float | None
    at: Callable[[Cases, float, str], Cases]


def levers(network: Network, mould: Mould, pour: Pour, plan: Elimination, until_s: float) -> Steps[tuple[Lever, ...]]:
    """Try every lever that there is room for. ``until_s``: how long the links took to freeze as they are."""
    cases = {variant: case(pour, len(network.volume_mm3), variant) for variant in (USUAL, COLD)}
    alone = [reach for reach in _reaches(network, pour) if abs(reach.limit - reach.now) > (reach.step or 0.0)]
    found = yield from part(_pulled(network, mould, cases, alone, plan, until_s), 0.0, 0.7)
    if len(alone) > 1 and not any(lever.passes for lever in found):
        together = _Reach("all of these together", "% of the way", 0.0, 100.0, TOO_LITTLE, 5.0, _together(alone))
        found += yield from part(_pulled(network, mould, cases, [together], plan, until_s, between=1), 0.7, 1.0)
    return tuple(found)


def _pulled(
    network: Network,
    mould: Mould,
    cases: dict[str, Cases],
    tried: Sequence[_Reach],
    plan: Elimination,
    until_s: float,
    between: int = BETWEEN,
) -> Steps[list[Lever]]:
    """Find how far each lever has to be pulled, with so many values ``between`` two in every run."""
    values: list[list[float]] = [[reach.limit] for reach in tried]
    low, high = [reach.now for reach in tried], [np.nan] * len(tried)
    for run in range(1 + RUNS):
        passed = yield from part(
            _passing(network, mould, cases, tried, values, plan, until_s), run / (1 + RUNS), (run + 1) / (1 + RUNS)
        )
        for k, (row, ok) in enumerate(zip(values, passed, strict=True)):
            good = [v for v, yes in zip(row, ok, strict=True) if yes]
            high[k] = min(good, key=lambda v: abs(v - tried[k].now), default=high[k])
            bad = [
                v for v, yes in zip(row, ok, strict=True) if not yes and abs(v - tried[k].now) < _way(tried[k], high[k])
            ]
            low[k] = max(bad, key=lambda v: abs(v - tried[k].now), default=low[k])
        values = [_between(reach, low[k], high[k], between) for k, reach in enumerate(tried)]
        if not any(values):
            break
    return [
        Lever(
            reach.change,
            reach.now,
            reach.limit if np.isnan(high[k]) else float(high[k]),
            reach.unit,
            not np.isnan(high[k]),
            reach.why if np.isnan(high[k]) else "",
        )
        for k, reach in enumerate(tried)
    ]


def _way(reach: _Reach, value: float) -> float:
    """Give how far a value is from what is now; without end where there is none."""
    return np.inf if np.isnan(value) else abs(value - reach.now)


def _between(reach: _Reach, low: float, high: float, count: int) -> list[float]:
    """Give values on a lever's steps between one that fails and one that passes; none where there is none."""
    if reach.step is None or np.isnan(high):
        return []
    shares = [(k + 1) / (count + 1) for k in range(count)]
    values = [round((low + (high - low) * share) / reach.step) * reach.step for share in shares]
    return [v for v in dict.fromkeys(values) if v not in (low, high)]


def _reaches(network: Network, pour: Pour) -> list[_Reach]:
    """List the levers, each with its limit and what sets it."""
    gates, rings = _of(network, GATE_KINDS), _of(network, RING_KINDS)
    shafts, tips = gates[~network.tip[gates]], gates[network.tip[gates]]
    metal, mould = pour.temperatures, pour.investment
    found = []
    wire = float(np.median(network.bore_mm[network.elements_of("link")]))
    for change, chosen, most, why in (
        ("thicker gates", shafts, GATE_WIRES * wire, "a thicker gate finds no room between links"),
        ("thicker tips", tips, TIP_WIRES * wire, "a tip is no wider than the wire it enters"),
        ("thicker rings", rings, RING_WIRES * wire, "a ring thicker than that is metal for nothing"),
    ):
        if len(chosen):
            now = float(np.median(network.bore_mm[chosen]))
            limit = max(now, most)
            found.append(_Reach(change, "mm", now, limit, why, 0.1, _stretched("wider", chosen, now)))
    if len(shafts):
        now = _gate_length(network, shafts)
        limit = min(now, max(SHORTEST * now, SHORT_GATE_MM))
        why = "a saw needs a clear cut of 3 mm"
        found.append(_Reach("shorter gates", "mm", now, limit, why, 0.2, _stretched("longer", shafts, now)))
    hottest = max(metal.pour_c, metal.pour_range_c[1])
    found.append(
        _Reach("hotter metal", "degC", metal.pour_c, hottest, "hotter metal draws gas and burns the mould", 5.0, _pour)
    )
    warmest = min(mould.limit_c.value, mould.carbon_limit_c.value, pour.alloy.solidus_c.value - 20.0)
    why = f"{mould.label} with carbon left bears {mould.carbon_limit_c.value:.0f} degC"
    found.append(_Reach("hotter flask", "degC", metal.flask_c, max(metal.flask_c, warmest), why, 5.0, _flask))
    found += _heads(pour)
    if network.spare.any():
        now, more = float(np.count_nonzero(_gate_owners(network))), float(np.count_nonzero(network.spare))
        why = "each link has two gates then"
        found.append(_Reach("more gates", "gates", now, now + more, why, None, _spare))
    return found


def _heads(pour: Pour) -> list[_Reach]:
    """List more head by the next way to pour: a plain pour on a vacuum table, a vacuum table by a spin."""
    ways = {"gravity": ("vacuum under the flask", "vacuum"), "vacuum": ("a spin instead of the vacuum", "spin")}
    if pour.head not in ways:
        return []
    change, head = ways[pour.head]
    other = replace(pour, head=head)
    return [_Reach(change, "kPa", near_kpa(pour), near_kpa(other), TOO_LITTLE, None, _poured_by(other))]


def _passing(
    network: Network,
    mould: Mould,
    cases: dict[str, Cases],
    tried: Sequence[_Reach],
    values: Sequence[Sequence[float]],
    plan: Elimination,
    until_s: float,
) -> Steps[list[list[bool]]]:
    """Tell of every value of every lever whether the job passes with it.

    The cold case fills least: what does not fill there is looked at no further.
    """
    wanted = [(reach, value) for reach, row in zip(tried, values, strict=True) for value in row]
    passes = [False] * len(wanted)
    together = TOGETHER if len(wanted) > FEW else 1
    for begin in range(0, len(wanted), together):
        few = range(begin, min(begin + together, len(wanted)))
        share = (begin / len(wanted), few.stop / len(wanted))
        good = yield from part(_of_these(network, mould, cases, [wanted[k] for k in few], plan, until_s), *share)
        for k, ok in zip(few, good, strict=True):
            passes[k] = ok
    rows, begin = [], 0
    for row in values:
        rows.append(passes[begin : begin + len(row)])
        begin += len(row)
    return rows


def _of_these(
    network: Network,
    mould: Mould,
    cases: dict[str, Cases],
    wanted: Sequence[tuple[_Reach, float]],
    plan: Elimination,
    until_s: float,
) -> Steps[list[bool]]:
    cold = beside([reach.at(cases[COLD], value, COLD) for reach, value in wanted])
    volume = sized(network, cold).volume_mm3

    def short(filled: FloatArray) -> npt.NDArray[np.bool_]:
        return np.asarray((filled_shares(network, volume, filled) < FULL_IN_COLD).any(axis=0))

    in_cold = yield from part(fill(network, mould, cold, plan=plan, steps=STEPS, lost=short), 0.0, 0.4)
    left = np.flatnonzero(~short(in_cold.filled)).tolist()
    passes = [False] * len(wanted)
    if not left:
        return passes
    usual = beside([wanted[k][0].at(cases[USUAL], wanted[k][1], USUAL) for k in left])
    filled = yield from part(fill(network, mould, usual, plan=plan, steps=STEPS), 0.4, 0.7)
    freezing = freeze(
        network, mould, usual,
        start_c=filled.metal_c, filled=filled.filled, state=filled.state, plan=plan, growth=GROWTH, longest_s=until_s,
    )  # fmt: skip
    frozen = yield from part(freezing, 0.7, 1.0)
    figures = link_figures(network, sized(network, usual), filled, frozen)
    for at, k in enumerate(left):
        passes[k] = figures.passes(at)
    return passes


def _of(network: Network, kinds: Sequence[str]) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    return np.sort(np.concatenate([network.elements_of(kind) for kind in kinds]))


def _gate_owners(network: Network) -> list[int]:
    return [1 if owner.kind in GATE_KINDS else 0 for owner in network.owners]


def _gate_length(network: Network, shafts: np.ndarray[tuple[int], np.dtype[np.int64]]) -> float:
    """Give the length of the shaft of a gate in the middle of all."""
    each = np.bincount(network.owner[shafts], network.length_mm[shafts])
    return float(np.median(each[each > 0.0]))


def _stretched(
    way: str, chosen: np.ndarray[tuple[int], np.dtype[np.int64]], now: float
) -> Callable[[Cases, float, str], Cases]:
    def at(cases: Cases, value: float, _variant: str) -> Cases:
        factors: FloatArray = getattr(cases, way).copy()
        factors[chosen] *= value / now
        return replace(cases, wider=factors) if way == "wider" else replace(cases, longer=factors)

    return at


def _pour(cases: Cases, value: float, _variant: str) -> Cases:
    return replace(cases, pour_c=np.full(cases.count, value))


def _flask(cases: Cases, value: float, _variant: str) -> Cases:
    return replace(cases, flask_c=np.full(cases.count, value))


def _poured_by(pour: Pour) -> Callable[[Cases, float, str], Cases]:
    """Pour another way: what presses, and how fast metal comes in, go with that way's own spread."""

    def at(cases: Cases, _value: float, variant: str) -> Cases:
        one = case(pour, len(cases.wider), variant)
        return replace(cases, push_kpa=one.push_kpa, pull_m_s2=one.pull_m_s2, pour_g_s=one.pour_g_s)

    return at


def _together(reaches: Sequence[_Reach]) -> Callable[[Cases, float, str], Cases]:
    """Pull levers together, each by a share in percent of its way; those without steps are pulled whole."""

    def at(cases: Cases, value: float, variant: str) -> Cases:
        for reach in reaches:
            cases = reach.at(cases, reach.now + (reach.limit - reach.now) * value / 100.0, variant)
        return cases

    return at


def _spare(cases: Cases, _value: float, _variant: str) -> Cases:
    return replace(cases, spare=np.ones(cases.count, dtype=bool))
