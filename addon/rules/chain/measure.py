"""How gaps between links are measured while a chain is fitted: round wires by their centrelines, all else by meshes."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from ..solid.mesh import FloatArray, IntArray, Mesh
from ..solid.posed import Posable, posable, posed_gaps
from .link import Link
from .sweep import meshes_of
from .tubes import Loops, PairGaps, loops_of, tube_gaps, unlike_tube_gaps

# While a slider moves, meshes are measured this coarse.
DRAFT_CHORD_MM = 0.1


@dataclass(frozen=True, slots=True, eq=False)
class Measure:
    """Measures kinds of links against each other. ``solids``: their prepared meshes, None where all are round wire.

    ``exact`` tells whether the meshes are the very ones that are built; a draft's are coarser. ``loops`` their
    centrelines as tables, None of a single kind.
    """

    links: tuple[Link, ...]
    solids: tuple[Posable, ...] | None
    exact: bool
    loops: Loops | None = field(init=False, repr=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "loops", loops_of(self.links) if len(self.links) > 1 else None)

    def gaps(self, a: int, b: int, rotation: FloatArray, shift: FloatArray) -> PairGaps:
        """Measure the gap between kind ``a`` at rest and kind ``b`` at m poses (m, 3, 3), (m, 3) in its frame."""
        if self.solids is None or (self.links[a].plain and self.links[b].plain):
            return self.guide(a, b, rotation, shift)
        gap, towards = posed_gaps(self.solids[a], self.solids[b], rotation, shift)
        return PairGaps(gap, towards)

    def guide(self, a: int, b: int, rotation: FloatArray, shift: FloatArray) -> PairGaps:
        """Estimate the same from centrelines alone, negative where the metal overlaps: to find where to look."""
        return tube_gaps(self.links[a], self.links[b], rotation, shift)

    def pair_gaps(
        self, a: IntArray, b: IntArray, rotation: FloatArray, shift: FloatArray, *, guide: bool = False
    ) -> PairGaps:
        """Measure m pairs of kinds ``a``, ``b`` (m,) each at its own pose, or only estimate them as `guide` does."""
        code = a * len(self.links) + b
        if not len(code) or (code == code[0]).all():
            one = self.guide if guide else self.gaps
            return one(int(a[0]) if len(a) else 0, int(b[0]) if len(b) else 0, rotation, shift)
        if guide or self.solids is None:
            assert self.loops is not None
            return unlike_tube_gaps(self.loops, a, b, rotation, shift)
        gap, towards = np.empty(len(code)), np.empty((len(code), 3))
        for kinds in np.unique(code):
            mine = np.flatnonzero(code == kinds)
            found = self.gaps(*divmod(int(kinds), len(self.links)), rotation[mine], shift[mine])
            gap[mine], towards[mine] = found.gap_mm, found.towards
        return PairGaps(gap, towards)


def drafting(links: Sequence[Link]) -> Measure:
    """Make the quick measure of a draft. Exact where all links are round wire."""
    if all(link.plain for link in links):
        return Measure(tuple(links), None, exact=True)
    meshes = [mesh for mesh, _ in meshes_of(links, DRAFT_CHORD_MM)]
    return Measure(tuple(links), tuple(posable(m) for m in meshes), exact=False)


def measuring(links: Sequence[Link], meshes: Sequence[Mesh]) -> Measure:
    """Make the measure on the meshes that are built."""
    if all(link.plain for link in links):
        return Measure(tuple(links), None, exact=True)
    return Measure(tuple(links), tuple(posable(m) for m in meshes), exact=True)
