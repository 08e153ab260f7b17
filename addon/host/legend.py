"""The legend in the 3D view, and words there in general: where they stand, and in which colours they can be read.

It stands in the lower left corner, which Blender's own words leave free: beside toolbar and sidebar, over the asset
shelf and the panel of the last operation. Backing and words have the theme's colours of tooltips, and where those are
too alike, black or white.
"""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import blf
import gpu
import numpy as np
import numpy.typing as npt
from gpu_extras.batch import batch_for_shader

from .translated import language, told

RGBA = tuple[float, float, float, float]

BLACK: RGBA = (0.0, 0.0, 0.0, 1.0)
WHITE: RGBA = (1.0, 1.0, 1.0, 1.0)
RIM: RGBA = (0.0, 0.0, 0.0, 0.75)
# Contrast of words that anyone can read: Web Content Accessibility Guidelines 2.2 (W3C 2023), 1.4.3.
READABLE = 4.5
TEXT_PX = 12.0
SWATCH = ((-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0))
SIDE = ("TOOLS", "UI", "HUD", "ASSET_SHELF", "ASSET_SHELF_HEADER", "HEADER", "TOOL_HEADER")


@dataclass(frozen=True, slots=True)
class Palette:
    """The colours of words and of what is behind them."""

    back: RGBA
    text: RGBA


@dataclass(frozen=True, slots=True)
class Key:
    """One line of a legend: its words, and the colour and outline (in units of half a swatch) of what it is about."""

    text: str
    colour: RGBA | None = None
    outline: tuple[tuple[float, float], ...] = SWATCH


def palette(context: Any) -> Palette:
    """Give the colours that the theme has for tooltips."""
    widget = context.preferences.themes[0].user_interface.wcol_tooltip
    red, green, blue = widget.text[:3]
    return readable((*widget.inner[:3], 1.0), (red, green, blue, 1.0))


def readable(back: RGBA, text: RGBA) -> Palette:
    """Give a palette whose words stand out: other words where those given do not."""
    if contrast(back, text) < READABLE:
        text = max((BLACK, WHITE), key=lambda one: contrast(back, one))
    return Palette(back, text)


def contrast(one: RGBA, other: RGBA) -> float:
    """Give the contrast ratio of two opaque colours, from 1 to 21 (Web Content Accessibility Guidelines 2.2)."""
    dark, light = sorted((_luminance(one), _luminance(other)))
    return (light + 0.05) / (dark + 0.05)


def _luminance(colour: RGBA) -> float:
    value = np.array(colour[:3], dtype=np.float64)
    linear = np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)
    return float(linear @ (0.2126, 0.7152, 0.0722))


@dataclass(frozen=True, slots=True)
class Room:
    """What is free of a region, in its pixels."""

    left: float
    low: float
    right: float
    top: float


def free_room(area: Any, region: Any) -> Room:
    """Give what toolbar, sidebar, headers, shelves and the panel of the last operation leave free of a region.

    Each takes a strip from the side it stands at; in a quad view it may not reach into this region at all.
    """
    left, low, right, top = 0.0, 0.0, float(region.width), float(region.height)
    for other in area.regions:
        if other.type not in SIDE or other.width <= 1 or other.height <= 1:
            continue
        x0, y0 = other.x - region.x, other.y - region.y
        x1, y1 = x0 + other.width, y0 + other.height
        if x1 <= 0 or y1 <= 0 or x0 >= region.width or y0 >= region.height:
            continue
        if other.type in ("TOOLS", "UI"):
            if x0 + x1 < region.width:
                left = max(left, float(x1))
            else:
                right = min(right, float(x0))
        elif y0 + y1 < region.height:
            low = max(low, float(y1))
        else:
            top = min(top, float(y0))
    return Room(left, low, right, top)


def bears_legend(area: Any, region: Any) -> bool:
    """Tell whether the legend stands in this region: of a quad view only in the lower left one."""
    first = min((one for one in area.regions if one.type == "WINDOW"), key=lambda one: (one.y, one.x))
    return bool(first == region)


def draw_legend(keys: Sequence[Key], room: Room, scale: float, colours: Palette) -> None:
    """Draw lines from top to bottom on one backing; those that find no room above are left out."""
    size = TEXT_PX * scale
    step, edge = 1.6 * size, 0.7 * size
    lines = list(keys)[: max(0, int((room.top - room.low - 2.0 * edge - size) / step))]
    if not lines:
        return
    blf.size(0, size)
    words = [said(key.text) for key in lines]
    width = max(blf.dimensions(0, text)[0] for text in words) + 1.8 * size
    x, low = room.left + size, room.low + size
    box(x, low, width + 2.0 * edge, step * len(lines) + 2.0 * edge - 0.5 * size, colours.back)
    y = low + edge + step * (len(lines) - 1)
    for key, text in zip(lines, words, strict=True):
        if key.colour is not None:
            at = np.array([(x + edge + 0.5 * size, y + 0.36 * size)])
            outline = np.array(key.outline) * 0.5 * size
            fan(at, 1.2 * outline, RIM)
            fan(at, outline, key.colour)
        write(x + edge + (1.5 * size if key.colour is not None else 0.0), y, text, colours.text)
        y -= step


def said(text: str) -> str:
    """Give words in the language of the interface, looked up once."""
    return _said(text, language())


@functools.lru_cache(maxsize=512)
def _said(text: str, _language: str) -> str:
    return told(text)


def fan(centres: npt.NDArray[np.float64], outline: npt.NDArray[np.float64], colour: Any) -> None:
    """Fill the same convex outline (k, 2) around every centre (n, 2)."""
    corners, index = fans(centres, outline)
    shader = gpu.shader.from_builtin("UNIFORM_COLOR")
    batch = batch_for_shader(shader, "TRIS", positions(corners), indices=index)
    shader.bind()
    shader.uniform_float("color", colour)
    batch.draw(shader)


def fans(
    centres: npt.NDArray[np.float64], outline: npt.NDArray[np.float64]
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.int32]]:
    """Give the corners (n k, 2) and triangles of the same convex outline (k, 2) around every centre (n, 2)."""
    k = len(outline)
    corners = (centres[:, None] + outline).reshape(-1, 2)
    one = np.array([(0, j, j + 1) for j in range(1, k - 1)])
    index = (np.arange(len(centres))[:, None, None] * k + one).reshape(-1, 3)
    return corners, np.ascontiguousarray(index, dtype=np.int32)


def lines(points: list[tuple[float, float, float]], colour: Any, width: float) -> None:
    """Draw lines between every two points."""
    shader = gpu.shader.from_builtin("POLYLINE_UNIFORM_COLOR")
    batch = batch_for_shader(shader, "LINES", positions(points))
    shader.bind()
    state: Any = gpu.state
    shader.uniform_float("viewportSize", state.viewport_get()[2:])
    shader.uniform_float("lineWidth", width)
    shader.uniform_float("color", colour)
    batch.draw(shader)


def positions(points: Any) -> dict[str, Any]:
    """Give points as batches take them."""
    return {"pos": np.array(points, dtype=np.float32)}


def box(x: float, y: float, width: float, height: float, colour: Any) -> None:
    """Fill a rectangle."""
    fan(np.zeros((1, 2)), np.array([(x, y), (x + width, y), (x + width, y + height), (x, y + height)]), colour)


def write(x: float, y: float, text: str, colour: Any) -> None:
    """Write words in the size that was set last."""
    blf.color(0, *colour)
    blf.position(0, x, y, 0)
    blf.draw(0, text)
