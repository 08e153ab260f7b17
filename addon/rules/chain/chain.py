"""A laid-out chain: what the rules made of what the maker asked for."""

from dataclasses import dataclass

from ..solid.mesh import Body
from .path import Path
from .pattern import Pattern
from .row import Row
from .spec import ChainSpec, LayoutSpec


@dataclass(frozen=True, slots=True)
class JointFit:
    """One type of joint: its name, the pitch it is laid out at, and the pitches that keep the wanted gap. mm.

    ``pulled_mm`` and ``pushed_mm``: the pitches at which metal first meets metal (NaN where it never does).
    """

    name: str
    pitch_mm: float
    interval_mm: tuple[float, float]
    best_mm: float
    pulled_mm: float
    pushed_mm: float


@dataclass(frozen=True, slots=True)
class Size:
    """A number of links and what it makes: worn, printed and pushed-together length, and the widest smallest gap. mm.

    Inside lengths for a chain closed round the wearer, else between the outer ends. ``pushed_mm`` None where unknown.
    """

    links: int
    worn_mm: float
    printed_mm: float
    pushed_mm: float | None
    gap_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class Chain:
    """A chain laid out for print. Lengths in mm.

    ``spec`` is what was built; it differs from what was asked only in the link length when that was eased from
    ``eased_from_mm``. ``bodies`` are "link 1", "link 2", ... in order along the chain, links of a kind sharing one
    mesh, then those of a closure; ``joints`` index them in pairs that are linked. ``path`` is the place of each body
    (closures included) before its own roll; ``row`` and ``pattern`` tell how the links follow one another.

    ``fits`` one for each type of joint. ``smallest_gap_mm`` lies between the links named in ``smallest_gap_between``:
    of the meshes themselves once ``verified``, until then of the smooth wires or of coarser meshes.

    Printed, worn (every joint drawn to contact) and pushed-together lengths: ``..._inner_...`` on the inside of a
    chain worn round (closed by itself or by its closure), the others between the outer ends of an open one hanging
    straight; None where they do not apply. ``slack_mm`` is worn less printed. ``asked_mm`` the length asked for, if one
    was; ``sizes`` what the numbers of links around the chosen one make, itself among them. ``radius_mm`` of a ring,
    through the centres. ``clasp_mm`` what the closure adds to the worn length. ``bends_deg`` the largest bend of any
    joint as laid out: over the face, and edgewise. ``covered``: how many links are fused with a cover, as built.
    """

    spec: ChainSpec
    layout: LayoutSpec
    pattern: Pattern
    row: Row
    bodies: tuple[Body, ...]
    joints: tuple[tuple[int, int], ...]
    path: Path
    closed: bool
    fits: tuple[JointFit, ...]
    smallest_gap_mm: float
    smallest_gap_between: tuple[str, str]
    verified: bool
    worn_inner_length_mm: float | None
    printed_inner_length_mm: float | None
    pushed_inner_length_mm: float | None
    worn_length_mm: float | None
    printed_length_mm: float | None
    pushed_length_mm: float | None
    slack_mm: float | None
    asked_mm: float | None
    sizes: tuple[Size, ...]
    radius_mm: float | None
    eased_from_mm: float | None
    clasp_mm: float = 0.0
    bends_deg: tuple[float, float] = (0.0, 0.0)
    covered: int = 0

    @property
    def links(self) -> int:
        """Give the number of links that are bodies of their own, a closure's not counted."""
        return len(self.row.kind)

    @property
    def count(self) -> int:
        """Give the number of links the maker counts, those fused with a cover among them."""
        return self.links + self.covered

    @property
    def pitch_mm(self) -> float:
        """Give the pitch of the first type of joint."""
        return self.fits[0].pitch_mm

    @property
    def pitch_interval_mm(self) -> tuple[float, float]:
        """Give the pitches of the first type of joint that keep the wanted gap."""
        return self.fits[0].interval_mm

    @property
    def worn_mm(self) -> float | None:
        """Give the length the chain wears at, inside or between its ends."""
        return self.worn_length_mm if self.worn_inner_length_mm is None else self.worn_inner_length_mm
