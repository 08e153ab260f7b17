"""Someone else's scene: other units, hidden collections, linked objects, modifiers, other modes, many objects."""

import bmesh
import bpy
import numpy as np
import pytest
from mathutils import Matrix

from addon.host import handlers
from addon.host.chain_object import is_chain
from addon.host.selection import bodies_of, read_selected
from addon.host.showing import parts
from addon.rules.base.progress import finish
from addon.rules.solid.measure import volume_mm3
from tests.host.test_chain_object import WAVE, line, places, refused, select

ROW = {"where": "straight", "length_mm": 20.0, "family": "trace", "wire_mm": 1.6}


def millimetres():
    bpy.context.scene.unit_settings.scale_length = 0.001


def cube(size=2.0, at=(0, 0, 0), name="cube"):
    data = bpy.data.meshes.new(name)
    shape = bmesh.new()
    bmesh.ops.create_cube(shape, size=size)
    shape.to_mesh(data)
    shape.free()
    ob = bpy.data.objects.new(name, data)
    ob.location = at
    bpy.context.scene.collection.objects.link(ob)
    return ob


def plane(size=4.0):
    data = bpy.data.meshes.new("plane")
    half = size / 2
    data.from_pydata([(-half, -half, 0), (half, -half, 0), (half, half, 0), (-half, half, 0)], [], [(0, 1, 2, 3)])
    ob = bpy.data.objects.new("plane", data)
    bpy.context.scene.collection.objects.link(ob)
    return ob


def solids():
    """The volumes of the selected bodies as they are inspected, mm3."""
    bpy.context.view_layer.update()
    return [volume_mm3(body.placed()) for body in finish(bodies_of(read_selected(bpy.context)))]


@pytest.mark.parametrize(
    ("system", "scale", "mm"), [("METRIC", 1.0, 1e3), ("METRIC", 0.01, 10.0), ("NONE", 5.0, 1.0), ("METRIC", 1e-3, 1.0)]
)
def test_any_unit_gives_the_same_piece_and_the_same_findings(add_chain, system, scale, mm):
    settings = bpy.context.scene.unit_settings
    settings.system, settings.scale_length = system, scale
    ob = add_chain(**ROW)
    size = np.ptp([v.co[:] for v in parts(ob, "LINK")[0].data.vertices], axis=0) * mm
    np.testing.assert_allclose(size, (ob.linkwright.link_length_mm, ob.linkwright.link_width_mm, 1.6), atol=0.02)
    assert ob.empty_display_size * mm == pytest.approx(5.0, rel=1e-4)
    bpy.ops.linkwright.inspect()
    state = bpy.context.window_manager.linkwright
    assert "smallest gap 0.786 mm" in state.heading
    assert state.stop_count == 0


@pytest.mark.parametrize("how", ["excluded", "hidden", "hidden in the view layer"])
def test_where_the_active_collection_does_not_show_the_chain_does(add_chain, how):
    millimetres()
    home = bpy.data.collections.new("mine")
    bpy.context.scene.collection.children.link(home)
    layer = bpy.context.view_layer.layer_collection.children["mine"]
    bpy.context.view_layer.active_layer_collection = layer
    if how == "excluded":
        layer.exclude = True
    elif how == "hidden":
        home.hide_viewport = True
    else:
        layer.hide_viewport = True
    ob = add_chain(**ROW)
    assert is_chain(ob)
    assert all(link.visible_get() for link in parts(ob, "LINK"))


def test_a_curve_and_a_link_mesh_may_lie_in_an_excluded_collection(add_chain):
    millimetres()
    curve = line(WAVE)
    curve.location = (7, 0, 0)
    select(curve)
    ob = add_chain(where="curve", family="trace", wire_mm=1.4, link_length_mm=9.0, link_width_mm=6.5)
    before = places(ob)
    away = bpy.data.collections.new("away")
    bpy.context.scene.collection.children.link(away)
    away.objects.link(curve)
    bpy.context.scene.collection.objects.unlink(curve)
    bpy.context.view_layer.layer_collection.children["away"].exclude = True
    bpy.context.view_layer.update()
    select(ob)
    bpy.ops.linkwright.follow_curve()
    np.testing.assert_allclose(places(ob), before, atol=1e-4)


def test_objects_linked_from_a_library_are_inspected_and_followed_where_they_lie(add_chain, tmp_path):
    millimetres()
    cube(2.0, name="block")
    line(WAVE, name="way")
    path = str(tmp_path / "lib.blend")
    bpy.ops.wm.save_as_mainfile(filepath=path, check_existing=False)
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    millimetres()
    with bpy.data.libraries.load(path, link=True) as (_, wanted):
        wanted.objects = ["block", "way"]
    for ob in wanted.objects:
        bpy.context.scene.collection.objects.link(ob)
    block, way = wanted.objects
    select(block)
    assert solids() == pytest.approx([8.0])
    assert bpy.ops.linkwright.inspect() == {"FINISHED"}
    select(way)
    ob = add_chain(where="curve", family="trace", wire_mm=1.4, link_length_mm=9.0, link_width_mm=6.5)
    assert ob.linkwright.curve == way
    assert len(parts(ob, "LINK")) > 20


