"""How gaps between links are measured while a chain is fitted: round wires by their centrelines, all else by meshes."""

from collections.abc import Sequence
from dataclasses import dataclass

from ..solid.mesh import FloatArray, Mesh
from ..solid.posed import Posable, posable, posed_gaps
from .link import Link
from .sweep import meshes_of
from .tubes import PairGaps, tube_gaps

# While a slider moves, meshes are measured this coarse.
DRAFT_CHORD_MM = 0.1


@dataclass(frozen=True, slots=True, eq=False)
class Measure:
    """Measures kinds of links against each other. ``solids``: their prepared meshes, None where all are round wire.

    ``exact`` tells whether the meshes are the very ones that are built; a draft's are coarser.
    """

    links: tuple[Link, ...]
    solids: tuple[Posable, ...] | None
    exact: bool

    def gaps(self, a: int, b: int, rotation: FloatArray, shift: FloatArray) -> PairGaps:
        """Measure the gap between kind ``a`` at rest and kind ``b`` at m poses (m, 3, 3), (m, 3) in its frame."""
        if self.solids is None or (self.links[a].plain and self.links[b].plain):
            return self.guide(a, b, rotation, shift)
        gap, towards = posed_gaps(self.solids[a], self.solids[b], rotation, shift)
        return PairGaps(gap, towards)

    def guide(self, a: int, b: int, rotation: FloatArray, shift: FloatArray) -> PairGaps:
        """Estimate the same from centrelines alone, negative where the metal overlaps: to find where to look."""
        return tube_gaps(self.links[a], self.links[b], rotation, shift)


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
