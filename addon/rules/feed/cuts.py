"""The cutting list as values."""

from dataclasses import dataclass

from ..inspect.finding import Finding
from .lattice import Place

POST, UPPER_GATE, LIFT, GATE = "post", "upper gate", "upper ring lifted", "gate"
# Nobody grinds a longer stub away.
LONG_STUB_MM = 1.0


@dataclass(frozen=True, slots=True)
class Reach:
    """Whether a tool gets to a gate. ``clearance_mm`` is the free distance it keeps there; with metal in its way, how
    far that is (negative: metal where the tool must go), and ``blocker`` says whose.

    ``toward`` is the direction the tool comes from, of a saw the line of its blade; ``at`` the middle of its cut and
    ``stub_mm`` how much of the gate that leaves on the link. With a gate too short for the tool, ``blocker`` is what
    the gate stands on.
    """  # noqa: D205

    tool: str
    fits: bool
    clearance_mm: float
    blocker: str | None
    toward: Place
    at: Place
    stub_mm: float


@dataclass(frozen=True, slots=True)
class Cut:
    """One step of the cutting list: a cut, or the lifting off of the upper ring, which has no strut and no size.

    ``number`` counts the steps from 1; ``kind`` is POST, UPPER_GATE, LIFT or GATE, ``turn`` the round in which a gate
    is cut (`cut_order`), 0 for all else. ``strut`` numbers the lattice's struts. ``tool`` is the one to use: for a post
    that the wanted one does not reach, another that does. ``at`` is the middle of the cut and
    ``ahead`` the gate's axis there, towards the link. ``diameter_mm`` is the round that holds the section there; of a
    gate its ``area_mm2`` and ``stub_mm`` stay on the link to be ground, of a post nothing. ``clear_mm`` is the gate's
    length between the metal of ring and link. ``there`` says for each tool whether it gets there with all metal in
    place, ``after`` in its turn: posts cut, for the lower gates the upper ring lifted off, for a post that
    nothing reaches while the others stand those others cut.
    """

    number: int
    kind: str
    turn: int
    strut: int | None
    feeds: str | None
    tool: str | None
    at: Place
    ahead: Place
    diameter_mm: float
    area_mm2: float
    stub_mm: float
    clear_mm: float | None
    there: tuple[Reach, ...] = ()
    after: tuple[Reach, ...] = ()

    @property
    def reached_at_once(self) -> bool:
        """Tell whether some tool gets there with all metal in place."""
        return any(r.fits for r in self.there)

    @property
    def reached(self) -> bool:
        """Tell whether the tool to use gets there in its turn."""
        return self.fits(self.tool)

    def fits(self, tool: str | None) -> bool:
        """Tell whether a tool gets there in its turn."""
        return any(r.fits and r.tool == tool for r in self.after)


@dataclass(frozen=True, slots=True)
class CuttingList:
    """All cuts in order. ``tool`` is the one the maker wants, ``tool_words`` says it for people.

    ``stub_area_mm2`` is the area of all stubs to grind, ``returns_mm3`` the feed metal that goes back to the pot: the
    lattice less the stubs and what the tool turns to dust.
    """

    tool: str
    tool_words: str
    cuts: tuple[Cut, ...]
    stub_area_mm2: float
    returns_mm3: float
    findings: tuple[Finding, ...]

    def of(self, kind: str) -> tuple[Cut, ...]:
        """Give the cuts of one kind, in order."""
        return tuple(c for c in self.cuts if c.kind == kind)
