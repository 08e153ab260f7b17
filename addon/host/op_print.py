"""Operators that ask whether a piece prints: its layers and light, and the ways to stand it on the plate."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt
from bpy.props import IntProperty
from bpy.types import Operator
from mathutils import Matrix

from ..rules.base.errors import BadInput, LinkwrightError
from ..rules.base.progress import Steps, part
from ..rules.chain.chain import Chain
from ..rules.chain.play import free_play
from ..rules.files.job import Job
from ..rules.inspect.finding import Finding, stops, worst_first
from ..rules.inspect.gap_field import GapField, gap_field
from ..rules.inspect.inspection import Inspection
from ..rules.inspect.print_check import PrintCheck, as_advice, print_check
from ..rules.inspect.way_up import WayUp, best_way_up
from ..rules.inspect.whose import faces_from
from ..rules.solid.mesh import Body, FloatArray, Mesh
from ..verbs import flow
from ..verbs.own_materials import own_materials
from ..verbs.way_up_words import recommendation
from .boolean import boolean
from .chain_object import chain_of, scene_of
from .conversions import double, local_arrays, turn_and_stretch
from .current import dated_now, up_of, watch
from .gap_colours import ColourSteps, colours
from .long_work import idle
from .op_inspect import SAME_TURN, ChainWork, inspect_words, lift, of_meshes
from .panel_names import words_of
from .print_view import BoolArray, InScene, LightSteps, floating_loops, light_painting, section
from .process_settings import cast_spec, note_process, profile
from .result_state import state_of
from .results import clear_ways, store
from .selection import read_selected, selected_solids
from .showing import parts
from .steps_status import note_step
from .surfaces import surfaces
from .translated import told_report
from .units import mm_per_unit
from .view import redraw

DIRECTIONS = {"OFF": 0, "PREVIEW": 64, "FULL": 256}


@dataclass(frozen=True, slots=True, eq=False)
class _Checked:
    """What a print check said, and what it was said of.

    ``chain`` as it stands on its object, None for meshes; ``looked`` the bodies whose gaps ``field`` tells, ``solids``
    those that ``check`` measured the light on, all as they stand on the object, or in the scene.
    ``turn`` and ``shift`` as in `InScene`. ``check`` None where it was refused, and ``why``. ``owners`` and ``owner``
    as in `light_painting`.
    """

    made: flow.Made | flow.Fed | Inspection
    chain: Chain | None
    looked: tuple[Body, ...]
    solids: tuple[Body, ...]
    field: GapField
    check: PrintCheck | None
    why: str
    floating: BoolArray
    findings: tuple[Finding, ...]
    turn: FloatArray
    shift: FloatArray
    owners: tuple[str, ...] = ()
    owner: npt.NDArray[np.int64] | None = None

    @property
    def inspection(self) -> Inspection:
        """Give the inspection of it."""
        return self.made if isinstance(self.made, Inspection) else self.made.inspection


class LINKWRIGHT_OT_check_print(ChainWork, Operator):
    """See whether the chain with its lattice, or the selected meshes, will print as they stand."""

    bl_idname = "linkwright.check_print"
    bl_label = "Check Print"
    bl_description = (
        "See layer by layer whether the chain with its lattice, or the selected meshes, print as they stand: starts in "
        "mid-air, undersides, pockets, slots that hold resin, and light for the cure"
    )
    bl_options = {"REGISTER", "UNDO"}
    busy_words = "Checking the print"

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Ask for a chain or selected meshes, and nothing running."""
        return _anything(cls, context, "to check")

    def start(self, context: Any) -> Steps[Any]:
        """Read what is selected and give the check."""
        group = context.scene.linkwright
        directions = DIRECTIONS[group.light]
        ob = chain_of(context.active_object)
        if ob is None:
            note_process(group)
            self._watched = [one.name for one in selected_solids(context)]
            return _of_selected(of_meshes(read_selected(context), group), group, directions)
        job = self.read(context)
        scaled = flow.scaling(job, own_materials())
        self._scale = scaled.scale
        if parts(ob, "STRUT"):
            return _with_lattice(job, scaled, self._turn, directions)
        return _without(job, scaled, self._turn, directions)

    def deliver(self, context: Any, result: Any) -> None:
        """Keep findings, figures, layers and light; show the exact chain they belong to."""
        checked: _Checked = result
        state = state_of(context)
        words = inspect_words(checked.inspection)
        note = ""
        scale = 1.0
        if checked.chain is None:
            self._deliver_meshes(context, checked, words)
        else:
            scale = self._scale
            ob = self.shown(context, checked.chain, checked.made.play)
            if isinstance(checked.made, flow.Fed):
                words += ", with lattice"
                self.show_lattice(context, ob, checked.made, checked.shift)
            self.keep(context, ob, checked.made, checked.findings, words, checked.shift)
            if checked.check is not None:
                codes = {finding.code for finding in checked.check.findings}
                own = [finding for finding in checked.findings if finding.code in codes]
                note_step(context, "print", ob, context.scene, own)
            if not isinstance(checked.made, flow.Fed):
                state.up = up_of(ob).tolist()
                note = "Without a lattice: what hangs in the air is told as advice"
        self._show_print(context, checked, scale)
        state.print_note = checked.why or note
        redraw(context)
        count = len(stops(checked.findings))
        told = f"no print check: {checked.why}" if checked.check is None else _in_short(checked.check)
        warn = count or checked.check is None
        said = f"{told}; {count} stop{'' if count == 1 else 's'}"
        self.report({"WARNING"} if warn else {"INFO"}, told_report(said))

    def _deliver_meshes(self, context: Any, checked: _Checked, words: str) -> None:
        state = state_of(context)
        sizes = [np.subtract(b.bounds_mm[1], b.bounds_mm[0]).max() for b in checked.inspection.bodies]
        store(
            state, checked.findings, checked.inspection, subject="", heading=f"Selected meshes: {words}",
            dated=context.scene.linkwright.stamp, mm=mm_per_unit(context.scene), reach_mm=float(np.median(sizes)),
        )  # fmt: skip
        watched = [context.scene.objects[name] for name in self._watched]
        watch(state, watched, context.evaluated_depsgraph_get())

    def _show_print(self, context: Any, checked: _Checked, scale: float) -> None:
        """Keep what is drawn: gaps, light and layers."""
        state, mm = state_of(context), mm_per_unit(context.scene)
        limits = profile(context.scene.linkwright)
        steps = ColourSteps(limits.gap_floor_mm, limits.gap_warn_mm, flow.RANGE_MM)
        colours.keep(state, checked.looked, checked.field, steps, scale=scale, mm=mm, shift=np.zeros(3))
        if checked.check is None:
            return
        in_scene = InScene(checked.turn, checked.shift, mm)
        section.keep(state, checked.check, checked.floating, in_scene)
        for name, value in print_figures(checked.check):
            row = state.print_figures.add()
            row.name, row.value = name, value
        light = checked.check.light
        if light is not None:
            painting = light_painting(
                checked.solids, light.share, light.buried, LightSteps(checked.check.blind_limit), mm=mm,
                shift=np.zeros(3), owners=checked.owners, owner=checked.owner,
            )  # fmt: skip
            colours.put(state, "LIGHT", painting)
            state.colour_by = "LIGHT"


