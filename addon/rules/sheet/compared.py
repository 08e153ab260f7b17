"""The part of the sheet that sets the layouts of the same links beside each other."""

from collections.abc import Sequence

from ..cast.layouts import LayoutFigures
from .blocks import grid, note, section

HEAD = ("Layout", "Footprint, mm", "Height, mm", "Layers", "Flask, mm", "Investment, cm³")


def compared(layouts: Sequence[LayoutFigures]) -> str:
    """Lay out what each layout takes, and why those that cannot be cannot; nothing where none were compared."""
    if not layouts:
        return ""
    refused = "".join(note(f"{one.shape}: {one.refusal}") for one in layouts if one.refusal is not None)
    table = grid(HEAD, [layout_row(one) for one in layouts if one.refusal is None])
    remark = (
        "The same links, each layout with the room its feed metal takes, at the size of the print file. A printer that "
        "cures whole layers takes the time of its layers, however much lies in them; the chain weighs the same in all."
    )
    return section("Layouts", table + note(remark) + refused)


def layout_row(one: LayoutFigures) -> tuple[str, ...]:
    """Say what one layout takes, in the order of ``HEAD``; dashes where it cannot be."""
    if one.size_mm is None or one.flask is None:
        return (one.shape, "-", "-", "-", "-", "-")
    x, y, z = one.size_mm
    flask = one.flask.flask
    leans = f", leaning {one.flask.lean.deg:.0f}°" if one.flask.lean.deg else ""
    size = f"{flask.diameter_mm:g} x {flask.height_mm:g}{leans}" if not one.flask.findings else "none takes it"
    return (one.shape, f"{x:.0f} x {y:.0f}", f"{z:.0f}", f"{one.layers}", size, f"{one.investment_cm3:.0f}")
