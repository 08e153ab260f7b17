"""Sizes that open a weave of plain rings whose widest gap is known from their length, width and wire."""

from collections.abc import Callable

import numpy as np

from ..base.errors import BadInput
from .spec import ChainSpec

# Sizes are offered on a grid a jeweller can set a caliper to.
FINE_MM = 0.05
COARSE_MM = 0.1

# Outside length, outside width and wire in mm to the widest smallest gap in mm, negative where metal overlaps.
Widest = Callable[[float, float, float], float]


def check_open(spec: ChainSpec, widest: Widest, sharing: str) -> None:
    """Check that the wires that share an opening leave it open at all; whether the wanted gap is had, the fit tells.

    ``sharing`` says who shares it. Raises BadInput naming a wire and a size that give the wanted gap.
    """
    length, width, wire = spec.link_length_mm, spec.link_width_mm, spec.wire_mm
    if widest(length, width, wire) > 0:
        return
    steps = int(wire / FINE_MM)
    while steps > 0 and widest(length, width, steps * FINE_MM) < spec.gap_mm:
        steps -= 1
    thinner = f"a wire_mm of {steps * FINE_MM:.2f} or less, or " if steps else ""
    long, wide = _larger(spec, widest)
    raise BadInput(
        f"chain.wire_mm: {wire:g} is too thick for links {length:g} mm long and {width:g} mm wide, whose opening takes "
        f"{sharing}; give {thinner}larger links (link_length_mm = {long:.1f}, link_width_mm = {wide:.1f})"
    )


def _larger(spec: ChainSpec, widest: Widest) -> tuple[float, float]:
    """Give the smallest length and width in the same proportion that leave the wanted gap, to a hundredth of it."""

    def grown(percent: int) -> tuple[float, float]:
        long, wide = (np.ceil(size * percent / 100 / COARSE_MM) for size in (spec.link_length_mm, spec.link_width_mm))
        return float(long * COARSE_MM), float(wide * COARSE_MM)

    low, high = 100, 200
    while widest(*grown(high), spec.wire_mm) < spec.gap_mm:
        low, high = high, 2 * high
    while high - low > 1:
        middle = (low + high) // 2
        enough = widest(*grown(middle), spec.wire_mm) >= spec.gap_mm
        low, high = (low, middle) if enough else (middle, high)
    return grown(high)
