"""The door of the layouts: every choice is checked once, and each message names its key and what works."""

import math

import numpy as np

from ..base.errors import BadInput
from .check import MOST_LINKS
from .spec import CLASPS, SHAPES, LayoutSpec

MOST_MM = 10_000.0
LONGEST_MM = 1e6
FACES = ("out", "flat")
ENDS = ("closed", "open", "cover")
FITS = ("nearest", "ease")
# The shapes that wind a chain up, and the sizes of their turns each of them knows.
WOUND = ("spiral", "coil", "serpentine")
TURNS = {"turn_pitch_mm": WOUND, "turn_radius_mm": WOUND, "row_mm": ("serpentine",)}
EASED = {"ring": ("inner_length_mm",), "straight": ("inner_length_mm", "length_mm")}


def check_layout(layout: LayoutSpec) -> None:
    """Check the choices of a layout. Raises BadInput naming the key and what works."""
    for key, choices in (("shape", SHAPES), ("face", FACES), ("fit", FITS), ("ends", ENDS), ("clasp", CLASPS)):
        value = getattr(layout, key)
        if value not in choices and not (value is None and key in ("ends", "clasp")):
            raise BadInput(f"layout.{key}: {value!r} is not one of its words; choose {', '.join(choices)}")
    if layout.shape != "curve" and layout.points:
        raise BadInput('layout.points: only shape = "curve" follows points; leave them out or choose "curve"')
    _check_ends(layout)
    _check_length(layout)
    if layout.hand_mm is not None:
        _above_zero("layout.hand_mm", layout.hand_mm)
    for key, shapes in TURNS.items():
        value = getattr(layout, key)
        if value is None:
            continue
        if layout.shape not in shapes:
            raise BadInput(
                f"layout.{key}: {_named(layout)} has no such size; leave it out, or choose shape {' or '.join(shapes)}"
            )
        _above_zero(f"layout.{key}", value)
    if layout.fit == "ease" and _asked(layout)[:1] not in [[key] for key in EASED.get(layout.shape, ())]:
        raise BadInput(
            'layout.fit: "ease" meets a length; it works on a ring with inner_length_mm, and straight with '
            "inner_length_mm or length_mm"
        )


def ends_of(layout: LayoutSpec) -> str:
    """Give the ends asked for, or those the shape has of itself: "closed", "open" or "cover"."""
    return layout.ends or ("closed" if goes_round(layout) else "open")


def is_closed(layout: LayoutSpec) -> bool:
    """Tell whether the last link passes through the first."""
    return ends_of(layout) == "closed"


def goes_round(layout: LayoutSpec) -> bool:
    """Tell whether the last link comes to lie beside the first, so that the two can be joined."""
    return layout.shape == "ring" or (layout.shape == "curve" and layout.cyclic)


def _asked(layout: LayoutSpec) -> list[str]:
    return [key for key in ("inner_length_mm", "length_mm", "links") if getattr(layout, key) is not None]


def _check_length(layout: LayoutSpec) -> None:
    asked = _asked(layout)
    if len(asked) > 1:
        raise BadInput(f"layout: {' and '.join(asked)} are both given; give only one of them")
    if not asked:
        if layout.shape != "curve":
            size = "inner_length_mm" if goes_round(layout) else "length_mm"
            raise BadInput(f"layout: give {size} or links, to say how long the chain is")
        return
    if asked == ["links"]:
        if isinstance(layout.links, bool) or not isinstance(layout.links, int):
            raise BadInput(f"layout.links: must be a whole number, is {layout.links!r}")
        least = 3 if goes_round(layout) else 2
        if not least <= layout.links <= MOST_LINKS:
            raise BadInput(f"layout.links: {layout.links} does not work; give from {least} to {MOST_LINKS}")
        return
    if asked == ["length_mm"] and ends_of(layout) != "open":
        raise BadInput("layout.length_mm: a closed chain is measured inside; give inner_length_mm or links instead")
    _above_zero(f"layout.{asked[0]}", getattr(layout, asked[0]), most=LONGEST_MM)


def _check_ends(layout: LayoutSpec) -> None:
    ends = ends_of(layout)
    if ends != "open" and not goes_round(layout):
        raise BadInput(
            f"layout.ends: {ends!r} needs a chain whose ends meet, and those of {_named(layout)} do not; leave it "
            f'out or write "open", or choose shape "ring"'
        )
    for key in ("clasp", "clasp_length_mm"):
        if getattr(layout, key) is not None and ends != "open":
            raise BadInput(
                f'layout.{key}: a chain with ends = "{ends}" has no clasp; leave it out, or write ends = "open"'
            )
    if layout.clasp_length_mm is not None:
        _above_zero("layout.clasp_length_mm", layout.clasp_length_mm)


def _named(layout: LayoutSpec) -> str:
    return "a straight chain" if layout.shape == "straight" else f"a {layout.shape}"


def _above_zero(name: str, value: object, *, most: float = MOST_MM) -> None:
    if isinstance(value, bool) or not isinstance(value, int | float | np.floating | np.integer):
        raise BadInput(f"{name}: must be a number, is {value!r}; give mm above 0")
    if not math.isfinite(value) or not 0 < value <= most:
        raise BadInput(f"{name}: {float(value):g} does not work; give a number above 0 and up to {most:g} mm")
