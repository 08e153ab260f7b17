"""The panel of the lattice: what is asked of it, its gates one by one, and what was done to them by hand."""

from __future__ import annotations

from typing import Any

from bpy.types import Panel, UIList

from .chain_object import chain_of
from .lattice_edits import KINDS, Strut, gone, stored, strut_of
from .lattice_set import lattice_of, set_objects
from .lattice_show import lattice_stamp
from .panel_parts import ChainPanel, pair, why_stale, wrapped
from .presets import LINKWRIGHT_PT_feed_presets
from .reasons import sign_of
from .result_state import state_of
from .translated import told

STATE_ICONS = {"planned": "DOT", "pinned": "PINNED", "wanted": "ADD"}
STATE_WORDS = {"planned": "by the planner", "pinned": "pinned", "wanted": "added by hand"}
KIND_WORDS = {"pinned": "pinned", "wanted": "added", "barred": "barred", "removed": "deleted"}
ROLE_WORDS = {"ring": "Base ring", "upper": "Upper ring", "post": "Post", "spoke": "Spoke", "trunk": "Hub"}
SIZES = (
    "tip_mm", "gate_mm", "gate_length_mm", "ring_mm", "upper_ring_mm", "post_mm", "spoke_mm", "hub_mm",
)  # fmt: skip

# Labels that a sidebar as wide as Blender opens it would cut off, in short.
SHORT = {
    "gate_length_mm": "Length (mm)", "ring_mm": "Ring (mm)", "upper_ring_mm": "Upper (mm)",
    "trunk_length_mm": "Length (mm)",
}  # fmt: skip


class LINKWRIGHT_UL_gates(UIList):
    """The gates in the order of the chain; a click selects one."""

    def draw_item(
        self, _context: Any, layout: Any, _data: Any, item: Any, _icon: int, _active: Any, _name: str, _index: int = 0
    ) -> None:
        """Draw one row: what it feeds, and by its icon whether it is pinned or was added."""
        layout.label(text=told(item.name), icon=STATE_ICONS[item.state], translate=False)


class LINKWRIGHT_PT_feed(ChainPanel, Panel):
    """The lattice that feeds and holds every link."""

    bl_label = "Feed"
    bl_order = 3
    step = "feed"
    presets = LINKWRIGHT_PT_feed_presets

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Show with a chain, or with meshes that may get a lattice."""
        if chain_of(context.active_object) is not None:
            return True
        return bool(set_objects(context)) or lattice_of(context) is not None

    def draw(self, context: Any) -> None:
        """Draw the lattice's settings and buttons."""
        layout, ob = self.prepare(context)
        scene = context.scene.linkwright
        if ob is None:
            _meshes(layout, context)
        else:
            _chain(layout, context, ob)
        for idname, title, names in (
            ("linkwright_feed_sizes", "Sizes", SIZES),
            ("linkwright_feed_trunk", "Trunk", ("trunk", "trunk_length_mm")),
            ("linkwright_feed_cut", "Cut and Fillets", ("cut", "fillet_mm")),
        ):
            header, body = layout.panel(idname, default_closed=True)
            header.label(text=told(title), translate=False)
            if body:
                if names is SIZES:
                    body.label(text="0 leaves a size to the rules")
                for name in names:
                    body.prop(scene, name, text=SHORT.get(name))


def _meshes(layout: Any, context: Any) -> None:
    """Draw the buttons for selected meshes that are no chain."""
    row = layout.row(align=True)
    has = lattice_of(context) is not None
    text = "Plan Again" if has else "Add Lattice to Selection"
    row.operator("linkwright.add_lattice", text=text, icon="MOD_WIREFRAME")
    row.operator("linkwright.remove_lattice", text="", icon="X")
    wrapped(layout.column(align=True), context, "Trunk and branches under the selected meshes, as they stand")


def _chain(layout: Any, context: Any, ob: Any) -> None:
    """Draw the buttons of a chain's lattice, how it stands, and its gates."""
    scene, figures = context.scene.linkwright, ob.linkwright.figures
    layout.prop(scene, "upper_ring")
    has = bool(figures.lattice_stamp)
    row = layout.row(align=True)
    row.operator("linkwright.add_lattice", text="Plan Again" if has else "Add Lattice", icon="MOD_WIREFRAME")
    row.operator("linkwright.remove_lattice", text="", icon="X")
    if has:
        layout.prop(scene, "live_lattice")
        _standing(layout, context, ob)
        header, body = layout.panel("linkwright_gates", default_closed=False)
        header.label(text=told("Gates"), translate=False)
        if body:
            _gates(body, context, ob)
    else:
        _edits(layout, context, ob.linkwright)


