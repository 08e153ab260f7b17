"""What a print check shows in the 3D view: the light on the bodies, and the outline of one layer in its place.

The colours are those of the gaps (`gap_colours`). Arrays are made when a result comes or the layer is chosen; drawing
works nothing out.
"""

from __future__ import annotations

import logging
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import bpy
import gpu
import numpy as np
import numpy.typing as npt
from gpu_extras.batch import batch_for_shader

from ..rules.base.progress import Steps, part
from ..rules.inspect.layers import Layers
from ..rules.inspect.print_check import PrintCheck
from ..rules.inspect.regions import overlapping_by_points
from ..rules.solid.mesh import Body, FloatArray
from ..rules.solid.point_normals import point_normals
from ..rules.solid.section import box_pairs
from .current import as_printed
from .gap_colours import NARROW, OFF_MM, UNDER_FLOOR, WIDE, Legend, Painting, shaded
from .in_view import viewports

LOG = logging.getLogger(__name__)

BoolArray = npt.NDArray[np.bool_]

DARK = (0.0, 0.0, 0.0, 0.75)
OUTLINE = (0.337, 0.706, 0.914, 1.0)
FLOATS = UNDER_FLOOR
WIDTH_PX = 2.0


@dataclass(frozen=True, slots=True)
class LightSteps:
    """The light reach under which a face counts as blind, a share; from there to all of the light colours fade away."""

    blind_share: float

    def legend(self) -> Legend:
        """Give the lines of the legend, the darkest last."""
        return (
            ("100 %", WIDE),
            (f"from {100.0 * self.blind_share:.3g} %", NARROW),
            (f"under {100.0 * self.blind_share:.3g} %: blind", UNDER_FLOOR),
        )

    def colours(self, share: FloatArray) -> npt.NDArray[np.float32]:
        """Give the colour (t, 4) of every light reach (t,)."""
        lit = np.clip((share - self.blind_share) / max(1.0 - self.blind_share, 1e-9), 0.0, 1.0)[:, None]
        colour = np.array(NARROW) + lit * (np.array(WIDE) - np.array(NARROW))
        colour[share < self.blind_share] = UNDER_FLOOR
        colour[:, 3] = 1.0 - lit[:, 0] ** 4
        single: npt.NDArray[np.float32] = colour.astype(np.float32)
        return single


@dataclass(frozen=True, slots=True, eq=False)
class InScene:
    """From the job's mm to the coordinates of what it was read from, in scene units of ``mm``.

    ``turn`` (3, 3) and ``shift`` (3,) mm took it from there to how it was looked at: turned, then moved.
    """

    turn: FloatArray
    shift: FloatArray
    mm: float

    def back(self, places: FloatArray) -> FloatArray:
        """Take places (n, 3) of the job back, still in mm."""
        return (places - self.shift) @ self.turn


def light_painting(
    bodies: Sequence[Body],
    share: FloatArray,
    buried: BoolArray,
    steps: LightSteps,
    *,
    mm: float,
    shift: FloatArray,
    owners: Sequence[str] = (),
    owner: npt.NDArray[np.int64] | None = None,
) -> Painting:
    """Paint bodies by their light, face by face; ``share`` and ``buried`` (t,) as in `LightReach`.

    ``owners``: where a solid was joined of several, what is shown and hidden by itself; ``owner`` (t,) which of them a
    face is of, past the last for the lattice. Else each body is shown and hidden by itself.
    """
    if owner is None:
        owners = [body.name for body in bodies]
        owner = np.repeat(np.arange(len(bodies)), [len(body.mesh.triangles) for body in bodies])
    corners = np.concatenate([body.points()[body.mesh.triangles] for body in bodies])
    # By the points and not by the faces, so that no slits open between faces.
    normal = np.concatenate([point_normals(body.points(), body.mesh.triangles)[body.mesh.triangles] for body in bodies])
    colour = steps.colours(share)
    seen = np.flatnonzero(~buried & (colour[:, 3] > 0.0))
    seen = seen[np.argsort(owner[seen], kind="stable")]
    places = (corners[seen] + OFF_MM * normal[seen] - shift) / mm
    counts = np.bincount(owner[seen], minlength=len(owners))[: len(owners)].tolist()
    return Painting(
        places.reshape(-1, 3).astype(np.float32),
        shaded(np.repeat(colour[seen], 3, axis=0), normal[seen].reshape(-1, 3)),
        np.arange(3 * len(seen), dtype=np.int32).reshape(-1, 3),
        "light that arrives",
        steps.legend(),
        tuple(zip(owners, counts, strict=True)),
    )


