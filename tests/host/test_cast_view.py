"""From the panel: what a chain weighs while it is designed, the verdict of a cast plan, and its metal in time."""

import bpy
import numpy as np
import pytest
import trimesh

from addon.host.cast_results import lever_words
from addon.host.cast_view import BARE, BLUE, ORANGE, cast_view, fill_colours, freeze_colours, order_colours
from addon.host.conversions import mesh_arrays
from addon.host.current import look_again
from addon.host.gap_colours import UNDER_FLOOR, colours
from addon.host.result_state import state_of
from addon.host.showing import parts
from addon.rules.cast.levers import Lever
from addon.rules.cast.replay import Replay
from tests.host.recorder import draw_all, texts
from tests.host.test_inspect import short

# Sterling of 925 parts silver to 75 of copper, by the densities of both in a handbook's element tables (CRC): 10.50 and
# 8.96 g/cm3, volumes added up.
STERLING_G_CM3 = 1000.0 / (925.0 / 10.50 + 75.0 / 8.96)


def state():
    return state_of(bpy.context)


def scene():
    return bpy.context.scene


def shown():
    return colours.shown(state(), scene())


def cast_panel():
    return texts(draw_all()["Cast"])


def three_links(add_chain):
    ob = short(add_chain)
    ob.linkwright.links, ob.linkwright.chord_mm = 3, 0.1
    return ob


def metal_cm3(ob):
    """Give the volume of what is shown of the links, by a general library."""
    volume = 0.0
    for link in parts(ob, "LINK"):
        points, triangles = mesh_arrays(link.data)
        volume += trimesh.Trimesh(points * 1000.0, triangles, process=False).volume
    return volume / 1000.0


def blue(most=None):
    """Give the share of what is drawn, or of its first points, that is plain full or solid: blue, however shaded."""
    colour = shown().colours[:most]
    hue = np.array(BLUE[:3]) / BLUE[2]
    return float(np.isclose(colour[:, :3], colour[:, 2:3] * hue, atol=1e-3).all(axis=1).mean())


def run():
    """Four elements: one full at 1 s, one at 2 s, one that stops at 0.3, one that stays empty."""
    filled = np.array([1.0, 1.0, 0.3, 0.0])
    shares = np.array([[0, 0, 0, 0], [1, 0.5, 0.3, 0], [1, 1, 0.3, 0]], dtype=np.float32)
    return Replay(
        fill_s=np.array([0.0, 1.0, 2.0]),
        shares=shares,
        filled=filled,
        poured_s=2.0,
        begins_s=np.array([2.0, 3.0, 2.0, np.nan]),
        half_s=np.array([4.0, 6.0, 2.5, np.nan]),
        solid_s=np.array([6.0, 10.0, 3.0, np.nan]),
        volume_mm3=np.array([1.0, 2.0, 1.0, 1.0]),
    )


ALL = np.ones(4, dtype=bool)


def test_elements_are_as_full_and_as_solid_as_the_forecast_says_and_even_in_between():
    run_again = run()
    np.testing.assert_allclose(run_again.filled_at(0.5), (0.5, 0.25, 0.15, 0.0))
    np.testing.assert_allclose(run_again.filled_at(9.0), run_again.filled)
    np.testing.assert_allclose(run_again.solid_at(5.0), (0.75, 1 / 3, 1.0, np.nan))
    assert run_again.filling_ends_s(ALL) == 2.0
    assert run_again.filling_ends_s(np.array([True, False, True, True])) == 1.0
    assert run_again.freezing_ends_s(ALL) == 10.0


def test_the_colours_of_the_fill_tell_full_from_running_and_what_stays_short_at_the_end():
    colour, legend = fill_colours(run(), ALL, 1.0, ended=False)
    np.testing.assert_allclose(colour[0], BLUE, atol=1e-6)
    np.testing.assert_allclose(colour[3], BARE, atol=1e-6)
    assert colour[1, 3] == pytest.approx(0.65)
    # Of 5 mm3 one is full, 2 x 0.5 and 0.3 are running.
    assert [text for text, _ in legend] == ["no metal yet: 54 %", "being filled: 26 %", "full: 20 %"]
    colour, legend = fill_colours(run(), ALL, 2.0, ended=True)
    np.testing.assert_allclose(colour[2:], [UNDER_FLOOR] * 2, atol=1e-6)
    assert [text for text, _ in legend] == ["stays short: 34 %", "full: 60 %"]


