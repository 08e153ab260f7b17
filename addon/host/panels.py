"""The side panel, in the order of the job. Drawing only reads what is stored; nothing is worked out here."""

from __future__ import annotations

import textwrap
from typing import Any

from bpy.types import Panel, UIList

from .chain_object import chain_of
from .results import dated_now, state_of
from .units import is_millimetres, unit_words

CAUTION = (
    "Molten metal, fumes and silica dust can maim. The makers' data sheets, local codes and licensed practice rule"
)
ICONS = {"stop": "CANCEL", "warn": "ERROR", "note": "INFO"}
# Pixels of one letter and of a panel's own margins, at the usual font and scale 1.
LETTER_PX, MARGIN_PX = 6.6, 62.0


def wrapped(layout: Any, context: Any, text: str, *, icon: str = "NONE") -> None:
    """Put a sentence into the panel over as many lines as its width asks for."""
    scale = context.preferences.system.ui_scale or 1.0
    room = (context.region.width if context.region is not None else 260) / scale - MARGIN_PX
    width = max(16, int((room - (20.0 if icon != "NONE" else 0.0)) / LETTER_PX))
    first = True
    for line in textwrap.wrap(text, width):
        layout.label(text=line, icon=icon if first else ("BLANK1" if icon != "NONE" else "NONE"), translate=False)
        first = False


class JobPanel:
    """What all our panels share."""

    bl_space_type = "VIEW_3D"
    bl_region_type = "UI"
    bl_category = "Linkwright"

    def prepare(self: Any, context: Any) -> tuple[Any, Any]:
        """Give the layout, one column of properties, and the active chain."""
        layout = self.layout
        layout.use_property_split = True
        layout.use_property_decorate = False
        return layout, chain_of(context.active_object)


class ChainPanel(JobPanel):
    """A panel that shows with a chain."""

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Show with a chain."""
        return chain_of(context.active_object) is not None


class LINKWRIGHT_PT_chain(JobPanel, Panel):
    """The link: family and sizes."""

    bl_label = "Chain"
    bl_order = 0

    def draw(self, context: Any) -> None:
        """Draw the link's sizes, or the first step where there is no chain."""
        layout, ob = self.prepare(context)
        if ob is None:
            _first_step(layout, context)
            return
        group = ob.linkwright
        layout.prop(ob, "name", text="Chain")
        column = layout.column()
        column.enabled = ob.library is None
        column.prop(group, "family")
        column.prop(group, "wire_mm")
        column.prop(group, "link_length_mm", text="Length (mm)")
        column.prop(group, "link_width_mm", text="Width (mm)")
        column.prop(group, "gap_mm")
        if group.figures.message:
            box = layout.box().column(align=True)
            box.alert = True
            wrapped(box, context, group.figures.message, icon="CANCEL")
            box.label(text="Shown: the last sizes that work", icon="BLANK1")
        else:
            _figures(layout, context, group.figures)
        header, body = layout.panel("linkwright_more_chains", default_closed=True)
        header.label(text="Add or Load")
        if body:
            _add_buttons(body)


class LINKWRIGHT_PT_layout(ChainPanel, Panel):
    """How the chain lies and how long it is."""

    bl_label = "Layout and Size"
    bl_order = 1

    def draw(self, context: Any) -> None:
        """Draw shape and size."""
        layout, ob = self.prepare(context)
        group = ob.linkwright
        layout.enabled = ob.library is None
        layout.prop(group, "shape")
        if group.shape == "ring":
            layout.prop(group, "ring_size")
            if group.ring_size == "INNER":
                layout.prop(group, "inner_length_mm", text="Inside (mm)")
            elif group.ring_size == "WRIST":
                layout.prop(group, "wrist_mm")
                layout.prop(group, "ease_mm")
            else:
                layout.prop(group, "links")
        elif group.shape == "straight":
            layout.prop(group, "straight_size")
            layout.prop(group, "length_mm" if group.straight_size == "LENGTH" else "links")
        else:
            layout.prop(group, "curve")
            row = layout.row(heading="Links")
            row.prop(group, "limit_links", text="")
            sub = row.row()
            sub.active = group.limit_links
            sub.prop(group, "links", text="")
            if group.figures.stale:
                layout.label(text="Out of date: the curve was changed", icon="ERROR")
            layout.operator("linkwright.follow_curve", icon="FILE_REFRESH")
        header, body = layout.panel("linkwright_fit", default_closed=True)
        header.label(text="Fit")
        if body:
            body.prop(group, "face")
            if group.shape != "straight":
                body.prop(group, "fit")
            row = body.row(heading="Hand (mm)")
            row.prop(group, "has_hand", text="")
            sub = row.row()
            sub.active = group.has_hand
            sub.prop(group, "hand_mm", text="")
        header, body = layout.panel("linkwright_units", default_closed=True)
        header.label(text="Scene Unit")
        if body:
            body.label(text=unit_words(context.scene))
            if not is_millimetres(context.scene):
                body.operator("linkwright.set_millimetres")


