"""A maker's own link: a picked mesh object, read as the rules take it."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from ..rules.base.errors import BadInput
from ..rules.chain.own import own_sizes, propose_axis
from ..rules.solid.mesh import Mesh
from ..rules.solid.mesh import mesh as checked_mesh
from .conversions import double, leave_edit_mode_data, local_arrays
from .stamps import stamp
from .units import exact

AXES = {"X": (1.0, 0.0, 0.0), "Y": (0.0, 1.0, 0.0), "Z": (0.0, 0.0, 1.0)}


@dataclass(frozen=True, slots=True, eq=False)
class OwnLink:
    """A link mesh in mm, the direction (3,) of the chain in it, and its wire, length and width in mm."""

    mesh: Mesh
    axis: tuple[float, float, float]
    wire_mm: float
    length_mm: float
    width_mm: float


def picked_mesh(group: Any, scene: Any) -> Any:
    """Give the object picked as the link. Raises BadInput for none, or one that is not in the chain's scene."""
    ob = group.own_link
    if ob is None:
        raise BadInput("chain: no link mesh is chosen; choose a closed mesh object as the link")
    if ob.name not in scene.objects:
        raise BadInput(f"{ob.name}: is not in the chain's scene; link the link mesh into it or choose another")
    return ob


def own_link(group: Any, mesh: Mesh) -> OwnLink:
    """Measure a link mesh along the axis that the chain's settings name. Raises BadInput where it cannot be a link."""
    axis = chosen_axis(group, mesh)
    wire, length, width = own_sizes(mesh, axis)
    return OwnLink(mesh, axis, wire, length, width)


def link_mesh(ob: Any, depsgraph: Any, mm: float) -> Mesh:
    """Read an object's evaluated mesh in its own directions, at the size it has in the world, in mm."""
    leave_edit_mode_data(ob)
    evaluated = ob.evaluated_get(depsgraph)
    world = evaluated.matrix_world
    matrix = double(world)[:3, :3]
    # What is left of the matrix without its turn: scale and shear, along the object's own axes.
    turn = double(world.decompose()[1].to_matrix())
    points, triangles = local_arrays(evaluated, where=ob.name)
    if np.linalg.det(matrix) < 0:
        triangles = triangles[:, ::-1]
    return checked_mesh(points @ (turn.T @ matrix).T * mm, triangles, where=ob.name)


def chosen_axis(group: Any, mesh: Mesh) -> tuple[float, float, float]:
    """Give the direction of the chain in the link mesh: the maker's, or the one its shape proposes."""
    if group.axis_by == "AUTO":
        x, y, z = (float(c) for c in propose_axis(mesh))
        return x, y, z
    if group.axis_by == "OWN":
        x, y, z = (exact(c) for c in group.axis)
        return x, y, z
    return AXES[group.axis_by]


def own_stamp(own: OwnLink | None) -> str:
    """Give the stamp of a link mesh, or an empty text."""
    return "" if own is None else mesh_stamp(own.mesh)


def mesh_stamp(mesh: Mesh) -> str:
    """Give a text that stands for a mesh; places count to a ten-thousandth of a millimetre."""
    return stamp(np.round(mesh.points, 4).tobytes(), mesh.triangles.tobytes())
