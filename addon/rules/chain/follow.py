"""A chain along a given curve: how many links, at which pitch, standing where."""

from dataclasses import dataclass

import numpy as np

from ..base.errors import BadInput, CannotBuild
from ..solid.curves import Spline, spline
from ..solid.mesh import FloatArray, IntArray
from .check import MOST_LINKS
from .closure import check_even, hanging, links_for_length, ring_stride, straight_fit
from .fit import Fit
from .lengths import rings
from .link import Link
from .path import Path, along, equal_chords_closed, equal_chords_open, outward
from .placed import along_pairs, bent_too_far, smallest_gap, stranger_pairs
from .spec import ChainSpec, LayoutSpec
from .uniform import Lay, lay_of

# Numbers of links tried on so many of the tightest joints first; the whole chain then decides among the best.
TRIALS = 5
SENTINELS = 16
CENTRED_MM = 1e-6


@dataclass(frozen=True, slots=True, eq=False)
class Followed:
    """Links along a curve: ``fit`` is that of the straight chain, ``gap_mm`` the smallest as they stand."""

    path: Path
    pitch_mm: float
    fit: Fit
    gap_mm: float
    between: tuple[int, int]
    curve_mm: float
    nearby: tuple[tuple[int, float], ...]


def follow(spec: ChainSpec, layout: LayoutSpec, link: Link) -> Followed:
    """Lay links along the curve of a layout.

    A closed curve takes a whole number of links at one pitch inside the interval, with the widest smallest gap as
    they stand (or the worn length nearest to one asked for). An open one takes as many as fit at the best pitch,
    centred, or as many as asked for from its start. Raises BadInput for a curve that cannot be used, CannotBuild
    where nothing fits.
    """
    lay = lay_of(link, layout.face)
    even = straight_fit(spec, link, layout.face)
    line = spline(layout.points, cyclic=layout.cyclic, where="layout.points")
    if layout.cyclic and not outward(line.at(np.linspace(0, line.length_mm, 720, endpoint=False))):
        turned = (layout.points[0], *layout.points[:0:-1])
        line = spline(turned, cyclic=True, where="layout.points")
    if layout.cyclic:
        walked, pitch, nearby = _closed(spec, layout, link, lay, line, even)
    else:
        walked, pitch, nearby = _open(layout, link, line, even)
    path = along(line, walked, layout.face)
    gap, between = smallest_gap(link, lay, path, along_pairs(len(walked), closed=path.closed))
    if gap <= 0:
        raise bent_too_far(link, lay, path, pitch, between, spec.gap_mm)
    strangers = stranger_pairs(path.origins, 2 * link.reach_mm + min(gap, spec.gap_mm), closed=path.closed)
    if len(strangers):
        crossing, pair = smallest_gap(link, lay, path, strangers)
        if crossing < gap:
            gap, between = crossing, pair
    return Followed(path, pitch, even, gap, between, line.length_mm, nearby)


def _open(
    layout: LayoutSpec, link: Link, line: Spline, even: Fit
) -> tuple[FloatArray, float, tuple[tuple[int, float], ...]]:
    best = even.best_mm
    least = hanging(link, 2, best)
    if line.length_mm < least:
        raise CannotBuild(
            f"layout.points: the curve is {line.length_mm:.1f} mm long, shorter than two links, which take "
            f"{least:.1f} mm end to end; draw it longer or take a smaller link"
        )
    half = link.length_mm / 2
    asked = layout.links
    nearby: tuple[tuple[int, float], ...] = ()
    if layout.length_mm is not None:
        asked, nearby = links_for_length(layout.length_mm, link, even.pulled_mm)
    if asked is not None:
        walked = equal_chords_open(line, half, asked, best)
        if walked[-1] > line.length_mm - half + CENTRED_MM:
            raise CannotBuild(
                f"layout.points: {asked} links take {walked[-1] + half:.1f} mm of the curve, which is "
                f"{line.length_mm:.1f} mm long; {_fitting(line, half, best)} links fit on it"
            )
        return walked, best, nearby
    links = _fitting(line, half, best)
    start = half
    for _ in range(20):
        walked = equal_chords_open(line, start, links, best)
        spare = (line.length_mm - half - walked[-1] - (start - half)) / 2
        if abs(spare) < CENTRED_MM:
            break
        start = max(half, start + spare)
    return walked, best, nearby


def _fitting(line: Spline, half: float, pitch: float) -> int:
    """Count the links that fit between the ends of an open curve, from its start."""
    guess = int((line.length_mm - 2 * half) / pitch) + 1
    if guess > MOST_LINKS:
        raise BadInput(
            f"layout.points: the curve takes about {guess} links; give a curve for up to {MOST_LINKS}, "
            f"{MOST_LINKS * pitch:.0f} mm long"
        )
    # A chord is shorter than its arc: no more links can fit than along a straight line of the same length.
    walked = equal_chords_open(line, half, guess, pitch)
    return int((walked <= line.length_mm - half + CENTRED_MM).sum())


