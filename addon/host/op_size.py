"""Operators that change a chain in one step: to another number of links, another layout, another width."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from bpy.props import EnumProperty, FloatProperty, IntProperty
from bpy.types import Operator

from ..rules.base.errors import LinkwrightError
from ..rules.base.progress import Steps
from ..rules.chain.resize import least_width_found, resized
from .chain_object import chain_of, change_together, check_editable, read_specs, rebuild, refusal
from .checking import checker
from .choices import SHAPE_ITEMS
from .long_work import OnChain, SteppedOperator, idle
from .options import used, usual_sizes
from .panel_names import words_of
from .settings import TURN_KEYS, apply_link, chain_stamp
from .units import exact

SIZE_BY = {"ring": "ring_size", "curve": "curve_size"}


class ChainChange:
    """What these operators share: a chain, changed and built in one step, or left as it was."""

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Ask for a chain that can be changed."""
        ob = chain_of(context.active_object)
        if ob is None:
            cls.poll_message_set("Select a chain first")  # type: ignore[attr-defined]
            return False
        why = refusal(ob)
        if why:
            cls.poll_message_set(f"The chain {why}")  # type: ignore[attr-defined]
            return False
        return idle(cls, context)

    def execute(self: Any, context: Any) -> set[str]:
        """Change the chain."""
        ob = chain_of(context.active_object)
        try:
            self.change(context, ob)
        except LinkwrightError as error:
            self.report({"ERROR"}, words_of(error))
            return {"CANCELLED"}
        checker.ask(ob)
        return {"FINISHED"}


class LINKWRIGHT_OT_lay_out_as(ChainChange, Operator):
    """Turn the same links to another layout."""

    bl_idname = "linkwright.lay_out_as"
    bl_label = "Lay Out As"
    bl_description = "Turn the chain, with the same number of links, to this layout"
    bl_options = {"REGISTER", "UNDO"}

    shape: EnumProperty(name="Layout", description="How the same links are to lie", items=SHAPE_ITEMS, default="ring")

    def change(self, context: Any, ob: Any) -> None:
        """Set shape and number of links."""
        by = SIZE_BY.get(self.shape, "straight_size")
        values: dict[str, Any] = {"shape": self.shape, by: "LINKS", "links": ob.linkwright.figures.links}
        if self.shape != ob.linkwright.shape:
            # Sizes of turns belong to the layout they were given for.
            values |= dict.fromkeys(TURN_KEYS, 0.0)
        change_together(ob, context, values)


class LINKWRIGHT_OT_take_size(ChainChange, Operator):
    """Make the chain of this many links."""

    bl_idname = "linkwright.take_size"
    bl_label = "Take Size"
    bl_description = "Make the chain of this many links"
    bl_options = {"REGISTER", "UNDO"}

    links: IntProperty(
        name="Links", description="How many links the chain gets; usually 20 to 60", default=30, min=2, max=5000,
    )  # fmt: skip

    @classmethod
    def description(cls, context: Any, properties: Any) -> str:
        """Tell what this many links make."""
        ob = chain_of(context.active_object)
        rows = [] if ob is None else [row for row in ob.linkwright.figures.sizes if row.links == properties.links]
        if not rows:
            return str(cls.bl_description)
        return f"Make the chain of {properties.links} links; their smallest gap can be {rows[0].gap_mm:.2f} mm"

    def change(self, context: Any, ob: Any) -> None:
        """Set the number of links."""
        by = SIZE_BY.get(ob.linkwright.shape, "straight_size")
        change_together(ob, context, {by: "LINKS", "links": self.links})


class LINKWRIGHT_OT_usual_sizes(ChainChange, Operator):
    """Give the link the length and width its family usually has at this wire."""

    bl_idname = "linkwright.usual_sizes"
    bl_label = "Usual Sizes"
    bl_description = "Give the link the length and width its family usually has at this wire"
    bl_options = {"REGISTER", "UNDO"}

    def change(self, context: Any, ob: Any) -> None:
        """Set length and width for the wire there is, and leave the family's other sizes to its rules."""
        group = ob.linkwright
        options = used(group.family, group.section)
        broad = "wire_width_mm" in options or ("strands" in options and group.strands == "DOUBLE")
        length, width = usual_sizes(group.family, exact(group.wire_mm), broad=broad)
        auto = {"wire_width_mm": 0.0, "long_link_mm": 0.0, "stud_mm": 0.0, "facet_mm": 0.0, "own_corner": False}
        change_together(ob, context, {"link_length_mm": length, "link_width_mm": width, **auto})


class LINKWRIGHT_OT_resize(ChainChange, Operator):
    """Make the same design at another width; its gap keeps its millimetres."""

    bl_idname = "linkwright.resize"
    bl_label = "Resize"
    bl_description = "Make the same design at another width: all sizes in proportion, the gap held in mm"
    bl_options = {"REGISTER", "UNDO"}

    width_mm: FloatProperty(
        name="Width (mm)", description="New outside width of a link; usually 5 to 15, 0 takes the panel's",
        default=0.0, min=0.0, max=1000.0, precision=2,
    )  # fmt: skip

    def change(self, context: Any, ob: Any) -> None:
        """Write the resized link, or scale the picked link mesh, and rebuild."""
        group = ob.linkwright
        check_editable(ob)
        read = read_specs(ob, context)
        width = exact(self.width_mm) or exact(group.target_width_mm)
        spec = resized(read.chain, width)
        picked, factor = group.own_link, width / read.chain.link_width_mm
        _write(group, spec, picked, factor)
        try:
            context.view_layer.update()
            rebuild(ob, context)
        except LinkwrightError:
            _write(group, read.chain, picked, 1.0 / factor)
            raise


class LINKWRIGHT_OT_least_width(OnChain, SteppedOperator, Operator):
    """Find the width at which the joint of this design closes up for its gap."""

    bl_idname = "linkwright.least_width"
    bl_label = "Find Least Width"
    bl_description = "Find the least width this design can have at its gap: below it the joints close up"
    bl_options = {"REGISTER", "UNDO"}

    busy_words = "Finding the least width"

    def start(self, context: Any) -> Steps[Any]:
        """Read the chain and give the search."""
        ob = chain_of(context.active_object)
        check_editable(ob)
        read = read_specs(ob, context)
        self._name, self._stamp = ob.name, chain_stamp(read.chain, read.layout)
        return least_width_found(read.chain, read.layout)

    def deliver(self, context: Any, result: Any) -> None:
        """Keep the figure for the panel."""
        figures = context.scene.objects[self._name].linkwright.figures
        figures.least_width_mm = result.width_mm
        figures.least_width_stamp = self._stamp


def _write(group: Any, spec: Any, picked: Any, factor: float) -> None:
    group.hold = True
    try:
        if spec.own is None:
            apply_link(group, spec)
        else:
            picked.scale = picked.scale * factor
            apply_link(group, replace(spec, own=None))
    finally:
        group.hold = False
