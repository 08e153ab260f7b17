"""Operators that write files: the export of a job, and job files in and out."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import bpy
import numpy as np
from bpy.props import BoolProperty, EnumProperty, FloatProperty, StringProperty
from bpy.types import Operator
from bpy_extras.io_utils import ExportHelper, ImportHelper

from ..rules.base.errors import LinkwrightError
from ..rules.base.profile import load_profile
from ..rules.base.progress import Steps, part
from ..rules.chain.spec import ChainSpec, LayoutSpec
from ..rules.files import threemf
from ..rules.files.atomic import write_whole
from ..rules.files.job import Job, job_text, read_job
from ..rules.files.named import Named
from ..rules.inspect.finding import worst_first
from ..rules.solid.mesh import FloatArray
from ..verbs import flow
from ..verbs.export import write_job
from ..verbs.own_materials import own_materials
from .blend_files import read_blend
from .boolean import boolean
from .cast_results import store_plan, verdict_words
from .cast_view import cast_view
from .chain_object import chain_of, new_chain, scene_of, turn_of
from .chain_object import read_job as job_of
from .conversions import fill_mesh
from .current import dated_now
from .export_dialog import JOINED_ITEMS, draw_dialog, wanted_files
from .exporting import override_codes, usable_folder
from .lattice_edits import of_spec, store_edits
from .long_work import may_add
from .op_chain import look_at_new
from .op_inspect import SAME_TURN, ChainWork, inspect_words, lift
from .op_print import DIRECTIONS
from .own_link import mark_kept_out
from .panel_names import words_of
from .print_view import InScene
from .process_settings import apply_scene
from .result_state import allowed, state_of
from .steps_status import note_step
from .translated import told_report
from .units import exact, mm_per_unit
from .view import select_only


class LINKWRIGHT_OT_export(ChainWork, Operator):
    """Join chain and lattice, inspect the whole, and write STL, 3MF, report and bench sheet."""

    bl_idname = "linkwright.export"
    bl_label = "Export Print Files"
    bl_description = "Join chain and lattice, inspect the whole, and write STL, 3MF, report and bench sheet"
    # Without the panel that repeats the last operation: an export is not adjusted by writing it again.
    bl_options = {"UNDO", "PRESET"}
    busy_words = "Exporting"

    directory: StringProperty(
        name="Folder",
        description="Where the files go",
        subtype="DIR_PATH",
        # Without the folder of the last time: with one given the export asks for none.
        options={"SKIP_SAVE", "SKIP_PRESET", "PATH_SUPPORTS_BLEND_RELATIVE"},
    )
    filter_folder: BoolProperty(default=True, options={"HIDDEN", "SKIP_SAVE"})
    filter_glob: StringProperty(default="*.stl;*.3mf;*.json;*.html", options={"HIDDEN", "SKIP_SAVE"})
    use_stl: BoolProperty(name="STL", description="Write print.stl: triangles in millimetres", default=True)
    use_3mf: BoolProperty(name="3MF", description="Write print.3mf: it carries its unit and names", default=True)
    bodies: EnumProperty(
        name="Bodies", description="Whether chain and lattice are one solid or bodies of their own",
        items=JOINED_ITEMS, default="JOINED",
    )  # fmt: skip
    papers: BoolProperty(
        name="Report and Sheet", description="Write report.json and the bench sheet beside the print files",
        default=True,
    )  # fmt: skip
    auto_scale: BoolProperty(
        name="Scale for Shrinkage", description="Enlarge the print by what metal and mould lose; off uses the factor "
        "below", default=True, options={"SKIP_SAVE"},
    )  # fmt: skip
    scale: FloatProperty(
        name="Print Scale", description="How much larger the print is than the finished piece; usually 1 to 1.03",
        default=1.0, min=0.5, max=2.0, precision=4, step=0.1, options={"SKIP_SAVE"},
    )  # fmt: skip
    override: StringProperty(
        name="In Spite Of",
        description="Codes of stop findings to export in spite of, parted by commas; the report names them",
        options={"SKIP_SAVE", "SKIP_PRESET"},
    )

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Ask for a chain, and nothing running."""
        return cls.chain_ready(context)

    def invoke(self, context: Any, event: Any) -> set[str]:
        """Open the file browser, with the panel's folder and scale; a folder that is given is taken at once."""
        scene = context.scene.linkwright
        if not self.properties.is_property_set("auto_scale") and not self.properties.is_property_set("scale"):
            self.auto_scale, self.scale = scene.auto_scale, scene.scale
        self._from_panel = not self.properties.is_property_set("override")
        if self.directory:
            return self.begin_modal(context)
        self._asked_folder = True
        self.directory = bpy.path.abspath(scene.folder or "//")
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def draw(self, context: Any) -> None:
        """Draw the side panel of the file browser."""
        draw_dialog(self.layout, context, self)

    def execute(self, context: Any) -> set[str]:
        """Run to the end; after the file browser, in slices."""
        if getattr(self, "_asked_folder", False):
            return self.begin_modal(context)
        return super().execute(context)

    def start(self, context: Any) -> Steps[Any]:
        """Check the folder, read the chain and give the whole job."""
        # Beside a file that is not saved yet there is no folder; Blender would give one beside wherever it was started.
        unsaved = self.directory.startswith("//") and not bpy.data.filepath
        self._folder = usable_folder(self.directory if unsaved else bpy.path.abspath(self.directory))
        self._wanted = wanted_files(self)
        if getattr(self, "_from_panel", False):
            self.override = allowed(state_of(context))
        job = self._scaled_as_asked(self.read(context))
        self._job = job
        materials = own_materials()
        self._scaled = flow.scaling(job, materials)
        return _whole(job, self._scaled, materials, self._turn, DIRECTIONS[context.scene.linkwright.light])

    def _scaled_as_asked(self, job: Job) -> Job:
        """Give the job the scale that is asked for here, where it is not the scene's."""
        if self.properties.is_property_set("auto_scale") and self.auto_scale:
            return replace(job, profile=replace(job.profile, scale=None))
        if self.properties.is_property_set("scale") or self.properties.is_property_set("auto_scale"):
            return replace(job, profile=replace(job.profile, scale=exact(self.scale)))
        return job

    def _keep_choices(self, context: Any) -> None:
        """Keep scale and folder for the panel and the next export."""
        scene, scale = context.scene.linkwright, self._job.profile.scale
        if scene.auto_scale != (scale is None):
            scene.auto_scale = scale is None
        if scale is not None and exact(scene.scale) != scale:
            scene.scale = scale
        if getattr(self, "_asked_folder", False):
            scene.folder = str(self._folder)

    def deliver(self, context: Any, result: Any) -> None:
        """Write the files; show and keep what the last inspection of the whole said."""
        chain, fed, planned = result
        findings = worst_first((*fed.findings, *planned.findings))
        codes = override_codes(self.override, findings)
        done = write_job(
            self._folder, self._job, fed, planned, self._scaled, findings, override="by name", codes=codes,
            wanted=self._wanted,
        )  # fmt: skip
        self._keep_choices(context)
        ob = self.shown(context, chain, fed.play)
        shift = lift(fed, chain, self._turn)
        self.show_lattice(context, ob, fed, shift)
        self.keep(context, ob, fed, findings, f"{inspect_words(fed.inspection)}, whole job", shift)
        state = state_of(context)
        store_plan(state, planned, subject=ob.name, dated=dated_now(ob, context.scene))
        in_scene = InScene(self._turn, shift, mm_per_unit(context.scene))
        cast_view.keep(state, planned, fed.chain.bodies, fed.lattice.solids, in_scene)
        note_step(context, "cast", ob, context.scene, planned.findings, words=verdict_words(planned))
        complete = bool(done.printed) or not (done.refused or self._wanted.stl or self._wanted.threemf)
        refused = done.refused if done.refused or complete else findings
        note_step(context, "export", ob, context.scene, refused, words="Written" if complete else "Refused")
        if done.refused:
            state.exported = "Refused: stops stand. Report and sheet say which"
            codes_left = ", ".join(sorted({f.code for f in done.refused}))
            where = f". The report is in {self._folder}" if done.report else ""
            self.report(
                {"ERROR"},
                told_report(
                    f"No print file written, stops stand: {codes_left}. Mend them, or allow each by name{where}"
                ),
            )
            return
        if not complete:
            state.exported = "No print file: chain and lattice could not be joined to one solid"
            self.report(
                {"ERROR"}, told_report(f"{state.exported}; the findings say where. The report is in {self._folder}")
            )
            return
        state.exported = f"Written: {', '.join(done.files)}"
        self.report({"INFO"}, told_report(f"Written to {self._folder}: {', '.join(done.files)}"))


