"""The meshes a person selected, as bodies to inspect."""

from typing import Any

from ..rules.base.errors import BadInput
from ..rules.files.named import Named
from ..rules.files.read import named_bodies
from ..rules.solid.mesh import Body
from .conversions import SOLID_TYPES, leave_edit_mode_data, world_mesh
from .units import mm_per_unit


def selected_solids(context: Any) -> list[Any]:
    """Give the selected objects that can have a surface, by name, so that the order of clicks plays no part."""
    return sorted((ob for ob in context.selected_objects if ob.type in SOLID_TYPES), key=lambda ob: ob.name)


def selected_bodies(context: Any) -> tuple[Body, ...]:
    """Read the selected objects as they are seen, in world mm; an object of several solids gives several bodies.

    Raises BadInput when nothing usable is selected, or for an object without faces.
    """
    objects = selected_solids(context)
    if not objects:
        raise BadInput("nothing to inspect is selected; select a chain, or the mesh objects of one")
    for ob in objects:
        leave_edit_mode_data(ob)
    context.view_layer.update()
    depsgraph = context.evaluated_depsgraph_get()
    mm = mm_per_unit(context.scene)
    return named_bodies(Named(ob.name, world_mesh(ob, depsgraph, mm)) for ob in objects)
