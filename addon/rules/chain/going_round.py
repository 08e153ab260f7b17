"""A chain round a closed curve: the whole number of links that closes it, by one share of all the best pitches."""

from dataclasses import dataclass, replace

import numpy as np

from ..base.errors import BadInput, CannotBuild
from ..solid.curves import Spline
from ..solid.mesh import FloatArray, IntArray
from .chain import Size
from .check import MOST_LINKS
from .closure import BESIDE, check_repeats, open_count, ring_sizes, ring_stride
from .fit import Fit
from .layout_check import ends_of, is_closed
from .lengths import overhangs
from .measure import Measure
from .path import along, chords_closed
from .pattern import Pattern
from .placed import least_gap, near_in_row, near_stations
from .row import Row, row_of, stood
from .seam import seam_mm
from .spec import ChainSpec, LayoutSpec

# Numbers of links tried on so many of the tightest joints first; the whole chain then decides among the best.
TRIALS = 5
SENTINELS = 16


@dataclass(frozen=True, slots=True, eq=False)
class _Course:
    """A pattern to go round a curve: its best pitches (t,), and the least and most share of them that keep the gap.

    ``seams``: distances of the end links over a seam, mm, found so far, by the kind of the last link.
    """

    spec: ChainSpec
    layout: LayoutSpec
    pattern: Pattern
    measure: Measure
    line: Spline
    best: FloatArray
    low: float
    high: float
    seams: dict[int, float]

    def laid(self, links: int) -> tuple[Row, FloatArray, float]:
        """Give the row of a number of links, the lengths walked to its stations, and the share that closes it."""
        row = row_of(self.pattern, links, closed=is_closed(self.layout), face=self.layout.face)
        return row, *chords_closed(self.line, *self._chords(row))

    def share(self, links: int) -> float:
        """Give the share of the best pitches at which a number of links closes the curve."""
        return self.laid(links)[2]

    def seam_mm(self, row: Row) -> float:
        """Give the distance of the end links of a row left open, in mm."""
        last = int(row.kind[-1])
        if last not in self.seams:
            self.seams[last] = seam_mm(self.spec, self.layout, self.pattern, row)
        return self.seams[last]

    def length_for(self, links: int, share: float) -> float:
        """Give the length in mm of this curve, made larger or smaller, that a number of links closes at a share."""
        row, _, now = self.laid(links)
        shares, fixed = (float(part.sum()) for part in self._chords(row))
        return self.line.length_mm * (share * shares + fixed) / (now * shares + fixed)

    def words(self, low: float, high: float) -> str:
        """Name the pitches of all types of joint at a share, or between two."""
        types = [
            f"{best * low:.2f}" + ("" if low == high else f" to {best * high:.2f}")
            for best in (self.best if len(self.best) <= 3 else (self.best.min(), self.best.max()))
        ]
        return " and ".join(types) + " mm"

    def _chords(self, row: Row) -> tuple[FloatArray, FloatArray]:
        """Give what of each chord (s,) grows with the share, and what does not: the seam of a row left open."""
        shares, fixed = self.best[row.joint], np.zeros(row.stations)
        if not row.closed:
            # Over the seam the distance is given, however long the other joints are.
            shares, fixed[-1] = np.append(shares, 0.0), self.seam_mm(row)
        return shares, fixed


def go_round(
    spec: ChainSpec,
    layout: LayoutSpec,
    pattern: Pattern,
    measure: Measure,
    line: Spline,
    fits: tuple[Fit, ...],
    clasp_mm: float,
) -> tuple[Row, FloatArray, float, tuple[Size, ...]]:
    """Choose the links of a chain that goes once round a closed curve, whether it is joined there or not.

    As many as asked for, else those whose worn length is nearest to the one asked for, else those with the widest
    smallest gap. Gives the row, the lengths (s,) walked to its stations, the share of the best pitches it is laid at,
    and the sizes around it. Raises CannotBuild where no whole number of repeats fits, naming curves that would.
    """
    best = np.array([fit.best_mm for fit in fits])
    low = max(fit.low_mm / fit.best_mm for fit in fits)
    high = min(fit.high_mm / fit.best_mm for fit in fits)
    on = _Course(spec, layout, pattern, measure, line, best, low, high, {})
    closed = is_closed(layout)
    stride = ring_stride(pattern) if closed else 1
    asked = layout.links
    if asked is not None:
        check_repeats(asked, pattern, closed=closed)
    elif not closed:
        asked = open_count(spec, layout, pattern, measure, fits, clasp_mm)[0]
    if asked is not None:
        links = asked
        _check_fits(on, links)
    else:
        numbers = _whole_numbers(on, stride)
        if not len(numbers):
            raise _no_whole_number(on, stride)
        links = _widest_number(on, numbers)
        if closed and layout.inner_length_mm is not None:
            made = ring_sizes(pattern, measure, layout.face, numbers.tolist())
            aim = layout.inner_length_mm
            links = min(made, key=lambda size: abs(size.worn_mm - aim)).links if made else links
    row, walked, share = on.laid(links)
    if closed:
        around = [links + stride * k for k in range(-BESIDE, BESIDE + 1)]
        least = _fewest(stride)
        sizes = ring_sizes(pattern, measure, layout.face, [n for n in around if least <= n <= MOST_LINKS])
    else:
        sizes = _open_sizes(on, row, fits, clasp_mm)
    return row, walked, share, sizes


