"""Operators that make and refresh chains."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from bpy.props import EnumProperty, FloatProperty
from bpy.types import Menu, Operator

from ..rules.base.errors import BadInput, LinkwrightError
from ..rules.base.progress import Steps
from ..rules.chain.build import build_chain
from ..rules.chain.spec import ChainSpec, LayoutSpec
from .blend_files import set_millimetres
from .boolean import boolean
from .chain_object import chain_of, check_editable, is_chain, new_chain, read_specs, rebuild, show_built
from .checking import checker
from .choices import FAMILY_ITEMS
from .long_work import OnChain, SteppedOperator, may_add
from .options import USUAL_WIRE_MM, usual_sizes, usual_wire
from .panel_names import words_of
from .translated import told_report
from .units import exact, is_millimetres, mm_per_unit
from .view import approach, hide_parent_lines, rescale_views, select_only

# How much longer than the bare wrist a bracelet is worn; common practice, no published source: 10 to 20 mm.
EASE_MM = 15.0
SIZE_BY_ITEMS = (
    ("WRIST", "Wrist", "By the girth of the bare wrist", "NONE", 1),
    ("LENGTH", "Length", "By the length itself", "NONE", 2),
)
WHERE_ITEMS = (
    ("ring", "New Ring", "A closed bracelet on a ring of its own", "NONE", 1),
    ("curve", "Selected Curve", "Along the active curve object", "NONE", 2),
    ("straight", "Straight", "One straight row", "NONE", 3),
    ("mesh", "Selected Link Mesh", "A ring of links that are the active mesh object", "NONE", 4),
)

WHERE_TIPS = {
    "ring": "Add a closed bracelet of links that print and cast apart, on a ring of its own",
    "curve": "Add a chain of links that print and cast apart along the active curve",
    "straight": "Add a straight chain of links that print and cast apart",
    "mesh": "Add a ring of links that are the active mesh, clear of each other",
}
WHERE_NEEDS = {"curve": "Select a curve object first: the chain follows it", "mesh": "Select a closed mesh first: it "
               "becomes the link"}  # fmt: skip

# What is no mesh but can be made one.
CONVERTIBLE = ("CURVE", "SURFACE", "FONT", "META")


def look_at_new(context: Any, ob: Any) -> None:
    """Go near a chain that was just asked for, and have its fit checked.

    With the scene's first, the view's lines to parents go off; whoever wants them and switches them on keeps them.
    """
    checker.ask(ob)
    if sum(is_chain(one) for one in context.scene.objects) == 1:
        hide_parent_lines(context)
    figures = ob.linkwright.figures
    half_mm = figures.worn_mm / (6.0 if figures.closed else 2.0)
    approach(context, tuple(ob.matrix_world.translation), half_mm / mm_per_unit(context.scene))


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
    link_width_mm: FloatProperty(
        name="Width (mm)", description="Outside width of one link: how broad the chain looks; usually 5 to 15, 0 gives "
        "the width that is usual for family and wire", default=0.0, min=0.0, max=1000.0,
    )  # fmt: skip
    wire_mm: FloatProperty(
        name="Wire (mm)", description="Thickness of the wire: it sets weight and strength; usually 0.8 to 4, 0 follows "
        "the width", default=0.0, min=0.0, max=100.0,
    )  # fmt: skip
    link_length_mm: FloatProperty(
        name="Link Length (mm)", description="Outside length of one link; usually 4 to 8 times the wire, 0 gives what "
        "is usual for family and wire", default=0.0, min=0.0, max=1000.0,
    )  # fmt: skip
    gap_mm: FloatProperty(
        name="Gap (mm)", description="Wanted smallest gap between any two links; usually 0.3 to 0.5, wide enough to "
        "print and cast apart", default=0.4, min=0.01, max=20.0,
    )  # fmt: skip
    size_by: EnumProperty(name="Size By", description="What sets the length", items=SIZE_BY_ITEMS, default="LENGTH")
    wrist_mm: FloatProperty(
        name="Wrist (mm)", description="Girth of the bare wrist: the chain is worn 15 mm longer; usually 140 to 190",
        default=170.0, min=1.0, max=100_000.0,
    )  # fmt: skip
    length_mm: FloatProperty(
        name="Length (mm)", description="Worn inside length of a ring, or length of a straight chain; usually 170 to "
        "210 for a bracelet, 400 to 500 for a necklace", default=186.0, min=1.0, max=100_000.0,
    )  # fmt: skip

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Ask for Object Mode and an editable collection."""
        return may_add(cls, context)

    @classmethod
    def description(cls, context: Any, properties: Any) -> str:
        """Tell what the chain will lie along, or what has to be selected first."""
        return WHERE_TIPS[properties.where] if _can_be(context, properties.where) else WHERE_NEEDS[properties.where]

    def draw(self, _context: Any) -> None:
        """Draw the few numbers that make a bracelet: what it lies along, its size, and its link."""
        layout = self.layout
        layout.use_property_split = True
        layout.use_property_decorate = False
        layout.prop(self, "where")
        if self.where in ("ring", "straight", "mesh"):
            layout.prop(self, "size_by")
            layout.prop(self, "wrist_mm" if self.size_by == "WRIST" else "length_mm")
        if self.where != "mesh":
            layout.prop(self, "family")
            for name in ("link_width_mm", "wire_mm", "link_length_mm"):
                layout.prop(self, name)
            layout.label(text="0 takes the usual size")
        layout.prop(self, "gap_mm")

    def invoke(self, context: Any, _event: Any) -> set[str]:
        """Follow the active curve when one is selected and nothing else was asked; size it by the wrist."""
        if not self.properties.is_property_set("size_by") and not self.properties.is_property_set("length_mm"):
            self.size_by = "WRIST"
        active = context.active_object
        wanted = self.properties.is_property_set("where")
        if not wanted and active is not None and active.type == "CURVE" and active.select_get():
            self.where = "curve"
        done = self.execute(context)
        if done == {"FINISHED"}:
            look_at_new(context, context.active_object)
        return done

    def execute(self, context: Any) -> set[str]:
        """Make the chain, select it and make it active."""
        try:
            curve, own = _picked(context, self.where)
            width = exact(self.link_width_mm)
            wire = exact(self.wire_mm) or (usual_wire(self.family, width) if width else USUAL_WIRE_MM)
            usual_length, usual_width = usual_sizes(self.family, wire)
            link_length = exact(self.link_length_mm) or usual_length
            link_width = width or usual_width
            spec = ChainSpec(self.family, wire, link_length, link_width, exact(self.gap_mm))
            if own is not None:
                spec = replace(spec, family="mesh")
            shape = "ring" if own is not None else self.where
            by_wrist = self.size_by == "WRIST" and shape != "curve"
            length = exact(self.wrist_mm) + EASE_MM if by_wrist else exact(self.length_mm)
            layout = LayoutSpec(
                shape,
                inner_length_mm=length if shape == "ring" or by_wrist else None,
                length_mm=length if shape == "straight" and not by_wrist else None,
            )
            name = "Own chain" if own is not None else f"{self.family.capitalize()} chain"
            ob = new_chain(context, spec, layout, name=name, curve=curve, own=own)
            if by_wrist:
                _size_by_wrist(ob.linkwright, exact(self.wrist_mm))
        except LinkwrightError as error:
            self.report({"ERROR"}, words_of(error))
            return {"CANCELLED"}
        select_only(context, ob)
        return {"FINISHED"}


