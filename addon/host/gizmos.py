"""Handles in the 3D view: size and link width of the active chain, and the tip of the active gate.

A handle starts the operator that drags what it stands for, so a drag is one undo step and can be done without handles
as well. Where they stand is found when chain or selection changed; a redraw only looks whether it did.
"""

from __future__ import annotations

from typing import Any

from bpy.types import GizmoGroup
from mathutils import Matrix, Vector

from .chain_object import chain_of, refusal, scene_of
from .handles import Handle, size_handle, width_handle
from .lattice_edits import SURFACE, strut_of
from .result_state import state_of
from .settings import size_choice
from .translated import told
from .units import mm_per_unit

ARROW_SIZE, WIDTH_SIZE, TIP_SIZE = 1.0, 0.8, 0.12
FAINT, CLEAR = 0.7, 1.0
UNSCALED = 1e-4


class _Handles:
    """What both groups are to Blender: handles in the view's own space, in Object Mode, where they are switched on."""

    bl_space_type = "VIEW_3D"
    bl_region_type = "WINDOW"
    bl_options = {"3D", "PERSISTENT", "SHOW_MODAL_ALL"}

    @staticmethod
    def ready(context: Any) -> Any:
        """Give the chain of the active object where it may be changed, else None."""
        active = context.active_object
        if active is None or context.mode != "OBJECT" or not context.scene.linkwright.handles:
            return None
        ob = chain_of(active)
        if ob is None or refusal(ob) or ob.linkwright.figures.worn_view or state_of(context).running:
            return None
        return ob


class LINKWRIGHT_GGT_sizes(_Handles, GizmoGroup):
    """Handles of the size and the link width of the active chain."""

    bl_idname = "LINKWRIGHT_GGT_sizes"
    bl_label = "Chain Sizes"

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Ask for a chain or one of its parts, but for gates: those have a handle of their own."""
        return cls.ready(context) is not None and not _is_gate(context.active_object)

    def setup(self, context: Any) -> None:
        """Make the two arrows."""
        look = context.preferences.themes[0].user_interface
        self._arrows = []
        for operator, style, size, colour in (
            ("linkwright.drag_size", "NORMAL", ARROW_SIZE, look.gizmo_primary),
            ("linkwright.drag_width", "BOX", WIDTH_SIZE, look.gizmo_secondary),
        ):
            arrow: Any = self.gizmos.new("GIZMO_GT_arrow_3d")
            arrow.draw_style = style
            arrow.target_set_operator(operator)
            arrow.scale_basis = size
            _paint(arrow, colour, look.gizmo_hi)
            self._arrows.append(arrow)
        self._sign: Any = None
        self._held: list[Handle | None] = [None, None]

    def draw_prepare(self, context: Any) -> None:
        """Put them where the chain stands in this view."""
        ob = chain_of(context.active_object)
        if ob is None:
            return
        mm = mm_per_unit(scene_of(ob, context))
        figures = ob.linkwright.figures
        sign = (
            ob.name, figures.stamp, figures.curve_stamp, figures.own_stamp, figures.verified, figures.links,
            size_choice(ob.linkwright), mm,
        )  # fmt: skip
        if sign != self._sign:
            self._sign, self._held = sign, [size_handle(ob, mm), width_handle(ob, mm)]
        matrix = ob.matrix_world
        straight = _unscaled(matrix)
        seen = context.active_object.visible_get(view_layer=context.view_layer, viewport=context.space_data)
        for arrow, held in zip(self._arrows, self._held, strict=True):
            arrow.hide = held is None or not straight or not seen
            if held is not None:
                arrow.matrix_basis = _frame(matrix, held, mm)


class LINKWRIGHT_GGT_gate(_Handles, GizmoGroup):
    """Handle of the active gate's tip."""

    bl_idname = "LINKWRIGHT_GGT_gate"
    bl_label = "Gate Tip"

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Ask for a gate."""
        return cls.ready(context) is not None and _is_gate(context.active_object)

    def setup(self, context: Any) -> None:
        """Make the ring round the tip."""
        look = context.preferences.themes[0].user_interface
        tip: Any = self.gizmos.new("GIZMO_GT_move_3d")
        tip.draw_style = "RING_2D"
        tip.draw_options = {"ALIGN_VIEW", "FILL_SELECT"}
        tip.target_set_operator("linkwright.lead_gate")
        tip.scale_basis = TIP_SIZE
        tip.line_width = 3.0
        _paint(tip, look.gizmo_primary, look.gizmo_hi)
        self._tip = tip

    def draw_prepare(self, context: Any) -> None:
        """Put it where the gate enters its link."""
        strut = context.active_object
        told, ob = strut_of(strut), chain_of(strut)
        if told is None or told.gate is None or ob is None:
            return
        mm = mm_per_unit(scene_of(ob, context))
        self._tip.hide = not strut.visible_get(view_layer=context.view_layer, viewport=context.space_data)
        at = strut.matrix_world @ Vector([c / mm for c in told.gate.line[SURFACE]])
        self._tip.matrix_basis = Matrix.Translation(at)


def _is_gate(ob: Any) -> bool:
    """Tell whether an object is a gate, without reading all that is written of it."""
    return ob.linkwright.part == "STRUT" and '"gate"' in ob.linkwright.strut


def _paint(gizmo: Any, colour: Any, lit: Any) -> None:
    gizmo.color, gizmo.alpha = tuple(colour), FAINT
    gizmo.color_highlight, gizmo.alpha_highlight = tuple(lit), CLEAR


def _unscaled(matrix: Any) -> bool:
    """Tell whether a chain stands unscaled: the sizes of a scaled one are not those that are seen."""
    scale = matrix.to_scale()
    return all(abs(c - 1.0) < UNSCALED for c in scale)


def _frame(matrix: Any, held: Handle, mm: float) -> Any:
    """Give the frame (4 x 4) of an arrow in the world: its z the way it is dragged."""
    frame: Any = Vector(held.along.tolist()).to_track_quat("Z", "Y").to_matrix().to_4x4()
    frame.translation = Vector((held.place / mm).tolist())
    return matrix @ frame


def handles_switch(panel: Any, context: Any) -> None:
    """Offer the switch among Blender's own of gizmos."""
    column = panel.layout.column()
    column.active = context.space_data.show_gizmo
    column.label(text=told("Chain"), translate=False)
    column.prop(context.scene.linkwright, "handles")