def _open_sizes(on: _Course, row: Row, fits: tuple[Fit, ...], clasp_mm: float) -> tuple[Size, ...]:
    """List the sizes around a row left open, or under a cover, which adds what it is longer than the end links."""
    if ends_of(on.layout) == "cover":
        back, ahead = overhangs(on.pattern)
        halves = float(back[row.kind[0]] + ahead[row.kind[-1]])
        clasp_mm = on.seam_mm(row) - halves
    same = replace(on.layout, links=len(row.kind), inner_length_mm=None, length_mm=None)
    return open_count(on.spec, same, on.pattern, on.measure, fits, clasp_mm)[1]


def _check_fits(on: _Course, links: int) -> None:
    """Raise CannotBuild for a number of links that closes the curve at no pitch inside its interval."""
    share = on.share(links)
    if on.low <= share <= on.high:
        return
    short, long = (on.length_for(links, bound) for bound in (on.low, on.high))
    raise CannotBuild(
        f"layout.points: {links} links on this curve of {on.line.length_mm:.1f} mm need a pitch of "
        f"{on.words(share, share)}, and {on.spec.gap_mm:g} mm gap needs {on.words(on.low, on.high)}: make the curve "
        f"{short:.1f} to {long:.1f} mm long, or change the number of links"
    )


def _whole_numbers(on: _Course, stride: int) -> IntArray:
    """Give the numbers of links whose pitches on a closed curve lie inside their intervals."""
    most = _about(on, on.low, stride) + stride
    if most - stride > MOST_LINKS:
        raise BadInput(
            f"layout.points: the curve takes about {most} links; give a curve for up to {MOST_LINKS}, "
            f"{MOST_LINKS * on.line.length_mm / most:.0f} mm long"
        )
    least = max(_fewest(stride), _about(on, on.high, stride) - 2 * stride)
    # A chord is shorter than its arc, so the count from the arc errs by a link or two at either end.
    while least <= most and on.share(least) > on.high:
        least += stride
    while most >= least and on.share(most) < on.low:
        most -= stride
    return np.arange(least, most + 1, stride)


def _about(on: _Course, share: float, stride: int) -> int:
    """Count the links that the length of the curve takes at a share of the best pitches, in whole strides."""
    joints = [place.joint for place in on.pattern.places if place.joint is not None]
    pitch = float(on.best[joints].sum()) / len(on.pattern.places)
    return stride * int(on.line.length_mm / (share * pitch) / stride)


def _fewest(stride: int) -> int:
    return stride * -(-3 // stride)


def _widest_number(on: _Course, numbers: IntArray) -> int:
    """Find the number of links with the widest smallest gap as they stand, on the joints that bend most."""
    known: dict[int, float] = {}

    def gap(links: int) -> float:
        if links not in known:
            row, walked, _ = on.laid(links)
            path = along(on.line, walked, on.layout.face)
            known[links] = least_gap(on.measure, row.kind, *stood(row, path), _tightest(row, path.rotations))[0]
        return known[links]

    low, high = 0, len(numbers) - 1
    while True:
        tried = np.unique(np.linspace(low, high, TRIALS).round().astype(int))
        best = int(np.argmax([gap(int(numbers[i])) for i in tried]))
        if len(tried) == high - low + 1:
            return int(numbers[tried[best]])
        low, high = int(tried[max(best - 1, 0)]), int(tried[min(best + 1, len(tried) - 1)])


def _tightest(row: Row, rotations: FloatArray) -> IntArray:
    """Give the pairs across the joints of a row that turn most."""
    after = np.roll(rotations, -1, axis=0)
    alike = np.einsum("nij,nij->n", rotations, after)[: len(row.joint)]
    joints = np.argsort(alike, kind="stable")[:SENTINELS]
    before = joints[:, None] - np.arange(near_stations(row))
    before = before % row.stations if row.closed else np.maximum(before, 0)
    return near_in_row(row, np.flatnonzero(np.isin(row.station, before)))


def _no_whole_number(on: _Course, stride: int) -> CannotBuild:
    """Name the curve lengths next below and above that a whole number of links closes."""
    length = on.line.length_mm
    ways: list[str] = []
    links = max(_fewest(stride), _about(on, on.high, stride) - 2 * stride)
    while on.share(links) > on.high:
        links += stride
    for number, bound, rounded in ((links - stride, on.high, np.floor), (links, on.low, np.ceil)):
        if number >= _fewest(stride):
            ways.append(f"{rounded(on.length_for(number, bound) * 10) / 10:.1f} mm ({number} links)")
    return CannotBuild(
        f"layout.points: no whole number of links closes this curve of {length:.1f} mm with {on.spec.gap_mm:g} mm gap, "
        f"which needs a pitch of {on.words(on.low, on.high)}; make the curve {' or '.join(ways)} long"
    )
