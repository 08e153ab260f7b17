"""Curve objects are read where Blender draws them: our evaluation against Blender's own at a high resolution.

Blender's preview polyline is an outside reference here: its vertices must lie on our dense polyline.
"""

import math

import bpy
import numpy as np
import pytest

from addon.host.conversions import curve_polyline
from addon.host.splines import Knots, bezier_polyline, nurbs_polyline
from addon.rules.base.errors import BadInput

POINTS = [(0, 0, 0), (20, 5, 0), (30, 25, 8), (12, 38, 4), (-8, 30, -3), (-15, 10, 2), (-10, -12, 6)]


def curve(kind, points, *, cyclic=False, order=4, endpoint=False, bezier=False, weights=None, dimensions="3D"):
    data = bpy.data.curves.new("line", "CURVE")
    data.dimensions = dimensions
    data.resolution_u = 64
    spline = data.splines.new(kind)
    if kind == "BEZIER":
        spline.bezier_points.add(len(points) - 1)
        for point, co in zip(spline.bezier_points, points, strict=True):
            point.co = co
            point.handle_left_type = point.handle_right_type = "AUTO"
    else:
        spline.points.add(len(points) - 1)
        for i, (point, co) in enumerate(zip(spline.points, points, strict=True)):
            point.co = (*co, 1.0 if weights is None else weights[i])
    spline.use_cyclic_u = cyclic
    if kind == "NURBS":
        spline.order_u = order
        spline.use_endpoint_u = endpoint
        spline.use_bezier_u = bezier
    ob = bpy.data.objects.new("line", data)
    bpy.context.scene.collection.objects.link(ob)
    return ob


def read(ob, mm=1.0):
    bpy.context.view_layer.update()
    return curve_polyline(ob, bpy.context.evaluated_depsgraph_get(), mm)


def blender_points(ob, mm=1.0):
    dg = bpy.context.evaluated_depsgraph_get()
    ev = ob.evaluated_get(dg)
    data = ev.to_mesh()
    local = np.array([v.co[:] for v in data.vertices], dtype=np.float64)
    ev.to_mesh_clear()
    matrix = np.array(ob.matrix_world, dtype=np.float64)
    return (local @ matrix[:3, :3].T + matrix[:3, 3]) * mm


def farthest(points, line):
    """Give how far the farthest of the points lies from the polyline."""
    ends = np.roll(line.points, -1, axis=0) if line.cyclic else line.points[1:]
    starts = line.points if line.cyclic else line.points[:-1]
    along = ends - starts
    offset = points[:, None] - starts
    squares = np.maximum((along * along).sum(-1), 1e-30)
    t = np.clip((offset * along).sum(-1) / squares, 0.0, 1.0)
    return float(np.linalg.norm(offset - t[..., None] * along, axis=-1).min(axis=1).max())


def both_ways(ob, mm=1.0, within=0.001):
    line = read(ob, mm)
    theirs = blender_points(ob, mm)
    assert len(theirs) > 50
    # Ours is dense: Blender's points lie on it. Blender's is coarse (older versions cut the corners between knots).
    assert farthest(theirs, line) < within
    assert farthest(line.points, type(line)(theirs, line.cyclic)) < 0.15
    return line


@pytest.mark.parametrize("cyclic", [False, True])
def test_bezier_lies_where_blender_draws_it(cyclic):
    line = both_ways(curve("BEZIER", POINTS, cyclic=cyclic))
    assert line.cyclic is cyclic
    steps = np.linalg.norm(np.diff(line.points, axis=0), axis=1)
    assert steps.max() <= 0.25 + 1e-9


@pytest.mark.parametrize("cyclic", [False, True])
@pytest.mark.parametrize("order", [2, 3, 4, 5, 6])
@pytest.mark.parametrize(("endpoint", "bezier"), [(False, False), (True, False), (False, True), (True, True)])
def test_nurbs_lies_where_blender_draws_it(cyclic, order, endpoint, bezier):
    points = POINTS[:6] if bezier and cyclic and order == 4 else POINTS
    ob = curve("NURBS", points, cyclic=cyclic, order=order, endpoint=endpoint, bezier=bezier)
    bpy.context.view_layer.update()
    if len(blender_points(ob)) <= len(points) and order > 2:
        # Not valid together: Blender draws the control polygon, and so do we.
        line = read(ob)
        assert farthest(np.array(points, dtype=np.float64), line) < 1e-5
        assert max(np.linalg.norm(np.diff(line.points, axis=0), axis=1)) <= 1.0 + 1e-9
        return
    both_ways(ob)


@pytest.mark.parametrize("cyclic", [False, True])
def test_nurbs_weights_pull_as_in_blender(cyclic):
    weights = [1.0, 3.0, 0.4, 1.0, 2.5, 1.0, 0.7]
    both_ways(curve("NURBS", POINTS, cyclic=cyclic, endpoint=True, weights=weights))