class LINKWRIGHT_OT_find_way_up(ChainWork, Operator):
    """Stand the chain, or the selected meshes, on the plate in many ways and compare what each asks of the print."""

    bl_idname = "linkwright.find_way_up"
    bl_label = "Compare Ways"
    bl_description = (
        "Stand the chain without its lattice, or the selected meshes, on the plate in many ways: flat, leaning, "
        "upright; and compare what each asks of the print"
    )
    bl_options = {"REGISTER", "UNDO"}
    busy_words = "Comparing ways up"

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Ask for a chain or selected meshes, and nothing running."""
        return _anything(cls, context, "to stand on the plate")

    def start(self, context: Any) -> Steps[Any]:
        """Read what is selected and give the comparison."""
        group = context.scene.linkwright
        ob = chain_of(context.active_object)
        if ob is None:
            note_process(group)
            self._stood = {one.name: double(one.matrix_world) for one in selected_solids(context)}
            return _ways_of_selected(of_meshes(read_selected(context), group), group)
        job = self.read(context)
        self._stood = {ob.name: double(ob.matrix_world)}
        return _ways_of_chain(job, flow.scaling(job, own_materials()), self._turn)

    def deliver(self, context: Any, result: Any) -> None:
        """Keep the table."""
        found, chain, play = result
        state, scene = state_of(context), context.scene
        subject, dated = "", scene.linkwright.stamp
        if chain is not None:
            ob = self.shown(context, chain, play)
            subject, dated = ob.name, dated_now(ob, scene_of(ob, context))
        store_ways(state, found, self._stood, subject=subject, dated=dated)
        redraw(context)
        self.report({"INFO"}, told_report(recommendation(found)))


class LINKWRIGHT_OT_apply_way_up(Operator):
    """Turn the piece so that it stands this way on the plate, z = 0, where it is."""

    bl_idname = "linkwright.apply_way_up"
    bl_label = "Stand This Way"
    bl_description = "Turn the piece so that it stands this way on the plate, z = 0, above where it is"
    bl_options = {"REGISTER", "UNDO"}

    index: IntProperty(name="Way", description="Row of the table of ways, from 0", default=0, min=0)

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Ask for a table of ways, and nothing running."""
        state = state_of(context)
        if not len(state.ways):
            cls.poll_message_set("There is no way to choose from: press Compare Ways first")
            return False
        if state.ways_subject:
            ob = context.scene.objects.get(state.ways_subject)
            if ob is not None and parts(ob, "STRUT"):
                cls.poll_message_set(
                    "The lattice was planned for the way the chain stands: take it away first (X in the Feed panel)"
                )
                return False
        return idle(cls, context)

    @classmethod
    def description(cls, context: Any, properties: Any) -> str:
        """Say what this way asks of the print."""
        ways = state_of(context).ways
        if properties.index >= len(ways):
            return str(cls.bl_description)
        return f"{ways[properties.index].called.capitalize()}: turn the piece so and set it on the plate, z = 0"

    def execute(self, context: Any) -> set[str]:
        """Turn all objects together about their common middle."""
        state = state_of(context)
        try:
            if self.index >= len(state.ways):
                raise BadInput(f"there is no way {self.index}; the table has {len(state.ways)}")
            objects = _stood_objects(context, state)
            turn = _rest_of_turn(objects, state, np.reshape(state.ways[self.index].turn, (3, 3)).astype(np.float64))
            _stand(context, objects, turn)
        except LinkwrightError as error:
            self.report({"ERROR"}, words_of(error))
            return {"CANCELLED"}
        redraw(context)
        self.report({"INFO"}, told_report(f"On the plate: {state.ways[self.index].called}"))
        return {"FINISHED"}


