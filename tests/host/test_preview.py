"""Looking ahead: the chain as it is worn and back again, and its layouts beside each other."""

import bpy
import numpy as np
import pytest

from addon.host.result_state import state_of
from addon.host.showing import parts
from tests.host.recorder import draw_all, texts
from tests.host.test_chain_object import metres_to_mm, places


def test_shown_as_worn_and_back(add_chain):
    metres_to_mm()
    ob = add_chain(length_mm=200.0)
    bpy.ops.linkwright.verify()
    before = places(ob)
    bpy.ops.linkwright.preview_worn()
    assert ob.linkwright.figures.worn_view
    worn = places(ob)
    assert np.abs(worn - before).max() > 0.5
    assert "Show as Printed" in texts(draw_all()["Layout and Size"])
    # Worn it is longer than printed: every joint is drawn out.
    steps = [np.linalg.norm(np.diff(way[:, :3, 3], axis=0), axis=1).mean() for way in (before, worn)]
    assert steps[1] > steps[0] + 0.05
    bpy.ops.linkwright.preview_worn()
    assert not ob.linkwright.figures.worn_view
    np.testing.assert_allclose(places(ob), before, atol=1e-6)


def test_a_changed_number_goes_back_to_the_print(add_chain):
    metres_to_mm()
    ob = add_chain(length_mm=200.0)
    bpy.ops.linkwright.preview_worn()
    ob.linkwright.gap_mm = 0.35
    assert not ob.linkwright.figures.worn_view


def test_the_lattice_hides_while_the_links_are_away(add_chain):
    metres_to_mm()
    ob = add_chain(length_mm=210.0)
    bpy.ops.linkwright.add_lattice()
    assert not any(strut.hide_viewport for strut in parts(ob, "STRUT"))
    bpy.ops.linkwright.preview_worn()
    assert all(strut.hide_viewport for strut in parts(ob, "STRUT"))
    bpy.ops.linkwright.preview_worn()
    assert not any(strut.hide_viewport for strut in parts(ob, "STRUT"))


def test_layouts_are_compared_and_taken(add_chain):
    metres_to_mm()
    ob = add_chain(length_mm=450.0)
    bpy.ops.linkwright.compare_layouts()
    state = state_of(bpy.context)
    assert [row.name for row in state.layouts] == ["straight", "ring", "spiral", "coil", "serpentine"]
    built = [row for row in state.layouts if not row.why]
    assert len(built) >= 4
    assert all(row.layers > 10 and row.size for row in built)
    fitting = {row.name: row.investment_cm3 for row in built if row.flask.startswith("flask ")}
    assert fitting["spiral"] < fitting["ring"]
    # No flask of the list takes a straight row of 450 mm.
    assert "no flask takes it" in {row.flask for row in built}
    drawn = texts(draw_all()["Layout and Size"])
    assert "Spiral" in drawn
    assert "Out of date" not in drawn
    ob.linkwright.gap_mm = 0.35
    assert "Out of date" in texts(draw_all()["Layout and Size"])


def test_a_chain_must_be_there():
    for operator in (bpy.ops.linkwright.preview_worn, bpy.ops.linkwright.compare_layouts, bpy.ops.linkwright.resize):
        with pytest.raises(RuntimeError, match="Select a chain first"):
            operator()