def _closed(
    spec: ChainSpec, layout: LayoutSpec, link: Link, lay: Lay, line: Spline, even: Fit
) -> tuple[FloatArray, float, tuple[tuple[int, float], ...]]:
    low, high = even.low_mm, even.high_mm
    stride = ring_stride(link)
    if layout.links is not None:
        check_even(layout.links, link)
        walked, pitch = equal_chords_closed(line, layout.links)
        if not low <= pitch <= high:
            scale = line.length_mm / pitch
            raise CannotBuild(
                f"layout.points: {layout.links} links on this curve of {line.length_mm:.1f} mm need a pitch of "
                f"{pitch:.2f} mm, and {spec.gap_mm:g} mm gap needs {low:.2f} to {high:.2f}: make the curve "
                f"{low * scale:.1f} to {high * scale:.1f} mm long, or change the number of links"
            )
        return walked, pitch, ()
    numbers = _whole_numbers(line, low, high, stride)
    if not len(numbers):
        raise _no_whole_number(spec, line, low, high, stride)
    if layout.inner_length_mm is not None:
        worn = rings(link, lay, numbers.astype(float)).worn_mm
        links = int(numbers[np.nanargmin(np.abs(worn - layout.inner_length_mm))])
        nearby = tuple((int(n), float(w)) for n, w in zip(numbers, worn, strict=True) if abs(int(n) - links) == stride)
    else:
        links, nearby = _widest_number(link, lay, line, layout.face, numbers), ()
    return *equal_chords_closed(line, links), nearby


def _whole_numbers(line: Spline, low: float, high: float, stride: int) -> IntArray:
    """Give the numbers of links whose equal chords on a closed curve lie inside the interval of pitches."""
    most = stride * int(line.length_mm / low / stride)
    if most > MOST_LINKS:
        raise BadInput(
            f"layout.points: the curve takes about {most} links; give a curve for up to {MOST_LINKS}, "
            f"{MOST_LINKS * low:.0f} mm long"
        )
    least = max(2 + stride, stride * int(np.ceil(line.length_mm / high / stride)) - stride)
    # A chord is shorter than its arc, so the count from the arc errs by a link or two at either end.
    while least <= most and equal_chords_closed(line, least)[1] > high:
        least += stride
    while most >= least and equal_chords_closed(line, most)[1] < low:
        most -= stride
    return np.arange(least, most + 1, stride)


def _widest_number(link: Link, lay: Lay, line: Spline, face: str, numbers: IntArray) -> int:
    """Find the number of links with the widest smallest gap as they stand, on the joints that bend most."""
    known: dict[int, float] = {}

    def gap(links: int) -> float:
        if links not in known:
            path = along(line, equal_chords_closed(line, links)[0], face)
            known[links] = smallest_gap(link, lay, path, _tightest(path))[0]
        return known[links]

    low, high = 0, len(numbers) - 1
    while True:
        tried = np.unique(np.linspace(low, high, TRIALS).round().astype(int))
        best = int(np.argmax([gap(int(numbers[i])) for i in tried]))
        if len(tried) == high - low + 1:
            return int(numbers[tried[best]])
        low, high = int(tried[max(best - 1, 0)]), int(tried[min(best + 1, len(tried) - 1)])


def _tightest(path: Path) -> IntArray:
    """Give the pairs around the joints of a closed path that turn most."""
    n = len(path.origins)
    after = np.roll(path.rotations, -1, axis=0)
    alike = np.einsum("nij,nij->n", path.rotations, after)
    joints = np.argsort(alike, kind="stable")[:SENTINELS]
    k = np.unique(np.concatenate((joints, joints - 1)) % n)
    pairs: IntArray = np.concatenate((np.stack((joints, joints + 1), axis=1), np.stack((k, k + 2), axis=1)))
    return pairs % n


def _no_whole_number(spec: ChainSpec, line: Spline, low: float, high: float, stride: int) -> CannotBuild:
    """Name the curve lengths next below and above that a whole number of links closes."""
    links = stride * int(line.length_mm / high / stride)
    scale = line.length_mm / max(links, 3) / equal_chords_closed(line, max(links, 3))[1]
    ways = [
        f"{np.floor(n * p * scale * 10) / 10:.1f} mm ({n} links)"
        if n == links
        else f"{np.ceil(n * p * scale * 10) / 10:.1f} mm ({n} links)"
        for n, p in ((links, high), (links + stride, low))
        if n >= 2 + stride
    ]
    return CannotBuild(
        f"layout.points: no whole number of links closes this curve of {line.length_mm:.1f} mm with {spec.gap_mm:g} mm "
        f"gap, which needs a pitch of {low:.2f} to {high:.2f}; make the curve {' or '.join(ways)} long"
    )
