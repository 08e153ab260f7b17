"""From the panel: whether a piece prints, its layers in the view, and the ways to stand it on the plate."""

import bpy
import numpy as np
import pytest
from mathutils import Vector

from addon.host.conversions import double
from addon.host.current import look_again
from addon.host.gap_colours import UNDER_FLOOR, colours
from addon.host.in_view import InView
from addon.host.print_view import FLOATS, LightSteps, light_painting, section
from addon.host.result_state import state_of
from addon.host.showing import parts
from addon.host.units import mm_per_unit
from addon.rules.solid.mesh import Body
from tests.host.recorder import draw_all, texts
from tests.host.test_boolean import box
from tests.host.test_inspect import mm_scene, put, rows, short


def state():
    return state_of(bpy.context)


def look():
    bpy.context.view_layer.update()
    look_again(state(), bpy.context.evaluated_depsgraph_get())


def figures():
    return {row.name: row.value for row in state().print_figures}


def light(kind):
    bpy.context.scene.linkwright.light = kind


def three_links(add_chain):
    ob = short(add_chain)
    ob.linkwright.links, ob.linkwright.chord_mm = 3, 0.1
    bpy.context.scene.linkwright.layer_mm = 0.4
    return ob


def way(called):
    return next(k for k, row in enumerate(state().ways) if row.called == called)


def block_and_bar():
    """A block of 10 x 10 mm, 6 mm high, and a bar of 2 x 2 x 1 mm that hangs in the air beside it."""
    mm_scene()
    bpy.context.scene.linkwright.layer_mm = 0.1
    put("leg", box((0, 0, 0), (10, 10, 6)))
    put("bar", box((20, 0, 3), (22, 2, 4)))


def test_meshes_are_checked_as_they_stand():
    block_and_bar()
    light("OFF")
    bpy.ops.linkwright.check_print()
    (start,) = rows("island")
    assert start.severity == "stop"
    assert start.bodies == "bar"
    assert start.number == 1
    assert start.text.startswith("Start 1 from the plate up. bar: begins in mid-air at 3.05 mm")
    assert figures()["Layers"] == "60 of 0.1 mm"
    assert figures()["In Mid-Air"] == "1 start"
    # The largest layer lies where both are: 100 + 4 mm2.
    assert figures()["Largest"].startswith("104 mm2 at 3.")
    assert "Blind" not in figures()
    drawn = texts(draw_all()["Print"])
    assert "60 of 0.1 mm" in drawn
    assert "Out of date" not in drawn


def test_the_outline_of_a_layer_follows_the_slider():
    block_and_bar()
    light("OFF")
    bpy.ops.linkwright.check_print()
    assert section.stands(state(), bpy.context.scene)
    state().section_mm = 1.0
    np.testing.assert_allclose(np.ptp(section.held, axis=0), (10, 10, 0), atol=1e-5)
    assert len(section.floats) == 0
    state().section_share = 50
    assert state().section_mm == pytest.approx(3.0)
    # At the bar's first layer and on all above it nothing holds it up.
    for height in (3.02, 3.55):
        state().section_mm = height
        assert np.ptp(section.floats, axis=0) == pytest.approx((2, 2, 0), abs=1e-5)
        assert np.ptp(section.held, axis=0) == pytest.approx((10, 10, 0), abs=1e-5)
    state().section_mm = 4.2
    assert len(section.floats) == 0
    state().section_mm = 500.0
    assert state().section_mm == pytest.approx(6.0)
    np.testing.assert_allclose(section.held[:, 2], 5.95, atol=1e-5)
    assert ("label", "60 of 60") in draw_all()["Print"]
    bpy.data.objects["bar"].location.x += 1.0
    look()
    assert not section.stands(state(), bpy.context.scene)
    assert "Out of date" in texts(draw_all()["Print"])


def test_what_hangs_floats_until_it_is_joined_to_what_stands():
    """A post with an arm on top, and a peg that hangs from the arm: three bodies that reach into each other."""
    mm_scene()
    bpy.context.scene.linkwright.layer_mm = 0.25
    put("post", box((0, 0, 0), (4, 4, 10)))
    put("arm", box((1, 1, 8), (20, 3, 9.5)))
    put("peg", box((16, 1.5, 5), (19, 2.5, 9)))
    light("OFF")
    bpy.ops.linkwright.check_print()
    state().section_mm = 6.1
    assert np.ptp(section.floats, axis=0) == pytest.approx((3, 1, 0), abs=1e-5)
    assert ("nothing holds it up", FLOATS) in section.legend()
    state().section_mm = 9.2
    assert len(section.floats) == 0
    assert np.ptp(section.held, axis=0) == pytest.approx((20, 4, 0), abs=1e-5)


