"""The panel of the pour: what the piece weighs, what the plan says, and how the metal fills and freezes."""

from __future__ import annotations

from typing import Any

from bpy.types import Panel

from .cast_view import cast_view
from .current import dated_now
from .lattice_show import lattice_stamp
from .panel_parts import ChainPanel, freshness, pair, wrapped
from .presets import LINKWRIGHT_PT_pour_presets
from .result_state import state_of
from .translated import capital, told

CAUTION = (
    "Molten metal, fumes and silica dust can maim. The makers' data sheets, local codes and licensed practice rule"
)
KINDS = ("FILL", "FREEZE", "ORDER")


class LINKWRIGHT_PT_cast(ChainPanel, Panel):
    """Metal, flask and temperatures."""

    bl_label = "Cast"
    bl_order = 5
    step = "cast"
    presets = LINKWRIGHT_PT_pour_presets

    def draw(self, context: Any) -> None:
        """Draw the pour's settings, the weights, and the last plan."""
        layout, ob = self.prepare(context)
        scene, state = context.scene.linkwright, state_of(context)
        layout.prop(scene, "alloy")
        layout.prop(scene, "head")
        _weights(layout, context, ob)
        header, body = layout.panel("linkwright_pour", default_closed=True)
        header.label(text="Temperatures and Flask")
        if body:
            _pour(body, scene)
        header, body = layout.panel("linkwright_prices", default_closed=True)
        header.label(text=told("Prices"), translate=False)
        if body:
            body.prop(scene, "metal_price_per_g")
            body.prop(scene, "investment_price_per_kg", text="Mould per kg")
            body.prop(scene, "currency")
        layout.operator("linkwright.plan_cast", icon="MOD_FLUIDSIM")
        if len(state.plan):
            _plan(layout, context, ob, state)
        wrapped(layout.column(align=True), context, CAUTION, icon="ERROR")


def _weights(layout: Any, context: Any, ob: Any) -> None:
    """Say what the piece weighs as it is designed."""
    figures = ob.linkwright.figures
    if not figures.chain_g:
        return
    column = layout.box().column(align=True)
    pair(column, "Chain", f"{figures.chain_g:.1f} g")
    if figures.lattice_stamp and figures.lattice_g:
        pair(column, "Lattice", f"about {figures.lattice_g:.1f} g")
        if figures.lattice_stamp != lattice_stamp(ob, context.scene):
            column.label(text="Lattice out of date: plan again", icon="ERROR")


def _pour(body: Any, scene: Any) -> None:
    for name in ("investment", "resin", "metal_c", "flask_c", "own_flask"):
        body.prop(scene, name)
    if scene.own_flask:
        body.prop(scene, "flask_diameter_mm")
        body.prop(scene, "flask_height_mm")
    body.prop(scene, "tilt")
    if scene.head == "spin":
        body.prop(scene, "spin_arm")


def _plan(layout: Any, context: Any, ob: Any, state: Any) -> None:
    """Show the verdict first, then what would help, the figures, and the metal in time."""
    freshness(layout, context, ob, state.plan_subject, state.plan_stamp, again="plan again", step="cast")
    if state.plan_subject != ob.name:
        return
    layout = layout.column()
    layout.active = state.plan_stamp == dated_now(ob, context.scene)
    if state.verdict:
        column = layout.column(align=True)
        column.alert = layout.active and state.verdict_icon == "CANCEL"
        wrapped(column, context, state.verdict, icon=state.verdict_icon)
    if state.remark:
        wrapped(layout.column(align=True), context, state.remark, icon="INFO")
    if cast_view.kept_for(state):
        _in_time(layout, state)
    if len(state.cast_reasons):
        column = layout.column(align=True)
        for row in state.cast_reasons:
            wrapped(column, context, capital(told(row.name)), icon="DOT")
    if len(state.levers):
        header, body = layout.panel("linkwright_levers", default_closed=False)
        header.label(text="What Would Help")
        if body:
            _levers(body, context, state)
    header, body = layout.panel("linkwright_plan", default_closed=False)
    header.label(text="Metal and Flask")
    if body:
        column = body.column(align=True)
        for row in state.plan:
            pair(column, row.name, row.value)
        wrapped(column, context, "Your makers' data sheets rule", icon="INFO")


def _levers(body: Any, context: Any, state: Any) -> None:
    """List the changes, those that do alone first."""
    column = body.column(align=True)
    passes = None
    for row in state.levers:
        if row.passes != passes:
            passes = row.passes
            column.label(
                text=told("One of these is enough" if passes else "Not enough alone, up to the limit"), translate=False
            )
        line = column.column(align=True)
        line.active = row.passes
        change = f"{capital(told(row.name))}: {told(row.change)}"
        wrapped(line, context, change, icon="CHECKMARK" if row.passes else "X")


def _in_time(layout: Any, state: Any) -> None:
    """Show the colours of the metal with their slider."""
    layout.prop(state, "colours")
    column = layout.column(align=True)
    column.active = state.colours
    row = column.row(align=True)
    row.use_property_split = False
    for kind in KINDS:
        row.prop_enum(state, "colour_by", kind)
    shown = column.column(align=True)
    shown.active = state.colours and state.colour_by in ("FILL", "FREEZE")
    shown.prop(state, "cast_share", slider=True)
    shown.prop(state, "cast_s")
