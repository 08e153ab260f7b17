"""Open chains: how many links hang, or close with a clasp, at the length asked for."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..base.errors import BadInput
from ..solid.mesh import FloatArray
from .chain import Size
from .check import MOST_LINKS
from .fit import Fit, reach
from .layout_check import goes_round
from .lengths import bent, depth, hanging, innermost, overhangs, ring_radius_of
from .measure import Measure
from .pattern import Pattern
from .repeats import BESIDE, check_repeats
from .row import row_of
from .spec import ChainSpec, LayoutSpec
from .uniform import Even, cases_of, even_of, phases_of

# Rounds in which a ring and the pitches of contact on it settle on each other.
ROUNDS = 2


def open_count(
    _spec: ChainSpec,
    layout: LayoutSpec,
    pattern: Pattern,
    measure: Measure,
    fits: tuple[Fit, ...],
    clasp_mm: float,
    *,
    links: int | None = None,
) -> tuple[int | None, tuple[Size, ...]]:
    """Choose the links of an open chain by the length it wears at, and list the sizes around.

    Between its outer ends, hanging straight, or inside, closed by a clasp that adds ``clasp_mm`` (see `worn_inside`).
    ``fits`` of the straight chain; ``links`` says how many whatever was asked. None and no sizes where the layout asks
    for nothing: the curve decides. Raises BadInput for a length or number too small, or over the most.
    """
    links = layout.links if links is None else links
    if links is layout.length_mm is layout.inner_length_mm is None:
        return None, ()
    lengths = _Lengths(pattern, even_of(pattern, measure, layout.face), layout, fits, clasp_mm)
    if links is None:
        return lengths.nearest()
    check_repeats(links, pattern, closed=False)
    sizes = lengths.sizes(lengths.around(links))
    if links not in [size.links for size in sizes]:
        fewest = lengths.fewest(links)
        raise BadInput(f"layout.links: {links} links are too few to close round with this clasp; give {fewest} or more")
    return links, sizes


def worn_inside(layout: LayoutSpec, clasp_mm: float) -> bool:
    """Tell whether an open chain's lengths are taken inside, closed round the wearer, or between its outer ends.

    ``clasp_mm`` what a closure adds, which may be less than nothing; 0 without one.
    """
    if layout.length_mm is not None:
        return False
    return layout.inner_length_mm is not None or clasp_mm != 0 or goes_round(layout)


@dataclass(frozen=True, slots=True, eq=False)
class _Lengths:
    """Lengths of open chains of a pattern, whatever their number of links."""

    pattern: Pattern
    even: Even
    layout: LayoutSpec
    fits: tuple[Fit, ...]
    clasp_mm: float

    @property
    def least(self) -> int:
        """Give the fewest links there can be."""
        return max(2, len(self.pattern.places))

    def sizes(self, numbers: Sequence[int]) -> tuple[Size, ...]:
        """Give what numbers of links make; those that do not close round are left out."""
        gap = min(one.gap_mm for one in self.fits)
        figures = self._inside(numbers) if worn_inside(self.layout, self.clasp_mm) else self._hanging(numbers)
        return tuple(
            Size(n, float(w), float(p), float(q) if np.isfinite(q) else None, gap)
            for n, w, p, q in zip(numbers, *figures, strict=True)
            if np.isfinite(w) and w > 0
        )

    def fewest(self, links: int) -> int:
        """Give the fewest links, from a number on, that close round."""
        while links < MOST_LINKS and not self.sizes([links]):
            links += 1
        return links

    def around(self, links: int) -> list[int]:
        """Give the numbers of links listed beside one."""
        return [n for n in range(links - BESIDE, links + BESIDE + 1) if self.least <= n <= MOST_LINKS]

    def nearest(self) -> tuple[int, tuple[Size, ...]]:
        """Give the number of links that wears nearest to the length asked for, and the sizes around.

        Raises BadInput where none does.
        """
        inside = worn_inside(self.layout, self.clasp_mm)
        key = "inner_length_mm" if inside else "length_mm"
        asked = self.layout.inner_length_mm if inside else self.layout.length_mm
        assert asked is not None
        per_link = float(self._pitches("pulled_mm") @ self.even.counts) / len(self.pattern.places)
        longest = float(self._hanging([MOST_LINKS])[0][0])
        if asked > longest:
            needed = MOST_LINKS + round((asked - longest) / per_link)
            raise BadInput(
                f"layout.{key}: {asked:g} needs {needed} links; give up to {MOST_LINKS} links, {longest:.0f} mm"
            )
        around = asked + 2 * np.pi * depth(self.even) if inside else asked
        links = max(self.least, MOST_LINKS + round((around - longest) / per_link))
        tried = set()
        while links not in tried:
            tried.add(links)
            found = self.sizes(self.around(links))
            if found:
                best = min(found, key=lambda size: (abs(size.worn_mm - asked), size.links))
            links = best.links if found else links + 2 * BESIDE
        first = found[0]
        if best is first and asked < first.worn_mm - per_link / 2:
            word = "two" if first.links == 2 else f"{first.links}"
            worn = f"measure {first.worn_mm:.1f} mm inside" if inside else f"hang {first.worn_mm:.1f} mm long"
            raise BadInput(
                f"layout.{key}: {asked:g} is shorter than {word} links; {word} of these {worn}, give that or more"
            )
        return best.links, found

    def _pitches(self, key: str) -> FloatArray:
        return np.array([getattr(one, key) for one in self.fits])

    def _hanging(self, numbers: Sequence[int]) -> tuple[FloatArray, ...]:
        """Give worn, printed and pushed lengths (k,) between the outer ends."""
        rows = [row_of(self.pattern, n, closed=False, face=self.layout.face) for n in numbers]
        each = [self._pitches(key) for key in ("pulled_mm", "best_mm", "pushed_mm")]
        return tuple(np.array([hanging(self.pattern, row, p) + self.clasp_mm for row in rows]) for p in each)

    def _inside(self, numbers: Sequence[int]) -> tuple[FloatArray, ...]:
        """Give worn, printed and pushed inside lengths (k,) of rings closed by the clasp."""
        whole = row_of(self.pattern, max(numbers), closed=False, face=self.layout.face)
        last = np.array(numbers) - 1
        joint = np.arange(self.even.types) == whole.joint[:, None]
        counts = np.concatenate((np.zeros((1, self.even.types)), np.cumsum(joint, axis=0)))[whole.station[last]]
        counts = np.concatenate((counts, np.ones((len(counts), 1))), axis=1)
        back, ahead = overhangs(self.pattern)
        seam = back[whole.kind[0]] + ahead[whole.kind[last]] + self.clasp_mm
        phases = phases_of(self.even, np.full((1, self.even.types), 1e-3), None)[0]

        def inside(pitches: FloatArray) -> FloatArray:
            chords = np.concatenate((pitches, seam[:, None]), axis=1)
            return np.asarray(2 * np.pi * innermost(self.even, ring_radius_of(counts, chords), phases))

        best = np.tile(self._pitches("best_mm"), (len(counts), 1))
        worn, pushed = (inside(pitches) for pitches in self._at_contact(counts, seam, best))
        return worn, inside(best), pushed

    def _at_contact(self, counts: FloatArray, seam: FloatArray, best: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Give the pitches (k, t) of joints drawn and pushed to contact, bent as they are on their rings."""

        def bends(pitches: FloatArray) -> FloatArray:
            chords = np.concatenate((pitches, seam[:, None]), axis=1)
            share = chords / (2 * ring_radius_of(counts, chords)[:, None])
            return np.asarray(2 * np.arcsin(np.minimum(share, 1.0)))[:, :-1]

        drawn = [np.tile(self._pitches(key), (len(best), 1)) for key in ("pulled_mm", "pushed_mm")]
        if self.even.measure.solids is not None:
            at = bent(self.even, bends(drawn[0]), main=len(best) // 2)
            return at.pulled_mm, at.pushed_mm
        for pitches, toward in zip(drawn, (1.0, -1.0), strict=True):
            for _ in range(ROUNDS):
                known = np.isfinite(pitches).all(axis=1)
                at_bends = bends(np.where(known[:, None], pitches, best))
                for kind in range(self.even.types):
                    cases = cases_of(self.even, kind, at_bends, best)
                    pitches[:, kind] = reach(cases, best[:, kind], np.full(len(best), toward), np.zeros(len(best)))
        return drawn[0], drawn[1]
