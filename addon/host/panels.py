"""The panels of inspection and export."""

from __future__ import annotations

from typing import Any

from bpy.types import Panel, UI_UL_list, UIList

from ..rules.inspect.finding import SEVERITIES
from .export_dialog import draw_refusals
from .gap_colours import colours
from .gap_reader import reader
from .panel_parts import (
    ChainPanel,
    StepPanel,
    anything,
    findings_freshness,
    is_narrow,
    pair,
    progress,
    room_px,
    wrapped,
)
from .presets import LINKWRIGHT_PT_limits_presets
from .result_state import WIDEST_CODE, shown_severities, state_of
from .translated import capital, told

# What the longest code takes of a line, and from which room on there is enough beside it for any place.
CODE_PX, WIDE_PX = 150.0, 250.0
# What they have of a narrow line: enough to tell them apart.
LEAST_SHARE = 0.55
ICONS = {"stop": "CANCEL", "warn": "ERROR", "note": "INFO"}


class LINKWRIGHT_UL_findings(UIList):
    """The findings, worst first; a click looks at the place."""

    def draw_item(
        self, context: Any, layout: Any, data: Any, item: Any, _icon: int, active: Any, name: str, index: int = 0
    ) -> None:
        """Draw one row: severity by the shape of its icon, code, joint or bodies."""
        row = layout.row(align=True)
        # Red letters cannot be read on the colour of the row that is chosen.
        row.alert = item.severity == "stop" and getattr(active, name) != index
        split = row.split(factor=_code_share(context, data), align=True)
        split.label(text=told(item.code), icon=ICONS[item.severity], translate=False)
        split.label(text=told(item.where), translate=False)

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


class LINKWRIGHT_PT_inspect(StepPanel, Panel):
    """What the inspection says."""

    bl_label = "Inspect"
    bl_order = 2
    step = "inspect"

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Show where there is something to inspect, or something that was."""
        return anything(context)

    def draw(self, context: Any) -> None:
        """Draw the button, and the findings of the last run."""
        layout, ob = self.prepare(context)
        state = state_of(context)
        if state.running:
            progress(layout, state)
            layout.label(text="Esc stops it; nothing is changed then")
            return
        row = layout.row(align=True)
        row.operator("linkwright.inspect", icon="VIEWZOOM")
        row.operator("linkwright.read_gap", text="", icon="EYEDROPPER", depress=reader.on)
        header, body = layout.panel("linkwright_limits", default_closed=True)
        header.label(text="Limits (mm)")
        LINKWRIGHT_PT_limits_presets.draw_panel_header(header)
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
        _severity_buttons(layout, context, state)
        layout.template_list(
            "LINKWRIGHT_UL_findings", "", state, "findings", state, "active", rows=min(6, max(3, len(state.findings)))
        )
        if state.hidden_rows:
            layout.label(text=told(f"The worst are listed; {state.hidden_rows} more are not"), translate=False)
        _active_finding(layout, context, state)
        _view_buttons(layout, state)


class LINKWRIGHT_PT_export(ChainPanel, Panel):
    """The print files."""

    bl_label = "Export"
    bl_order = 6
    step = "export"

    def draw(self, context: Any) -> None:
        """Draw the folder, the standing stops and the button."""
        layout, ob = self.prepare(context)
        scene, state = context.scene.linkwright, state_of(context)
        layout.prop(scene, "job_name", placeholder=ob.name)
        layout.prop(scene, "folder")
        header, body = layout.panel("linkwright_scale", default_closed=True)
        header.label(text=told("Scale"), translate=False)
        if body:
            body.prop(scene, "auto_scale")
            if not scene.auto_scale:
                body.prop(scene, "scale")
        if state.has_result and state.subject == ob.name and len(state.overrides):
            draw_refusals(layout.box(), context, state)
        layout.operator("linkwright.export", icon="EXPORT")
        if state.exported:
            wrapped(layout.column(align=True), context, state.exported)


def _code_share(context: Any, state: Any) -> float:
    """Give the share of a line that the codes have: where the sidebar is wide, enough for the longest of them."""
    room = room_px(context)
    return float(max(state.code_share, LEAST_SHARE if room < WIDE_PX else min(CODE_PX / room, WIDEST_CODE)))


def _limits(layout: Any, scene: Any) -> None:
    layout.prop(scene, "profile")
    for name, text in (
        ("gap_floor_mm", "Gap Floor"),
        ("web_floor_mm", "Web Floor"),
        ("strut_web_mm", "Strut Web"),
        ("wall_floor_mm", "Wall Floor"),
        ("layer_mm", "Layer"),
        ("bleed_mm", "Bleed"),
        ("over_cure_mm", "Over-Cure"),
    ):
        layout.prop(scene, name, text=told(text), translate=False)


def _severity_buttons(layout: Any, context: Any, state: Any) -> None:
    narrow = is_narrow(context)
    row = layout.row(align=True)
    row.use_property_split = False
    for severity in SEVERITIES:
        count = getattr(state, f"{severity}_count")
        button = row.row(align=True)
        button.active = count > 0
        button.prop(
            state,
            f"show_{severity}",
            text=told(f"{count}" if narrow else f"{count} {severity}"),
            icon=ICONS[severity],
            toggle=True,
            translate=False,
        )


def _active_finding(layout: Any, context: Any, state: Any) -> None:
    if not 0 <= state.active < len(state.findings):
        return
    row = state.findings[state.active]
    if not getattr(state, f"show_{row.severity}"):
        return
    box = layout.box()
    wrapped(box.column(align=True), context, capital(told(row.text)), icon=ICONS[row.severity])
    figures = box.column(align=True)
    for line in row.figures:
        pair(figures, line.name, line.value)


def _view_buttons(layout: Any, state: Any) -> None:
    row = layout.row()
    row.use_property_split = False
    split = row.split(factor=0.4)
    split.prop(state, "overlay")
    gaps = split.row()
    gaps.enabled = colours.anything(state)
    gaps.prop(state, "colours", text=told("Colours"), translate=False)
    row.operator("linkwright.clear_findings", text="", icon="X")