class LINKWRIGHT_OT_save_job(Operator, ExportHelper):
    """Save the chain and the scene's settings as a job file for the command line."""

    bl_idname = "linkwright.save_job"
    bl_label = "Save Job File"
    bl_description = "Save the chain and the scene's settings as a job file for the command line"
    bl_options = set()

    filename_ext = ".toml"
    filter_glob: StringProperty(default="*.toml", options={"HIDDEN"})

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Ask for a chain."""
        if chain_of(context.active_object) is None:
            cls.poll_message_set("Select a chain first")
            return False
        return True

    def execute(self, context: Any) -> set[str]:
        """Write the file."""
        path = _path(self)
        try:
            folder = usable_folder(str(path.parent))
            job = job_of(chain_of(context.active_object), context)
            if job.chain.own is not None:
                link = f"{path.stem} link.3mf"
                threemf.write(folder / link, (Named("link", job.chain.own),))
                job = replace(job, chain=replace(job.chain, own_file=link))
            write_whole(path, job_text(job, load_profile(job.profile.name)).encode())
        except LinkwrightError as error:
            self.report({"ERROR"}, words_of(error))
            return {"CANCELLED"}
        if np.allclose(turn_of(chain_of(context.active_object))[2], (0.0, 0.0, 1.0), atol=SAME_TURN):
            self.report({"INFO"}, told_report(f"Written: {path}"))
        else:
            self.report(
                {"WARNING"}, told_report(f"Written: {path}. A job file stands the chain as it was made, not tipped")
            )
        return {"FINISHED"}


class LINKWRIGHT_OT_load_job(Operator, ImportHelper):
    """Make a chain from a job file and take its process, feed and pour into the scene."""

    bl_idname = "linkwright.load_job"
    bl_label = "Load Job File"
    bl_description = "Make a chain from a job file and take its process, feed and pour into the scene"
    bl_options = {"REGISTER", "UNDO"}

    filename_ext = ".toml"
    filter_glob: StringProperty(default="*.toml", options={"HIDDEN"})

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Ask for Object Mode and an editable collection."""
        return may_add(cls, context)

    def execute(self, context: Any) -> set[str]:
        """Read the file and make its chain."""
        try:
            job = read_job(_path(self), read_blend)
            ob = make_from_job(context, job)
        except LinkwrightError as error:
            self.report({"ERROR"}, words_of(error))
            return {"CANCELLED"}
        select_only(context, ob)
        look_at_new(context, ob)
        return {"FINISHED"}


