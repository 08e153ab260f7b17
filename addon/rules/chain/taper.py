"""Tapered chains: every link of its own size, from the first to the last, or to the middle of a ring and back.

The fits of five even chains along the taper give the pitch of every joint between unlike links; then every pair of
neighbours is measured as it stands, and pitches are moved until all of them keep the gap.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ..base.errors import CannotBuild
from .chain import Size
from .check import check_link
from .ends import clasp_length_mm
from .families import draw
from .fit import Fit
from .laid import Laid
from .layout_check import WOUND, ends_of, is_closed
from .link import Link
from .measure import Measure
from .open_ring import open_ring
from .path import ring, ring_radius, straight
from .pattern import Pattern, Place
from .placed import row_gaps
from .ring_inside import inside_mm
from .row import row_of, stood
from .settling import settled
from .spec import ChainSpec, LayoutSpec
from .taper_counts import about_radius_mm, count, counts_inside, sizes_around
from .taper_curves import on_curve
from .taper_fits import MeasureOf, Sampled, bent_to, row_fits, sample
from .taper_sizes import at_share, check_taper, shares
from .winding import wound

# Rounds in which the number of links and the bend of a ring settle on each other.
ROUNDS = 3
# A wire bent by less than this, its curvature times how far its section reaches, does not run into itself.
CLEAR = 0.9


def tapered(spec: ChainSpec, layout: LayoutSpec, measure_of: MeasureOf) -> Laid:
    """Lay out a chain whose links run from the spec's first size to its last.

    ``measure_of`` makes the measure of some links, quick or exact. Raises BadInput for an end size that cannot be used
    or leaves no gap on the way, CannotBuild where the chain as laid does not keep it.
    """
    check_taper(spec)
    sampled = sample(spec, layout.face, measure_of)
    clasp = clasp_length_mm(spec, layout, sampled.base)
    closed = is_closed(layout)
    links = count(sampled, layout, clasp)
    if layout.shape == "ring":
        sampled, links = _bent(sampled, layout, links, clasp)
    sizes = sizes_around(sampled, layout, clasp, links)
    pattern = tapered_pattern(spec, links, closed=closed)
    measure = measure_of(pattern.links)
    for link in tight(pattern.links, measure):
        check_link(link)
    fits = row_fits(sampled, links, closed=closed)
    if layout.shape == "ring" and not closed:
        return _open_ring(spec, layout, pattern, measure, fits, sizes, clasp)
    return _stood(spec, layout, pattern, fits, measure, sizes, clasp)


def tapered_pattern(spec: ChainSpec, links: int, *, closed: bool) -> Pattern:
    """Draw the links of a tapered chain: one repeat of ``links`` places, each of its own size.

    Links of one size share a kind. The joint after each is a type of its own.
    """
    share = shares(links, closed=closed)
    different, kind = np.unique(np.round(share, 9), return_inverse=True)
    drawn = [draw(at_share(spec, float(s))) for s in different]
    base = drawn[0]
    n = len(base.places)
    turn = _turn_deg(base, links, closed=closed)
    joints = links if closed else links - 1
    places, joint = [], 0
    for k in range(links):
        own = drawn[int(kind[k])].places[k % n]
        steps = own.joint is not None
        places.append(
            Place(
                kind=int(kind[k]) * len(base.links) + own.kind,
                roll_deg=own.roll_deg + turn * (k // n),
                y_mm=own.y_mm,
                z_mm=own.z_mm,
                joint=min(joint, joints - 1) if steps else None,
            )
        )
        joint += steps
    used, numbered = np.unique([place.kind for place in places], return_inverse=True)
    made = tuple(drawn[int(k) // len(base.links)].links[int(k) % len(base.links)] for k in used)
    # The joint that the last body of an open chain would have leads nowhere.
    count = joint if closed else max(joint - (places[-1].joint is not None), 1)
    return Pattern(
        links=made,
        places=tuple(
            replace(p, kind=int(k), joint=None if p.joint is None else min(p.joint, count - 1))
            for p, k in zip(places, numbered, strict=True)
        ),
        linked=tuple((k, step) for k in range(links) for at, step in base.linked if at == k % n),
        joints=tuple(f"joint {j + 1}" for j in range(count)),
        symmetric=base.symmetric,
        upright_deg=base.upright_deg,
    )


def tight(links: Sequence[Link], measure: Measure) -> list[Link]:
    """Give the links whose wire may run into itself: bent, somewhere, nearly as tight as its section reaches."""
    if measure.loops is None:
        return list(links)
    first, second = measure.loops.pieces[:, :, 1], 2 * measure.loops.pieces[:, :, 2]
    speed = (first**2).sum(axis=-1)
    squared = np.maximum((second**2).sum(axis=-1) - (first * second).sum(axis=-1) ** 2 / speed, 0.0) / speed**2
    return [
        link
        for link, most in zip(links, np.sqrt(squared.max(axis=1)).tolist(), strict=True)
        if most * np.hypot(link.section.thick_mm, link.section.broad_mm) / 2 > CLEAR
    ]


def _turn_deg(base: Pattern, links: int, *, closed: bool) -> float:
    """Give the turn from one repeat of the family to the next; what is left over on a closed chain is spread."""
    if not closed:
        return base.turn_deg
    whole = 180.0 if base.symmetric else 360.0
    repeats = links / len(base.places)
    return float(whole * np.round(base.turn_deg * repeats / whole) / repeats)


def _bent(sampled: Sampled, layout: LayoutSpec, links: int, clasp_mm: float) -> tuple[Sampled, int]:
    """Fit the sampled chains as a ring bends them, and count its links by that."""
    bent = sampled
    for _ in range(ROUNDS):
        bent = bent_to(sampled, about_radius_mm(sampled, layout, links, clasp_mm))
        before, links = links, count(bent, layout, clasp_mm, near=links)
        if links == before:
            break
    return bent, links


def _open_ring(
    spec: ChainSpec,
    layout: LayoutSpec,
    pattern: Pattern,
    measure: Measure,
    fits: tuple[Fit, ...],
    sizes: tuple[Size, ...],
    clasp_mm: float,
) -> Laid:
    """Lay a tapered ring that is not joined. Under a cover its length is exact, so the sizes are those of that seam."""
    if ends_of(layout) == "cover":
        return _checked(spec, open_ring(spec, layout, pattern, measure, fits, clasp_mm))
    links = len(pattern.places)
    return _checked(spec, open_ring(spec, _counted(layout, links), pattern, measure, fits, clasp_mm, sizes))


def _stood(
    spec: ChainSpec,
    layout: LayoutSpec,
    pattern: Pattern,
    fits: tuple[Fit, ...],
    measure: Measure,
    sizes: tuple[Size, ...],
    clasp_mm: float,
) -> Laid:
    """Stand a row on its layout, moving pitches where that is what it takes to give every pair its gap."""
    links = len(pattern.places)
    row = row_of(pattern, links, closed=is_closed(layout), face=layout.face)
    best = np.array([f.best_mm for f in fits])
    if layout.shape in WOUND:
        chords = best
        path = wound(spec, layout, pattern, row, measure, best)[0]
    elif layout.shape == "curve":
        path, chords = on_curve(spec, layout, pattern, measure, row, fits)
    else:
        lay = straight if layout.shape == "straight" else ring
        chords, path = settled(measure, row, lambda pitches: lay(pitches, layout.face), best, spec.gap_mm)
    gaps = row_gaps(measure, row, *stood(row, path))
    chosen = next(size for size in sizes if size.links == links)
    printed = chosen.printed_mm
    if row.closed:
        printed = inside_mm(measure, row, chords, layout.face)
    laid = Laid(
        pattern=pattern,
        row=row,
        path=path,
        fits=fits,
        pitches_mm=tuple(chords.tolist()),
        gap_mm=gaps.gap_mm,
        between=gaps.between,
        sizes=sizes,
        worn_mm=chosen.worn_mm,
        printed_mm=printed,
        pushed_mm=chosen.pushed_mm,
        inner=counts_inside(layout, clasp_mm),
        radius_mm=ring_radius(chords) if layout.shape == "ring" else None,
        clasp_mm=clasp_mm,
    )
    return _checked(spec, laid)


def _checked(spec: ChainSpec, laid: Laid) -> Laid:
    """Give the chain as laid. Raises CannotBuild where it does not keep the gap, naming the two links nearest."""
    if laid.gap_mm >= spec.gap_mm - 1e-9:
        return laid
    a, b = laid.between
    raise CannotBuild(
        f"chain.gap_mm: link {a + 1} and link {b + 1} of the taper come within {max(laid.gap_mm, 0):.2f} mm, not the "
        f"{spec.gap_mm:g} asked for; let the end sizes differ less, take more links, or a gap_mm up to "
        f"{np.floor(max(laid.gap_mm, 0) * 100) / 100:.2f}"
    )


def _counted(layout: LayoutSpec, links: int) -> LayoutSpec:
    return replace(layout, links=links, inner_length_mm=None, length_mm=None)