def test_open_meshes_keep_their_findings_and_say_why_they_have_no_layers():
    mm_scene()
    lid = box((0, 0, 0), (10, 10, 6))
    put("lid", type(lid)(lid.points, lid.triangles[1:]))
    bpy.ops.linkwright.check_print()
    assert rows("open")
    assert not len(state().print_figures)
    assert "lid" in state().print_note


def test_a_chain_without_lattice_is_checked_as_its_object_is_turned(add_chain):
    ob = three_links(add_chain)
    light("PREVIEW")
    bpy.ops.linkwright.check_print()
    assert not rows("island")
    flat = float(figures()["Height"].split()[0])
    assert colours.shown(state(), bpy.context.scene).title == "light that arrives"
    state().colour_by = "GAPS"
    assert colours.shown(state(), bpy.context.scene).title == "gap in print"
    ob.rotation_euler = (0.0, 0.0, 1.0)
    look()
    assert section.stands(state(), bpy.context.scene)
    ob.rotation_euler = (0.0, np.pi / 2, 0.0)
    look()
    assert not section.stands(state(), bpy.context.scene)
    assert not colours.stands(state(), bpy.context.scene)
    assert "Out of date: turned since" in texts(draw_all()["Print"])
    light("OFF")
    bpy.ops.linkwright.check_print()
    assert float(figures()["Height"].split()[0]) > 2.0 * flat
    # Each link but the lowest begins in mid-air, and without a lattice that is advice.
    assert [(row.number, row.severity) for row in rows("island")] == [(1, "warn"), (2, "warn")]
    # Upright in the world: the outline of one layer is level there.
    world = section.held if len(section.held) else section.floats
    world = world @ double(ob.matrix_world)[:3, :3].T
    assert np.ptp(world[:, 2]) == pytest.approx(0.0, abs=1e-6)


def light_stays_on_what_is_shown(ob):
    painting = colours.shown(state(), bpy.context.scene)
    assert painting.title == "light that arrives"
    assert [name for name, _ in painting.owners] == ["link 1", "link 2", "link 3"]
    counts = dict(painting.owners)
    assert all(counts.values())
    # Each link's own faces lie on that link, which joining with its gate cut nothing of but where the two meet.
    begin = 0
    for link in parts(ob, "LINK"):
        faces = painting.faces[begin : begin + counts[link.name]]
        begin += counts[link.name]
        matrix = double(link.matrix_basis)
        own = np.array([v.co for v in link.data.vertices]) @ matrix[:3, :3].T + matrix[:3, 3]
        placed = painting.places[faces].reshape(-1, 3)
        margin = 0.03 / mm_per_unit(bpy.context.scene)
        assert (placed >= own.min(axis=0) - margin).all()
        assert (placed <= own.max(axis=0) + margin).all()
    rest = len(painting.faces) - begin
    assert rest
    seen = InView({"link 1": True, "link 2": False, "link 3": True}, {"gate of link 1": True}, named=True)
    assert len(painting.faces_in(seen)) == len(painting.faces) - counts["link 2"]
    bare = InView({"link 1": True, "link 2": True, "link 3": True}, {"gate of link 1": False}, named=True)
    assert len(painting.faces_in(bare)) == begin


def test_a_chain_with_its_lattice_is_one_solid(add_chain):
    ob = three_links(add_chain)
    bpy.ops.linkwright.add_lattice()
    bpy.ops.linkwright.check_print()
    assert state().with_lattice
    light_stays_on_what_is_shown(ob)
    assert len(parts(ob, "STRUT"))
    state().section_share = 2
    # The lowest layers are those of the base ring: all held, under the links.
    assert len(section.held)
    assert not len(section.floats)
    lowest = min(link.matrix_basis.translation.z for link in parts(ob, "LINK"))
    assert section.held[:, 2].max() < lowest
    ob.linkwright.gap_mm = 0.35
    assert not section.stands(state(), bpy.context.scene)
    assert "Out of date" in texts(draw_all()["Print"])


def test_light_colours_are_loud_where_it_is_blind():
    colour = LightSteps(0.1).colours(np.array([0.0, 0.099, 0.1, 0.5, 1.0]))
    assert np.allclose(colour[:2, :3], UNDER_FLOOR[:3], atol=1e-6)
    assert colour[2, 3] == 1.0
    assert 0.0 < colour[3, 3] < 1.0
    assert colour[4, 3] == 0.0


