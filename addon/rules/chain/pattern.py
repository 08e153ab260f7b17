"""The pattern of a chain: which links follow one another, how each is turned, and which pass through which."""

from dataclasses import dataclass

from .link import Link


@dataclass(frozen=True, slots=True)
class Place:
    """One body of a repeat. ``kind`` numbers its link; ``roll_deg`` turns it about the chain's axis.

    ``y_mm``, ``z_mm`` move it aside from the axis, in the frame of its station before the roll. ``joint`` is the type
    of the joint from its station to the next one; None where the next body stands at the same station.
    """

    kind: int = 0
    roll_deg: float = 0.0
    y_mm: float = 0.0
    z_mm: float = 0.0
    joint: int | None = 0


@dataclass(frozen=True, slots=True, eq=False)
class Pattern:
    """The repeat of a chain: ``places`` in order, made of ``links``; each repeat is turned by ``turn_deg`` more.

    ``linked``: pairs (place in the repeat, bodies further on) that pass through each other. ``joints`` names the joint
    types, in the order in which their pitches are found: an earlier type must not depend on a later one.
    ``symmetric``: a half turn about the chain's axis carries every link into itself. ``upright_deg``: the roll of
    the whole chain when its face looks outward, such that no link lies flat.
    """

    links: tuple[Link, ...]
    places: tuple[Place, ...] = (Place(),)
    turn_deg: float = 0.0
    linked: tuple[tuple[int, int], ...] = ((0, 1),)
    joints: tuple[str, ...] = ("link to link",)
    symmetric: bool = True
    upright_deg: float = 0.0

    @property
    def link(self) -> Link:
        """Give the first link, which stands for the chain where one is enough."""
        return self.links[0]


def alike(link: Link, *, turn_deg: float = 0.0, symmetric: bool = True) -> Pattern:
    """Make the pattern of one link again and again, each turned by ``turn_deg`` against the one before."""
    upright = -turn_deg / 2 if turn_deg % 180 == 90 else 0.0
    return Pattern((link,), turn_deg=turn_deg, symmetric=symmetric, upright_deg=upright)
