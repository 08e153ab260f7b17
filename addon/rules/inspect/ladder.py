"""The gap ladder: what a gap becomes from the model to the finished piece.

model -> printed -> web (the investment that fills it) -> cast -> finished. Plain functions of plain numbers; the gap
lengths in mm, ``scale``, ``expansion`` and ``shrinkage`` as shares of one.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Ladder:
    """One gap at every stage, mm."""

    model_mm: float
    printed_mm: float
    web_mm: float
    cast_mm: float
    finished_mm: float


def printed_gap_mm(
    gap_mm: float,
    direction: tuple[float, float, float],
    *,
    scale: float = 1.0,
    bleed_mm: float = 0.0,
    over_cure_mm: float = 0.0,
) -> float:
    """Give the gap the printer leaves; it can come out below zero, which prints as one piece.

    ``direction`` along the gap, any length; z is up. Light bleeds sideways into a gap from both its faces
    (``bleed_mm`` each), and cures through the one face that looks down (``over_cure_mm``). An upright gap loses 2 x
    bleed, a level gap, whose direction is vertical, loses the over-cure. Between them, printed metal is the model grown
    by a level disc and a downward stroke, and a face of normal n grows by bleed |n across| + over-cure |n down|.
    """
    x, y, z = direction
    length = (x * x + y * y + z * z) ** 0.5
    across, upward = ((x * x + y * y) ** 0.5 / length, abs(z) / length) if length > 0.0 else (1.0, 1.0)
    return gap_mm * scale - 2.0 * bleed_mm * across - over_cure_mm * upward


def web_mm(printed_mm: float, *, expansion: float = 0.0) -> float:
    """Give the thickness of the investment that fills a printed gap, the mould grown by ``expansion``."""
    return printed_mm * (1.0 + expansion)


def cast_gap_mm(printed_mm: float, *, expansion: float = 0.0, shrinkage: float = 0.0) -> float:
    """Give the gap in the cast metal: each link, free of the other, shrinks with the web by ``shrinkage``."""
    return printed_mm * (1.0 - shrinkage) * (1.0 + expansion)


def ladder(
    gap_mm: float,
    direction: tuple[float, float, float],
    *,
    scale: float = 1.0,
    bleed_mm: float = 0.0,
    over_cure_mm: float = 0.0,
    expansion: float = 0.0,
    shrinkage: float = 0.0,
) -> Ladder:
    """Take a gap down the whole ladder. The arguments are those of `printed_gap_mm`, `web_mm` and `cast_gap_mm`.

    Nothing is taken off in a joint when the piece is finished, no tool reaches there: finished is as cast. (Outer
    faces lose 0.1 to 0.3 mm: common practice, no published source.)
    """
    printed = printed_gap_mm(gap_mm, direction, scale=scale, bleed_mm=bleed_mm, over_cure_mm=over_cure_mm)
    cast = cast_gap_mm(printed, expansion=expansion, shrinkage=shrinkage)
    return Ladder(gap_mm, printed, web_mm(printed, expansion=expansion), cast, cast)
