"""From the panel: inspection of chains and any meshes, a click that turns the view, and files as the maker said."""

import json

import bpy
import numpy as np
import pytest
from mathutils import Vector

from addon.host.result_state import place_of, state_of
from addon.host.showing import parts
from tests.host.test_boolean import box, counts, torus
from tests.host.test_chain_object import places, select


def put(name, solid, *, at=(0, 0, 0), turn=(0, 0, 0)):
    data = bpy.data.meshes.new(name)
    data.from_pydata(solid.points.tolist(), [], solid.triangles.tolist())
    ob = bpy.data.objects.new(name, data)
    ob.location, ob.rotation_euler = at, turn
    bpy.context.scene.collection.objects.link(ob)
    ob.select_set(True)
    return ob


def codes():
    return [row.code for row in state_of(bpy.context).findings]


def rows(code):
    return [row for row in state_of(bpy.context).findings if row.code == code]


def mm_scene():
    bpy.context.scene.unit_settings.scale_length = 0.001


def test_selected_meshes_two_linked_rings_are_well():
    mm_scene()
    put("a", torus(8, 1.2))
    put("b", torus(8, 1.2), at=(8, 0, 0), turn=(np.pi / 2, 0, 0))
    before = counts()
    bpy.ops.linkwright.inspect()
    assert "fused" not in codes()
    assert "not-linked" not in codes()
    assert state_of(bpy.context).heading.startswith("Selected meshes: 2 bodies")
    assert counts() == before


def test_fused_rings_are_a_stop_with_a_place():
    mm_scene()
    put("a", torus(8, 1.2))
    put("b", torus(8, 1.2), at=(6.0, 0, 0.3), turn=(0, 0, 0))
    bpy.ops.linkwright.inspect()
    (fused,) = rows("fused")
    assert fused.severity == "stop"
    assert fused.bodies in ("a, b", "b, a")
    assert fused.has_place
    assert [row.name for row in state_of(bpy.context).overrides].count("fused") == 1


@pytest.mark.parametrize("scale", [1.0, 0.001])
def test_the_gap_is_in_mm_in_any_unit(scale):
    settings = bpy.context.scene.unit_settings
    settings.system, settings.scale_length = "METRIC", scale
    units = 0.001 / scale
    one = box((0, 0, 0), (units * 5, units * 5, units * 5))
    put("a", one)
    put("b", one, at=(units * 5.125, 0, 0))
    bpy.ops.linkwright.inspect()
    (found,) = rows("gap-below-floor")
    number, unit = found.figure.split()
    assert (float(number), unit) == (pytest.approx(0.125, abs=1e-3), "mm")
    place = place_of(state_of(bpy.context), found)
    assert place[0] / units == pytest.approx(5.06, abs=0.1)


def test_clicking_a_finding_turns_the_view():
    mm_scene()
    put("a", box((0, 0, 0), (5, 5, 5)), at=(40, 0, 0))
    put("b", box((0, 0, 0), (5, 5, 5)), at=(45.1, 0, 0))
    bpy.ops.linkwright.inspect()
    state = state_of(bpy.context)
    index = codes().index("gap-below-floor")
    area = next(a for a in bpy.context.window.screen.areas if a.type == "VIEW_3D")
    view = area.spaces.active.region_3d
    for act in (lambda: setattr(state, "active", index), lambda: bpy.ops.linkwright.frame_finding(index=index)):
        view.view_location, view.view_distance = (0, 0, 0), 500.0
        act()
        assert (view.view_location - Vector((45.05, 2.5, 2.5))).length < 5.0
        assert view.view_distance < 100.0
    with pytest.raises(RuntimeError, match="no finding 99"):
        bpy.ops.linkwright.frame_finding(index=99)


def test_a_chain_is_inspected_exactly_and_shown_as_inspected(add_chain):
    ob = add_chain()
    ob.location = (1.0, 2.0, 3.0)
    bpy.context.view_layer.update()
    assert not ob.linkwright.figures.verified
    bpy.ops.linkwright.inspect()
    assert ob.linkwright.figures.verified
    state = state_of(bpy.context)
    assert state.subject == ob.name
    assert "stop" not in {row.severity for row in state.findings}
    place = next(place_of(state, row) for row in state.findings if row.has_place)
    ring = ob.linkwright.figures.printed_mm / 1000.0
    assert (Vector(place) - ob.location).length < ring


def test_a_link_of_the_chain_stands_for_the_chain(add_chain):
    ob = add_chain()
    select(parts(ob, "LINK")[3])
    bpy.ops.linkwright.inspect()
    assert state_of(bpy.context).subject == ob.name


def test_inspecting_undoes_in_one_step():
    bpy.ops.ed.undo_push(message="before")
    bpy.ops.linkwright.add_chain("EXEC_DEFAULT", True)
    name = bpy.context.active_object.name
    before = places(bpy.data.objects[name])
    bpy.ops.linkwright.inspect("EXEC_DEFAULT", True)
    bpy.ops.ed.undo()
    ob = bpy.data.objects[name]
    np.testing.assert_array_equal(places(ob), before)
    assert not ob.linkwright.figures.verified


def test_results_go_when_another_file_opens(add_chain):
    add_chain()
    bpy.ops.linkwright.inspect()
    assert state_of(bpy.context).has_result
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    assert not state_of(bpy.context).has_result
    assert not len(state_of(bpy.context).findings)


def test_things_without_faces_are_named():
    data = bpy.data.meshes.new("bare")
    ob = bpy.data.objects.new("bare", data)
    bpy.context.scene.collection.objects.link(ob)
    ob.select_set(True)
    with pytest.raises(RuntimeError, match="bare"):
        bpy.ops.linkwright.inspect()


