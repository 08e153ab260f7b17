"""Quick rules before the network: freezing of each section alone, the head against surface tension, feeders last."""

from dataclasses import dataclass

from ..inspect.finding import Finding
from .chvorinov import MouldHeat, bar_modulus_mm, button_modulus_mm, curved_mould_time_s, heat_ratio
from .flask import Margins
from .hydraulics import column_kpa, meniscus_kpa, spin_kpa
from .materials import Alloy, Investment
from .temperatures import Temperatures

VACUUM_KPA = (20.0, 30.0)  # what takes effect of one atmosphere: bench texts say "a few psi"; the figures from memory
SPIN_TURNS_PER_MIN, SPIN_ARM_MM = 300.0, 100.0  # common practice, no published source; your machine rules
FEEDER_FACTOR = 1.2  # a feeder's modulus over what it feeds; from memory (Wlodawer, Campbell)


@dataclass(frozen=True, slots=True)
class Section:
    """A round section of the job to look at: its name and diameter in mm.

    ``neck``: a short one, such as the tip of a gate; it counts for the head but sets no temperature.
    """

    name: str
    diameter_mm: float
    neck: bool = False


@dataclass(frozen=True, slots=True)
class QuickFreeze:
    """Rough seconds to freeze one section alone in thick investment, with the spread of the mould's figures."""

    section: Section
    modulus_mm: float
    freeze_s: float
    low_s: float
    high_s: float


def quick_freeze(section: Section, alloy: Alloy, investment: Investment, temperatures: Temperatures) -> QuickFreeze:
    """Freeze a long round rod alone in thick investment: the rule for long cylinders, latent heat and superheat."""
    modulus = bar_modulus_mm(section.diameter_mm)
    freezing_c = 0.5 * (alloy.solidus_c.value + alloy.liquidus_c.value)
    superheat_kj = alloy.heat_liquid_j_kg_k.value * (temperatures.pour_c - alloy.liquidus_c.value) / 1000.0
    heat = alloy.latent_heat_kj_kg.value + superheat_kj

    def seconds(conductivity: float, specific_heat: float) -> float:
        mould = MouldHeat(conductivity, investment.mould_density_g_cm3.value * 1000.0, specific_heat)
        ratio = heat_ratio(mould, freezing_c - temperatures.flask_c, alloy.density_g_cm3.value * 1000.0, heat)
        return curved_mould_time_s(modulus, ratio, mould, 1)

    k, c = investment.conductivity_w_m_k, investment.heat_j_kg_k
    return QuickFreeze(section, modulus, seconds(k.value, c.value), seconds(k.high, c.high), seconds(k.low, c.low))


def head_pressure(
    head: str, alloy: Alloy, margins: Margins, tall_mm: float, thinnest_mm: float
) -> tuple[tuple[float, float], tuple[Finding, ...]]:
    """Give the pressure in kPa (low, high) at the far end of the job, and whether it can enter the thinnest section."""
    density = alloy.liquid_density_g_cm3.value * 1000.0
    column_mm = margins.cone_mm + margins.trunk_mm + tall_mm
    far = column_kpa(density, column_mm)
    near = column_kpa(density, margins.cone_mm + margins.trunk_mm)
    if head == "spin":
        far = spin_kpa(density, SPIN_TURNS_PER_MIN, SPIN_ARM_MM, SPIN_ARM_MM + column_mm)
        near = spin_kpa(density, SPIN_TURNS_PER_MIN, SPIN_ARM_MM, SPIN_ARM_MM + margins.cone_mm + margins.trunk_mm)
        pressures = (near, far)
    else:
        pull = VACUUM_KPA if head == "vacuum" else (0.0, 0.0)
        pressures = (near + pull[0], far + pull[1])
    back = meniscus_kpa(alloy.surface_tension_n_m.value, thinnest_mm)
    if pressures[0] >= 1.5 * back:
        return pressures, ()
    text = (
        f"the head at the plate side, {pressures[0]:.1f} kPa, is little against the {back:.1f} kPa it takes to press "
        f"{alloy.label} into a section of {thinnest_mm:.1f} mm; use vacuum or a spin, a longer trunk, a thicker "
        "section"
    )
    return pressures, (Finding("not-filled", "warn", (), text, None, pressures[0], back),)


def feeder_findings(button_mm3: float, trunk_d: float, thickest: float) -> tuple[Finding, ...]:
    """Check that trunk and button freeze after what they feed (Chvorinov: the larger modulus freezes later)."""
    steps = (
        ("button", button_modulus_mm(button_mm3), "trunk", bar_modulus_mm(trunk_d), "pour a larger button"),
        ("trunk", bar_modulus_mm(trunk_d), "thickest section", bar_modulus_mm(thickest), "take a thicker trunk"),
    )
    found = []
    for name, modulus, fed, below, mend in steps:
        if modulus < FEEDER_FACTOR * below * (1.0 - 1e-9):
            text = (
                f"the {name} (modulus {modulus:.2f} mm) may freeze before the {fed} it feeds ({below:.2f} mm); it "
                f"should have {FEEDER_FACTOR:g} times as much: {mend}"
            )
            found.append(Finding("modulus", "warn", (), text, None, modulus, FEEDER_FACTOR * below))
    return tuple(found)