def export_menu(menu: Any, _context: Any) -> None:
    """Offer the print files and the job file under File > Export."""
    menu.layout.operator("linkwright.export", text="Linkwright Print Files (.stl, .3mf)")
    menu.layout.operator("linkwright.save_job", text="Linkwright Job (.toml)")


def import_menu(menu: Any, _context: Any) -> None:
    """Offer job files under File > Import."""
    menu.layout.operator("linkwright.load_job", text="Linkwright Job (.toml)")


def _path(chooser: Any) -> Path:
    """Give the file chosen in the file browser."""
    return Path(bpy.path.abspath(chooser.filepath))


def make_from_job(context: Any, job: Job) -> Any:
    """Make the chain of a job in the scene, with a curve for the points it follows and an object for its own link.

    Raises LinkwrightError, and then leaves nothing.
    """
    curve = _curve(context, job.layout, f"{job.name} line") if job.layout.points else None
    own = None
    if job.chain.own is not None:
        own = _own_link(context, job.chain, f"{job.name} link")
        mark_kept_out(own.data, job.feed.keep_out)
    try:
        ob = new_chain(context, job.chain, job.layout, name=job.name, curve=curve, own=own)
    except LinkwrightError:
        bpy.data.batch_remove([made.data for made in (curve, own) if made is not None])
        raise
    store_edits(ob.linkwright, replace(of_spec(job.feed), keep_out=() if own is not None else job.feed.keep_out))
    apply_scene(scene_of(ob, context).linkwright, job)
    return ob


def _curve(context: Any, layout: LayoutSpec, name: str) -> Any:
    mm = mm_per_unit(context.scene)
    data: Any = bpy.data.curves.new(name, "CURVE")
    data.dimensions = "3D"
    spline = data.splines.new("POLY")
    spline.points.add(len(layout.points) - 1)
    spline.points.foreach_set("co", [c for x, y, z in layout.points for c in (x / mm, y / mm, z / mm, 1.0)])
    spline.use_cyclic_u = layout.cyclic
    ob = bpy.data.objects.new(name, data)
    context.collection.objects.link(ob)
    context.view_layer.update()
    return ob


def _own_link(context: Any, spec: ChainSpec, name: str) -> Any:
    """Put a job's own link mesh into the scene, above where its chain will lie."""
    assert spec.own is not None
    mm = mm_per_unit(context.scene)
    data: Any = bpy.data.meshes.new(name)
    fill_mesh(data, spec.own.points / mm, spec.own.triangles, smooth=False)
    ob: Any = bpy.data.objects.new(name, data)
    ob.location.z = 3.0 * spec.link_width_mm / mm
    context.collection.objects.link(ob)
    context.view_layer.update()
    return ob


def _whole(job: Job, scaled: flow.Scaling, materials: Any, turn: FloatArray, directions: int) -> Steps[Any]:
    chain = yield from part(flow.build(job, boolean), 0.0, 0.2)
    fed = yield from part(flow.feed(job, flow.turned(chain, turn), scaled, boolean, directions=directions), 0.2, 0.8)
    planned = yield from part(flow.cast(job, fed, materials, scaled), 0.8, 1.0)
    return chain, fed, planned
