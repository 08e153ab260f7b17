"""What the maker asks for: one link, and how the links are laid out."""

from dataclasses import dataclass

from ..solid.mesh import Mesh

FAMILIES = ("curb", "trace", "belcher", "figaro", "anchor", "box", "rope", "weave", "mesh")
SHAPES = ("straight", "ring", "spiral", "coil", "serpentine", "curve")
SECTIONS = ("round", "D", "rectangle")
CLASPS = ("ring-bar", "hook-eye", "eyes")


@dataclass(frozen=True, slots=True)
class ChainSpec:
    """One link and the wanted gap. Lengths in mm, finished size. What is None is left to the family's rule.

    ``wire_mm`` thickness of the wire (of a D or rectangle: across the loop, from its inside to its outside);
    ``link_length_mm`` and ``link_width_mm`` outside sizes of one link; ``gap_mm`` wanted smallest gap between any two
    links; ``chord_mm`` how far a facet may lie inside the true surface.

    ``section`` round, D or rectangle (None: the one the family usually has); ``wire_width_mm`` the broad side of a D
    or rectangle, square to the loop; ``corner_mm`` radius of its eased corners. ``strands`` 2: two round wires side by
    side grown together (curb). ``facet_mm`` depth of the flat planes cut off top and bottom of a curb link. ``repeat``
    and ``long_link_mm``: short links to each long one of a figaro, and the long one's outside length. ``stud_mm``
    thickness of an anchor's stud.
    ``turn_deg`` turn from one own link to the next about ``axis``; ``own`` the maker's own link mesh, as read from
    ``own_file``; ``axis`` the direction of the chain in that mesh. ``end_...`` sizes of the last link of a tapered
    chain; the first has the plain ones.
    """

    family: str
    wire_mm: float
    link_length_mm: float
    link_width_mm: float
    gap_mm: float
    chord_mm: float = 0.02
    section: str | None = None
    wire_width_mm: float | None = None
    corner_mm: float | None = None
    strands: int = 1
    facet_mm: float = 0.0
    repeat: int = 3
    long_link_mm: float | None = None
    stud_mm: float | None = None
    turn_deg: float | None = None
    axis: tuple[float, float, float] | None = None
    own: Mesh | None = None
    own_file: str | None = None
    end_wire_mm: float | None = None
    end_link_length_mm: float | None = None
    end_link_width_mm: float | None = None

    @property
    def tapered(self) -> bool:
        """Tell whether the last link is asked to differ from the first."""
        return not (self.end_wire_mm is self.end_link_length_mm is self.end_link_width_mm is None)


@dataclass(frozen=True, slots=True)
class LayoutSpec:
    """How the chain lies. One of ``inner_length_mm``, ``length_mm``, ``links`` is given, except on a curve.

    ``inner_length_mm`` is the worn inside length of a chain closed by itself or by its clasp, whatever the layout;
    ``length_mm`` the worn length between the outer ends of an open one. ``points`` (n, 3) mm: the vertices of a
    followed polyline, for shape "curve"; ``cyclic`` joins its last point to the first. ``face`` "out" carries the chain
    with its width upright, "flat" lays it down. ``ends`` "closed", "open" or "cover" (None: closed on a ring and on a
    cyclic curve, else open). ``hand_mm``: girth of the hand a closed bracelet must pass over.

    ``clasp`` cast in place at open ends: "ring-bar", "hook-eye", or "eyes" for a jump ring closed by hand;
    ``clasp_length_mm`` what a closure adds to the worn length (None: as made; without one: 0). ``turn_pitch_mm``
    distance from one turn or row of a spiral, coil or serpentine to the next; ``turn_radius_mm`` radius of a
    spiral's innermost turn, of a coil, of a serpentine's bends; ``row_mm`` length of a serpentine's straight rows. None
    leaves each to the rules.
    """

    shape: str
    inner_length_mm: float | None = None
    length_mm: float | None = None
    links: int | None = None
    points: tuple[tuple[float, float, float], ...] = ()
    cyclic: bool = False
    face: str = "out"
    ends: str | None = None
    fit: str = "nearest"
    hand_mm: float | None = None
    clasp: str | None = None
    clasp_length_mm: float | None = None
    turn_pitch_mm: float | None = None
    turn_radius_mm: float | None = None
    row_mm: float | None = None
