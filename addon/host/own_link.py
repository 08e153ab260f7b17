"""A maker's own link: a picked mesh object, read as the rules take it."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from ..rules.base.errors import BadInput
from ..rules.chain.own import check_own_size, own_sizes, propose_axis
from ..rules.solid.mesh import Mesh
from ..rules.solid.mesh import mesh as checked_mesh
from .conversions import double, leave_edit_mode_data, local_arrays
from .stamps import stamp
from .units import exact

# What marks stones and details on a link mesh: the name of a vertex group or of a face attribute.
KEEP_OUT = "keep-out"
FACE_MARKS = {"BOOLEAN": np.bool_, "INT": np.int32, "INT8": np.int8}
HALF = 0.5
AXES = {"X": (1.0, 0.0, 0.0), "Y": (0.0, 1.0, 0.0), "Z": (0.0, 0.0, 1.0)}


@dataclass(frozen=True, slots=True, eq=False)
class OwnLink:
    """A link mesh in mm, the direction (3,) of the chain in it, and its wire, length and width in mm.

    ``keep_out`` numbers the triangles that the maker marked as stones or details: no gate enters them.
    """

    mesh: Mesh
    axis: tuple[float, float, float]
    wire_mm: float
    length_mm: float
    width_mm: float
    keep_out: tuple[int, ...] = ()


def picked_mesh(group: Any, scene: Any) -> Any:
    """Give the object picked as the link. Raises BadInput for none, or one that is not in the chain's scene."""
    ob = group.own_link
    if ob is None:
        raise BadInput("chain: no link mesh is chosen; choose a closed mesh object as the link")
    if ob.name not in scene.objects:
        raise BadInput(f"{ob.name}: is not in the chain's scene; link the link mesh into it or choose another")
    return ob


def own_link(group: Any, mesh: Mesh, keep_out: tuple[int, ...] = ()) -> OwnLink:
    """Measure a link mesh along the axis that the chain's settings name. Raises BadInput where it cannot be a link."""
    axis = chosen_axis(group, mesh)
    wire, length, width = own_sizes(mesh, axis)
    check_own_size(wire, length, width)
    return OwnLink(mesh, axis, wire, length, width, keep_out)


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
    if not len(triangles):
        raise BadInput(f"{ob.name}: is a {ob.type.lower()} object that shows no faces; select objects that have some")
    # Loose points and edges are no metal, yet they would count in its length and width.
    used, numbers = np.unique(triangles, return_inverse=True)
    placed = points[used] @ (turn.T @ matrix).T * mm
    return checked_mesh(placed, numbers.reshape(-1, 3), where=ob.name)


def kept_out(ob: Any, depsgraph: Any) -> tuple[int, ...]:
    """Give the triangles of an object's link mesh, in the order of `link_mesh`, that are marked as KEEP_OUT.

    A vertex group of that name marks the triangles whose corners all weigh more than half in it; a face attribute of
    that name, true or not 0, marks the triangles of its faces.
    """
    evaluated = ob.evaluated_get(depsgraph)
    data = evaluated.to_mesh()
    try:
        data.calc_loop_triangles()
        count = len(data.loop_triangles)
        marked = np.zeros(count, dtype=np.bool_)
        group = ob.vertex_groups.get(KEEP_OUT)
        if group is not None:
            marked |= (
                _in_group(data, group.index)[_numbers(data.loop_triangles, "vertices", 3 * count)]
                .reshape(count, 3)
                .all(axis=1)
            )
        attribute = data.attributes.get(KEEP_OUT)
        if attribute is not None and attribute.domain == "FACE" and attribute.data_type in FACE_MARKS:
            faces = np.zeros(len(data.polygons), dtype=FACE_MARKS[attribute.data_type])
            attribute.data.foreach_get("value", faces)
            marked |= faces[_numbers(data.loop_triangles, "polygon_index", count)] != 0
        return tuple(np.flatnonzero(marked).tolist())
    finally:
        evaluated.to_mesh_clear()


def mark_kept_out(data: Any, triangles: tuple[int, ...]) -> None:
    """Mark faces of a mesh made of triangles only as KEEP_OUT."""
    if not triangles:
        return
    marked = np.zeros(len(data.polygons), dtype=np.bool_)
    marked[[k for k in triangles if k < len(marked)]] = True
    data.attributes.new(KEEP_OUT, "BOOLEAN", "FACE").data.foreach_set("value", marked)


def _in_group(data: Any, index: int) -> npt.NDArray[np.bool_]:
    weights = [next((g.weight for g in v.groups if g.group == index), 0.0) for v in data.vertices]
    return np.array(weights) > HALF


def _numbers(rows: Any, name: str, count: int) -> npt.NDArray[np.int32]:
    found = np.zeros(count, dtype=np.int32)
    rows.foreach_get(name, found)
    return found


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
    return "" if own is None else mesh_stamp(own.mesh, own.keep_out)


def mesh_stamp(mesh: Mesh, keep_out: tuple[int, ...] = ()) -> str:
    """Give a text that stands for a mesh and its marks; places count to a ten-thousandth of a millimetre."""
    return stamp(np.round(mesh.points, 4).tobytes(), mesh.triangles.tobytes(), *([keep_out] if keep_out else []))
