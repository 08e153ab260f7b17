"""What the maker asks of the pour; None leaves a figure to the rules."""

from dataclasses import dataclass

HEADS = ("gravity", "vacuum", "spin")


@dataclass(frozen=True, slots=True)
class CastSpec:
    """Alloy, temperatures in degC, head, and the flask's inside size in mm (None: the smallest that takes the job)."""

    alloy: str = "tin-bronze"
    metal_c: float | None = None
    flask_c: float | None = None
    head: str = "vacuum"
    flask_mm: tuple[float, float] | None = None
    investment: str | None = None