def _standing(layout: Any, context: Any, ob: Any) -> None:
    """Say what the lattice is made of, and whether it still belongs to the chain."""
    figures = ob.linkwright.figures
    if state_of(context).planning == ob.name:
        layout.label(text=told("Planning"), icon="SORTTIME", translate=False)
        return
    if figures.lattice_said:
        wrapped(layout.column(align=True), context, figures.lattice_said)
    if state_of(context).by_hand:
        words = "Gates were moved or deleted: Inspect takes it as it is, Plan Again finds other places"
        wrapped(layout.column(align=True), context, words, icon="INFO")
    elif figures.lattice_stamp != lattice_stamp(ob, context.scene):
        layout.label(text="Out of date: plan again", icon="ERROR")
        why_stale(layout, context, ob, "feed")


def _gates(body: Any, context: Any, ob: Any) -> None:
    state, group = state_of(context), ob.linkwright
    row = body.row(align=True)
    row.operator("linkwright.add_gate", icon="ADD")
    row.operator("linkwright.take_gates", text="", icon="REMOVE")
    body.template_list(
        "LINKWRIGHT_UL_gates", "", group, "gates", state, "gate_active", rows=4, sort_lock=True
    )  # fmt: skip
    row = body.row(align=True)
    row.operator("linkwright.pin_gate", text="Pin", icon="PINNED").pin = True
    row.operator("linkwright.pin_gate", text="Unpin", icon="UNPINNED").pin = False
    row.operator("linkwright.remove_gate", text="Bar", icon="CANCEL")
    strut = strut_of(context.active_object)
    if strut is None:
        wrapped(body.column(align=True), context, "Select a gate to pin, move (G) or delete (X) it")
    else:
        _strut(body.box(), context, context.active_object, strut)
    _edits(body, context, group)


def _strut(box: Any, context: Any, ob: Any, strut: Strut) -> None:
    """Tell what the selected strut is."""
    column = box.column(align=True)
    gate = strut.gate
    if gate is None:
        title = "Trunk, set in by hand" if strut.apart else ROLE_WORDS.get(strut.role, strut.role.capitalize())
        column.label(text=told(title), translate=False)
        thick = f"{strut.thick_mm:.2f} mm"
        pair(column, "Rod", thick if strut.thin_mm > 0.99 * strut.thick_mm else f"{strut.thin_mm:.2f} to {thick}")
        pair(column, "Length", f"{strut.length_mm:.1f} mm")
        wrapped(column, context, "Follows from the gates: it is not moved or deleted by hand")
        return
    column.label(text=told(f"Gate, {STATE_WORDS[gate.state]}"), icon=STATE_ICONS[gate.state], translate=False)
    pair(column, "Feeds", f"{gate.body}, from {'above' if gate.above else 'below'}")
    pair(column, "Tip", f"{gate.tip_mm:.2f} mm")
    pair(column, "Shaft", f"{gate.shaft_mm:.2f} mm")
    pair(column, "Length", f"{strut.length_mm:.1f} mm")
    state = state_of(context)
    if len(state.reasons) and state.reasons_of == sign_of(ob):
        why = box.column(align=True)
        why.label(text="Why Here")
        for line in state.reasons:
            wrapped(why, context, line.name, icon="DOT")


def _edits(body: Any, context: Any, group: Any) -> None:
    """Count what was done by hand, with a way to forget it."""
    if not group.edits:
        return
    edits = stored(group)
    told = [f"{len(getattr(edits, kind))} {KIND_WORDS[kind]}" for kind in KINDS if getattr(edits, kind)]
    if edits.keep_out:
        told.append(f"{len(edits.keep_out)} faces kept out")
    if told:
        wrapped(body.column(align=True), context, f"By hand: {', '.join(told)}")
    row = body.row(align=True)
    row.operator("linkwright.clear_edits", icon="LOOP_BACK").gone_only = False
    lost = gone(group)
    if lost:
        wrapped(body.column(align=True), context, f"{lost} of links that are gone, not used", icon="INFO")
        body.operator("linkwright.clear_edits", text="Clear Those").gone_only = True
