"""A chain along a curve, or wound up: how many links, at which pitches, standing where."""

from dataclasses import replace

import numpy as np

from ..base.errors import BadInput, CannotBuild
from ..solid.curves import Spline, spline
from ..solid.mesh import FloatArray
from .chain import Size
from .check import MOST_LINKS
from .closure import open_count, straight_fit, worn_inside
from .fit import Fit
from .going_round import go_round
from .laid import Laid
from .layout_check import WOUND, ends_of, goes_round
from .lengths import depth, hanging, overhangs
from .measure import Measure
from .path import Path, along, chords_open, outward
from .pattern import Pattern
from .placed import RowGaps, row_gaps
from .row import Row, row_of, stood
from .spec import ChainSpec, LayoutSpec
from .too_tight import bent_too_far
from .uniform import even_of
from .winding import wound

CENTRED_MM = 1e-6


def follow(
    spec: ChainSpec,
    layout: LayoutSpec,
    pattern: Pattern,
    measure: Measure,
    clasp_mm: float,
    *,
    fits: tuple[Fit, ...] | None = None,
) -> Laid:
    """Lay links along the curve of a layout, or on the spiral, coil or serpentine it asks for.

    A closed curve takes a whole number of repeats with every pitch inside its interval, the widest smallest gap as
    they stand (or the worn length nearest to one asked for). An open one takes as many links as fit at the best
    pitches, centred, or as many as asked for from its start; a wound one as many as asked for. ``fits`` of the straight
    chain, one for each type of joint, are found where not given. Raises BadInput for a curve or turn that cannot be
    used, CannotBuild where nothing fits.
    """
    fits = straight_fit(spec, pattern, measure, layout.face) if fits is None else fits
    best = np.array([fit.best_mm for fit in fits])
    if layout.shape in WOUND:
        links, sizes = open_count(spec, layout, pattern, measure, fits, clasp_mm)
        assert links is not None
        row = row_of(pattern, links, closed=False, face=layout.face)
        path, gaps = wound(spec, layout, pattern, row, measure, best)
        return _laid(layout, pattern, row, path, fits, best, gaps, sizes, clasp_mm)
    line = _line(layout)
    if goes_round(layout):
        row, walked, share, sizes = go_round(spec, layout, pattern, measure, line, fits, clasp_mm)
        pitches = best * share
    else:
        links, sizes = open_count(spec, layout, pattern, measure, fits, clasp_mm)
        row, walked = _from_start(layout, pattern, line, best, links)
        pitches = best
        if links is None:
            asked = replace(layout, links=len(row.kind))
            sizes = open_count(spec, asked, pattern, measure, fits, clasp_mm)[1]
    path = replace(along(line, walked, layout.face), closed=row.closed)
    gaps = row_gaps(measure, row, *stood(row, path))
    if gaps.near_mm <= 0:
        raise bent_too_far(spec, layout, pattern, measure, row, path, pitches, gaps.near)
    laid = _laid(layout, pattern, row, path, fits, pitches, gaps, sizes, clasp_mm)
    if ends_of(layout) == "open":
        return laid
    # A closed chain is printed inside its curve, whatever that curve's shape: by the metal's depth less all round.
    return replace(laid, printed_mm=line.length_mm - 2 * np.pi * depth(even_of(pattern, measure, layout.face)))


def _line(layout: LayoutSpec) -> Spline:
    """Lay the curve through the points; a closed one is turned to run anticlockwise from its first point."""
    line = spline(layout.points, cyclic=layout.cyclic, where="layout.points")
    if layout.cyclic and not outward(line.at(np.linspace(0, line.length_mm, 720, endpoint=False))):
        turned = (layout.points[0], *layout.points[:0:-1])
        line = spline(turned, cyclic=True, where="layout.points")
    return line


def _laid(
    layout: LayoutSpec,
    pattern: Pattern,
    row: Row,
    path: Path,
    fits: tuple[Fit, ...],
    pitches: FloatArray,
    gaps: RowGaps,
    sizes: tuple[Size, ...],
    clasp_mm: float,
) -> Laid:
    inner = ends_of(layout) != "open" or worn_inside(layout, clasp_mm)
    chosen = next((size for size in sizes if size.links == len(row.kind)), None)
    return Laid(
        pattern=pattern,
        row=row,
        path=path,
        fits=fits,
        pitches_mm=tuple(pitches.tolist()),
        gap_mm=gaps.gap_mm,
        between=gaps.between,
        sizes=sizes,
        worn_mm=None if chosen is None else chosen.worn_mm,
        printed_mm=hanging(pattern, row, pitches) if chosen is None else chosen.printed_mm,
        pushed_mm=None if chosen is None else chosen.pushed_mm,
        inner=inner,
        clasp_mm=clasp_mm,
    )


def _from_start(
    layout: LayoutSpec, pattern: Pattern, line: Spline, best: FloatArray, asked: int | None
) -> tuple[Row, FloatArray]:
    """Lay ``asked`` links from the start of an open curve, or as many as fit, centred."""
    back, ahead = overhangs(pattern)
    half = float(back[pattern.places[0].kind])
    least = hanging(pattern, row_of(pattern, 2, closed=False, face=layout.face), best)
    if line.length_mm < least:
        raise CannotBuild(
            f"layout.points: the curve is {line.length_mm:.1f} mm long, shorter than two links, which take "
            f"{least:.1f} mm end to end; draw it longer or take a smaller link"
        )
    if asked is not None:
        row = row_of(pattern, asked, closed=False, face=layout.face)
        walked = chords_open(line, half, best[row.joint])
        taken = float(walked[-1] + ahead[row.kind[-1]])
        if taken > line.length_mm + CENTRED_MM:
            raise CannotBuild(
                f"layout.points: {asked} links take {taken:.1f} mm of the curve, which is {line.length_mm:.1f} mm "
                f"long; {_fitting(layout, pattern, line, best, half)} links fit on it"
            )
        return row, walked
    row = row_of(pattern, _fitting(layout, pattern, line, best, half), closed=False, face=layout.face)
    last = float(ahead[row.kind[-1]])
    start = half
    for _ in range(20):
        walked = chords_open(line, start, best[row.joint])
        spare = (line.length_mm - last - float(walked[-1]) - (start - half)) / 2
        if abs(spare) < CENTRED_MM:
            break
        start = max(half, start + spare)
    return row, walked


def _fitting(layout: LayoutSpec, pattern: Pattern, line: Spline, best: FloatArray, half: float) -> int:
    """Count the links that fit between the ends of an open curve, from its start."""
    joints = [place.joint for place in pattern.places]
    repeat = sum(float(best[joint]) for joint in joints if joint is not None)
    # A chord is shorter than its arc: no more links can fit than along a straight line of the same length.
    guess = len(joints) * (int(line.length_mm / repeat) + 1)
    if len(joints) * int((line.length_mm - 2 * half) / repeat) >= MOST_LINKS:
        raise BadInput(
            f"layout.points: the curve takes about {guess} links; give a curve for up to {MOST_LINKS}, "
            f"{MOST_LINKS * repeat / len(joints):.0f} mm long"
        )
    row = row_of(pattern, guess, closed=False, face=layout.face)
    walked = chords_open(line, half, best[row.joint])[row.station]
    ends = walked + overhangs(pattern)[1][row.kind]
    over = ends > line.length_mm + CENTRED_MM
    return int(over.argmax()) if over.any() else guess