def test_modifiers_are_inspected_as_they_are_seen():
    millimetres()
    rowed, mirrored, thick, bent = cube(), cube(at=(10, 0, 0)), plane(), cube(at=(20, 0, 0))
    array = rowed.modifiers.new("row", "ARRAY")
    array.count, array.relative_offset_displace = 3, (1.5, 0, 0)
    for vertex in mirrored.data.vertices:
        vertex.co.x += 3.0
    mirrored.modifiers.new("mirror", "MIRROR")
    thick.location = (0, 20, 0)
    solid = thick.modifiers.new("solid", "SOLIDIFY")
    solid.thickness = 0.5
    bent.modifiers.new("fine", "SUBSURF").levels = 2
    for ob, volumes in ((rowed, [8.0] * 3), (mirrored, [8.0] * 2), (thick, [8.0])):
        select(ob)
        assert solids() == pytest.approx(volumes, rel=1e-5), ob.name
    select(bent)
    (rounded,) = solids()
    seen = bmesh.new()
    seen.from_object(bent, bpy.context.evaluated_depsgraph_get())
    assert rounded == pytest.approx(seen.calc_volume(), rel=1e-5)
    assert rounded < 6.0
    seen.free()
    bent.modifiers["fine"].show_viewport = False
    assert solids() == pytest.approx([8.0])


def test_shape_keys_are_inspected_as_they_are_seen():
    millimetres()
    ob = cube()
    ob.shape_key_add(name="Basis")
    key = ob.shape_key_add(name="long")
    for point in key.data:
        point.co.z *= 3.0
    key.value = 0.5
    select(ob)
    # Half way from a cube of 2 to one three times as high.
    assert solids() == pytest.approx([16.0])


@pytest.mark.parametrize("scale", [(1, 2, 3), (-1, 1, 1), (-1, -2, -0.5)])
def test_scaled_mirrored_and_under_a_scaled_parent_a_body_keeps_its_outside(scale):
    millimetres()
    holder = bpy.data.objects.new("holder", None)
    holder.scale = (2, 1, 1)
    holder.rotation_euler = (0.3, 0.2, 0.1)
    bpy.context.scene.collection.objects.link(holder)
    ob = cube()
    ob.parent, ob.scale, ob.rotation_euler = holder, scale, (0.5, 0.6, 0.7)
    select(ob)
    # A determinant is a volume: that of the whole matrix, whatever it shears.
    bpy.context.view_layer.update()
    assert solids() == pytest.approx([8.0 * 2.0 * abs(np.prod(scale))], rel=1e-5)


def test_a_mesh_of_metres_is_said_to_be_one_before_any_gate_is_looked_for():
    select(cube(2.0))
    refused("too large .* press Set Millimetres", bpy.ops.linkwright.add_lattice)


def test_a_chain_under_a_scaled_parent_says_so_before_any_work(add_chain):
    millimetres()
    ob = add_chain(**ROW)
    holder = bpy.data.objects.new("holder", None)
    holder.scale = (2, 2, 2)
    bpy.context.scene.collection.objects.link(holder)
    ob.parent = holder
    bpy.context.view_layer.update()
    select(ob)
    refused("is scaled by 2 x 2 x 2", bpy.ops.linkwright.inspect)
    refused("is scaled by 2 x 2 x 2", bpy.ops.linkwright.add_lattice)


def test_a_curve_with_bevel_extrude_taper_and_tilt_leads_as_its_bare_line(add_chain):
    millimetres()
    curve = line(WAVE)
    select(curve)
    ob = add_chain(where="curve", family="trace", wire_mm=1.4, link_length_mm=9.0, link_width_mm=6.5)
    before = places(ob)
    thin = line([(0, 0, 0), (1, 1, 0), (2, 1, 0), (3, 0, 0)], name="taper")
    curve.data.bevel_depth, curve.data.extrude, curve.data.offset = 1.5, 0.7, 0.2
    curve.data.taper_object, curve.data.bevel_resolution = thin, 2
    for point in curve.data.splines[0].points:
        point.tilt, point.radius = 1.0, 0.5
    bpy.context.view_layer.update()
    select(ob)
    bpy.ops.linkwright.follow_curve()
    np.testing.assert_allclose(places(ob), before, atol=1e-4)


