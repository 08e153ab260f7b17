"""Operators that make and refresh chains."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from bpy.props import EnumProperty, FloatProperty
from bpy.types import Operator

from ..rules.base.errors import BadInput, LinkwrightError
from ..rules.base.progress import Steps
from ..rules.chain.build import build_chain
from ..rules.chain.spec import ChainSpec, LayoutSpec
from .blend_files import set_millimetres
from .boolean import boolean
from .chain_object import chain_of, check_editable, is_chain, new_chain, read_specs, rebuild, show_built
from .checking import checker
from .choices import FAMILY_ITEMS
from .long_work import OnChain, SteppedOperator
from .options import usual_sizes
from .units import exact, mm_per_unit
from .view import approach, rescale_views

WHERE_ITEMS = (
    ("ring", "New Ring", "A closed bracelet on a ring of its own", "NONE", 1),
    ("curve", "Selected Curve", "Along the active curve object", "NONE", 2),
    ("straight", "Straight", "One straight row", "NONE", 3),
    ("mesh", "Selected Link Mesh", "A ring of links that are the active mesh object", "NONE", 4),
)


class LINKWRIGHT_OT_add_chain(Operator):
    """Add a chain of links that print and cast apart: on a new ring, along a curve, of a mesh, or straight."""

    bl_idname = "linkwright.add_chain"
    bl_label = "Add Chain"
    bl_description = "Add a chain of links that print and cast apart, on a ring, along a curve, of a mesh, or straight"
    bl_options = {"REGISTER", "UNDO"}

    where: EnumProperty(name="Where", description="What the chain lies along", items=WHERE_ITEMS, default="ring")
    family: EnumProperty(
        name="Family", description="How one link is shaped and hangs in the next", items=FAMILY_ITEMS, default="curb"
    )
    wire_mm: FloatProperty(name="Wire (mm)", description="Thickness of the wire", default=2.2, min=0.1, max=100.0)
    link_length_mm: FloatProperty(
        name="Link Length (mm)", description="Outside length of one link; 0: as usual for family and wire",
        default=0.0, min=0.0, max=1000.0,
    )  # fmt: skip
    link_width_mm: FloatProperty(
        name="Link Width (mm)", description="Outside width of one link; 0: as usual for family and wire",
        default=0.0, min=0.0, max=1000.0,
    )  # fmt: skip
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
            curve, own = _picked(context, self.where)
            wire = exact(self.wire_mm)
            usual_length, usual_width = usual_sizes(self.family, wire)
            link_length = exact(self.link_length_mm) or usual_length
            link_width = exact(self.link_width_mm) or usual_width
            spec = ChainSpec(self.family, wire, link_length, link_width, exact(self.gap_mm))
            if own is not None:
                spec = replace(spec, family="mesh")
            length = exact(self.length_mm)
            shape = "ring" if own is not None else self.where
            layout = LayoutSpec(
                shape,
                inner_length_mm=length if shape == "ring" else None,
                length_mm=length if shape == "straight" else None,
            )
            name = "Own chain" if own is not None else f"{self.family.capitalize()} chain"
            ob = new_chain(context, spec, layout, name=name, curve=curve, own=own)
        except LinkwrightError as error:
            self.report({"ERROR"}, str(error))
            return {"CANCELLED"}
        for other in context.selected_objects:
            other.select_set(False)
        ob.select_set(True)
        context.view_layer.objects.active = ob
        return {"FINISHED"}


def _picked(context: Any, where: str) -> tuple[Any, Any]:
    """Give the curve and the link mesh to use. Raises BadInput where what is active is not what is asked for."""
    active = context.active_object
    if where == "curve":
        if active is None or active.type != "CURVE":
            raise BadInput("No curve is selected: click a curve object, then add the chain")
        return active, None
    if where == "mesh":
        if active is None or active.type != "MESH" or chain_of(active) is not None:
            raise BadInput("No link mesh is selected: click a closed mesh object, then add the chain")
        return None, active
    return None, None


class LINKWRIGHT_OT_follow_curve(Operator):
    """Lay the chain along its curve again, as the curve is now, or of its link mesh as that is now."""

    bl_idname = "linkwright.follow_curve"
    bl_label = "Follow Curve"
    bl_description = "Make the chain again along its curve, or of its link mesh, as they are now"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Ask for a chain that follows a curve or is made of a link mesh."""
        ob = chain_of(context.active_object)
        if ob is None or (ob.linkwright.shape != "curve" and ob.linkwright.family != "mesh"):
            cls.poll_message_set("Select a chain that follows a curve or is made of your own link")
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
        checker.ask(ob)
        return {"FINISHED"}


class LINKWRIGHT_OT_verify(OnChain, SteppedOperator, Operator):
    """Measure the smallest gap exactly, on the placed links themselves."""

    bl_idname = "linkwright.verify"
    bl_label = "Verify Gap"
    bl_description = "Measure the smallest gap exactly, on the placed links themselves"
    bl_options = {"REGISTER", "UNDO"}
    busy_words = "Verifying the gap"

    def start(self, context: Any) -> Steps[Any]:
        """Read the chain's specs and build it exactly."""
        ob = chain_of(context.active_object)
        check_editable(ob)
        self._read = read_specs(ob, context)
        self._name = ob.name
        return build_chain(self._read.chain, self._read.layout, union=boolean)

    def deliver(self, context: Any, result: Any) -> None:
        """Show the verified chain."""
        ob = context.scene.objects[self._name]
        show_built(ob, context, result, self._read)
        checker.ask(ob)
        self.report({"INFO"}, f"Smallest gap {result.smallest_gap_mm:.3f} mm, measured on {result.count} links")


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
