"""The gauge: a row of short joints whose gaps go up in steps, printed to learn which gaps a printer keeps open.

At each station a loose link stands in a fixed frame, held by a bar of the frame that passes through it. The link has
the station's gap to upright walls on both sides (a horizontal distance) and once more between the top of the bar and
its own lintel (a vertical distance). All faces are flat; a strip enters an upright gap from above and a level gap from
the front or the back. Everything stands on the plate and prints by itself: spans are short, nothing begins in mid-air.
"""

import math
from collections.abc import Sequence
from itertools import pairwise

from ..base.errors import BadInput
from ..solid.cells import Box, boxes_mesh
from ..solid.mesh import Body
from .engraving import HEIGHT_MM, ROOM_MM, strokes, width_mm

GAPS_MM = (0.15, 0.2, 0.25, 0.3, 0.35, 0.4, 0.45, 0.5, 0.55, 0.6)
LEAST_MM, WIDEST_MM, MOST_STATIONS = 0.05, 1.0, 40

# Sizes of frame and link in mm: our judgement, each metal thickness above the thinnest wall of the bench profile.
WALL_MM = 2.2  # between two stations, at least
LIMB_MM = 1.4  # uprights of a link
BAR_MM = 2.4  # width of the frame's bar, and how deep a link is
BEAM_MM = 1.6  # height of the bar, and of a link's sill and lintel
RAIL_MM = 2.0  # height of the rails on the plate, width of the one behind
POST_MM = 1.6
WALL_HEIGHT_MM = 4.2
RECESS_MM = 0.4  # depth of the figures
# Wider than any gap of the gauge, so that the gap named is the smallest: in front, behind and under the bar, and what a
# link has more than its gap beside the bar.
CLEAR_MM, BESIDE_MM = 1.5, 0.4
# The first layers are exposed for longer and spread (common practice, no published source): near the plate the walls
# stand back, and come out above it in steps of 45 degrees.
FOOT_MM, STEP_MM, STEPS = 0.8, 0.15, 4
# A stroke may be narrower or wider by this where it would end beside an edge of the frame.
SNAP_MM = 0.03


def gauge(gaps_mm: Sequence[float] = GAPS_MM, *, layer_mm: float = 0.05) -> tuple[Body, ...]:
    """Make a gauge that stands on the plate z = 0, its front towards -y, its corner at the origin.

    ``gaps_mm``: one station each, in this order from left to right. ``layer_mm``: the top of the bars lies on a whole
    number of layers, so that a gap that is one as well is not rounded by the printer. The first body is "gauge", the
    frame with the figures engraved before each station; then follow the links, "gap 0.25" and so on. Raises BadInput
    for a gap that cannot be made or engraved, a gap named twice, no gap, and too many.
    """
    labels = _labels(gaps_mm)
    if not (math.isfinite(layer_mm) and 0.0 < layer_mm <= 1.0):
        raise BadInput(f"gauge: a layer of {layer_mm:g} mm does not work; give a number above 0 and up to 1 mm")
    bar_low = BEAM_MM + CLEAR_MM
    bar_top = math.ceil((bar_low + BEAM_MM) / layer_mm - 1e-9) * layer_mm
    shelf = HEIGHT_MM + 2 * ROOM_MM
    front = shelf + POST_MM
    deep = (front + CLEAR_MM, front + CLEAR_MM + BAR_MM)
    back = deep[1] + CLEAR_MM
    end = back + RAIL_MM

    frame: list[Box] = []
    figures: list[Box] = []
    links: list[Body] = []
    walls = [0.0]
    engraved_to = 0.0
    for gap, label in zip(gaps_mm, labels, strict=True):
        half = BAR_MM / 2 + BESIDE_MM + gap + LIMB_MM
        text = width_mm(label)
        # A figure longer than its station makes the walls beside it thicker.
        middle = max(walls[-1] + WALL_MM + gap + half, engraved_to + ROOM_MM + text / 2)
        engraved_to = middle + text / 2
        left, right = middle - half, middle + half
        walls += [left - gap, right + gap]
        bar = (middle - BAR_MM / 2, middle + BAR_MM / 2)
        frame += [
            (bar, (shelf, front), (0.0, bar_top)),
            (bar, (back, end), (0.0, bar_top)),
            (bar, (shelf, end), (bar_low, bar_top)),
        ]
        figures += [(*one, (RAIL_MM - RECESS_MM, RAIL_MM)) for one in strokes(label, middle - text / 2, ROOM_MM)]
        links.append(Body(f"gap {label}", boxes_mesh(_link((left, right), deep, bar_top + gap))))
    walls.append(max(walls[-1] + WALL_MM, engraved_to + ROOM_MM))
    whole = (0.0, walls[-1])
    frame += [(whole, (0.0, front), (0.0, RAIL_MM)), (whole, (back, end), (0.0, RAIL_MM))]
    spans = list(pairwise(walls))[::2]
    for number, span in enumerate(spans):
        frame += _wall(span, (shelf, end), first=number == 0, last=number == len(spans) - 1)
    return (Body("gauge", boxes_mesh(frame, figures, snap_mm=SNAP_MM)), *links)


def _link(across: tuple[float, float], deep: tuple[float, float], lintel_mm: float) -> list[Box]:
    left, right = across
    top = lintel_mm + BEAM_MM
    return [
        (across, deep, (0.0, BEAM_MM)),
        ((left, left + LIMB_MM), deep, (0.0, top)),
        ((right - LIMB_MM, right), deep, (0.0, top)),
        (across, deep, (lintel_mm, top)),
    ]


def _wall(span: tuple[float, float], deep: tuple[float, float], *, first: bool, last: bool) -> list[Box]:
    """Give a wall, its faces towards links standing back near the plate."""
    boxes: list[Box] = []
    low = 0.0
    for step in range(STEPS, -1, -1):
        back = step * STEP_MM
        high = FOOT_MM + (STEPS - step) * STEP_MM if step else WALL_HEIGHT_MM
        boxes.append(((span[0] + (0.0 if first else back), span[1] - (0.0 if last else back)), deep, (low, high)))
        low = high
    return boxes


def label_of(gap_mm: float) -> str:
    """Give a gap as it is engraved: 0.25."""
    return f"{gap_mm:.3f}".rstrip("0").rstrip(".")


def _labels(gaps_mm: Sequence[float]) -> list[str]:
    """Give the figures of the gaps. Raises BadInput for gaps that do not work."""
    if not 1 <= len(gaps_mm) <= MOST_STATIONS:
        raise BadInput(f"gauge: {len(gaps_mm)} gaps do not work; give from 1 to {MOST_STATIONS} of them")
    for gap in gaps_mm:
        if not (math.isfinite(gap) and LEAST_MM <= gap <= WIDEST_MM):
            raise BadInput(f"gauge: a gap of {gap:g} mm does not work; give gaps from {LEAST_MM:g} to {WIDEST_MM:g} mm")
        if abs(gap - round(gap, 3)) > 1e-9:
            raise BadInput(f"gauge: a gap of {gap!r} mm cannot be engraved; give three decimals at most: {gap:.3f}")
    labels = [label_of(gap) for gap in gaps_mm]
    twice = sorted({label for label in labels if labels.count(label) > 1})
    if twice:
        raise BadInput(f"gauge: the gap {twice[0]} mm is named twice; name each once")
    return labels