class LINKWRIGHT_UL_findings(UIList):
    """The findings, worst first; a click looks at the place."""

    def draw_item(
        self, _context: Any, layout: Any, _data: Any, item: Any, _icon: int, _active: Any, _name: str, _index: int = 0
    ) -> None:
        """Draw one row: severity by the shape of its icon, code, bodies."""
        row = layout.row(align=True)
        row.alert = item.severity == "stop"
        split = row.split(factor=0.55, align=True)
        split.label(text=item.code, icon=ICONS[item.severity], translate=False)
        split.label(text=item.bodies, translate=False)


class LINKWRIGHT_PT_inspect(JobPanel, Panel):
    """What the inspection says."""

    bl_label = "Inspect"
    bl_order = 2

    def draw(self, context: Any) -> None:
        """Draw the button, and the findings of the last run."""
        layout, ob = self.prepare(context)
        state = state_of(context)
        if state.running:
            layout.progress(factor=state.progress, text=f"{state.running} {100 * state.progress:.0f} %", type="BAR")
            layout.label(text="Esc stops it; nothing is changed then")
            return
        layout.operator("linkwright.inspect", icon="VIEWZOOM")
        header, body = layout.panel("linkwright_limits", default_closed=True)
        header.label(text="Limits")
        if body:
            _limits(body, context.scene.linkwright)
        if not state.has_result:
            layout.label(text="Not inspected yet: press Inspect")
            return
        heading = f"{state.subject}: {state.heading}" if state.subject else state.heading
        wrapped(layout.column(align=True), context, heading)
        _freshness(layout, context, ob, state.subject, state.stamp)
        if not len(state.findings):
            layout.label(text="No findings", icon="CHECKMARK")
            return
        layout.template_list(
            "LINKWRIGHT_UL_findings", "", state, "findings", state, "active", rows=min(6, max(3, len(state.findings)))
        )
        if state.hidden_rows:
            layout.label(text=f"and {state.hidden_rows} more, all in report.json")
        if 0 <= state.active < len(state.findings):
            row = state.findings[state.active]
            wrapped(layout.box().column(align=True), context, row.text, icon=ICONS[row.severity])
        row = layout.row()
        row.prop(state, "overlay")
        row.operator("linkwright.clear_findings", text="", icon="X")


class LINKWRIGHT_PT_feed(ChainPanel, Panel):
    """The lattice that feeds and holds every link."""

    bl_label = "Feed"
    bl_order = 3

    def draw(self, context: Any) -> None:
        """Draw the lattice's settings and buttons."""
        layout, ob = self.prepare(context)
        scene = context.scene.linkwright
        figures = ob.linkwright.figures
        layout.prop(scene, "upper_ring")
        row = layout.row(align=True)
        has = bool(figures.lattice_stamp)
        row.operator("linkwright.add_lattice", text="Plan Again" if has else "Add Lattice", icon="MOD_WIREFRAME")
        row.operator("linkwright.remove_lattice", text="", icon="X")
        if has and figures.lattice_stamp != figures.stamp:
            layout.label(text="Out of date: the chain was changed", icon="ERROR")
        header, body = layout.panel("linkwright_feed_sizes", default_closed=True)
        header.label(text="Sizes (0: by the rules)")
        if body:
            for name in ("tip_mm", "gate_mm", "gate_length_mm", "ring_mm"):
                body.prop(scene, name)