def print_figures(check: PrintCheck) -> tuple[tuple[str, str], ...]:
    """Give the figures of a print check that the panel shows, each with its name."""
    layers, peel = check.layers, check.peel
    count = len(layers.heights_mm)
    under = sum(one.area_mm2 for one in check.overhangs if not one.begins)
    figures = [
        ("Layers", f"{count} of {check.layer_mm:g} mm"),
        ("Height", f"{count * check.layer_mm:.1f} mm"),
        ("Largest", f"{peel.area_mm2:.0f} mm2 at {layers.heights_mm[peel.layer]:.1f} mm"),
        ("Film Pulls", f"about {check.peel_n:.1f} N there"),
        ("In Mid-Air", f"{len(layers.islands) or 'no'} start{'' if len(layers.islands) == 1 else 's'}"),
        ("Undersides", f"{under:.0f} mm2"),
    ]
    pockets = len(check.suction) + len(check.drip)
    if pockets:
        figures.append(("Pockets", f"{pockets}"))
    if check.slots:
        figures.append(("Resin Stays", f"in {len(check.slots)} slot{'' if len(check.slots) == 1 else 's'}"))
    if check.light is not None:
        figures.append(("Blind", f"{100.0 * check.blind_share:.2g} % of the surface"))
        error = 100.0 * check.light.sampling_error
        figures.append(("Directions", f"{check.light.directions}, within {error:.0f} %"))
    return tuple(figures)


def store_ways(state: Any, found: tuple[WayUp, ...], stood: dict[str, FloatArray], *, subject: str, dated: str) -> None:
    """Keep a comparison of ways for the panel; ``stood``: the world matrices (4, 4) of the objects compared."""
    clear_ways(state)
    for one in found:
        row = state.ways.add()
        row.name, row.called = short_name(one.way.name), one.way.name
        row.turn = one.way.rotation.ravel().tolist()
        row.islands, row.underside_mm2, row.height_mm = one.islands, one.underside_mm2, one.height_mm
        row.layers, row.largest_mm2 = one.layers, one.largest_mm2
        row.gap = "" if one.gap_mm is None else f"{one.gap_mm:.2f} mm"
        row.size = f"{one.size_mm[0]:.0f} x {one.size_mm[1]:.0f} mm"
        row.refusal = one.refusal
    for name, matrix in stood.items():
        row = state.ways_stood.add()
        row.name, row.matrix = name, matrix.ravel().tolist()
    state.ways_subject, state.ways_stamp, state.ways_said = subject, dated, recommendation(found)


def short_name(called: str) -> str:
    """Give the name of a way in at most 9 letters: "tipped 45 deg to the front" is "45\N{DEGREE SIGN} front"."""
    plain = {"as it stands": "as it is", "upside down": "upturned"}
    return plain.get(called, called.removeprefix("tipped ").replace(" deg to the", "\N{DEGREE SIGN}"))


