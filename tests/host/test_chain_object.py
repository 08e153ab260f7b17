"""A chain in the scene: remembers its spec, follows its numbers, undoes in one step, reopens the same."""

import bpy
import numpy as np
import pytest

from addon.host.chain_object import chain_of
from addon.host.conversions import double
from addon.host.properties import SCHEMA
from addon.host.showing import parts


def places(ob):
    return np.array([double(link.matrix_basis) for link in parts(ob, "LINK")])


def line(points, *, cyclic=False, name="path"):
    data = bpy.data.curves.new(name, "CURVE")
    data.dimensions = "3D"
    spline = data.splines.new("NURBS")
    spline.points.add(len(points) - 1)
    for point, co in zip(spline.points, points, strict=True):
        point.co = (*co, 1.0)
    spline.use_endpoint_u, spline.use_cyclic_u = not cyclic, cyclic
    ob = bpy.data.objects.new(name, data)
    bpy.context.scene.collection.objects.link(ob)
    return ob


def select(ob):
    for other in bpy.context.selected_objects:
        other.select_set(False)
    ob.select_set(True)
    bpy.context.view_layer.objects.active = ob


WAVE = [(0, 0, 0), (60, 40, 0), (120, -40, 0), (200, 20, 10)]


def metres_to_mm():
    bpy.context.scene.unit_settings.scale_length = 0.001


def test_links_share_one_mesh_and_stand_as_many_as_said(add_chain):
    ob = add_chain()
    links = parts(ob, "LINK")
    assert len(links) == ob.linkwright.figures.links > 20
    assert len({link.data for link in links}) == 1
    assert [link.linkwright.number for link in links] == list(range(1, len(links) + 1))
    assert links[0].name == "link 1"
    assert ob.linkwright.schema == SCHEMA
    assert all(chain_of(link) is ob for link in links)


@pytest.mark.parametrize(
    ("system", "scale", "mm"),
    [("METRIC", 1.0, 1000.0), ("METRIC", 0.001, 1.0), ("NONE", 1.0, 1.0), ("IMPERIAL", 0.0254, 25.4)],
)
def test_any_scene_unit_gives_the_same_piece(add_chain, system, scale, mm):
    settings = bpy.context.scene.unit_settings
    settings.system, settings.scale_length = system, scale
    ob = add_chain(link_length_mm=12.2)
    link = parts(ob, "LINK")[0]
    assert max(link.dimensions) * mm == pytest.approx(12.2, abs=0.1)
    ring = np.linalg.norm(places(ob)[:, :3, 3], axis=1) * mm
    figures = ob.linkwright.figures
    # The pitch is a chord of the circle through the link centres.
    np.testing.assert_allclose(ring, figures.pitch_mm / (2 * np.sin(np.pi / figures.links)), rtol=1e-5)
    assert abs(figures.worn_mm - 186.0) < 7.0


def test_a_number_rebuilds_at_once_and_reuses_objects(add_chain):
    ob = add_chain()
    before, data = [link.name for link in parts(ob, "LINK")], parts(ob, "LINK")[0].data
    ob.linkwright.inner_length_mm = 220.0
    longer = parts(ob, "LINK")
    assert len(longer) > len(before)
    assert [link.name for link in longer][: len(before)] == before
    assert longer[0].data is data
    ob.linkwright.inner_length_mm = 160.0
    assert len(parts(ob, "LINK")) < len(before)
    assert len(bpy.data.objects) == 1 + len(parts(ob, "LINK"))
    assert len(bpy.data.meshes) == 1


def test_impossible_sizes_are_said_and_keep_the_links(add_chain):
    ob = add_chain()
    before = places(ob)
    ob.linkwright.wire_mm = 9.0
    assert "wire_mm" in ob.linkwright.figures.message
    np.testing.assert_array_equal(places(ob), before)
    ob.linkwright.wire_mm = 2.2
    assert ob.linkwright.figures.message == ""
    np.testing.assert_allclose(places(ob), before, atol=1e-6)


