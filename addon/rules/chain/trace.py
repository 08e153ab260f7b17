"""Trace (cable): flat oval loops, neighbours turned 90 degrees."""

import numpy as np

from ..solid.mesh import FloatArray
from .link import Link, columns, link_of
from .spec import ChainSpec


def link(spec: ChainSpec) -> Link:
    """Draw a trace link: the flat ellipse p(t) = (a cos t, b sin t, 0); a torus where length equals width."""
    a = (spec.link_length_mm - spec.wire_mm) / 2
    b = (spec.link_width_mm - spec.wire_mm) / 2

    def curve(t: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        c, s, flat = np.cos(t), np.sin(t), np.zeros_like(t)
        point = columns(a * c, b * s, flat)
        first = columns(-a * s, b * c, flat)
        return point, first, -point

    return link_of(
        curve, wire_mm=spec.wire_mm, length_mm=spec.link_length_mm, width_mm=spec.link_width_mm, turn_deg=90.0
    )
