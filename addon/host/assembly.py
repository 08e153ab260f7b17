"""What is registered with Blender, in its order."""

from typing import Any

import bpy

from . import (
    command,
    figures,
    gauge_readings,
    gizmos,
    handlers,
    keys,
    manual,
    menus,
    op_chain,
    op_drag,
    op_export,
    op_feed,
    op_gate,
    op_gauge,
    op_hover,
    op_inspect,
    op_mend,
    op_preview,
    op_print,
    op_samples,
    op_size,
    op_strut,
    outcomes,
    panel_cast,
    panel_chain,
    panel_feed,
    panel_gauge,
    panel_layout,
    panel_print,
    panels,
    presets,
    properties,
    result_state,
    scene_properties,
)
from .cast_view import cast_view
from .checking import checker
from .gap_colours import colours
from .gap_reader import reader
from .live_lattice import live
from .mending import mender
from .overlay import Overlay
from .print_view import section
from .reasons import reasons
from .registry import Registry
from .translated import register_texts, unregister_texts

CLASSES = (
    figures.LINKWRIGHT_PG_size,
    figures.LINKWRIGHT_PG_play,
    figures.LINKWRIGHT_PG_figures,
    properties.LINKWRIGHT_PG_gate,
    properties.LINKWRIGHT_PG_object,
    scene_properties.LINKWRIGHT_PG_scene,
    gauge_readings.LINKWRIGHT_PG_reading,
    gauge_readings.LINKWRIGHT_PG_gauge,
    result_state.LINKWRIGHT_PG_figure,
    result_state.LINKWRIGHT_PG_finding,
    result_state.LINKWRIGHT_PG_override,
    result_state.LINKWRIGHT_PG_line,
    result_state.LINKWRIGHT_PG_lever,
    result_state.LINKWRIGHT_PG_watched,
    result_state.LINKWRIGHT_PG_layout,
    result_state.LINKWRIGHT_PG_way,
    result_state.LINKWRIGHT_PG_stood,
    outcomes.LINKWRIGHT_PG_outcome,
    result_state.LINKWRIGHT_PG_state,
    op_samples.LINKWRIGHT_OT_open_sample,
    op_samples.LINKWRIGHT_MT_samples,
    op_chain.LINKWRIGHT_OT_add_chain,
    op_chain.LINKWRIGHT_MT_add,
    op_chain.LINKWRIGHT_OT_follow_curve,
    op_chain.LINKWRIGHT_OT_verify,
    op_chain.LINKWRIGHT_OT_set_millimetres,
    op_size.LINKWRIGHT_OT_lay_out_as,
    op_size.LINKWRIGHT_OT_take_size,
    op_size.LINKWRIGHT_OT_usual_sizes,
    op_size.LINKWRIGHT_OT_resize,
    op_size.LINKWRIGHT_OT_least_width,
    op_mend.LINKWRIGHT_OT_mend_chain,
    op_preview.LINKWRIGHT_OT_preview_worn,
    op_preview.LINKWRIGHT_OT_compare_layouts,
    op_inspect.LINKWRIGHT_OT_inspect,
    op_inspect.LINKWRIGHT_OT_frame_finding,
    op_inspect.LINKWRIGHT_OT_clear_findings,
    op_gauge.LINKWRIGHT_OT_add_gauge,
    op_gauge.LINKWRIGHT_OT_add_reading,
    op_gauge.LINKWRIGHT_OT_remove_reading,
    op_gauge.LINKWRIGHT_OT_calibrate,
    op_feed.LINKWRIGHT_OT_add_lattice,
    op_feed.LINKWRIGHT_OT_remove_lattice,
    op_feed.LINKWRIGHT_OT_plan_cast,
    op_gate.LINKWRIGHT_OT_add_gate,
    op_gate.LINKWRIGHT_OT_take_gates,
    op_gate.LINKWRIGHT_OT_lead_gate,
    op_strut.LINKWRIGHT_OT_pin_gate,
    op_strut.LINKWRIGHT_OT_remove_gate,
    op_strut.LINKWRIGHT_OT_clear_edits,
    op_drag.LINKWRIGHT_OT_drag_size,
    op_drag.LINKWRIGHT_OT_drag_width,
    op_hover.LINKWRIGHT_OT_read_gap,
    op_hover.LINKWRIGHT_OT_follow_pointer,
    op_hover.LINKWRIGHT_OT_stop_reading,
    op_print.LINKWRIGHT_OT_check_print,
    op_print.LINKWRIGHT_OT_find_way_up,
    op_print.LINKWRIGHT_OT_apply_way_up,
    op_export.LINKWRIGHT_OT_export,
    op_export.LINKWRIGHT_OT_save_job,
    op_export.LINKWRIGHT_OT_load_job,
    panels.LINKWRIGHT_UL_findings,
    panel_feed.LINKWRIGHT_UL_gates,
    panel_gauge.LINKWRIGHT_UL_readings,
    panel_print.LINKWRIGHT_UL_ways,
    panel_chain.LINKWRIGHT_PT_chain,
    panel_layout.LINKWRIGHT_PT_layout,
    panels.LINKWRIGHT_PT_inspect,
    panel_gauge.LINKWRIGHT_PT_gauge,
    panel_feed.LINKWRIGHT_PT_feed,
    panel_print.LINKWRIGHT_PT_print,
    panel_print.LINKWRIGHT_PT_ways,
    panel_cast.LINKWRIGHT_PT_cast,
    panels.LINKWRIGHT_PT_export,
    *presets.CLASSES,
)

