"""What the maker asks of the lattice; None leaves a size to the rules."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class FeedSpec:
    """Sizes of the lattice in mm.

    ``tip_mm`` diameter where a gate enters a link, ``gate_mm`` diameter of its shaft, ``gate_length_mm`` clear length
    between feed ring and link, ``ring_mm`` diameter of the base ring (the round rod that holds its section).
    """

    base_ring: bool = True
    upper_ring: bool = False
    tip_mm: float | None = None
    gate_mm: float | None = None
    gate_length_mm: float | None = None
    ring_mm: float | None = None
