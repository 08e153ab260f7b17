"""Closure: how many links make the length asked for, and with what pitches they are printed."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..base.errors import BadInput
from ..solid.mesh import FloatArray
from .chain import Size
from .check import MOST_LINKS
from .fit import Fit, fit
from .laid import Laid
from .lengths import Rings, depth, rings
from .measure import Measure
from .open_count import open_count, worn_inside
from .path import ring, ring_radius, straight
from .pattern import Pattern
from .repeats import BESIDE, check_repeats, ring_stride
from .row import row_of
from .spec import ChainSpec, LayoutSpec
from .too_close import no_pitch, ring_too_tight
from .uniform import Even, cases_of, even_of, tightest

__all__ = [
    "BESIDE",
    "check_repeats",
    "closed_ring",
    "open_count",
    "ring_sizes",
    "ring_stride",
    "straight_fit",
    "straight_row",
    "worn_inside",
]


def straight_fit(spec: ChainSpec, pattern: Pattern, measure: Measure, face: str) -> tuple[Fit, ...]:
    """Fit the straight chain, one for each type of joint.

    Raises CannotBuild when no pitch gives the wanted gap, naming the sizes that do.
    """
    even = even_of(pattern, measure, face)
    found = fit(even, np.zeros(even.types), spec.gap_mm)
    if min(one.gap_mm for one in found) < spec.gap_mm:
        raise no_pitch(spec, even, found)
    return found


def straight_row(
    spec: ChainSpec,
    layout: LayoutSpec,
    pattern: Pattern,
    measure: Measure,
    clasp_mm: float = 0.0,
    *,
    links: int | None = None,
) -> Laid:
    """Lay a straight chain of the links that come nearest to the length asked for, or of ``links`` whatever was asked.

    Raises CannotBuild when no pitch gives the gap, BadInput for a length too short or too long.
    """
    fits = straight_fit(spec, pattern, measure, layout.face)
    links, sizes = open_count(spec, layout, pattern, measure, fits, clasp_mm, links=links)
    assert links is not None
    row = row_of(pattern, links, closed=False, face=layout.face)
    best = np.array([one.best_mm for one in fits])
    even = even_of(pattern, measure, layout.face)
    chosen = next(size for size in sizes if size.links == links)
    return Laid(
        pattern=pattern,
        row=row,
        path=straight(best[row.joint], layout.face),
        fits=fits,
        pitches_mm=tuple(best.tolist()),
        gap_mm=min(one.gap_mm for one in fits),
        between=tightest(even, np.zeros(even.types), best, links, [one.tightest for one in fits], closed=False),
        sizes=sizes,
        worn_mm=chosen.worn_mm,
        printed_mm=chosen.printed_mm,
        pushed_mm=chosen.pushed_mm,
        inner=worn_inside(layout, clasp_mm),
        clasp_mm=clasp_mm,
    )


def closed_ring(
    spec: ChainSpec,
    layout: LayoutSpec,
    pattern: Pattern,
    measure: Measure,
    *,
    links: int | None = None,
    beside: int = BESIDE,
) -> Laid:
    """Lay a closed ring: of as many links as asked for, or of those that wear nearest to the inside length asked for.

    ``links`` says how many whatever was asked; ``beside`` so many sizes are listed to either side. The pitches are
    those of the widest smallest gap on that ring. Raises CannotBuild when that falls short of the wanted gap, BadInput
    for a number of links the pattern cannot close with.
    """
    even = even_of(pattern, measure, layout.face)
    stride = ring_stride(pattern)
    known: dict[int, _Ring] = {}
    if links is None and layout.inner_length_mm is not None:
        links, known = _nearest_ring(even, layout.inner_length_mm, spec.gap_mm)
    links = layout.links if links is None else links
    assert links is not None
    check_repeats(links, pattern, closed=True)
    around = [links + stride * k for k in range(-beside, beside + 1)]
    around = [n for n in around if n == links or max(stride, 3) <= n <= MOST_LINKS]
    known = _with_rings(even, known, around, links, spec.gap_mm)
    chosen = known[links].size
    if not chosen.gap_mm >= spec.gap_mm:
        raise ring_too_tight(spec, layout, even, links, chosen.gap_mm, stride)
    fits = _ring_fits(known[links])
    row = row_of(pattern, links, closed=True, face=layout.face)
    best = np.array([one.best_mm for one in fits])
    return Laid(
        pattern=pattern,
        row=row,
        path=ring(best[row.joint], layout.face),
        fits=fits,
        pitches_mm=tuple(best.tolist()),
        gap_mm=chosen.gap_mm,
        between=tightest(even, known[links].bends, best, links, [one.tightest for one in fits], closed=True),
        sizes=tuple(known[n].size for n in around if np.isfinite(known[n].size.worn_mm)),
        worn_mm=chosen.worn_mm,
        printed_mm=chosen.printed_mm,
        pushed_mm=chosen.pushed_mm,
        inner=True,
        radius_mm=ring_radius(best[row.joint]),
    )


def ring_sizes(pattern: Pattern, measure: Measure, face: str, numbers: Sequence[int]) -> tuple[Size, ...]:
    """Give what closed rings of some numbers of links make, those with no free pitch left out.

    The numbers are of whole repeats; on an even bend each wears as it would on any closed curve.
    """
    if not numbers:
        return ()
    known = _with_rings(even_of(pattern, measure, face), {}, numbers, numbers[len(numbers) // 2], 0.0)
    return tuple(known[n].size for n in numbers if np.isfinite(known[n].size.worn_mm))


@dataclass(frozen=True, slots=True, eq=False)
class _Ring:
    """One ring among some fitted together: number ``at`` of ``fitted``, the ``main`` one or beside it."""

    links: int
    fitted: Rings
    at: int
    main: bool

    @property
    def size(self) -> Size:
        """Give what it makes."""
        fitted, i = self.fitted, self.at
        pushed = float(fitted.pushed_mm[i])
        return Size(
            self.links,
            float(fitted.worn_mm[i]),
            float(fitted.printed_mm[i]),
            pushed if np.isfinite(pushed) else None,
            float(fitted.at.gap_mm[i]),
        )

    @property
    def bends(self) -> FloatArray:
        """Give its bends (t,)."""
        return np.asarray(self.fitted.bends[self.at])


def _with_rings(
    even: Even, known: dict[int, _Ring], numbers: Sequence[int], main: int, gap_mm: float
) -> dict[int, _Ring]:
    """Fit those numbers of links not known yet, and ``main`` as `rings` fits its main one.

    Of meshes, and of several types of joint, the others follow from that one, and are fitted anew with it.
    """
    follow = even.measure.solids is not None or even.types > 1
    settled = main in known and known[main].main
    missing = [n for n in dict.fromkeys(numbers) if n not in known or ((n == main or follow) and not settled)]
    if not missing:
        return known
    place = missing.index(main) if main in missing else len(missing) // 2
    repeats = np.array(missing) / len(even.pattern.places)
    before = next((ring for ring in known.values() if ring.main and ring.size.gap_mm > 0), None)
    seen, near = ((), None) if before is None else (before.fitted.at.seen, before.fitted.at.best_mm[before.at])
    fitted = rings(even, repeats, gap_mm=gap_mm, main=place, seen=seen, near=near)
    return {**known, **{n: _Ring(n, fitted, i, main=n == main) for i, n in enumerate(missing)}}


def _ring_fits(one: _Ring) -> tuple[Fit, ...]:
    """Give the fits of a main ring, one for each type of joint."""
    at, i = one.fitted.at, one.at
    gap = float(at.gap_mm[i])
    figures = zip(at.best_mm[i], at.kept_mm.T, at.pushed_mm[i], at.pulled_mm[i], at.tightest, strict=True)
    return tuple(Fit(float(b), gap, float(k[0]), float(k[1]), float(p), float(q), t) for b, k, p, q, t in figures)


def _nearest_ring(even: Even, target_mm: float, gap_mm: float) -> tuple[int, dict[int, _Ring]]:
    """Walk to the number of links whose worn length is nearest; give it, and the rings fitted on the way."""
    stride = ring_stride(even.pattern)
    least = stride * -(-3 // stride)
    per_link = float(_drawn_guess(even) @ even.counts) / len(even.pattern.places)
    guess = (target_mm + 2 * np.pi * depth(even)) / per_link
    if guess > MOST_LINKS:
        raise BadInput(
            f"layout.inner_length_mm: {target_mm:g} needs about {guess:.0f} links; give up to {MOST_LINKS} links, "
            f"about {MOST_LINKS * per_link:.0f} mm"
        )
    links = max(least, stride * round(guess / stride))
    known: dict[int, _Ring] = {}
    tried = set()
    while links not in tried:
        tried.add(links)
        window = [n for n in range(links - BESIDE * stride, links + BESIDE * stride + 1, stride) if n >= least]
        known = _with_rings(even, known, window, links, gap_mm)
        free = [n for n in window if np.isfinite(known[n].size.worn_mm)]
        links = min(free, key=lambda n: (abs(known[n].size.worn_mm - target_mm), n), default=links)
        if links in (window[0], window[-1]) and len(free) > 1:
            # Further on lengths grow about evenly.
            low, high = (known[n].size.worn_mm for n in (free[0], free[-1]))
            more = (target_mm - known[links].size.worn_mm) * (free[-1] - free[0]) / (high - low)
            links = min(max(least, links + stride * round(more / stride)), MOST_LINKS // stride * stride)
    return links, known


def _drawn_guess(even: Even) -> FloatArray:
    """Guess the pitches (t,) of the straight chain with its joints drawn to contact: where it parts, less the wire."""
    pitches = np.zeros((1, even.types))
    wire = float(np.mean([link.wire_mm for link in even.pattern.links]))
    for kind in range(even.types):
        most = cases_of(even, kind, np.zeros_like(pitches), pitches).most_mm[0]
        pitches[0, kind] = max(most - wire, 0.2 * most)
    return np.asarray(pitches[0])