# What stands registered; Blender itself is this state's owner, the list only remembers how to take it back.
_standing = Registry()


def assembled() -> bool:
    """Tell whether something stands registered."""
    return bool(_standing)


def assemble() -> None:
    """Register everything; when a step fails, take back those before it and raise."""
    try:
        _assemble(_standing)
    except BaseException:
        _standing.undo()
        raise


def take_apart() -> None:
    """Take back everything."""
    _standing.undo()


def _assemble(registry: Registry) -> None:
    registry.types(*CLASSES)
    register_texts(CLASSES)
    registry.did(unregister_texts)
    make: Any = bpy.props
    registry.prop(bpy.types.Object, "linkwright", make.PointerProperty(type=properties.LINKWRIGHT_PG_object))
    registry.prop(bpy.types.Scene, "linkwright", make.PointerProperty(type=scene_properties.LINKWRIGHT_PG_scene))
    registry.prop(bpy.types.Scene, "linkwright_gauge", make.PointerProperty(type=gauge_readings.LINKWRIGHT_PG_gauge))
    registry.prop(bpy.types.WindowManager, "linkwright", make.PointerProperty(type=result_state.LINKWRIGHT_PG_state))
    registry.prop(bpy.types.Collection, "linkwright_parts", make.BoolProperty(name="Parts of a Chain"))
    remembered = make.StringProperty(name="What Its Chain Was Asked For", options={"HIDDEN"})
    registry.prop(bpy.types.Collection, "linkwright_settings", remembered)
    registry.prop(bpy.types.Collection, "linkwright_set", make.StringProperty(name="Objects over This Lattice"))
    registry.preset_path(presets.SHIPPED)
    app = bpy.app.handlers
    registry.handler(app.load_pre, handlers.before_load)
    registry.handler(app.load_post, handlers.after_load)
    registry.handler(app.undo_post, handlers.after_undo)
    registry.handler(app.redo_post, handlers.after_undo)
    registry.handler(app.depsgraph_update_post, handlers.edited)
    registry.menu(bpy.types.VIEW3D_MT_add, add_menu)
    registry.menu(bpy.types.TOPBAR_MT_help, manual.help_menu)
    bpy.utils.register_manual_map(manual.manual_map)
    registry.did(lambda: bpy.utils.unregister_manual_map(manual.manual_map))
    registry.types(menus.LINKWRIGHT_MT_chain)
    registry.menu(bpy.types.VIEW3D_MT_object, menus.object_menu)
    registry.types(gizmos.LINKWRIGHT_GGT_sizes, gizmos.LINKWRIGHT_GGT_gate)
    registry.menu(bpy.types.VIEW3D_PT_gizmo_display, gizmos.handles_switch)
    keys.register_keys(registry)
    registry.did(reader.stop)
    registry.menu(bpy.types.TOPBAR_MT_file_export, op_export.export_menu)
    registry.menu(bpy.types.TOPBAR_MT_file_import, op_export.import_menu)
    registry.did(checker.stop)
    registry.did(handlers.later.stop)
    registry.did(live.stop)
    registry.did(mender.stop)
    registry.did(reasons.stop)
    op_samples.known.start()
    registry.did(op_samples.known.stop)
    colours.start()
    registry.did(colours.stop)
    registry.did(cast_view.stop)
    section.start()
    registry.did(section.stop)
    overlay = Overlay()
    overlay.start()
    registry.did(overlay.stop)
    made = command.register_command()
    if made is not None:
        registry.did(lambda: bpy.utils.unregister_cli_command(made))


def add_menu(menu: Any, _context: Any) -> None:
    """Offer chains in the Add menu."""
    menu.layout.separator()
    menu.layout.menu("LINKWRIGHT_MT_add", icon="LINKED")
