"""The colours of the gaps on inspected bodies: what they say, and when they are out of date."""

import bpy
import numpy as np

from addon.host.current import look_again
from addon.host.gap_colours import UNDER_FLOOR, UNDER_WARN, ColourSteps, colours
from addon.host.result_state import state_of
from addon.host.results import clear
from addon.host.showing import parts
from tests.host.recorder import draw_all, texts
from tests.host.test_boolean import torus
from tests.host.test_chain_object import select
from tests.host.test_inspect import mm_scene, put

LIMITS = ColourSteps(0.25, 0.35, 1.5)


def two_rings():
    mm_scene()
    put("a", torus(8, 1.2))
    return put("b", torus(8, 1.2), at=(8, 0, 0), turn=(np.pi / 2, 0, 0))


def stands():
    return colours.stands(state_of(bpy.context), bpy.context.scene)


def look(state):
    look_again(state, bpy.context.evaluated_depsgraph_get())


def test_colours_change_at_the_floors_and_fade_away():
    colour = LIMITS.colours(np.array([0.0, 0.249, 0.25, 0.349, 0.35, 1.0, 1.5, np.inf]))
    assert np.allclose(colour[:2, :3], UNDER_FLOOR[:3], atol=1e-6)
    assert np.allclose(colour[2:4, :3], UNDER_WARN[:3], atol=1e-6)
    assert (colour[:5, 3] == 1.0).all()
    assert 0.0 < colour[5, 3] < 1.0
    assert (colour[6:, 3] == 0.0).all()
    assert [text for text, _ in LIMITS.legend()][-1] == "under 0.25 mm: stop"


def test_colours_stand_with_their_result_and_go_with_it():
    two_rings()
    bpy.ops.linkwright.inspect()
    assert stands()
    state_of(bpy.context).colours = False
    assert not stands()
    state_of(bpy.context).colours = True
    clear(state_of(bpy.context))
    assert not stands()


def test_a_mesh_that_was_moved_makes_the_result_out_of_date_until_it_is_back():
    ring = two_rings()
    bpy.ops.linkwright.inspect()
    state = state_of(bpy.context)
    ring.location.x += 0.5
    bpy.context.view_layer.update()
    look(state)
    assert state.moved
    assert not stands()
    ring.location.x -= 0.5
    bpy.context.view_layer.update()
    look(state)
    assert not state.moved
    assert stands()


def test_a_mesh_that_was_edited_or_removed_makes_the_result_out_of_date():
    ring = two_rings()
    bpy.ops.linkwright.inspect()
    state = state_of(bpy.context)
    ring.data.vertices[0].co.z += 0.1
    look(state)
    assert state.moved
    ring.data.vertices[0].co.z -= 0.1
    bpy.ops.linkwright.inspect()
    assert not state.moved
    bpy.data.objects.remove(ring)
    look(state)
    assert state.moved


def test_a_chain_is_coloured_and_no_data_of_the_scene_changes(add_chain):
    ob = add_chain()
    select(ob)
    meshes = len(bpy.data.meshes)
    bpy.ops.linkwright.inspect()
    assert stands()
    assert len(bpy.data.meshes) == meshes
    ob.linkwright.link_length_mm = 12.8
    assert not stands()


def test_a_link_moved_on_its_chain_makes_the_result_out_of_date_until_it_is_back(add_chain):
    ob = add_chain()
    select(ob)
    bpy.ops.linkwright.inspect()
    state = state_of(bpy.context)
    look(state)
    assert not state.moved
    link = parts(ob, "LINK")[3]
    before = link.location.copy()
    link.location.z += 0.001
    look(state)
    assert state.moved
    assert not stands()
    assert "Out of date: a link has changed" in texts(draw_all()["Inspect"])
    link.location = before
    look(state)
    assert stands()
    assert "Out of date" not in texts(draw_all()["Inspect"])


def test_a_chain_moved_as_a_whole_keeps_its_result(add_chain):
    ob = add_chain()
    bpy.ops.linkwright.inspect()
    ob.location, ob.rotation_euler = (0.03, -0.02, 0.1), (0.4, 1.0, -2.0)
    bpy.context.view_layer.update()
    look(state_of(bpy.context))
    assert stands()


def test_a_chain_shown_as_worn_and_back_keeps_its_result(add_chain):
    add_chain()
    bpy.ops.linkwright.inspect()
    state = state_of(bpy.context)
    bpy.ops.linkwright.preview_worn()
    look(state)
    assert not state.moved
    assert not stands()
    bpy.ops.linkwright.preview_worn()
    look(state)
    assert stands()


def test_a_lattice_or_a_new_size_dates_a_result_once(add_chain):
    ob = add_chain()
    bpy.ops.linkwright.inspect()
    ob.linkwright.gap_mm = 0.35
    look(state_of(bpy.context))
    assert texts(draw_all()["Inspect"]).count("Out of date") == 1
    bpy.ops.linkwright.inspect()
    bpy.ops.linkwright.set_millimetres()
    look(state_of(bpy.context))
    # Places are kept in scene units: another unit puts the marks elsewhere.
    assert not stands()
    assert texts(draw_all()["Inspect"]).count("Out of date") == 1


def test_undoing_an_inspection_leaves_no_colours_on_the_draft():
    """A wire that is not round is drafted on coarse meshes: after an undo they are not what was inspected."""
    bpy.ops.ed.undo_push(message="before")
    bpy.ops.linkwright.add_chain("EXEC_DEFAULT", True, family="box", length_mm=200.0)
    bpy.ops.linkwright.inspect("EXEC_DEFAULT", True)
    look(state_of(bpy.context))
    assert stands()
    bpy.ops.ed.undo()
    assert not stands()
    bpy.ops.ed.redo()
    assert stands()
