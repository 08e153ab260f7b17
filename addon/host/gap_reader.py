"""The gap at the pointer, read off while it is over a link: in the model, as it prints, and to which link.

Switched on it is drawn beside the pointer in whatever 3D view that is over; it takes no event from anybody and nothing
runs between two moves of the pointer. Links are read where they stand in the scene, other meshes as they were last
inspected.
"""

import logging
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import bpy
import gpu
import numpy as np
from gpu_extras.batch import batch_for_shader
from mathutils import Vector
from mathutils.bvhtree import BVHTree

from ..rules.base.errors import LinkwrightError
from ..rules.inspect.ladder import printed_gap_mm
from ..rules.inspect.local_gap import LocalGaps
from ..rules.solid.mesh import Body, FloatArray, Mesh
from ..verbs import flow
from ..verbs.own_materials import own_materials
from .chain_object import chain_of, read_job, scene_of, turn_of
from .conversions import double, matrix_pose, mesh_arrays
from .current import as_printed
from .handles import view_ray
from .lattice_edits import on_link
from .panel_names import words_of
from .pointing import BESIDE_PX, Pointed, disc, free_width, link_under, view_at, write
from .process_settings import profile
from .result_state import state_of
from .showing import parts
from .stamps import stamp
from .translated import told
from .units import mm_per_unit
from .view import views

LOG = logging.getLogger(__name__)

# Further than this nobody asks for a gap: our judgement.
FAR_MM = 5.0
LINE = (1.0, 1.0, 1.0, 0.9)
NOTHING = "Select a chain, or inspect meshes first"
WORN = "Shown as worn: press Show as Printed first"


@dataclass(frozen=True, slots=True, eq=False)
class Reading:
    """What is read at a place: the lines beside the pointer, and the gap as a line (2, 3) in world scene units."""

    lines: tuple[str, ...]
    line: FloatArray | None = None


@dataclass(frozen=True, slots=True, eq=False)
class _Known:
    """Bodies in mm, ready to be asked; scale, bleed and over-cure of the print; its turn (3, 3); bodies by object."""

    sign: str
    gaps: LocalGaps
    scale: float
    bleed_mm: float
    over_cure_mm: float
    floor_mm: float
    turn: FloatArray
    numbers: dict[str, int]


