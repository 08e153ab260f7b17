"""A chain in the scene: an object that remembers its spec, and link objects under it that share their meshes.

The links are derived: they are made, moved and taken away as the spec asks, the difference only. What finds them is
that they are parented to the chain and marked as its links, so that copies of a chain own the links copied with them.
"""

from typing import Any

import bpy
import numpy as np
from mathutils import Matrix

from ..rules.base.errors import BadInput, LinkwrightError
from ..rules.chain.build import draft_chain
from ..rules.chain.chain import Chain
from ..rules.chain.spec import ChainSpec, LayoutSpec
from ..rules.files.job import Job
from ..rules.solid.mesh import Mesh
from .conversions import curve_polyline, double, fill_mesh, matrix_pose, pose_matrix
from .properties import SCHEMA
from .settings import apply_chain, chain_spec, layout_spec, make_job, stamp
from .splines import Polyline
from .units import mm_per_unit

# Edges of a strut bent by more are drawn as edges.
STRUT_SHARP_DEG = 35.0
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


def check_editable(ob: Any) -> None:
    """Raise BadInput for a chain we must not rebuild: linked from a library, or made by a newer version."""
    if ob.library is not None or ob.override_library is not None:
        raise BadInput(f"{ob.name}: is linked from another file; make it local first (Object > Relations > Make Local)")
    if ob.linkwright.schema > SCHEMA:
        raise BadInput(
            f"{ob.name}: was made by a newer version of Linkwright and is shown as it is; update Linkwright to change "
            "it"
        )


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


def new_chain(context: Any, chain: ChainSpec, layout: LayoutSpec, *, name: str, curve: Any = None) -> Any:
    """Make a chain's object in the active collection, with its spec and links.

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
        group.curve = curve
        group.hold = False
        context.view_layer.update()
        rebuild(ob, context)
    except LinkwrightError:
        remove_chain(ob)
        raise
    return ob


def remove_chain(ob: Any) -> None:
    """Take a chain and all its parts away."""
    _remove(parts(ob, "LINK") + parts(ob, "STRUT"))
    bpy.data.objects.remove(ob)


def parts(ob: Any, part: str) -> list[Any]:
    """Give a chain's links or struts in their order."""
    own = [child for child in ob.children if child.linkwright.part == part and child.library is None]
    return sorted(own, key=lambda child: child.linkwright.number)


def property_changed(ob: Any, context: Any) -> None:
    """Rebuild a chain after one of its numbers was changed; what cannot be built is said on it, and the links stay."""
    group = ob.linkwright
    if not is_chain(ob) or group.hold:
        return
    try:
        rebuild(ob, context)
    except LinkwrightError as error:
        group.figures.message = str(error)


def rebuild(ob: Any, context: Any) -> Chain:
    """Draft a chain anew from its spec and show it. Raises LinkwrightError, leaving the links as they were."""
    check_editable(ob)
    chain, layout, line = read_specs(ob, context)
    made = draft_chain(chain, layout)
    show(ob, made, mm_per_unit(scene_of(ob, context)))
    note_built(ob, made, line)
    return made


def read_specs(ob: Any, context: Any) -> tuple[ChainSpec, LayoutSpec, Polyline | None]:
    """Read a chain's specs and the curve it follows, in the chain's own coordinates. Raises BadInput."""
    group = ob.linkwright
    line = followed_line(ob, context) if group.shape == "curve" else None
    return chain_spec(group), layout_spec(group, line), line


def read_job(ob: Any, context: Any) -> Job:
    """Read a chain and its scene's settings as a job. Raises BadInput."""
    chain, layout, _ = read_specs(ob, context)
    return make_job(ob.name, chain, layout, scene_of(ob, context).linkwright)


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


def line_stamp(line: Polyline | None) -> str:
    """Give the stamp of a followed curve; places count to a thousandth of a millimetre."""
    return "" if line is None else stamp(line.cyclic, np.round(line.points, 3).tobytes())


def scene_of(ob: Any, context: Any) -> Any:
    """Give the scene whose unit a chain is drawn in: the current one if it is in it, else its first."""
    if context.scene is not None and ob.name in context.scene.objects:
        return context.scene
    scenes = ob.users_scene
    return scenes[0] if scenes else context.scene


