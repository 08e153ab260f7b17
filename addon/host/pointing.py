"""Pointing at a link in the 3D view: which link, and where on it, is under the pointer, shown while one points."""

import logging
from dataclasses import dataclass
from typing import Any

import blf
import bpy
import gpu
import numpy as np
import numpy.typing as npt
from bpy_extras.view3d_utils import region_2d_to_origin_3d, region_2d_to_vector_3d
from gpu_extras.batch import batch_for_shader

from .lattice_edits import on_link
from .showing import parts

LOG = logging.getLogger(__name__)

# The green of Okabe and Ito, told apart by all eyes.
LIT = (0.0, 0.62, 0.451, 0.55)
SPOT = (0.0, 0.62, 0.451, 1.0)
DARK = (0.0, 0.0, 0.0, 0.75)
LIGHT = (1.0, 1.0, 1.0, 1.0)
SPOT_PX, TEXT_PX, BESIDE_PX = 5.0, 12.0, 18.0


@dataclass(frozen=True, slots=True)
class Pointed:
    """A place of a link: its object's and its body's name, the place in its own coordinates in scene units."""

    ob_name: str
    body: str
    at: tuple[float, float, float]


def view_at(context: Any, x: int, y: int) -> tuple[Any, Any] | None:
    """Give the 3D view's area and its main region under a place of the window, or None where there is none."""
    for area in context.window.screen.areas:
        if area.type != "VIEW_3D":
            continue
        over = [r for r in area.regions if r.x <= x < r.x + r.width and r.y <= y < r.y + r.height]
        if any(r.type != "WINDOW" and r.width > 1 and r.height > 1 for r in over):
            # A sidebar or header lies over the view.
            return None
        for region in over:
            return area, region
    return None


def pointed_at(context: Any, ob: Any, area: Any, region: Any, x: int, y: int) -> Pointed | None:
    """Find the place of a chain's nearest link under a place of the window; struts before it are looked through."""
    view = area.spaces.active.region_3d
    pixel = (x - region.x, y - region.y)
    origin = region_2d_to_origin_3d(region, view, pixel)
    ahead = region_2d_to_vector_3d(region, view, pixel)
    depsgraph = context.evaluated_depsgraph_get()
    best: tuple[float, Pointed] | None = None
    for link in parts(ob, "LINK"):
        if not link.visible_get():
            continue
        back = link.matrix_world.inverted()
        hit, at, _, _ = link.evaluated_get(depsgraph).ray_cast(back @ origin, back.to_3x3() @ ahead)
        if not hit:
            continue
        distance = (link.matrix_world @ at - origin).length
        if best is None or distance < best[0]:
            best = distance, Pointed(link.name, on_link(link.name), (at.x, at.y, at.z))
    return None if best is None else best[1]


