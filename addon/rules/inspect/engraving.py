"""Figures to engrave: digits of seven strokes and a point, as rectangles to be carved out of a flat face."""

from ..base.errors import BadInput

# Sizes in mm, all our judgement. What stands between two strokes is wider than the thinnest wall of the bench profile.
STROKE_MM = 0.4
ROOM_MM = 0.9
HEIGHT_MM = 3 * STROKE_MM + 2 * ROOM_MM
DIGIT_MM = 2 * STROKE_MM + ROOM_MM

Rectangle = tuple[tuple[float, float], tuple[float, float]]

# Columns and rows (from the bottom up) of a figure of three by five; strokes and the room between take turns.
_ACROSS = (0.0, STROKE_MM, STROKE_MM + ROOM_MM, DIGIT_MM)
_UP = (0.0, STROKE_MM, STROKE_MM + ROOM_MM, 2 * STROKE_MM + ROOM_MM, 2 * (STROKE_MM + ROOM_MM), HEIGHT_MM)
# Each stroke as columns and rows, ends included, so that strokes that meet share their corner.
_STROKES = {
    "top": ((0, 3), (4, 5)),
    "upper left": ((0, 1), (2, 5)),
    "upper right": ((2, 3), (2, 5)),
    "middle": ((0, 3), (2, 3)),
    "lower left": ((0, 1), (0, 3)),
    "lower right": ((2, 3), (0, 3)),
    "bottom": ((0, 3), (0, 1)),
}
_LEFT, _RIGHT = ("upper left", "lower left"), ("upper right", "lower right")
_DIGITS = {
    "0": ("top", "bottom", *_LEFT, *_RIGHT),
    "1": _RIGHT,
    "2": ("top", "upper right", "middle", "lower left", "bottom"),
    "3": ("top", "middle", "bottom", *_RIGHT),
    "4": ("upper left", "middle", *_RIGHT),
    "5": ("top", "upper left", "middle", "lower right", "bottom"),
    "6": ("top", "middle", "lower right", "bottom", *_LEFT),
    "7": ("top", *_RIGHT),
    "8": ("top", "middle", "bottom", *_LEFT, *_RIGHT),
    "9": ("top", "upper left", "middle", "bottom", *_RIGHT),
}


def width_mm(text: str) -> float:
    """Give how long a figure is. Raises BadInput for anything but digits and points."""
    wrong = sorted(set(text) - set(_DIGITS) - {"."})
    if wrong or not text:
        raise BadInput(f"engraving: {text!r} cannot be engraved; give digits 0 to 9 and a point")
    return sum(STROKE_MM if c == "." else DIGIT_MM for c in text) + ROOM_MM * (len(text) - 1)


def strokes(text: str, left_mm: float, low_mm: float) -> tuple[Rectangle, ...]:
    """Give the strokes of a figure that is read with y up: rectangles ((x low, high), (y low, high)) mm.

    ``left_mm``, ``low_mm``: the figure's left and lower end. Raises BadInput as `width_mm`.
    """
    width_mm(text)
    found: list[Rectangle] = []
    for c in text:
        if c == ".":
            found.append(((left_mm, left_mm + STROKE_MM), (low_mm, low_mm + STROKE_MM)))
        else:
            for (first, last), (bottom, top) in (_STROKES[name] for name in _DIGITS[c]):
                across = (left_mm + _ACROSS[first], left_mm + _ACROSS[last])
                found.append((across, (low_mm + _UP[bottom], low_mm + _UP[top])))
        left_mm += (STROKE_MM if c == "." else DIGIT_MM) + ROOM_MM
    return tuple(found)
