"""The register of link families: a name, and the function that draws its link.

A new family is one module with a ``link(spec) -> Link`` and one line here.
"""

from collections.abc import Callable, Mapping
from types import MappingProxyType

from ..base.errors import BadInput
from . import curb, trace
from .link import Link
from .spec import FAMILIES, ChainSpec

DRAWN: Mapping[str, Callable[[ChainSpec], Link]] = MappingProxyType({"curb": curb.link, "trace": trace.link})


def draw(spec: ChainSpec) -> Link:
    """Draw one link of the family asked for.

    Raises BadInput for a family that does not exist, or that this version does not draw yet.
    """
    if spec.family not in FAMILIES:
        raise BadInput(f"chain.family: there is no family {spec.family!r}; choose {', '.join(DRAWN)}")
    if spec.family not in DRAWN:
        raise BadInput(f"chain.family: {spec.family!r} is not available in this version; choose {', '.join(DRAWN)}")
    return DRAWN[spec.family](spec)
