"""Marks at the findings in the 3D view: a shape and colour per severity, leader lines to short labels, and a legend.

The colours are those of Okabe and Ito (Color Universal Design, 2008), told apart by colour-blind eyes; each severity
has a shape of its own as well. Everything is drawn in pixels, so marks keep their size at any zoom.
"""

import logging
from typing import Any

import blf
import bpy
import gpu
import numpy as np
import numpy.typing as npt
from gpu_extras.batch import batch_for_shader

from .gap_colours import colours
from .print_view import section
from .results import is_current, shown_severities

LOG = logging.getLogger(__name__)

# Severity: colour, and the outline of its mark in units of the mark's radius.
MARKS: dict[str, tuple[tuple[float, float, float, float], tuple[tuple[float, float], ...]]] = {
    "stop": ((0.835, 0.369, 0.0, 1.0), ((-1, -1), (1, -1), (1, 1), (-1, 1))),
    "warn": ((0.941, 0.894, 0.259, 1.0), ((-1.1, -0.8), (1.1, -0.8), (0, 1.2))),
    "note": (
        (0.337, 0.706, 0.914, 1.0),
        tuple((float(np.cos(a)), float(np.sin(a))) for a in np.linspace(0, 2 * np.pi, 13)[:-1]),
    ),
}
_SWATCH = ((-1, -1), (1, -1), (1, 1), (-1, 1))
MOST_LABELS = 10
MOST_ALIKE = 3
MOST_NUMBERS = 100
RADIUS_PX = 6.0
DARK = (0.0, 0.0, 0.0, 0.75)
# Behind words: whole, so that they read on a bright view as on a dark one.
BEHIND = (0.05, 0.05, 0.05, 1.0)
LIGHT = (1.0, 1.0, 1.0, 1.0)


