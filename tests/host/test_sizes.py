"""One step to another size: a size taken from the table, the same links in another layout, the same design wider."""

import bpy
import numpy as np
import pytest

from addon.host.showing import parts
from tests.host.recorder import draw_all, texts
from tests.host.test_chain_object import WAVE, line, metres_to_mm, places, select

SHAPES = ("straight", "spiral", "coil", "serpentine", "ring")


def test_the_table_holds_the_sizes_around_the_one_made(add_chain):
    ob = add_chain()
    rows = {row.links: row for row in ob.linkwright.figures.sizes}
    made = rows[ob.linkwright.figures.links]
    assert made.worn_mm == pytest.approx(ob.linkwright.figures.worn_mm, abs=1e-3)
    assert made.printed_mm == pytest.approx(ob.linkwright.figures.printed_mm, abs=1e-3)
    assert len(rows) == len(ob.linkwright.figures.sizes) >= 4
    assert sorted(rows) == list(rows)


def test_a_size_is_taken_by_a_click(add_chain):
    ob = add_chain()
    wanted = next(row for row in ob.linkwright.figures.sizes if row.links > ob.linkwright.figures.links)
    links, worn = wanted.links, wanted.worn_mm
    bpy.ops.linkwright.take_size(links=links)
    group = ob.linkwright
    assert (group.ring_size, group.figures.links, len(parts(ob, "LINK"))) == ("LINKS", links, links)
    assert group.figures.worn_mm == pytest.approx(worn, abs=0.05)


def test_the_same_links_in_every_layout_and_back(add_chain):
    metres_to_mm()
    ob = add_chain(length_mm=210.0)
    links, first = ob.linkwright.figures.links, places(ob)
    data = parts(ob, "LINK")[0].data
    for shape in SHAPES:
        bpy.ops.linkwright.lay_out_as(shape=shape)
        assert ob.linkwright.shape == shape
        assert ob.linkwright.figures.links == links
        assert len(parts(ob, "LINK")) == links
        assert parts(ob, "LINK")[0].data is data
    np.testing.assert_allclose(places(ob), first, atol=1e-6)


def test_a_layout_that_cannot_be_leaves_the_chain(add_chain):
    ob = add_chain()
    before, shape = places(ob), ob.linkwright.shape
    with pytest.raises(RuntimeError, match="no curve is chosen"):
        bpy.ops.linkwright.lay_out_as(shape="curve")
    np.testing.assert_array_equal(places(ob), before)
    assert (ob.linkwright.shape, ob.linkwright.ring_size) == (shape, "INNER")
    assert ob.linkwright.figures.message == ""


def test_a_layout_undoes_in_one_step():
    metres_to_mm()
    bpy.ops.linkwright.add_chain()
    bpy.ops.ed.undo_push(message="before")
    name, before = bpy.context.active_object.name, places(bpy.context.active_object)
    bpy.ops.linkwright.lay_out_as("EXEC_DEFAULT", True, shape="spiral")
    bpy.ops.ed.undo()
    ob = bpy.data.objects[name]
    assert ob.linkwright.shape == "ring"
    np.testing.assert_array_equal(places(ob), before)


def test_along_a_curve_the_number_can_be_set(add_chain):
    metres_to_mm()
    select(line(WAVE))
    ob = add_chain(where="curve", family="trace", wire_mm=1.4, link_length_mm=9.0, link_width_mm=6.5)
    full = ob.linkwright.figures.links
    ob.linkwright.curve_size, ob.linkwright.links = "LINKS", full - 3
    assert ob.linkwright.figures.links == full - 3
    ob.linkwright.curve_size = "FILL"
    assert ob.linkwright.figures.links == full


def test_resized_the_gap_keeps_its_millimetres(add_chain):
    metres_to_mm()
    ob = add_chain(length_mm=210.0)
    group = ob.linkwright
    gap, pitch = group.gap_mm, group.figures.pitch_mm
    bpy.ops.linkwright.resize(width_mm=12.0)
    assert group.link_width_mm == pytest.approx(12.0)
    assert group.wire_mm / 2.2 == pytest.approx(12.0 / 9.7, rel=1e-5)
    assert group.link_length_mm / 12.2 == pytest.approx(12.0 / 9.7, rel=1e-5)
    assert group.gap_mm == gap
    assert group.figures.gap_mm >= gap - 1e-4
    assert group.figures.pitch_mm > pitch
    before = places(ob)
    with pytest.raises(RuntimeError, match="mm"):
        bpy.ops.linkwright.resize(width_mm=1.0)
    np.testing.assert_array_equal(places(ob), before)
    assert group.link_width_mm == pytest.approx(12.0)


def test_the_least_width_is_told_and_dated(add_chain):
    ob = add_chain()
    bpy.ops.linkwright.least_width()
    figures = ob.linkwright.figures
    assert 1.0 < figures.least_width_mm < 9.7
    assert f"Below {figures.least_width_mm:.2f} mm wide" in texts(draw_all()["Chain"])
    ob.linkwright.gap_mm = 0.3
    assert "Below" not in texts(draw_all()["Chain"])


def test_a_narrower_one_than_the_least_cannot_be_made(add_chain):
    metres_to_mm()
    ob = add_chain()
    ob.linkwright.shape, ob.linkwright.straight_size, ob.linkwright.links = "straight", "LINKS", 8
    bpy.ops.linkwright.least_width()
    least = ob.linkwright.figures.least_width_mm
    bpy.ops.linkwright.resize(width_mm=least + 0.05)
    with pytest.raises(RuntimeError, match="mm"):
        bpy.ops.linkwright.resize(width_mm=least - 0.05)


def test_usual_sizes_mend_a_family_that_cannot_be(add_chain):
    metres_to_mm()
    ob = add_chain()
    ob.linkwright.family = "rope"
    if ob.linkwright.figures.message:
        assert "Usual Sizes" in texts(draw_all()["Chain"])
    bpy.ops.linkwright.usual_sizes()
    assert ob.linkwright.figures.message == ""
