"""Instances: what a scene shows of a collection or of Geometry Nodes is inspected as bodies of their own."""

import bpy
import numpy as np
import pytest
from mathutils import Matrix

from addon.host.conversions import turn_and_stretch
from addon.host.current import look_again
from addon.host.result_state import state_of
from addon.host.selection import bodies_of, read_selected
from addon.rules.base.progress import finish
from tests.host.recorder import draw_all, texts
from tests.host.test_boolean import box, torus
from tests.host.test_inspect import codes, mm_scene, put, rows


def collection(name, *objects):
    made = bpy.data.collections.new(name)
    for ob in objects:
        made.objects.link(ob)
        bpy.context.scene.collection.objects.unlink(ob)
    return made


def instance(name, of, at=(0, 0, 0)):
    ob = bpy.data.objects.new(name, None)
    ob.instance_type, ob.instance_collection, ob.location = "COLLECTION", of, at
    bpy.context.scene.collection.objects.link(ob)
    only(ob)
    return ob


def only(*objects):
    bpy.context.view_layer.update()
    for ob in list(bpy.context.scene.objects):
        ob.select_set(ob in objects)
    bpy.context.view_layer.objects.active = objects[0]


def instancing(ob, source, count, step, *, primitive=False):
    """Give an object a Geometry Nodes modifier that puts copies of another along x, and keeps its own surface."""
    tree = bpy.data.node_groups.new("row", "GeometryNodeTree")
    tree.interface.new_socket("Geometry", in_out="INPUT", socket_type="NodeSocketGeometry")
    tree.interface.new_socket("Geometry", in_out="OUTPUT", socket_type="NodeSocketGeometry")

    def node(kind):
        return tree.nodes.new(kind)

    line, copies, join = (
        node("GeometryNodeMeshLine"),
        node("GeometryNodeInstanceOnPoints"),
        node("GeometryNodeJoinGeometry"),
    )
    line.inputs["Count"].default_value, line.inputs["Offset"].default_value = count, (step, 0, 0)
    tree.links.new(line.outputs[0], copies.inputs["Points"])
    if primitive:
        cube = node("GeometryNodeMeshCube")
        cube.inputs["Size"].default_value = (4, 4, 4)
        tree.links.new(cube.outputs[0], copies.inputs["Instance"])
    else:
        thing = node("GeometryNodeObjectInfo")
        thing.inputs["Object"].default_value, thing.inputs["As Instance"].default_value = source, True
        tree.links.new(thing.outputs["Geometry"], copies.inputs["Instance"])
    tree.links.new(copies.outputs[0], join.inputs[0])
    tree.links.new(node("NodeGroupInput").outputs[0], join.inputs[0])
    tree.links.new(join.outputs[0], node("NodeGroupOutput").inputs[0])
    ob.modifiers.new("row", "NODES").node_group = tree
    return line


def read():
    return finish(bodies_of(read_selected(bpy.context)))


def names():
    return [body.name for body in read()]


def depsgraph():
    return bpy.context.evaluated_depsgraph_get()


def middle(body):
    points = body.points()
    return (points.min(axis=0) + points.max(axis=0)) / 2


def two_links():
    return put("link", torus(8, 1.2)), put("link b", torus(8, 1.2), at=(8, 0, 0), turn=(np.pi / 2, 0, 0))


def test_a_collection_instance_is_its_bodies_where_it_shows_them():
    mm_scene()
    piece = collection("Piece", *two_links())
    instance("Bracelet", piece, at=(0, 0, 30))
    bodies = read()
    assert [body.name for body in bodies] == ["Bracelet: link", "Bracelet: link b"]
    np.testing.assert_allclose([middle(body) for body in bodies], [(0, 0, 30), (8, 0, 30)], atol=1e-5)
    bpy.ops.linkwright.inspect()
    assert "2 bodies" in state_of(bpy.context).heading
    assert not {"fused", "not-linked"} & set(codes())


def test_an_instance_beside_its_original_is_another_body():
    mm_scene()
    link, other = two_links()
    piece = bpy.data.collections.new("Piece")
    piece.objects.link(link)
    bracelet = instance("Bracelet", piece, at=(0.5, 0, 0))
    only(bracelet, link)
    bpy.ops.linkwright.inspect()
    (fused,) = rows("fused")
    assert fused.bodies == "Bracelet: link, link"
    assert other.name not in fused.bodies


