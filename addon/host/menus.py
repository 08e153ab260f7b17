"""The menu Object > Chain: what the tab does, for the keyboard. Blender's own search (F3) looks through menus."""

from __future__ import annotations

from typing import Any

from bpy.types import Menu

# In the order of the job, with their options; None: a line between.
ENTRIES: tuple[tuple[str, dict[str, Any]] | None, ...] = (
    ("linkwright.drag_size", {}),
    ("linkwright.drag_width", {}),
    ("linkwright.resize", {}),
    ("linkwright.preview_worn", {}),
    ("linkwright.compare_layouts", {}),
    None,
    ("linkwright.inspect", {}),
    ("linkwright.read_gap", {}),
    ("linkwright.frame_finding", {}),
    None,
    ("linkwright.add_lattice", {}),
    ("linkwright.add_gate", {}),
    ("linkwright.take_gates", {}),
    ("linkwright.lead_gate", {}),
    ("linkwright.pin_gate", {"pin": True}),
    ("linkwright.remove_gate", {}),
    ("linkwright.clear_edits", {}),
    ("linkwright.remove_lattice", {}),
    None,
    ("linkwright.check_print", {}),
    ("linkwright.find_way_up", {}),
    ("linkwright.plan_cast", {}),
    ("linkwright.export", {}),
    None,
    ("linkwright.save_job", {}),
    ("linkwright.load_job", {}),
)


class LINKWRIGHT_MT_chain(Menu):
    """What can be done with a chain."""

    bl_idname = "LINKWRIGHT_MT_chain"
    bl_label = "Chain"

    def draw(self, _context: Any) -> None:
        """Draw the entries."""
        layout: Any = self.layout
        # A click starts what waits for the pointer as a button does.
        layout.operator_context = "INVOKE_DEFAULT"
        for entry in ENTRIES:
            if entry is None:
                layout.separator()
                continue
            made = layout.operator(entry[0])
            for name, value in entry[1].items():
                setattr(made, name, value)


def object_menu(menu: Any, _context: Any) -> None:
    """Offer the menu in Blender's Object menu."""
    menu.layout.separator()
    menu.layout.menu("LINKWRIGHT_MT_chain", icon="LINKED")
