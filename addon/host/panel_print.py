"""The panel that asks whether the piece prints, and under it the ways to stand it on the plate."""

from __future__ import annotations

from typing import Any

from bpy.types import Panel, UIList

from .current import dated_now, is_current
from .gap_colours import colours
from .outcomes import outcome_of
from .panel_parts import JobPanel, StepPanel, anything, pair, why_stale, wrapped
from .print_view import section
from .result_state import state_of
from .translated import told

CAUTION = "Uncured resin harms skin and lungs. Gloves, fresh air, and what the maker's data sheet says"
# The columns of the table of ways, each a share of what the one before left: the way, starts, undersides, height.
SHARES = (0.41, 0.25, 0.51)


class LINKWRIGHT_UL_ways(UIList):
    """The ways to stand the piece on the plate, the best first."""

    def draw_item(
        self, _context: Any, layout: Any, _data: Any, item: Any, _icon: int, _active: Any, _name: str, _index: int = 0
    ) -> None:
        """Draw one row: the way, its figures, and the button that takes it."""
        row = layout.row(align=True)
        _columns(row, item.name, f"{item.islands}", f"{item.underside_mm2:.0f}", f"{item.height_mm:.1f}")
        take = row.row(align=True)
        icon = "CANCEL" if item.refusal else "IMPORT"
        take.operator("linkwright.apply_way_up", text="", icon=icon).index = _index


class LINKWRIGHT_PT_print(StepPanel, Panel):
    """Whether the piece prints as it stands."""

    bl_label = "Print"
    bl_order = 4
    step = "print"

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Show where there is something to print, or something that was checked."""
        return anything(context)

    def draw(self, context: Any) -> None:
        """Draw the button, the figures of the last check, and what is shown of it in the view."""
        layout, ob = self.prepare(context)
        state, group = state_of(context), context.scene.linkwright
        layout.prop(group, "light")
        layout.operator("linkwright.check_print", icon="RENDERLAYERS")
        if not len(state.print_figures):
            wrapped(layout.column(align=True), context, state.print_note or _unseen(state, ob))
            return
        _freshness(layout, context, ob, state)
        box = layout.box().column(align=True)
        for row in state.print_figures:
            pair(box, row.name, row.value)
        if state.print_note:
            wrapped(layout.column(align=True), context, state.print_note, icon="INFO")
        if section.kept_for(state):
            _layer(layout, state)
        layout.prop(state, "colours")
        if colours.kept_for(state, "LIGHT"):
            row = layout.row(align=True)
            row.active = state.colours
            row.use_property_split = False
            for kind in ("GAPS", "LIGHT"):
                row.prop_enum(state, "colour_by", kind)
        wrapped(layout.column(align=True), context, CAUTION, icon="ERROR")


class LINKWRIGHT_PT_ways(JobPanel, Panel):
    """The ways to stand the piece on the plate."""

    bl_label = "Which Way Up"
    bl_parent_id = "LINKWRIGHT_PT_print"
    bl_order = 1
    bl_options = {"DEFAULT_CLOSED"}

    def draw(self, context: Any) -> None:
        """Draw the button and the table."""
        layout, ob = self.prepare(context)
        state = state_of(context)
        layout.operator("linkwright.find_way_up", icon="ORIENTATION_GIMBAL")
        if not len(state.ways):
            return
        if state.ways_subject and (ob is None or ob.name != state.ways_subject):
            layout.label(text=told(f"Belongs to {state.ways_subject}"), icon="INFO", translate=False)
        elif state.ways_stamp != (
            dated_now(ob, context.scene) if state.ways_subject else context.scene.linkwright.stamp
        ):
            layout.label(text="Out of date: compare again", icon="ERROR")
        column = layout.column(align=True)
        wrapped(column, context, state.ways_said[:1].upper() + state.ways_said[1:])
        column.separator()
        wrapped(column, context, "Starts in mid-air, undersides in mm2, height in mm")
        layout.template_list("LINKWRIGHT_UL_ways", "", state, "ways", state, "way_active", rows=5)
        if 0 <= state.way_active < len(state.ways):
            _way(layout.box().column(align=True), context, state.ways[state.way_active])
        wrapped(layout.column(align=True), context, "Starts are counted in coarse layers: check the way you take")


def _unseen(state: Any, ob: Any) -> str:
    """Say why there is nothing to show."""
    if ob is not None and outcome_of(state, "print", ob.name) is not None:
        return "Checked. What came after took its place: Check Print shows layers and light again"
    return "Not checked yet: press Check Print"


def _freshness(layout: Any, context: Any, ob: Any, state: Any) -> None:
    """Say whose the check is, or that it is out of date."""
    scene = context.scene
    if state.subject and (ob is None or ob.name != state.subject):
        layout.label(text=told(f"Belongs to {state.subject}"), icon="INFO", translate=False)
    elif not state.subject and state.scene != scene.name:
        layout.label(text=told(f"Belongs to the scene {state.scene}"), icon="INFO", translate=False)
    elif state.turned:
        layout.label(text="Out of date: turned since", icon="ERROR")
    elif not is_current(state, scene):
        layout.label(text="Out of date: check again", icon="ERROR")
        if ob is not None:
            why_stale(layout, context, ob, "print")


def _layer(layout: Any, state: Any) -> None:
    column = layout.column(align=True)
    column.prop(state, "section")
    shown = column.column(align=True)
    shown.active = state.section
    shown.prop(state, "section_share", slider=True)
    shown.prop(state, "section_mm")
    if state.section:
        for row in state.section_figures:
            pair(shown, row.name, row.value)


def _columns(row: Any, *texts: str) -> None:
    """Put the four columns of the table beside each other."""
    for text, share in zip(texts, (*SHARES, None), strict=True):
        if share is not None:
            row = row.split(factor=share, align=True)
        row.label(text=told(text), translate=False)


def _way(column: Any, context: Any, row: Any) -> None:
    """Say all that is known of one way."""
    wrapped(column, context, row.called[:1].upper() + row.called[1:])
    if row.refusal:
        alarm = column.column(align=True)
        alarm.alert = True
        wrapped(alarm, context, f"Does not print: {row.refusal}", icon="CANCEL")
    for name, value in (
        ("In Mid-Air", f"{row.islands} start{'' if row.islands == 1 else 's'}"),
        ("Undersides", f"{row.underside_mm2:.0f} mm2"),
        ("Height", f"{row.height_mm:.1f} mm, {row.layers} layers"),
        ("Largest", f"{row.largest_mm2:.0f} mm2"),
        ("Room", row.size),
        ("Least Gap", row.gap),
    ):
        if value:
            pair(column, name, value)
