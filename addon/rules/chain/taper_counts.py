"""How many links a tapered chain has, and the sizes around that number."""

from collections.abc import Callable, Sequence

import numpy as np

from ..base.errors import BadInput
from ..solid.curves import spline
from ..solid.mesh import FloatArray
from .chain import Size
from .check import MOST_LINKS
from .cover import least_seam_mm
from .layout_check import ends_of, is_closed
from .lengths import innermost
from .open_count import worn_inside
from .path import ring_radius
from .pattern import Pattern
from .ring_inside import goes_round
from .spec import ChainSpec, LayoutSpec
from .taper_fits import PULLED, Sampled, row_fits
from .taper_sizes import at_share
from .uniform import phases_of

# Sizes listed on either side of the chosen one.
BESIDE = 3


def counts_inside(layout: LayoutSpec, clasp_mm: float) -> bool:
    """Tell whether the length that counts is the one inside."""
    return ends_of(layout) != "open" or worn_inside(layout, clasp_mm)


def _size(sampled: Sampled, layout: LayoutSpec, clasp_mm: float, links: int) -> Size:
    """Give the lengths of a number of links: inside a ring of them all, or between the outer ends."""
    fits = row_fits(sampled, links, closed=is_closed(layout))
    worn, printed, pushed = (
        _length(sampled, layout, clasp_mm, [getattr(one, key) for one in fits])
        for key in ("pulled_mm", "best_mm", "pushed_mm")
    )
    return Size(links, worn, printed, pushed if np.isfinite(pushed) else None, min(one.gap_mm for one in fits))


def _length(sampled: Sampled, layout: LayoutSpec, clasp_mm: float, pitches: Sequence[float]) -> float:
    chords, ends = np.array(pitches), _ends_mm(sampled.spec)
    if not counts_inside(layout, clasp_mm):
        return float(chords.sum()) + ends + clasp_mm
    if not is_closed(layout):
        chords = np.append(chords, ends + clasp_mm if ends_of(layout) == "open" else _least_seam(sampled.spec))
    return _inside(sampled, chords)


def _inside(sampled: Sampled, chords: FloatArray) -> float:
    """Give the inside length of a tapered ring: by the sampled link that lies furthest in.

    0 where the chords do not reach round the longest of them.
    """
    if not np.isfinite(chords).all():
        return float("nan")
    if not goes_round(chords):
        return 0.0
    radius = np.array([ring_radius(chords)])
    least = []
    for even in sampled.evens:
        bends = np.full((1, even.types), float(chords.mean() / radius[0]))
        least.append(float(innermost(even, radius, phases_of(even, bends, None)[0])[0]))
    return 2 * np.pi * min(least)


def _least_seam(spec: ChainSpec) -> float:
    first, last = at_share(spec, 0.0), at_share(spec, 1.0)
    return least_seam_mm(first.link_length_mm, last.link_length_mm, max(first.wire_mm, last.wire_mm))


def about_radius_mm(sampled: Sampled, layout: LayoutSpec, links: int, clasp_mm: float) -> float:
    """Give about the radius a ring of a number of links has, at its best pitches."""
    closed = is_closed(layout)
    chords = np.array([f.best_mm for f in row_fits(sampled, links, closed=closed)])
    return ring_radius(chords if closed else np.append(chords, _ends_mm(sampled.spec) + clasp_mm))


def count(sampled: Sampled, layout: LayoutSpec, clasp_mm: float, *, near: int | None = None) -> int:
    """Choose the number of links nearest to what is asked for; a cover takes the most that leave it room.

    ``near`` a number thought near it, from which it is looked for. Raises BadInput for a number that makes no whole
    repeats on a closed chain, or a length beyond the most links.
    """
    closed = is_closed(layout)
    step, least = _steps(sampled, closed=closed)
    if layout.links is not None:
        n = len(sampled.base.places)
        if closed and layout.links % n:
            below = f"{layout.links // n * n} or " if layout.links > n else ""
            raise BadInput(
                f"layout.links: {layout.links} links do not make whole repeats of {n}; give {below}"
                f"{(layout.links // n + 1) * n}"
            )
        return layout.links
    asked = layout.inner_length_mm or layout.length_mm
    if asked is None:
        return _filling(sampled, layout, step, least)
    known: dict[int, float] = {}

    def worn(links: int) -> float:
        if links not in known:
            fits = row_fits(sampled, links, closed=closed)
            known[links] = _length(sampled, layout, clasp_mm, [one.pulled_mm for one in fits])
        return known[links]

    about = near or step * round(asked / float(sampled.table[:, :, PULLED].mean()) / step)
    return _nearest(worn, asked, step, (least, about), below=ends_of(layout) == "cover")


def _steps(sampled: Sampled, *, closed: bool) -> tuple[int, int]:
    """Give the step between numbers of links that make a row, and the least one."""
    step = _stride(sampled.base) if closed else 1
    return step, step * -(-3 // step) if closed else 2


def sizes_around(sampled: Sampled, layout: LayoutSpec, clasp_mm: float, links: int) -> tuple[Size, ...]:
    """List the sizes around a number of links, itself among them."""
    step, least = _steps(sampled, closed=is_closed(layout))
    numbers = [links + step * k for k in range(-BESIDE, BESIDE + 1)]
    return tuple(_size(sampled, layout, clasp_mm, n) for n in numbers if least <= n <= MOST_LINKS or n == links)


def _nearest(worn: Callable[[int], float], asked_mm: float, step: int, start: tuple[int, int], *, below: bool) -> int:
    """Find the number of links that wears nearest to a length, which grows with it, or nearest below it.

    ``start``: the least number there can be, and one to look from.
    """
    least, most = start[0], MOST_LINKS // step * step
    low = high = min(max(start), most)
    width = step
    while low > least and worn(low) >= asked_mm:
        low, high, width = max(low - width, least), low, 2 * width
    width = step
    while worn(high) < asked_mm:
        if high == most:
            raise BadInput(
                f"layout: {asked_mm:g} mm needs more than {MOST_LINKS} links; ask for up to {worn(most):.0f} mm"
            )
        low, high, width = high, min(high + width, most), 2 * width
    while high - low > step:
        middle = low + (high - low) // step // 2 * step
        low, high = (middle, high) if worn(middle) < asked_mm else (low, middle)
    return low if below else min((low, high), key=lambda n: (abs(worn(n) - asked_mm), n))


def _filling(sampled: Sampled, layout: LayoutSpec, step: int, least: int) -> int:
    """Find the number of links that fills a curve at the best pitches: the nearest on a closed one, else what fits."""
    line = spline(layout.points, cyclic=layout.cyclic, where="layout.points")
    closed = is_closed(layout)
    # Round a closed curve an open row has a seam too.
    spare = 0.0 if closed else (2 if layout.cyclic else 1) * _ends_mm(sampled.spec)

    def taken(links: int) -> float:
        return sum(f.best_mm for f in row_fits(sampled, links, closed=closed)) + spare

    links = least
    while links + step <= MOST_LINKS and taken(links + step) <= line.length_mm:
        links += step
    if closed and abs(taken(links + step) - line.length_mm) < abs(taken(links) - line.length_mm):
        links += step
    return links


def _ends_mm(spec: ChainSpec) -> float:
    """Give half the lengths of both end links together."""
    return sum(at_share(spec, share).link_length_mm for share in (0.0, 1.0)) / 2


def _stride(base: Pattern) -> int:
    """Give the step between numbers of links that close evenly: whole repeats, in twos where they turn a quarter."""
    return len(base.places) * (2 if base.turn_deg % 180 == 90 else 1)
