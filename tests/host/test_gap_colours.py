"""The colours of the gaps on inspected bodies: what they say, and when they are out of date."""

import bpy
import numpy as np

from addon.host.gap_colours import UNDER_FLOOR, UNDER_WARN, Steps, colours
from addon.host.results import clear, look_again, state_of
from tests.host.test_boolean import torus
from tests.host.test_chain_object import select
from tests.host.test_inspect import mm_scene, put

LIMITS = Steps(0.25, 0.35, 1.5)


def two_rings():
    mm_scene()
    put("a", torus(8, 1.2))
    return put("b", torus(8, 1.2), at=(8, 0, 0), turn=(np.pi / 2, 0, 0))


def stands():
    return colours.stands(state_of(bpy.context), bpy.context.scene)


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
    look_again(state)
    assert state.moved
    assert not stands()
    ring.location.x -= 0.5
    bpy.context.view_layer.update()
    look_again(state)
    assert not state.moved
    assert stands()


def test_a_mesh_that_was_edited_or_removed_makes_the_result_out_of_date():
    ring = two_rings()
    bpy.ops.linkwright.inspect()
    state = state_of(bpy.context)
    ring.data.vertices[0].co.z += 0.1
    look_again(state)
    assert state.moved
    ring.data.vertices[0].co.z -= 0.1
    bpy.ops.linkwright.inspect()
    assert not state.moved
    bpy.data.objects.remove(ring)
    look_again(state)
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
