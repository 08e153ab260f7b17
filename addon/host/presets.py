"""Presets of link, limits, feed and pour in Blender's own way: files in the user's own presets folder.

Some of links come with the extension, in its own folder. Blender writes them; they are read by an operator of ours, so
that taking one is one undo step and one rebuild.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any, ClassVar

import bpy
from bl_operators.presets import AddPresetBase
from bl_ui.utils import PresetPanel
from bpy.props import EnumProperty, StringProperty
from bpy.types import Operator, Panel

from ..rules.base.errors import BadInput, LinkwrightError
from .chain_object import chain_of, check_editable, rebuild
from .checking import checker
from .live_lattice import live
from .panel_names import words_of
from .process_settings import FEED_CHOICES, FEED_KEYS, PROFILE_KEYS, note_process
from .weighing import weigh_all

# Where the presets lie that come with the extension; Blender takes an extension's folder for read-only.
SHIPPED = str(Path(__file__).parent.parent / "data")

KIND_ITEMS = (
    ("LINK", "Link", "Family and sizes of the link", "NONE", 1),
    ("LIMITS", "Limits", "Limits of printer, resin and mould, and the scale", "NONE", 2),
    ("FEED", "Feed", "What is asked of the lattice", "NONE", 3),
    ("POUR", "Pour", "Metal, mould, flask and prices", "NONE", 4),
)
# What a preset file begins with: the settings it is about, of the chain that is active or whose part is.
OF_CHAIN = (
    "active = bpy.context.active_object",
    "settings = (active if active.linkwright.schema else active.parent).linkwright",
)
OF_SCENE = ("settings = bpy.context.scene.linkwright",)
# The link mesh of a chain belongs to its file, and so does the family that is made of it.
LINK_KEYS = (
    "family", "wire_mm", "link_length_mm", "link_width_mm", "gap_mm", "chord_mm", "section", "wire_width_mm",
    "own_corner", "corner_mm", "strands", "facet_mm", "repeat", "long_link_mm", "stud_mm", "tapered", "end_wire_mm",
    "end_link_length_mm", "end_link_width_mm",
)  # fmt: skip
LIMIT_KEYS = ("profile", *PROFILE_KEYS, "auto_scale", "scale")
POUR_KEYS = (
    "alloy", "investment", "resin", "head", "metal_c", "flask_c", "own_flask", "flask_diameter_mm", "flask_height_mm",
    "tilt", "spin_arm", "metal_price_per_g", "investment_price_per_kg", "currency",
)  # fmt: skip
LATTICE_KEYS = (*FEED_KEYS, *FEED_CHOICES, "fillet_mm")
KEYS = {"LINK": LINK_KEYS, "LIMITS": LIMIT_KEYS, "FEED": LATTICE_KEYS, "POUR": POUR_KEYS}


class LINKWRIGHT_OT_take_preset(Operator):
    """Take the settings of a preset."""

    bl_idname = "linkwright.take_preset"
    bl_label = "Take Preset"
    bl_description = "Take the settings of this preset in place of those there are"
    bl_options = {"REGISTER", "UNDO", "INTERNAL"}

    filepath: StringProperty(
        name="File", description="The preset's file", subtype="FILE_PATH", options={"SKIP_SAVE", "HIDDEN"}
    )
    kind: EnumProperty(
        name="Kind", description="What the preset is about", items=KIND_ITEMS, default="LINK", options={"HIDDEN"}
    )

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Ask for a scene that can be changed."""
        if context.scene.library is not None:
            cls.poll_message_set("The scene is linked from another file: make it local first")
            return False
        return True

    def execute(self, context: Any) -> set[str]:
        """Set all of it together; what cannot be used or built leaves everything as it was."""
        ob = chain_of(context.active_object)
        try:
            if self.kind != "LINK":
                _take(context.scene.linkwright, KEYS[self.kind], self.filepath)
            elif ob is None:
                raise BadInput("no chain is selected; click a chain or one of its links")
            else:
                check_editable(ob)
                before = _values(ob.linkwright, LINK_KEYS)
                _take(ob.linkwright, LINK_KEYS, self.filepath)
                try:
                    rebuild(ob, context)
                except LinkwrightError:
                    _put(ob.linkwright, before)
                    raise
        except LinkwrightError as error:
            self.report({"ERROR"}, words_of(error))
            return {"CANCELLED"}
        if self.kind == "LINK":
            checker.ask(ob)
        else:
            note_process(context.scene.linkwright)
            weigh_all(context.scene)
            live.ask()
        return {"FINISHED"}


def _take(group: Any, keys: Sequence[str], filepath: str) -> None:
    """Run a preset, which is a Python file that sets properties. Raises BadInput, and then has set nothing."""
    before = _values(group, keys)
    group.hold = True
    try:
        bpy.utils.execfile(filepath)
    except (OSError, SyntaxError, NameError, AttributeError, TypeError, ValueError) as error:
        _put(group, before)
        raise BadInput(f"{Path(filepath).name}: cannot be used as a preset here ({error}); save it anew") from error
    finally:
        group.hold = False


def _values(group: Any, keys: Sequence[str]) -> dict[str, Any]:
    return {key: getattr(group, key) for key in keys}


