"""What the materials of a pour cost, in the maker's own currency; metal that goes back to the pot counts as kept."""

from dataclasses import dataclass

from .spec import CastSpec


@dataclass(frozen=True, slots=True)
class Cost:
    """Prices of a pour, None where no price was given.

    ``chain_metal`` stays in the chain; ``kept_metal`` is tied up in feed metal, trunk and button and comes back;
    ``investment`` is gone. ``total`` is what is spent: chain metal and investment.
    """

    currency: str
    chain_metal: float | None
    kept_metal: float | None
    investment: float | None

    @property
    def total(self) -> float:
        """Give what the pour uses up, of the prices that are known."""
        return (self.chain_metal or 0.0) + (self.investment or 0.0)

    def to_dict(self) -> dict[str, float | str | None]:
        """Give it as plain data."""
        return {
            "currency": self.currency,
            "chain_metal": self.chain_metal,
            "kept_metal": self.kept_metal,
            "investment": self.investment,
            "total": self.total,
        }


def cost_of(spec: CastSpec, *, chain_g: float, metal_g: float, powder_g: float) -> Cost | None:
    """Price a pour: ``chain_g`` of ``metal_g`` poured stays in the chain. None where no price is given."""
    metal, powder = spec.metal_price_per_g, spec.investment_price_per_kg
    if metal is None and powder is None:
        return None
    return Cost(
        currency=spec.currency,
        chain_metal=None if metal is None else metal * chain_g,
        kept_metal=None if metal is None else metal * (metal_g - chain_g),
        investment=None if powder is None else powder * powder_g / 1000.0,
    )
