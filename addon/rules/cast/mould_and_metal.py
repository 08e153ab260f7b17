"""What gap ladder and lattice need of mould and metal before there is a plan."""

from dataclasses import dataclass

from .materials import Materials
from .scale import export_scale, mould_expansion_percent
from .spec import CastSpec
from .temperatures import choose_investment, choose_temperatures


@dataclass(frozen=True, slots=True)
class MouldAndMetal:
    """Figures of the mould and the metal that a job is made for.

    ``expansion`` of the mould and ``shrinkage`` of the metal as shares, ``freezing_range_k`` liquidus less solidus.
    """

    scale: float
    expansion: float
    shrinkage: float
    hot_strength_mpa: float
    freezing_range_k: float


def mould_and_metal(spec: CastSpec, materials: Materials, *, thinnest_mm: float) -> MouldAndMetal:
    """Give export scale, growth, shrinkage and strength for what a job asks of the pour."""
    alloy = materials.alloy(spec.alloy)
    investment = choose_investment(spec, alloy, materials)
    flask_c = choose_temperatures(spec, alloy, investment, thinnest_mm).flask_c
    return MouldAndMetal(
        export_scale(alloy, investment, flask_c).factor,
        mould_expansion_percent(investment, flask_c) / 100.0,
        alloy.shrinkage_percent.value / 100.0,
        investment.hot_strength_mpa.value,
        alloy.liquidus_c.value - alloy.solidus_c.value,
    )
