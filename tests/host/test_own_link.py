"""A maker's own mesh as the link: read at the size it has in the scene, watched, saved beside a job file and back."""

import bpy
import numpy as np
import pytest

from addon.host.own_link import link_mesh
from addon.host.showing import parts
from addon.rules.solid.measure import volume_mm3
from tests.host.test_boolean import torus
from tests.host.test_chain_object import places, refused, select
from tests.host.test_inspect import mm_scene, put

# A torus of tube radius r and ring radius R holds 2 pi^2 R r^2 (Pappus); a mesh inside it a little less.
MAJOR, MINOR = 6.0, 1.1


def ring_mesh(**places_it):
    mm_scene()
    ob = put("my link", torus(MAJOR, MINOR), **places_it)
    select(ob)
    return ob


def read(ob, mm=1.0):
    bpy.context.view_layer.update()
    return link_mesh(ob, bpy.context.evaluated_depsgraph_get(), mm)


def test_place_and_turn_of_the_object_play_no_part():
    ob = ring_mesh(at=(10, -20, 5), turn=(0.4, 1.1, -0.3))
    np.testing.assert_allclose(np.ptp(read(ob).points, axis=0), (14.2, 14.2, 2.2), atol=1e-4)


@pytest.mark.parametrize("scale", [(2.0, 2.0, 2.0), (1.5, 1.0, 0.5), (-1.0, 1.0, 1.0), (-1.0, -2.0, -1.0)])
def test_its_scale_is_applied_and_its_faces_stay_outward(scale):
    ob = ring_mesh(at=(1, 2, 3), turn=(0.4, 1.1, -0.3))
    ob.scale = scale
    parent = bpy.data.objects.new("parent", None)
    bpy.context.scene.collection.objects.link(parent)
    parent.rotation_euler = (0.2, 0.3, 0.4)
    ob.parent = parent
    solid = read(ob)
    assert volume_mm3(solid) == pytest.approx(abs(np.prod(scale)) * volume_mm3(torus(MAJOR, MINOR)), rel=1e-5)
    extent = np.sort(np.ptp(solid.points, axis=0))
    np.testing.assert_allclose(extent, np.sort(np.abs(scale) * (14.2, 14.2, 2.2)), atol=1e-3)


def test_modifiers_and_units_count():
    ob = ring_mesh()
    bpy.context.scene.unit_settings.scale_length = 0.0254
    assert np.ptp(read(ob, 25.4).points, axis=0)[0] == pytest.approx(14.2 * 25.4, rel=1e-6)
    before = len(read(ob).triangles)
    ob.modifiers.new("fine", "SUBSURF").levels = 1
    assert len(read(ob).triangles) > 3 * before


def test_a_chain_of_it_stands_and_is_watched():
    ob = ring_mesh()
    bpy.ops.linkwright.add_chain(where="mesh", length_mm=190.0)
    chain = bpy.context.active_object
    group = chain.linkwright
    assert (group.family, group.shape, group.own_link) == ("mesh", "ring", ob)
    assert group.figures.message == ""
    assert abs(group.figures.worn_mm - 190.0) < 12.0
    assert "14.2 x 14.2 mm" in group.figures.own_sizes
    links = parts(chain, "LINK")
    assert len({link.data for link in links}) == 1
    assert len(links[0].data.polygons) == len(torus(MAJOR, MINOR).triangles)
    before = places(chain)
    ob.location.x = 3.0
    bpy.context.view_layer.update()
    assert not group.figures.own_stale, "a moved link is the same link"
    ob.scale = (1.1, 1.1, 1.1)
    bpy.context.view_layer.update()
    assert group.figures.own_stale
    np.testing.assert_array_equal(places(chain), before)
    bpy.ops.linkwright.follow_curve()
    assert not group.figures.own_stale
    assert "15.6 x 15.6 mm" in group.figures.own_sizes


def test_without_a_mesh_or_with_a_bad_one_it_says_so(add_chain):
    mm_scene()
    ob = add_chain()
    before = places(ob)
    ob.linkwright.family = "mesh"
    assert "no link mesh is chosen" in ob.linkwright.figures.message
    box = bpy.data.meshes.new("open")
    box.from_pydata([(0, 0, 0), (9, 0, 0), (9, 9, 0)], [], [(0, 1, 2)])
    bad = bpy.data.objects.new("open", box)
    bpy.context.scene.collection.objects.link(bad)
    ob.linkwright.own_link = bad
    assert "open" in ob.linkwright.figures.message
    np.testing.assert_array_equal(places(ob), before)
    with pytest.raises(RuntimeError, match="No link mesh is selected"):
        bpy.ops.linkwright.add_chain(where="mesh")


@pytest.mark.parametrize(
    ("scale", "words"),
    [((1000,) * 3, "too large for a link"), ((0.01,) * 3, "too small for a link"), ((1, 1, 0), "is flat")],
)
def test_a_size_no_link_has_is_said_of_the_mesh(scale, words):
    ob = ring_mesh()
    ob.scale = scale
    refused(words, bpy.ops.linkwright.add_chain, where="mesh", length_mm=190.0)


def test_loose_points_are_no_metal():
    ob = ring_mesh()
    ob.data.vertices.add(1)
    ob.data.vertices[-1].co = (0, 0, 50)
    np.testing.assert_allclose(np.ptp(read(ob).points, axis=0), (14.2, 14.2, 2.2), atol=1e-4)


def test_what_is_no_mesh_says_how_it_becomes_one():
    mm_scene()
    text = bpy.data.objects.new("name", bpy.data.curves.new("name", "FONT"))
    bpy.context.scene.collection.objects.link(text)
    select(text)
    refused("name: is no mesh yet", bpy.ops.linkwright.add_chain, where="mesh")


def test_a_job_file_takes_the_mesh_along_and_brings_it_back(tmp_path):
    ring_mesh()
    bpy.ops.linkwright.add_chain(where="mesh", length_mm=190.0)
    before = places(bpy.context.active_object)
    path = tmp_path / "mine.toml"
    bpy.ops.linkwright.save_job(filepath=str(path))
    assert sorted(p.name for p in tmp_path.iterdir()) == ["mine link.3mf", "mine.toml"]
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    mm_scene()
    bpy.ops.linkwright.load_job(filepath=str(path))
    ob = bpy.context.active_object
    assert ob.linkwright.own_link.name == "Own chain link"
    np.testing.assert_allclose(places(ob), before, atol=1e-4)
    count = len(bpy.data.objects)
    (tmp_path / "mine link.3mf").unlink()
    with pytest.raises(RuntimeError, match=r"mine link\.3mf"):
        bpy.ops.linkwright.load_job(filepath=str(path))
    assert len(bpy.data.objects) == count