def _anything(cls: Any, context: Any, what_for: str) -> bool:
    if chain_of(context.active_object) is None and not selected_solids(context):
        cls.poll_message_set(f"Select a chain, or the mesh objects {what_for}")
        return False
    return idle(cls, context)


def _in_short(check: PrintCheck) -> str:
    count = len(check.layers.islands)
    return f"{len(check.layers.heights_mm)} layers, {count or 'no'} start{'' if count == 1 else 's'} in mid-air"


def _without(job: Job, scaled: flow.Scaling, turn: FloatArray, directions: int) -> Steps[_Checked]:
    """Check a chain that has no lattice, as its object is turned."""
    chain = yield from part(flow.build(job, boolean), 0.0, 0.2)
    play = yield from part(free_play(chain), 0.2, 0.3)
    made = yield from part(flow.check(flow.turned(chain, turn), job, scaled, play), 0.3, 0.45)
    field = yield from part(gap_field(chain.bodies, range_mm=flow.RANGE_MM), 0.45, 0.55)
    check, why = yield from part(_or_why(flow.will_print(made, job, scaled, directions=directions)), 0.55, 0.95)
    floating = yield from part(_floating(check), 0.95, 1.0)
    told = (*made.findings, *(() if check is None else as_advice(check.findings)))
    own = InScene(turn, np.zeros(3), 1.0)
    findings = worst_first(one if one.at is None else replace(one, at=_as_point(own, one.at)) for one in told)
    return _Checked(made, chain, chain.bodies, chain.bodies, field, check, why, floating, findings, turn, np.zeros(3))


def _with_lattice(job: Job, scaled: flow.Scaling, turn: FloatArray, directions: int) -> Steps[_Checked]:
    """Check a chain joined to its lattice, as its object is turned."""
    chain = yield from part(flow.build(job, boolean), 0.0, 0.2)
    fed = yield from part(flow.feed(job, flow.turned(chain, turn), scaled, boolean, directions=directions), 0.2, 0.85)
    field = yield from part(gap_field(chain.bodies, range_mm=flow.RANGE_MM), 0.85, 0.95)
    shift = lift(fed, chain, turn)
    own = InScene(turn, shift, 1.0)
    floating = yield from part(_floating(fed.printed), 0.95, 0.98)
    solid = None if fed.solid is None else fed.solid.mesh
    whole = () if solid is None else (Body(job.name, Mesh(own.back(solid.points), solid.triangles)),)
    why = "" if whole else "chain and lattice could not be joined to one solid; the findings say where"
    links, owner = fed.chain.bodies, None
    if solid is not None:
        made_of = (*links, *(Body(one.called, one.mesh) for one in fed.lattice.solids))
        found = yield from part(faces_from(solid, made_of), 0.98, 1.0)
        owner = np.where((found < 0) | (found >= len(links)), len(links), found)
    return _Checked(
        fed, chain, chain.bodies, whole, field, fed.printed, why, floating, fed.findings, turn, shift,
        tuple(body.name for body in links), owner,
    )  # fmt: skip


def _of_selected(looking: Steps[Any], group: Any, directions: int) -> Steps[_Checked]:
    """Check meshes that stand as they will be printed."""
    inspection, _, bodies = yield from part(looking, 0.0, 0.4)
    field = yield from part(gap_field(bodies, range_mm=flow.RANGE_MM), 0.4, 0.5)
    checking = print_check(
        bodies, profile(group), fused=inspection.met(), directions=directions, head=cast_spec(group).head
    )
    check, why = yield from part(_or_why(checking), 0.5, 0.95)
    floating = yield from part(_floating(check), 0.95, 1.0)
    findings = worst_first((*inspection.findings, *(() if check is None else check.findings)))
    return _Checked(inspection, None, bodies, bodies, field, check, why, floating, findings, np.eye(3), np.zeros(3))


def _or_why(checking: Steps[PrintCheck]) -> Steps[tuple[PrintCheck | None, str]]:
    """Check, or say why it cannot be done: what is no solid has no layers, and the inspection has said so."""
    try:
        check = yield from checking
    except BadInput as refused:
        return None, str(refused)
    return check, ""


def _floating(check: PrintCheck | None) -> Steps[BoolArray]:
    if check is None:
        return np.zeros(0, dtype=np.bool_)
    return (yield from floating_loops(check.layers))


