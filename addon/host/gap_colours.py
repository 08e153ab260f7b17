"""The links in the colours of their gaps, their light or their metal, drawn over the bodies themselves.

No material, no render, nothing saved. The colours are those of Okabe and Ito (Color Universal Design, 2008), told apart
by colour-blind eyes; from a gap that is wide enough they fade away with the width, so that what is dark or loud is what
needs a look.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import bpy
import gpu
import numpy as np
import numpy.typing as npt

from ..rules.inspect.gap_field import GapField
from ..rules.solid.mesh import Body, FloatArray
from ..rules.solid.point_normals import point_normals
from .current import as_printed
from .in_view import InView, viewports

LOG = logging.getLogger(__name__)

UNDER_FLOOR = (0.835, 0.369, 0.0, 1.0)
UNDER_WARN = (0.941, 0.894, 0.259, 1.0)
NARROW = (0.0, 0.447, 0.698, 1.0)
WIDE = (0.62, 0.70, 0.74, 1.0)
# Drawn this far off the bodies' own surface, so that the two do not flicker.
OFF_MM = 0.02
# And so much nearer in depth, a few of the steps it is kept in: with a wide clip range those are coarser than that.
NEARER = 5e-7
# More viewports than anyone has open: what is kept for them never grows.
MOST_VIEWPORTS = 32
# From where the shade falls, and how dark it is: enough for the shape to read, and no colour far from its swatch.
LIGHT = np.array((-0.35, -0.45, 0.82))
SHADE = 0.55

Legend = tuple[tuple[str, tuple[float, float, float, float]], ...]


@dataclass(frozen=True, slots=True)
class ColourSteps:
    """The printed gaps at which colours change: a stop below the floor, a warn below the next, none past the last."""

    floor_mm: float
    warn_mm: float
    far_mm: float

    def legend(self) -> Legend:
        """Give the lines of the legend, the narrowest last."""
        warn = ((f"under {self.warn_mm:g} mm", UNDER_WARN),) if self.warn_mm > self.floor_mm else ()
        return (
            (f"up to {self.far_mm:g} mm", WIDE),
            (f"from {self.warn_mm:g} mm", NARROW),
            *warn,
            (f"under {self.floor_mm:g} mm: stop", UNDER_FLOOR),
        )

    def colours(self, printed_mm: FloatArray) -> npt.NDArray[np.float32]:
        """Give the colour (n, 4) of every printed gap (n,)."""
        share = np.clip((printed_mm - self.warn_mm) / max(self.far_mm - self.warn_mm, 1e-9), 0.0, 1.0)[:, None]
        colour = np.array(NARROW) + share * (np.array(WIDE) - np.array(NARROW))
        colour[printed_mm < self.warn_mm] = UNDER_WARN
        colour[printed_mm < self.floor_mm] = UNDER_FLOOR
        colour[:, 3] = 1.0 - share[:, 0] ** 4
        single: npt.NDArray[np.float32] = colour.astype(np.float32)
        return single


@dataclass(frozen=True, slots=True, eq=False)
class Painting:
    """What is drawn over bodies: points (n, 3) in scene units with their colours (n, 4), faces (m, 3), and a legend.

    ``owners``: whose the faces are, in their order: a body's name and how many. Those past the last are the lattice's.
    """

    places: npt.NDArray[np.float32]
    colours: npt.NDArray[np.float32]
    faces: npt.NDArray[np.int32]
    title: str
    legend: Legend
    owners: tuple[tuple[str, int], ...] = ()

    def faces_in(self, seen: InView) -> npt.NDArray[np.int32]:
        """Give the faces (k, 3) of what a viewport shows; the same array where that is all."""
        shown = [seen.shows(name) for name, _ in self.owners]
        counts = [count for _, count in self.owners]
        rest = len(self.faces) - sum(counts)
        if rest:
            shown, counts = [*shown, seen.shows("")], [*counts, rest]
        return self.faces if all(shown) else self.faces[np.repeat(np.array(shown, dtype=np.bool_), counts)]


class BodyColours:
    """Draws the last result on its bodies in one way of several; holds only arrays made when they were found."""

    def __init__(self) -> None:
        self._handle: Any = None
        self._serial = -1
        self._paintings: dict[str, Painting] = {}
        self._lasting: dict[str, Painting] = {}
        self._lasts: Callable[[Any, Any], bool] | None = None
        self._forget_drawn()

    def start(self) -> None:
        """Begin to draw."""
        self.stop()
        self._handle = bpy.types.SpaceView3D.draw_handler_add(self._draw, (), "WINDOW", "POST_VIEW")

    def stop(self) -> None:
        """Draw no more."""
        if self._handle is not None:
            bpy.types.SpaceView3D.draw_handler_remove(self._handle, "WINDOW")
            self._handle = None
        self.forget()

    def forget(self) -> None:
        """Let go of all that was kept."""
        self._paintings = {}
        self.put_lasting({}, None)

    def _forget_drawn(self) -> None:
        self._drawn: Painting | None = None
        self._places: Any = None
        self._colours: Any = None
        # What each viewport draws: what it shows then, the faces of that, and whatever the card has made of both.
        self._kept: dict[int, tuple[InView, Any, Any]] = {}

    def keep(
        self,
        state: Any,
        bodies: Sequence[Body],
        field: GapField,
        steps: ColourSteps,
        *,
        scale: float,
        mm: float,
        shift: Any,
    ) -> None:
        """Keep the gaps of bodies for the result now in ``state``; places as those of the findings (`store`)."""
        self.put(state, "GAPS", _gap_painting(bodies, field, steps, scale, mm, shift))
        # Who asks for gaps looks at gaps, whatever was shown before.
        state.colour_by = "GAPS"

    def put(self, state: Any, kind: str, painting: Painting) -> None:
        """Keep a way to colour the result now in ``state``, beside the others of that very result."""
        if state.serial != self._serial:
            self._paintings = {}
            self._serial = state.serial
        self._paintings[kind] = painting

    def put_lasting(self, paintings: dict[str, Painting], lasts: Callable[[Any, Any], bool] | None) -> None:
        """Keep ways to colour that outlive a result: as long as ``lasts`` says so of the state and a scene."""
        self._lasting, self._lasts = paintings, lasts
        self._forget_drawn()

    def kept_for(self, state: Any, kind: str = "") -> bool:
        """Tell whether there are colours of this very result, of any kind or of one."""
        kept = bool(self._paintings) if not kind else kind in self._paintings
        return bool(state.has_result and kept and state.serial == self._serial)

    def anything(self, state: Any) -> bool:
        """Tell whether there may be colours of any kind to switch on."""
        return self.kept_for(state) or bool(state.has_result and self._lasting)

    def stands(self, state: Any, scene: Any) -> bool:
        """Tell whether there are colours that belong to the result and to the scene as it is."""
        return self.shown(state, scene) is not None

    def shown(self, state: Any, scene: Any) -> Painting | None:
        """Give what is drawn: of the kind chosen where there is one, of the other where there is not."""
        if not state.colours or not state.has_result or not (self._paintings or self._lasting):
            return None
        if state.scene != scene.name or not as_printed(state, scene):
            return None
        chosen = state.colour_by
        if chosen in self._lasting and self._lasts is not None and self._lasts(state, scene):
            return self._lasting[chosen]
        if not self.kept_for(state):
            return None
        return self._paintings.get(chosen) or next(iter(self._paintings.values()))

    def _batch_of(self, painting: Painting, seen: InView, viewport: int) -> Any:
        """Make what a viewport draws; only the colours anew where another painting is of the same places."""
        types: Any = gpu.types
        drawn = self._drawn
        if drawn is None or drawn.places is not painting.places:
            self._forget_drawn()
            self._places = _buffer("pos", painting.places)
        if drawn is not painting:
            self._colours = _buffer("color", painting.colours)
            self._kept = {key: (was, index, None) for key, (was, index, _) in self._kept.items()}
            self._drawn = painting
        was, index, batch = self._kept.get(viewport, (None, None, None))
        if was is not seen:
            faces = painting.faces_in(seen)
            index = types.GPUIndexBuf(type="TRIS", seq=faces) if len(faces) else None
            batch = None
        if batch is None and index is not None:
            batch = types.GPUBatch(type="TRIS", buf=self._places, elem=index)
            batch.vertbuf_add(self._colours)
        if len(self._kept) > MOST_VIEWPORTS:
            self._kept.clear()
        self._kept[viewport] = seen, index, batch
        return batch

    def _draw(self) -> None:
        context: Any = bpy.context
        state = context.window_manager.linkwright
        if not state.has_result or not state.colours or not context.space_data.overlay.show_overlays:
            return
        painting = self.shown(state, context.scene)
        seen = None if painting is None or not len(painting.faces) else viewports.of(state, context)
        if painting is None or seen is None:
            return
        try:
            self._show(context, state, painting, seen)
        except Exception:
            # It would print anew at every redraw: say it once and stay off.
            LOG.exception("The colours could not be drawn on the links and are switched off")
            state.colours = False

    def _show(self, context: Any, state: Any, painting: Painting, seen: InView) -> None:
        shader = gpu.shader.from_builtin("SMOOTH_COLOR")
        batch = self._batch_of(painting, seen, context.space_data.as_pointer())
        if batch is None:
            return
        objects: Any = bpy.data.objects
        ob = objects.get(state.subject) if state.subject else None
        gpu.state.depth_test_set("LESS_EQUAL")
        gpu.state.face_culling_set("BACK")
        gpu.state.blend_set("ALPHA")
        try:
            matrix: Any = gpu.matrix
            with matrix.push_pop(), matrix.push_pop_projection():
                nearer = matrix.get_projection_matrix()
                nearer[2] -= NEARER * nearer[3]
                matrix.load_projection_matrix(nearer)
                if ob is not None:
                    matrix.multiply_matrix(ob.matrix_world)
                shader.bind()
                batch.draw(shader)
        finally:
            gpu.state.blend_set("NONE")
            gpu.state.face_culling_set("NONE")
            gpu.state.depth_test_set("NONE")


def _buffer(name: str, values: npt.NDArray[np.float32]) -> Any:
    types: Any = gpu.types
    form = types.GPUVertFormat()
    form.attr_add(id=name, comp_type="F32", len=values.shape[1], fetch_mode="FLOAT")
    made = types.GPUVertBuf(form, len(values))
    made.attr_fill(name, np.ascontiguousarray(values))
    return made


def _gap_painting(
    bodies: Sequence[Body], field: GapField, steps: ColourSteps, scale: float, mm: float, shift: Any
) -> Painting:
    """Paint bodies by their gaps, point by point."""
    places, colours, faces, owners = [], [], [], []
    count = 0
    for body, gap in zip(bodies, field.gap_mm, strict=True):
        points = body.points()
        normal = point_normals(points, body.mesh.triangles)
        places.append((points + OFF_MM * normal - np.asarray(shift)) / mm)
        colours.append(shaded(steps.colours(gap * scale), normal))
        seen = (gap * scale < steps.far_mm)[body.mesh.triangles].any(axis=1)
        faces.append(body.mesh.triangles[seen] + count)
        owners.append((body.name, len(faces[-1])))
        count += len(points)
    return Painting(
        np.concatenate(places).astype(np.float32),
        np.concatenate(colours),
        np.concatenate(faces).astype(np.int32),
        "gap in print",
        steps.legend(),
        tuple(owners),
    )


def shaded(colours: npt.NDArray[np.float32], normal: FloatArray) -> npt.NDArray[np.float32]:
    """Darken colours (n, 4) a little by where their places look, so that the shape of the links still reads."""
    single: npt.NDArray[np.float32] = np.column_stack(
        (colours[:, :3] * shade_of(normal)[:, None], colours[:, 3])
    ).astype(np.float32)
    return single


def shade_of(normal: FloatArray) -> FloatArray:
    """Give how bright (n,) places are by where they look, (n, 3)."""
    shade: FloatArray = SHADE + (1.0 - SHADE) * (0.5 + 0.5 * normal @ LIGHT)
    return shade


colours = BodyColours()
