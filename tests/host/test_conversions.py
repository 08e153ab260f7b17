"""Geometry between Blender and the rules: units, whole matrices, modifiers, edits, and back without loss."""

import bmesh
import bpy
import numpy as np
import pytest

from addon.host.conversions import (
    double,
    fill_mesh,
    leave_edit_mode_data,
    matrix_pose,
    mesh_arrays,
    pose_matrix,
    world_mesh,
)
from addon.host.units import exact, is_millimetres, mm_per_unit, unit_words
from addon.rules.base.errors import BadInput
from addon.rules.solid.mesh import Mesh, Pose


def volume(mesh: Mesh) -> float:
    """Give the signed volume by the divergence theorem."""
    a, b, c = np.moveaxis(mesh.corners(), 1, 0)
    return float((a * np.cross(b, c)).sum() / 6.0)


def block(name="block", size=2.0):
    data = bpy.data.meshes.new(name)
    work = bmesh.new()
    bmesh.ops.create_cube(work, size=size)
    work.to_mesh(data)
    work.free()
    ob = bpy.data.objects.new(name, data)
    bpy.context.scene.collection.objects.link(ob)
    return ob


def read(ob, mm=1.0):
    bpy.context.view_layer.update()
    return world_mesh(ob, bpy.context.evaluated_depsgraph_get(), mm)


@pytest.mark.parametrize(
    ("system", "scale", "mm"),
    [
        ("METRIC", 1.0, 1000.0),
        ("METRIC", 0.001, 1.0),
        ("IMPERIAL", 0.0254, 25.4),
        ("NONE", 1.0, 1.0),
        ("NONE", 0.01, 1.0),
    ],
)
def test_millimetres_of_a_scene_unit(system, scale, mm):
    scene = bpy.context.scene
    scene.unit_settings.system = system
    scene.unit_settings.scale_length = scale
    assert mm_per_unit(scene) == mm
    assert is_millimetres(scene) is (mm == 1.0)
    assert ("counts as 1 mm" in unit_words(scene)) is (system == "NONE")


def test_single_precision_gives_the_typed_number_back():
    scene = bpy.context.scene
    for typed in (2.2, 12.2, 9.7, 0.4, 186.0, 0.001, 1234.5):
        scene.unit_settings.scale_length = typed
        assert exact(scene.unit_settings.scale_length) == typed


def test_any_matrix_keeps_the_outside_outside():
    ob = block()
    parent = bpy.data.objects.new("parent", None)
    bpy.context.scene.collection.objects.link(parent)
    parent.scale = (1.0, 3.0, 0.5)
    parent.rotation_euler = (0.4, 0.1, -0.9)
    ob.parent = parent
    ob.rotation_euler = (0.2, 0.8, 0.3)
    ob.scale = (-2.0, 1.0, 1.5)
    mesh = read(ob, 10.0)
    # Volume scales with the determinant whatever the shear: 8 units^3 x |1 x 3 x 0.5| x |-2 x 1 x 1.5| x 1000 mm3.
    assert volume(mesh) == pytest.approx(8 * 1.5 * 3.0 * 1000.0, rel=1e-5)
    assert mesh.points.dtype == np.float64


def test_modifiers_count():
    ob = block()
    array = ob.modifiers.new("three", "ARRAY")
    array.count = 3
    array.use_relative_offset = True
    array.relative_offset_displace = (2.0, 0, 0)
    assert volume(read(ob)) == pytest.approx(24.0, rel=1e-6)


def test_edits_of_an_open_edit_mode_count():
    ob = block()
    bpy.context.view_layer.objects.active = ob
    bpy.ops.object.mode_set(mode="EDIT")
    work = bmesh.from_edit_mesh(ob.data)
    for vertex in work.verts:
        vertex.co *= 2.0
    leave_edit_mode_data(ob)
    assert volume(read(ob)) == pytest.approx(64.0, rel=1e-6)
    assert ob.mode == "EDIT"
    bpy.ops.object.mode_set(mode="OBJECT")


def test_a_mesh_without_faces_says_so():
    ob = bpy.data.objects.new("bare", bpy.data.meshes.new("bare"))
    bpy.context.scene.collection.objects.link(ob)
    with pytest.raises(BadInput, match="bare"):
        read(ob)


def test_an_empty_is_no_solid():
    ob = bpy.data.objects.new("marker", None)
    bpy.context.scene.collection.objects.link(ob)
    with pytest.raises(BadInput, match="marker"):
        read(ob)


def test_filling_keeps_one_mesh_and_leaves_nothing_behind():
    data = bpy.data.meshes.new("link")
    points = np.array([(0, 0, 0), (1, 0, 0), (0, 1, 0), (0, 0, 1)], dtype=np.float64) * 1.25
    triangles = np.array([(0, 2, 1), (0, 1, 3), (1, 2, 3), (0, 3, 2)])
    for factor in (1.0, 2.0):
        fill_mesh(data, points * factor, triangles, smooth=True)
        got_points, got_triangles = mesh_arrays(data)
        np.testing.assert_array_equal(got_points, points * factor)
        np.testing.assert_array_equal(got_triangles, triangles)
    assert not data.validate()
    assert len(bpy.data.meshes) == 1


def test_pose_and_matrix_are_each_other():
    c, s = np.cos(0.7), np.sin(0.7)
    pose = Pose(np.array([[c, -s, 0], [s, c, 0], [0, 0, 1.0]]), np.array([12.0, -3.0, 4.5]))
    back = matrix_pose(pose_matrix(pose, 1000.0), 1000.0, where="link 1")
    np.testing.assert_allclose(back.rotation, pose.rotation, atol=1e-14)
    np.testing.assert_allclose(back.origin, pose.origin, atol=1e-12)
    with pytest.raises(BadInput, match="link 1: is scaled"):
        matrix_pose(np.diag([2.0, 1, 1, 1]), 1.0, where="link 1")
    with pytest.raises(BadInput, match="mirrored"):
        matrix_pose(np.diag([-1.0, 1, 1, 1]), 1.0, where="link 1")


def test_vectors_come_in_double():
    ob = block()
    ob.location = (0.1, 0.2, 0.3)
    assert double(ob.location).dtype == np.float64
