"""The section of a wire: round, D, rectangle with eased corners, or two round wires grown together."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Section:
    """A wire's section, in mm. ``kind`` round, D, rectangle or double.

    ``thick_mm`` lies in the loop's plane, from its inside to its outside; ``broad_mm`` square to it. A round wire has
    both alike. ``corner_mm`` radius of the eased corners of a D or rectangle. ``flat_mm``: where planes cut the
    whole link top and bottom, their distance from its middle plane; None leaves it whole.
    """

    kind: str
    thick_mm: float
    broad_mm: float
    corner_mm: float = 0.0
    flat_mm: float | None = None

    @property
    def round(self) -> bool:
        """Tell whether the section is a plain circle."""
        return self.kind == "round" and self.flat_mm is None


def round_wire(wire_mm: float) -> Section:
    """Give the section of a round wire."""
    return Section("round", wire_mm, wire_mm)
