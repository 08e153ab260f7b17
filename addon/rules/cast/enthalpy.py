"""The heat content of an alloy: temperature to heat and back, and how much of it is solid.

Three straight pieces: solid, freezing, liquid. The latent heat is spread evenly over solidus to liquidus, with the mean
of both specific heats; the heat content is 0 at the solidus. A pure metal, or any with a narrower range, gets a range
of 1 K about its melting point, since heat has to follow from temperature.
"""

from dataclasses import dataclass

import numpy as np

from ..solid.mesh import FloatArray
from .cases import Cases

LEAST_RANGE_K = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class HeatContent:
    """Heat contents J/g and temperatures degC of b cases, all (b,).

    ``solid``, ``freezing``, ``liquid``: J/(g K) of the three pieces. ``liquidus_j``: heat content at the liquidus.
    """

    solidus_c: FloatArray
    liquidus_c: FloatArray
    solid: FloatArray
    freezing: FloatArray
    liquid: FloatArray
    liquidus_j: FloatArray


def heat_content(cases: Cases) -> HeatContent:
    """Give the heat content of the metal of every case."""
    middle = 0.5 * (cases.solidus_c + cases.liquidus_c)
    span = np.maximum(cases.liquidus_c - cases.solidus_c, LEAST_RANGE_K)
    freezing = 0.5 * (cases.heat_solid_j_g_k + cases.heat_liquid_j_g_k) + cases.latent_j_g / span
    return HeatContent(
        solidus_c=middle - 0.5 * span,
        liquidus_c=middle + 0.5 * span,
        solid=cases.heat_solid_j_g_k,
        freezing=freezing,
        liquid=cases.heat_liquid_j_g_k,
        liquidus_j=freezing * span,
    )


def heat_at(metal: HeatContent, metal_c: FloatArray) -> FloatArray:
    """Give the heat content J/g (n, b) at temperatures degC (n, b)."""
    within = np.clip(metal_c, metal.solidus_c, metal.liquidus_c)
    below, above = np.minimum(metal_c - metal.solidus_c, 0.0), np.maximum(metal_c - metal.liquidus_c, 0.0)
    return np.asarray(metal.solid * below + metal.freezing * (within - metal.solidus_c) + metal.liquid * above)


def temperature_at(metal: HeatContent, heat: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Give the temperature degC (n, b) of a heat content J/g (n, b), and the specific heat there, J/(g K)."""
    is_solid, is_liquid = heat < 0.0, heat > metal.liquidus_j
    slope = np.where(is_solid, metal.solid, np.where(is_liquid, metal.liquid, metal.freezing))
    base_c = np.where(is_liquid, metal.liquidus_c, metal.solidus_c)
    return base_c + (heat - np.where(is_liquid, metal.liquidus_j, 0.0)) / slope, slope


def solid_share(metal: HeatContent, heat: FloatArray) -> FloatArray:
    """Give the share (n, b) of the metal that is solid at a heat content J/g: 0 at the liquidus, 1 at the solidus."""
    return np.asarray(np.clip(1.0 - heat / metal.liquidus_j, 0.0, 1.0))
