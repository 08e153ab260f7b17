"""Curb: an oval loop twisted end to end, 90 degrees in all, so that neighbours are alike and lie flat.

Single, of two strands grown together side by side (double-width), or cut flat top and bottom (heavy).
"""

import numpy as np

from ..base.errors import BadInput
from ..solid.mesh import FloatArray
from .facets import deepest_mm, top_mm
from .link import Curve, Link, columns, link_of
from .options import only
from .pattern import Pattern, alike
from .section import Section
from .spec import ChainSpec
from .trace import upright
from .wire_asked import opening_mm, wire_of

# Twist about the chain axis from the middle of the link to each end. The sign is the handedness: seen along the
# chain the width turns anticlockwise on the way to the far end. Every curb of ours has the same.
HALF_TWIST = np.pi / 4
# Two strands grown together: how broad they are, in wires. Our judgement.
TWO_STRANDS = 1.8
# What facets leave of the wire: this much in mm (the wall floor of the profile "bench", section 5 of the design), and
# this share of it (our judgement).
WALL_MM = 0.8
LEFT = 0.5


def pattern(spec: ChainSpec) -> Pattern:
    """Give the pattern of a curb: all links alike.

    Raises BadInput for options that do not belong to a curb, for two strands too broad to pass the neighbour's
    opening, and for facets that leave too little of the wire.
    """
    only(spec, "section", "wire_width_mm", "corner_mm", "strands", "facet_mm")
    section = _strands(spec) if spec.strands == 2 else wire_of(spec, kinds=("round", "D", "rectangle"))
    section = faceted(spec, section, (spec.link_length_mm,))
    return alike(link(spec, section, spec.link_length_mm))


def link(spec: ChainSpec, section: Section, length_mm: float) -> Link:
    """Draw a curb link of an outside length."""
    a, b = (length_mm - spec.wire_mm) / 2, (spec.link_width_mm - spec.wire_mm) / 2

    def normal(t: FloatArray) -> FloatArray:
        w = HALF_TWIST * np.cos(t)
        return columns(np.zeros_like(t), -np.sin(w), np.cos(w))

    return link_of(
        twisted(a, b),
        section=section,
        length_mm=length_mm,
        width_mm=spec.link_width_mm,
        normal=normal if section.flat_mm is None else upright,
    )


def twisted(a: float, b: float) -> Curve:
    """Draw p(t) = (a cos t, b sin t cos w, b sin t sin w), w = (pi/4) cos t: an ellipse whose plane turns with x."""

    def curve(t: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        c, s = np.cos(t), np.sin(t)
        q, side = HALF_TWIST, b * s
        cw, sw = np.cos(q * c), np.sin(q * c)
        lean = q * side * s
        bow = side + q * lean * s
        skew = 3 * b * q * s * c
        point = columns(a * c, side * cw, side * sw)
        first = columns(-a * s, b * c * cw + lean * sw, b * c * sw - lean * cw)
        second = columns(-a * c, skew * sw - bow * cw, -skew * cw - bow * sw)
        return point, first, second

    return curve


def faceted(spec: ChainSpec, section: Section, lengths_mm: tuple[float, ...]) -> Section:
    """Cut a wire flat by the planes the spec asks for: the same for links of several lengths, from the lowest one down.

    Raises BadInput where that leaves too little of the wire, naming the deepest facet that works.
    """
    if spec.facet_mm == 0.0:
        return section
    if section.kind != "round":
        raise BadInput(
            "chain.facet_mm: facets are cut on round wire of one strand; leave them out, or section and strands"
        )
    wire, b = spec.wire_mm, (spec.link_width_mm - spec.wire_mm) / 2
    left = max(WALL_MM, LEFT * wire)
    loops = [twisted((length - wire) / 2, b) for length in lengths_mm]
    flat = min(top_mm(loop, wire) for loop in loops) - spec.facet_mm
    deepest = min(deepest_mm(loop, wire, left) - top_mm(loop, wire) for loop in loops) + flat + spec.facet_mm
    if spec.facet_mm > deepest:
        works = f"give up to {deepest:.2f}" if deepest > 0 else "leave it out, or give a thicker wire_mm"
        raise BadInput(
            f"chain.facet_mm: {spec.facet_mm:g} leaves less than {left:.2f} mm of the wire, which must keep "
            f"{WALL_MM:g} mm and half its thickness; {works}"
        )
    return Section("round", wire, wire, flat_mm=flat)


def _strands(spec: ChainSpec) -> Section:
    """Put two round wires side by side, square to the loop, so far overlapping that they are one."""
    if spec.section not in (None, "round"):
        raise BadInput("chain.section: two strands are round wire; leave it out, or give strands = 1")
    for key in ("wire_width_mm", "corner_mm"):
        if getattr(spec, key) is not None:
            raise BadInput(f"chain.{key}: two strands are round wire, which has no such size; leave it out")
    broad, room = TWO_STRANDS * spec.wire_mm, opening_mm(spec) - 2 * spec.gap_mm
    if broad >= room:
        raise BadInput(
            f"chain.strands: two strands of {spec.wire_mm:g} mm wire are {broad:.2f} mm broad, too broad to pass "
            f"through the neighbour's opening of {opening_mm(spec):g} mm with a gap of {spec.gap_mm:g} on either side; "
            f"give a link_width_mm above {broad + 2 * (spec.wire_mm + spec.gap_mm):.2f}, or strands = 1"
        )
    return Section("double", spec.wire_mm, broad)