class Overlay:
    """Draws the findings kept on the window manager; holds only arrays made from them."""

    def __init__(self) -> None:
        self._handle: Any = None
        self._serial = -1
        self._places: npt.NDArray[np.float64] = np.zeros((0, 3))
        self._severities: list[str] = []
        self._labels: list[str] = []
        self._rows: list[int] = []
        self._numbers: npt.NDArray[np.int64] = np.zeros(0, dtype=np.int64)
        self._counts: dict[str, int] = {}

    def start(self) -> None:
        """Begin to draw."""
        self._handle = bpy.types.SpaceView3D.draw_handler_add(self._draw, (), "WINDOW", "POST_PIXEL")

    def stop(self) -> None:
        """Draw no more."""
        if self._handle is not None:
            bpy.types.SpaceView3D.draw_handler_remove(self._handle, "WINDOW")
            self._handle = None

    def _draw(self) -> None:
        context: Any = bpy.context
        state = context.window_manager.linkwright
        if not state.has_result or not context.space_data.overlay.show_overlays:
            return
        try:
            self._show(context, state)
        except Exception:
            # It would print anew at every redraw: say it once and stay off.
            LOG.exception("The marks of the findings could not be drawn and are switched off")
            state.overlay = state.colours = state.section = False

    def _show(self, context: Any, state: Any) -> None:
        if state.serial != self._serial:
            self._read(state)
        if not is_current(state, context.scene) or _shown_as_worn(state, context.scene):
            return
        painting = colours.shown(state, context.scene)
        keys: list[Any] = []
        if painting is not None:
            keys += [(painting.title, None), *reversed(painting.legend)]
        if section.stands(state, context.scene):
            keys += section.legend()
        if not state.overlay and not keys:
            return
        region, view = context.region, context.region_data
        scale = context.preferences.system.ui_scale
        pixels, ahead = self._project(state, region, view)
        inside = (
            self._switched_on(state)
            & ahead
            & (pixels > 0).all(axis=1)
            & (pixels < (region.width, region.height)).all(axis=1)
        )
        gpu.state.blend_set("ALPHA")
        try:
            left, right = _free(context.area, region)
            if state.overlay:
                self._marks(pixels, inside, scale)
                self._write_numbers(pixels, inside, scale)
                self._leaders(pixels, inside, state.active, region.height, right, scale)
            self._legend(left, region.height, scale, keys, shown_severities(state) if state.overlay else frozenset())
        finally:
            gpu.state.blend_set("NONE")

    def _read(self, state: Any) -> None:
        rows = [(k, row) for k, row in enumerate(state.findings) if row.has_place]
        self._rows = [k for k, _ in rows]
        self._places = np.array([tuple(row.at) for _, row in rows], dtype=np.float64).reshape(-1, 3)
        self._severities = [row.severity for _, row in rows]
        self._labels = [f"{row.code} {row.number or row.figure}".strip() for _, row in rows]
        self._numbers = np.array([row.number for _, row in rows], dtype=np.int64)
        self._counts = {s: sum(1 for row in state.findings if row.severity == s) for s in MARKS}
        self._serial = state.serial

    def _switched_on(self, state: Any) -> npt.NDArray[np.bool_]:
        shown = shown_severities(state)
        return np.array([severity in shown for severity in self._severities], dtype=np.bool_)

    def _project(self, state: Any, region: Any, view: Any) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.bool_]]:
        matrix = np.array(view.perspective_matrix, dtype=np.float64)
        objects: Any = bpy.data.objects
        subject = objects.get(state.subject)
        if subject is not None:
            matrix = matrix @ np.array(subject.matrix_world, dtype=np.float64)
        clip = self._places @ matrix[:, :3].T + matrix[:, 3]
        ahead = clip[:, 3] > 1e-9
        flat = clip[:, :2] / np.where(ahead, clip[:, 3], 1.0)[:, None]
        return (flat + 1.0) * 0.5 * (region.width, region.height), ahead

    def _marks(self, pixels: npt.NDArray[np.float64], inside: npt.NDArray[np.bool_], scale: float) -> None:
        # Notes first, stops last, so that the worst lies on top.
        for severity in ("note", "warn", "stop"):
            colour, outline = MARKS[severity]
            here = pixels[inside & np.array([s == severity for s in self._severities])]
            if not len(here):
                continue
            shape = np.array(outline)
            for grow, fill in ((1.35, DARK), (1.0, colour)):
                _fan(here, shape * RADIUS_PX * scale * grow, fill)

    def _write_numbers(self, pixels: npt.NDArray[np.float64], inside: npt.NDArray[np.bool_], scale: float) -> None:
        """Put the numbers of starts in mid-air beside their marks."""
        size = 11.0 * scale
        blf.size(0, size)
        for k in np.flatnonzero(inside & (self._numbers > 0))[:MOST_NUMBERS].tolist():
            text = str(self._numbers[k])
            x, y = pixels[k] + (1.4 * RADIUS_PX * scale, -0.35 * size)
            _box(x, y - 0.25 * size, blf.dimensions(0, text)[0] + 0.5 * size, 1.25 * size)
            _text(x + 0.25 * size, y, text, LIGHT)

    def _leaders(
        self,
        pixels: npt.NDArray[np.float64],
        inside: npt.NDArray[np.bool_],
        active: int,
        top: float,
        right: float,
        scale: float,
    ) -> None:
        chosen = self._labelled(np.flatnonzero(inside & (pixels[:, 0] < right)).tolist(), active)
        if not chosen:
            return
        size = 12.0 * scale
        blf.size(0, size)
        step = 1.7 * size
        # Labels stand in the order of their places from top to bottom, each at least a line below the one before.
        chosen.sort(key=lambda k: -pixels[k, 1])
        y = float(top)
        lines, texts = [], []
        for k in chosen:
            x, own = pixels[k]
            y = min(own + 2.0 * step, y - step)
            width = blf.dimensions(0, self._labels[k])[0]
            left = x + 3.0 * step if x + 3.0 * step + width + size < right else x - 3.0 * step - width
            near = left - 0.3 * size if left > x else left + width + 0.3 * size
            lines += [(x, own, 0.0), (near, y + 0.35 * size, 0.0)]
            texts.append((left, y, width, k))
        _lines(lines, DARK, 3.0 * scale)
        _lines(lines, LIGHT, 1.2 * scale)
        for left, low, width, k in texts:
            _box(left - 0.4 * size, low - 0.4 * size, width + 0.8 * size, 1.5 * size)
            _text(left, low, self._labels[k], MARKS[self._severities[k]][0])

    def _labelled(self, seen: list[int], active: int) -> list[int]:
        """Choose which places bear a label: the active one, then the worst, a few of each code."""
        chosen = [k for k in seen if self._rows[k] == active]
        counts: dict[str, int] = {}
        for k in seen:
            code = self._labels[k].split()[0]
            if self._rows[k] != active and counts.get(code, 0) < MOST_ALIKE:
                counts[code] = counts.get(code, 0) + 1
                chosen.append(k)
        return chosen[:MOST_LABELS]

    def _legend(self, left: float, top: float, scale: float, keys: Any, shown: frozenset[str]) -> None:
        size = 12.0 * scale
        blf.size(0, size)
        # Under Blender's own words in that corner.
        x, y = left + 2.0 * size, top - 13.0 * size
        for severity in ("note", "warn", "stop"):
            if not self._counts.get(severity) or severity not in shown:
                continue
            text = f"{severity} ({self._counts[severity]})"
            _box(x - size, y - 0.4 * size, blf.dimensions(0, text)[0] + 3.0 * size, 1.5 * size)
            _fan(np.array([(x, y + 0.35 * size)]), np.array(MARKS[severity][1]) * RADIUS_PX * scale, MARKS[severity][0])
            _text(x + 1.2 * size, y, text, LIGHT)
            y += 1.7 * size
        y = top - 15.0 * size
        for text, colour in keys:
            _box(x - size, y - 0.4 * size, blf.dimensions(0, text)[0] + 3.0 * size, 1.5 * size)
            if colour is not None:
                _fan(np.array([(x, y + 0.35 * size)]), np.array(_SWATCH) * 0.5 * size, colour)
            _text(x + 1.2 * size, y, text, LIGHT)
            y -= 1.7 * size


