"""The same design at another size: all of it in proportion, but the gap, which belongs to the process, held in mm.

So a design has a least width: there its widest gap has shrunk to the one wanted, and below it the joint closes up.
Common practice, no published source: a heavy curb 7 mm wide still prints well in place, and 10 mm is a realistic width
to cast.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from ..base.errors import BadInput
from ..base.progress import Steps, finish, part
from ..solid.mesh import Mesh
from .build import draft_chain
from .check import MOST_MM, check_chain
from .closure import straight_fit
from .families import draw
from .measure import measuring
from .spec import ChainSpec, LayoutSpec
from .sweep import meshes_of

SIZES = (
    "wire_mm",
    "link_length_mm",
    "link_width_mm",
    "wire_width_mm",
    "corner_mm",
    "facet_mm",
    "long_link_mm",
    "stud_mm",
    "end_wire_mm",
    "end_link_length_mm",
    "end_link_width_mm",
)
# Widths are said to a hundredth of a millimetre, and found in a few steps: the widest gap is very nearly even in them.
WIDTH_MM = 0.01
STEPS = 12
EVEN = 1e-6
# So small a gap, as a share of the wire, stands for any at all.
ANY = 1e-3


@dataclass(frozen=True, slots=True)
class LeastWidth:
    """The least width in mm at which a design has its gap, with its wire and link length there.

    ``widest_mm`` is the widest smallest gap of the design at the width it has now.
    """

    width_mm: float
    wire_mm: float
    link_length_mm: float
    widest_mm: float


def resized(spec: ChainSpec, width_mm: float) -> ChainSpec:
    """Give the same design with links ``width_mm`` wide outside: all in proportion, gap and chord tolerance held.

    An own link's mesh is scaled with it. Raises BadInput for a width that is none.
    """
    if not np.isfinite(width_mm) or not 0 < width_mm <= MOST_MM:
        raise BadInput(f"chain.link_width_mm: {width_mm:g} does not work; give a number above 0 and up to {MOST_MM:g}")
    share = width_mm / spec.link_width_mm
    sizes = {key: size * share for key in SIZES if (size := getattr(spec, key)) is not None}
    own = spec.own and Mesh(spec.own.points * share, spec.own.triangles)
    return replace(spec, **{**sizes, "link_width_mm": width_mm}, own=own)


def least_width(spec: ChainSpec, layout: LayoutSpec | None = None) -> LeastWidth:
    """Run `least_width_found` to its end."""
    return finish(least_width_found(spec, layout))


def least_width_found(spec: ChainSpec, layout: LayoutSpec | None = None) -> Steps[LeastWidth]:
    """Find the least width at which the wanted gap is had: on the ring asked for, else on the straight chain.

    Of a tapered chain both ends must have it. Raises BadInput or CannotBuild, as drafting does, where the design has
    no gap at any size.
    """
    check_chain(spec)
    any_gap = replace(spec, gap_mm=ANY * spec.wire_mm)
    ring = layout if layout is not None and layout.shape == "ring" else None
    face = "out" if layout is None else layout.face

    def gap_of(tried: ChainSpec) -> float:
        return _straight_gap(tried, face) if ring is None else draft_chain(tried, ring).smallest_gap_mm

    parts = (any_gap,) if ring is not None else _ends(any_gap)
    found = []
    for number, each in enumerate(parts):
        span = number / len(parts), (number + 1) / len(parts)
        found.append((yield from part(_closing_up(each, spec.gap_mm, gap_of), *span)))
    width = np.ceil(spec.link_width_mm * max(share for share, _ in found) / WIDTH_MM - EVEN) * WIDTH_MM
    at = resized(spec, round(float(width), 2))
    return LeastWidth(at.link_width_mm, at.wire_mm, at.link_length_mm, min(widest for _, widest in found))


def _closing_up(spec: ChainSpec, gap_mm: float, gap_of: Callable[[ChainSpec], float]) -> Steps[tuple[float, float]]:
    """Give the least share of the present size that leaves ``gap_mm``, tried, and the widest gap at present."""
    width = spec.link_width_mm
    widest = gap = gap_of(spec)
    share, before = 1.0, (0.0, 0.0)
    for step in range(STEPS):
        # Nearly always found in half of them.
        yield min(2.0 * step / STEPS, 0.9)
        slope = (gap - before[1]) / (share - before[0])
        before, share = (share, gap), share + (gap_mm - gap) / slope
        if abs(share - before[0]) * width < WIDTH_MM / 10:
            break
        gap = gap_of(resized(spec, width * share))
    steps = int(np.ceil(width * share / WIDTH_MM - EVEN))
    yield 0.9
    while gap_of(resized(spec, steps * WIDTH_MM)) < gap_mm:
        steps += 1
        yield 0.9
    return steps * WIDTH_MM / width, widest


def _straight_gap(spec: ChainSpec, face: str) -> float:
    pattern = draw(spec)
    measure = measuring(pattern.links, [mesh for mesh, _ in meshes_of(pattern.links, spec.chord_mm)])
    return min(fit.gap_mm for fit in straight_fit(spec, pattern, measure, face))


def _ends(spec: ChainSpec) -> tuple[ChainSpec, ...]:
    """Give the first and the last link of a tapered chain as chains of their own."""
    plain = replace(spec, end_wire_mm=None, end_link_length_mm=None, end_link_width_mm=None)
    if not spec.tapered:
        return (plain,)
    last = {key: getattr(spec, f"end_{key}") for key in ("wire_mm", "link_length_mm", "link_width_mm")}
    return plain, replace(plain, **{key: size for key, size in last.items() if size is not None})