def test_adding_one_that_cannot_be_leaves_nothing(add_chain):
    with pytest.raises(RuntimeError, match=r"Wire \(mm\)"):
        add_chain(wire_mm=9.0, link_length_mm=12.2, link_width_mm=9.7)
    assert len(bpy.data.objects) == len(bpy.data.meshes) == len(bpy.data.collections) == 0


def test_undo_is_one_step():
    bpy.ops.ed.undo_push(message="before")
    bpy.ops.linkwright.add_chain("EXEC_DEFAULT", True)
    name, count = bpy.context.active_object.name, len(bpy.data.objects)
    bpy.ops.ed.undo()
    assert len(bpy.data.objects) == 0
    bpy.ops.ed.redo()
    assert len(bpy.data.objects) == count
    ob = bpy.data.objects[name]
    before = places(ob)
    bpy.context.view_layer.objects.active = ob
    ob.linkwright.inner_length_mm = 200.0
    bpy.ops.ed.undo_push(message="longer")
    bpy.ops.ed.undo()
    ob = bpy.data.objects[name]
    np.testing.assert_array_equal(places(ob), before)
    assert ob.linkwright.inner_length_mm == 186.0


def test_saved_and_opened_it_is_the_same(add_chain, tmp_path):
    ob = add_chain(family="trace", wire_mm=1.4, link_length_mm=9.0, link_width_mm=6.5)
    ob.linkwright.has_hand, ob.linkwright.hand_mm = True, 199.5
    name, before, stamp = ob.name, places(ob), ob.linkwright.figures.stamp
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "a.blend"), check_existing=False)
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    bpy.ops.wm.open_mainfile(filepath=str(tmp_path / "a.blend"))
    ob = bpy.data.objects[name]
    assert ob.linkwright.schema == SCHEMA
    np.testing.assert_array_equal(places(ob), before)
    assert ob.linkwright.figures.stamp == stamp
    ob.linkwright.gap_mm = ob.linkwright.gap_mm
    np.testing.assert_allclose(places(ob), before, atol=1e-6)
    assert ob.linkwright.figures.stamp == stamp
    assert ob.linkwright.is_property_set("fit")


def test_a_newer_chain_is_shown_and_left_alone(add_chain, tmp_path):
    ob = add_chain()
    name, before = ob.name, places(ob)
    ob.linkwright.schema = SCHEMA + 1
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "new.blend"), check_existing=False)
    bpy.ops.wm.open_mainfile(filepath=str(tmp_path / "new.blend"))
    ob = bpy.data.objects[name]
    assert "newer version" in ob.linkwright.figures.message
    ob.linkwright.wire_mm = 2.0
    np.testing.assert_array_equal(places(ob), before)
    select(ob)
    with pytest.raises(RuntimeError, match="newer version"):
        bpy.ops.linkwright.verify()


def test_a_copy_owns_its_own_links(add_chain):
    ob = add_chain()
    before = places(ob)
    for link in parts(ob, "LINK"):
        link.select_set(True)
    bpy.ops.object.duplicate(linked=True)
    copy = next(o for o in bpy.context.selected_objects if o.linkwright.schema)
    assert copy is not ob
    first = len(parts(ob, "LINK"))
    copy.linkwright.link_length_mm = 13.0
    copy.linkwright.inner_length_mm = 150.0
    assert len(parts(ob, "LINK")) == first
    np.testing.assert_array_equal(places(ob), before)
    lengths = [np.ptp([v.co.x for v in parts(one, "LINK")[0].data.vertices]) for one in (ob, copy)]
    np.testing.assert_allclose(lengths, (0.0122, 0.013), atol=1e-6)


