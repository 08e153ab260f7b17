"""The lattice of selected meshes that are no chain: objects in a collection of their own, named after the selection.

It belongs to no object: what it stands under is remembered by name on its collection.
"""

from collections.abc import Iterable, Sequence
from typing import Any

import bpy
import numpy as np

from ..rules.base.errors import BadInput
from ..rules.base.progress import Steps, part
from ..rules.feed.lattice import Lattice
from ..rules.inspect.body_findings import size_findings
from ..rules.inspect.finding import stops
from ..rules.solid.mesh import Body, FloatArray
from ..verbs.sets import FedSet, feed_set
from .conversions import fill_mesh
from .finding_words import panel_text
from .lattice_edits import Strut, strut_text
from .lattice_show import names_of, strut_told
from .process_settings import cast_spec, feed_spec, profile
from .selection import Placed, bodies_of, selected_solids
from .showing import SHARP_DEG

# More names than these are told by their number.
NAMED = 2


def set_objects(context: Any) -> list[Any]:
    """Give the selected objects that may get a lattice: those with a surface that are no part of a lattice."""
    return [ob for ob in selected_solids(context) if ob.linkwright.part == "NONE"]


def planned_set(placed: tuple[Placed, ...], scene_group: Any, mm: float) -> Steps[tuple[FedSet, FloatArray]]:
    """Stand meshes on a lattice and inspect them there; their size is the print's. With it how far they were lifted.

    ``mm`` is the size of a scene unit. Raises BadInput for bodies of a size that no piece has.
    """
    bodies = yield from part(bodies_of(placed), 0.0, 0.1)
    _check_sizes(bodies, mm)
    limits, asked, head = profile(scene_group), feed_spec(scene_group), cast_spec(scene_group).head
    fed = yield from part(
        feed_set(told([one.name for one in bodies]), bodies, limits, asked, None, head=head), 0.1, 1.0
    )
    return fed, fed.bodies[0].pose.origin - bodies[0].pose.origin


def _check_sizes(bodies: Sequence[Body], mm: float) -> None:
    """Refuse what a planner would look at for hours: a piece of metres, mostly one drawn in another unit."""
    placed = [body.points() for body in bodies]
    low, high = np.array([p.min(axis=0) for p in placed]), np.array([p.max(axis=0) for p in placed])
    for one in stops(size_findings([body.name for body in bodies], low, high)):
        raise BadInput(panel_text(one, mm=mm, labels={}))


def lattice_of(context: Any) -> Any:
    """Give the collection of the lattice that stands under what is selected, or that is selected itself, or None."""
    chosen = {ob.name for ob in context.selected_objects}
    homes: Any = bpy.data.collections
    for home in homes:
        if home.linkwright_set and (
            not chosen.isdisjoint(home.linkwright_set.split("\n"))
            or any(ob.name in chosen for ob in home.objects)
        ):  # fmt: skip
            return home
    return None


def show_set(context: Any, names: Sequence[str], lattice: Lattice, mm: float) -> Any:
    """Show a lattice in the scene in the place of an older one under the same objects; give its collection."""
    older = lattice_of(context)
    if older is not None:
        remove_set(older)
    home: Any = bpy.data.collections.new(f"Lattice of {told(names)}")
    home.linkwright_parts = True
    home.linkwright_set = "\n".join(names)
    context.scene.collection.children.link(home)
    solids = (*lattice.solids, *lattice.apart)
    struts = [strut_told(solid, apart=k >= len(lattice.solids)) for k, solid in enumerate(solids)]
    for number, (plain, solid, strut) in enumerate(zip(names_of(struts), solids, struts, strict=True), 1):
        # What a chain has as its base ring is in a set the branches that end under the bodies.
        name = plain.replace("base ring", "branch") if solid.feeds is None else f"gate of {solid.feeds}"
        data: Any = bpy.data.meshes.new(name)
        fill_mesh(data, solid.mesh.points / mm, solid.mesh.triangles, smooth=True, sharp_deg=SHARP_DEG)
        ob = bpy.data.objects.new(name, data)
        _mark(ob, strut, number)
        home.objects.link(ob)
    return home


def remove_set(home: Any) -> int:
    """Take a lattice's objects and its collection away; give how many struts there were."""
    objects: Iterable[Any] = [ob for ob in home.objects if ob.linkwright.part == "STRUT"]
    meshes = {ob.data for ob in objects}
    count = len(list(objects))
    bpy.data.batch_remove(objects)
    bpy.data.batch_remove([data for data in meshes if data.users == 0])
    if home.objects or home.children:
        home.linkwright_set = ""
    else:
        bpy.data.collections.remove(home)
    return count


def _mark(ob: Any, strut: Strut, number: int) -> None:
    ob.linkwright.part, ob.linkwright.number, ob.linkwright.strut = "STRUT", number, strut_text(strut)
    ob.lock_location = ob.lock_rotation = ob.lock_scale = (True, True, True)
    if strut.apart:
        ob.display_type = "WIRE"


def told(names: Sequence[str]) -> str:
    """Call a set of bodies by their names, or by the first of many."""
    return " and ".join(names) if len(names) <= NAMED else f"{names[0]} and {len(names) - 1} more"
