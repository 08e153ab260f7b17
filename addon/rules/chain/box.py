"""Box: broad links near to square with rounded corners, neighbours turned 90 degrees."""

import numpy as np

from ..solid.mesh import FloatArray
from .link import Curve, columns, link_of
from .options import only
from .pattern import Pattern, alike
from .spec import ChainSpec
from .trace import upright
from .wire_asked import opening_mm, wire_of

# Our judgement: the breadth of the strip by the opening it passes through.
BROAD = 0.6
# The exponents of the rounded square from roundest to squarest, and the radius its corners aim at, in wires: inside
# the corner half a wire less.
ROUNDEST, SQUAREST = 4.0, 8.0
CORNER = 0.9
LOOK = 2048


def pattern(spec: ChainSpec) -> Pattern:
    """Give the pattern of a box: strips of rectangular section, 0.6 of the opening broad unless told, or of a D.

    Raises BadInput for options that do not belong to a box or a wire that does not fit.
    """
    only(spec, "section", "wire_width_mm", "corner_mm")
    broad = max(spec.wire_mm, BROAD * opening_mm(spec))
    section = wire_of(spec, kinds=("rectangle", "D"), broad_mm=broad)
    a, b = (spec.link_length_mm - spec.wire_mm) / 2, (spec.link_width_mm - spec.wire_mm) / 2
    return alike(
        link_of(
            rounded_square(a, b, squareness(a, b, CORNER * spec.wire_mm)),
            section=section,
            length_mm=spec.link_length_mm,
            width_mm=spec.link_width_mm,
            normal=upright,
        ),
        turn_deg=90.0,
    )


def squareness(a: float, b: float, corner_mm: float) -> float:
    """Choose the exponent, 4 to 8, at which a square on the smaller half axis has corners of a radius, or roundest.

    At the corner of |x|^n + |y|^n = h^n, where x = y, the radius of curvature is h sqrt 2 / ((n - 1) 2^(1/n)).
    """
    low, high = ROUNDEST, SQUAREST
    for _ in range(40):
        n = (low + high) / 2
        radius = min(a, b) * np.sqrt(2) / ((n - 1) * 2 ** (1 / n))
        low, high = (n, high) if radius > corner_mm else (low, n)
    return low


def rounded_square(a: float, b: float, n: float) -> Curve:
    """Draw |x/a|^n + |y/b|^n = 1, n at least 4, as p(t) = f(t)^(-1/n) (a cos t, b sin t), f = |cos t|^n + |sin t|^n.

    Its curvature is continuous: for n >= 4 the second derivatives of f are.
    """

    def curve(t: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        c, s = np.cos(t), np.sin(t)
        cc, ss = c * c, s * s
        c_less, s_less = cc ** (n / 2 - 2), ss ** (n / 2 - 2)
        f = cc * cc * c_less + ss * ss * s_less
        lean = ss * s_less - cc * c_less
        f1 = n * c * s * lean
        f2 = n * ((cc - ss) * lean + (n - 2) * cc * ss * (s_less + c_less))
        g = f ** (-1 / n)
        g1 = -g * f1 / (n * f)
        g2 = -g1 * f1 / (n * f) - g * (f2 / f - (f1 / f) ** 2) / n
        flat = np.zeros_like(t)
        point = columns(a * g * c, b * g * s, flat)
        first = columns(a * (g1 * c - g * s), b * (g1 * s + g * c), flat)
        second = columns(a * (g2 * c - 2 * g1 * s - g * c), b * (g2 * s + 2 * g1 * c - g * s), flat)
        return point, first, second

    return curve
