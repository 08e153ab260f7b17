"""Blender objects to the rules' values and back: meshes, poses and followed curves. All in mm and double precision."""

from typing import Any

import numpy as np
import numpy.typing as npt

from ..rules.base.errors import BadInput
from ..rules.solid.mesh import Mesh, Pose
from ..rules.solid.mesh import mesh as checked_mesh
from .splines import FloatArray, Knots, Polyline, bezier_polyline, nurbs_polyline, poly_polyline

SOLID_TYPES = ("MESH", "CURVE", "SURFACE", "FONT", "META")
POLY_STEP_MM = 1.0
SMOOTH_STEP_MM = 0.25
MAX_CURVE_POINTS = 200_000


def double(values: Any) -> FloatArray:
    """Give a Blender vector or matrix as a double-precision array (Blender's own choice differs by version)."""
    return np.array(values, dtype=np.float64)


def world_mesh(ob: Any, depsgraph: Any, mm: float) -> Mesh:
    """Read an object as it is seen, modifiers and edits included, in world mm.

    ``mm`` is the size of a scene unit. The whole matrix is applied in double precision, so any scale, shear or
    parent is right; a mirrored object has its triangles turned back outwards. Raises BadInput when it has no faces.
    """
    evaluated = ob.evaluated_get(depsgraph)
    return matrix_mesh(evaluated, double(evaluated.matrix_world), mm, where=ob.name)


def matrix_mesh(evaluated: Any, matrix: FloatArray, mm: float, *, where: str) -> Mesh:
    """Read an evaluated object's mesh under a given world matrix (4, 4) in scene units. Raises BadInput like above."""
    points, triangles = local_arrays(evaluated, where=where)
    world = points @ (matrix[:3, :3].T * mm) + matrix[:3, 3] * mm
    if np.linalg.det(matrix[:3, :3]) < 0:
        triangles = triangles[:, ::-1]
    return checked_mesh(world, triangles, where=where)


def local_arrays(evaluated: Any, *, where: str) -> tuple[FloatArray, npt.NDArray[np.int64]]:
    """Give an evaluated object's points (n, 3) in its own units and its triangles (m, 3)."""
    data = evaluated.to_mesh() if evaluated.type in SOLID_TYPES else None
    if data is None:
        raise BadInput(f"{where}: is a {evaluated.type.lower()} without a surface; select mesh objects")
    try:
        return mesh_arrays(data)
    finally:
        evaluated.to_mesh_clear()


def mesh_arrays(data: Any) -> tuple[FloatArray, npt.NDArray[np.int64]]:
    """Copy a Blender mesh's points (n, 3) and triangles (m, 3)."""
    points = np.empty(3 * len(data.vertices), dtype=np.float32)
    data.vertices.foreach_get("co", points)
    data.calc_loop_triangles()
    triangles = np.empty(3 * len(data.loop_triangles), dtype=np.int32)
    data.loop_triangles.foreach_get("vertices", triangles)
    return points.reshape(-1, 3).astype(np.float64), triangles.reshape(-1, 3).astype(np.int64)


def leave_edit_mode_data(ob: Any) -> None:
    """Bring the edits of an open Edit Mode into the object's data, without leaving the mode."""
    if ob.mode == "EDIT":
        ob.update_from_editmode()


def fill_mesh(
    data: Any, points: FloatArray, triangles: npt.NDArray[np.int64], *, smooth: bool, sharp_deg: float | None = None
) -> None:
    """Fill a Blender mesh in place with points (n, 3) in its own units and triangles (m, 3).

    ``sharp_deg``: edges bent by more stay sharp on a smooth mesh.
    """
    count = len(triangles)
    data.clear_geometry()
    data.vertices.add(len(points))
    data.vertices.foreach_set("co", np.ascontiguousarray(points, dtype=np.float32).ravel())
    data.loops.add(3 * count)
    corners = np.ascontiguousarray(triangles, dtype=np.int32).ravel()
    # The same numbers by the name Blender stores them under: without a call for each of them.
    stored: Any = data.attributes.get(".corner_vert")
    if stored is None:
        data.loops.foreach_set("vertex_index", corners)
    else:
        stored.data.foreach_set("value", corners)
    data.polygons.add(count)
    data.polygons.foreach_set("loop_start", np.arange(0, 3 * count, 3, dtype=np.int32))
    data.update(calc_edges=True)
    if smooth:
        data.shade_smooth()
        if sharp_deg is not None:
            data.set_sharp_from_angle(angle=np.radians(sharp_deg))
    else:
        data.shade_flat()


def pose_matrix(pose: Pose, mm: float) -> FloatArray:
    """Give a pose as a 4 x 4 matrix in scene units of ``mm``."""
    matrix = np.eye(4)
    matrix[:3, :3] = pose.rotation
    matrix[:3, 3] = pose.origin / mm
    return matrix


def matrix_pose(matrix: FloatArray, mm: float, *, where: str) -> Pose:
    """Give a rigid 4 x 4 matrix in scene units as a pose in mm. Raises BadInput when it scales, shears or mirrors."""
    rotation = matrix[:3, :3]
    if not np.allclose(rotation.T @ rotation, np.eye(3), atol=1e-5) or np.linalg.det(rotation) < 0:
        raise BadInput(f"{where}: is scaled or mirrored; set its scale to 1 and change the chain's own sizes instead")
    # Single-precision matrices are off by 1e-7: the nearest true rotation keeps the links rigid.
    left, _, right = np.linalg.svd(rotation)
    return Pose(left @ right, matrix[:3, 3] * mm)


