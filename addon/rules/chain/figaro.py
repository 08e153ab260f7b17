"""Figaro: curb links in groups, some short ones and then a long one, of the same wire, width and twist."""

from ..base.errors import BadInput
from .curb import faceted, link
from .options import only
from .pattern import Pattern, Place
from .spec import ChainSpec
from .wire_asked import wire_of

# The length of a long link by that of a short one. Our judgement: longer ones do not bend round a wrist printed closed.
LONG = 1.5
MOST_SHORT = 50


def pattern(spec: ChainSpec) -> Pattern:
    """Give the pattern of a figaro: ``repeat`` short links, then one of ``long_link_mm`` (1.5 times that unless told).

    Raises BadInput for options that do not belong to a figaro and for a long link that is not longer.
    """
    only(spec, "section", "wire_width_mm", "corner_mm", "facet_mm", "long_link_mm")
    short = spec.link_length_mm
    long = LONG * short if spec.long_link_mm is None else spec.long_link_mm
    if long <= short:
        raise BadInput(
            f"chain.long_link_mm: {long:g} is not longer than a short link of {short:g} mm; give more than that"
        )
    if not 1 <= spec.repeat <= MOST_SHORT:
        raise BadInput(
            f"chain.repeat: {spec.repeat} does not work; give from 1 to {MOST_SHORT} short links to a long one"
        )
    section = faceted(spec, wire_of(spec, kinds=("round", "D", "rectangle")), (short, long))
    to_long = 0 if spec.repeat == 1 else 1
    shorts = tuple(Place(0, joint=0 if k < spec.repeat - 1 else to_long) for k in range(spec.repeat))
    return Pattern(
        (link(spec, section, short), link(spec, section, long)),
        places=(*shorts, Place(1, joint=to_long)),
        linked=tuple((k, 1) for k in range(spec.repeat + 1)),
        joints=("short to long",) if spec.repeat == 1 else ("short to short", "short to long"),
    )
