"""The heat of the metal: what flows between elements that meet, and into the mould, in one step of time.

Backward Euler, so that no step can overshoot. An element's heat content follows from what flowed in the step, its
temperature from its heat content: nothing is lost, and what the equations leave open is a few degrees in one step
(V. Voller and C. Swaminathan, Numer. Heat Transfer B 19, 1991: the heat is corrected first, the temperature after it).
"""

from dataclasses import dataclass

import numpy as np

from ..solid.mesh import FloatArray
from .cases import Cases, Sized
from .elimination import Elimination, elimination, solve
from .enthalpy import HeatContent, heat_content, temperature_at
from .network import Network

# By how much, K, temperatures may differ between the equations and the heat content after a step; rounds to get there.
AGREE_K = 3.0
ROUNDS = 8


@dataclass(frozen=True, slots=True, eq=False)
class Metal:
    """The metal in every case: ``mass_g`` (n, b); ``passing`` (m, b) W/K of joints, ``leaving`` (n, b) their sums."""

    content: HeatContent
    mass_g: FloatArray
    passing: FloatArray
    leaving: FloatArray
    plan: Elimination


def metal_of(
    network: Network, sizes: Sized, cases: Cases, filled: FloatArray | None = None, plan: Elimination | None = None
) -> Metal:
    """Give the metal where the network is ``filled`` (n, b), a share of each element; None where all of it is.

    ``plan`` is the order of elimination of the network's joints; it is found when not given.
    """
    volume, passing = sizes.volume_mm3, cases.conductivity_w_m_k * 1e-3 * sizes.bridge_mm
    if filled is not None:
        volume = volume * filled
        passing = passing * np.minimum(filled[network.joints[:, 0]], filled[network.joints[:, 1]])
    ends = network.joints.ravel()
    sums = [np.bincount(ends, np.repeat(column, 2), minlength=len(volume)) for column in passing.T]
    return Metal(
        content=heat_content(cases),
        mass_g=volume * cases.solid_g_cm3 * 1e-3,
        passing=passing,
        leaving=np.stack(sums, axis=1),
        plan=elimination(len(volume), network.joints) if plan is None else plan,
    )


def heat_step(
    metal: Metal, heat: FloatArray, guess: FloatArray, conductance: FloatArray, source: FloatArray, seconds: float
) -> tuple[FloatArray, FloatArray]:
    """Give heat contents J/g (n, b) at the end of a step, and the temperatures degC (n, b) that drove its flows.

    ``heat`` at its begin, ``guess`` of that at its end; the mould takes ``conductance`` * degC - ``source`` W (n, b).
    Elements without metal keep their heat content. A case gives the same beside others as alone.
    """
    capacity = metal.mass_g / seconds
    empty = metal.mass_g <= 0.0
    between = -metal.passing
    away = metal.leaving + conductance + empty
    at, driving_c = guess, np.zeros_like(heat)
    busy = np.ones(heat.shape[1], dtype=bool)
    for _ in range(ROUNDS):
        metal_c, slope = temperature_at(metal.content, at)
        stored = capacity * slope
        right = capacity * (heat - at) + stored * metal_c + source + empty * metal_c
        answer_c = solve(metal.plan, stored + away, between, between, right)
        at = np.where(busy, at + slope * (answer_c - metal_c), at)
        driving_c = np.where(busy, answer_c, driving_c)
        busy &= np.abs(temperature_at(metal.content, at)[0] - driving_c).max(axis=0) > AGREE_K
        if not busy.any():
            break
    return at, driving_c
