"""A ring that is not joined: its ends stand open, with or without a closure, or under a cover."""

from collections.abc import Callable

import numpy as np

from ..base.errors import BadInput, CannotBuild
from ..solid.mesh import FloatArray
from .chain import Size
from .check import MOST_LINKS
from .closure import straight_fit
from .cover import least_seam_mm
from .ends import clasp_length_mm
from .fit import Fit, fit
from .laid import Laid
from .layout_check import ends_of
from .measure import Measure
from .open_count import open_count, worn_inside
from .path import Path, ring, ring_radius
from .pattern import Pattern
from .placed import RowGaps, row_gaps
from .ring_inside import inside_mm
from .row import Row, row_of, stood
from .seam import seam_mm
from .settling import settled
from .spec import ChainSpec, LayoutSpec
from .uniform import Even, even_of

# Sizes listed on either side of the chosen one.
BESIDE = 3
# A block needs two links to hold and two between them.
LEAST_COVERED = 4
LEAST = 3
EXACT_MM = 1e-9
# Rounds in which bends and pitches settle on each other, and steps in which a seam does.
ROUNDS = 2
SECANTS = 12
# Rings so many times as long are tried where one is too tight.
LARGEST = 6.0


def open_ring(
    spec: ChainSpec,
    layout: LayoutSpec,
    pattern: Pattern,
    measure: Measure,
    fits: tuple[Fit, ...] | None = None,
    clasp_mm: float | None = None,
    sizes: tuple[Size, ...] = (),
) -> Laid:
    """Lay a chain on a ring whose last link does not pass through the first.

    Open ends stand as far apart as both halves of a closure need beside each other. Under a cover the seam is as long
    as makes the worn inside length exactly the one asked for, with as many links as that leaves room for. ``fits``, one
    for each type of joint as the ring bends it, ``clasp_mm``, and the ``sizes`` around a number of links asked for are
    found where not given. Raises CannotBuild where the ring does not keep the gap, BadInput for a length too short.
    """
    clasp = clasp_length_mm(spec, layout, pattern) if clasp_mm is None else clasp_mm
    straight = straight_fit(spec, pattern, measure, layout.face) if fits is None else fits
    covered = ends_of(layout) == "cover"
    counted = layout.links
    if covered:
        counted, sizes = _count(layout, measure, pattern, straight)
    elif not sizes:
        counted, sizes = open_count(spec, layout, pattern, measure, straight, clasp)
    assert counted is not None
    links = counted
    row = row_of(pattern, links, closed=False, face=layout.face)
    if row.stations < LEAST:
        raise BadInput(f"layout: {links} links do not lie on a ring; ask for {LEAST} or more")
    seam = seam_mm(spec, layout, pattern, row)
    if fits is None:
        fits = _bent(spec, layout, pattern, measure, straight, row, seam)
    if covered:
        links, sizes = _count(layout, measure, pattern, fits)
        row = row_of(pattern, links, closed=False, face=layout.face)
        seam = _cover_seam(layout, measure, row, _of(fits, "pulled_mm"))

    def path_of(chords: FloatArray) -> Path:
        on = ring(np.append(chords, seam), layout.face)
        return Path(on.origins, on.rotations, closed=False)

    best = _of(fits, "best_mm")
    chords, path = settled(measure, row, path_of, best[row.joint], spec.gap_mm)
    gaps = row_gaps(measure, row, *stood(row, path))
    if gaps.gap_mm < spec.gap_mm - EXACT_MM:
        raise _too_tight(spec, links, gaps)
    chosen = next((size for size in sizes if size.links == links), None)
    if chosen is None:
        raise CannotBuild(
            f"layout.clasp: {links} links do not reach round their closure; take more links, or choose another clasp"
        )
    return Laid(
        pattern=pattern,
        row=row,
        path=path,
        fits=fits,
        pitches_mm=_by_type(chords, row, best),
        gap_mm=gaps.gap_mm,
        between=gaps.between,
        sizes=sizes,
        worn_mm=chosen.worn_mm,
        printed_mm=inside_mm(measure, row, np.append(chords, seam), layout.face) if covered else chosen.printed_mm,
        pushed_mm=chosen.pushed_mm,
        inner=covered or worn_inside(layout, clasp),
        radius_mm=ring_radius(np.append(chords, seam)),
        clasp_mm=clasp,
    )


def _bent(
    spec: ChainSpec,
    layout: LayoutSpec,
    pattern: Pattern,
    measure: Measure,
    straight: tuple[Fit, ...],
    row: Row,
    seam: float,
) -> tuple[Fit, ...]:
    """Fit every type of joint as a ring of the row and its seam bends it."""
    even, fits = even_of(pattern, measure, layout.face), straight
    for _ in range(ROUNDS):
        best = _of(fits, "best_mm")
        radius = ring_radius(np.append(best[row.joint], seam))
        bends = 2 * np.arcsin(best / (2 * radius))
        fits = fit(even, bends, spec.gap_mm)
        if not min(one.gap_mm for one in fits) >= spec.gap_mm:
            raise _too_bent(spec, even, fits, bends, radius)
    return fits


