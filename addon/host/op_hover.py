"""Operators that switch the gap read-out at the pointer on and off and let it follow the pointer.

It is no modal operator: one of those, left on for an hour, would keep Blender from saving its recovery file that long.
The pointer is followed by an entry of the key map whose operator hands every move on, and asks for nothing while off.
"""

from __future__ import annotations

from typing import Any

from bpy.types import Operator

from .gap_reader import reader
from .view import redraw


class LINKWRIGHT_OT_read_gap(Operator):
    """Read the gap at the pointer: point at a link, and how far the next one is stands beside the pointer."""

    bl_idname = "linkwright.read_gap"
    bl_label = "Read Gap at Pointer"
    bl_description = (
        "Show beside the pointer, while it is over a link, the gap at that place: in the model, as it prints, and to "
        "which link. Esc or this button ends it"
    )
    bl_options = set()

    def execute(self, context: Any) -> set[str]:
        """Switch it on, or off."""
        if reader.on:
            reader.stop()
        else:
            reader.start()
        _show(context)
        return {"FINISHED"}


class LINKWRIGHT_OT_follow_pointer(Operator):
    """Let the gap read-out follow the pointer."""

    bl_idname = "linkwright.follow_pointer"
    bl_label = "Read Gap: Follow Pointer"
    bl_description = "Let the gap read-out follow the pointer; every move is handed on"
    bl_options = {"INTERNAL"}

    @classmethod
    def poll(cls, _context: Any) -> bool:
        """Ask for nothing while it is off."""
        return reader.on

    def invoke(self, context: Any, event: Any) -> set[str]:
        """Read where the pointer is."""
        for area in reader.follow(context, event.mouse_x, event.mouse_y):
            area.tag_redraw()
        return {"PASS_THROUGH"}


class LINKWRIGHT_OT_stop_reading(Operator):
    """End the gap read-out."""

    bl_idname = "linkwright.stop_reading"
    bl_label = "Read Gap: End"
    bl_description = "End the gap read-out at the pointer"
    bl_options = {"INTERNAL"}

    @classmethod
    def poll(cls, _context: Any) -> bool:
        """Leave the key to others while it is off."""
        return reader.on

    def execute(self, context: Any) -> set[str]:
        """Switch it off."""
        reader.stop()
        _show(context)
        return {"FINISHED"}


def _show(context: Any) -> None:
    """Draw views and panels as they are now; the view its button stands in has several regions."""
    redraw(context)
    for window in context.window_manager.windows:
        for area in window.screen.areas:
            if area.type == "VIEW_3D":
                for region in area.regions:
                    region.tag_redraw()
