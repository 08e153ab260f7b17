"""What the maker asks for: one link, and how the links are laid out."""

from dataclasses import dataclass

FAMILIES = ("curb", "trace", "belcher", "figaro", "anchor", "box", "mesh")
SHAPES = ("straight", "ring", "spiral", "coil", "serpentine", "curve")


@dataclass(frozen=True, slots=True)
class ChainSpec:
    """One link and the wanted gap. Lengths in mm, finished size.

    ``wire_mm`` diameter of the round wire; ``link_length_mm`` and ``link_width_mm`` outside sizes of one link;
    ``gap_mm`` wanted smallest gap between any two links; ``chord_mm`` how far a facet may lie inside the true surface.
    """

    family: str
    wire_mm: float
    link_length_mm: float
    link_width_mm: float
    gap_mm: float
    chord_mm: float = 0.02


@dataclass(frozen=True, slots=True)
class LayoutSpec:
    """How the chain lies. Exactly one of ``inner_length_mm``, ``length_mm``, ``links`` is given, except on a curve.

    ``inner_length_mm`` is the worn inside length of a closed chain, ``length_mm`` the length between the outer ends of
    an open one. ``points`` (n, 3) mm: the vertices of a followed polyline, for shape "curve"; ``cyclic`` joins its
    last point to the first. ``face`` "out" carries the chain with its width upright, "flat" lays it down.
    ``ends`` "closed" or "open" (None: closed on a ring and on a cyclic curve). ``hand_mm``: girth of the hand a closed
    bracelet must pass over.
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
    clasp_length_mm: float | None = None
