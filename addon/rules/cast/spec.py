"""What the maker asks of the pour; None leaves a figure to the rules."""

from dataclasses import dataclass

HEADS = ("gravity", "vacuum", "spin")


@dataclass(frozen=True, slots=True)
class CastSpec:
    """Alloy, temperatures in degC, head, and the flask's inside size in mm (None: the smallest that takes the job).

    ``resin`` names the pattern material. ``tilt``: the job may lean in its flask. ``spin_arm`` names a machine of the
    table (None: the first that carries the job). Prices in ``currency``, any word of the maker's.
    """

    alloy: str = "tin-bronze"
    metal_c: float | None = None
    flask_c: float | None = None
    head: str = "vacuum"
    flask_mm: tuple[float, float] | None = None
    investment: str | None = None
    resin: str = "castable-acrylate"
    tilt: bool = False
    spin_arm: str | None = None
    metal_price_per_g: float | None = None
    investment_price_per_kg: float | None = None
    currency: str = ""
