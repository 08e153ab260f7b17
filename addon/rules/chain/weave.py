"""Weave, two in one: every single ring carries two rings side by side, which both pass through the next single one.

The pairs stand a quarter turn from the singles. The four wires that share the opening of a single ring stand on a
square there: its side is the way from one ring of a pair to the other, and from one pair to the next, and that is also
how far each stays from the single ring's own wire. So all gaps are alike, and the widest there can be.
"""

import numpy as np

from ..solid.mesh import FloatArray
from .link import Link, columns, link_of
from .openings import check_open
from .options import only
from .pattern import Pattern, Place
from .spec import ChainSpec

LOOK = 1025
ROUNDS = 20
# A step that settles: where the square grows by 1, what is left of the opening beside it shrinks by 1 to 1.5.
STEP = 1 / 3.2
# At 45 degrees the lower ring of a pair shades the upper one from below; a little further over each has a low place of
# its own, and the single rings still lean. Our judgement, tried on rings of several sizes.
UPRIGHT_DEG = 64.0


def pattern(spec: ChainSpec) -> Pattern:
    """Give the pattern of a two-in-one weave of round wire: a single ring, then two at the next station.

    Raises BadInput where the wire is too thick for four of it to share an opening, naming sizes that work.
    """
    only(spec)
    check_open(spec, widest_gap_mm, "four wires, of a pair on either side")
    return Pattern(
        (ring(spec, 0.0), ring(spec, aside_mm(spec.link_length_mm, spec.link_width_mm, spec.wire_mm))),
        places=(Place(0, 0.0), Place(1, 90.0, joint=None), Place(1, 270.0)),
        linked=((0, 1), (0, 2), (1, 2), (2, 1)),
        joints=("single to pair",),
        upright_deg=UPRIGHT_DEG,
    )


def ring(spec: ChainSpec, aside: float) -> Link:
    """Draw a ring, p(t) = (a cos t, b sin t, aside): a flat ellipse set aside in mm from the chain's axis."""
    a = (spec.link_length_mm - spec.wire_mm) / 2
    b = (spec.link_width_mm - spec.wire_mm) / 2

    def curve(t: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        c, s, flat = np.cos(t), np.sin(t), np.zeros_like(t)
        point = columns(a * c, b * s, flat + aside)
        return point, columns(-a * s, b * c, flat), columns(-a * c, -b * s, flat)

    return link_of(curve, wire_mm=spec.wire_mm, length_mm=spec.link_length_mm, width_mm=spec.link_width_mm)


def aside_mm(length_mm: float, width_mm: float, wire_mm: float) -> float:
    """Give how far each ring of a pair stands aside: half the side of the largest square of wires in the opening.

    A corner of it, (s, s), lies 2 s from the ellipse of the centreline. For a circle of radius R that is
    s = R (1 - 1/sqrt 2) / 2: an inside of 1 + sqrt 2 wires just takes four.
    """
    a, b = (length_mm - wire_mm) / 2, (width_mm - wire_mm) / 2
    t = np.linspace(0.0, np.pi / 2, LOOK)
    x, y = a * np.cos(t), b * np.sin(t)
    s = 0.0
    for _ in range(ROUNDS):
        s += STEP * (float(np.hypot(x - s, y - s).min()) - 2 * s)
    return s


def widest_gap_mm(length_mm: float, width_mm: float, wire_mm: float) -> float:
    """Give the widest smallest gap of the straight weave; below 0 where the wires run into each other."""
    return 2 * aside_mm(length_mm, width_mm, wire_mm) - wire_mm