class GapReader:
    """Reads the gap at the pointer while it is switched on."""

    def __init__(self) -> None:
        self.on = False
        self._handles: list[Any] = []
        self._known: _Known | None = None
        # What was asked of the chain that is known, while nothing was edited since; else nothing.
        self._asked = ""
        self._meshes: tuple[int, tuple[Body, ...], list[Any]] = (-1, (), [])
        self._reading: Reading | None = None
        self._region, self._mouse = 0, (0, 0)

    def start(self) -> None:
        """Switch on."""
        if self.on:
            return
        self.on = True
        add: Any = bpy.types.SpaceView3D.draw_handler_add
        self._handles = [
            add(self._draw, (self._line,), "WINDOW", "POST_VIEW"),
            add(self._draw, (self._words,), "WINDOW", "POST_PIXEL"),
        ]

    def stop(self) -> None:
        """Switch off; nothing is left that draws. May be called twice."""
        for handle in self._handles:
            bpy.types.SpaceView3D.draw_handler_remove(handle, "WINDOW")
        self._handles, self._known, self._reading, self.on = [], None, None, False

    def changed(self) -> None:
        """Look at the next move whether the links still stand as they are known."""
        self._asked = ""

    def keep(self, state: Any, bodies: Sequence[Body]) -> None:
        """Keep the meshes, no chain, that the result now in ``state`` is about, in world mm."""
        self._meshes = (state.serial, tuple(bodies), [None] * len(bodies))

    def follow(self, context: Any, x: int, y: int) -> list[Any]:
        """Read at a place of the window; gives the areas to draw anew."""
        over = view_at(context, x, y)
        before, had = self._region, self._reading is not None
        self._region = 0 if over is None else over[1].as_pointer()
        self._mouse = (x, y)
        # What waits for the pointer has words of its own there.
        busy = context.mode != "OBJECT" or len(context.window.modal_operators)
        self._reading = None if over is None or busy else self.read(context, *over, x, y)
        if before != self._region:
            return views(context) if had or self._reading is not None else []
        return [over[0]] if over is not None and (had or self._reading is not None) else []

    def read(self, context: Any, area: Any, region: Any, x: int, y: int) -> Reading | None:
        """Give what stands under a place of the window, None where that is nothing."""
        try:
            under = link_under(context, area, region, x, y)
            if under is not None:
                return self._read_chain(context, *under)
            ob = chain_of(context.active_object)
            if ob is None:
                return self._read_meshes(context, area, region, x, y)
            return Reading((WORN,)) if ob.linkwright.figures.worn_view else None
        except LinkwrightError as error:
            return Reading((words_of(error),))

    def _read_chain(self, context: Any, ob: Any, found: Pointed) -> Reading | None:
        if ob.linkwright.figures.worn_view:
            return Reading((WORN,))
        mm = mm_per_unit(scene_of(ob, context))
        known = self._of_chain(context, ob, mm)
        number = known.numbers.get(found.ob_name)
        if number is None:
            return None
        place = known.gaps.bodies[number].pose.apply(np.array(found.at) * mm)
        return self._told(known, number, place, double(ob.matrix_world), mm)

    def _read_meshes(self, context: Any, area: Any, region: Any, x: int, y: int) -> Reading | None:
        state = state_of(context)
        serial, bodies, trees = self._meshes
        if not bodies or serial != state.serial or not as_printed(state, context.scene):
            return Reading((NOTHING,))
        mm = mm_per_unit(context.scene)
        origin, ahead = view_ray(region, area.spaces.active.region_3d, x, y)
        best: tuple[float, int] | None = None
        for number, body in enumerate(bodies):
            start, way = (origin * mm - body.pose.origin) @ body.pose.rotation, ahead @ body.pose.rotation
            tree = trees[number] = trees[number] or _tree(bodies, trees, number)
            distance = tree.ray_cast(Vector(start.tolist()), Vector(way.tolist()))[3]
            if distance is not None and (best is None or distance < best[0]):
                best = distance, number
        if best is None:
            return None
        sign = stamp("meshes", serial, context.scene.linkwright.stamp)
        if self._known is None or self._known.sign != sign:
            limits = profile(context.scene.linkwright)
            self._known = _Known(
                sign, LocalGaps(bodies), 1.0, limits.bleed_mm, limits.over_cure_mm, limits.gap_floor_mm, np.eye(3), {}
            )
            self._asked = ""
        return self._told(self._known, best[1], origin * mm + best[0] * ahead, np.eye(4), mm)

    def _of_chain(self, context: Any, ob: Any, mm: float) -> _Known:
        """Give a chain's links as they stand, ready to be asked; kept for as long as they stand so."""
        figures, scene = ob.linkwright.figures, scene_of(ob, context)
        asked = stamp(
            ob.name, figures.stamp, figures.curve_stamp, figures.own_stamp, scene.linkwright.stamp, mm,
            [round(c, 5) for row in ob.matrix_world for c in row],
        )  # fmt: skip
        if self._known is not None and self._asked == asked:
            return self._known
        links = parts(ob, "LINK")
        stands = np.array([tuple(link.matrix_basis.translation) for link in links], dtype=np.float64)
        sign = stamp(asked, stands.tobytes(), [link.name for link in links])
        if self._known is None or self._known.sign != sign:
            limits = profile(scene.linkwright)
            scale = flow.scaling(read_job(ob, context), own_materials()).scale
            gaps = LocalGaps(_bodies(links, mm))
            names = {link.name: number for number, link in enumerate(links)}
            self._known = _Known(
                sign, gaps, scale, limits.bleed_mm, limits.over_cure_mm, limits.gap_floor_mm, turn_of(ob), names
            )
        self._asked = asked
        return self._known

    def _told(self, known: _Known, number: int, place: FloatArray, matrix: FloatArray, mm: float) -> Reading:
        found = known.gaps.at(number, place, range_mm=FAR_MM)
        name = on_link(known.gaps.bodies[number].name)
        if found is None:
            return Reading((name, f"nothing nearer than {FAR_MM:g} mm"))
        x, y, z = (known.turn @ (found.foot - place)).tolist()
        printed = printed_gap_mm(
            found.gap_mm, (x, y, z), scale=known.scale, bleed_mm=known.bleed_mm, over_cure_mm=known.over_cure_mm
        )
        other = on_link(known.gaps.bodies[found.other].name)
        ends = np.array([place, found.foot]) / mm @ matrix[:3, :3].T + matrix[:3, 3]
        return Reading(gap_lines(name, other, found.gap_mm, printed, known.floor_mm), ends)

    def _draw(self, show: Any) -> None:
        try:
            if self._reading is not None and bpy.context.region.as_pointer() == self._region:
                show(bpy.context, self._reading)
        except Exception:
            # It would print anew at every redraw: say it once and stay off.
            LOG.exception("The gap at the pointer could not be drawn and is switched off")
            self.stop()

    def _line(self, _context: Any, reading: Reading) -> None:
        if reading.line is None:
            return
        shader = gpu.shader.from_builtin("POLYLINE_UNIFORM_COLOR")
        ends: dict[str, Any] = {"pos": reading.line.astype(np.float32)}
        batch = batch_for_shader(shader, "LINES", ends)
        state: Any = gpu.state
        shader.bind()
        shader.uniform_float("viewportSize", state.viewport_get()[2:])
        shader.uniform_float("lineWidth", 2.5)
        shader.uniform_float("color", LINE)
        batch.draw(shader)

    def _words(self, context: Any, reading: Reading) -> None:
        region = context.region
        x, y = self._mouse[0] - region.x, self._mouse[1] - region.y
        scale = context.preferences.system.ui_scale
        gpu.state.blend_set("ALPHA")
        try:
            if reading.line is not None:
                disc(x, y, 3.0 * scale, LINE)
            lines = [told(line) for line in reading.lines]
            write(lines, x + BESIDE_PX * scale, y + BESIDE_PX * scale, scale, free_width(context))
        finally:
            gpu.state.blend_set("NONE")