class Pointer:
    """Draws what is pointed at: the link in a colour, a spot where a click lands, and words beside the pointer."""

    def __init__(self) -> None:
        self._handles: list[Any] = []
        self._batches: dict[int, Any] = {}
        self.pointed: Pointed | None = None
        self.words = ""
        self.mouse = (0, 0)

    def start(self) -> None:
        """Begin to draw."""
        add: Any = bpy.types.SpaceView3D.draw_handler_add
        self._handles = [
            add(self._draw, (self._link,), "WINDOW", "POST_VIEW"),
            add(self._draw, (self._spot,), "WINDOW", "POST_PIXEL"),
        ]

    def stop(self) -> None:
        """Draw no more; may be called twice."""
        for handle in self._handles:
            bpy.types.SpaceView3D.draw_handler_remove(handle, "WINDOW")
        self._handles, self._batches = [], {}

    def _draw(self, show: Any) -> None:
        try:
            show(bpy.context)
        except Exception:
            # It would print anew at every redraw: say it once and stay off.
            LOG.exception("What is pointed at could not be drawn")
            self.stop()

    def _link(self, context: Any) -> None:
        link = None if self.pointed is None else context.scene.objects.get(self.pointed.ob_name)
        if link is None:
            return
        shader = gpu.shader.from_builtin("UNIFORM_COLOR")
        key = link.data.as_pointer()
        if key not in self._batches:
            self._batches = {key: _batch(shader, link.data)}
        gpu.state.depth_test_set("LESS_EQUAL")
        gpu.state.face_culling_set("BACK")
        gpu.state.blend_set("ALPHA")
        try:
            matrix: Any = gpu.matrix
            with matrix.push_pop():
                matrix.multiply_matrix(link.matrix_world)
                shader.bind()
                shader.uniform_float("color", LIT)
                self._batches[key].draw(shader)
        finally:
            gpu.state.blend_set("NONE")
            gpu.state.face_culling_set("NONE")
            gpu.state.depth_test_set("NONE")

    def _spot(self, context: Any) -> None:
        region = context.region
        x, y = self.mouse[0] - region.x, self.mouse[1] - region.y
        if not (0 <= x < region.width and 0 <= y < region.height):
            return
        scale = context.preferences.system.ui_scale
        gpu.state.blend_set("ALPHA")
        try:
            if self.pointed is not None:
                for grow, colour in ((1.5, DARK), (1.0, SPOT)):
                    _disc(x, y, SPOT_PX * scale * grow, colour)
            _words(self.words, x + BESIDE_PX * scale, y + BESIDE_PX * scale, scale, region.width)
        finally:
            gpu.state.blend_set("NONE")


def _batch(shader: Any, data: Any) -> Any:
    """Make the triangles of a mesh ready to draw, a hair outside of it so that they win over what is drawn there."""
    points = np.empty(3 * len(data.vertices), dtype=np.float32)
    data.vertices.foreach_get("co", points)
    normals = np.empty(3 * len(data.vertices), dtype=np.float32)
    data.vertices.foreach_get("normal", normals)
    data.calc_loop_triangles()
    faces = np.empty(3 * len(data.loop_triangles), dtype=np.int32)
    data.loop_triangles.foreach_get("vertices", faces)
    places = points.reshape(-1, 3)
    places = places + normals.reshape(-1, 3) * (2e-3 * float(np.ptp(places, axis=0).max()))
    of_points: dict[str, Any] = {"pos": places.astype(np.float32)}
    return batch_for_shader(shader, "TRIS", of_points, indices=faces.reshape(-1, 3))


def _disc(x: float, y: float, radius: float, colour: tuple[float, float, float, float]) -> None:
    angle = np.linspace(0.0, 2.0 * np.pi, 25)[:-1]
    rim = np.column_stack((x + radius * np.cos(angle), y + radius * np.sin(angle)))
    _fill(rim, colour)


def _fill(outline: npt.NDArray[np.float64], colour: tuple[float, float, float, float]) -> None:
    """Fill a convex outline (n, 2) in pixels."""
    shader = gpu.shader.from_builtin("UNIFORM_COLOR")
    k = np.arange(1, len(outline) - 1)
    faces = np.column_stack((np.zeros_like(k), k, k + 1)).astype(np.int32)
    of_points: dict[str, Any] = {"pos": outline.astype(np.float32)}
    batch = batch_for_shader(shader, "TRIS", of_points, indices=faces)
    shader.bind()
    shader.uniform_float("color", colour)
    batch.draw(shader)


def _words(words: str, x: float, y: float, scale: float, width: int) -> None:
    font, pad = 0, 5.0 * scale
    blf.size(font, TEXT_PX * scale)
    long, high = blf.dimensions(font, words)
    x = min(x, width - long - 2.0 * pad)
    box = ((x - pad, y - pad), (x + long + pad, y - pad), (x + long + pad, y + high + pad), (x - pad, y + high + pad))
    _fill(np.array(box), DARK)
    blf.color(font, *LIGHT)
    blf.position(font, x, y, 0.0)
    blf.draw(font, words)