def _too_bent(spec: ChainSpec, even: Even, fits: tuple[Fit, ...], bends: FloatArray, radius: float) -> CannotBuild:
    """Say that the joints keep no gap on a ring, and on which larger one they do: tried first."""
    held = max(min(one.gap_mm for one in fits), 0.0)
    for larger in np.arange(1.25, LARGEST, 0.25):
        bent = fit(even, bends / larger, spec.gap_mm)
        if min(one.gap_mm for one in bent) >= spec.gap_mm:
            way = f"ask for a ring about {larger:g} times as long"
            break
    else:
        way = "lay the chain straight, or ask for a smaller gap_mm"
    return CannotBuild(
        f"chain.gap_mm: on a ring of radius {radius:.1f} mm the widest gap of this chain is {held:.2f} mm, not the "
        f"{spec.gap_mm:g} asked for; {way}"
    )


def _of(fits: tuple[Fit, ...], figure: str) -> FloatArray:
    return np.array([getattr(one, figure) for one in fits], dtype=np.float64)


def _too_tight(spec: ChainSpec, links: int, gaps: RowGaps) -> CannotBuild:
    a, b = gaps.between
    held = max(gaps.gap_mm, 0.0)
    smaller = f", or a gap_mm up to {np.floor(held * 100) / 100:.2f}" if held >= 0.01 else ""
    return CannotBuild(
        f"chain.gap_mm: on a ring of {links} links with open ends link {a + 1} and link {b + 1} come within "
        f"{held:.2f} mm, not the {spec.gap_mm:g} asked for; take more links{smaller}"
    )


def _by_type(chords: FloatArray, row: Row, best: FloatArray) -> tuple[float, ...]:
    """Give the pitch of each type of joint: the mean of its chords, or its best where the row has none."""
    sums = np.bincount(row.joint, weights=chords, minlength=len(best))
    counts = np.bincount(row.joint, minlength=len(best))
    return tuple(float(v) for v in np.where(counts > 0, sums / np.maximum(counts, 1), best))


def _count(
    layout: LayoutSpec, measure: Measure, pattern: Pattern, fits: tuple[Fit, ...]
) -> tuple[int, tuple[Size, ...]]:
    """Choose the links of a covered ring: as many as leave the cover its least length or more. Lists the sizes too."""
    pulled = _of(fits, "pulled_mm")

    def least(links: int) -> float:
        row = row_of(pattern, links, closed=False, face=layout.face)
        return inside_mm(measure, row, np.append(pulled[row.joint], _least_seam(measure, row)), layout.face)

    if layout.links is not None:
        if layout.links < LEAST_COVERED:
            raise BadInput(f"layout.links: {layout.links} are too few for a cover; give {LEAST_COVERED} or more")
        links = layout.links
    else:
        assert layout.inner_length_mm is not None
        links = _most_within(layout.inner_length_mm, least)
    row = row_of(pattern, links, closed=False, face=layout.face)
    seam = _cover_seam(layout, measure, row, pulled)
    found = []
    for n in range(max(LEAST_COVERED, links - BESIDE), links + BESIDE + 1):
        row = row_of(pattern, n, closed=False, face=layout.face)
        worn, printed, pushed = (
            inside_mm(measure, row, np.append(_of(fits, figure)[row.joint], seam), layout.face)
            for figure in ("pulled_mm", "best_mm", "pushed_mm")
        )
        found.append(Size(n, worn, printed, pushed if np.isfinite(pushed) else None, min(f.gap_mm for f in fits)))
    return links, tuple(found)


def _most_within(asked_mm: float, least: Callable[[int], float]) -> int:
    """Find the most links whose ring, under the shortest cover, wears at no more than a length."""
    low, high = LEAST_COVERED, 2 * LEAST_COVERED
    if least(low) > asked_mm:
        raise BadInput(
            f"layout.inner_length_mm: {asked_mm:g} is too short for a cover, which with {low} links wears at "
            f"{least(low):.1f} mm; give that or more"
        )
    while least(high) <= asked_mm:
        low, high = high, 2 * high
        if high > 2 * MOST_LINKS:
            raise BadInput(f"layout.inner_length_mm: {asked_mm:g} needs more than {MOST_LINKS} links; ask for less")
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if least(middle) <= asked_mm else (low, middle)
    return low


def _cover_seam(layout: LayoutSpec, measure: Measure, row: Row, pulled: FloatArray) -> float:
    """Find the seam that makes the worn inside length exact, the least one where a number of links is asked for.

    The length grows almost evenly with the seam: secant steps.
    """
    seam = _least_seam(measure, row)
    if layout.inner_length_mm is None:
        return seam

    def off(length: float) -> float:
        assert layout.inner_length_mm is not None
        chords = np.append(pulled[row.joint], length)
        return inside_mm(measure, row, chords, layout.face) - layout.inner_length_mm

    before, here = off(seam), off(seam + 1.0)
    step = 1.0
    seam += step
    for _ in range(SECANTS):
        if abs(here) < EXACT_MM or here == before:
            break
        step = -here * step / (here - before)
        seam += step
        before, here = here, off(seam)
    return seam


def _least_seam(measure: Measure, row: Row) -> float:
    first, last = (measure.links[int(row.kind[end])] for end in (0, -1))
    return least_seam_mm(first.length_mm, last.length_mm, max(first.wire_mm, last.wire_mm))