class LINKWRIGHT_PT_cast(ChainPanel, Panel):
    """Metal, flask and temperatures."""

    bl_label = "Cast"
    bl_order = 4

    def draw(self, context: Any) -> None:
        """Draw the pour's settings and the last plan."""
        layout, ob = self.prepare(context)
        scene, state = context.scene.linkwright, state_of(context)
        layout.prop(scene, "alloy")
        layout.prop(scene, "head")
        header, body = layout.panel("linkwright_pour", default_closed=True)
        header.label(text="Temperatures and Flask")
        if body:
            body.prop(scene, "investment")
            body.prop(scene, "metal_c")
            body.prop(scene, "flask_c")
            body.prop(scene, "own_flask")
            if scene.own_flask:
                body.prop(scene, "flask_diameter_mm")
                body.prop(scene, "flask_height_mm")
        layout.operator("linkwright.plan_cast", icon="MOD_FLUIDSIM")
        if len(state.plan) and state.plan_subject == ob.name:
            box = layout.box()
            column = box.column(align=True)
            for line in state.plan:
                wrapped(column, context, line.name)
            _freshness(box, context, ob, state.plan_subject, state.plan_stamp)
        wrapped(layout.column(align=True), context, CAUTION, icon="ERROR")


class LINKWRIGHT_PT_export(ChainPanel, Panel):
    """The print files."""

    bl_label = "Export"
    bl_order = 5

    def draw(self, context: Any) -> None:
        """Draw the folder, the standing stops and the button."""
        layout, ob = self.prepare(context)
        scene, state = context.scene.linkwright, state_of(context)
        layout.prop(scene, "job_name")
        layout.prop(scene, "folder")
        header, body = layout.panel("linkwright_scale", default_closed=True)
        header.label(text="Scale")
        if body:
            body.prop(scene, "auto_scale")
            if not scene.auto_scale:
                body.prop(scene, "scale")
        if state.has_result and state.subject == ob.name and len(state.overrides):
            box = layout.box()
            box.label(text="Stops refuse the print file", icon="CANCEL")
            for row in state.overrides:
                line = box.row()
                line.use_property_split = False
                line.prop(row, "allow", text=f"Allow {row.name} ({row.count})", translate=False)
        layout.operator("linkwright.export", icon="EXPORT")
        if state.exported:
            wrapped(layout.column(align=True), context, state.exported)


def _first_step(layout: Any, context: Any) -> None:
    layout.label(text="Start with a chain:")
    _add_buttons(layout)
    if not is_millimetres(context.scene):
        layout.separator()
        layout.label(text=unit_words(context.scene), icon="INFO")
        layout.operator("linkwright.set_millimetres")


def _add_buttons(layout: Any) -> None:
    column = layout.column(align=True)
    column.operator("linkwright.add_chain", text="On a New Ring", icon="MESH_CIRCLE").where = "ring"
    column.operator("linkwright.add_chain", text="Along Selected Curve", icon="CURVE_DATA").where = "curve"
    column.operator("linkwright.add_chain", text="Straight", icon="LINKED").where = "straight"
    row = layout.row(align=True)
    row.operator("linkwright.load_job", text="Load Job", icon="IMPORT")
    row.operator("linkwright.save_job", text="Save Job", icon="FILE_TICK")


def _figures(layout: Any, context: Any, figures: Any) -> None:
    box = layout.box()
    column = box.column(align=True)
    checking = bool(state_of(context).checking)
    measured = "measured" if figures.verified else ("checking" if checking else "estimated")
    where = "inside" if figures.closed else "end to end"
    wrapped(column, context, f"{figures.links} links, pitch {figures.pitch_mm:.2f} mm")
    wrapped(column, context, f"Smallest gap {figures.gap_mm:.3f} mm, {measured}")
    wrapped(column, context, f"Worn {figures.worn_mm:.1f} mm {where}, as printed {figures.printed_mm:.1f} mm")
    if not figures.verified and not checking:
        box.operator("linkwright.verify", icon="CHECKMARK")


def _limits(layout: Any, scene: Any) -> None:
    layout.prop(scene, "profile")
    for name in (
        "gap_floor_mm",
        "web_floor_mm",
        "strut_web_mm",
        "wall_floor_mm",
        "layer_mm",
        "bleed_mm",
        "over_cure_mm",
    ):
        layout.prop(scene, name)


def _freshness(layout: Any, context: Any, ob: Any, subject: str, dated: str) -> None:
    if not subject:
        return
    if ob is None or ob.name != subject:
        layout.label(text=f"Belongs to {subject}", icon="INFO")
    elif dated != dated_now(ob, context.scene):
        layout.label(text="Out of date: inspect again", icon="ERROR")
