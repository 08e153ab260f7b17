"""The gauge in Blender: added in any unit, inspected as engraved, its readings taken into the limits."""

import bpy
import numpy as np
import pytest

from addon.host.conversions import world_mesh
from addon.host.result_state import state_of
from addon.host.units import mm_per_unit
from tests.host.recorder import draw_all, texts


def readings():
    return bpy.context.scene.linkwright_gauge


def write(rows):
    """Put readings into the list: gap, face, measured or None for stuck."""
    group = readings()
    group.readings.clear()
    for gap, face, measured in rows:
        row = group.readings.add()
        row.gap_mm, row.face, row.stuck = gap, face, measured is None
        row.measured_mm = measured or 0.0


USUAL = [(gap, "UPRIGHT", round(gap - 0.1, 3)) for gap in (0.3, 0.35, 0.4)] + [
    (gap, "LEVEL", round(gap - 0.08, 3)) for gap in (0.3, 0.35, 0.4)
]


@pytest.mark.parametrize(("system", "scale"), [("METRIC", 1.0), ("METRIC", 0.001), ("NONE", 1.0)])
def test_added_it_has_its_size_in_any_unit(system, scale):
    scene = bpy.context.scene
    scene.unit_settings.system, scene.unit_settings.scale_length = system, scale
    scene.cursor.location = (0.02, 0.01, 5.0)
    bpy.ops.linkwright.add_gauge(least_mm=0.2, step_mm=0.1, stations=3)
    frame = bpy.context.active_object
    assert frame.name == "gauge"
    assert sorted(ob.name for ob in bpy.context.selected_objects) == ["gap 0.2", "gap 0.3", "gap 0.4", "gauge"]
    depsgraph, mm = bpy.context.evaluated_depsgraph_get(), mm_per_unit(scene)
    solid = {ob.name: world_mesh(ob, depsgraph, mm) for ob in bpy.context.selected_objects}
    assert all(abs(mesh.points[:, 2].min()) < 1e-5 for mesh in solid.values()), "stands on the plate"
    high = {name: mesh.points[:, 2].max() for name, mesh in solid.items()}
    assert high["gap 0.4"] - high["gap 0.2"] == pytest.approx(0.2, abs=1e-4)
    np.testing.assert_allclose(solid["gauge"].points.min(axis=0)[:2], np.array([0.02, 0.01]) * mm, atol=1e-4)


def test_what_is_added_is_inspected_at_once():
    bpy.context.scene.unit_settings.scale_length = 0.001
    bpy.context.scene.linkwright.gap_floor_mm = 0.2
    bpy.ops.linkwright.add_gauge(stations=3)
    bpy.ops.linkwright.inspect()
    state = state_of(bpy.context)
    assert "4 bodies" in state.heading
    stops = {(row.code, row.bodies) for row in state.findings if row.severity == "stop"}
    assert ("gap-below-floor", "gap 0.15, gauge") in stops
    assert {code for code, _ in stops} <= {"gap-below-floor", "web-thin", "web-weak"}


def test_moved_the_links_come_along():
    bpy.ops.linkwright.add_gauge(stations=2)
    frame, link = bpy.context.active_object, bpy.data.objects["gap 0.2"]
    frame.location.x += 3.0
    bpy.context.view_layer.update()
    assert link.matrix_world.translation.x == pytest.approx(3.0)


def test_its_gaps_are_listed_once_to_be_read():
    bpy.ops.linkwright.add_gauge(stations=2)
    rows = [(round(row.gap_mm, 3), row.face, row.stuck, row.measured_mm) for row in readings().readings]
    assert rows == [(gap, face, False, 0.0) for gap in (0.15, 0.2) for face in ("UPRIGHT", "LEVEL")]
    bpy.ops.linkwright.add_gauge(stations=3)
    assert len(readings().readings) == 4


def test_rows_come_and_go():
    bpy.ops.linkwright.add_reading()
    bpy.ops.linkwright.add_reading()
    assert [round(row.gap_mm, 3) for row in readings().readings] == [0.3, 0.35]
    readings().active = 0
    bpy.ops.linkwright.remove_reading()
    assert [round(row.gap_mm, 3) for row in readings().readings] == [0.35]
    bpy.ops.linkwright.remove_reading()
    with pytest.raises(RuntimeError, match="No reading is selected"):
        bpy.ops.linkwright.remove_reading()


