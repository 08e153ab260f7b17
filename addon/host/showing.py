"""The objects under a chain: links and closures that share their meshes, and the struts of its lattice.

They are derived: made, moved and taken away as the chain asks, the difference only. What finds them is that they are
parented to the chain and marked as its parts, so that copies of a chain own the parts copied with them.
"""

import re
from typing import Any

import bpy
from mathutils import Matrix

from ..rules.chain.chain import Chain
from ..rules.solid.mesh import Mesh
from .conversions import fill_mesh, pose_matrix

# Edges bent by more are drawn as edges: of a strut, and of a link that is not plain round wire.
SHARP_DEG = 35.0


def parts(ob: Any, part: str) -> list[Any]:
    """Give a chain's links or struts in their order."""
    own = [child for child in ob.children if child.linkwright.part == part and child.library is None]
    return sorted(own, key=lambda child: child.linkwright.number)


def show(ob: Any, chain: Chain, mm: float) -> None:
    """Make the links in the scene those of a chain, reusing the objects and meshes that are there."""
    links = parts(ob, "LINK")
    kinds: dict[int, Mesh] = {id(body.mesh): body.mesh for body in chain.bodies}
    own = _own_meshes(links)
    meshes, spare_meshes = own[: len(kinds)], own[len(kinds) :]
    while len(meshes) < len(kinds):
        meshes.append(bpy.data.meshes.new(f"{chain.spec.family} link"))
    by_kind = dict(zip(kinds, meshes, strict=True))
    plain = {id(body.mesh) for body in chain.bodies if body.wire is not None}
    for key, data in by_kind.items():
        sharp = None if key in plain else SHARP_DEG
        fill_mesh(data, kinds[key].points / mm, kinds[key].triangles, smooth=True, sharp_deg=sharp)
    spare = links[len(chain.bodies) :]
    links = links[: len(chain.bodies)]
    home = _home(ob, links)
    for number in range(len(links) + 1, len(chain.bodies) + 1):
        body = chain.bodies[number - 1]
        links.append(_new_part(ob, home, body.name, by_kind[id(body.mesh)], "LINK", number))
    for link, body in zip(links, chain.bodies, strict=True):
        if link.data is not by_kind[id(body.mesh)]:
            link.data = by_kind[id(body.mesh)]
        if re.sub(r"\.\d{3,}$", "", link.name) != body.name:
            link.name = body.name
        link.matrix_basis = Matrix(pose_matrix(body.pose, mm).tolist())
    bpy.data.batch_remove([data for data in spare_meshes if data.users == 0])
    _remove(spare)


def show_struts(ob: Any, solids: tuple[tuple[str, Mesh], ...], mm: float) -> None:
    """Make the struts in the scene those of a lattice, each an object of its own."""
    _remove(parts(ob, "STRUT"))
    home = _home(ob, parts(ob, "LINK"))
    for number, (role, mesh) in enumerate(solids, 1):
        data = bpy.data.meshes.new(role)
        fill_mesh(data, mesh.points / mm, mesh.triangles, smooth=True, sharp_deg=SHARP_DEG)
        _new_part(ob, home, f"{role} {number}", data, "STRUT", number)


def remove_struts(ob: Any) -> int:
    """Take a chain's struts away; give how many there were."""
    struts = parts(ob, "STRUT")
    _remove(struts)
    ob.linkwright.figures.lattice_stamp = ""
    return len(struts)


def hide_struts(ob: Any, hidden: bool) -> None:
    """Hide the struts while the links are shown elsewhere than they are printed, or show them again."""
    for strut in parts(ob, "STRUT"):
        if strut.hide_viewport != hidden:
            strut.hide_viewport = hidden


def remove_parts(ob: Any) -> None:
    """Take all parts of a chain away."""
    _remove(parts(ob, "LINK") + parts(ob, "STRUT"))


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
