"""Links at their places: what every layout hands to `build`."""

from dataclasses import dataclass

from .chain import Size
from .fit import Fit
from .path import Path
from .pattern import Pattern
from .row import Row


@dataclass(frozen=True, slots=True, eq=False)
class Laid:
    """A row of links along a path, by its smooth wires or by coarse meshes. Lengths in mm.

    ``path`` is that of the stations. ``fits`` and ``pitches_mm`` one for each type of joint: the fit, and the pitch the
    chain is laid at. ``gap_mm`` the smallest gap, between the two bodies (numbers in the row) in ``between``. ``sizes``
    what the numbers of links around the chosen one make, itself among them. ``worn_mm``, ``printed_mm``, ``pushed_mm``:
    inside lengths where ``inner``, else between the outer ends; None where unknown. ``radius_mm`` of a ring, through
    its stations; ``clasp_mm`` what a closure adds to the worn length.
    """

    pattern: Pattern
    row: Row
    path: Path
    fits: tuple[Fit, ...]
    pitches_mm: tuple[float, ...]
    gap_mm: float
    between: tuple[int, int]
    sizes: tuple[Size, ...]
    worn_mm: float | None
    printed_mm: float
    pushed_mm: float | None
    inner: bool
    radius_mm: float | None = None
    clasp_mm: float = 0.0