def test_along_a_curve_and_again_when_it_was_changed(add_chain):
    metres_to_mm()
    curve = line(WAVE)
    select(curve)
    ob = add_chain(where="curve", family="trace", wire_mm=1.4, link_length_mm=9.0, link_width_mm=6.5)
    assert ob.linkwright.shape == "curve"
    assert not ob.linkwright.figures.closed
    assert not ob.linkwright.figures.stale
    first = places(ob)
    curve.data.splines[0].points[1].co.y += 30.0
    bpy.context.view_layer.update()
    assert ob.linkwright.figures.stale
    np.testing.assert_array_equal(places(ob), first)
    bpy.ops.linkwright.follow_curve()
    assert not ob.linkwright.figures.stale
    assert places(ob).shape != first.shape or np.abs(places(ob) - first).max() > 1.0
    bpy.context.view_layer.update()
    assert not ob.linkwright.figures.stale


def test_a_moved_chain_still_follows_its_curve(add_chain):
    metres_to_mm()
    select(line(WAVE))
    ob = add_chain(where="curve", family="trace", wire_mm=1.4, link_length_mm=9.0, link_width_mm=6.5)
    bpy.context.view_layer.update()
    world = np.array([double(link.matrix_world)[:3, 3] for link in parts(ob, "LINK")])
    ob.location, ob.rotation_euler = (10, 20, 30), (0.1, 0.2, 0.3)
    bpy.context.view_layer.update()
    select(ob)
    bpy.ops.linkwright.follow_curve()
    bpy.context.view_layer.update()
    again = np.array([double(link.matrix_world)[:3, 3] for link in parts(ob, "LINK")])
    np.testing.assert_allclose(again, world, atol=1e-3)


def test_set_millimetres_rebuilds_the_chain_at_its_size(add_chain):
    ob = add_chain()
    ob.location = (0.01, 0, 0)
    bpy.ops.linkwright.set_millimetres()
    assert bpy.context.scene.unit_settings.length_unit == "MILLIMETERS"
    assert ob.location.x == pytest.approx(10.0)
    assert max(parts(ob, "LINK")[0].dimensions) == pytest.approx(12.2, abs=0.1)


def refused(words, call, **options):
    before = {ob.name for ob in bpy.data.objects}
    with pytest.raises(RuntimeError, match=words):
        call(**options)
    assert {ob.name for ob in bpy.data.objects} == before


def test_bad_curves_are_said_and_leave_the_scene():
    metres_to_mm()
    refused("No curve is selected", bpy.ops.linkwright.add_chain, where="curve")
    select(line([(0, 0, 0), (2, 0, 0), (4, 0, 0), (6, 0, 0)], name="short"))
    refused("shorter than two links", bpy.ops.linkwright.add_chain, where="curve")
    select(line([(0, 0, 0), (40, 0, 0), (40, 1, 0), (0, 1, 0)], name="tight"))
    refused("turns back within one link", bpy.ops.linkwright.add_chain, where="curve")


def test_a_scaled_chain_says_so(add_chain):
    metres_to_mm()
    select(line(WAVE))
    ob = add_chain(where="curve", family="trace", wire_mm=1.4, link_length_mm=9.0, link_width_mm=6.5)
    ob.scale = (1.0, 2.0, 1.0)
    bpy.context.view_layer.update()
    select(ob)
    refused("is scaled or mirrored", bpy.ops.linkwright.follow_curve)


def test_edit_mode_and_wrong_kinds_are_greyed_with_a_reason():
    refused("Select a chain first", bpy.ops.linkwright.verify)
    refused("Select a chain, or the mesh objects", bpy.ops.linkwright.inspect)
    refused("Select a chain that has a lattice", bpy.ops.linkwright.remove_lattice)
    refused("inspect first", bpy.ops.linkwright.frame_finding)


def test_a_linked_chain_is_left_alone(add_chain, tmp_path):
    ob = add_chain()
    name = ob.name
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "lib.blend"), check_existing=False)
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    with bpy.data.libraries.load(str(tmp_path / "lib.blend"), link=True) as (_, wanted):
        wanted.objects = [name]
    linked = wanted.objects[0]
    bpy.context.scene.collection.objects.link(linked)
    select(linked)
    refused("linked from another file", bpy.ops.linkwright.verify)
