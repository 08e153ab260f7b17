"""The register of link families: a name, and the function that draws its pattern.

A new family is one module with a ``pattern(spec) -> Pattern`` and one line here.
"""

from collections.abc import Callable, Mapping
from types import MappingProxyType

from ..base.errors import BadInput
from . import anchor, belcher, box, curb, figaro, own, rope, trace, weave
from .pattern import Pattern
from .spec import ChainSpec

DRAWN: Mapping[str, Callable[[ChainSpec], Pattern]] = MappingProxyType(
    {
        "curb": curb.pattern,
        "trace": trace.pattern,
        "belcher": belcher.pattern,
        "figaro": figaro.pattern,
        "anchor": anchor.pattern,
        "box": box.pattern,
        "rope": rope.pattern,
        "weave": weave.pattern,
        "mesh": own.pattern,
    }
)


def draw(spec: ChainSpec) -> Pattern:
    """Draw the pattern of the family asked for. Raises BadInput for a family that does not exist."""
    if spec.family not in DRAWN:
        raise BadInput(f"chain.family: there is no family {spec.family!r}; choose {', '.join(DRAWN)}")
    return DRAWN[spec.family](spec)