def _as_point(in_scene: InScene, at: tuple[float, float, float]) -> tuple[float, float, float]:
    x, y, z = in_scene.back(np.array([at]))[0].tolist()
    return x, y, z


# The ways, the best first, and of a chain how it was built and how its joints move.
_Ways = tuple[tuple[WayUp, ...], Chain | None, Any]


def _ways_of_chain(job: Job, scaled: flow.Scaling, turn: FloatArray) -> Steps[_Ways]:
    chain = yield from part(flow.build(job, boolean), 0.0, 0.15)
    play = yield from part(free_play(chain), 0.15, 0.25)
    made = yield from part(flow.check(flow.turned(chain, turn), job, scaled, play), 0.25, 0.4)
    looked = made.inspection
    comparing = best_way_up(made.chain.bodies, job.profile, scale=scaled.scale, pairs=looked.pairs, fused=looked.met())
    return (yield from part(comparing, 0.4, 1.0)), chain, play


def _ways_of_selected(looking: Steps[Any], group: Any) -> Steps[_Ways]:
    inspection, _, bodies = yield from part(looking, 0.0, 0.4)
    comparing = best_way_up(bodies, profile(group), pairs=inspection.pairs, fused=inspection.met())
    return (yield from part(comparing, 0.4, 1.0)), None, None


def _stood_objects(context: Any, state: Any) -> list[Any]:
    """Give the objects that were compared, parents before their children. Raises BadInput."""
    objects = []
    for row in state.ways_stood:
        ob = context.scene.objects.get(row.name)
        if ob is None:
            raise BadInput(f"{row.name} is no longer in the scene; compare the ways again")
        if ob.library is not None:
            raise BadInput(f"{row.name}: is linked from another file; make it local first")
        objects.append(ob)
    if state.ways_subject:
        ob = objects[0]
        if state.ways_stamp != dated_now(ob, context.scene):
            raise BadInput("the chain or the limits were changed since the ways were compared; compare again")
        if ob.linkwright.figures.worn_view:
            raise BadInput("the chain is shown as worn; show it as printed first")
    return sorted(objects, key=_depth)


def _depth(ob: Any) -> int:
    return 0 if ob.parent is None else 1 + _depth(ob.parent)


def _rest_of_turn(objects: list[Any], state: Any, wanted: FloatArray) -> FloatArray:
    """Give the rotation (3, 3) from how the objects stand to a way. Raises BadInput when they were taken apart."""
    then = {row.name: np.reshape(row.matrix, (4, 4)).astype(np.float64) for row in state.ways_stood}
    turns = [double(ob.matrix_world)[:3, :3] @ np.linalg.inv(then[ob.name][:3, :3]) for ob in objects]
    first = turns[0]
    rigid = np.allclose(first @ first.T, np.eye(3), atol=SAME_TURN) and np.linalg.det(first) > 0.0
    places = np.array([double(ob.matrix_world)[:3, 3] for ob in objects])
    stood = np.array([then[ob.name][:3, 3] for ob in objects])
    apart = np.abs((places - places[0]) - (stood - stood[0]) @ first.T).max()
    reach = max(1.0, float(np.abs(stood - stood[0]).max()))
    if not rigid or any(np.abs(turn - first).max() > SAME_TURN for turn in turns) or apart > SAME_TURN * reach:
        raise BadInput("the objects were moved against each other since the ways were compared; compare again")
    return wanted @ turn_and_stretch(first)[0].T


def _stand(context: Any, objects: list[Any], turn: FloatArray) -> None:
    """Turn objects together, set what they show on the plate z = 0, and leave the middle of their box where it is."""
    context.view_layer.update()
    shown = [part for ob in objects for part in parts(ob, "LINK")] or objects
    depsgraph = context.evaluated_depsgraph_get()
    places = [
        local_arrays(one.shown, where=one.owner)[0] @ one.matrix[:3, :3].T + one.matrix[:3, 3]
        for one in surfaces(frozenset(shown), depsgraph)
    ]
    if not places:
        raise BadInput("nothing of the piece is shown; unhide it first")
    points = np.concatenate(places)
    after = points @ turn.T
    shift = _middle(points) - _middle(after)
    shift[2] = -after[:, 2].min()
    move = np.eye(4)
    move[:3, :3], move[:3, 3] = turn, shift
    new = [move @ double(ob.matrix_world) for ob in objects]
    for ob, matrix in zip(objects, new, strict=True):
        ob.matrix_world = Matrix(matrix.tolist())
    context.view_layer.update()


def _middle(points: FloatArray) -> FloatArray:
    middle: FloatArray = (points.min(axis=0) + points.max(axis=0)) / 2.0
    return middle
