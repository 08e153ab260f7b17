"""Which size to change, and by how much, when no pitch gives the wanted gap: solved for and tried before it is said."""

from collections.abc import Callable
from dataclasses import replace

from ..base.errors import LinkwrightError
from .check import check_chain, check_link
from .families import draw
from .pattern import Pattern
from .spec import ChainSpec

# Sizes are offered on a grid a jeweller can set a caliper to.
FINE_MM = 0.05
COARSE_MM = 0.1
# A size further off than this is another design, not a remedy.
MOST_CHANGE = 0.5
# Where no single size is enough: hundredths by which length and width are let grow together.
MOST_LARGER = 150


def remedy(spec: ChainSpec, gap_of: Callable[[Pattern], float], *others: str) -> str:
    """Say which single changes make ``gap_of`` reach the wanted gap, after any ``others`` already known.

    Width and length are tried larger, the wire thinner, each alone: by half as much again first, then halving back
    to the least change that works. Where none does, length and width are grown together. The maker's own link has its
    size from its mesh.
    """
    if spec.own is not None:
        return (
            ", or ".join(others)
            or "its sizes are the mesh's: draw the link with more room, or ask for a smaller gap_mm"
        )

    def wider(steps: int) -> ChainSpec:
        return replace(spec, link_width_mm=_grid(spec.link_width_mm, steps))

    def longer(steps: int) -> ChainSpec:
        return replace(spec, link_length_mm=_grid(spec.link_length_mm, steps))

    def thinner(steps: int) -> ChainSpec:
        return replace(spec, wire_mm=_grid(spec.wire_mm, -steps, FINE_MM))

    def larger(steps: int) -> ChainSpec:
        share = 1.0 + 0.01 * steps
        length, width = spec.link_length_mm * share, spec.link_width_mm * share
        return replace(spec, link_length_mm=round(length, 2), link_width_mm=round(width, 2))

    ways: list[str] = []
    works = _works(gap_of)
    if (found := _first(wider, _steps(spec.link_width_mm), works)) is not None:
        more, value = found.link_width_mm - spec.link_width_mm, found.link_width_mm
        ways.append(f"the link {more:.2g} mm wider (link_width_mm = {value:g})")
    if (found := _first(longer, _steps(spec.link_length_mm), works)) is not None:
        more, value = found.link_length_mm - spec.link_length_mm, found.link_length_mm
        ways.append(f"the link {more:.2g} mm longer (link_length_mm = {value:g})")
    if (found := _first(thinner, _steps(spec.wire_mm, FINE_MM), works)) is not None:
        less, value = spec.wire_mm - found.wire_mm, found.wire_mm
        ways.append(f"the wire {less:.2g} mm thinner (wire_mm = {value:g})")
    if not ways and (found := _first(larger, MOST_LARGER, works)) is not None:
        length, width = found.link_length_mm, found.link_width_mm
        ways.append(f"the link larger both ways (link_length_mm = {length:g}, link_width_mm = {width:g})")
    said = [*others, *([f"make {' or '.join(ways)}"] if ways else [])]
    return ", or ".join(said) or "no size near this one mends it: ask for a smaller gap_mm"


def _grid(size: float, steps: int, pitch: float | None = None) -> float:
    per_mm = round(1 / (pitch or _pitch(size)))
    nearest = int(size * per_mm // 1) if steps > 0 else -int(-size * per_mm // 1)
    return (nearest + steps) / per_mm


def _pitch(size: float) -> float:
    return COARSE_MM if size >= 5 else FINE_MM


def _works(gap_of: Callable[[Pattern], float]) -> Callable[[ChainSpec], bool]:
    def works(spec: ChainSpec) -> bool:
        try:
            check_chain(spec)
            pattern = draw(spec)
            for link in pattern.links:
                check_link(link)
        except LinkwrightError:
            return False
        return gap_of(pattern) >= spec.gap_mm

    return works


def _first(change: Callable[[int], ChainSpec], most: int, works: Callable[[ChainSpec], bool]) -> ChainSpec | None:
    """Give the change by the fewest steps that works, None when ``most`` steps do not."""
    low, high = 0, most
    if not works(change(high)):
        return None
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if works(change(middle)) else (middle, high)
    return change(high)


def _steps(size: float, pitch: float | None = None) -> int:
    return max(1, int(size * MOST_CHANGE / (pitch or _pitch(size))))
