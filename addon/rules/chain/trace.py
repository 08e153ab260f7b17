"""Trace (cable): flat oval loops, neighbours turned 90 degrees."""

import numpy as np

from ..solid.mesh import FloatArray
from .link import Curve, Link, columns, link_of
from .options import only
from .pattern import Pattern, alike
from .section import Section
from .spec import ChainSpec
from .wire_asked import wire_of


def pattern(spec: ChainSpec) -> Pattern:
    """Give the pattern of a trace: links alike, each turned a quarter. Round wire, a D or a rectangle.

    Raises BadInput for options that do not belong to a trace or a wire that does not fit.
    """
    only(spec, "section", "wire_width_mm", "corner_mm")
    return alike(link(spec, wire_of(spec, kinds=("round", "D", "rectangle"))), turn_deg=90.0)


def link(spec: ChainSpec, section: Section, *, stud_mm: float | None = None) -> Link:
    """Draw a flat oval link: the ellipse p(t) = (a cos t, b sin t, 0); a circle where length equals width."""
    a, b = (spec.link_length_mm - spec.wire_mm) / 2, (spec.link_width_mm - spec.wire_mm) / 2
    return link_of(
        ellipse(a, b),
        section=section,
        length_mm=spec.link_length_mm,
        width_mm=spec.link_width_mm,
        normal=upright,
        stud_mm=stud_mm,
    )


def ellipse(a: float, b: float) -> Curve:
    """Draw the ellipse of half axes a along x and b along y."""

    def curve(t: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        c, s, flat = np.cos(t), np.sin(t), np.zeros_like(t)
        point = columns(a * c, b * s, flat)
        first = columns(-a * s, b * c, flat)
        return point, first, -point

    return curve


def upright(t: FloatArray) -> FloatArray:
    """Give the normal of a flat loop, z, at every parameter."""
    return np.broadcast_to(np.array([0.0, 0.0, 1.0]), (*t.shape, 3))
