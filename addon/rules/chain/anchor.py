"""Anchor: flat oval loops of round wire with a stud across the middle, neighbours turned 90 degrees."""

from ..base.errors import BadInput
from .options import only
from .pattern import Pattern, alike
from .spec import ChainSpec
from .trace import link
from .wire_asked import wire_of

# Our judgement: the thickness of a stud by that of the wire, left to the rule and at most. A thicker one would run past
# the wire's flanks, where the two meet in a notch.
STUD = 0.75
THICKEST = 0.85
THINNEST = 0.3


def pattern(spec: ChainSpec) -> Pattern:
    """Give the pattern of an anchor. Its stud is 0.75 times as thick as the wire unless told.

    Raises BadInput for options that do not belong to an anchor, for a stud that leaves no room for the neighbours'
    wire on either side, or one that is too thick or too thin for its wire.
    """
    only(spec, "stud_mm")
    section = wire_of(spec, kinds=("round",))
    wire = spec.wire_mm
    stud = STUD * wire if spec.stud_mm is None else spec.stud_mm
    opening = spec.link_length_mm - 2 * wire
    room = opening - 2 * (wire + 2 * spec.gap_mm)
    if stud >= room:
        least = 2 * wire + stud + 2 * (wire + 2 * spec.gap_mm)
        raise BadInput(
            f"chain.stud_mm: {stud:g} is too wide for an opening {opening:g} mm long, which must take the neighbours' "
            f"wire with its gap on either side; "
            + (f"give less than {room:.2f}, or " if room > THINNEST * wire else "give ")
            + f"a link_length_mm above {least:.2f}"
        )
    if not THINNEST * wire <= stud <= THICKEST * wire:
        raise BadInput(
            f"chain.stud_mm: {stud:g} does not suit a wire of {wire:g} mm; give from {THINNEST * wire:.2f} to "
            f"{THICKEST * wire:.2f}"
        )
    return alike(link(spec, section, stud_mm=stud), turn_deg=90.0)