def test_light_is_painted_face_by_face_and_only_where_the_print_has_a_surface():
    body = Body("block", box((0, 0, 0), (10, 10, 6)))
    count = len(body.mesh.triangles)
    share, buried = np.full(count, 0.5), np.zeros(count, dtype=bool)
    share[0], buried[1] = 0.0, True
    shift = np.array([0.0, 0.0, 2.0])
    painting = light_painting((body,), share, buried, LightSteps(0.1), mm=2.0, shift=shift)
    assert painting.places.shape == (3 * (count - 1), 3)
    # A little off the surface: at a corner that looks three ways, less in each of them.
    for end, low, high in ((painting.places.min(axis=0), 0.004, 0.01), (painting.places.max(axis=0), -0.01, -0.004)):
        off = np.array((0.0, 0.0, -1.0) if low > 0 else (5.0, 5.0, 2.0)) - end
        assert (off >= low - 1e-6).all()
        assert (off <= high + 1e-6).all()
    # The hue of the blind face, darkened by its shade alone; it is drawn whole, the others half seen.
    loud = painting.colours[:3]
    np.testing.assert_allclose(loud[:, :3] / loud[:, :1], np.tile(UNDER_FLOOR[:3], (3, 1)) / UNDER_FLOOR[0], atol=1e-6)
    assert (loud[:, 3] == 1.0).all()
    assert (painting.colours[3:, 3] < 1.0).all()


def test_the_ways_up_of_a_chain_turn_it_onto_the_plate_in_one_step(add_chain):
    ob = three_links(add_chain)
    ob.location = (0.05, -0.02, 0.3)
    bpy.context.view_layer.update()
    bpy.ops.linkwright.find_way_up()
    assert len(state().ways) > 5
    drawn = texts(draw_all()["Print"])
    assert "as it is" in drawn
    upright = way("tipped 90 deg to the right")
    assert state().ways[upright].name == "90\N{DEGREE SIGN} right"
    name, before = ob.name, double(ob.matrix_world)
    bpy.ops.ed.undo_push(message="before")
    bpy.ops.linkwright.apply_way_up("EXEC_DEFAULT", True, index=upright)
    low, high = bounds(bpy.data.objects[name])
    assert low[2] == pytest.approx(0.0, abs=1e-6)
    assert (high - low)[2] * 1000 == pytest.approx(state().ways[upright].height_mm, rel=0.1)
    np.testing.assert_allclose((low + high)[:2] / 2, before[:2, 3], atol=2e-3)
    bpy.ops.linkwright.apply_way_up("EXEC_DEFAULT", True, index=way("as it stands"))
    np.testing.assert_allclose(double(bpy.data.objects[name].matrix_world)[:3, :3], before[:3, :3], atol=1e-5)
    bpy.ops.ed.undo()
    bpy.ops.ed.undo()
    ob = bpy.data.objects[name]
    np.testing.assert_allclose(double(ob.matrix_world), before, atol=1e-6)
    bpy.context.view_layer.objects.active = ob
    ob.linkwright.gap_mm = 0.35
    assert "Out of date: compare again" in texts(draw_all()["Print"])
    with pytest.raises(RuntimeError, match="were changed since the ways were compared"):
        bpy.ops.linkwright.apply_way_up(index=upright)
    parts(ob, "LINK")[0].linkwright.part = "STRUT"
    with pytest.raises(RuntimeError, match="lattice was planned for the way the chain stands"):
        bpy.ops.linkwright.apply_way_up(index=upright)


def test_meshes_turn_together_and_only_while_they_hold_together():
    block_and_bar()
    bpy.ops.linkwright.find_way_up()
    bar, block = bpy.data.objects["bar"], bpy.data.objects["leg"]
    bpy.ops.linkwright.apply_way_up(index=way("upside down"))
    # Half a turn about x: the bar, from 3 to 4 mm, comes to hang from 2 to 3 mm.
    assert list(bar.matrix_world @ Vector((20, 0, 3))) == pytest.approx([20, 10, 3], abs=1e-5)
    assert list(block.matrix_world @ Vector((0, 0, 6))) == pytest.approx([0, 10, 0], abs=1e-5)
    bar.location.y += 1.0
    bpy.context.view_layer.update()
    with pytest.raises(RuntimeError, match="moved against each other"):
        bpy.ops.linkwright.apply_way_up(index=way("as it stands"))


def bounds(ob):
    points = np.concatenate(
        [
            np.array([link.matrix_world @ v.co for v in link.data.vertices], dtype=np.float64)
            for link in parts(ob, "LINK")
        ]
    )
    return points.min(axis=0), points.max(axis=0)
