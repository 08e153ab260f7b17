"""Closure: how many links make the length asked for, and with what pitch they are printed."""

from dataclasses import dataclass, replace

import numpy as np

from ..base.errors import BadInput, CannotBuild
from .check import MOST_LINKS
from .families import draw
from .fit import Fit, fit, reach, widest
from .lengths import Rings, depth, rings
from .link import Link
from .remedy import remedy
from .spec import ChainSpec, LayoutSpec
from .uniform import Lay, lay_of

MOST_EASE = 0.03
EASE_STEPS = 12
EXACT_MM = 1e-4
# A ring of so many times the links is another piece, not a remedy.
LARGER = 4
SMALL_RINGS = np.array([3, 4, 5, 6, 7, 8, 10, 12, 14, 16, 20, 24, 32, 48, 64, 128, 256, 512, 1024, 2048], dtype=float)


@dataclass(frozen=True, slots=True)
class Choice:
    """A number of links with their fit; ``worn_mm`` the length they wear at, ``nearby`` the sizes beside it."""

    links: int
    fit: Fit
    worn_mm: float
    nearby: tuple[tuple[int, float], ...]


def straight_choice(spec: ChainSpec, layout: LayoutSpec, link: Link) -> Choice:
    """Choose the links of a straight chain: those that hang nearest to the length asked for, between the outer ends.

    Raises CannotBuild when no pitch gives the gap, BadInput for a length under two links or over the most.
    """
    found = straight_fit(spec, link, layout.face)
    links = layout.links
    nearby: tuple[tuple[int, float], ...] = ()
    if links is None:
        assert layout.length_mm is not None
        links, nearby = links_for_length(layout.length_mm, link, found.pulled_mm)
    return Choice(links, found, hanging(link, links, found.pulled_mm), nearby)


def straight_fit(spec: ChainSpec, link: Link, face: str) -> Fit:
    """Fit the straight chain. Raises CannotBuild when no pitch gives the wanted gap, naming the sizes that do."""
    found = fit(link, lay_of(link, face), 0.0, spec.gap_mm)
    if found.gap_mm < spec.gap_mm:
        raise no_pitch(spec, found, face)
    return found


def hanging(link: Link, links: int, pitch_mm: float) -> float:
    """Give the length in mm between the outer ends of a straight chain."""
    return (links - 1) * pitch_mm + link.length_mm


def links_for_length(length_mm: float, link: Link, pulled_mm: float) -> tuple[int, tuple[tuple[int, float], ...]]:
    """Give the number of links that hang nearest to a length, and the sizes beside it.

    Raises BadInput for a length under two links or over the most.
    """
    links = 1 + round((length_mm - link.length_mm) / pulled_mm)
    if links < 2:
        raise BadInput(
            f"layout.length_mm: {length_mm:g} is shorter than two links; two of these hang "
            f"{hanging(link, 2, pulled_mm):.1f} mm long, give that or more"
        )
    if links > MOST_LINKS:
        raise BadInput(
            f"layout.length_mm: {length_mm:g} needs {links} links; give up to {MOST_LINKS} links, "
            f"{hanging(link, MOST_LINKS, pulled_mm):.0f} mm"
        )
    beside = tuple((n, hanging(link, n, pulled_mm)) for n in (links - 1, links + 1) if n >= 2)
    return links, beside


