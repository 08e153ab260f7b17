"""Operators that inspect a chain or any selected meshes, and look at what was found."""

from __future__ import annotations

from typing import Any

import numpy as np
from bpy.props import IntProperty
from bpy.types import Operator

from ..rules.base.errors import BadInput
from ..rules.base.progress import Steps, part
from ..rules.cast.materials import load_materials
from ..rules.chain.chain import Chain
from ..rules.files.job import Job
from ..rules.inspect.finding import stops, worst_first
from ..rules.inspect.gap_field import GapField, gap_field
from ..rules.inspect.inspection import Inspection, inspect
from ..verbs import flow
from .boolean import boolean
from .chain_object import chain_of, check_editable, check_unscaled, read_specs, scene_of, show_built
from .gap_colours import Steps as GapSteps
from .gap_colours import colours
from .long_work import SteppedOperator, idle
from .measured import note_play
from .process_settings import make_job, note_process, profile
from .results import clear, dated_now, place_of, state_of, store, watch
from .selection import selected_bodies, selected_solids
from .showing import parts, show_struts
from .units import mm_per_unit
from .view import frame_place, redraw


class ChainWork(SteppedOperator):
    """What operators on a chain share: reading it as a job at the start, showing the exact chain at the end."""

    def read(self, context: Any) -> Job:
        """Read the active chain as a job and keep what `shown` needs. Raises BadInput."""
        ob = chain_of(context.active_object)
        if ob is None:
            raise BadInput("no chain is selected; click a chain or one of its links")
        check_editable(ob)
        context.view_layer.update()
        check_unscaled(ob)
        scene = scene_of(ob, context)
        note_process(scene.linkwright)
        self._name = ob.name
        self._read = read_specs(ob, context)
        return make_job(ob.name, self._read.chain, self._read.layout, scene.linkwright)

    def shown(self, context: Any, chain: Any, play: Any) -> Any:
        """Show the exact chain in the scene with how far its joints move, and give its object."""
        ob = context.scene.objects[self._name]
        show_built(ob, context, chain, self._read)
        note_play(ob.linkwright.figures, chain, play)
        return ob

    def keep(self, context: Any, ob: Any, findings: Any, heading: str, shift: Any) -> None:
        """Keep findings for the panel, dated by the chain and settings as they now stand."""
        scene = scene_of(ob, context)
        store(
            state_of(context),
            findings,
            subject=ob.name,
            heading=heading,
            dated=dated_now(ob, scene),
            mm=mm_per_unit(scene),
            shift=(float(shift[0]), float(shift[1]), float(shift[2])),
            reach_mm=1.5 * self._read.chain.link_length_mm,
            with_lattice=bool(parts(ob, "STRUT")),
        )
        redraw(context)

    @classmethod
    def chain_ready(cls, context: Any) -> bool:
        """Ask for a chain, and nothing running."""
        if chain_of(context.active_object) is None:
            cls.poll_message_set("Select a chain first")  # type: ignore[attr-defined]
            return False
        return idle(cls, context)


def lift(fed: flow.Fed, before: Any) -> Any:
    """Give how far (3,) mm the inspected job was moved to stand on the plate z = 0."""
    return np.asarray(fed.chain.bodies[0].pose.origin) - np.asarray(before.bodies[0].pose.origin)


def inspect_words(inspection: Inspection) -> str:
    """Say in one line what was looked at."""
    bodies = len(inspection.bodies)
    gaps = [pair.gap_mm for pair in inspection.pairs if pair.gap_mm is not None]
    smallest = f", smallest gap {min(gaps):.3f} mm" if gaps else ""
    return f"{bodies} {'body' if bodies == 1 else 'bodies'}{smallest}"


