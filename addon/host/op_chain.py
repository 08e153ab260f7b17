"""Operators that make and refresh chains."""

from __future__ import annotations

from typing import Any

from bpy.props import EnumProperty, FloatProperty
from bpy.types import Operator

from ..rules.base.errors import LinkwrightError
from ..rules.base.progress import Steps
from ..rules.chain.build import build_chain
from ..rules.chain.spec import ChainSpec, LayoutSpec
from .blend_files import set_millimetres
from .chain_object import (
    chain_of,
    check_editable,
    is_chain,
    new_chain,
    note_built,
    read_specs,
    rebuild,
    scene_of,
    show,
)
from .checking import checker
from .long_work import SteppedOperator, idle
from .properties import FAMILY_ITEMS
from .units import exact, mm_per_unit
from .view import approach, rescale_views

WHERE_ITEMS = (
    ("ring", "New Ring", "A closed bracelet on a ring of its own", "NONE", 1),
    ("curve", "Selected Curve", "Along the active curve object", "NONE", 2),
    ("straight", "Straight", "One straight row", "NONE", 3),
)


class LINKWRIGHT_OT_add_chain(Operator):
    """Add a chain of links that print and cast apart, on a new ring or along the selected curve."""

    bl_idname = "linkwright.add_chain"
    bl_label = "Add Chain"
    bl_description = "Add a chain of links that print and cast apart, on a new ring or along the selected curve"
    bl_options = {"REGISTER", "UNDO"}

    where: EnumProperty(name="Where", description="What the chain lies along", items=WHERE_ITEMS, default="ring")
    family: EnumProperty(
        name="Family", description="How one link is shaped and hangs in the next", items=FAMILY_ITEMS, default="curb"
    )
    wire_mm: FloatProperty(name="Wire (mm)", description="Thickness of the wire", default=2.2, min=0.1, max=100.0)
    link_length_mm: FloatProperty(
        name="Link Length (mm)", description="Outside length of one link", default=12.2, min=0.5, max=1000.0
    )
    link_width_mm: FloatProperty(
        name="Link Width (mm)", description="Outside width of one link", default=9.7, min=0.5, max=1000.0
    )
    gap_mm: FloatProperty(
        name="Gap (mm)", description="Wanted smallest gap between links", default=0.4, min=0.01, max=20.0
    )
    length_mm: FloatProperty(
        name="Length (mm)", description="Worn inside length of a ring, or length of a straight chain", default=186.0,
        min=1.0, max=100_000.0,
    )  # fmt: skip

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Ask for Object Mode and an editable collection."""
        if context.mode != "OBJECT":
            cls.poll_message_set("Leave Edit Mode first (Tab)")
            return False
        if context.collection is None or context.collection.library is not None:
            cls.poll_message_set("The active collection is linked from another file: choose one of this file")
            return False
        return True

    def invoke(self, context: Any, _event: Any) -> set[str]:
        """Follow the active curve when one is selected and nothing else was asked."""
        active = context.active_object
        wanted = self.properties.is_property_set("where")
        if not wanted and active is not None and active.type == "CURVE" and active.select_get():
            self.where = "curve"
        done = self.execute(context)
        if done == {"FINISHED"}:
            ob = context.active_object
            half = ob.linkwright.figures.worn_mm / (6.0 if ob.linkwright.figures.closed else 2.0)
            checker.ask(ob)
            approach(context, tuple(ob.matrix_world.translation), half / mm_per_unit(context.scene))
        return done

    def execute(self, context: Any) -> set[str]:
        """Make the chain, select it and make it active."""
        try:
            curve = None
            if self.where == "curve":
                curve = context.active_object
                if curve is None or curve.type != "CURVE":
                    self.report({"ERROR"}, "No curve is selected: click a curve object, then add the chain")
                    return {"CANCELLED"}
            spec = ChainSpec(
                self.family,
                exact(self.wire_mm),
                exact(self.link_length_mm),
                exact(self.link_width_mm),
                exact(self.gap_mm),
            )
            length = exact(self.length_mm)
            layout = LayoutSpec(
                self.where,
                inner_length_mm=length if self.where == "ring" else None,
                length_mm=length if self.where == "straight" else None,
            )
            ob = new_chain(context, spec, layout, name=f"{self.family.capitalize()} chain", curve=curve)
        except LinkwrightError as error:
            self.report({"ERROR"}, str(error))
            return {"CANCELLED"}
        for other in context.selected_objects:
            other.select_set(False)
        ob.select_set(True)
        context.view_layer.objects.active = ob
        return {"FINISHED"}


class LINKWRIGHT_OT_follow_curve(Operator):
    """Lay the chain along its curve again, as the curve is now."""

    bl_idname = "linkwright.follow_curve"
    bl_label = "Follow Curve"
    bl_description = "Lay the chain along its curve again, as the curve is now"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Ask for a chain that follows a curve."""
        ob = chain_of(context.active_object)
        if ob is None or ob.linkwright.shape != "curve":
            cls.poll_message_set("Select a chain that follows a curve")
            return False
        return True

    def execute(self, context: Any) -> set[str]:
        """Rebuild the chain along the curve."""
        ob = chain_of(context.active_object)
        try:
            rebuild(ob, context)
        except LinkwrightError as error:
            self.report({"ERROR"}, str(error))
            return {"CANCELLED"}
        return {"FINISHED"}


