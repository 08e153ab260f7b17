"""What drives the metal in and what holds it back: heads, surface tension, friction, losses, gas on its way out.

Lengths in mm, flows in mm3/s, densities in kg/m3; plain numbers or arrays of them.
"""

import math

import numpy as np

from ..solid.mesh import FloatArray

GRAVITY_M_S2 = 9.81
_BLASIUS = 0.0791


def column_kpa(density_kg_m3: float, height_mm: float) -> float:
    """Give the pressure of a column of metal, rho g h."""
    return density_kg_m3 * GRAVITY_M_S2 * height_mm / 1e6


def spin_kpa(density_kg_m3: float, turns_per_min: float, inner_mm: float, outer_mm: float) -> float:
    """Give the pressure at radius R, ``outer_mm``, of metal with its free surface at r: rho w^2 (R^2 - r^2) / 2."""
    omega = turns_per_min * 2.0 * math.pi / 60.0
    return 0.5 * density_kg_m3 * omega**2 * (outer_mm**2 - inner_mm**2) / 1e9


def meniscus_kpa(surface_tension_n_m: float, diameter_mm: float) -> float:
    """Give the pressure that pushes metal into a round bore it does not wet, 2 gamma / r (Laplace)."""
    return 4.0 * surface_tension_n_m / diameter_mm


def velocity_head(density_kg_m3: FloatArray, section_mm2: FloatArray) -> FloatArray:
    """Give rho v^2 / 2 in Pa over the square of the flow (Bernoulli)."""
    return np.asarray(0.5e-6 * density_kg_m3 / section_mm2**2)


def widening_loss(narrow_mm2: FloatArray, wide_mm2: FloatArray) -> FloatArray:
    """Give the velocity heads of the narrow side lost where a bore widens at once, (1 - A1/A2)^2 (Borda, Carnot)."""
    return np.asarray((1.0 - narrow_mm2 / wide_mm2) ** 2)


def laminar_drop(length_mm: FloatArray, bore_mm: FloatArray, section_mm2: FloatArray) -> FloatArray:
    """Give the drop in Pa over flow and viscosity in Pa s: f = 16/Re, which is 128 L / (pi d^4) for a round bore.

    (Hagen, Poiseuille.)
    """
    return np.asarray(32.0 * length_mm / (bore_mm**2 * section_mm2))


def turbulent_drop(
    density_kg_m3: FloatArray, length_mm: FloatArray, bore_mm: FloatArray, section_mm2: FloatArray
) -> FloatArray:
    """Give the drop in Pa over flow^1.75 and viscosity^0.25: 4 f (L/d) rho v^2 / 2 with f = 0.0791 Re^-1/4.

    (H. Blasius, 1913.)
    """
    # 1e-6 turns mm2 to m2 in rho v^2 and in Re = rho v d / mu.
    return np.asarray(
        2.0 * _BLASIUS * density_kg_m3 * 1e-6 * length_mm / bore_mm / section_mm2**1.75
        * (density_kg_m3 * bore_mm * 1e-6) ** -0.25
    )  # fmt: skip


def gas_let_out(permeability_m2: FloatArray, viscosity_pa_s: float, bore_mm: FloatArray, depth_mm: float) -> FloatArray:
    """Give the gas in mm3/s that leaves each mm2 of a round bore's wall per Pa, through ``depth_mm`` of mould.

    2 pi K L / (mu ln(R/r)) over the wall's pi d L (Darcy, radial); the gas counts as incompressible.
    """
    outward = 0.5 * bore_mm * np.log1p(2.0 * depth_mm / bore_mm)
    return np.asarray(permeability_m2 * 1e6 / (viscosity_pa_s * outward))