class LINKWRIGHT_OT_inspect(ChainWork, Operator):
    """Inspect the chain with its lattice, or the selected meshes: gaps, fused bodies, which links are linked."""

    bl_idname = "linkwright.inspect"
    bl_label = "Inspect"
    bl_description = (
        "Inspect the chain with its lattice, or the selected meshes: gaps, fused bodies, which links are linked"
    )
    bl_options = {"REGISTER", "UNDO"}
    busy_words = "Inspecting"

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Ask for a chain or selected meshes, and nothing running."""
        if chain_of(context.active_object) is None and not selected_solids(context):
            cls.poll_message_set("Select a chain, or the mesh objects to inspect")
            return False
        return idle(cls, context)

    def start(self, context: Any) -> Steps[Any]:
        """Read what is selected and give the inspection."""
        ob = chain_of(context.active_object)
        if ob is None:
            self._name = ""
            self._watched = selected_solids(context)
            bodies = selected_bodies(context)
            return _coloured(inspect(bodies, profile(context.scene.linkwright), range_mm=flow.RANGE_MM), bodies)
        job = self.read(context)
        scaled = flow.scaling(job, load_materials())
        self._scale = scaled.scale
        return _coloured(_with_lattice(job, scaled) if parts(ob, "STRUT") else _without(job, scaled), None)

    def deliver(self, context: Any, result: Any) -> None:
        """Keep the findings; show the exact chain they belong to."""
        result, bodies, field = result
        if isinstance(result, Inspection):
            self._deliver_meshes(context, result)
            watch(state_of(context), self._watched)
            self._colour(context, bodies, field, 1.0, np.zeros(3))
            return
        chain, made = result
        ob = self.shown(context, chain, made.play)
        words = inspect_words(made.inspection)
        shift = np.zeros(3)
        if isinstance(made, flow.Fed):
            shift = lift(made, chain)
            show_lattice(context, ob, made, shift)
            words += ", with lattice"
        self.keep(context, ob, made.findings, words, shift)
        self._colour(context, bodies, field, self._scale, shift)
        self._say(made.findings, words)

    def _colour(self, context: Any, bodies: Any, field: GapField, scale: float, shift: Any) -> None:
        limits = profile(context.scene.linkwright)
        steps = GapSteps(limits.gap_floor_mm, limits.gap_warn_mm, flow.RANGE_MM)
        colours.keep(state_of(context), bodies, field, steps, scale=scale, mm=mm_per_unit(context.scene), shift=shift)

    def _deliver_meshes(self, context: Any, result: Inspection) -> None:
        words = inspect_words(result)
        findings = worst_first(result.findings)
        mm = mm_per_unit(context.scene)
        sizes = [np.subtract(b.bounds_mm[1], b.bounds_mm[0]).max() for b in result.bodies]
        store(
            state_of(context), findings, subject="", heading=f"Selected meshes: {words}", dated="", mm=mm,
            reach_mm=float(np.median(sizes)),
        )  # fmt: skip
        redraw(context)
        self._say(findings, words)

    def _say(self, findings: Any, words: str) -> None:
        count = len(stops(findings))
        self.report(
            {"WARNING"} if count else {"INFO"}, f"{words}: {count} stops, {len(findings) - count} other findings"
        )


def show_lattice(context: Any, ob: Any, fed: flow.Fed, shift: Any) -> None:
    """Show a planned lattice under its chain, each solid an object, at the chain's own height."""
    solids = tuple((s.role, s.mesh) for s in fed.lattice.moved(-shift).solids)
    show_struts(ob, solids, mm_per_unit(scene_of(ob, context)))
    ob.linkwright.figures.lattice_stamp = ob.linkwright.figures.stamp


def _coloured(steps: Steps[Any], bodies: Any) -> Steps[tuple[Any, Any, GapField]]:
    """Run an inspection, then find the gap at every point of its bodies, those of its chain when none are given."""
    result = yield from part(steps, 0.0, 0.85)
    if bodies is None:
        bodies = result[1].chain.bodies
    field = yield from part(gap_field(bodies, range_mm=flow.RANGE_MM), 0.85, 1.0)
    return result, bodies, field


def _without(job: Job, scaled: flow.Scaling) -> Steps[tuple[Chain, flow.Made]]:
    made = yield from flow.make(job, scaled, boolean)
    return made.chain, made


def _with_lattice(job: Job, scaled: flow.Scaling) -> Steps[tuple[Chain, flow.Fed]]:
    chain = yield from part(flow.build(job, boolean), 0.0, 0.3)
    fed = yield from part(flow.feed(job, chain, scaled, boolean), 0.3, 1.0)
    return chain, fed


class LINKWRIGHT_OT_frame_finding(Operator):
    """Look at the place of a finding."""

    bl_idname = "linkwright.frame_finding"
    bl_label = "Frame Finding"
    bl_description = "Look at the place of a finding"
    bl_options = set()

    index: IntProperty(name="Finding", description="Row of the findings list, from 0", default=-1, min=-1)

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Ask for findings."""
        if not len(state_of(context).findings):
            cls.poll_message_set("There is no finding to look at: inspect first")
            return False
        return True

    def execute(self, context: Any) -> set[str]:
        """Turn the view to the finding's place."""
        state = state_of(context)
        index = state.active if self.index < 0 else self.index
        if index >= len(state.findings):
            self.report({"ERROR"}, f"There is no finding {index}; the list has {len(state.findings)}")
            return {"CANCELLED"}
        place = place_of(state, state.findings[index])
        if place is None:
            self.report({"WARNING"}, "This finding is about the whole piece and has no one place")
            return {"CANCELLED"}
        frame_place(context, place, state.reach)
        return {"FINISHED"}


class LINKWRIGHT_OT_clear_findings(Operator):
    """Take the findings and their marks away."""

    bl_idname = "linkwright.clear_findings"
    bl_label = "Clear Findings"
    bl_description = "Take the findings and their marks away"
    bl_options = set()

    def execute(self, context: Any) -> set[str]:
        """Clear the list."""
        clear(state_of(context))
        redraw(context)
        return {"FINISHED"}
