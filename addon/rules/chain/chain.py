"""A laid-out chain: what the rules made of what the maker asked for."""

from dataclasses import dataclass

from ..solid.mesh import Body
from .path import Path
from .spec import ChainSpec, LayoutSpec


@dataclass(frozen=True, slots=True, eq=False)
class Chain:
    """A chain laid out for print. Lengths in mm.

    ``spec`` is what was built; it differs from what was asked only in the link length when that was eased from
    ``eased_from_mm``. ``bodies`` are "link 1", "link 2", ... in order along the chain, sharing one mesh; ``joints``
    index them in pairs that are linked. ``path`` is the place of each link before its family's own roll.

    ``pitch_interval_mm`` keeps the wanted gap and ``best_pitch_mm`` has the widest, both as laid out (on a ring:
    that ring; else straight). ``smallest_gap_mm`` lies between the links named in ``smallest_gap_between``:
    of the meshes themselves once ``verified``, until then of the smooth wires, which is never more.

    Printed, worn (every joint drawn to contact) and pushed-together lengths: ``..._inner_...`` on the inside of a
    closed chain worn round, the others between the outer ends of an open one hanging straight; None where they do not
    apply. ``slack_mm`` is worn less printed. ``asked_mm`` the length asked for, if one was; ``nearby`` the numbers of
    links that close next below and above with the lengths they wear at. ``radius_mm`` of a ring, through the centres.
    """

    spec: ChainSpec
    layout: LayoutSpec
    bodies: tuple[Body, ...]
    joints: tuple[tuple[int, int], ...]
    path: Path
    closed: bool
    pitch_mm: float
    pitch_interval_mm: tuple[float, float]
    best_pitch_mm: float
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
    nearby: tuple[tuple[int, float], ...]
    radius_mm: float | None
    eased_from_mm: float | None

    @property
    def links(self) -> int:
        """Give the number of links."""
        return len(self.bodies)

    @property
    def worn_mm(self) -> float | None:
        """Give the length the chain wears at, inside or between its ends."""
        return self.worn_inner_length_mm if self.closed else self.worn_length_mm
