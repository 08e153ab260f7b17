"""The objects under a chain: links and closures that share their meshes, and the struts of its lattice.

They are derived: made, moved and taken away as the chain asks, the difference only. What finds them is that they are
parented to the chain and marked as its parts, so that copies of a chain own the parts copied with them.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from operator import itemgetter
from typing import Any

import bpy
import numpy as np
from mathutils import Matrix

from ..rules.base.errors import BadInput
from ..rules.base.progress import Steps
from ..rules.chain.chain import Chain
from ..rules.solid.mesh import Mesh
from .conversions import fill_mesh, mesh_arrays, pose_matrix

# Objects gone through between two glances at the clock.
AT_A_TIME = 128
# Edges bent by more are drawn as edges: of a strut, and of a link that is not plain round wire.
SHARP_DEG = 35.0
# Colours of struts where the view colours by object; the blue is that of Okabe and Ito, told apart by all eyes.
PLAIN, PINNED = (1.0, 1.0, 1.0, 1.0), (0.0, 0.447, 0.698, 1.0)


@dataclass(frozen=True, slots=True, eq=False)
class StrutShape:
    """One strut as it is shown: its object's name, its mesh on the chain in mm, and the text that says what it is.

    ``free``: the maker may move it; ``pinned``: it is drawn as one that stays; ``apart``: as one that is no part of
    the print.
    """

    name: str
    mesh: Mesh
    text: str
    free: bool = False
    pinned: bool = False
    apart: bool = False


def parts(ob: Any, part: str) -> list[Any]:
    """Give a chain's links or struts in their order."""
    own = [
        (group.number, child)
        for child in ob.children
        if (group := child.linkwright).part == part and child.library is None
    ]
    return [child for _, child in sorted(own, key=itemgetter(0))]


def parts_found(ob: Any, *kinds: str) -> Steps[list[Any]]:
    """Give a chain's links or struts in their order, in steps; of both kinds the links first."""
    children = ob.children
    own = []
    for number, child in enumerate(children, 1):
        group = child.linkwright
        if group.part in kinds and child.library is None:
            own.append((group.part, group.number, child))
        if number % AT_A_TIME == 0:
            yield number / len(children)
    # LINK comes before STRUT.
    return [child for *_, child in sorted(own, key=itemgetter(0, 1))]


def in_scenes(ob: Any, own: Sequence[Any]) -> list[Any]:
    """Give those of a chain's parts that stand in a scene: one that was deleted may still be held by something.

    The collection of its parts tells of most; all objects are gone through only where some are not in it.
    """
    scenes: Any = bpy.data.scenes
    home = ob.linkwright.home
    shown = home is not None and any(
        home == one for scene in scenes for one in (scene.collection, *scene.collection.children_recursive)
    )
    here = set(home.objects) if shown else set()
    if any(part not in here for part in own):
        here = {one for scene in scenes for one in scene.objects}
    return [part for part in own if part in here]


def show(ob: Any, chain: Chain, mm: float) -> None:
    """Make the links in the scene those of a chain, reusing the objects and meshes that are there.

    Raises BadInput while a link is open in Edit Mode.
    """
    links = parts(ob, "LINK")
    kinds: dict[int, Mesh] = {id(body.mesh): body.mesh for body in chain.bodies}
    own = _own_meshes(links)
    if any(data.is_editmode for data in own):
        raise BadInput(f"{ob.name}: a link of it is being edited; go back to Object Mode first (Tab)")
    meshes, spare_meshes = own[: len(kinds)], own[len(kinds) :]
    while len(meshes) < len(kinds):
        meshes.append(bpy.data.meshes.new(f"{chain.spec.family} link"))
    by_kind = dict(zip(kinds, meshes, strict=True))
    plain = {id(body.mesh) for body in chain.bodies if body.wire is not None}
    for key, data in by_kind.items():
        sharp = None if key in plain else SHARP_DEG
        fill_mesh(data, kinds[key].points / mm, kinds[key].triangles, smooth=True, sharp_deg=sharp)
    there: dict[int, Any] = {}
    for link in links:
        there.setdefault(link.linkwright.number, link)
    kept = [there.get(number) for number in range(1, len(chain.bodies) + 1)]
    spare = [link for link in links if link not in kept]
    home, elsewhere, made = note_home(ob), _looking_elsewhere(links or [ob]), []
    for number, (link, body) in enumerate(zip(kept, chain.bodies, strict=True), 1):
        if link is None:
            link = _new_part(ob, home, body.name, by_kind[id(body.mesh)], "LINK", number)
            made.append(link)
        if link.data is not by_kind[id(body.mesh)]:
            link.data = by_kind[id(body.mesh)]
        if _plain_name(link) != body.name:
            link.name = body.name
        link.matrix_basis = Matrix(pose_matrix(body.pose, mm).tolist())
    _keep_out(made, elsewhere)
    bpy.data.batch_remove([data for data in spare_meshes if data.users == 0])
    _remove(spare)


