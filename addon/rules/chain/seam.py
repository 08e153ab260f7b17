"""The seam of a chain that goes round without being joined: how far apart its end links are printed."""

from .cover import least_seam_mm
from .ends import clasp_of
from .layout_check import ends_of
from .pattern import Pattern
from .row import Row
from .spec import ChainSpec, LayoutSpec

# Room between the two halves of a closure beyond the wanted gap, in wires: on a bend they look past each other.
SPARE = 0.5


def seam_mm(spec: ChainSpec, layout: LayoutSpec, pattern: Pattern, row: Row) -> float:
    """Give the least distance in mm between the centres of the first and the last link of an open row, as printed.

    Bare ends keep the gap, or a wire, between them; a closure has room for both halves beside each other; a cover
    reaches from the one link to the other. Raises CannotBuild where no closure fits.
    """
    first, last = (pattern.links[int(row.kind[end])] for end in (0, -1))
    bare = (first.length_mm + last.length_mm) / 2
    if ends_of(layout) == "cover":
        return least_seam_mm(first.length_mm, last.length_mm, max(first.wire_mm, last.wire_mm))
    if layout.clasp is None:
        return bare + max(spec.gap_mm, spec.wire_mm)
    clasp = clasp_of(spec, layout.clasp, pattern)
    # A half reaches out from the middle of the end link's wire.
    halves = clasp.first.ahead_mm - first.wire_mm / 2 + clasp.last.ahead_mm - last.wire_mm / 2
    return bare + halves + max(clasp.clear_mm) + spec.gap_mm + SPARE * spec.wire_mm
