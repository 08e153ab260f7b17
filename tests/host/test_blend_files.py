"""Reading and writing .blend files beside the open one: names, units, hidden things, and the open file untouched."""

import bpy
import numpy as np
import pytest

from addon.host.blend_files import read_blend, write_blend
from addon.rules.base.errors import BadInput
from addon.rules.files.named import Named
from tests.host.test_boolean import box, counts, volume


def add(name, size=1.0, *, collection=None):
    data = bpy.data.meshes.new(name)
    solid = box((0, 0, 0), (size, size, size))
    data.from_pydata(solid.points.tolist(), [], solid.triangles.tolist())
    ob = bpy.data.objects.new(name, data)
    (collection or bpy.context.scene.collection).objects.link(ob)
    return ob


def saved(path):
    bpy.ops.wm.save_as_mainfile(filepath=str(path), check_existing=False)
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    return path


def test_round_trip_in_mm_and_sharing(tmp_path):
    add("link 1")
    before, names = counts(), [ob.name for ob in bpy.data.objects]
    one, two = box((0, 0, 0), (2.5, 2, 2)), box((5, 0, 0), (6, 1, 1))
    write_blend(tmp_path / "out.blend", (Named("link 1", one), Named("link 2", two), Named("link 3", one)))
    assert [p.name for p in tmp_path.iterdir()] == ["out.blend"]
    back = read_blend(tmp_path / "out.blend")
    assert [n.name for n in back] == ["link 1", "link 2", "link 3"]
    np.testing.assert_allclose(back[0].mesh.points, one.points, atol=1e-6)
    np.testing.assert_allclose(back[1].mesh.points, two.points, atol=1e-6)
    assert counts() == before
    assert [ob.name for ob in bpy.data.objects] == names
    bpy.ops.wm.open_mainfile(filepath=str(tmp_path / "out.blend"))
    assert sorted(ob.name for ob in bpy.context.scene.objects) == ["link 1", "link 2", "link 3"]
    assert bpy.context.scene.unit_settings.length_unit == "MILLIMETERS"
    assert bpy.data.objects["link 1"].data is bpy.data.objects["link 3"].data


@pytest.mark.parametrize(
    ("system", "scale", "mm"), [("METRIC", 1.0, 1000.0), ("METRIC", 0.001, 1.0), ("NONE", 1.0, 1.0)]
)
def test_the_files_own_unit_counts_not_the_open_ones(tmp_path, system, scale, mm):
    settings = bpy.context.scene.unit_settings
    settings.system, settings.scale_length = system, scale
    add("cube")
    path = saved(tmp_path / "unit.blend")
    bpy.context.scene.unit_settings.scale_length = 0.5
    (one,) = read_blend(path)
    assert volume(one.mesh) == pytest.approx(mm**3, rel=1e-6)


def test_hidden_modified_parented_and_bevelled_objects_come_too(tmp_path):
    settings = bpy.context.scene.unit_settings
    settings.system, settings.scale_length = "METRIC", 0.001
    add("hidden").hide_set(True)
    add("disabled").hide_viewport = True
    away = bpy.data.collections.new("away")
    bpy.context.scene.collection.children.link(away)
    add("excluded", collection=away)
    bpy.context.view_layer.layer_collection.children["away"].exclude = True
    row = add("row")
    array = row.modifiers.new("row", "ARRAY")
    array.count, array.relative_offset_displace = 2, (2.0, 0, 0)
    holder = bpy.data.objects.new("holder", None)
    bpy.context.scene.collection.objects.link(holder)
    holder.scale = (2, 2, 2)
    add("child").parent = holder
    for name, bevel in (("bevelled", 0.5), ("bare line", 0.0)):
        data = bpy.data.curves.new(name, "CURVE")
        data.dimensions, data.bevel_depth, data.use_fill_caps = "3D", bevel, True
        data.splines.new("POLY").points.add(1)
        data.splines[0].points[1].co = (10, 0, 0, 1)
        bpy.context.scene.collection.objects.link(bpy.data.objects.new(name, data))
    bpy.data.objects.new("in no scene", bpy.data.meshes.new("in no scene")).use_fake_user = True
    volumes = {n.name: abs(volume(n.mesh)) for n in read_blend(saved(tmp_path / "scene.blend"))}
    assert set(volumes) == {"hidden", "disabled", "excluded", "row", "child", "bevelled"}
    assert volumes["row"] == pytest.approx(2.0, rel=1e-6)
    assert volumes["child"] == pytest.approx(8.0, rel=1e-6)
    assert volumes["hidden"] == volumes["disabled"] == volumes["excluded"] == pytest.approx(1.0, rel=1e-6)


def test_objects_linked_from_another_file_come_too(tmp_path):
    bpy.context.scene.unit_settings.system = "NONE"
    add("borrowed", 3.0)
    parts = saved(tmp_path / "parts.blend")
    bpy.context.scene.unit_settings.system = "NONE"
    with bpy.data.libraries.load(str(parts), link=True) as (_, wanted):
        wanted.objects = ["borrowed"]
    bpy.context.scene.collection.objects.link(wanted.objects[0])
    path = saved(tmp_path / "user.blend")
    before = counts()
    (one,) = read_blend(path)
    assert one.name == "borrowed"
    assert volume(one.mesh) == pytest.approx(27.0, rel=1e-6)
    assert counts() == before


def test_files_that_cannot_be_used_say_why(tmp_path):
    (tmp_path / "empty.blend").write_bytes(b"")
    (tmp_path / "text.blend").write_bytes(b"solid not a blend")
    (tmp_path / "cut.blend").write_bytes(b"BLENDER-v405RE")
    saved(tmp_path / "bare.blend")
    before = counts()
    for name, words in {
        "missing.blend": "no such file", "empty.blend": "is empty", "text.blend": "not a .blend",
        "cut.blend": "cut.blend: ", "bare.blend": "no object with a surface", ".": "is a folder",
    }.items():  # fmt: skip
        with pytest.raises(BadInput, match=words) as caught:
            read_blend(tmp_path / name)
        assert "\n" not in str(caught.value)
    assert counts() == before


def test_a_truncated_file_is_refused(tmp_path):
    add("cube")
    path = saved(tmp_path / "whole.blend")
    cut = tmp_path / "half.blend"
    cut.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    before = counts()
    with pytest.raises(BadInput, match=r"half\.blend"):
        read_blend(cut)
    assert counts() == before


def test_writing_into_a_missing_folder_says_so(tmp_path):
    with pytest.raises(BadInput, match="no such folder"):
        write_blend(tmp_path / "nowhere" / "a.blend", (Named("a", box((0, 0, 0), (1, 1, 1))),))


def test_nothing_is_printed(tmp_path, capfd):
    write_blend(tmp_path / "a.blend", (Named("a", box((0, 0, 0), (1, 1, 1))),))
    read_blend(tmp_path / "a.blend")
    assert capfd.readouterr() == ("", "")