def test_readings_set_the_limits():
    write(USUAL)
    limits = bpy.context.scene.linkwright
    before = limits.stamp
    bpy.ops.linkwright.calibrate()
    assert (limits.bleed_mm, limits.over_cure_mm) == pytest.approx((0.05, 0.08))
    assert limits.gap_floor_mm == pytest.approx(0.25)
    assert limits.stamp != before, "older results read as out of date"
    shown = texts(draw_all()["Inspect"]).replace(" | ", " ")
    assert "Bleed 0.050 mm from 3 readings, spread 0.000 mm" in shown
    assert "the floor may lie lower still" in shown
    readings().take_floor = True
    bpy.ops.linkwright.calibrate()
    assert limits.gap_floor_mm == pytest.approx(0.22)


def test_what_was_found_goes_when_a_reading_changes():
    write(USUAL)
    bpy.ops.linkwright.calibrate()
    assert readings().said
    readings().readings[0].measured_mm = 0.21
    assert not readings().said


def test_rows_not_read_yet_are_left_out_and_only_one_kind_sets_only_its_own():
    write([*USUAL[:3], (0.3, "LEVEL", 0.0)])
    limits = bpy.context.scene.linkwright
    limits.over_cure_mm = 0.3
    bpy.ops.linkwright.calibrate()
    assert limits.bleed_mm == pytest.approx(0.05)
    assert limits.over_cure_mm == pytest.approx(0.3)
    assert "over-cure stays unknown" in readings().said


def test_without_readings_the_button_says_why():
    bpy.ops.linkwright.add_gauge(stations=2)
    with pytest.raises(RuntimeError, match="No gap is read yet"):
        bpy.ops.linkwright.calibrate()


def test_readings_that_cannot_be_change_nothing():
    write([(0.3, "UPRIGHT", None), (0.3, "LEVEL", None)])
    limits = bpy.context.scene.linkwright
    limits.bleed_mm = 0.07
    with pytest.raises(RuntimeError, match="all of them are stuck"):
        bpy.ops.linkwright.calibrate()
    assert limits.bleed_mm == pytest.approx(0.07)


def test_gaps_that_cannot_be_leave_nothing():
    with pytest.raises(RuntimeError, match=r"1.05 mm does not work; give gaps from 0.05 to 1 mm"):
        bpy.ops.linkwright.add_gauge(least_mm=0.15, step_mm=0.45, stations=4)
    assert len(bpy.data.objects) == len(bpy.data.meshes) == len(bpy.data.collections) == 0
    assert not len(readings().readings)


def test_undo_is_one_step():
    bpy.ops.ed.undo_push(message="before")
    bpy.ops.linkwright.add_gauge("EXEC_DEFAULT", True, stations=2)
    assert len(bpy.data.objects) == 3
    bpy.ops.ed.undo()
    assert len(bpy.data.objects) == 0
    assert not len(readings().readings)
    bpy.ops.ed.redo()
    assert len(bpy.data.objects) == 3
    assert len(readings().readings) == 4


def test_readings_are_saved_with_the_file(tmp_path):
    write(USUAL)
    bpy.ops.linkwright.calibrate()
    said = readings().said
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "a.blend"), check_existing=False)
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    assert not len(readings().readings)
    bpy.ops.wm.open_mainfile(filepath=str(tmp_path / "a.blend"))
    assert len(readings().readings) == 6
    assert readings().said == said


def test_the_panel_says_the_first_step():
    bpy.ops.mesh.primitive_cube_add()
    drawn = texts(draw_all()["Inspect"])
    assert "Add Gauge" in drawn
    assert "thickest strip" in drawn


def test_lengths_carry_their_unit_and_enums_their_numbers():
    from addon.host import gauge_readings

    for kind in (gauge_readings.LINKWRIGHT_PG_reading, gauge_readings.LINKWRIGHT_PG_gauge):
        for prop in kind.bl_rna.properties:
            if prop.identifier.endswith("_mm"):
                assert "(mm)" in prop.name, prop.identifier
    numbers = [item[4] for item in gauge_readings.FACE_ITEMS]
    assert len(set(numbers)) == len(numbers)
