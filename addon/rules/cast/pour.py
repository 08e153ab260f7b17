"""The cases a pour is looked at in: as the tables say, and with what is poorly known at its cold and at its warm end.

What passes from metal to mould and through it, the let-out of gas, the pull of the vacuum and the pour by hand are
known within a factor of two at best. Cold takes all of them as they hinder filling, warm as they help it: a verdict
that holds in both does not hang on them.
"""

import math
from dataclasses import dataclass

import numpy as np

from ..solid.mesh import FloatArray
from .cases import Cases
from .chvorinov import MouldHeat
from .figures import Figure
from .flask import Margins
from .hydraulics import GRAVITY_M_S2
from .materials import Alloy, Investment
from .quick import SPIN_ARM_MM, SPIN_TURNS_PER_MIN, VACUUM_KPA
from .temperatures import Temperatures

COLD, USUAL, WARM = "cold", "usual", "warm"
VARIANTS = (USUAL, COLD, WARM)
# What comes in, g/s: poured by hand out of a crucible, and thrown in by a spin. From memory.
BY_HAND_G_S = {COLD: 100.0, USUAL: 150.0, WARM: 250.0}
SPUN_G_S = {COLD: 300.0, USUAL: 600.0, WARM: 1000.0}
REACH_S = 7.0


@dataclass(frozen=True, slots=True)
class Pour:
    """How a job is poured: metal, mould, temperatures, ``head`` (gravity, vacuum or spin) and the way it goes in.

    ``pour_g_s`` is the maker's own figure where there is one.
    """

    alloy: Alloy
    investment: Investment
    temperatures: Temperatures
    head: str
    margins: Margins
    pour_g_s: float | None = None


def case(pour: Pour, elements: int, variant: str = USUAL) -> Cases:
    """Give the one case of a pour for a network of so many elements, nothing stretched."""
    alloy, mould = pour.alloy, pour.investment

    def of(figure: Figure, cold: str) -> float:
        """Take a figure; ``cold`` tells which of its ends hinders filling."""
        if variant == USUAL:
            return figure.value
        return float(getattr(figure, cold if variant == COLD else {"low": "high", "high": "low"}[cold]))

    heat = of(mould.heat_j_kg_k, "high") / 1000.0
    usual_g_s = (SPUN_G_S if pour.head == "spin" else BY_HAND_G_S)[variant]
    # The metal's own conductivity carries heat from what is thick into what is thin: it helps and hinders.
    values = {
        "solid_g_cm3": alloy.density_g_cm3.value,
        "liquid_g_cm3": alloy.liquid_density_g_cm3.value,
        "solidus_c": alloy.solidus_c.value,
        "liquidus_c": alloy.liquidus_c.value,
        "latent_j_g": of(alloy.latent_heat_kj_kg, "low"),
        "heat_solid_j_g_k": alloy.heat_solid_j_kg_k.value / 1000.0,
        "heat_liquid_j_g_k": alloy.heat_liquid_j_kg_k.value / 1000.0,
        "conductivity_w_m_k": alloy.conductivity_solid_w_m_k.value,
        "tension_n_m": of(alloy.surface_tension_n_m, "high"),
        "interface_w_m2_k": of(mould.interface_w_m2_k, "high"),
        "mould_w_m_k": of(mould.conductivity_w_m_k, "high"),
        "mould_j_cm3_k": of(mould.mould_density_g_cm3, "high") * heat,
        "permeability_m2": of(mould.permeability_m2, "low"),
        "pour_c": pour.temperatures.pour_c,
        "flask_c": pour.temperatures.flask_c,
        "push_kpa": push_kpa(pour.head, variant),
        "pull_m_s2": pull_m_s2(pour.head, pour.margins),
        "pour_g_s": usual_g_s if pour.pour_g_s is None else pour.pour_g_s,
    }
    ones: FloatArray = np.ones((elements, 1))
    return Cases(
        **{key: np.array([value]) for key, value in values.items()}, wider=ones, longer=ones, spare=np.zeros(1, bool)
    )


def reach_mm(investment: Investment) -> float:
    """Give how far apart metal must lie for the mould between to count as thick: two penetration depths.

    The depth is 2 sqrt(alpha t) after `REACH_S`, about when the links of a fine chain are half solid.
    """
    mould = MouldHeat(
        investment.conductivity_w_m_k.value,
        investment.mould_density_g_cm3.value * 1000.0,
        investment.heat_j_kg_k.value,
    )
    return 1000.0 * 4.0 * math.sqrt(mould.diffusivity_m2_s * REACH_S)


def push_kpa(head: str, variant: str = USUAL) -> float:
    """Give the pressure on the metal in the cone besides its own weight: under vacuum what of one atmosphere works."""
    if head != "vacuum":
        return 0.0
    low, high = VACUUM_KPA
    return {COLD: low, USUAL: 0.5 * (low + high), WARM: high}[variant]


def pull_m_s2(head: str, margins: Margins) -> float:
    """Give what the metal's weight goes by: gravity, or in a spin the turning's pull half way down to the job.

    Taken as the same along the flask: it is 10 % less over the cone and so much more at the far end of a long job.
    """
    if head != "spin":
        return GRAVITY_M_S2
    omega = SPIN_TURNS_PER_MIN * 2.0 * math.pi / 60.0
    return omega**2 * (SPIN_ARM_MM + 0.5 * (margins.cone_mm + margins.trunk_mm)) / 1000.0


def near_kpa(pour: Pour) -> float:
    """Give all the pressure at the near side of the job, at the end of the trunk, in the usual case."""
    density = pour.alloy.liquid_density_g_cm3.value * 1000.0
    down = pour.margins.cone_mm + pour.margins.trunk_mm
    return push_kpa(pour.head) + density * pull_m_s2(pour.head, pour.margins) * down / 1e6