def ring_choice(spec: ChainSpec, layout: LayoutSpec, link: Link) -> Choice:
    """Choose the links of a ring: the whole number whose worn inside length is nearest to the one asked for.

    The pitch is that of the widest smallest gap on that ring. Raises CannotBuild when that falls short of the wanted
    gap, BadInput for a number of links the family cannot close with.
    """
    lay = lay_of(link, layout.face)
    nearby: tuple[tuple[int, float], ...] = ()
    if layout.links is not None:
        check_even(layout.links, link)
        chosen = _size(rings(link, lay, np.array([float(layout.links)])), 0)
    else:
        assert layout.inner_length_mm is not None
        chosen, sizes = _nearest_ring(spec, link, lay, layout.inner_length_mm)
        nearby = tuple((size.links, size.worn_mm) for size in sizes if size.gap_mm >= spec.gap_mm)
    if chosen.gap_mm < spec.gap_mm:
        raise _ring_too_tight(spec, layout, link, chosen)
    bends = np.full(3, 2 * np.pi / chosen.links)
    floors = np.array([spec.gap_mm, spec.gap_mm, 0.0])
    low, high, pushed = reach(link, lay, bends, np.full(3, chosen.best_mm), np.array([-1.0, 1.0, -1.0]), floors)
    found = Fit(chosen.best_mm, chosen.gap_mm, float(low), float(high), float(pushed), chosen.pulled_mm)
    return Choice(chosen.links, found, chosen.worn_mm, nearby)


def eased(spec: ChainSpec, layout: LayoutSpec, link: Link, choice: Choice) -> tuple[ChainSpec, Link, Choice]:
    """Change the link length by up to 3 % so that the chosen number of links meets the length asked for.

    Raises CannotBuild naming the lengths that can be met with this number of links.
    """
    target = layout.inner_length_mm if layout.shape == "ring" else layout.length_mm
    assert target is not None
    fixed = replace(layout, links=choice.links, inner_length_mm=None, length_mm=None)
    choose = ring_choice if layout.shape == "ring" else straight_choice

    def at(length_mm: float) -> tuple[ChainSpec, Link, Choice]:
        trial = replace(spec, link_length_mm=length_mm)
        drawn = draw(trial)
        return trial, drawn, choose(trial, fixed, drawn)

    low, high = spec.link_length_mm * (1 - MOST_EASE), spec.link_length_mm * (1 + MOST_EASE)
    length, off = spec.link_length_mm, choice.worn_mm - target
    run = float(choice.links)
    result = (spec, link, choice)
    for _ in range(EASE_STEPS):
        if abs(off) < EXACT_MM:
            return result[0], result[1], replace(result[2], nearby=choice.nearby)
        trial = length - off / run
        if not low <= trial <= high:
            break
        result = at(trial)
        new_off = result[2].worn_mm - target
        run = (new_off - off) / (trial - length)
        length, off = trial, new_off
    least, most = at(low)[2].worn_mm, at(high)[2].worn_mm
    raise CannotBuild(
        f"layout.fit: easing the link by 3 % lets {choice.links} links wear from {least:.1f} to {most:.1f} mm, "
        f'not {target:g}; ask for a length in that range, or fit = "nearest"'
    )


def ring_stride(link: Link) -> int:
    """Give the step between numbers of links that close: neighbours turned by 90 degrees close only in twos."""
    return 2 if link.turn_deg % 180 else 1


def check_even(links: int, link: Link) -> None:
    """Raise BadInput for an odd number of links whose neighbours are turned, naming the numbers beside it."""
    if links % ring_stride(link):
        raise BadInput(
            f"layout.links: {links} links turned 90 degrees in turn do not close; give {links - 1} or {links + 1}"
        )


def no_pitch(spec: ChainSpec, found: Fit, face: str) -> CannotBuild:
    """Say that no pitch of the straight chain gives the gap, and which sizes do."""

    def gap_of(other: Link) -> float:
        return float(widest(other, lay_of(other, face), np.zeros(1))[1][0])

    return CannotBuild(
        f"chain.gap_mm: no pitch gives {spec.gap_mm:.2f} mm: {_widest_words(found)}; {remedy(spec, gap_of)}"
    )


def _widest_words(found: Fit) -> str:
    if found.gap_mm <= 0:
        return "the links of this chain collide at every pitch"
    return f"the widest gap of this link is {_down(found.gap_mm)} mm at pitch {found.best_mm:.2f}"


def _down(gap_mm: float) -> str:
    return f"{np.floor(gap_mm * 100) / 100:.2f}"


@dataclass(frozen=True, slots=True)
class _Size:
    """One ring: its links, best pitch and gap there, and the pitch and inside length with joints drawn to contact."""

    links: int
    best_mm: float
    gap_mm: float
    pulled_mm: float
    worn_mm: float