def _size_by_wrist(group: Any, wrist_mm: float) -> None:
    """Say in a chain's settings that its length, which it has, is that of a wrist."""
    group.hold = True
    try:
        group.ring_size = group.straight_size = "WRIST"
        group.wrist_mm, group.ease_mm = wrist_mm, EASE_MM
    finally:
        group.hold = False


def _can_be(context: Any, where: str) -> bool:
    """Tell whether what is active is what a chain can lie along or be made of."""
    active = context.active_object
    if where == "curve":
        return active is not None and active.type == "CURVE"
    if where == "mesh":
        return active is not None and active.type == "MESH" and chain_of(active) is None
    return True


def _picked(context: Any, where: str) -> tuple[Any, Any]:
    """Give the curve and the link mesh to use. Raises BadInput where what is active is not what is asked for."""
    active = context.active_object
    if where == "curve":
        if not _can_be(context, where):
            raise BadInput("No curve is selected: click a curve object, then add the chain")
        return active, None
    if where == "mesh":
        if not _can_be(context, where):
            if active is not None and active.select_get() and active.type in CONVERTIBLE:
                raise BadInput(
                    f"{active.name}: is no mesh yet; convert it first (Object > Convert > Mesh), then add the chain"
                )
            if active is not None and active.select_get() and active.instance_type == "COLLECTION":
                raise BadInput(
                    f"{active.name}: shows instances; make one of them real first (Object > Apply > Make Instances "
                    "Real), click it, then add the chain"
                )
            raise BadInput("No link mesh is selected: click a closed mesh object, then add the chain")
        return None, active
    return None, None


class LINKWRIGHT_MT_add(Menu):
    """What the Add menu offers of ours."""

    bl_label = "Linkwright"

    def draw(self, context: Any) -> None:
        """List the ways to begin."""
        layout = self.layout
        # From a menu an operator is only executed, unless it is asked to look round first.
        layout.operator_context = "INVOKE_REGION_WIN"
        ways(layout, context)
        layout.separator()
        layout.operator("linkwright.add_gauge", text="Gauge", icon="SNAP_INCREMENT")
        layout.menu("LINKWRIGHT_MT_samples", icon="FILE_FOLDER")


def ways(layout: Any, context: Any) -> None:
    """Put a button for every thing a chain can be made on; those that need a selection are dim without it."""
    for where, text, icon in (
        ("ring", "On a New Ring", "MESH_CIRCLE"),
        ("curve", "Along Selected Curve", "CURVE_DATA"),
        ("mesh", "From Selected Mesh", "MESH_TORUS"),
        ("straight", "Straight", "LINKED"),
    ):
        row = layout.row()
        row.active = _can_be(context, where)
        row.operator("linkwright.add_chain", text=text, icon=icon).where = where


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
            self.report({"ERROR"}, words_of(error))
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
        self.report(
            {"INFO"}, told_report(f"Smallest gap {result.smallest_gap_mm:.3f} mm, measured on {result.count} links")
        )


class LINKWRIGHT_OT_set_millimetres(Operator):
    """Set the scene's unit to the millimetre and rebuild its chains; other objects keep their numbers."""

    bl_idname = "linkwright.set_millimetres"
    bl_label = "Set Millimetres"
    bl_description = "Set the scene's unit to the millimetre and rebuild its chains; other objects keep their numbers"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Ask for a scene of this file whose unit is another."""
        if context.scene.library is not None:
            cls.poll_message_set("The scene is linked from another file: open that one")
            return False
        if is_millimetres(context.scene):
            cls.poll_message_set("One unit of this scene is 1 mm as it is")
            return False
        return True

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
            self.report({"WARNING"}, told_report(f"Not rebuilt: {', '.join(refused)}; the panel says why"))
        return {"FINISHED"}
