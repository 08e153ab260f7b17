"""Easing: the links made a little longer or shorter, so that a whole number of them meets the length asked for."""

from collections.abc import Callable
from dataclasses import replace

from ..base.errors import CannotBuild
from ..base.progress import Steps
from .chain import Size
from .laid import Laid
from .spec import ChainSpec, LayoutSpec

MOST_EASE = 0.03
EASE_STEPS = 12
EXACT_MM = 1e-4
# The gaps of facets change unevenly: of links measured by them the nearest of a few trials is taken, if near enough.
FACETED_STEPS, FACETED_MM, FACETED_SHARE = 5, 0.02, 2e-3

# Lays out a spec on a layout, with so many links whatever that asks for, and lists so many sizes to either side.
Lay = Callable[[ChainSpec, LayoutSpec, int, int], Laid]


def eased(spec: ChainSpec, layout: LayoutSpec, laid: Laid, lay: Lay) -> Steps[tuple[ChainSpec, Laid]]:
    """Change the lengths of the links by up to 3 % so that as many as were ``laid`` meet the length asked for.

    Raises CannotBuild naming the lengths that can be met with this number.
    """
    target = layout.inner_length_mm if layout.inner_length_mm is not None else layout.length_mm
    assert target is not None
    links = len(laid.row.kind)
    plain = all(link.plain for link in laid.pattern.links)
    steps, exact, enough = (
        (EASE_STEPS, EXACT_MM, EXACT_MM) if plain else (FACETED_STEPS, FACETED_MM, FACETED_SHARE * target)
    )

    def at(share: float) -> tuple[ChainSpec, Laid, float]:
        long = None if spec.long_link_mm is None else spec.long_link_mm * share
        trial = replace(spec, link_length_mm=spec.link_length_mm * share, long_link_mm=long)
        drawn = lay(trial, layout, links, 0)
        return trial, drawn, _worn(drawn)

    share, off = 1.0, _worn(laid) - target
    best = abs(off), spec, laid
    # A link so much longer makes the chain about so much longer; facets are too uneven to learn more from them.
    run = links * spec.link_length_mm
    for step in range(steps):
        trial = share - off / run
        if best[0] < exact or not 1 - MOST_EASE <= trial <= 1 + MOST_EASE:
            break
        drawn_spec, drawn, worn = at(trial)
        if plain:
            run = (worn - target - off) / (trial - share)
        share, off = trial, worn - target
        if abs(off) < best[0]:
            best = abs(off), drawn_spec, drawn
        yield (step + 1) / (steps + 1)
    if best[0] < enough:
        return best[1], replace(best[2], sizes=_sizes(laid, best[2]))
    least, most = at(1 - MOST_EASE)[2], at(1 + MOST_EASE)[2]
    raise CannotBuild(
        f"layout.fit: easing the link by 3 % lets {links} links wear from {least:.1f} to {most:.1f} mm, "
        f'not {target:g}; ask for a length in that range, or fit = "nearest"'
    )


def _sizes(asked: Laid, found: Laid) -> tuple[Size, ...]:
    """List the sizes beside the eased one as they are without easing."""
    links = len(found.row.kind)
    chosen = [size for size in found.sizes if size.links == links]
    return tuple(sorted((*(s for s in asked.sizes if s.links != links), *chosen), key=lambda size: size.links))


def _worn(laid: Laid) -> float:
    assert laid.worn_mm is not None
    return laid.worn_mm
