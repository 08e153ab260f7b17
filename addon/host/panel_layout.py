"""The second panel: how the chain lies, how long it is, how its ends meet, and its other sizes and layouts."""

from __future__ import annotations

from typing import Any

from bpy.types import Panel

from .panel_parts import ChainPanel, cells, freshness, optional, wrapped
from .result_state import state_of
from .settings import TURN_KEYS, can_ease, has_turn, meets_itself, size_choice
from .translated import told
from .units import is_millimetres, unit_words

SIZE_FIELDS = {
    "INNER": ("inner_length_mm",),
    "WRIST": ("wrist_mm", "ease_mm"),
    "FINGER": ("finger_mm",),
    "LENGTH": ("length_mm",),
    "LINKS": ("links",),
    "FILL": (),
}
# What the button that takes a layout has of a line.
LAYOUT_SHARE = 0.4
SIZE_BY = {"ring": "ring_size", "curve": "curve_size"}
TURN_NAMES = {"turn_pitch_mm": "Apart (mm)", "turn_radius_mm": "Radius (mm)", "row_mm": "Row (mm)"}
SHAPE_NAMES = {
    "straight": "Straight", "ring": "Ring", "spiral": "Spiral", "coil": "Coil", "serpentine": "Serpentine",
    "curve": "Curve",
}  # fmt: skip


class LINKWRIGHT_PT_layout(ChainPanel, Panel):
    """How the chain lies and how long it is."""

    bl_label = "Layout and Size"
    bl_order = 1
    step = "layout"

    def draw(self, context: Any) -> None:
        """Draw shape and size."""
        layout, ob = self.prepare(context)
        group = ob.linkwright
        layout.enabled = ob.library is None
        layout.prop(group, "shape")
        if group.shape == "curve":
            layout.prop(group, "curve")
        layout.prop(group, SIZE_BY.get(group.shape, "straight_size"))
        for name in SIZE_FIELDS[size_choice(group)]:
            layout.prop(group, name, text="Inside (mm)" if name == "inner_length_mm" else None)
        if group.shape == "curve":
            if group.figures.stale:
                layout.label(text="Out of date: the curve was changed", icon="ERROR")
            layout.operator("linkwright.follow_curve", icon="FILE_REFRESH")
        _ends(layout, group)
        worn = group.figures.worn_view
        layout.operator(
            "linkwright.preview_worn", text="Show as Printed" if worn else "Show as Worn", depress=worn, icon="HIDE_OFF"
        )
        for idname, title, draw in (
            ("linkwright_sizes", "Sizes Near", _sizes),
            ("linkwright_turns", "Turns", _turns),
            ("linkwright_fit", "Fit", _fit),
            ("linkwright_layouts", "Compare Layouts", _layouts),
            ("linkwright_units", "Scene Unit", _units),
        ):
            if idname == "linkwright_turns" and not any(has_turn(group.shape, key) for key in TURN_KEYS):
                continue
            header, body = layout.panel(idname, default_closed=True)
            header.label(text=told(title), translate=False)
            if body:
                draw(body, context, ob)


def _ends(layout: Any, group: Any) -> None:
    meets = meets_itself(group)
    if meets:
        layout.prop(group, "ends")
    if not meets or group.ends == "open":
        layout.prop(group, "clasp")


def _sizes(body: Any, context: Any, ob: Any) -> None:
    figures = ob.linkwright.figures
    if not len(figures.sizes):
        wrapped(body.column(align=True), context, "No other number of links to choose from")
        return
    body.use_property_split = False
    column = body.column(align=True)
    cells(column, ("Links", "Worn", "Printed", "Pushed"))
    for size in figures.sizes:
        row = column.row()
        taken = size.links == figures.links
        row.operator("linkwright.take_size", text=str(size.links), depress=taken).links = size.links
        for value in (size.worn_mm, size.printed_mm, size.pushed_mm):
            row.label(text=told(f"{value:.1f}" if value else "-"), translate=False)
    column.label(text=told("mm inside" if figures.round_worn else "mm end to end"), translate=False)


def _turns(body: Any, _context: Any, ob: Any) -> None:
    body.label(text="0 leaves a size to the rules")
    for key in TURN_KEYS:
        if has_turn(ob.linkwright.shape, key):
            body.prop(ob.linkwright, key, text=TURN_NAMES[key])


def _fit(body: Any, _context: Any, ob: Any) -> None:
    group = ob.linkwright
    body.prop(group, "face")
    if can_ease(group):
        body.prop(group, "fit")
    if not meets_itself(group) or group.ends == "open":
        body.prop(group, "clasp_length_mm", text="Clasp (mm)")
    if group.shape in ("ring", "curve"):
        optional(body, group, "has_hand", "hand_mm", "Hand (mm)")


def _layouts(body: Any, context: Any, ob: Any) -> None:
    state = state_of(context)
    body.operator("linkwright.compare_layouts", icon="MOD_ARRAY")
    if not len(state.layouts) or state.layouts_subject != ob.name:
        return
    freshness(body, context, ob, state.layouts_subject, state.layouts_stamp, again="compare again")
    for row in state.layouts:
        split = body.split(factor=LAYOUT_SHARE)
        taken = row.name == ob.linkwright.shape
        split.operator("linkwright.lay_out_as", text=SHAPE_NAMES[row.name], depress=taken).shape = row.name
        column = split.column(align=True)
        if row.why:
            wrapped(column, context, row.why, share=1.0 - LAYOUT_SHARE)
            continue
        column.label(text=told(f"{row.size} mm"), translate=False)
        for words in (f"{row.layers} layers", row.flask):
            wrapped(column, context, words, share=1.0 - LAYOUT_SHARE)
        if row.investment_cm3:
            wrapped(column, context, f"{row.investment_cm3:.0f} cm3 investment", share=1.0 - LAYOUT_SHARE)


def _units(body: Any, context: Any, _ob: Any) -> None:
    body.label(text=told(unit_words(context.scene)), translate=False)
    if not is_millimetres(context.scene):
        body.operator("linkwright.set_millimetres")