def test_the_colours_of_freezing_tell_liquid_from_solid_and_leave_empty_places_bare():
    colour, legend = freeze_colours(run(), ALL, 2.9)
    np.testing.assert_allclose(colour[1], ORANGE, atol=1e-6)
    np.testing.assert_allclose(colour[3], BARE, atol=1e-6)
    told = dict(text.split(": ") for text, _ in legend if ":" in text)
    assert told == {"liquid": "61 %", "freezing": "30 %", "more than half solid": "9 %", "solid": "0 %"}
    colour, legend = freeze_colours(run(), ALL, 10.0)
    np.testing.assert_allclose(colour[:3], [BLUE] * 3, atol=1e-6)
    assert ("solid: 100 %", BLUE) in legend


def test_the_colours_of_the_order_get_brighter_from_the_first_to_the_last():
    colour, legend = order_colours(run(), ALL)
    seen = colour[:, :3] @ (0.2126, 0.7152, 0.0722)
    assert seen[2] < seen[0] < seen[1]
    np.testing.assert_allclose(colour[3], BARE, atol=1e-6)
    figures = [text for text, _ in legend]
    assert figures[0] == "no metal"
    # Three quarters of the metal, of 4 mm3, are solid before the last begins to be counted: 3 s, 6 s, 10 s.
    assert figures[1:] == ["3.0 s first", "4.5 s", "6.0 s", "8.0 s", "10.0 s last"]


def test_the_weight_follows_the_design_and_the_alloy_without_a_button(add_chain):
    bpy.context.scene.unit_settings.scale_length = 0.001
    ob = three_links(add_chain)
    bpy.context.scene.unit_settings.scale_length = 1.0
    ob.linkwright.wire_mm = 2.0
    figures = ob.linkwright.figures
    scene().linkwright.alloy = "sterling-silver"
    assert figures.chain_g == pytest.approx(metal_cm3(ob) * STERLING_G_CM3, rel=0.01)
    assert f"{figures.chain_g:.1f} g in sterling-silver" in texts(draw_all()["Chain"])
    assert f"{figures.chain_g:.1f} g" in cast_panel()
    before = figures.chain_g
    ob.linkwright.wire_mm = 2.2
    assert figures.chain_g > 1.1 * before
    silver = figures.chain_g
    scene().linkwright.alloy = "platinum-950"
    assert 1.7 < figures.chain_g / silver < 2.3
    scene().linkwright.alloy = "nothing of the kind"
    assert figures.chain_g == 0.0
    assert "g in" not in texts(draw_all()["Chain"])