def _shown_as_worn(state: Any, scene: Any) -> bool:
    """Tell whether the links are away from the places the findings belong to."""
    ob = scene.objects.get(state.subject)
    return ob is not None and bool(ob.linkwright.figures.worn_view)


def _free(area: Any, region: Any) -> tuple[float, float]:
    """Give the left and right edge, in the region's pixels, of what toolbar and sidebar leave free."""
    left, right = 0.0, float(region.width)
    for other in area.regions:
        if other.type == "TOOLS" and other.width > 1:
            left = max(left, float(other.x + other.width - region.x))
        if other.type == "UI" and other.width > 1:
            right = min(right, float(other.x - region.x))
    return left, right


def _fan(centres: npt.NDArray[np.float64], outline: npt.NDArray[np.float64], colour: Any) -> None:
    """Fill the same convex outline (k, 2) around every centre (n, 2)."""
    k = len(outline)
    corners = (centres[:, None] + outline).reshape(-1, 2)
    fan = np.array([(0, j, j + 1) for j in range(1, k - 1)])
    index = (np.arange(len(centres))[:, None, None] * k + fan).reshape(-1, 3)
    shader = gpu.shader.from_builtin("UNIFORM_COLOR")
    batch = batch_for_shader(shader, "TRIS", _positions(corners), indices=np.ascontiguousarray(index, dtype=np.int32))
    shader.bind()
    shader.uniform_float("color", colour)
    batch.draw(shader)


def _lines(points: list[tuple[float, float, float]], colour: Any, width: float) -> None:
    shader = gpu.shader.from_builtin("POLYLINE_UNIFORM_COLOR")
    batch = batch_for_shader(shader, "LINES", _positions(points))
    shader.bind()
    state: Any = gpu.state
    shader.uniform_float("viewportSize", state.viewport_get()[2:])
    shader.uniform_float("lineWidth", width)
    shader.uniform_float("color", colour)
    batch.draw(shader)


def _positions(points: Any) -> dict[str, Any]:
    return {"pos": np.array(points, dtype=np.float32)}


def _box(x: float, y: float, width: float, height: float) -> None:
    _fan(np.zeros((1, 2)), np.array([(x, y), (x + width, y), (x + width, y + height), (x, y + height)]), BEHIND)


def _text(x: float, y: float, text: str, colour: Any) -> None:
    blf.color(0, *colour)
    blf.position(0, x, y, 0)
    blf.draw(0, text)
