"""From volume to mass, and from the mix of an alloy to its density and fineness."""

from collections.abc import Mapping

from ..base.errors import BadInput

# g/cm3 at 20 degC. Ag, Au, Pt: element tables of a public handbook (CRC); the rest from memory.
ELEMENT_DENSITY = {
    "Ag": 10.5,
    "Au": 19.3,
    "Pt": 21.45,
    "Cu": 8.96,
    "Zn": 7.14,
    "Sn": 7.29,
    "Pb": 11.34,
    "Pd": 12.02,
    "Ni": 8.91,
    "Ru": 12.37,
    "Co": 8.86,
}


def mass_g(volume_mm3: float, density_g_cm3: float) -> float:
    """Give the mass in g of ``volume_mm3`` of a material."""
    return volume_mm3 * density_g_cm3 / 1000.0


def metal_for_pattern_g(
    pattern_g: float, metal_g_cm3: float, pattern_g_cm3: float, *, extra_percent: float = 0.0
) -> float:
    """Give the metal in g that fills the mould of a pattern that weighs ``pattern_g``.

    Mass times the ratio of densities, plus ``extra_percent`` for the button. The bench rule of wax and metal weights,
    with the pattern's true density where the rule takes wax for 1.
    """
    return pattern_g * metal_g_cm3 / pattern_g_cm3 * (1.0 + extra_percent / 100.0)


def mass_mix_density_g_cm3(
    mix: Mapping[str, float], densities: Mapping[str, float] = ELEMENT_DENSITY, *, where: str = "mix_percent"
) -> float:
    """Give the density of a mix by mass whose volumes add up: the shares' sum over the sum of share/density.

    ``mix`` names elements with their shares by mass, in any unit. Raises BadInput naming ``where`` for an element
    without a density.
    """
    unknown = [e for e in mix if e not in densities]
    if unknown:
        raise BadInput(
            f"{where}: no density is kept for {', '.join(unknown)}; write density_g_cm3, or use {', '.join(densities)}"
        )
    return sum(mix.values()) / sum(share / densities[e] for e, share in mix.items())


def fineness(mix: Mapping[str, float], element: str) -> float:
    """Give the parts per thousand by mass of one element (the way ISO 9202 counts fineness)."""
    return 1000.0 * mix.get(element, 0.0) / sum(mix.values())
