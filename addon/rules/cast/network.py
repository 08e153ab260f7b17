"""The metal of a job as short elements, and the mould around them: the values that freezing and filling work on.

Lengths in mm, areas in mm2, volumes in mm3. The metal is a graph: elements with a volume and a cooling surface, joined
where they meet. The mould is what each patch of cooling surface looks into: thick mould, or a web that other metal
heats from its other side, and coarse cells through which webs and link insides pass their heat outward.
"""

from dataclasses import dataclass

import numpy as np

from ..solid.mesh import FloatArray, IntArray

LINK, BUTTON, TRUNK = "link", "button", "trunk"


@dataclass(frozen=True, slots=True)
class Owner:
    """What an element belongs to: its name for people, and its ``kind``.

    Kinds: link (a body), the roles of the lattice's solids (gate, ring, upper, post, spoke), hub, trunk and button. Of
    a gate ``feeds`` names the body it enters, ``above`` tells that it comes down from the upper ring.
    """

    name: str
    kind: str
    feeds: str | None = None
    above: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Network:
    """Metal as n elements and m joints between them; what overlaps is counted once.

    ``volume_mm3`` and ``cooling_mm2`` (n,): metal and the surface that touches mould. ``bore_mm`` (n,): diameter of the
    round rod with the element's modulus, 4 times area over perimeter of its section. ``length_mm`` (n,) along the flow.
    ``at`` (n, 3): middles. ``owner`` (n,): number into ``owners``. ``tip`` (n,) bool: the tip or neck of a gate.
    ``joints`` (m, 2): elements that meet; ``section_mm2`` (m,): smallest section between them; ``path_mm`` (m,):
    from middle to middle; ``loss`` (m,): velocity heads lost there besides friction (entries, turns, branches).
    ``spare`` (m,) bool: joints of gates that are not there, kept for asking what more gates would do.
    ``depth_mm`` (n,): how far below the free surface of the metal in the pouring cone, in the flask as it is poured.
    ``root``: the element of the button, where the metal comes in.
    """

    volume_mm3: FloatArray
    cooling_mm2: FloatArray
    bore_mm: FloatArray
    length_mm: FloatArray
    at: FloatArray
    owner: IntArray
    owners: tuple[Owner, ...]
    tip: np.ndarray[tuple[int], np.dtype[np.bool_]]
    joints: IntArray
    section_mm2: FloatArray
    path_mm: FloatArray
    loss: FloatArray
    spare: np.ndarray[tuple[int], np.dtype[np.bool_]]
    depth_mm: FloatArray
    root: int

    def elements_of(self, kind: str) -> IntArray:
        """Give the numbers of the elements whose owner is of a kind."""
        chosen = np.array([o.kind == kind for o in self.owners], dtype=bool)
        return np.flatnonzero(chosen[self.owner])

    def of_owner(self, owner: int) -> IntArray:
        """Give the numbers of the elements of one owner."""
        return np.flatnonzero(self.owner == owner)


@dataclass(frozen=True, slots=True, eq=False)
class Mould:
    """The mould as k patches of cooling surface and c cells.

    Patches: ``element`` (k,), ``area_mm2`` (k,); over an element they sum up to its cooling surface. ``gap_mm`` (k,):
    how far the mould reaches to the next metal straight out of the patch, inf where none lies within ``reach_mm``, two
    penetration depths: there the mould counts as thick. ``facing`` (k,): owner number of that metal, -1 for none.
    ``store_mm3`` (k,): the mould in front of the patch that is its own, up to the middle of the web; 0 where the mould
    is thick. ``passing_mm`` (k,): what the store passes to its ``cell`` (k,), area over distance. ``radius_mm`` (n,):
    the radius of each element's section, for the curved law of thick mould; inf for a plane.

    Cells: ``cell_mm3`` (c,) of mould that no store holds; ``cell_joints`` (j, 2) of neighbours, ``cell_passing_mm``
    (j,), area over distance; ``outward_mm`` (c,) the same to the far mould; ``cell_at`` (c, 3).
    """

    element: IntArray
    area_mm2: FloatArray
    gap_mm: FloatArray
    facing: IntArray
    store_mm3: FloatArray
    passing_mm: FloatArray
    cell: IntArray
    radius_mm: FloatArray
    reach_mm: float
    cell_mm3: FloatArray
    cell_joints: IntArray
    cell_passing_mm: FloatArray
    outward_mm: FloatArray
    cell_at: FloatArray
