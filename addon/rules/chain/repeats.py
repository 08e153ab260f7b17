"""Whole repeats: which numbers of links a pattern closes with."""

from ..base.errors import BadInput
from .pattern import Pattern

# Sizes listed to either side of the one chosen.
BESIDE = 3
# A turn that comes round after so many repeats closes in such steps; one that takes longer is spread over the chain.
MOST_STRIDE = 4


def ring_stride(pattern: Pattern) -> int:
    """Give the step between numbers of links that close evenly: whole repeats, and whole rounds of their turn.

    Neighbours turned by 90 degrees close in twos. A turn that does not come round soon is spread over the chain.
    """
    whole = 180.0 if pattern.symmetric else 360.0
    for repeats in range(1, MOST_STRIDE + 1):
        turns = pattern.turn_deg * repeats / whole
        if abs(turns - round(turns)) < 1e-9:
            return repeats * len(pattern.places)
    return len(pattern.places)


def check_repeats(links: int, pattern: Pattern, *, closed: bool) -> None:
    """Raise BadInput for a number of links shorter than the repeat, or a closed one not of whole repeats."""
    repeat = len(pattern.places)
    if links < repeat:
        raise BadInput(
            f"layout.links: {links} is shorter than the repeat of this chain, which is {repeat} links; "
            f"give {repeat} or more"
        )
    if closed and links % repeat:
        below = links - links % repeat
        either = f"{below} or {below + repeat}" if below >= 3 else f"{below + repeat}"
        raise BadInput(
            f"layout.links: {links} links do not close, being no whole number of repeats of {repeat}; give {either}"
        )