def floating_loops(layers: Layers) -> Steps[BoolArray]:
    """Tell of every loop of a print's sections whether nothing holds it up: it is of an island, or only over some."""
    found = layers.regions
    pairs = box_pairs(found.layer, found.low, found.high, 1)
    over = pairs[(yield from part(overlapping_by_points(found, pairs), 0.0, 1.0))]
    floating = np.zeros(len(found.layer), dtype=np.bool_)
    for island in layers.islands:
        here = slice(*np.searchsorted(found.layer, [island.layer, island.layer + 1]))
        floating[here] |= (found.inner[here] == np.array(island.at[:2])).all(axis=1)
    # Pairs name the upper region first, sorted by its layer.
    runs = np.searchsorted(found.layer[over[:, 0]], np.arange(len(layers.heights_mm) + 1))
    for begin, end in zip(runs[:-1].tolist(), runs[1:].tolist(), strict=True):
        upper, lower = over[begin:end].T
        floating[np.setdiff1d(upper, upper[~floating[lower]])] = True
    loops = np.zeros(len(found.of.layer), dtype=np.bool_)
    loops[found.loops] = np.repeat(floating, np.diff(found.begin))
    return loops


class SectionView:
    """Draws the outline of one layer of the last print check; holds only arrays made when the layer was chosen."""

    def __init__(self) -> None:
        self._handle: Any = None
        self._serial = -1
        self._check: PrintCheck | None = None
        self._floating: BoolArray = np.zeros(0, dtype=np.bool_)
        self._in_scene: InScene | None = None
        self._batches: list[tuple[Any, Any]] | None = None
        # Ends of lines (2 n, 3) in the subject's own scene units: what is held up, and what is not.
        self.held: npt.NDArray[np.float32] = np.zeros((0, 3), dtype=np.float32)
        self.floats: npt.NDArray[np.float32] = np.zeros((0, 3), dtype=np.float32)
        self.said = ""

    def start(self) -> None:
        """Begin to draw."""
        self.stop()
        self._handle = bpy.types.SpaceView3D.draw_handler_add(self._draw, (), "WINDOW", "POST_VIEW")

    def stop(self) -> None:
        """Draw no more."""
        if self._handle is not None:
            bpy.types.SpaceView3D.draw_handler_remove(self._handle, "WINDOW")
            self._handle = None
        self._check, self._in_scene, self._batches = None, None, None

    def keep(self, state: Any, check: PrintCheck, floating: BoolArray, in_scene: InScene) -> None:
        """Keep the layers of the result now in ``state`` and show the largest; ``floating`` as `floating_loops`."""
        self._check, self._floating, self._in_scene, self._serial = check, floating, in_scene, state.serial
        state.print_mm = check.layer_mm * len(check.layers.heights_mm)
        state.section_mm = float(check.layers.heights_mm[check.peel.layer])

    def kept_for(self, state: Any) -> bool:
        """Tell whether there are layers of this very result."""
        return bool(state.has_result and self._check is not None and state.serial == self._serial)

    def stands(self, state: Any, scene: Any) -> bool:
        """Tell whether there is an outline that belongs to the result and to the scene as it is."""
        on = bool(state.section) and self.kept_for(state) and state.scene == scene.name
        return on and as_printed(state, scene)

    def move(self, state: Any) -> None:
        """Make the outline of the layer at the height in ``state``, and the figures the panel shows of it."""
        if not self.kept_for(state) or self._check is None or self._in_scene is None:
            return
        layers, to_scene = self._check.layers, self._in_scene
        if state.section_mm > state.print_mm:
            # Sets the height, and so comes here again.
            state.section_mm = state.print_mm
            return
        layer = layers.layer_at(state.section_mm)
        first = int(np.searchsorted(layers.regions.of.layer, layer))
        outlines = layers.regions.of.outlines_at(layer)
        sorted_out = list(zip(outlines, self._floating[first : first + len(outlines)].tolist(), strict=True))
        height = float(layers.heights_mm[layer])
        self.held, self.floats = (
            _lines([outline for outline, free in sorted_out if free == loose], height, self._check, to_scene)
            for loose in (False, True)
        )
        self._batches = None
        pieces = int(layers.region_count[layer])
        self.said = f"layer {layer + 1} of {len(layers.heights_mm)}, {height:.2f} mm"
        state.section_figures.clear()
        for name, value in (
            ("Layer", f"{layer + 1} of {len(layers.heights_mm)}"),
            ("Area", f"{layers.area_mm2[layer]:.4g} mm2 in {pieces} piece{'' if pieces == 1 else 's'}"),
        ):
            row = state.section_figures.add()
            row.name, row.value = name, value

    def legend(self) -> Legend:
        """Give the lines that tell the outlines apart."""
        return ((self.said, OUTLINE), *((("nothing holds it up", FLOATS),) if len(self.floats) else ()))

    def _draw(self) -> None:
        context: Any = bpy.context
        state = context.window_manager.linkwright
        if not state.has_result or not state.section or not context.space_data.overlay.show_overlays:
            return
        if not self.stands(state, context.scene) or viewports.of(state, context) is None:
            return
        try:
            self._show(context, state)
        except Exception:
            # It would print anew at every redraw: say it once and stay off.
            LOG.exception("The layer could not be drawn and is switched off")
            state.section = False

    def _show(self, context: Any, state: Any) -> None:
        shader = gpu.shader.from_builtin("POLYLINE_UNIFORM_COLOR")
        if self._batches is None:
            self._batches = [
                (batch_for_shader(shader, "LINES", _places(ends)), colour)
                for ends, colour in ((self.held, OUTLINE), (self.floats, FLOATS))
                if len(ends)
            ]
        objects: Any = bpy.data.objects
        ob = objects.get(state.subject) if state.subject else None
        scale = context.preferences.system.ui_scale
        gpu.state.blend_set("ALPHA")
        try:
            matrix: Any = gpu.matrix
            with matrix.push_pop():
                if ob is not None:
                    matrix.multiply_matrix(ob.matrix_world)
                shader.bind()
                view: Any = gpu.state
                shader.uniform_float("viewportSize", view.viewport_get()[2:])
                for batch, colour in self._batches:
                    # A dark rim, so that it reads on bright metal and on a dark view.
                    for width, fill in ((2.2 * WIDTH_PX, DARK), (WIDTH_PX, colour)):
                        shader.uniform_float("lineWidth", width * scale)
                        shader.uniform_float("color", fill)
                        batch.draw(shader)
        finally:
            gpu.state.blend_set("NONE")


def _places(ends: npt.NDArray[np.float32]) -> dict[str, Any]:
    return {"pos": ends}


def _lines(
    outlines: Sequence[FloatArray], height_mm: float, check: PrintCheck, in_scene: InScene
) -> npt.NDArray[np.float32]:
    """Give the ends (2 n, 3) of the lines of closed outlines (k, 2) at a height in print size, in scene units."""
    if not outlines:
        return np.zeros((0, 3), dtype=np.float32)
    ends = np.concatenate([np.stack((o, np.roll(o, -1, axis=0)), axis=1) for o in outlines]).reshape(-1, 2)
    printed = np.column_stack((ends, np.full(len(ends), height_mm)))
    job = printed / check.scale + np.array([0.0, 0.0, check.plate_mm])
    single: npt.NDArray[np.float32] = (in_scene.back(job) / in_scene.mm).astype(np.float32)
    return single


section = SectionView()
