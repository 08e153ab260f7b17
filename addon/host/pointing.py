"""Pointing at links and gates in the 3D view: which, and where on it, is under the pointer, shown while one points."""

import logging
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import blf
import bpy
import gpu
import numpy as np
import numpy.typing as npt
from gpu_extras.batch import batch_for_shader
from mathutils import Vector

from .chain_object import chain_of
from .handles import view_ray
from .lattice_edits import on_link, strut_of
from .showing import parts
from .translated import told

LOG = logging.getLogger(__name__)

# The green of Okabe and Ito, told apart by all eyes.
LIT = (0.0, 0.62, 0.451, 0.55)
SPOT = (0.0, 0.62, 0.451, 1.0)
# The vermilion of the same: what a click takes away.
TAKEN = (0.835, 0.369, 0.0, 0.75)
DARK = (0.0, 0.0, 0.0, 0.75)
LIGHT = (1.0, 1.0, 1.0, 1.0)
SPOT_PX, TEXT_PX, BESIDE_PX = 5.0, 12.0, 18.0
MOST_LETTERS = 56
# Surfaces looked through before a link, and the step past each, a share of how far away it is: single precision.
MOST_BEFORE, PAST = 64, 2e-6


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
    return _nearest(context, parts(ob, "LINK"), area, region, x, y)


def link_under(context: Any, area: Any, region: Any, x: int, y: int) -> tuple[Any, Pointed] | None:
    """Find the nearest link of any chain under a place of the window, with its chain; all before it is looked through.

    Blender's own search in the scene knows all objects at once, so that no link is asked by itself.
    """
    space = area.spaces.active
    origin, ahead = (Vector(v.tolist()) for v in view_ray(region, space.region_3d, x, y))
    depsgraph = context.evaluated_depsgraph_get()
    for _ in range(MOST_BEFORE):
        hit, at, _, _, one, matrix = context.scene.ray_cast(depsgraph, origin, ahead)
        if not hit:
            return None
        ob = chain_of(one) if one.linkwright.part == "LINK" else None
        # A link that something instances elsewhere is hit there as well.
        own = ob is not None and matrix == one.matrix_world
        if own and one.visible_get(view_layer=context.view_layer, viewport=space):
            place = matrix.inverted() @ at
            return ob, Pointed(one.name, on_link(one.name), (place.x, place.y, place.z))
        origin = at + ahead * max(PAST * (at - origin).length, PAST * at.length)
    return None


def gate_at(context: Any, ob: Any, area: Any, region: Any, x: int, y: int) -> Pointed | None:
    """Find the place of a chain's nearest gate under a place of the window; all else before it is looked through."""
    gates = [strut for strut in parts(ob, "STRUT") if (told := strut_of(strut)) is not None and told.gate is not None]
    return _nearest(context, gates, area, region, x, y)


def _nearest(context: Any, objects: Sequence[Any], area: Any, region: Any, x: int, y: int) -> Pointed | None:
    space = area.spaces.active
    origin, ahead = (Vector(v.tolist()) for v in view_ray(region, space.region_3d, x, y))
    depsgraph = context.evaluated_depsgraph_get()
    best: tuple[float, Pointed] | None = None
    for one in objects:
        if not (one.visible_get() and one.visible_in_viewport_get(space)):
            continue
        back = one.matrix_world.inverted()
        hit, at, _, _ = one.evaluated_get(depsgraph).ray_cast(back @ origin, back.to_3x3() @ ahead)
        if not hit:
            continue
        distance = (one.matrix_world @ at - origin).length
        if best is None or distance < best[0]:
            best = distance, Pointed(one.name, on_link(one.name), (at.x, at.y, at.z))
    return None if best is None else best[1]


