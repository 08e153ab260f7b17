"""The first panel: the link, what it makes, and how freely it moves."""

from __future__ import annotations

from functools import partial
from typing import Any

from bpy.types import Panel

from .chain_object import refusal
from .op_chain import ways
from .options import FAMILIES, READ_FROM_MESH, TAPERED, used
from .panel_names import message_words
from .panel_parts import SHORT_NAME_PX, StepPanel, optional, pair, pair_lines, progress, wrapped
from .panel_trouble import draw_trouble
from .presets import LINKWRIGHT_PT_link_presets
from .result_state import state_of
from .steps_status import OPERATORS, next_step
from .translated import told
from .units import is_millimetres, unit_words

NEXT = {
    "inspect": "Next: Inspect",
    "feed": "Next: Add Lattice",
    "print": "Next: Check Print",
    "cast": "Next: Plan Cast",
    "export": "Next: Export",
}
SIZE_NAMES = {
    "wire_mm": "Wire (mm)",
    "link_length_mm": "Length (mm)",
    "link_width_mm": "Width (mm)",
    "long_link_mm": "Long (mm)",
}


class LINKWRIGHT_PT_chain(StepPanel, Panel):
    """The link: family and sizes."""

    bl_label = "Chain"
    bl_order = 0
    step = "chain"
    presets = LINKWRIGHT_PT_link_presets

    def draw(self, context: Any) -> None:
        """Draw the link's sizes, or the first step where there is no chain."""
        layout, ob = self.prepare(context)
        draw_trouble(layout, context)
        if ob is None:
            _first_step(layout, context)
            return
        group = ob.linkwright
        _next(layout, context, ob)
        layout.prop(ob, "name", text=told("Chain"), translate=False)
        column = layout.column()
        column.enabled = not refusal(ob)
        column.prop(group, "family")
        _sizes(column, group)
        if group.figures.message:
            _trouble(layout, context, group)
        else:
            _figures(layout, context, group.figures)
        for idname, title, draw in (
            ("linkwright_section", "Section", _section),
            ("linkwright_taper", "Taper", _taper),
            ("linkwright_play", "Free Play", _play),
            ("linkwright_resize", "Resize", _resize),
        ):
            if idname in ("linkwright_section", "linkwright_taper") and group.family not in TAPERED:
                # A link mesh is what it is.
                continue
            header, body = layout.panel(idname, default_closed=True)
            header.label(text=told(title), translate=False)
            if body:
                body.enabled = not refusal(ob)
                draw(body, context, group)
        header, body = layout.panel("linkwright_more_chains", default_closed=True)
        header.label(text="Add or Load")
        if body:
            _files(body, context)


def _next(layout: Any, context: Any, ob: Any) -> None:
    """Offer what moves the job on, or show how far the work is that runs."""
    state = state_of(context)
    if state.running:
        progress(layout, state)
        return
    step = next_step(context, ob)
    if step is not None:
        layout.operator(OPERATORS[step], text=NEXT[step], icon="TRIA_RIGHT")


def _sizes(column: Any, group: Any) -> None:
    own = group.family == "mesh"
    if own:
        column.prop(group, "own_link")
        column.prop(group, "axis_by")
        if group.axis_by == "OWN":
            column.prop(group, "axis", text="")
    else:
        for name in READ_FROM_MESH:
            column.prop(group, name, text=SIZE_NAMES[name])
    for name in FAMILIES[group.family].fields:
        column.prop(group, name, text=SIZE_NAMES.get(name))
    column.prop(group, "gap_mm")
    if own and group.figures.own_stale:
        column.label(text="Out of date: the link mesh was changed", icon="ERROR")
        column.operator("linkwright.follow_curve", text="Read Link Again", icon="FILE_REFRESH")


def _trouble(layout: Any, context: Any, group: Any) -> None:
    box = layout.box()
    column = box.column(align=True)
    column.alert = True
    wrapped(column, context, message_words(group.figures.message), icon="CANCEL")
    column.label(text="Shown: the last sizes that work", icon="BLANK1")
    if group.family != "mesh" and group.figures.message.startswith("chain."):
        box.operator("linkwright.usual_sizes", icon="LOOP_BACK")


