"""Operators for the lattice and the pour: plan, show, take away."""

from __future__ import annotations

from typing import Any

import numpy as np
from bpy.types import Operator

from ..rules.base.progress import Steps, part
from ..rules.feed.lattice import Lattice
from ..rules.files.job import Job
from ..rules.inspect.finding import stops, worst_first
from ..rules.solid.mesh import FloatArray
from ..verbs import flow, words
from ..verbs.own_materials import own_materials
from ..verbs.sets import FedSet
from .boolean import boolean
from .cast_results import store_plan, verdict_words
from .cast_view import cast_view
from .chain_object import chain_of, refusal
from .current import dated_now, watch
from .lattice_edits import planned_again
from .lattice_set import lattice_of, planned_set, remove_set, set_objects, show_set
from .long_work import idle
from .op_inspect import ChainWork, inspect_words, lift
from .print_view import InScene
from .process_settings import note_process
from .result_state import state_of
from .results import store
from .selection import read_selected
from .showing import parts, remove_struts
from .steps_status import note_step
from .translated import told_report
from .units import mm_per_unit
from .view import redraw
from .weighing import weigh


class LINKWRIGHT_OT_add_lattice(ChainWork, Operator):
    """Plan the feed lattice: a ring on the plate and a gate to every link, clear of all others."""

    bl_idname = "linkwright.add_lattice"
    bl_label = "Add Lattice"
    bl_description = "Plan the feed lattice: a ring on the plate and a gate to every link, clear of all others"
    bl_options = {"REGISTER", "UNDO"}
    busy_words = "Planning the lattice"

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Ask for a chain or selected meshes, and nothing running."""
        if chain_of(context.active_object) is None and not set_objects(context):
            cls.poll_message_set("Select a chain, or the mesh objects to feed")
            return False
        return idle(cls, context)

    def start(self, context: Any) -> Steps[Any]:
        """Read what is selected and give the plan."""
        if chain_of(context.active_object) is None:
            note_process(context.scene.linkwright)
            objects = set_objects(context)
            self._set = [ob.name for ob in objects]
            return planned_set(read_selected(context, objects), context.scene.linkwright, mm_per_unit(context.scene))
        self._set = []
        job = self.read(context, planned_again)
        return _planned(job, flow.scaling(job, own_materials()), self._turn)

    def deliver(self, context: Any, result: Any) -> None:
        """Show the struts, each an object of its own, and keep what the planner found."""
        if self._set:
            self._deliver_set(context, *result)
            return
        chain, fed = result
        ob = self.shown(context, chain, fed.play)
        shift = lift(fed, chain, self._turn)
        self.show_lattice(context, ob, fed, shift)
        self.keep(context, ob, fed, fed.findings, f"{inspect_words(fed.inspection)}, with lattice", shift)
        note_step(context, "feed", ob, context.scene, fed.lattice.findings)
        self._say(fed.lattice, fed.findings)

    def _deliver_set(self, context: Any, fed: FedSet, lift_mm: FloatArray) -> None:
        """Show the lattice of meshes and keep what was found of them and of it."""
        mm = mm_per_unit(context.scene)
        show_set(context, self._set, fed.lattice.moved(-lift_mm), mm)
        sizes = [np.subtract(b.bounds_mm[1], b.bounds_mm[0]).max() for b in fed.inspection.bodies]
        x, y, z = lift_mm.tolist()
        store(
            state_of(context), fed.findings, fed.inspection, subject="", shift=(x, y, z),
            heading=f"Selected meshes: {inspect_words(fed.inspection)}, with lattice",
            dated=context.scene.linkwright.stamp, mm=mm, reach_mm=float(np.median(sizes)),
        )  # fmt: skip
        watched = [context.scene.objects[name] for name in self._set]
        watch(state_of(context), watched, context.evaluated_depsgraph_get())
        redraw(context)
        self._say(fed.lattice, fed.findings)

    def _say(self, lattice: Lattice, findings: Any) -> None:
        gates = sum(1 for s in lattice.struts if s.feeds is not None)
        count = len(stops(findings))
        self.report({"WARNING"} if count else {"INFO"}, told_report(f"Lattice of {gates} gates, {count} stops"))


class LINKWRIGHT_OT_remove_lattice(Operator):
    """Take the lattice of the chain, or of the selected meshes, away."""

    bl_idname = "linkwright.remove_lattice"
    bl_label = "Remove Lattice"
    bl_description = "Take the lattice of the chain, or of the selected meshes, away"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Ask for a chain or meshes with a lattice."""
        ob = chain_of(context.active_object)
        if ob is None and lattice_of(context) is not None:
            return idle(cls, context)
        if ob is None or not ob.linkwright.figures.lattice_stamp:
            cls.poll_message_set("Select a chain that has a lattice, or meshes that have one")
            return False
        if ob is not None and refusal(ob):
            cls.poll_message_set(f"The chain {refusal(ob)}")
            return False
        return idle(cls, context)

    def execute(self, context: Any) -> set[str]:
        """Remove the struts."""
        ob = chain_of(context.active_object)
        if ob is None:
            count = remove_set(lattice_of(context))
        else:
            if context.active_object.linkwright.part == "STRUT":
                context.view_layer.objects.active = ob
            count = remove_struts(ob)
        redraw(context)
        self.report({"INFO"}, told_report(f"{count} struts removed"))
        return {"FINISHED"}


