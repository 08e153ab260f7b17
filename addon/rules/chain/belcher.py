"""Belcher: broad flat loops, round or of a D section with its flat inside, neighbours turned 90 degrees."""

from ..base.errors import BadInput
from .options import only
from .pattern import Pattern, alike
from .spec import ChainSpec
from .trace import link
from .wire_asked import wire_of


def pattern(spec: ChainSpec) -> Pattern:
    """Give the pattern of a belcher. A D is at least as broad as thick (1.5 times, unless told).

    Raises BadInput for options that do not belong to a belcher or a wire that does not fit.
    """
    only(spec, "section", "wire_width_mm", "corner_mm")
    section = wire_of(spec, kinds=("round", "D"))
    if section.broad_mm < section.thick_mm:
        raise BadInput(
            f"chain.wire_width_mm: {section.broad_mm:g} is narrower than the wire is thick, and a belcher is broad; "
            f"give {section.thick_mm:g} or more"
        )
    return alike(link(spec, section), turn_deg=90.0)