class LINKWRIGHT_OT_verify(SteppedOperator, Operator):
    """Measure the smallest gap exactly, on the placed links themselves."""

    bl_idname = "linkwright.verify"
    bl_label = "Verify Gap"
    bl_description = "Measure the smallest gap exactly, on the placed links themselves"
    bl_options = {"REGISTER", "UNDO"}
    busy_words = "Verifying the gap"

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Ask for a chain, and nothing running."""
        if chain_of(context.active_object) is None:
            cls.poll_message_set("Select a chain first")
            return False
        return idle(cls, context)

    def start(self, context: Any) -> Steps[Any]:
        """Read the chain's specs and build it exactly."""
        ob = chain_of(context.active_object)
        check_editable(ob)
        spec, layout, self._line = read_specs(ob, context)
        self._name = ob.name
        return build_chain(spec, layout)

    def deliver(self, context: Any, result: Any) -> None:
        """Show the verified chain."""
        ob = context.scene.objects[self._name]
        show(ob, result, mm_per_unit(scene_of(ob, context)))
        note_built(ob, result, self._line)
        self.report({"INFO"}, f"Smallest gap {result.smallest_gap_mm:.3f} mm, measured on {len(result.bodies)} links")


class LINKWRIGHT_OT_set_millimetres(Operator):
    """Set the scene's unit to the millimetre and rebuild its chains; other objects keep their numbers."""

    bl_idname = "linkwright.set_millimetres"
    bl_label = "Set Millimetres"
    bl_description = "Set the scene's unit to the millimetre and rebuild its chains; other objects keep their numbers"
    bl_options = {"REGISTER", "UNDO"}

    def execute(self, context: Any) -> set[str]:
        """Set unit, clipping and chains."""
        scene = context.scene
        old = mm_per_unit(scene)
        set_millimetres(scene)
        factor = old / mm_per_unit(scene)
        refused = []
        for ob in [ob for ob in scene.objects if is_chain(ob)]:
            ob.empty_display_size *= factor
            ob.location = ob.location * factor
            context.view_layer.update()
            try:
                rebuild(ob, context)
            except LinkwrightError as error:
                ob.linkwright.figures.message = str(error)
                refused.append(ob.name)
        rescale_views(context, factor, mm_per_unit(scene))
        if refused:
            self.report({"WARNING"}, f"Not rebuilt: {', '.join(refused)}; the panel says why")
        return {"FINISHED"}