def test_rational_quarter_circle_is_a_circle():
    """Quadratic NURBS of weights 1, sqrt(1/2), 1 is an exact quarter circle (Piegl and Tiller, The NURBS Book, 7.3)."""
    points = np.array([(10.0, 0, 0), (10, 10, 0), (0, 10, 0)])
    line = nurbs_polyline(points, np.array([1.0, math.sqrt(0.5), 1.0]), Knots(3, False, True, False), 0.1)
    np.testing.assert_allclose(np.linalg.norm(line.points, axis=1), 10.0, rtol=0, atol=1e-12)
    np.testing.assert_allclose(line.points[[0, -1]], points[[0, -1]], atol=1e-12)


def test_bezier_cubic_is_the_bernstein_polynomial():
    """The same cubic by its Bernstein form: (1-t)^3 P0 + 3 t (1-t)^2 P1 + 3 t^2 (1-t) P2 + t^3 P3."""
    hull = np.array([(0.0, 0, 0), (3, 8, 1), (9, -4, 2), (12, 3, 5)])
    line = bezier_polyline(hull[[0, 2]], hull[[0, 3]], hull[[1, 3]], False, 0.5)
    t = np.linspace(0, 1, len(line.points))[:, None]
    wanted = (1 - t) ** 3 * hull[0] + 3 * t * (1 - t) ** 2 * hull[1] + 3 * t**2 * (1 - t) * hull[2] + t**3 * hull[3]
    np.testing.assert_allclose(line.points, wanted, atol=1e-12)


def test_poly_keeps_its_corners_and_is_divided():
    line = read(curve("POLY", POINTS, cyclic=True))
    assert line.cyclic
    assert farthest(np.array(POINTS, dtype=np.float64), line) < 1e-6
    ring = np.concatenate([line.points, line.points[:1]])
    assert np.linalg.norm(np.diff(ring, axis=0), axis=1).max() <= 1.0 + 1e-9


def test_object_transform_and_unit_count():
    ob = curve("BEZIER", [tuple(c / 100 for c in p) for p in POINTS])
    parent = bpy.data.objects.new("parent", None)
    bpy.context.scene.collection.objects.link(parent)
    parent.rotation_euler = (0.3, -0.7, 1.1)
    parent.scale = (2.0, 0.5, 1.5)
    ob.parent = parent
    ob.location = (0.1, 0.2, -0.3)
    ob.scale = (-1.0, 1.0, 1.0)
    line = both_ways(ob, 25.4, within=0.005)
    steps = np.linalg.norm(np.diff(line.points, axis=0), axis=1)
    assert steps.max() <= 0.25 + 1e-9


def test_two_dimensional_curve_ignores_heights():
    ob = curve("POLY", [(0, 0, 5), (10, 0, 9)], dimensions="2D")
    np.testing.assert_allclose(read(ob).points[:, 2], 0.0)


def test_modifiers_on_the_curve_are_followed():
    ob = curve("POLY", [(0, 0, 0), (10, 0, 0), (20, 0, 0)])
    bend = ob.modifiers.new("wave", "SIMPLE_DEFORM")
    bend.deform_method = "BEND"
    bend.deform_axis = "Z"
    bend.angle = 1.0
    line = read(ob)
    assert not line.cyclic
    assert farthest(blender_points(ob), line) < 1e-5
    assert np.ptp(line.points[:, 1]) > 1.0 or np.ptp(line.points[:, 2]) > 1.0


def bad(ob, words):
    with pytest.raises(BadInput, match=words):
        read(ob)


def test_bad_curves_say_how_to_mend_them():
    empty = bpy.data.objects.new("nothing", bpy.data.curves.new("nothing", "CURVE"))
    bpy.context.scene.collection.objects.link(empty)
    bad(empty, "nothing: has no spline")
    two = curve("POLY", [(0, 0, 0), (5, 0, 0)])
    two.data.splines.new("POLY").points.add(2)
    bad(two, "holds 2 splines")
    bad(curve("POLY", [(1, 2, 3)] * 4), "all its points lie in one place")
    bad(curve("NURBS", POINTS, weights=[1, 1, -2, 1, 1, 1, 1]), "weight")
    bad(curve("POLY", [(0, 0, 0), (float("nan"), 0, 0)]), "not a finite number")
    bad(curve("POLY", [(0, 0, 0), (1e6, 0, 0)]), "unit scale")
    mesh = bpy.data.objects.new("block", bpy.data.meshes.new("block"))
    bpy.context.scene.collection.objects.link(mesh)
    bad(mesh, "block: is a mesh")