def show(ob: Any, chain: Chain, mm: float) -> None:
    """Make the links in the scene those of a chain, reusing the objects and meshes that are there."""
    links = parts(ob, "LINK")
    kinds: dict[int, Mesh] = {id(body.mesh): body.mesh for body in chain.bodies}
    meshes = _own_meshes(links)[: len(kinds)]
    while len(meshes) < len(kinds):
        meshes.append(bpy.data.meshes.new(f"{chain.spec.family} link"))
    by_kind = dict(zip(kinds, meshes, strict=True))
    for key, data in by_kind.items():
        fill_mesh(data, kinds[key].points / mm, kinds[key].triangles, smooth=True)
    spare = links[len(chain.bodies) :]
    links = links[: len(chain.bodies)]
    home = _home(ob, links)
    for number in range(len(links) + 1, len(chain.bodies) + 1):
        links.append(_new_part(ob, home, f"link {number}", by_kind[id(chain.bodies[number - 1].mesh)], "LINK", number))
    for link, body in zip(links, chain.bodies, strict=True):
        if link.data is not by_kind[id(body.mesh)]:
            link.data = by_kind[id(body.mesh)]
        link.matrix_basis = Matrix(pose_matrix(body.pose, mm).tolist())
    _remove(spare)


def note_built(ob: Any, chain: Chain, line: Polyline | None) -> None:
    """Write what a rebuild measured onto the chain, and the stamps that date it."""
    group = ob.linkwright
    figures = group.figures
    figures.links = len(chain.bodies)
    figures.pitch_mm = chain.pitch_mm
    figures.pitch_low_mm, figures.pitch_high_mm = chain.pitch_interval_mm
    figures.gap_mm = chain.smallest_gap_mm
    figures.closed = chain.closed
    worn = chain.worn_inner_length_mm if chain.closed else chain.worn_length_mm
    printed = chain.printed_inner_length_mm if chain.closed else chain.printed_length_mm
    figures.worn_mm = worn or 0.0
    figures.printed_mm = printed or 0.0
    figures.verified = chain.verified
    figures.stamp = stamp(chain.spec, chain.layout)
    figures.curve_stamp = line_stamp(line)
    figures.stale = False
    figures.message = ""


def show_struts(ob: Any, solids: tuple[tuple[str, Mesh], ...], mm: float) -> None:
    """Make the struts in the scene those of a lattice, each an object of its own."""
    _remove(parts(ob, "STRUT"))
    home = _home(ob, parts(ob, "LINK"))
    for number, (role, mesh) in enumerate(solids, 1):
        data = bpy.data.meshes.new(role)
        fill_mesh(data, mesh.points / mm, mesh.triangles, smooth=True, sharp_deg=STRUT_SHARP_DEG)
        _new_part(ob, home, f"{role} {number}", data, "STRUT", number)


def remove_struts(ob: Any) -> int:
    """Take a chain's struts away; give how many there were."""
    struts = parts(ob, "STRUT")
    _remove(struts)
    ob.linkwright.figures.lattice_stamp = ""
    return len(struts)


def _new_part(ob: Any, home: Any, name: str, data: Any, part: str, number: int) -> Any:
    made: Any = bpy.data.objects.new(name, data)
    home.objects.link(made)
    made.parent = ob
    # Derived places: moving one by hand would only last until the next change.
    made.lock_location = made.lock_rotation = made.lock_scale = (True, True, True)
    made.linkwright.part = part
    made.linkwright.number = number
    return made


def _home(ob: Any, links: list[Any]) -> Any:
    """Give the collection the parts live in: where the links are, else a new one beside the chain's object."""
    for link in links:
        if link.users_collection:
            return link.users_collection[0]
    home: Any = bpy.data.collections.new(f"{ob.name} parts")
    home.linkwright_parts = True
    around = ob.users_collection
    (around[0] if around else bpy.context.scene.collection).children.link(home)
    return home


def _own_meshes(links: list[Any]) -> list[Any]:
    """Give the meshes that only these links use, each once; a mesh shared with a copied chain is not ours to change."""
    uses: dict[Any, int] = {}
    for link in links:
        uses[link.data] = uses.get(link.data, 0) + 1
    return [data for data, count in uses.items() if data.users == count and data.library is None]


def _remove(objects: list[Any]) -> None:
    """Remove objects with the meshes and collections that nothing else uses any more."""
    if not objects:
        return
    meshes = {ob.data for ob in objects if ob.data is not None}
    homes = {home for ob in objects for home in ob.users_collection}
    bpy.data.batch_remove(objects)
    bpy.data.batch_remove([data for data in meshes if data.users == 0])
    scenes = {scene.collection for scene in bpy.data.scenes}
    empty = [c for c in homes if c not in scenes and not c.objects and not c.children and c.linkwright_parts]
    bpy.data.batch_remove(empty)
