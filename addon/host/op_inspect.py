"""Operators that inspect a chain or any selected meshes, and look at what was found."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
from bpy.props import IntProperty
from bpy.types import Operator

from ..rules.base.errors import BadInput
from ..rules.base.progress import Steps, part
from ..rules.cast.mould_and_metal import mould_and_metal
from ..rules.chain.chain import Chain
from ..rules.feed.lattice import Lattice
from ..rules.files.job import Job
from ..rules.inspect.finding import stops, worst_first
from ..rules.inspect.gap_field import GapField, gap_field
from ..rules.inspect.inspection import Inspection, inspect
from ..rules.solid.mesh import Body, FloatArray
from ..verbs import flow
from ..verbs.inspection_words import joint_names
from ..verbs.own_materials import own_materials
from .boolean import boolean
from .chain_object import (
    chain_of,
    check_editable,
    check_unscaled,
    found_edits,
    job_of,
    read_specs,
    refusal,
    scene_of,
    show_built,
    turn_of,
)
from .current import dated_now, up_of, watch, watch_chain
from .gap_colours import ColourSteps, colours
from .gap_reader import reader
from .lattice_edits import Edits, gone
from .lattice_show import show_planned
from .long_work import SteppedOperator, idle
from .measured import note_play
from .outcomes import forget
from .process_settings import cast_spec, note_process, profile
from .result_state import place_of, state_of
from .results import clear, store
from .selection import Placed, bodies_of, read_selected, selected_solids
from .showing import parts
from .steps_status import note_step
from .translated import told_report
from .units import mm_per_unit
from .view import frame_place, redraw

# The flask's temperature follows the wire, which nobody knows of foreign meshes: our judgement.
USUAL_WIRE_MM = 1.5
# How far turns of objects may differ and still be one: what single precision leaves of matrices.
SAME_TURN = 1e-3


class ChainWork(SteppedOperator):
    """What operators on a chain share: reading it as a job at the start, showing the exact chain at the end."""

    def read(self, context: Any, change: Callable[[Edits], Edits] | None = None) -> Job:
        """Read the active chain as a job and keep what `shown` and `show_lattice` need. Raises BadInput.

        Its lattice is asked for with what was done to it by hand, changed by ``change``.
        """
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
        self._turn = turn_of(ob)
        found = found_edits(ob, context, self._read)
        self._edits = found.edits if change is None else change(found.edits)
        self._back_again = found.missing
        return job_of(ob, context, self._read, self._edits)

    def shown(self, context: Any, chain: Any, play: Any) -> Any:
        """Show the exact chain in the scene with how far its joints move, and give its object."""
        ob = context.scene.objects[self._name]
        show_built(ob, context, chain, self._read)
        note_play(ob.linkwright.figures, chain, play)
        return ob

    def show_lattice(self, context: Any, ob: Any, fed: flow.Fed, shift: Any) -> None:
        """Show a planned lattice under its chain, which was turned as its object is and then moved by ``shift``."""
        self.show_plan(context, ob, fed.lattice, fed.chain, shift)

    def show_plan(self, context: Any, ob: Any, lattice: Lattice, chain: Chain, shift: Any) -> None:
        """Show a lattice under the chain it was planned for; both as in `show_lattice`."""
        scene = scene_of(ob, context)
        show_planned(
            ob, lattice, chain.bodies, turn=self._turn, shift=shift, edits=self._edits, mm=mm_per_unit(scene),
            scene=scene,
        )  # fmt: skip
        lost = gone(ob.linkwright)
        if lost:
            self.report(  # type: ignore[attr-defined]
                {"INFO"},
                told_report(f"{lost} edit{'' if lost == 1 else 's'} of links that are gone: kept, but not used"),
            )
        if self._back_again:
            count = self._back_again
            self.report(  # type: ignore[attr-defined]
                {"INFO"},
                told_report(
                    f"{count} deleted strut{' is' if count == 1 else 's are'} back: rings, posts and spokes follow "
                    "from the gates"
                ),
            )

    def keep(self, context: Any, ob: Any, made: Any, findings: Any, heading: str, shift: Any) -> None:
        """Keep findings about a made or fed chain for the panel, dated by the chain and settings as they now stand.

        A fed chain was turned as its object is, and then moved by ``shift``.
        """
        scene = scene_of(ob, context)
        fed = isinstance(made, flow.Fed)
        if fed:
            findings = [one if one.at is None else replace(one, at=self._back(one.at, shift)) for one in findings]
            shift = np.zeros(3)
        store(
            state_of(context),
            findings,
            made.inspection,
            subject=ob.name,
            heading=heading,
            dated=dated_now(ob, scene),
            mm=mm_per_unit(scene),
            joints=joint_names(made.chain),
            shift=(float(shift[0]), float(shift[1]), float(shift[2])),
            reach_mm=1.5 * self._read.chain.link_length_mm,
            with_lattice=bool(parts(ob, "STRUT")),
        )
        if fed:
            state_of(context).up = up_of(ob).tolist()
        watch_chain(state_of(context), ob, scene)
        note_step(context, "inspect", ob, scene, findings)
        redraw(context)

    def _back(self, at: Any, shift: Any) -> tuple[float, float, float]:
        x, y, z = ((np.asarray(at) - shift) @ self._turn).tolist()
        return x, y, z

    @classmethod
    def chain_ready(cls, context: Any) -> bool:
        """Ask for a chain, and nothing running."""
        ob = chain_of(context.active_object)
        if ob is None:
            cls.poll_message_set("Select a chain first")  # type: ignore[attr-defined]
            return False
        if refusal(ob):
            cls.poll_message_set(f"The chain {refusal(ob)}")  # type: ignore[attr-defined]
            return False
        return idle(cls, context)


def lift(fed: flow.Fed, before: Any, turn: FloatArray) -> Any:
    """Give how far (3,) mm the inspected job was moved, once turned, to stand on the plate z = 0."""
    return np.asarray(fed.chain.bodies[0].pose.origin) - turn @ np.asarray(before.bodies[0].pose.origin)


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
            note_process(context.scene.linkwright)
            self._watched = [ob.name for ob in selected_solids(context)]
            return _coloured(of_meshes(read_selected(context), context.scene.linkwright))
        job = self.read(context)
        scaled = flow.scaling(job, own_materials())
        self._scale = scaled.scale
        return _coloured(_with_lattice(job, scaled, self._turn) if parts(ob, "STRUT") else _without(job, scaled))

    def deliver(self, context: Any, result: Any) -> None:
        """Keep the findings; show the exact chain they belong to."""
        (made, chain, bodies), field = result
        if isinstance(made, Inspection):
            self._deliver_meshes(context, made)
            reader.keep(state_of(context), bodies)
            self._colour(context, bodies, field, 1.0, np.zeros(3))
            return
        ob = self.shown(context, chain, made.play)
        words = inspect_words(made.inspection)
        shift = np.zeros(3)
        if isinstance(made, flow.Fed):
            shift = lift(made, chain, self._turn)
            self.show_lattice(context, ob, made, shift)
            words += ", with lattice"
        self.keep(context, ob, made, made.findings, words, shift)
        self._colour(context, bodies, field, self._scale, np.zeros(3))
        self._say(made.findings, words)

    def _colour(self, context: Any, bodies: Any, field: GapField, scale: float, shift: Any) -> None:
        limits = profile(context.scene.linkwright)
        steps = ColourSteps(limits.gap_floor_mm, limits.gap_warn_mm, flow.RANGE_MM)
        colours.keep(state_of(context), bodies, field, steps, scale=scale, mm=mm_per_unit(context.scene), shift=shift)

    def _deliver_meshes(self, context: Any, result: Inspection) -> None:
        words = inspect_words(result)
        findings = worst_first(result.findings)
        mm = mm_per_unit(context.scene)
        sizes = [np.subtract(b.bounds_mm[1], b.bounds_mm[0]).max() for b in result.bodies]
        store(
            state_of(context), findings, result, subject="", heading=f"Selected meshes: {words}",
            dated=context.scene.linkwright.stamp, mm=mm, reach_mm=float(np.median(sizes)),
        )  # fmt: skip
        watched = [context.scene.objects[name] for name in self._watched]
        watch(state_of(context), watched, context.evaluated_depsgraph_get())
        redraw(context)
        self._say(findings, words)

    def _say(self, findings: Any, words: str) -> None:
        count = len(stops(findings))
        others = len(findings) - count
        said = f"{words}: {count} stop{'' if count == 1 else 's'}, {others} other finding{'' if others == 1 else 's'}"
        self.report({"WARNING"} if count else {"INFO"}, told_report(said))


# What was made or only inspected, the chain as it stands in the scene (None: plain meshes), the bodies looked at.
_Looked = tuple[flow.Made | flow.Fed | Inspection, Chain | None, tuple[Body, ...]]


def _coloured(steps: Steps[_Looked]) -> Steps[tuple[_Looked, GapField]]:
    """Run an inspection, then find the gap at every point of the bodies it looked at."""
    looked = yield from part(steps, 0.0, 0.85)
    field = yield from part(gap_field(looked[2], range_mm=flow.RANGE_MM), 0.85, 1.0)
    return looked, field


def of_meshes(placed: tuple[Placed, ...], scene_group: Any) -> Steps[_Looked]:
    """Inspect meshes as they stand: their size is the print's, the pour is the scene's."""
    limits, pour = profile(scene_group), cast_spec(scene_group)
    mould = mould_and_metal(pour, own_materials(), thinnest_mm=USUAL_WIRE_MM)
    bodies = yield from part(bodies_of(placed), 0.0, 0.1)
    inspection = yield from part(
        inspect(
            bodies,
            limits,
            range_mm=flow.RANGE_MM,
            mould_expansion=mould.expansion,
            shrinkage=mould.shrinkage,
            head=pour.head,
            hot_strength_mpa=mould.hot_strength_mpa,
        ),
        0.1,
        1.0,
    )
    return inspection, None, bodies


def _without(job: Job, scaled: flow.Scaling) -> Steps[_Looked]:
    made = yield from flow.make(job, scaled, boolean)
    return made, made.chain, made.chain.bodies


def _with_lattice(job: Job, scaled: flow.Scaling, turn: FloatArray) -> Steps[_Looked]:
    chain = yield from part(flow.build(job, boolean), 0.0, 0.3)
    fed = yield from part(flow.feed(job, flow.turned(chain, turn), scaled, boolean), 0.3, 1.0)
    return fed, chain, chain.bodies


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
            self.report({"ERROR"}, told_report(f"There is no finding {index}; the list has {len(state.findings)}"))
            return {"CANCELLED"}
        place = place_of(state, state.findings[index])
        if place is None:
            self.report({"WARNING"}, told_report("This finding is about the whole piece and has no one place"))
            return {"CANCELLED"}
        frame_place(context, place, state.reach)
        return {"FINISHED"}


class LINKWRIGHT_OT_clear_findings(Operator):
    """Take the findings and their marks away."""

    bl_idname = "linkwright.clear_findings"
    bl_label = "Clear Findings"
    bl_description = "Take the findings and their marks away"
    bl_options = set()

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Ask for a result."""
        if not state_of(context).has_result:
            cls.poll_message_set("There is no result to clear: nothing was inspected yet")
            return False
        return True

    def execute(self, context: Any) -> set[str]:
        """Clear the list."""
        state = state_of(context)
        forget(state, "inspect", state.subject)
        clear(state)
        redraw(context)
        return {"FINISHED"}