def test_copies_by_nodes_are_numbered_and_share_one_mesh():
    mm_scene()
    link = put("link", torus(8, 1.2))
    host = put("Row", box((0, 0, 50), (2, 2, 52)))
    instancing(host, link, 4, 25.0)
    only(host)
    bodies = read()
    assert [body.name for body in bodies] == ["Row", "Row: link 1", "Row: link 2", "Row: link 3", "Row: link 4"]
    assert len({id(body.mesh) for body in bodies[1:]}) == 1
    np.testing.assert_allclose([middle(body)[0] for body in bodies[1:]], [0, 25, 50, 75], atol=1e-5)


def test_copies_of_a_shape_made_in_the_nodes_are_bodies_too():
    mm_scene()
    host = put("Row", box((0, 0, 50), (2, 2, 52)))
    instancing(host, None, 3, 4.1, primitive=True)
    only(host)
    bpy.ops.linkwright.inspect()
    found = {row.bodies: float(row.figure.removesuffix(" mm")) for row in rows("gap-below-floor")}
    assert set(found) == {"Row: copy 1, Row: copy 2", "Row: copy 2, Row: copy 3"}
    assert all(gap == pytest.approx(0.1, abs=1e-3) for gap in found.values())


def test_an_instance_in_an_instance_goes_by_the_one_that_was_selected():
    mm_scene()
    inner = collection("Inner", *two_links())
    nested = instance("inside", inner, at=(5, 0, 0))
    outer = collection("Outer", nested)
    instance("Whole", outer, at=(100, 0, 0))
    assert names() == ["Whole: link", "Whole: link b"]
    np.testing.assert_allclose(middle(read()[0]), (105, 0, 0), atol=1e-5)


def test_an_object_of_several_solids_has_them_numbered():
    mm_scene()
    pair = put("pair", box((0, 0, 0), (2, 2, 2)))
    second = box((5, 0, 0), (7, 2, 2))
    data = pair.data
    points = np.concatenate([[v.co for v in data.vertices], second.points])
    faces = [tuple(p.vertices) for p in data.polygons] + (second.triangles + len(data.vertices)).tolist()
    data.clear_geometry()
    data.from_pydata(points.tolist(), [], faces)
    only(pair)
    assert names() == ["pair 1", "pair 2"]
    instance("Two", collection("Pair", pair))
    assert names() == ["Two: pair solid 1", "Two: pair solid 2"]


def test_text_and_curves_are_read_once_and_instances_of_them_too():
    mm_scene()
    bpy.ops.curve.primitive_bezier_circle_add(radius=8)
    ring = bpy.context.object
    ring.name, ring.data.bevel_depth = "ring", 1.0
    only(ring)
    assert names() == ["ring"]
    instance("Rings", collection("Of rings", ring))
    assert names() == ["Rings: ring"]


def test_names_that_meet_are_told_apart():
    mm_scene()
    piece = bpy.data.collections.new("Piece")
    link = put("link", torus(8, 1.2))
    piece.objects.link(link)
    bracelet = instance("A", piece, at=(0, 0, 50))
    clash = put("A: link", torus(8, 1.2), at=(0, 0, 90))
    only(bracelet, clash)
    found = names()
    assert found[0] == "A: link"
    assert len(set(found)) == 2


@pytest.mark.parametrize("scale", [(1, 1, 1), (2, 2, 2), (1, 2, 0.5), (-1, 1, 1)])
def test_scaled_and_mirrored_copies_are_as_they_look(scale):
    mm_scene()
    link = put("link", torus(8, 1.2), at=(3, 1, 2), turn=(0.3, 0.2, 0.1))
    bracelet = instance("Bracelet", collection("Piece", link), at=(1, 2, 3))
    bracelet.rotation_euler, bracelet.scale = (0.5, -1.1, 2.0), scale
    (body,) = read()
    matrix = np.array(bracelet.matrix_world @ link.matrix_world, dtype=np.float64)
    local = np.array([v.co for v in link.data.vertices], dtype=np.float64)
    world = local @ matrix[:3, :3].T + matrix[:3, 3]
    mine = body.points()
    assert len(mine) == len(world)
    assert max(np.linalg.norm(world - p, axis=1).min() for p in mine) < 1e-4
    corners = mine[body.mesh.triangles]
    volume = np.einsum("ij,ij->", corners[:, 0], np.cross(corners[:, 1], corners[:, 2])) / 6
    assert volume > 0
    np.testing.assert_allclose(body.pose.rotation.T @ body.pose.rotation, np.eye(3), atol=1e-9)
    assert np.linalg.det(body.pose.rotation) > 0


