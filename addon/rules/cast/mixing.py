"""Investment slurry: how much powder and water make a volume."""

from dataclasses import dataclass

WATER_G_CM3 = 1.0


@dataclass(frozen=True, slots=True)
class Mix:
    """A batch of slurry: ``slurry_cm3`` made of ``powder_g`` and ``water_g``; ``spare_cm3`` of it stays in the bowl."""

    slurry_cm3: float
    powder_g: float
    water_g: float
    spare_cm3: float = 0.0


def slurry_density_g_cm3(water_per_powder: float, powder_g_cm3: float) -> float:
    """Give the density of a slurry whose powder and water keep their volumes: (1 + w) / (1/rho_p + w)."""
    return (1.0 + water_per_powder) / (1.0 / powder_g_cm3 + water_per_powder / WATER_G_CM3)


def powder_density_g_cm3(slurry_g_cm3: float, water_per_powder: float) -> float:
    """Give the powder's own density from a weighed slurry: the way round of `slurry_density_g_cm3`."""
    return 1.0 / ((1.0 + water_per_powder) / slurry_g_cm3 - water_per_powder / WATER_G_CM3)


def mix_for(mould_cm3: float, slurry_g_cm3: float, water_per_powder: float, *, spare_share: float = 0.0) -> Mix:
    """Split the slurry for a mould of ``mould_cm3``, and ``spare_share`` more, into powder and water by mass."""
    slurry = mould_cm3 * (1.0 + spare_share)
    total = slurry * slurry_g_cm3
    powder = total / (1.0 + water_per_powder)
    return Mix(slurry, powder, total - powder, slurry - mould_cm3)
