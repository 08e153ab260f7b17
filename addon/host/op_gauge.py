"""Operators for the gauge: add its model, list what was measured on the print, and take it into the settings."""

from __future__ import annotations

from typing import Any

import bpy
from bpy.props import FloatProperty, IntProperty
from bpy.types import Operator
from mathutils import Vector

from ..rules.base.errors import LinkwrightError
from ..rules.inspect.calibration import calibrate
from ..rules.inspect.gauge import MOST_STATIONS, gauge
from ..rules.solid.mesh import Body
from ..verbs.gauge import found_lines
from .conversions import fill_mesh
from .gauge_readings import add_row, readings_of
from .long_work import may_add
from .panel_names import words_of
from .translated import told_report
from .units import exact, mm_per_unit
from .view import approach

NEXT_GAP_MM = 0.05


class LINKWRIGHT_OT_add_gauge(Operator):
    """Add a gauge: a row of loose links in a frame, their gaps going up in steps, figures engraved."""

    bl_idname = "linkwright.add_gauge"
    bl_label = "Add Gauge"
    bl_description = "Add a model to print once: loose links in a frame, their gaps going up in steps, engraved"
    bl_options = {"REGISTER", "UNDO"}

    least_mm: FloatProperty(
        name="Smallest Gap (mm)", description="Gap of the first station; usually 0.1 to 0.2", default=0.15, min=0.05,
        max=1.0, step=5, precision=3,
    )  # fmt: skip
    step_mm: FloatProperty(
        name="Step (mm)", description="How much wider each next gap is; usually 0.05, a whole number of layers "
        "prints true", default=0.05, min=0.005, max=0.5, step=1, precision=3,
    )  # fmt: skip
    stations: IntProperty(
        name="Stations", description="How many gaps the gauge has, one wider than the other; usually 8 to 12",
        default=10, min=1, max=MOST_STATIONS,
    )  # fmt: skip

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Ask for Object Mode and an editable collection."""
        return may_add(cls, context)

    def invoke(self, context: Any, _event: Any) -> set[str]:
        """Add it and go near where the view looks elsewhere."""
        done = self.execute(context)
        if done == {"FINISHED"}:
            frame = context.active_object
            low, high = (frame.matrix_world @ _corner(frame, end) for end in (0, 6))
            approach(context, tuple((low + high) / 2), (high - low).length / 2)
        return done

    def execute(self, context: Any) -> set[str]:
        """Make the bodies objects that stand on the plate at the 3D cursor, selected; list their gaps to be read."""
        least, step = exact(self.least_mm), exact(self.step_mm)
        gaps = [round(least + k * step, 3) for k in range(self.stations)]
        try:
            bodies = gauge(gaps, layer_mm=exact(context.scene.linkwright.layer_mm))
        except LinkwrightError as error:
            self.report({"ERROR"}, words_of(error))
            return {"CANCELLED"}
        _show(context, bodies)
        readings = context.scene.linkwright_gauge
        if not len(readings.readings):
            for gap in gaps:
                add_row(readings, gap, "UPRIGHT")
                add_row(readings, gap, "LEVEL")
            readings.active = 0
        self.report(
            {"INFO"}, told_report(f"{len(gaps)} gaps from {gaps[0]:g} to {gaps[-1]:g} mm; print them as they stand")
        )
        return {"FINISHED"}


def _show(context: Any, bodies: tuple[Body, ...]) -> None:
    mm = mm_per_unit(context.scene)
    home: Any = bpy.data.collections.new("Gauge")
    context.collection.children.link(home)
    for other in context.selected_objects:
        other.select_set(False)
    frame: Any = None
    for body in bodies:
        data: Any = bpy.data.meshes.new(body.name)
        fill_mesh(data, body.points() / mm, body.mesh.triangles, smooth=False)
        ob: Any = bpy.data.objects.new(body.name, data)
        home.objects.link(ob)
        if frame is None:
            frame = ob
            frame.location = (*context.scene.cursor.location[:2], 0.0)
        else:
            ob.parent = frame
        ob.select_set(True)
    context.view_layer.objects.active = frame
    context.view_layer.update()


def _corner(ob: Any, number: int) -> Any:
    return Vector(ob.bound_box[number])


class LINKWRIGHT_OT_add_reading(Operator):
    """Add a row to the readings of the printed gauge."""

    bl_idname = "linkwright.add_reading"
    bl_label = "Add Reading"
    bl_description = "Add a row for one gap of the printed gauge"
    bl_options = {"REGISTER", "UNDO"}

    def execute(self, context: Any) -> set[str]:
        """Add the next gap, of the same kind as the row that is selected."""
        group = context.scene.linkwright_gauge
        if 0 <= group.active < len(group.readings):
            row = group.readings[group.active]
            add_row(group, min(exact(row.gap_mm) + NEXT_GAP_MM, 5.0), row.face)
        else:
            add_row(group, 0.3, "UPRIGHT")
        group.said = ""
        return {"FINISHED"}


class LINKWRIGHT_OT_remove_reading(Operator):
    """Remove the selected row of the readings."""

    bl_idname = "linkwright.remove_reading"
    bl_label = "Remove Reading"
    bl_description = "Remove the selected reading"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Ask for a selected row."""
        group = context.scene.linkwright_gauge
        if not 0 <= group.active < len(group.readings):
            cls.poll_message_set("No reading is selected")
            return False
        return True

    def execute(self, context: Any) -> set[str]:
        """Remove it."""
        group = context.scene.linkwright_gauge
        group.readings.remove(group.active)
        group.active = max(0, min(group.active, len(group.readings) - 1))
        group.said = ""
        return {"FINISHED"}


class LINKWRIGHT_OT_calibrate(Operator):
    """Take bleed and over-cure from the readings into the limits of the inspection."""

    bl_idname = "linkwright.calibrate"
    bl_label = "Apply Readings"
    bl_description = "Find bleed and over-cure from the readings, and set them in the limits above"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Ask for a reading."""
        if not any(row.stuck or row.measured_mm > 0.0 for row in context.scene.linkwright_gauge.readings):
            cls.poll_message_set("No gap is read yet: write what was measured on the printed gauge into the list")
            return False
        return True

    def execute(self, context: Any) -> set[str]:
        """Set what was found, and keep the words for the panel."""
        group, limits = context.scene.linkwright_gauge, context.scene.linkwright
        try:
            found = calibrate(readings_of(group), scale=exact(group.scale))
        except LinkwrightError as error:
            self.report({"ERROR"}, words_of(error))
            return {"CANCELLED"}
        values = found.profile_values()
        if not group.take_floor:
            values.pop("gap_floor_mm", None)
        for key, value in values.items():
            setattr(limits, key, value)
        group.said = "\n".join(found_lines(found))
        named = ", ".join(f"{limits.bl_rna.properties[key].name} {value:g}" for key, value in values.items())
        self.report({"WARNING"} if found.notes else {"INFO"}, told_report(f"Set: {named}"))
        return {"FINISHED"}