def _put(group: Any, values: dict[str, Any]) -> None:
    group.hold = True
    try:
        for key, value in values.items():
            setattr(group, key, value)
    finally:
        group.hold = False


class _Presets(PresetPanel):
    """What our lists of presets share."""

    bl_space_type = "VIEW_3D"
    bl_region_type = "HEADER"
    preset_operator = "linkwright.take_preset"

    def draw(self: Any, context: Any) -> None:
        """List the presets, and at the end the field to name another."""
        if bpy.utils.preset_paths(self.preset_subdir):
            PresetPanel.draw(self, context)
            return
        # Blender calls a folder that was never needed so far a missing path.
        self.layout.label(text="Name what is set here to keep it")
        row = self.layout.row()
        row.prop(context.window_manager, "preset_name", text="")
        row.operator(self.preset_add_operator, text="", icon="ADD").name = context.window_manager.preset_name


class LINKWRIGHT_PT_link_presets(_Presets, Panel):
    """The presets of the link."""

    bl_label = "Link Presets"
    preset_subdir = "linkwright/link"
    preset_add_operator = "linkwright.link_preset_add"
    preset_operator_defaults: ClassVar = {"kind": "LINK"}

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Ask for a chain, whose link it would be."""
        return chain_of(context.active_object) is not None


class LINKWRIGHT_PT_limits_presets(_Presets, Panel):
    """The presets of the limits."""

    bl_label = "Limits Presets"
    preset_subdir = "linkwright/limits"
    preset_add_operator = "linkwright.limits_preset_add"
    preset_operator_defaults: ClassVar = {"kind": "LIMITS"}


class LINKWRIGHT_PT_feed_presets(_Presets, Panel):
    """The presets of the lattice."""

    bl_label = "Feed Presets"
    preset_subdir = "linkwright/feed"
    preset_add_operator = "linkwright.feed_preset_add"
    preset_operator_defaults: ClassVar = {"kind": "FEED"}


class LINKWRIGHT_PT_pour_presets(_Presets, Panel):
    """The presets of the pour."""

    bl_label = "Pour Presets"
    preset_subdir = "linkwright/pour"
    preset_add_operator = "linkwright.pour_preset_add"
    preset_operator_defaults: ClassVar = {"kind": "POUR"}


class LINKWRIGHT_OT_link_preset_add(AddPresetBase, Operator):
    """Keep or remove a preset of the link."""

    bl_idname = "linkwright.link_preset_add"
    bl_label = "Add Link Preset"
    bl_description = "Add a preset of the link's family and sizes, or remove one"
    preset_menu = "LINKWRIGHT_PT_link_presets"
    preset_subdir = "linkwright/link"
    preset_defines: ClassVar = list(OF_CHAIN)
    preset_values: ClassVar = [f"settings.{key}" for key in LINK_KEYS]

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Ask for a chain whose link is made from numbers."""
        ob = chain_of(context.active_object)
        if ob is None:
            cls.poll_message_set("Select a chain first")
            return False
        if ob.linkwright.family == "mesh":
            cls.poll_message_set("A link of your own mesh belongs to its file: choose another family first")
            return False
        return True


class LINKWRIGHT_OT_limits_preset_add(AddPresetBase, Operator):
    """Keep or remove a preset of the limits."""

    bl_idname = "linkwright.limits_preset_add"
    bl_label = "Add Limits Preset"
    bl_description = "Add a preset of the limits of printer, resin and mould, or remove one"
    preset_menu = "LINKWRIGHT_PT_limits_presets"
    preset_subdir = "linkwright/limits"
    preset_defines: ClassVar = list(OF_SCENE)
    preset_values: ClassVar = [f"settings.{key}" for key in LIMIT_KEYS]


class LINKWRIGHT_OT_feed_preset_add(AddPresetBase, Operator):
    """Keep or remove a preset of the lattice."""

    bl_idname = "linkwright.feed_preset_add"
    bl_label = "Add Feed Preset"
    bl_description = "Add a preset of what is asked of the lattice, or remove one"
    preset_menu = "LINKWRIGHT_PT_feed_presets"
    preset_subdir = "linkwright/feed"
    preset_defines: ClassVar = list(OF_SCENE)
    preset_values: ClassVar = [f"settings.{key}" for key in LATTICE_KEYS]


class LINKWRIGHT_OT_pour_preset_add(AddPresetBase, Operator):
    """Keep or remove a preset of the pour."""

    bl_idname = "linkwright.pour_preset_add"
    bl_label = "Add Pour Preset"
    bl_description = "Add a preset of metal, mould, flask and prices, or remove one"
    preset_menu = "LINKWRIGHT_PT_pour_presets"
    preset_subdir = "linkwright/pour"
    preset_defines: ClassVar = list(OF_SCENE)
    preset_values: ClassVar = [f"settings.{key}" for key in POUR_KEYS]


CLASSES = (
    LINKWRIGHT_OT_take_preset,
    LINKWRIGHT_PT_link_presets,
    LINKWRIGHT_PT_limits_presets,
    LINKWRIGHT_PT_feed_presets,
    LINKWRIGHT_PT_pour_presets,
    LINKWRIGHT_OT_link_preset_add,
    LINKWRIGHT_OT_limits_preset_add,
    LINKWRIGHT_OT_feed_preset_add,
    LINKWRIGHT_OT_pour_preset_add,
)
