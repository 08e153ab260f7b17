"""Operators that look ahead: the chain as it is worn, and its other layouts beside each other."""

from __future__ import annotations

from typing import Any

from bpy.types import Operator

from ..rules.base.progress import Steps
from ..rules.cast.layouts import compare_layouts
from ..rules.chain.build import build_chain
from ..rules.chain.worn import worn_chain
from ..verbs import flow
from ..verbs.own_materials import own_materials
from .boolean import boolean
from .chain_object import chain_of, check_editable, read_job, read_specs, scene_of, show_built
from .checking import checker
from .current import dated_now
from .long_work import OnChain, SteppedOperator
from .result_state import state_of
from .results import store_layouts
from .showing import hide_struts, show
from .translated import told_report
from .units import mm_per_unit


class LINKWRIGHT_OT_preview_worn(OnChain, SteppedOperator, Operator):
    """Show the chain round the wearer, its links still clear of each other; press again to go back to the print."""

    bl_idname = "linkwright.preview_worn"
    bl_label = "Show as Worn"
    bl_description = "Show the links round the wearer, clear of each other; press again to see them as printed"
    bl_options = {"REGISTER", "UNDO"}
    busy_words = "Bending the chain"

    def start(self, context: Any) -> Steps[Any]:
        """Read the chain and give its exact build, bent to the wearer unless it is shown so."""
        ob = chain_of(context.active_object)
        check_editable(ob)
        self._name = ob.name
        self._read = read_specs(ob, context)
        return _bent(self._read, worn=not ob.linkwright.figures.worn_view)

    def deliver(self, context: Any, result: Any) -> None:
        """Show the links at their places."""
        printed, worn = result
        ob = context.scene.objects[self._name]
        show_built(ob, context, printed, self._read)
        if worn is None:
            checker.ask(ob)
            return
        show(ob, worn, mm_per_unit(scene_of(ob, context)))
        hide_struts(ob, hidden=True)
        ob.linkwright.figures.worn_view = True
        self.report({"INFO"}, told_report("Shown as worn; what is inspected, fed and exported is the chain as printed"))


def _bent(read: Any, *, worn: bool) -> Steps[Any]:
    printed = yield from build_chain(read.chain, read.layout, union=boolean)
    return printed, (worn_chain(printed) if worn else None)


class LINKWRIGHT_OT_compare_layouts(OnChain, SteppedOperator, Operator):
    """Lay the same links out in every way and compare plate, flask and investment."""

    bl_idname = "linkwright.compare_layouts"
    bl_label = "Compare Layouts"
    bl_description = "Lay the same links out in every way and compare room on the plate, flask and investment"
    bl_options = set()
    busy_words = "Comparing layouts"
    reads_only = True

    def start(self, context: Any) -> Steps[Any]:
        """Read the chain and give the comparison."""
        ob = chain_of(context.active_object)
        job, materials = read_job(ob, context), own_materials()
        self._name, self._dated = ob.name, dated_now(ob, scene_of(ob, context))
        return compare_layouts(
            job.chain,
            job.layout,
            ob.linkwright.figures.links,
            materials.flasks,
            head=job.cast.head,
            layer_mm=job.profile.layer_mm,
            scale=flow.scaling(job, materials).scale,
        )

    def deliver(self, context: Any, result: Any) -> None:
        """Keep what each layout takes for the panel."""
        store_layouts(state_of(context), result, subject=self._name, dated=self._dated)
