"""The extension's entries in Blender's key map: few, and none on a key that Blender's own maps use.

They stand in the key map of extensions, where every one of them can be changed or switched off.
"""

from typing import Any

import bpy

from .registry import Registry

# Key map, space, operator, key, how it is pressed, and held keys.
ENTRIES: tuple[tuple[str, str, str, str, str, dict[str, bool]], ...] = (
    ("3D View", "VIEW_3D", "linkwright.read_gap", "C", "PRESS", {"shift": True, "alt": True}),
    ("3D View", "VIEW_3D", "linkwright.stop_reading", "ESC", "PRESS", {}),
    ("Window", "EMPTY", "linkwright.follow_pointer", "MOUSEMOVE", "ANY", {"any": True}),
)


def register_keys(registry: Registry) -> None:
    """Add the entries; where Blender has no key maps, as without a window, there are none."""
    context: Any = bpy.context
    config = context.window_manager.keyconfigs.addon
    if config is None:
        return
    for name, space, operator, key, value, held in ENTRIES:
        keymap = config.keymaps.new(name=name, space_type=space, region_type="WINDOW")
        item = keymap.keymap_items.new(operator, type=key, value=value, **held)
        registry.did(lambda items=keymap.keymap_items, item=item: items.remove(item))
