"""What drives the metal in and what holds it back: heads, sprue flow, losses, surface tension, gas, cold metal."""

import math

GRAVITY_M_S2 = 9.81


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


def sprue_speed_m_s(head_m: float, loss: float = 0.0, gravity_m_s2: float = GRAVITY_M_S2) -> float:
    """Give the speed at the foot of a sprue, sqrt(2 g h / (1 + K)), with K the losses in velocity heads (Bernoulli)."""
    return math.sqrt(2.0 * gravity_m_s2 * head_m / (1.0 + loss))


def sprue_area_m2(flow_m3_s: float, head_m: float, gravity_m_s2: float = GRAVITY_M_S2) -> float:
    """Give the largest foot of a sprue that ``flow_m3_s`` keeps full, so that no air is drawn in."""
    return flow_m3_s / sprue_speed_m_s(head_m, 0.0, gravity_m_s2)


def top_fill_s(
    volume_m3: float, gate_m2: float, head_m: float, loss: float = 0.0, gravity_m_s2: float = GRAVITY_M_S2
) -> float:
    """Give the time to fill a cavity from the top through a gate under a steady head: V / (A v)."""
    return volume_m3 / (gate_m2 * sprue_speed_m_s(head_m, loss, gravity_m_s2))


def bottom_fill_s(
    cavity_m2: float, gate_m2: float, head_m: float, cavity_height_m: float, gravity_m_s2: float = GRAVITY_M_S2
) -> float:
    """Give the time to fill a cavity of level area ``cavity_m2`` from below: the rising metal eats up the head.

    t = (A_m / A_g) 2 (sqrt h - sqrt(h - h_m)) / sqrt(2 g).
    """
    left = math.sqrt(max(head_m - cavity_height_m, 0.0))
    return cavity_m2 / gate_m2 * 2.0 * (math.sqrt(head_m) - left) / math.sqrt(2.0 * gravity_m_s2)


def reynolds(speed_m_s: float, bore_m: float, density_kg_m3: float, viscosity_pa_s: float) -> float:
    """Give the Reynolds number of flow in a round bore."""
    return density_kg_m3 * speed_m_s * bore_m / viscosity_pa_s


def fanning_friction(reynolds_number: float) -> float:
    """Give the Fanning friction factor: 16/Re up to 2100, above it 0.0791 Re^-1/4 (Blasius 1913)."""
    if reynolds_number <= 2100.0:
        return 16.0 / reynolds_number
    return float(0.0791 * reynolds_number**-0.25)


def passage_loss(friction: float, length_over_bore: float, entry: float = 0.0) -> float:
    """Give the losses of a passage in velocity heads: 4 f (L/D) and its entry; a bend counts as more length."""
    return 4.0 * friction * length_over_bore + entry


def laminar_kpa(flow_mm3_s: float, bore_mm: float, length_mm: float, viscosity_pa_s: float) -> float:
    """Give the pressure that drives a slow flow through a round bore, 128 mu L q / (pi d^4) (Hagen, Poiseuille)."""
    return 128.0 * viscosity_pa_s * length_mm * flow_mm3_s / (math.pi * bore_mm**4) / 1000.0


def widening_loss(narrow_mm2: float, wide_mm2: float) -> float:
    """Give the velocity heads of the narrow side lost where a bore widens at once, (1 - A1/A2)^2 (Borda, Carnot)."""
    return (1.0 - narrow_mm2 / wide_mm2) ** 2


def gas_let_out_mm3_s_kpa(
    permeability_m2: float, viscosity_pa_s: float, bore_mm: float, length_mm: float, depth_mm: float
) -> float:
    """Give what gas leaves a round bore through ``depth_mm`` of mould per kPa: 2 pi K L / (mu ln(R/r)) (Darcy, radial).

    The gas counts as incompressible.
    """
    spread = math.log(1.0 + 2.0 * depth_mm / bore_mm)
    return 2.0 * math.pi * permeability_m2 * length_mm * 1e-3 / (viscosity_pa_s * spread) * 1e12


def fluidity_mm(
    bore_mm: float,
    density_kg_m3: float,
    speed_m_s: float,
    interface_w_m2_k: float,
    metal_c: float,
    mould_c: float,
    heat_j_kg: float,
) -> float:
    """Give how far metal runs in a round bore: (d/4) rho v H / (h (T_m - T_0)) (M. Flemings, from memory).

    ``heat_j_kg``: what the tip gives off until it stands, k_crit L + c dT. The interface alone resists and the mould
    stays at ``mould_c``; ``metal_c`` is the metal's temperature, taken as steady.
    """
    return bore_mm / 4.0 * density_kg_m3 * speed_m_s * heat_j_kg / (interface_w_m2_k * (metal_c - mould_c))
