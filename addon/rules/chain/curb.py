"""Curb: an oval loop twisted end to end, 90 degrees in all, so that neighbours are alike and lie flat."""

import numpy as np

from ..solid.mesh import FloatArray
from .link import Link, columns, link_of
from .spec import ChainSpec

# Twist about the chain axis from the middle of the link to each end. The sign is the handedness: seen along the
# chain the width turns anticlockwise on the way to the far end. Every curb of ours has the same.
HALF_TWIST = np.pi / 4


def link(spec: ChainSpec) -> Link:
    """Draw a curb link: p(t) = (a cos t, b sin t cos w, b sin t sin w), w = (pi/4) cos t, an ellipse of half axes a, b
    whose plane turns with x.
    """  # noqa: D205
    a = (spec.link_length_mm - spec.wire_mm) / 2
    b = (spec.link_width_mm - spec.wire_mm) / 2

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

    return link_of(
        curve, wire_mm=spec.wire_mm, length_mm=spec.link_length_mm, width_mm=spec.link_width_mm, turn_deg=0.0
    )
