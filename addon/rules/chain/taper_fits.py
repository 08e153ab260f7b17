"""The fits of a tapered chain: even chains at five of its sizes give those of all joints between unlike links."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ..base.errors import BadInput, CannotBuild
from ..solid.mesh import FloatArray, IntArray
from .check import check_chain, check_link
from .families import draw
from .fit import Fit, fit, fit_alike
from .link import Link
from .measure import Measure
from .pattern import Pattern
from .spec import ChainSpec
from .taper_sizes import ENDS, at_share, shares
from .too_close import no_pitch
from .uniform import Even, even_of

SAMPLED = (0.0, 0.25, 0.5, 0.75, 1.0)
# Where the pitch of the joint drawn to contact stands in the table of `Sampled`.
PULLED = 5

MeasureOf = Callable[[Sequence[Link]], Measure]


@dataclass(frozen=True, slots=True, eq=False)
class Sampled:
    """Even chains at the five ``SAMPLED`` shares of a taper, each with its pattern and measure, and their fits.

    ``table`` (5, t, 6) for each of the family's joint types: best, gap, low, high, pushed, pulled.
    """

    spec: ChainSpec
    evens: tuple[Even, ...]
    table: FloatArray

    @property
    def base(self) -> Pattern:
        """Give the pattern at the first end."""
        return self.evens[0].pattern

    def fits(self, share: FloatArray, kind: IntArray) -> tuple[Fit, ...]:
        """Give the fits of joints at ``share`` (j,) of the taper, each of its family's type ``kind`` (j,)."""
        figures = np.empty((6, len(share)))
        for of_type in np.unique(kind):
            mine = kind == of_type
            for figure in range(6):
                figures[figure, mine] = np.interp(share[mine], SAMPLED, self.table[:, of_type, figure])
        return tuple(Fit(*one[:6]) for one in figures.T.tolist())


def sample(spec: ChainSpec, face: str, measure_of: MeasureOf) -> Sampled:
    """Fit straight even chains along the taper. Raises BadInput where one of them closes up."""
    subs = [at_share(spec, share) for share in SAMPLED]
    evens: list[Even] = []
    for share, sub in zip(SAMPLED, subs, strict=True):
        try:
            pattern = draw(sub)
            for link in pattern.links:
                check_link(link)
        except (BadInput, CannotBuild) as error:
            if share == 0.0:
                raise
            text = str(error).split(": ", 1)[-1]
            raise _closes_up(spec, face, measure_of, share, text) from error
        evens.append(even_of(pattern, measure_of(pattern.links), face))
    fits = fit_alike(evens, np.zeros((len(evens), evens[0].types)), spec.gap_mm)
    for share, sub, even, found in zip(SAMPLED, subs, evens, fits, strict=True):
        widest = min(one.gap_mm for one in found)
        if widest >= spec.gap_mm:
            continue
        if share == 0.0:
            raise no_pitch(sub, even, found)
        text = f"the widest gap of its links is {max(widest, 0):.2f} mm, not the {spec.gap_mm:g} asked for"
        raise _closes_up(spec, face, measure_of, share, text)
    return Sampled(spec, tuple(evens), np.array([_figures(found) for found in fits]))


def bent_to(sampled: Sampled, radius_mm: float) -> Sampled:
    """Fit the same chains on a ring of a radius. Raises BadInput where one of them keeps no gap there."""
    best = sampled.table[:, :, 0]
    bends = 2 * np.arcsin(np.minimum(best / (2 * radius_mm), 1.0))
    rows = []
    for share, fits in zip(SAMPLED, fit_alike(sampled.evens, bends, sampled.spec.gap_mm, near=best), strict=True):
        if (widest := min(f.gap_mm for f in fits)) < sampled.spec.gap_mm:
            sub = at_share(sampled.spec, share)
            raise BadInput(
                f"layout: on a ring of radius {radius_mm:.1f} mm the links of {sub.link_length_mm:g} x "
                f"{sub.link_width_mm:g} mm, {share:.0%} along the taper, keep {max(widest, 0):.2f} mm at most, not the "
                f"{sampled.spec.gap_mm:g} asked for; ask for a longer ring, or end sizes that differ less"
            )
        rows.append(_figures(fits))
    return replace(sampled, table=np.array(rows))


def _figures(fits: tuple[Fit, ...]) -> list[tuple[float, ...]]:
    return [(f.best_mm, f.gap_mm, f.low_mm, f.high_mm, f.pushed_mm, f.pulled_mm) for f in fits]


def _closes_up(spec: ChainSpec, face: str, measure_of: MeasureOf, share: float, text: str) -> BadInput:
    """Say where along the taper its links close up, and the end sizes nearest to those given that work: tried first."""
    given = [end for end in ENDS.values() if getattr(spec, end) is not None]
    sub = at_share(spec, share)
    works = "leave the end sizes out"
    for less in np.arange(0.95, 0.04, -0.05):
        nearer = at_share(spec, float(less))
        ends: dict[str, Any] = {
            end: _towards(getattr(nearer, key), getattr(spec, key)) for key, end in ENDS.items() if end in given
        }
        if _keeps(replace(spec, **ends), face, measure_of):
            works = f"{' and '.join(f'{end} = {size:g}' for end, size in ends.items())} works"
            break
    return BadInput(
        f"chain.{', chain.'.join(given)}: {share:.0%} of the way along, where the link is {sub.link_length_mm:g} x "
        f"{sub.link_width_mm:g} mm of wire {sub.wire_mm:g}, the taper closes up: {text}; {works}"
    )


def _towards(size: float, first: float) -> float:
    """Round an end size to 0.05 mm, towards the first link's."""
    per_mm = 20
    return float((np.floor if size > first else np.ceil)(size * per_mm - 1e-9 * np.sign(first - size)) / per_mm)


def _keeps(spec: ChainSpec, face: str, measure_of: MeasureOf) -> bool:
    """Tell whether straight even chains along a taper keep the gap."""
    for share in SAMPLED[1:]:
        sub = at_share(spec, share)
        try:
            check_chain(sub)
            pattern = draw(sub)
            for link in pattern.links:
                check_link(link)
        except (BadInput, CannotBuild):
            return False
        even = even_of(pattern, measure_of(pattern.links), face)
        if min(f.gap_mm for f in fit(even, np.zeros(even.types), spec.gap_mm)) < spec.gap_mm:
            return False
    return True


def row_fits(sampled: Sampled, links: int, *, closed: bool) -> tuple[Fit, ...]:
    """Give the fit of every joint of a row, at the middle of the two shares it joins."""
    share = shares(links, closed=closed)
    places = sampled.base.places
    at = np.arange(links)
    leads = np.array([places[k % len(places)].joint is not None for k in range(links)])
    kind = np.array([places[k % len(places)].joint or 0 for k in range(links)])
    middle = (share + np.roll(share, -1)) / 2
    joints = at[leads] if closed else at[leads & (at < links - 1)]
    return sampled.fits(middle[joints], kind[joints])
