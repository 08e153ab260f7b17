"""Rope: rings that each pass through the two before them, and so draw two strands winding round the chain.

With both neighbours on either side, four wires share every opening. Where the rings stand so that no two come near was
searched for over pitch, turn, tilt, lean and offset (the tests search again round this rule): the widest smallest gap
is had, or missed by under 1 %, with all rings centred on the chain's axis, each a third of a turn on from the one
before, their planes a little off the axis. The third ring on is then parallel to the first, and as far from it as the
first from the second. Ovals more than 1.4 times as long as wide do better with their planes along the axis and three
eighths of a turn between them. Distances of centrelines scale with the ring, whatever the wire.
"""

import numpy as np

from ..solid.mesh import FloatArray
from .link import Link, columns, link_of
from .openings import check_open
from .options import only
from .pattern import Pattern
from .spec import ChainSpec

# What the search found (our judgement). Columns: centreline length over width, angle in degrees from the chain's axis
# to the ring's own, and the least distance of centrelines as a share of the width.
TILTED = np.array(
    [
        (0.4, 70.634, 0.12496),
        (0.5, 70.791, 0.15525),
        (0.6, 71.080, 0.18438),
        (0.7, 71.565, 0.21155),
        (0.8, 72.311, 0.23560),
        (0.9, 73.353, 0.25484),
        (1.0, 74.566, 0.26606),
        (1.1, 75.767, 0.27228),
        (1.2, 76.860, 0.27605),
        (1.3, 77.826, 0.27854),
        (1.4, 78.672, 0.28028),
    ]
)
TILTED_TURN_DEG = 120.0
# From this ratio on the planes lie along the axis. Columns: ratio, share of the width. Up to 1.6 the ends that cross
# the axis stand evenly on it, a fifth of the length apart.
ALONG = np.array([(1.4, 0.28), (1.6, 0.3198), (1.7, 0.3352), (1.8, 0.3461), (2.0, 0.3502), (2.5, 0.3518)])
ALONG_TURN_DEG = 135.0


def pattern(spec: ChainSpec) -> Pattern:
    """Give the pattern of a rope of round wire.

    Raises BadInput where the wire is too thick for four of it to share an opening, naming sizes that work.
    """
    only(spec)
    check_open(spec, widest_gap_mm, "four of its wires, of two neighbours on either side")
    along = tilt_deg(spec) == 90.0
    return Pattern(
        (link(spec),),
        turn_deg=ALONG_TURN_DEG if along else TILTED_TURN_DEG,
        linked=((0, 1), (0, 2)),
        symmetric=along,
    )


def link(spec: ChainSpec) -> Link:
    """Draw a rope ring: p(t) = (a cos t sin h, b sin t, a cos t cos h), its own axis the angle h off the chain's.

    Its length is how far the leaning ring reaches along the chain, so that lengths are true between outer ends.
    """
    a = (spec.link_length_mm - spec.wire_mm) / 2
    b = (spec.link_width_mm - spec.wire_mm) / 2
    tilt = np.radians(tilt_deg(spec))
    forth, up = float(a * np.sin(tilt)), float(a * np.cos(tilt))

    def curve(t: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        c, s = np.cos(t), np.sin(t)
        point = columns(forth * c, b * s, up * c)
        first = columns(-forth * s, b * c, -up * s)
        return point, first, -point

    return link_of(curve, wire_mm=spec.wire_mm, length_mm=2 * forth + spec.wire_mm, width_mm=spec.link_width_mm)


def tilt_deg(spec: ChainSpec) -> float:
    """Give the angle in degrees from the chain's axis to the ring's own: 90 where its plane lies along the chain."""
    ratio = _ratio(spec.link_length_mm, spec.link_width_mm, spec.wire_mm)
    return 90.0 if ratio >= ALONG[0, 0] else float(np.interp(ratio, TILTED[:, 0], TILTED[:, 1]))


def widest_gap_mm(length_mm: float, width_mm: float, wire_mm: float) -> float:
    """Estimate the widest smallest gap of the straight rope; below 0 where the wires run into each other.

    For rings: 0.266 of the centreline's diameter less the wire, so that an inside of 2.76 wires just touches.
    """
    ratio = _ratio(length_mm, width_mm, wire_mm)
    table = ALONG if ratio >= ALONG[0, 0] else TILTED[:, [0, 2]]
    return float(np.interp(ratio, table[:, 0], table[:, 1])) * (width_mm - wire_mm) - wire_mm


def _ratio(length_mm: float, width_mm: float, wire_mm: float) -> float:
    return (length_mm - wire_mm) / (width_mm - wire_mm)