def turn_and_stretch(matrix: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Take a matrix (3, 3) apart into a true rotation (3, 3) and the symmetric stretch (3, 3) that comes before it.

    Of a mirroring matrix the stretch is the one that mirrors (the polar decomposition, by singular values).
    """
    left, sizes, right = np.linalg.svd(matrix)
    turn, stretch = left @ right, right.T @ (sizes[:, None] * right)
    return (-turn, -stretch) if np.linalg.det(turn) < 0.0 else (turn, stretch)


def curve_polyline(ob: Any, depsgraph: Any, mm: float) -> Polyline:
    """Read a curve object as a dense polyline in world mm.

    Bezier and NURBS splines are evaluated from their control points (a point each 0.25 mm or denser), poly splines are
    divided to 1 mm. A curve bent by modifiers or shape keys is read as Blender evaluates it. Raises BadInput for
    anything that is not one curve with a length.
    """
    if ob.type != "CURVE":
        raise BadInput(f"{ob.name}: is a {ob.type.lower()}; choose a curve object for the chain to follow")
    leave_edit_mode_data(ob)
    matrix = double(ob.evaluated_get(depsgraph).matrix_world)
    splines = [s for s in ob.data.splines if len(s.bezier_points if s.type == "BEZIER" else s.points) > 1]
    if not splines:
        raise BadInput(f"{ob.name}: has no spline of two points or more; draw a curve in it first")
    if len(splines) > 1:
        raise BadInput(
            f"{ob.name}: holds {len(splines)} splines, a chain follows one; separate them (in Edit Mode, P) and "
            "choose one"
        )
    if any(m.show_viewport for m in ob.modifiers) or ob.data.shape_keys is not None:
        line = _as_evaluated(ob, depsgraph, matrix, mm, splines[0].use_cyclic_u)
    else:
        line = spline_polyline(splines[0], matrix, mm, flat=ob.data.dimensions == "2D", where=ob.name)
    return _without_repeats(line, ob.name)


def spline_polyline(spline: Any, matrix: FloatArray, mm: float, *, flat: bool, where: str) -> Polyline:
    """Evaluate one spline under a world matrix. ``flat``: a 2D curve, whose heights Blender ignores."""

    def world(local: FloatArray) -> FloatArray:
        if flat:
            local = local * (1.0, 1.0, 0.0)
        out: FloatArray = local @ (matrix[:3, :3].T * mm) + matrix[:3, 3] * mm
        if not np.isfinite(out).all():
            raise BadInput(f"{where}: a control point is not a finite number; delete that point and draw it again")
        if np.ptp(out, axis=0).max() > MAX_CURVE_POINTS * SMOOTH_STEP_MM / 4:
            raise BadInput(
                f"{where}: measures {np.ptp(out, axis=0).max() / 1000:g} m; check the scene's unit scale, or set it to "
                "millimetres"
            )
        return out

    def control(points: Any, attribute: str, width: int) -> FloatArray:
        flat_values = np.empty(width * len(points), dtype=np.float32)
        points.foreach_get(attribute, flat_values)
        return flat_values.reshape(-1, width).astype(np.float64)

    cyclic = bool(spline.use_cyclic_u)
    if spline.type == "BEZIER":
        left, knot, right = (
            world(control(spline.bezier_points, name, 3)) for name in ("handle_left", "co", "handle_right")
        )
        return bezier_polyline(left, knot, right, cyclic, SMOOTH_STEP_MM)
    four = control(spline.points, "co", 4)
    points = world(four[:, :3])
    if spline.type == "NURBS":
        knots = Knots(int(spline.order_u), cyclic, bool(spline.use_endpoint_u), bool(spline.use_bezier_u))
        if (four[:, 3] <= 0).any():
            raise BadInput(f"{where}: a NURBS weight is zero or negative; set every weight above 0")
        return nurbs_polyline(points, four[:, 3], knots, SMOOTH_STEP_MM)
    return poly_polyline(points, cyclic, POLY_STEP_MM)


def _as_evaluated(ob: Any, depsgraph: Any, matrix: FloatArray, mm: float, cyclic: bool) -> Polyline:
    """Read the wire Blender itself draws for a curve whose modifiers move its points."""
    evaluated = ob.evaluated_get(depsgraph)
    data = evaluated.to_mesh()
    try:
        if data is None or len(data.polygons) or len(data.edges) < 1:
            raise BadInput(
                f"{ob.name}: has modifiers and a surface (bevel or extrude), so its line cannot be read; set the "
                "bevel and extrude to 0 or apply the modifiers"
            )
        points = np.empty(3 * len(data.vertices), dtype=np.float32)
        data.vertices.foreach_get("co", points)
        edges = np.empty(2 * len(data.edges), dtype=np.int32)
        data.edges.foreach_get("vertices", edges)
    finally:
        evaluated.to_mesh_clear()
    if len(edges) // 2 not in (len(points) // 3, len(points) // 3 - 1):
        raise BadInput(f"{ob.name}: its modifiers make several lines of it; a chain follows one")
    closed = cyclic and len(edges) // 2 == len(points) // 3
    local = points.reshape(-1, 3).astype(np.float64)
    return poly_polyline(local @ (matrix[:3, :3].T * mm) + matrix[:3, 3] * mm, closed, POLY_STEP_MM)


def _without_repeats(line: Polyline, where: str) -> Polyline:
    """Drop vertices that repeat the one before (doubled control points), which have no direction."""
    steps = np.linalg.norm(np.diff(line.points, axis=0), axis=1)
    points = line.points[np.concatenate([[True], steps > 1e-6])]
    if line.cyclic and len(points) > 1 and np.linalg.norm(points[0] - points[-1]) <= 1e-6:
        points = points[:-1]
    if len(points) < 2:
        raise BadInput(f"{where}: all its points lie in one place; draw it longer")
    return Polyline(points, line.cyclic)