def test_lattice_comes_and_goes(add_chain):
    ob = short(add_chain)
    bare = counts()
    bpy.ops.ed.undo_push(message="bare")
    bpy.ops.linkwright.add_lattice("EXEC_DEFAULT", True)
    ob = bpy.context.active_object
    struts = parts(ob, "STRUT")
    assert len(struts) > ob.linkwright.figures.links
    gates = [strut for strut in struts if strut.name.startswith("gate")]
    assert len(gates) >= ob.linkwright.figures.links
    assert min(min(v.co.z for v in s.data.vertices) for s in struts) < min(
        link.matrix_basis.translation.z for link in parts(ob, "LINK")
    )
    bpy.ops.linkwright.inspect()
    assert "with lattice" in state_of(bpy.context).heading
    bpy.ops.linkwright.remove_lattice("EXEC_DEFAULT", True)
    assert counts() == bare
    assert not ob.linkwright.figures.lattice_stamp


def test_export_writes_the_files_and_says_so(add_chain, tmp_path):
    ob = short(add_chain)
    bpy.context.scene.linkwright.job_name = "Tidewater bracelet"
    bpy.ops.linkwright.export(directory=str(tmp_path))
    assert sorted(p.name for p in tmp_path.iterdir()) == ["print.3mf", "print.stl", "report.json", "sheet.html"]
    report = json.loads((tmp_path / "report.json").read_text())
    assert report["name"] == "Tidewater bracelet"
    assert report["chain"]["links"] == ob.linkwright.figures.links
    assert report["export"]["files"] == ["print.stl", "print.3mf"]
    assert report["export"]["override"] is None
    assert not [f for f in report["findings"] if f["severity"] == "stop"]


def short(add_chain):
    """Give a straight chain of few links, for what takes long per link."""
    ob = add_chain(where="straight")
    ob.linkwright.straight_size, ob.linkwright.links = "LINKS", 4
    assert ob.linkwright.figures.links == 4
    return ob


def test_a_stop_refuses_unless_named(add_chain, tmp_path):
    short(add_chain).linkwright.links = 2
    # Thick layers, so that the checks of the exports are quick.
    bpy.context.scene.linkwright.light, bpy.context.scene.linkwright.layer_mm = "OFF", 0.4
    bpy.context.scene.linkwright.gap_floor_mm = 2.0
    with pytest.raises(RuntimeError, match=r"stops stand: .*gap-below-floor"):
        bpy.ops.linkwright.export(directory=str(tmp_path))
    assert sorted(p.name for p in tmp_path.iterdir()) == ["report.json", "sheet.html"]
    with pytest.raises(RuntimeError, match="'nonsense' is not a stop of this job"):
        bpy.ops.linkwright.export(directory=str(tmp_path), override="nonsense")
    standing = ", ".join(row.name for row in state_of(bpy.context).overrides)
    bpy.ops.linkwright.export(directory=str(tmp_path), override=standing)
    report = json.loads((tmp_path / "report.json").read_text())
    assert report["export"]["override"] == "by name"
    assert "gap-below-floor" in report["export"]["overridden"]
    assert (tmp_path / "print.stl").stat().st_size > 100_000


def test_folders_that_cannot_be_used_are_named(add_chain, tmp_path):
    add_chain()
    for folder, words in {"": "no folder is chosen", str(tmp_path / "none"): "no such folder"}.items():
        with pytest.raises(RuntimeError, match=words):
            bpy.ops.linkwright.export(directory=folder)


def test_job_files_go_out_and_come_back(add_chain, tmp_path):
    ob = add_chain(family="trace", wire_mm=1.4, link_length_mm=9.0, link_width_mm=6.5, length_mm=190.0)
    bpy.context.scene.linkwright.alloy = "sterling-silver"
    bpy.context.scene.linkwright.tip_mm = 0.9
    before = places(ob)
    path = tmp_path / "job.toml"
    bpy.ops.linkwright.save_job(filepath=str(path))
    assert "wire_mm = 1.4" in path.read_text()
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    bpy.ops.linkwright.load_job(filepath=str(path))
    np.testing.assert_allclose(places(bpy.context.active_object), before, atol=1e-6)
    assert bpy.context.scene.linkwright.alloy == "sterling-silver"
    assert bpy.context.scene.linkwright.tip_mm == pytest.approx(0.9)
    path.write_text(path.read_text().replace("wire_mm", "wire_mn"))
    count = len(bpy.data.objects)
    with pytest.raises(RuntimeError, match=r"wire_mn.*did you mean"):
        bpy.ops.linkwright.load_job(filepath=str(path))
    assert len(bpy.data.objects) == count


@pytest.mark.parametrize("scale", [(1.0, 2.0, 1.0), (2.0, 2.0, 2.0), (-1.0, 1.0, 1.0)])
def test_a_scaled_chain_is_refused_in_words_and_left_as_it_is(add_chain, scale):
    """A stretched view would show other sizes than those inspected and exported."""
    ob = add_chain()
    ob.scale = scale
    before = counts()
    for operator in (bpy.ops.linkwright.inspect, bpy.ops.linkwright.add_lattice, bpy.ops.linkwright.plan_cast):
        with pytest.raises(RuntimeError, match="clear the scale"):
            operator()
    assert counts() == before
    ob.scale = (1.0, 1.0, 1.0)
    ob.rotation_euler, ob.location = (0.3, -1.1, 2.0), (12.0, -7.0, 3.0)
    assert bpy.ops.linkwright.inspect() == {"FINISHED"}