def _size(fitted: Rings, i: int) -> _Size:
    return _Size(
        int(fitted.links[i]),
        float(fitted.best_mm[i]),
        float(fitted.gap_mm[i]),
        float(fitted.pulled_mm[i]),
        float(fitted.worn_mm[i]),
    )


def _nearest_ring(spec: ChainSpec, link: Link, lay: Lay, target_mm: float) -> tuple[_Size, tuple[_Size, ...]]:
    """Walk to the number of links whose worn length is nearest; give it, and the sizes beside it."""
    stride = ring_stride(link)
    least = 2 + stride
    pulled = spec.link_length_mm - 2 * spec.wire_mm
    guess = (target_mm + 2 * np.pi * depth(link, lay)) / pulled
    if guess > MOST_LINKS:
        raise BadInput(
            f"layout.inner_length_mm: {target_mm:g} needs about {guess:.0f} links; give up to {MOST_LINKS} links, "
            f"about {MOST_LINKS * pulled:.0f} mm"
        )
    links = max(least, stride * round(guess / stride))
    found: dict[int, _Size] = {}
    while True:
        window = [n for n in (links - stride, links, links + stride) if n >= least]
        missing = [n for n in window if n not in found]
        fitted = rings(link, lay, np.array(missing, dtype=float))
        found.update({n: _size(fitted, i) for i, n in enumerate(missing)})
        free = [n for n in window if np.isfinite(found[n].worn_mm)]
        nearest = min(free, key=lambda n: (abs(found[n].worn_mm - target_mm), n), default=links)
        if nearest == links:
            return found[links], tuple(found[n] for n in free if n != links)
        links = nearest


def _ring_too_tight(spec: ChainSpec, layout: LayoutSpec, link: Link, chosen: _Size) -> CannotBuild:
    """Say that this ring leaves no gap, and which larger ring or sizes do."""
    lay = lay_of(link, layout.face)

    def gap_of(other: Link) -> float:
        stand = lay_of(other, layout.face)
        links = float(chosen.links)
        if layout.inner_length_mm is not None:
            around = layout.inner_length_mm + 2 * np.pi * depth(other, stand)
            # A longer link closes with fewer: the sharper bend of one link less than that is on the safe side.
            links = max(around / (other.length_mm - 2 * other.wire_mm) - 1, 3.0)
        return float(widest(other, stand, np.array([2 * np.pi / links]))[1][0])

    at = f" at pitch {chosen.best_mm:.2f}"
    held = (
        f"the widest gap there is {_down(chosen.gap_mm)} mm{at}" if chosen.gap_mm > 0 else "they collide at every pitch"
    )
    least, worn = _least_ring(spec, link, lay)
    near = least is not None and least < LARGER * chosen.links
    larger = (f"take {least} links or more (worn inside length {worn:.1f} mm)",) if near else ()
    return CannotBuild(
        f"chain.gap_mm: no pitch gives {spec.gap_mm:.2f} mm on a ring of {chosen.links} links: {held}; "
        f"{remedy(spec, gap_of, *larger)}"
    )


def _least_ring(spec: ChainSpec, link: Link, lay: Lay) -> tuple[int | None, float]:
    """Find the fewest links whose ring keeps the wanted gap, if any does, and the length it wears at."""
    stride = ring_stride(link)
    coarse = SMALL_RINGS[SMALL_RINGS % stride == 0]
    good = widest(link, lay, 2 * np.pi / coarse)[1] >= spec.gap_mm
    if not good.any():
        return None, np.nan
    first = int(good.argmax())
    top = coarse[first]
    low = coarse[first - 1] if first else coarse[0]
    while top - low > stride:
        middle = low + stride * round((top - low) / (2 * stride))
        enough = widest(link, lay, np.array([2 * np.pi / middle]))[1][0] >= spec.gap_mm
        low, top = (low, middle) if enough else (middle, top)
    return int(top), float(rings(link, lay, np.array([top])).worn_mm[0])