def test_a_bezier_with_free_handles_is_followed_whatever_its_tilt(add_chain):
    millimetres()
    data = bpy.data.curves.new("bow", "CURVE")
    data.dimensions = "3D"
    spline = data.splines.new("BEZIER")
    spline.bezier_points.add(1)
    for point, at, left, right in zip(
        spline.bezier_points,
        [(0, 0, 0), (120, 0, 0)],
        [(-40, -60, 0), (80, 60, 0)],
        [(40, 60, 0), (160, -60, 0)],
        strict=True,
    ):
        point.handle_left_type = point.handle_right_type = "FREE"
        point.co, point.handle_left, point.handle_right, point.tilt = at, left, right, 2.0
    curve = bpy.data.objects.new("bow", data)
    bpy.context.scene.collection.objects.link(curve)
    select(curve)
    ob = add_chain(where="curve", family="trace", wire_mm=1.4, link_length_mm=9.0, link_width_mm=6.5)
    # The cubic of Bernstein at its middle: a quarter of the ends' mean and three quarters of the handles' mean.
    middle = np.array([60.0, 45.0, 0.0])
    assert np.linalg.norm(places(ob)[:, :3, 3] - middle, axis=1).min() < 5.0


def test_nothing_there_every_button_says_why():
    bpy.context.view_layer.objects.active = None
    for name in ("inspect", "add_lattice", "check_print", "plan_cast", "export", "verify", "find_way_up", "mend_chain"):
        refused("[Ss]elect", getattr(bpy.ops.linkwright, name))
    with bpy.context.temp_override(area=None, region=None):
        assert bpy.ops.linkwright.add_chain("INVOKE_DEFAULT", **ROW) == {"FINISHED"}


@pytest.mark.parametrize("mode", ["EDIT", "SCULPT", "VERTEX_PAINT"])
def test_in_another_mode_meshes_are_inspected_and_chains_wait(mode):
    millimetres()
    ob = cube()
    select(ob)
    bpy.ops.object.mode_set(mode=mode)
    refused("Tab|Object Mode", bpy.ops.linkwright.add_chain)
    assert bpy.ops.linkwright.inspect() == {"FINISHED"}
    assert bpy.context.mode != "OBJECT"
    bpy.ops.object.mode_set(mode="OBJECT")


@pytest.mark.parametrize("mode", ["EDIT", "SCULPT"])
def test_while_a_link_is_edited_its_chain_is_left_alone(add_chain, mode):
    millimetres()
    ob = add_chain(**ROW)
    before = places(ob)
    select(parts(ob, "LINK")[1])
    bpy.ops.object.mode_set(mode=mode)
    for name in ("inspect", "add_lattice", "verify", "plan_cast", "preview_worn", "resize", "least_width"):
        refused("being edited", getattr(bpy.ops.linkwright, name))
    ob.linkwright.wire_mm = 1.5
    assert "being edited" in ob.linkwright.figures.message
    np.testing.assert_array_equal(places(ob), before)
    bpy.ops.object.mode_set(mode="OBJECT")
    ob.linkwright.wire_mm = 1.55
    assert ob.linkwright.figures.message == ""


def test_two_thousand_other_objects_cost_their_edits_nothing(add_chain, monkeypatch):
    millimetres()
    data = cube().data
    home = bpy.context.scene.collection.objects
    for number in range(2000):
        other = bpy.data.objects.new("prop", data)
        other.matrix_world = Matrix.Translation((3.0 * (number % 50), 3.0 * (number // 50), 60.0))
        home.link(other)
    bpy.context.view_layer.update()
    ob = add_chain(**ROW)
    bpy.ops.linkwright.inspect()
    assert not bpy.context.window_manager.linkwright.moved
    asked = []
    monkeypatch.setattr(handlers, "is_chain", lambda one: asked.append(one) or is_chain(one))

    def edit(one):
        bpy.context.view_layer.update()
        asked.clear()
        one.location.x += 0.1
        bpy.context.view_layer.update()
        return len(asked)

    assert edit(bpy.data.objects["prop.700"]) < 10
    assert not bpy.context.window_manager.linkwright.moved
    edit(parts(ob, "LINK")[1])
    assert bpy.context.window_manager.linkwright.moved
    select(bpy.data.objects["prop.001"])
    bpy.data.objects["prop.002"].select_set(True)
    assert bpy.ops.linkwright.inspect() == {"FINISHED"}
    assert bpy.context.window_manager.linkwright.heading.startswith("Selected meshes: 2 bodies")
    edit(bpy.data.objects["prop.700"])
    assert not bpy.context.window_manager.linkwright.moved
    edit(bpy.data.objects["prop.002"])
    assert bpy.context.window_manager.linkwright.moved
    # A chain that comes to many objects is found though nothing was said of it.
    second = ob.copy()
    home.link(second)
    assert edit(bpy.data.objects["prop.700"]) >= 0
    found = finish(handlers._chains(bpy.context.scene, frozenset()))
    assert {one.name for one in found} == {ob.name, second.name}
