"""The panels of inspection and export."""

from __future__ import annotations

from typing import Any

from bpy.types import Panel, UI_UL_list, UIList

from ..rules.inspect.finding import SEVERITIES
from .gap_colours import colours
from .panel_parts import ChainPanel, JobPanel, findings_freshness, pair, wrapped
from .results import shown_severities, state_of

ICONS = {"stop": "CANCEL", "warn": "ERROR", "note": "INFO"}


class LINKWRIGHT_UL_findings(UIList):
    """The findings, worst first; a click looks at the place."""

    def draw_item(
        self, _context: Any, layout: Any, data: Any, item: Any, _icon: int, _active: Any, _name: str, _index: int = 0
    ) -> None:
        """Draw one row: severity by the shape of its icon, code, joint or bodies."""
        row = layout.row(align=True)
        row.alert = item.severity == "stop"
        split = row.split(factor=data.code_share, align=True)
        split.label(text=item.code, icon=ICONS[item.severity], translate=False)
        split.label(text=item.where, translate=False)

    def filter_items(self, _context: Any, data: Any, name: str) -> tuple[list[int], list[int]]:
        """Leave out the severities switched off, then search; sorted by name, the worst still come first."""
        rows, shown = getattr(data, name), shown_severities(data)
        flags = [self.bitflag_filter_item] * len(rows)
        if self.filter_name:
            found: Any = UI_UL_list.filter_items_by_name(self.filter_name, self.bitflag_filter_item, rows, "name")
            flags = list(found)
        # Turning the search round must not bring back what is switched off.
        flags = [
            flag if row.severity in shown else self.bitflag_item_never_show
            for flag, row in zip(flags, rows, strict=True)
        ]
        if not self.use_filter_sort_alpha:
            return flags, []
        order = sorted(range(len(rows)), key=lambda k: (SEVERITIES.index(rows[k].severity), rows[k].name))
        places = [0] * len(rows)
        for place, k in enumerate(order):
            places[k] = place
        return flags, places


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
        findings_freshness(layout, context, ob, state)
        if not len(state.findings):
            layout.label(text="No findings", icon="CHECKMARK")
            _view_buttons(layout, state)
            return
        _severity_buttons(layout, state)
        layout.template_list(
            "LINKWRIGHT_UL_findings", "", state, "findings", state, "active", rows=min(6, max(3, len(state.findings)))
        )
        if state.hidden_rows:
            layout.label(text=f"The worst are listed; {state.hidden_rows} more are not")
        _active_finding(layout, context, state)
        _view_buttons(layout, state)


class LINKWRIGHT_PT_export(ChainPanel, Panel):
    """The print files."""

    bl_label = "Export"
    bl_order = 6

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


def _severity_buttons(layout: Any, state: Any) -> None:
    row = layout.row(align=True)
    row.use_property_split = False
    for severity in SEVERITIES:
        count = getattr(state, f"{severity}_count")
        button = row.row(align=True)
        button.active = count > 0
        button.prop(state, f"show_{severity}", text=f"{count} {severity}", icon=ICONS[severity], toggle=True)


def _active_finding(layout: Any, context: Any, state: Any) -> None:
    if not 0 <= state.active < len(state.findings):
        return
    row = state.findings[state.active]
    if not getattr(state, f"show_{row.severity}"):
        return
    box = layout.box()
    wrapped(box.column(align=True), context, row.text, icon=ICONS[row.severity])
    figures = box.column(align=True)
    for line in row.figures:
        pair(figures, line.name, line.value)


def _view_buttons(layout: Any, state: Any) -> None:
    row = layout.row()
    row.use_property_split = False
    split = row.split(factor=0.4)
    split.prop(state, "overlay")
    gaps = split.row()
    gaps.enabled = colours.kept_for(state)
    gaps.prop(state, "colours")
    row.operator("linkwright.clear_findings", text="", icon="X")
