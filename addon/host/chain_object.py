"""A chain in the scene: an object that remembers its spec. What is under it is made by `showing`."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np

from ..rules.base.errors import BadInput, LinkwrightError
from ..rules.chain.build import draft_chain
from ..rules.chain.chain import Chain
from ..rules.chain.spec import ChainSpec, LayoutSpec
from ..rules.feed.spec import FeedSpec
from ..rules.files.job import Job
from ..rules.solid.mesh import Body, FloatArray, Mesh
from .conversions import curve_polyline, double, matrix_pose, turn_and_stretch
from .lattice_edits import Edits, Found, read_edits, spec_with
from .measured import note_built
from .own_link import OwnLink, kept_out, link_mesh, own_link, picked_mesh
from .process_settings import feed_spec, make_job
from .properties import SCHEMA
from .remembered import remember
from .settings import apply_chain, chain_spec, layout_spec
from .showing import hide_struts, remove_parts, show
from .splines import Polyline
from .units import mm_per_unit
from .upgrade import bring_up
from .weighing import note_chain

# What single precision leaves of a matrix that only turns and moves.
UNSCALED = 1e-5


def is_chain(ob: Any) -> bool:
    """Tell whether an object is a chain of ours."""
    return ob is not None and ob.linkwright.schema > 0


def chain_of(ob: Any) -> Any:
    """Give the chain an object is or belongs to, or None."""
    if ob is None:
        return None
    if is_chain(ob):
        return ob
    parent = ob.parent
    return parent if parent is not None and ob.linkwright.part != "NONE" and is_chain(parent) else None


def of_library(ob: Any) -> bool:
    """Tell whether a chain belongs to another file: linked from it, or an override of one that is."""
    return ob.library is not None or ob.override_library is not None


def newer(ob: Any) -> bool:
    """Tell whether a chain was made by a newer version of Linkwright."""
    return bool(ob.linkwright.schema > SCHEMA)


def refusal(ob: Any) -> str:
    """Say why a chain must not be rebuilt; empty for one of this file and version."""
    if of_library(ob):
        return "is linked from another file; press Make a Chain of This File, or change it there"
    if newer(ob):
        return "was made by a newer version of Linkwright and is shown as it is; update Linkwright to change it"
    return ""


def check_editable(ob: Any) -> None:
    """Raise BadInput for a chain we must not rebuild: linked from a library, or made by a newer version."""
    why = refusal(ob)
    if why:
        raise BadInput(f"{ob.name}: {why}")
    active: Any = bpy.context.active_object
    if active is not None and active.mode != "OBJECT" and chain_of(active) == ob:
        raise BadInput(f"{ob.name}: a link of it is being edited; go back to Object Mode first (Tab)")


def check_unscaled(ob: Any) -> None:
    """Raise BadInput for a chain whose object, or a parent of it, is scaled: its sizes are those of the panel."""
    scale = double(ob.matrix_world)[:3, :3]
    length = np.linalg.norm(scale, axis=0)
    if np.abs(length - 1.0).max() > UNSCALED or np.linalg.det(scale) < 0.0:
        told = " x ".join(f"{c:.3g}" for c in length)
        raise BadInput(
            f"{ob.name}: is scaled by {told}, but a chain's sizes are the numbers in the panel; clear the scale "
            "(Alt+S, also of its parent) and change the numbers instead"
        )


def turn_of(ob: Any) -> FloatArray:
    """Give the rotation (3, 3) that an object stands in; its stretch, where it has one, left out."""
    turn = turn_and_stretch(double(ob.matrix_world)[:3, :3])[0]
    # What was never turned gives the same figures to the last digit as a job file.
    return np.eye(3) if np.allclose(turn, np.eye(3), atol=1e-7) else turn


@dataclass(frozen=True, slots=True, eq=False)
class Read:
    """What a chain asks for as it stands in the scene: its specs, and what it was read from beside its own numbers."""

    chain: ChainSpec
    layout: LayoutSpec
    line: Polyline | None
    own: OwnLink | None


def new_chain(
    context: Any, chain: ChainSpec, layout: LayoutSpec, *, name: str, curve: Any = None, own: Any = None
) -> Any:
    """Make a chain's object in the active collection, with its spec and links; ``own`` is the link mesh's object.

    Raises LinkwrightError, and then leaves nothing.
    """
    ob: Any = bpy.data.objects.new(name, None)
    try:
        ob.empty_display_type = "SINGLE_ARROW"
        ob.empty_display_size = 5.0 / mm_per_unit(context.scene)
        context.collection.objects.link(ob)
        group = ob.linkwright
        group.hold = True
        group.schema = SCHEMA
        apply_chain(group, chain, layout)
        group.curve, group.own_link = curve, own
        group.target_width_mm = chain.link_width_mm
        group.hold = False
        context.view_layer.update()
        rebuild(ob, context)
    except LinkwrightError:
        remove_chain(ob)
        raise
    return ob


def remove_chain(ob: Any) -> None:
    """Take a chain and all its parts away."""
    remove_parts(ob)
    bpy.data.objects.remove(ob)


def property_changed(ob: Any, context: Any) -> None:
    """Rebuild a chain after one of its numbers was changed; what cannot be built is said on it, and the links stay."""
    group = ob.linkwright
    if not is_chain(ob) or group.hold:
        return
    try:
        rebuild(ob, context)
    except LinkwrightError as error:
        group.figures.message = str(error)


def change_together(ob: Any, context: Any, values: Mapping[str, Any]) -> None:
    """Change several settings of a chain and rebuild it once. Raises LinkwrightError, and then has changed nothing."""
    group = ob.linkwright
    check_editable(ob)
    before = {key: getattr(group, key) for key in values}
    try:
        _set_all(group, values)
        rebuild(ob, context)
    except LinkwrightError:
        _set_all(group, before)
        raise


def _set_all(group: Any, values: Mapping[str, Any]) -> None:
    group.hold = True
    try:
        for key, value in values.items():
            setattr(group, key, value)
    finally:
        group.hold = False


def rebuild(ob: Any, context: Any) -> Chain:
    """Draft a chain anew from its spec and show it. Raises LinkwrightError, leaving the links as they were."""
    check_editable(ob)
    read = read_specs(ob, context)
    made = draft_chain(read.chain, read.layout)
    show_built(ob, context, made, read)
    return made


def show_built(ob: Any, context: Any, made: Chain, read: Read) -> None:
    """Show a chain as it is printed, with what was measured on it."""
    scene = scene_of(ob, context)
    show(ob, made, mm_per_unit(scene))
    if ob.linkwright.figures.worn_view:
        hide_struts(ob, hidden=False)
    note_built(ob.linkwright, made, read.line, read.own)
    note_chain(ob.linkwright.figures, scene.linkwright, made)
    remember(ob)


def read_specs(ob: Any, context: Any) -> Read:
    """Read a chain's specs, the curve it follows and its own link, in the chain's own coordinates. Raises BadInput."""
    bring_up(ob)
    group = ob.linkwright
    line = followed_line(ob, context) if group.shape == "curve" else None
    own = None
    if group.family == "mesh":
        own = own_link(group, read_link_mesh(ob, context), read_kept_out(ob, context))
    return Read(chain_spec(group, own), layout_spec(group, line), line, own)


def read_link_mesh(ob: Any, context: Any) -> Mesh:
    """Read the link mesh that a chain's settings name, in mm. Raises BadInput."""
    scene = scene_of(ob, context)
    picked = picked_mesh(ob.linkwright, scene)
    return link_mesh(picked, context.evaluated_depsgraph_get(), mm_per_unit(scene))


