"""The gauge's panel, under Inspect: add it, list what was measured on its print, and take that into the limits."""

from __future__ import annotations

from typing import Any

from bpy.types import Panel, UIList

from .gauge_readings import FACE_ITEMS
from .panel_parts import JobPanel, wrapped
from .translated import told
from .units import exact

FACE_NAMES = {item[0]: item[1].lower() for item in FACE_ITEMS}


class LINKWRIGHT_UL_readings(UIList):
    """The readings of the printed gauge, to be written into the rows themselves."""

    def draw_item(
        self, _context: Any, layout: Any, _data: Any, item: Any, _icon: int, _active: Any, _name: str, _index: int = 0
    ) -> None:
        """Draw one row: the station's gap, which of its gaps, and what was measured or that it is stuck (a lock)."""
        layout.use_property_split = False
        split = layout.split(factor=0.5)
        # A narrow number field drops decimals, and here every one counts: the gap is a text, edited under the list.
        split.label(text=f"{exact(item.gap_mm):g} {told(FACE_NAMES[item.face])}", translate=False)
        row = split.row(align=True)
        measured = row.row(align=True)
        measured.active = not item.stuck
        measured.prop(item, "measured_mm", text="")
        row.prop(item, "stuck", text="", icon="LOCKED" if item.stuck else "UNLOCKED")


class LINKWRIGHT_PT_gauge(JobPanel, Panel):
    """The gauge, and what its print says of the printer."""

    bl_label = "Gauge"
    bl_parent_id = "LINKWRIGHT_PT_inspect"
    bl_order = 2
    bl_options = {"DEFAULT_CLOSED"}

    def draw(self, context: Any) -> None:
        """Draw the readings and what was found from them."""
        layout, _ = self.prepare(context)
        group = context.scene.linkwright_gauge
        layout.operator("linkwright.add_gauge", icon="ADD")
        if not len(group.readings):
            wrapped(
                layout.column(align=True),
                context,
                "Print a gauge once, then list here the thickest strip that goes into each of its gaps",
            )
        split = layout.row()
        split.template_list("LINKWRIGHT_UL_readings", "", group, "readings", group, "active", rows=4)
        buttons = split.column(align=True)
        buttons.operator("linkwright.add_reading", text="", icon="ADD")
        buttons.operator("linkwright.remove_reading", text="", icon="REMOVE")
        if 0 <= group.active < len(group.readings):
            row = group.readings[group.active]
            for name in ("gap_mm", "face", "measured_mm", "stuck"):
                layout.prop(row, name)
            layout.separator()
        layout.prop(group, "scale")
        layout.prop(group, "take_floor")
        layout.operator("linkwright.calibrate", icon="CHECKMARK")
        if group.said:
            box = layout.box().column(align=True)
            for line in group.said.splitlines():
                wrapped(box, context, line)
