"""Marks at the findings in the 3D view: a shape and colour per severity, leader lines to short labels, and a legend.

The colours are those of Okabe and Ito (Color Universal Design, 2008), told apart by colour-blind eyes; each severity
has a shape of its own as well. Everything is drawn in pixels, so marks keep their size at any zoom. Findings at what a
viewport does not show have no mark there.
"""

import logging
from typing import Any

import blf
import bpy
import gpu
import numpy as np
import numpy.typing as npt

from .current import as_printed
from .gap_colours import colours
from .in_view import InView, viewports
from .legend import (
    RIM,
    WHITE,
    Key,
    Palette,
    bears_legend,
    box,
    draw_legend,
    fan,
    free_room,
    lines,
    palette,
    said,
    write,
)
from .print_view import section
from .result_state import shown_severities

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
MOST_LABELS = 10
MOST_ALIKE = 3
MOST_NUMBERS = 100
RADIUS_PX = 6.0


class Overlay:
    """Draws the findings kept on the window manager; holds only arrays made from them."""

    def __init__(self) -> None:
        self._handle: Any = None
        self._serial = -1
        self._places: npt.NDArray[np.float64] = np.zeros((0, 3))
        self._severities: npt.NDArray[np.str_] = np.zeros(0, dtype="U4")
        self._labels: list[str] = []
        self._rows: list[int] = []
        self._numbers: npt.NDArray[np.int64] = np.zeros(0, dtype=np.int64)
        self._counts: dict[str, int] = {}
        self._bodies: list[tuple[str, ...]] = []
        # Which places belong to what the viewport that was drawn last shows.
        self._seen: InView | None = None
        self._bared: npt.NDArray[np.bool_] = np.zeros(0, dtype=np.bool_)

    def start(self) -> None:
        """Begin to draw."""
        self.stop()
        self._handle = bpy.types.SpaceView3D.draw_handler_add(self._draw, (), "WINDOW", "POST_PIXEL")

    def stop(self) -> None:
        """Draw no more."""
        if self._handle is not None:
            bpy.types.SpaceView3D.draw_handler_remove(self._handle, "WINDOW")
            self._handle = None

    def _draw(self) -> None:
        context: Any = bpy.context
        state = context.window_manager.linkwright
        if not state.has_result or not (state.overlay or state.colours or state.section):
            return
        if not context.space_data.overlay.show_overlays:
            return
        try:
            self._show(context, state)
        except Exception:
            # It would print anew at every redraw: say it once and stay off.
            LOG.exception("The marks of the findings could not be drawn and are switched off")
            state.overlay = state.colours = state.section = False

    def _show(self, context: Any, state: Any) -> None:
        seen = viewports.of(state, context)
        if seen is None or not as_printed(state, context.scene):
            return
        if state.serial != self._serial:
            self._read(state)
        keys = self._keys(context, state)
        if not keys:
            return
        region = context.region
        scale = context.preferences.system.ui_scale
        words = palette(context)
        room = free_room(context.area, region)
        gpu.state.blend_set("ALPHA")
        try:
            if state.overlay:
                pixels, inside = self.placed(state, seen, region, context.region_data)
                self._marks(pixels, inside, scale)
                self._write_numbers(pixels, inside, scale, words)
                self._leaders(pixels, inside, state.active, region.height, room.right, scale, words)
            if bears_legend(context.area, region):
                draw_legend(keys, room, scale, words)
        finally:
            gpu.state.blend_set("NONE")

    def _keys(self, context: Any, state: Any) -> list[Key]:
        """Give the lines of the legend: of the marks, of the layer, and of the colours under their title."""
        found: list[Key] = []
        if state.overlay:
            switched_on = shown_severities(state)
            found += [
                Key(f"{severity} ({self._counts[severity]})", *MARKS[severity])
                for severity in ("stop", "warn", "note")
                if self._counts.get(severity) and severity in switched_on
            ]
        if section.stands(state, context.scene):
            found += [Key(text, colour) for text, colour in section.legend()]
        painting = colours.shown(state, context.scene)
        if painting is not None:
            found += [Key(painting.title), *(Key(text, colour) for text, colour in reversed(painting.legend))]
        return found

    def _read(self, state: Any) -> None:
        rows = [(k, row) for k, row in enumerate(state.findings) if row.has_place]
        self._rows = [k for k, _ in rows]
        self._places = np.array([tuple(row.at) for _, row in rows], dtype=np.float64).reshape(-1, 3)
        self._severities = np.array([row.severity for _, row in rows], dtype="U4")
        self._labels = [f"{row.code} {row.number or row.figure}".strip() for _, row in rows]
        self._numbers = np.array([row.number for _, row in rows], dtype=np.int64)
        self._bodies = [tuple(filter(None, row.bodies.removesuffix(" ...").split(", "))) for _, row in rows]
        self._counts = {s: getattr(state, f"{s}_count") for s in MARKS}
        self._seen = None
        self._serial = state.serial

    def placed(
        self, state: Any, seen: InView, region: Any, view: Any
    ) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.bool_]]:
        """Give where the marks stand in a region, (n, 2) pixels, and which of them are drawn there, (n,)."""
        if state.serial != self._serial:
            self._read(state)
        if self._seen is not seen:
            self._bared = np.array(
                [not bodies or any(seen.shows(body) for body in bodies) for bodies in self._bodies], dtype=np.bool_
            )
            self._seen = seen
        pixels, ahead = self._project(state, region, view)
        inside = (
            self._switched_on(state)
            & self._bared
            & ahead
            & (pixels > 0).all(axis=1)
            & (pixels < (region.width, region.height)).all(axis=1)
        )
        return pixels, inside

    def _switched_on(self, state: Any) -> npt.NDArray[np.bool_]:
        return np.isin(self._severities, tuple(shown_severities(state)))

    def _project(self, state: Any, region: Any, view: Any) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.bool_]]:
        matrix = np.array(view.perspective_matrix, dtype=np.float64)
        objects: Any = bpy.data.objects
        subject = objects.get(state.subject) if state.subject else None
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
            here = pixels[inside & (self._severities == severity)]
            if not len(here):
                continue
            shape = np.array(outline)
            for grow, fill in ((1.35, RIM), (1.0, colour)):
                fan(here, shape * RADIUS_PX * scale * grow, fill)

    def _write_numbers(
        self, pixels: npt.NDArray[np.float64], inside: npt.NDArray[np.bool_], scale: float, words: Palette
    ) -> None:
        """Put the numbers of starts in mid-air beside their marks."""
        size = 11.0 * scale
        blf.size(0, size)
        for k in np.flatnonzero(inside & (self._numbers > 0))[:MOST_NUMBERS].tolist():
            text = str(self._numbers[k])
            x, y = pixels[k] + (1.4 * RADIUS_PX * scale, -0.35 * size)
            box(x, y - 0.25 * size, blf.dimensions(0, text)[0] + 0.5 * size, 1.25 * size, words.back)
            write(x + 0.25 * size, y, text, words.text)

    def _leaders(
        self,
        pixels: npt.NDArray[np.float64],
        inside: npt.NDArray[np.bool_],
        active: int,
        top: float,
        right: float,
        scale: float,
        words: Palette,
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
        ways: list[tuple[float, float, float]] = []
        texts = []
        for k in chosen:
            x, own = pixels[k].tolist()
            y = min(own + 2.0 * step, y - step)
            # Before its words a label has the mark of its severity.
            width = blf.dimensions(0, said(self._labels[k]))[0] + 1.4 * size
            left = x + 3.0 * step if x + 3.0 * step + width + size < right else x - 3.0 * step - width
            near = left - 0.3 * size if left > x else left + width + 0.3 * size
            ways += [(x, own, 0.0), (near, y + 0.35 * size, 0.0)]
            texts.append((left, y, width, k))
        lines(ways, RIM, 3.0 * scale)
        lines(ways, WHITE, 1.2 * scale)
        for left, low, width, k in texts:
            box(left - 0.4 * size, low - 0.4 * size, width + 0.8 * size, 1.5 * size, words.back)
            colour, outline = MARKS[str(self._severities[k])]
            for grow, fill in ((1.3, RIM), (1.0, colour)):
                fan(np.array([(left + 0.4 * size, low + 0.36 * size)]), np.array(outline) * 0.38 * size * grow, fill)
            write(left + 1.4 * size, low, said(self._labels[k]), words.text)

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