def _figures(layout: Any, context: Any, figures: Any) -> None:
    state = state_of(context)
    box = layout.box()
    column = box.column(align=True)
    put = partial(pair, name_px=SHORT_NAME_PX)
    checking = bool(state.checking)
    measured = "measured" if figures.verified else ("checking" if checking else "estimated")
    where = "inside" if figures.round_worn else "end to end"
    put(column, "Links", str(figures.links))
    pitches = figures.pitches.split(", ") if figures.pitches else [f"{figures.pitch_mm:.2f} mm"]
    pair_lines(column, "Pitch", pitches, name_px=SHORT_NAME_PX)
    put(column, "Gap", f"{figures.gap_mm:.3f} mm, {measured}")
    put(column, "Worn", f"{figures.worn_mm:.1f} mm {where}")
    put(column, "Printed", f"{figures.printed_mm:.1f} mm {where}")
    if figures.chain_g:
        put(column, "Weight", f"{figures.chain_g:.1f} g in {figures.weighed_in}")
    if figures.clasp_mm:
        put(column, "Clasp", f"{figures.clasp_mm:.1f} mm of the worn")
    if figures.own_sizes:
        put(column, "Link", figures.own_sizes)
    if len(figures.play) and figures.play_stamp == figures.stamp:
        put(column, "Bends", figures.play_short)
    elif checking:
        put(column, "Bends", "checking")
    if figures.eased:
        wrapped(column, context, figures.eased)
    if figures.play_stop and figures.play_stamp == figures.stamp:
        alarm = box.column(align=True)
        alarm.alert = True
        wrapped(alarm, context, figures.play_stop, icon="CANCEL")
    if not figures.verified and not checking:
        box.operator("linkwright.verify", icon="CHECKMARK")


def _section(body: Any, _context: Any, group: Any) -> None:
    for name in used(group.family, group.section):
        if name == "section":
            row = body.row(align=True)
            row.use_property_split = False
            for kind in FAMILIES[group.family].kinds:
                row.prop_enum(group, "section", kind)
        elif name == "corner_mm":
            optional(body, group, "own_corner", "corner_mm", "Corners (mm)")
        elif name not in FAMILIES[group.family].fields:
            body.prop(group, name, text="Broad (mm)" if name == "wire_width_mm" else None)
    body.prop(group, "chord_mm", text="Fine (mm)")


def _taper(body: Any, _context: Any, group: Any) -> None:
    body.prop(group, "tapered", text="To Another Size")
    column = body.column()
    column.active = group.tapered
    for name, text in (
        ("end_wire_mm", "Wire (mm)"),
        ("end_link_length_mm", "Length (mm)"),
        ("end_link_width_mm", "Width (mm)"),
    ):
        column.prop(group, name, text=told(text), translate=False)


def _play(body: Any, context: Any, group: Any) -> None:
    figures = group.figures
    if not len(figures.play):
        body.label(text="Not measured yet")
    elif figures.play_stamp != figures.stamp:
        body.label(text="Out of date: measured for other sizes", icon="ERROR")
    else:
        for row in figures.play:
            column = body.column(align=True)
            if len(figures.play) > 1:
                column.label(text=told(row.name.capitalize()), translate=False)
            for name, value in (
                ("Over the face", row.over),
                ("Edgewise", row.edgewise),
                ("Twist", row.twist),
                ("Slide", row.slide),
            ):
                pair_lines(column, name, value.split(", "))
        column = body.column(align=True)
        column.label(text="Tightest curve it lies on")
        pair(column, "Over the face", figures.least_over)
        pair(column, "Edgewise", figures.least_edge)
    if not state_of(context).checking:
        body.operator("linkwright.verify", text="Measure", icon="CHECKMARK")


def _resize(body: Any, context: Any, group: Any) -> None:
    body.prop(group, "target_width_mm", text="Width (mm)")
    body.operator("linkwright.resize", text="Resize, Gap Held", icon="FULLSCREEN_ENTER")
    figures = group.figures
    if figures.least_width_mm and figures.least_width_stamp == figures.stamp:
        wrapped(
            body.column(align=True), context,
            f"Below {figures.least_width_mm:.2f} mm wide the joints of this design close up at a gap of "
            f"{group.gap_mm:.2f} mm",
        )  # fmt: skip
    else:
        body.operator("linkwright.least_width", icon="VIEWZOOM")


def _first_step(layout: Any, context: Any) -> None:
    layout.label(text="First make a chain", icon="TRIA_RIGHT")
    _add_buttons(layout, context)
    layout.label(text="Or select meshes to inspect")
    if not is_millimetres(context.scene):
        layout.separator()
        layout.label(text=told(unit_words(context.scene)), icon="INFO", translate=False)
        layout.operator("linkwright.set_millimetres")


def _add_buttons(layout: Any, context: Any) -> None:
    ways(layout.column(align=True), context)
    column = layout.column(align=True)
    column.menu("LINKWRIGHT_MT_samples", icon="FILE_FOLDER")
    column.operator("linkwright.load_job", text="Load Job File", icon="IMPORT")


def _files(layout: Any, context: Any) -> None:
    _add_buttons(layout, context)
    layout.operator("linkwright.save_job", text="Save Job File", icon="FILE_TICK")
