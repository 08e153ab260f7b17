"""The panel names only what exists, says what is next, dates its results, and does no work while drawing."""

import sys

import bpy
import pytest

from addon.host.result_state import state_of
from tests.host.recorder import draw_all, panels, texts

ORDER = ["Chain", "Layout and Size", "Inspect", "Feed", "Print", "Cast", "Export"]


def test_order_of_the_job():
    assert [panel.bl_label for panel in panels()] == ORDER
    assert {panel.bl_category for panel in panels()} == {"Linkwright"}


def test_an_empty_scene_says_the_first_step():
    drawn = draw_all()
    assert list(drawn) == ["Chain"]
    assert "On a New Ring" in texts(drawn["Chain"])
    assert "Set Millimetres" in texts(drawn["Chain"])


def test_with_a_chain_every_step_is_there(add_chain):
    ob = add_chain()
    drawn = draw_all()
    assert list(drawn) == ORDER
    assert "estimated" in texts(drawn["Chain"])
    assert "Not inspected yet" in texts(drawn["Inspect"])
    for shape, words in {"straight": "Inside (mm)", "curve": "Follow Curve", "spiral": "Apart (mm)"}.items():
        ob.linkwright.shape = shape
        assert words in texts(draw_all()["Layout and Size"])


def test_results_are_dated(add_chain):
    ob = add_chain()
    bpy.ops.linkwright.inspect()
    drawn = texts(draw_all()["Inspect"])
    assert "Out of date" not in drawn
    assert "smallest gap" in drawn
    ob.linkwright.gap_mm = 0.35
    assert "Out of date" in texts(draw_all()["Inspect"])
    ob.linkwright.gap_mm = 0.4
    assert "Out of date" not in texts(draw_all()["Inspect"])
    bpy.context.scene.linkwright.gap_floor_mm = 0.3
    assert "Out of date" in texts(draw_all()["Inspect"])


def test_an_impossible_size_is_said(add_chain):
    ob = add_chain()
    ob.linkwright.wire_mm = 9.0
    assert "the last sizes that work" in texts(draw_all()["Chain"])


def test_lengths_carry_their_unit():
    groups = (bpy.types.Object, bpy.types.Scene)
    for owner in groups:
        kind = owner.bl_rna.properties["linkwright"].fixed_type
        for prop in kind.properties:
            if prop.identifier.endswith("_mm"):
                assert "(mm)" in prop.name, prop.identifier
            if prop.identifier.endswith("_c"):
                assert "(degC)" in prop.name, prop.identifier


def test_enum_items_have_numbers_of_their_own():
    from addon.host import choices, scene_properties

    for module, name in ((m, name) for m in (choices, scene_properties) for name in dir(m)):
        if name.endswith("_ITEMS"):
            numbers = [item[4] for item in getattr(module, name)]
            assert len(set(numbers)) == len(numbers), name


def test_a_progress_bar_while_running(add_chain):
    add_chain()
    state = state_of(bpy.context)
    state.running, state.progress = "Inspecting", 0.4
    try:
        assert ("progress", "Inspecting 40 %") in draw_all()["Inspect"]
        with pytest.raises(RuntimeError, match="press Esc"):
            bpy.ops.linkwright.inspect()
    finally:
        state.property_unset("running")


def test_drawing_is_as_much_work_for_many_links_as_for_few(add_chain):
    ob = add_chain(family="trace", wire_mm=1.2, link_length_mm=7.0, link_width_mm=5.0)
    ob.linkwright.ring_size = "LINKS"
    work = []
    for links in (30, 300):
        ob.linkwright.links = links
        draw_all()
        work.append(_calls(draw_all))
    assert work[1] < 1.1 * work[0]


def _calls(draw):
    """Count all calls of functions that drawing takes."""
    count = 0

    def counted(_frame, event, _what):
        nonlocal count
        count += event in ("call", "c_call")

    sys.setprofile(counted)
    try:
        draw()
    finally:
        sys.setprofile(None)
    return count
