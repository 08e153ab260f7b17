"""The heat of metal that runs: carried along, conducted, and lost to the mould, in one step of time.

As `metal_heat`, with the heat that flowing metal carries from the element it leaves (first-order upwind, implicit):
the equations are not symmetric, and no step can overshoot. Heat contents follow from what flowed in the step.
"""

from dataclasses import dataclass

import numpy as np

from ..solid.mesh import FloatArray
from .elimination import solve
from .enthalpy import HeatContent, temperature_at
from .flow import Channels

# By how much, K, temperatures may differ between the equations and the heat content after a step; rounds to get there.
AGREE_K = 5.0
ROUNDS = 4


@dataclass(frozen=True, slots=True, eq=False)
class Running:
    """What a step did to the metal: grams before and after (n, b), and ``forth`` and ``back`` (m, b) g/s in joints.

    ``poured`` (b,) g/s come in at the root with ``poured_j`` (b,) J/g. ``passing`` (m, b) W/K by conduction.
    """

    before_g: FloatArray
    after_g: FloatArray
    forth: FloatArray
    back: FloatArray
    poured: FloatArray
    poured_j: FloatArray
    passing: FloatArray


def running_heat(
    ways: Channels,
    content: HeatContent,
    step: Running,
    heat: FloatArray,
    conductance: FloatArray,
    source: FloatArray,
    seconds: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Give heat contents J/g (n, b) at the end of a step, and the temperatures degC (n, b) that drove its flows.

    ``heat`` at its begin; the mould takes ``conductance`` * degC - ``source`` W (n, b); ``seconds`` (b,). Elements
    without metal keep their heat content. A case gives the same beside others as alone.
    """
    first, second = ways.joints.T
    leaving = ways.ends.sums(step.forth, step.back) + step.after_g / seconds
    empty = step.after_g <= 0.0
    given = step.before_g / seconds * heat + source
    given[ways.root] += step.poured * step.poured_j
    at = heat.copy()
    fresh = (step.before_g <= 0.0) & ~empty
    if fresh.any():
        # Metal that has only come in this step begins as what feeds it.
        for flow, source_of, into in ((step.forth, first, second), (step.back, second, first)):
            joint, case = np.nonzero((flow > 0.0) & fresh[into])
            at[into[joint], case] = heat[source_of[joint], case]
    away = ways.ends.sums(step.passing, step.passing) + conductance + empty
    driving_c = np.zeros_like(heat)
    busy = np.ones(len(seconds), dtype=bool)
    for _ in range(ROUNDS):
        metal_c, slope = temperature_at(content, at)
        # Heat content as a straight line of temperature about the last round's: what it is at 0 degC, and its slope.
        base = at - slope * metal_c
        carried = ways.ends.sums(-step.back * base[second], -step.forth * base[first])
        right = given - leaving * base - carried + empty * metal_c
        diagonal = leaving * slope + away
        forward = -step.back * slope[second] - step.passing
        backward = -step.forth * slope[first] - step.passing
        answer_c = solve(ways.plan, diagonal, forward, backward, right)
        at = np.where(busy & ~empty, base + slope * answer_c, at)
        driving_c = np.where(busy, answer_c, driving_c)
        off = np.where(empty, 0.0, np.abs(temperature_at(content, at)[0] - driving_c)).max(axis=0)
        busy = busy & (off > AGREE_K)
        if not busy.any():
            break
    return np.where(empty, heat, at), driving_c