class Pointer:
    """Draws what is pointed at: an object in a colour, a spot where a click lands, and words beside the pointer.

    ``lit``: the object's name; ``spot``: whether a click lands on it; ``words``: what a click will do, ``said``: what
    came of the last one. All of it is drawn in the one view that `put` names, but for the colour.
    """

    def __init__(self) -> None:
        self._handles: list[Any] = []
        self._batches: dict[int, Any] = {}
        self._region, self._mouse = 0, (0, 0)
        self.lit, self.colour, self.spot = "", LIT, False
        self.words, self.said = "", ""

    def put(self, region: Any, x: int, y: int) -> None:
        """Put the spot and the words at a place of the window, in a 3D view's main region, or in None."""
        self._region = 0 if region is None else region.as_pointer()
        self._mouse = (x, y)

    def forget(self) -> None:
        """Forget the shapes that were drawn: they may be others now."""
        self._batches = {}

    def start(self) -> None:
        """Begin to draw."""
        add: Any = bpy.types.SpaceView3D.draw_handler_add
        self._handles = [
            add(self._draw, (self._light,), "WINDOW", "POST_VIEW"),
            add(self._draw, (self._beside,), "WINDOW", "POST_PIXEL"),
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

    def _light(self, context: Any) -> None:
        ob = context.scene.objects.get(self.lit) if self.lit else None
        if ob is None or ob.type != "MESH" or not ob.visible_in_viewport_get(context.space_data):
            return
        shader = gpu.shader.from_builtin("UNIFORM_COLOR")
        key = ob.data.as_pointer()
        if key not in self._batches:
            self._batches = {key: _batch(shader, ob.data)}
        gpu.state.depth_test_set("LESS_EQUAL")
        gpu.state.face_culling_set("BACK")
        gpu.state.blend_set("ALPHA")
        try:
            matrix: Any = gpu.matrix
            with matrix.push_pop():
                matrix.multiply_matrix(ob.matrix_world)
                shader.bind()
                shader.uniform_float("color", self.colour)
                self._batches[key].draw(shader)
        finally:
            gpu.state.blend_set("NONE")
            gpu.state.face_culling_set("NONE")
            gpu.state.depth_test_set("NONE")

    def _beside(self, context: Any) -> None:
        region = context.region
        if region.as_pointer() != self._region:
            return
        x, y = self._mouse[0] - region.x, self._mouse[1] - region.y
        if not (0 <= x < region.width and 0 <= y < region.height):
            return
        scale = context.preferences.system.ui_scale
        gpu.state.blend_set("ALPHA")
        try:
            if self.spot:
                for grow, colour in ((1.5, DARK), (1.0, (*self.colour[:3], 1.0))):
                    disc(x, y, SPOT_PX * scale * grow, colour)
            lines = [told(line) for line in (self.words, self.said) if line]
            write(lines, x + BESIDE_PX * scale, y + BESIDE_PX * scale, scale, free_width(context))
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


def free_width(context: Any) -> int:
    """Give how much of a view's width its sidebar leaves free, in pixels."""
    region = context.region
    over = [other.x - region.x for other in context.area.regions if other.type == "UI" and other.width > 1]
    return int(min([region.width, *over]))


def disc(x: float, y: float, radius: float, colour: tuple[float, float, float, float]) -> None:
    """Fill a disc, in pixels of the region."""
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


def write(lines: Sequence[str], x: float, y: float, scale: float, width: int) -> None:
    """Write lines on a dark ground, long ones folded, the last at a place of the region and all within its width."""
    lines = [part for line in lines for part in textwrap.wrap(line, MOST_LETTERS)]
    if not lines:
        return
    font, pad = 0, 5.0 * scale
    blf.size(font, TEXT_PX * scale)
    long = max(blf.dimensions(font, line)[0] for line in lines)
    step = 1.5 * TEXT_PX * scale
    high = TEXT_PX * scale + step * (len(lines) - 1)
    x = max(pad, min(x, width - long - 2.0 * pad))
    box = ((x - pad, y - pad), (x + long + pad, y - pad), (x + long + pad, y + high + pad), (x - pad, y + high + pad))
    _fill(np.array(box), DARK)
    blf.color(font, *LIGHT)
    for row, line in enumerate(reversed(lines)):
        blf.position(font, x, y + row * step, 0.0)
        blf.draw(font, line)
