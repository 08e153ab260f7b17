"""The sizes of the links of a tapered chain: in even steps from the first to the last, or to the middle and back."""

from dataclasses import replace
from typing import Any

import numpy as np

from ..base.errors import BadInput, LinkwrightError
from ..solid.mesh import FloatArray
from .check import check_chain
from .spec import ChainSpec

# The sizes that run from a to b, and the end's key for each.
ENDS = {"wire_mm": "end_wire_mm", "link_length_mm": "end_link_length_mm", "link_width_mm": "end_link_width_mm"}
# Sizes that follow the wire, where they are given.
WITH_WIRE = ("wire_width_mm", "corner_mm", "stud_mm", "facet_mm")
WITH_LENGTH = ("long_link_mm",)


def at_share(spec: ChainSpec, share: float) -> ChainSpec:
    """Give the link of a tapered chain at a share of the way from its first size (0) to its last (1), untapered.

    Wire, length and width run evenly; what else is measured on the wire or along the link keeps its proportion.
    """
    sizes: dict[str, Any] = {key: _between(spec, key, share) for key in ENDS}
    by_wire = sizes["wire_mm"] / spec.wire_mm
    by_length = sizes["link_length_mm"] / spec.link_length_mm
    others: dict[str, Any] = {key: getattr(spec, key) * by_wire for key in WITH_WIRE if getattr(spec, key) is not None}
    others |= {key: getattr(spec, key) * by_length for key in WITH_LENGTH if getattr(spec, key) is not None}
    return replace(spec, **sizes, **others, end_wire_mm=None, end_link_length_mm=None, end_link_width_mm=None)


def shares(links: int, *, closed: bool) -> FloatArray:
    """Give each link's share of the way (n,): 0 to 1 along an open chain, to 1 halfway and back on a closed one."""
    k = np.arange(links)
    if closed:
        return np.asarray(1 - np.abs(2 * k / links - 1))
    return np.asarray(k / max(links - 1, 1))


def check_taper(spec: ChainSpec) -> None:
    """Check the last size of a tapered chain as strictly as the first: it must be there, and be a link.

    Raises BadInput naming the end's key where a size is not above 0 or the link closes up on the way.
    """
    if spec.own is not None:
        raise BadInput("chain.end_wire_mm: a link of your own has one size only; leave the end sizes out")
    for key in ENDS.values():
        value = getattr(spec, key)
        if value is not None and not (np.isfinite(value) and value > 0):
            raise BadInput(
                f"chain.{key}: {value:g} turns the taper inside out: the links would shrink to nothing before the end; "
                "give mm above 0"
            )
    check_chain(at_share(spec, 0.0))
    try:
        check_chain(at_share(spec, 1.0))
    except LinkwrightError as error:
        raise BadInput(
            f"chain.{_given(spec)}: the taper turns inside out before its end, whose link would be "
            f"{_words(at_share(spec, 1.0))}: {_without_key(str(error))}; {_way_out(spec)}"
        ) from error


def _between(spec: ChainSpec, key: str, share: float) -> float:
    first = float(getattr(spec, key))
    last = getattr(spec, ENDS[key])
    return first if last is None else first + share * (float(last) - first)


def _given(spec: ChainSpec) -> str:
    """Name the end sizes that are given."""
    return ", chain.".join(key for key in ENDS.values() if getattr(spec, key) is not None)


def _words(spec: ChainSpec) -> str:
    return f"{spec.link_length_mm:g} x {spec.link_width_mm:g} mm of wire {spec.wire_mm:g}"


def _without_key(text: str) -> str:
    return text.split(": ", 1)[-1]


def _way_out(spec: ChainSpec) -> str:
    """Name the end sizes in proportion to the first link, which keep its opening wherever the gap does; tried first."""
    for share in (0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 1.05, 1.1, 1.25):
        sizes: dict[str, Any] = {end: round(float(getattr(spec, key)) * share, 2) for key, end in ENDS.items()}
        try:
            check_chain(at_share(replace(spec, **sizes), 1.0))
        except LinkwrightError:
            continue
        given = ", ".join(f"{end} = {size:g}" for end, size in sizes.items())
        return f"in proportion {given} works"
    return "leave the end sizes out"