def show_struts(ob: Any, shapes: Sequence[StrutShape], mm: float) -> None:
    """Make the struts in the scene those of a lattice, each an object of its own.

    Objects are reused by their names, so that a gate that is planned anew stays selected, and moved ones go back to
    where they were planned.
    """
    there: dict[str, list[Any]] = {}
    struts, made = parts(ob, "STRUT"), []
    elsewhere = _looking_elsewhere(struts or parts(ob, "LINK"))
    for strut in struts:
        there.setdefault(_plain_name(strut), []).append(strut)
    chosen = [there[shape.name].pop(0) if there.get(shape.name) else None for shape in shapes]
    _remove([strut for rest in there.values() for strut in rest])
    home = note_home(ob)
    for number, (shape, strut) in enumerate(zip(shapes, chosen, strict=True), 1):
        if strut is None:
            strut = _new_part(ob, home, shape.name, bpy.data.meshes.new(shape.name), "STRUT", number)
            made.append(strut)
        elif strut.data is None or strut.data.users > 1 or strut.data.library is not None:
            strut.data = bpy.data.meshes.new(shape.name)
        _show_strut(strut, shape, number, mm)
    _keep_out(made, elsewhere)


def _show_strut(strut: Any, shape: StrutShape, number: int, mm: float) -> None:
    points = (shape.mesh.points / mm).astype(np.float32)
    have, triangles = mesh_arrays(strut.data)
    if not (np.array_equal(have, points) and np.array_equal(triangles, shape.mesh.triangles)):
        fill_mesh(strut.data, points.astype(np.float64), shape.mesh.triangles, smooth=True, sharp_deg=SHARP_DEG)
    for owner, name, value in (
        (strut.linkwright, "number", number),
        (strut.linkwright, "strut", shape.text),
        (strut, "show_wire", shape.pinned),
        (strut, "display_type", "WIRE" if shape.apart else "TEXTURED"),
    ):
        if getattr(owner, name) != value:
            setattr(owner, name, value)
    for name, values in (
        ("color", PINNED if shape.pinned else PLAIN),
        ("lock_location", (not shape.free,) * 3),
        ("lock_rotation", (not shape.free,) * 3),
    ):
        if not np.allclose(getattr(strut, name), values):
            setattr(strut, name, values)
    if strut.matrix_basis != Matrix.Identity(4):
        strut.matrix_basis = Matrix.Identity(4)


def remove_struts(ob: Any) -> int:
    """Take a chain's struts away; give how many there were."""
    struts = parts(ob, "STRUT")
    _remove(struts)
    ob.linkwright.figures.lattice_stamp = ""
    ob.linkwright.gates.clear()
    return len(struts)


def hide_struts(ob: Any, hidden: bool) -> None:
    """Hide the struts while the links are shown elsewhere than they are printed, or show them again."""
    for strut in parts(ob, "STRUT"):
        if strut.hide_viewport != hidden:
            strut.hide_viewport = hidden


def remove_parts(ob: Any) -> None:
    """Take all parts of a chain away."""
    _remove(parts(ob, "LINK") + parts(ob, "STRUT"))


def _looking_elsewhere(like: Sequence[Any]) -> list[tuple[Any, Any]]:
    """Give view layer and space of each local view that leaves out some of what is not hidden of some objects."""
    manager: Any = bpy.context.window_manager
    found = []
    for window in manager.windows:
        layer = window.view_layer
        for area in window.screen.areas:
            space = area.spaces.active
            if area.type == "VIEW_3D" and space.local_view is not None:
                shown = [one for one in like if one.visible_get(view_layer=layer)]
                if not all(one.visible_get(view_layer=layer, viewport=space) for one in shown):
                    found.append((layer, space))
    return found


def _keep_out(made: Sequence[Any], views: Sequence[tuple[Any, Any]]) -> None:
    """Keep new objects, which Blender shows in all local views, out of those that look at something else."""
    for layer, space in views:
        for one in made:
            # Blender grumbles of what is in no layer, as in a collection that is left out of it.
            if one.visible_get(view_layer=layer):
                one.local_view_set(space, False)


def _plain_name(ob: Any) -> str:
    """Give an object's name without the number that Blender may have added to it."""
    return re.sub(r"\.\d{3,}$", "", ob.name)


def _new_part(ob: Any, home: Any, name: str, data: Any, part: str, number: int) -> Any:
    made: Any = bpy.data.objects.new(name, data)
    home.objects.link(made)
    made.parent = ob
    # Derived places: moving one by hand would only last until the next change.
    made.lock_location = made.lock_rotation = made.lock_scale = (True, True, True)
    made.linkwright.part = part
    made.linkwright.number = number
    return made


def note_home(ob: Any, *, fresh: bool = False) -> Any:
    """Give the collection the parts live in: where the links are, else, or if ``fresh``, a new one beside the chain.

    The chain refers to it where it was made for parts: what is appended or pasted with a chain is then all of it.
    """
    # Looking for an object's collections is slow: one link tells for all.
    home = None if fresh else next((homes[0] for link in parts(ob, "LINK") if (homes := link.users_collection)), None)
    if home is None:
        collections: Any = bpy.data.collections
        home = collections.new(f"{ob.name} parts")
        home.linkwright_parts = True
        around = [one for one in ob.users_collection if one.library is None]
        (around[0] if around else bpy.context.scene.collection).children.link(home)
    kept = home if home.linkwright_parts else None
    if ob.linkwright.home != kept:
        ob.linkwright.home = kept
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