def test_a_plan_is_shown_in_time_dated_and_taken_back(add_chain):
    # Thick layers, so that the check at the end is quick.
    scene().linkwright.layer_mm = 0.2
    ob = three_links(add_chain)
    bpy.ops.linkwright.add_lattice()
    assert "Lattice | about" in cast_panel()
    bpy.ops.ed.undo_push(message="before")
    name = ob.name
    bpy.ops.linkwright.plan_cast("EXEC_DEFAULT", True)
    ob = bpy.data.objects[name]

    assert cast_view.kept_for(state())
    drawn = cast_panel()
    assert state().verdict in drawn.replace(" | ", " ")
    assert "To Melt" in drawn
    assert "Out of date" not in drawn
    assert {"colour_by FILL", "colour_by FREEZE", "colour_by ORDER"} <= {text for _, text in draw_all()["Cast"]}

    # The skin lies on what is in the scene: links and struts, a hair off.
    places = np.concatenate(
        [
            mesh_arrays(one.data)[0] @ np.array(one.matrix_basis)[:3, :3].T + np.array(one.matrix_basis)[:3, 3]
            for one in parts(ob, "LINK") + parts(ob, "STRUT")
        ]
    )
    for edge in ("min", "max"):
        np.testing.assert_allclose(
            getattr(shown().places, edge)(axis=0), getattr(places, edge)(axis=0), atol=2.1e-5, rtol=0
        )

    for kind, word in (("FILL", "filling"), ("FREEZE", "freezing")):
        state().colour_by = kind
        assert blue_after(0.0) == 0.0
        shares = [blue_after(share) for share in (25.0, 50.0, 75.0, 100.0)]
        assert shares == sorted(shares)
        assert shares[-1] > 0.8
        # Links come first; the hub need not be solid when all that is looked at is.
        assert blue(sum(len(link.data.vertices) for link in parts(ob, "LINK"))) > 0.95
        skin = shown()
        state().cast_s = 0.5 * state().cast_s
        assert state().cast_share == pytest.approx(50.0, abs=0.01)
        assert shown().title == f"{word}, {state().cast_s:.{2 if kind == 'FILL' else 1}f} s"
        # The slider leaves places and faces as they are, on the card too.
        assert shown() is not skin
        assert shown().places is skin.places
        assert shown().faces is skin.faces
    assert state().cast_fill_s < state().cast_freeze_s
    state().colour_by = "ORDER"
    assert shown().title == "solid after"
    assert all(" s" in text for text, _ in shown().legend)

    state().colours = False
    assert shown() is None
    state().colours = True
    ob.linkwright.gap_mm = 0.35
    assert shown() is None
    assert "Out of date: plan again" in cast_panel()
    ob.linkwright.gap_mm = 0.4
    assert shown() is not None

    bpy.ops.ed.undo()
    bpy.ops.ed.redo()
    bpy.context.view_layer.objects.active = bpy.data.objects[name]
    look_again(state(), bpy.context.evaluated_depsgraph_get())
    state().cast_share = 30.0
    cast_panel()
    # Another look at the same chain shows its own colours; those of the plan are still there.
    scene().linkwright.light = "OFF"
    for look in (bpy.ops.linkwright.inspect, bpy.ops.linkwright.check_print):
        look()
        assert shown().title == "gap in print"
        assert "colour_by FREEZE" in cast_panel()
        state().colour_by = "FREEZE"
        state().cast_s = 20.0
        assert shown().title == "freezing, 20.0 s"
    link = parts(bpy.data.objects[name], "LINK")[0]
    before = link.location.copy()
    link.location.z += 0.001
    look_again(state(), bpy.context.evaluated_depsgraph_get())
    assert shown() is None
    link.location = before
    look_again(state(), bpy.context.evaluated_depsgraph_get())
    assert shown().title == "freezing, 20.0 s"


def blue_after(share):
    state().cast_share = share
    return blue()


def test_a_cold_pour_is_said_to_stay_short_with_what_would_help_and_a_file_forgets_it(add_chain, tmp_path):
    three_links(add_chain)
    group = scene().linkwright
    group.head, group.flask_c, group.metal_c = "gravity", 100.0, 1050.0
    bpy.ops.linkwright.plan_cast()
    assert state().verdict_icon == "CANCEL"
    assert "will not fill" in cast_panel().replace(" | ", " ")
    assert state().colour_by == "FILL"
    assert any(text.startswith("stays short: ") for text, _ in shown().legend)
    # Without a lattice in the scene only the links are coloured.
    assert np.ptp(shown().places[:, 2]) < 0.02
    assert len(state().levers)
    assert [row.passes for row in state().levers] == sorted((row.passes for row in state().levers), reverse=True)
    assert state().levers[0].change in cast_panel().replace(" | ", " ")

    path = str(tmp_path / "cast.blend")
    bpy.ops.wm.save_as_mainfile(filepath=path)
    bpy.ops.wm.open_mainfile(filepath=path)
    assert not cast_view.kept_for(state())
    assert not state().verdict
    assert not len(state().levers)
    bpy.context.view_layer.objects.active = next(ob for ob in bpy.data.objects if ob.linkwright.schema)
    assert "Chain" in cast_panel()
    state().cast_share = 20.0


def test_levers_say_their_change_in_short():
    assert lever_words(Lever("hotter metal", 1090.0, 1135.5, "degC", True, "")) == "1090 to 1135.5 \N{DEGREE SIGN}C"
    assert lever_words(Lever("thicker gates", 1.6, 2.0333, "mm", True, "")) == "1.6 to 2.03 mm"
