"""What is said when no pitch gives the wanted gap: how much there is, and which sizes give it, tried before."""

from collections.abc import Callable, Sequence

import numpy as np

from ..base.errors import CannotBuild
from ..solid.mesh import FloatArray
from .fit import Fit
from .lengths import depth, rings, widest_gap
from .link import Link
from .measure import DRAFT_CHORD_MM, Measure, drafting, measuring
from .pattern import Pattern
from .remedy import remedy
from .spec import ChainSpec, LayoutSpec
from .sweep import meshes_of
from .uniform import BoolArray, Even, even_of

# A ring of so many times the links, or of more links than a bracelet, is another piece, not a remedy.
LARGER, BRACELET = 4, 60
SMALL_RINGS = np.array([3, 4, 5, 6, 7, 8, 10, 12, 14, 16, 20, 24, 32, 48, 64, 128, 256, 512, 1024, 2048])


def no_pitch(spec: ChainSpec, even: Even, found: Sequence[Fit]) -> CannotBuild:
    """Say that no pitch of the straight chain gives the gap, and which sizes do."""
    tight = min(range(len(found)), key=lambda kind: found[kind].gap_mm)
    joint = "this link" if even.types == 1 else f'the joint "{even.pattern.joints[tight]}"'
    if found[tight].gap_mm <= 0:
        held = "the links of this chain collide at every pitch"
    else:
        held = f"the widest gap of {joint} is {_down(found[tight].gap_mm)} mm at pitch {found[tight].best_mm:.2f}"

    def gap_of(other: Even) -> float:
        return float(widest_gap(other, np.full((1, other.types), np.inf))[0])

    return CannotBuild(
        f"chain.gap_mm: no pitch gives {spec.gap_mm:.2f} mm: {held}; "
        f"{remedy(spec, _tried(spec, even, gap_of), *_smaller_gap(spec, found[tight].gap_mm))}"
    )


def ring_too_tight(
    spec: ChainSpec, layout: LayoutSpec, even: Even, links: int, gap_mm: float, stride: int
) -> CannotBuild:
    """Say that this ring leaves no gap, and which larger ring or sizes do."""

    def gap_of(other: Even) -> float:
        number = float(links)
        if layout.inner_length_mm is not None:
            around = layout.inner_length_mm + 2 * np.pi * depth(other)
            # A longer link closes with fewer: the sharper bend of one link less than that is on the safe side.
            first = other.pattern.link
            number = max(around / (first.length_mm - 2 * first.wire_mm) - 1, 3.0)
            number = min(number, links - 1.0) if other.types > 1 or len(other.pattern.linked) > 1 else number
        counts = number / len(other.pattern.places) * other.counts
        spread = np.array([links / len(other.pattern.places)]) if layout.inner_length_mm is None else None
        return float(widest_gap(other, counts[None], spread)[0])

    held = f"the widest gap there is {_down(gap_mm)} mm" if gap_mm > 0 else "they collide at every pitch"
    least, worn = _least_ring(spec, even, links, stride)
    larger: tuple[str, ...] = (
        () if least is None else (f"take {least} links or more (worn inside length {worn:.1f} mm)",)
    )
    larger += _smaller_gap(spec, gap_mm)
    key = "inner_length_mm" if layout.links is None else "links"
    return CannotBuild(
        f"layout.{key}: no pitch gives {spec.gap_mm:.2f} mm on a ring of {links} links: {held}; "
        f"{remedy(spec, _tried(spec, even, gap_of), *larger)}"
    )


def _tried(spec: ChainSpec, even: Even, gap_of: Callable[[Even], float]) -> Callable[[Pattern], float]:
    """Make the trial of another pattern: the gap it is sure to have, laid and measured as this one was."""
    face = "out" if even.over_face else "flat"

    def trial(pattern: Pattern) -> float:
        measure, short = _measure_like(even.measure, spec, pattern.links)
        return gap_of(even_of(pattern, measure, face)) - short

    return trial


def _measure_like(measure: Measure, spec: ChainSpec, links: Sequence[Link]) -> tuple[Measure, float]:
    """Give a measure as fine as another, and by how much its gaps may come out too wide."""
    if measure.exact and measure.solids is not None:
        return measuring(links, [mesh for mesh, _ in meshes_of(links, spec.chord_mm)]), 0.0
    drafted = drafting(links)
    return drafted, 0.0 if drafted.exact else 2 * DRAFT_CHORD_MM


def _smaller_gap(spec: ChainSpec, gap_mm: float) -> tuple[str, ...]:
    """Of the maker's own link no size can be changed here: the gap is what can give."""
    if spec.family != "mesh" or gap_mm < 0.01:
        return ()
    return (f"ask for gap_mm = {_down(gap_mm)} or less",)


def _least_ring(spec: ChainSpec, even: Even, links: int, stride: int) -> tuple[int | None, float]:
    """Find the fewest links whose ring keeps the wanted gap, if any not far from this one does, and its worn length."""
    per = len(even.pattern.places)

    def holds(numbers: FloatArray) -> BoolArray:
        repeats = numbers / per
        return np.asarray(widest_gap(even, repeats[:, None] * even.counts, repeats) >= spec.gap_mm)

    most = max(LARGER * links, BRACELET)
    coarse = np.unique(stride * -(-SMALL_RINGS // stride))
    coarse = coarse[(coarse > links) & (coarse < 2 * most)].astype(np.float64)
    good = holds(coarse)
    if not good.any():
        return None, np.nan
    first = int(good.argmax())
    top, low = coarse[first], coarse[first - 1] if first else float(links)
    while top - low > stride:
        middle = low + stride * round((top - low) / (2 * stride))
        low, top = (low, middle) if holds(np.array([middle]))[0] else (middle, top)
    if top >= most:
        return None, np.nan
    return int(top), float(rings(even, np.array([top / per])).worn_mm[0])


def _down(gap_mm: float) -> str:
    return f"{np.floor(gap_mm * 100) / 100:.2f}"
