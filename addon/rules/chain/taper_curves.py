"""A tapered row on the maker's own curve: closed, round it with a seam, or from its start."""

from dataclasses import replace

import numpy as np

from ..base.errors import CannotBuild
from ..solid.curves import Spline, spline
from ..solid.mesh import FloatArray
from .fit import Fit
from .layout_check import goes_round, is_closed
from .measure import Measure
from .path import Path, along, chords_closed, chords_open, outward
from .pattern import Pattern
from .row import Row
from .seam import seam_mm
from .settling import settled
from .spec import ChainSpec, LayoutSpec

CENTRED_MM = 1e-6
ROUNDS = 20


def on_curve(
    spec: ChainSpec, layout: LayoutSpec, pattern: Pattern, measure: Measure, row: Row, fits: tuple[Fit, ...]
) -> tuple[Path, FloatArray]:
    """Stand a row on the curve of a layout. Gives its path and the chords (j,) between stations.

    Round a closed curve the chords are in proportion to the best pitches, the seam of a row that is not joined as it
    must be; on an open one they are the best ones, moved where a bend asks for it, from the start of the curve where a
    number of links or a length is asked for, else in its middle. Raises CannotBuild where the links do not fit.
    """
    best = np.array([one.best_mm for one in fits])
    line = spline(layout.points, cyclic=layout.cyclic, where="layout.points")
    if layout.cyclic and not outward(line.at(np.linspace(0, line.length_mm, 720, endpoint=False))):
        line = spline((layout.points[0], *layout.points[:0:-1]), cyclic=True, where="layout.points")
    if goes_round(layout):
        return _round(spec, layout, pattern, line, row, fits)
    half = pattern.links[int(row.kind[0])].length_mm / 2
    last = pattern.links[int(row.kind[-1])].length_mm / 2
    asked = layout.links is not None or layout.length_mm is not None or layout.inner_length_mm is not None
    start = half
    for _ in range(1 if asked else ROUNDS):
        walked = chords_open(line, start, best)
        spare = (line.length_mm - last - float(walked[-1]) - (start - half)) / 2
        if asked or abs(spare) < CENTRED_MM:
            break
        start = max(half, start + spare)
    chords, path = settled(
        measure, row, lambda pitches: along(line, chords_open(line, start, pitches), layout.face), best, spec.gap_mm
    )
    taken = float(chords_open(line, start, chords)[-1]) + last
    if taken > line.length_mm + spec.gap_mm:
        raise CannotBuild(
            f"layout.points: {len(row.kind)} links of the taper take {taken:.1f} mm of the curve, which is "
            f"{line.length_mm:.1f} mm long; draw it longer, or ask for fewer links"
        )
    return path, chords


def _round(
    spec: ChainSpec, layout: LayoutSpec, pattern: Pattern, line: Spline, row: Row, fits: tuple[Fit, ...]
) -> tuple[Path, FloatArray]:
    """Stand a row round a closed curve. Raises CannotBuild where that leaves the pitches' intervals."""
    pitches = np.array([one.best_mm for one in fits])
    shares, fixed = pitches, np.zeros(len(pitches))
    if not is_closed(layout):
        shares, fixed = np.append(pitches, 0.0), np.append(fixed, seam_mm(spec, layout, pattern, row))
    walked, scale = chords_closed(line, shares, fixed)
    chords = pitches * scale
    low, high = (np.array([getattr(one, key) for one in fits]) for key in ("low_mm", "high_mm"))
    if not ((chords >= low) & (chords <= high)).all():
        whole, rest = line.length_mm - fixed.sum(), fixed.sum()
        least, most = (low / pitches).max() / scale * whole + rest, (high / pitches).min() / scale * whole + rest
        raise CannotBuild(
            f"layout.points: {len(row.kind)} links do not go round this curve of {line.length_mm:.1f} mm; make it "
            f"{least:.1f} to {most:.1f} mm long"
        )
    return replace(along(line, walked, layout.face), closed=row.closed), chords