def read_kept_out(ob: Any, context: Any) -> tuple[int, ...]:
    """Read which triangles of the link mesh are marked to be kept out of. Raises BadInput."""
    picked = picked_mesh(ob.linkwright, scene_of(ob, context))
    return kept_out(picked, context.evaluated_depsgraph_get())


def read_job(ob: Any, context: Any) -> Job:
    """Read a chain, its lattice's edits and its scene's settings as a job. Raises BadInput."""
    read = read_specs(ob, context)
    return job_of(ob, context, read, found_edits(ob, context, read).edits)


def job_of(ob: Any, context: Any, read: Read, edits: Edits) -> Job:
    """Put what was read of a chain, and edits of its lattice, into a job with its scene's settings."""
    group = scene_of(ob, context).linkwright
    return make_job(ob.name, read.chain, read.layout, group, asked_feed(group, read, edits))


def asked_feed(scene_group: Any, read: Read, edits: Edits) -> FeedSpec:
    """Give what is asked of a chain's lattice: the scene's settings, edits, and what its link mesh keeps out."""
    return spec_with(feed_spec(scene_group), edits, () if read.own is None else read.own.keep_out)


def found_edits(ob: Any, context: Any, read: Read) -> Found:
    """Read the edits of a chain's lattice, with those done to its struts in the scene. Raises LinkwrightError."""

    def bodies() -> tuple[Body, ...]:
        return draft_chain(read.chain, read.layout).bodies

    return read_edits(ob, bodies, mm_per_unit(scene_of(ob, context)))


def followed_line(ob: Any, context: Any) -> Polyline:
    """Read the curve a chain follows, in mm in the chain's own coordinates. Raises BadInput."""
    curve = ob.linkwright.curve
    if curve is None:
        raise BadInput(f"{ob.name}: no curve is chosen; choose a curve object for the chain to follow")
    scene = scene_of(ob, context)
    if curve.name not in scene.objects:
        raise BadInput(f"{curve.name}: is not in the chain's scene; link the curve into it or choose another")
    mm = mm_per_unit(scene)
    line = curve_polyline(curve, context.evaluated_depsgraph_get(), mm)
    frame = matrix_pose(double(ob.matrix_world), mm, where=ob.name)
    return Polyline((line.points - frame.origin) @ frame.rotation, line.cyclic)


def scene_of(ob: Any, context: Any) -> Any:
    """Give the scene whose unit a chain is drawn in: the current one if it is in it, else its first."""
    if context.scene is not None and ob.name in context.scene.objects:
        return context.scene
    scenes = ob.users_scene
    return scenes[0] if scenes else context.scene