def test_any_matrix_comes_apart_into_a_turn_and_a_stretch():
    random = np.random.default_rng(4)
    for _ in range(50):
        matrix = random.normal(size=(3, 3))
        turn, stretch = turn_and_stretch(matrix)
        np.testing.assert_allclose(turn @ stretch, matrix, atol=1e-12)
        np.testing.assert_allclose(stretch, stretch.T, atol=1e-12)
        np.testing.assert_allclose(turn @ turn.T, np.eye(3), atol=1e-12)
        assert np.linalg.det(turn) > 0


def test_an_instancer_that_shows_nothing_is_named():
    mm_scene()
    instance("Empty one", bpy.data.collections.new("Nothing"))
    with pytest.raises(RuntimeError, match=r"Empty one: .* shows no faces"):
        bpy.ops.linkwright.inspect()


def stale():
    bpy.context.view_layer.update()
    look_again(state_of(bpy.context), depsgraph())
    return state_of(bpy.context).moved


def inspected_bracelet():
    mm_scene()
    link, other = two_links()
    piece = collection("Piece", link, other)
    bracelet = instance("Bracelet", piece, at=(0, 0, 30))
    bpy.ops.linkwright.inspect()
    assert not stale()
    return link, bracelet, piece


def test_a_moved_instance_makes_the_result_out_of_date_until_it_is_back():
    _, bracelet, _ = inspected_bracelet()
    bracelet.location.x += 1.0
    assert stale()
    assert "Out of date" in texts(draw_all()["Inspect"])
    bracelet.location.x -= 1.0
    assert not stale()


def test_what_is_instanced_moved_edited_or_taken_out_makes_it_out_of_date():
    link, _, piece = inspected_bracelet()
    link.location.z += 0.1
    assert stale()
    link.location.z -= 0.1
    assert not stale()
    height = link.data.vertices[0].co.z
    link.data.vertices[0].co.z += 0.1
    link.data.update()
    assert stale()
    link.data.vertices[0].co.z = height
    link.data.update()
    assert not stale()
    piece.objects.unlink(link)
    assert stale()


def test_a_change_in_the_nodes_makes_it_out_of_date():
    mm_scene()
    link = put("link", torus(8, 1.2))
    host = put("Row", box((0, 0, 50), (2, 2, 52)))
    line = instancing(host, link, 4, 25.0)
    only(host)
    bpy.ops.linkwright.inspect()
    assert not stale()
    line.inputs["Offset"].default_value = (26, 0, 0)
    assert stale()


def test_hiding_is_no_change_and_removing_is():
    _, bracelet, _ = inspected_bracelet()
    bracelet.hide_set(True)
    assert not stale()
    bracelet.hide_set(False)
    assert not stale()
    bpy.data.objects.remove(bracelet)
    assert stale()


def test_the_handler_sees_an_instancer_move():
    _, bracelet, _ = inspected_bracelet()
    bracelet.matrix_world = Matrix.Translation((0, 0, 31))
    bpy.context.view_layer.update()
    assert state_of(bpy.context).moved


def test_another_scene_is_not_told_about():
    inspected_bracelet()
    first = bpy.context.scene
    other = bpy.data.scenes.new("Other")
    bpy.context.window.scene = other
    drawn = texts(draw_all()["Inspect"])
    assert f"Belongs to the scene {first.name}" in drawn
    bpy.context.window.scene = first
    assert not stale()


def test_undo_of_a_move_makes_the_result_current_again():
    _, bracelet, _ = inspected_bracelet()
    name = bracelet.name
    bpy.ops.ed.undo_push(message="inspected")
    bpy.data.objects[name].location.x += 2.0
    bpy.ops.ed.undo_push(message="moved")
    bpy.context.view_layer.update()
    assert state_of(bpy.context).moved
    bpy.ops.ed.undo()
    assert not state_of(bpy.context).moved
    bpy.ops.ed.redo()
    assert state_of(bpy.context).moved