class LINKWRIGHT_OT_plan_cast(ChainWork, Operator):
    """Plan the pour: metal weight, flask, investment and temperatures."""

    bl_idname = "linkwright.plan_cast"
    bl_label = "Plan Cast"
    bl_description = "Plan the pour: metal weight, flask, investment and temperatures"
    bl_options = {"REGISTER", "UNDO"}
    busy_words = "Planning the pour"

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Ask for a chain, and nothing running."""
        return cls.chain_ready(context)

    def start(self, context: Any) -> Steps[Any]:
        """Read the chain and give the plan."""
        job = self.read(context)
        materials = own_materials()
        return _poured(job, flow.scaling(job, materials), materials, self._turn)

    def deliver(self, context: Any, result: Any) -> None:
        """Keep the plan's lines, and its findings with the chain's."""
        chain, fed, planned = result
        ob = self.shown(context, chain, fed.play)
        findings = worst_first((*fed.findings, *planned.findings))
        shift = lift(fed, chain, self._turn)
        has_lattice = bool(parts(ob, "STRUT"))
        if has_lattice:
            self.show_lattice(context, ob, fed, shift)
        weigh(ob.linkwright.figures, context.scene.linkwright, again=True)
        self.keep(context, ob, fed, findings, f"{inspect_words(fed.inspection)}, with pour", shift)
        note_step(context, "cast", ob, context.scene, planned.findings, words=verdict_words(planned))
        state = state_of(context)
        store_plan(state, planned, subject=ob.name, dated=dated_now(ob, context.scene))
        in_scene = InScene(self._turn, shift, mm_per_unit(context.scene))
        cast_view.keep(state, planned, fed.chain.bodies, fed.lattice.solids if has_lattice else (), in_scene)
        self.report({"INFO"}, told_report(f"{state.verdict} {words.plan_lines(planned)[0]}".strip()))


def _planned(job: Job, scaled: flow.Scaling, turn: FloatArray) -> Steps[Any]:
    chain = yield from part(flow.build(job, boolean), 0.0, 0.3)
    fed = yield from part(flow.feed(job, flow.turned(chain, turn), scaled, None), 0.3, 1.0)
    return chain, fed


def _poured(job: Job, scaled: flow.Scaling, materials: Any, turn: FloatArray) -> Steps[Any]:
    chain, fed = yield from part(_planned(job, scaled, turn), 0.0, 0.3)
    planned = yield from part(flow.cast(job, fed, materials, scaled), 0.3, 1.0)
    return chain, fed, planned