def gap_lines(name: str, other: str, gap_mm: float, printed_mm: float, floor_mm: float) -> tuple[str, ...]:
    """Say what the gap at a place is, the narrowest words first."""
    printed = f"printed {printed_mm:.3f} mm"
    if printed_mm < floor_mm:
        printed = f"{printed}, under {floor_mm:g}: stop"
    return f"{name} to {other}", f"gap {gap_mm:.3f} mm in the model", printed


def _bodies(links: Sequence[Any], mm: float) -> list[Body]:
    """Read links as they stand on their chain, named as their objects are; copies share their mesh."""
    meshes: dict[int, Mesh] = {}
    bodies = []
    for link in links:
        key = link.data.as_pointer()
        if key not in meshes:
            points, triangles = mesh_arrays(link.data)
            meshes[key] = Mesh(points * mm, triangles)
        bodies.append(Body(link.name, meshes[key], matrix_pose(double(link.matrix_basis), mm, where=link.name)))
    return bodies


def _tree(bodies: Sequence[Body], trees: Sequence[Any], number: int) -> Any:
    """Give the tree of a body's mesh: that of a copy where one was made."""
    mesh = bodies[number].mesh
    for body, tree in zip(bodies, trees, strict=True):
        if body.mesh is mesh and tree is not None:
            return tree
    return BVHTree.FromPolygons(mesh.points.tolist(), mesh.triangles.tolist())


# The switch and what draws need one owner that lives as long as the extension is enabled.
reader = GapReader()
