"""The findings list: the figures behind each finding, the filter by severity and the list's search, and panel words."""

import re
from types import SimpleNamespace

import bpy
import numpy as np
import pytest

from addon.host.finding_words import panel_text
from addon.host.overlay import Overlay
from addon.host.panels import LINKWRIGHT_UL_findings
from addon.host.result_state import state_of
from addon.host.results import store
from addon.rules.inspect.body_findings import size_findings
from addon.rules.inspect.finding import Finding
from addon.rules.inspect.inspection import Inspection
from tests.host.recorder import draw_all, texts
from tests.host.test_boolean import box, torus
from tests.host.test_inspect import codes, mm_scene, put, rows

NOTHING = Inspection((), (), (), ())


def keep(*findings):
    state = state_of(bpy.context)
    store(state, findings, NOTHING, subject="", heading="Selected meshes", dated="", mm=1.0)
    return state


def three_kinds():
    return keep(
        Finding("looks", "note", (), "seems well"),
        Finding("web-thin", "warn", ("Ring", "Bail"), "thin", (0, 0, 0)),
        Finding("fused", "stop", ("Ring", "Clasp"), "fused", (1, 0, 0)),
        Finding("web-thin", "warn", ("Arch", "Bail"), "thin", (2, 0, 0)),
    )


def listed(state, search="", invert=False, alphabetical=False):
    """The rows that Blender would show, in the order in which it would, by its rules for the flags of a list."""
    ui = SimpleNamespace(
        filter_name=search,
        bitflag_filter_item=1 << 30,
        bitflag_item_never_show=1 << 16,
        use_filter_sort_alpha=alphabetical,
    )
    flags, places = LINKWRIGHT_UL_findings.filter_items(ui, bpy.context, state, "findings")
    assert len(flags) == len(state.findings)
    order = np.argsort(places) if places else range(len(flags))
    shown = [k for k in order if not flags[k] & 1 << 16 and bool(flags[k] & 1 << 30) != invert]
    return [(state.findings[k].code, state.findings[k].where) for k in shown]


def figures(row):
    return {line.name: line.value for line in row.figures}


def test_a_finding_shows_its_gap_down_the_ladder():
    mm_scene()
    scene = bpy.context.scene.linkwright
    scene.bleed_mm = 0.01
    one = box((0, 0, 0), (5, 5, 5))
    put("a", one)
    put("b", one, at=(5.2, 0, 0))
    bpy.ops.linkwright.inspect()
    (found,) = rows("gap-below-floor")
    shown = figures(found)
    assert list(shown) == ["Gap in Model", "Printed", "Mould Web", "Cast", "Finished"]
    assert shown["Gap in Model"] == "0.200 mm"
    assert shown["Printed"] == "0.180 mm, needs 0.25"
    cast = float(shown["Cast"].split()[0])
    # What metal and mould make of it lies within a few percent; both move it.
    assert 0.17 < cast < 0.19
    assert shown["Finished"] == shown["Cast"]
    state_of(bpy.context).active = codes().index("gap-below-floor")
    drawn = [text for _, text in draw_all()["Inspect"]]
    place = drawn.index("Printed")
    assert drawn[place + 1] == "0.180 mm, needs 0.25"
    assert place > drawn.index("findings")


def test_the_figures_follow_the_click():
    mm_scene()
    put("a", box((0, 0, 0), (5, 5, 5)))
    put("b", box((0, 0, 0), (5, 5, 5)), at=(5.2, 0, 0))
    put("thin", box((0, 0, 0), (5, 5, 0.3)), at=(0, 20, 0))
    bpy.ops.linkwright.inspect()
    state = state_of(bpy.context)
    state.active = codes().index("wall-thin")
    drawn = texts(draw_all()["Inspect"])
    assert "Wall in Model | 0.300 mm" in drawn
    assert "0.300 mm, needs 0.8" in drawn
    assert "Gap in Model" not in drawn
    state.active = codes().index("gap-below-floor")
    drawn = texts(draw_all()["Inspect"])
    assert "Gap in Model" in drawn
    assert "Wall in Model" not in drawn


def test_fused_bodies_tell_how_deep():
    """Two boxes that share a slab 0.4 mm thick: pulled that far apart along it they only touch."""
    mm_scene()
    put("a", box((0, 0, 0), (5, 5, 5)))
    put("b", box((0.5, 0.5, 0.5), (4.5, 4.5, 4.5)), at=(4.1, 0, 0))
    bpy.ops.linkwright.inspect()
    (fused,) = rows("fused")
    assert float(figures(fused)["Fused Depth"].split()[0]) == pytest.approx(0.4, abs=0.02)


def test_neighbours_of_a_chain_are_told_by_their_joint(add_chain):
    ob = add_chain()
    bpy.context.scene.linkwright.gap_floor_mm = 1.0
    bpy.ops.linkwright.inspect()
    found = rows("gap-below-floor")
    links = ob.linkwright.figures.links
    where = {row.where for row in found}
    assert {"joint 3\u20134", f"joint {links}\u20131"} <= where
    assert len([text for text in where if text.startswith("joint")]) == links
    assert all(figures(row)["Printed"].endswith("needs 1") for row in found)
    assert "joint 3\u20134" in texts(draw_all()["Inspect"])


def test_foreign_bodies_keep_their_names():
    mm_scene()
    put("Clasp", box((0, 0, 0), (5, 5, 5)))
    put("link 2", box((0, 0, 0), (5, 5, 5)), at=(5.2, 0, 0))
    bpy.ops.linkwright.inspect()
    assert rows("gap-below-floor")[0].where == "Clasp, link 2"


def test_severities_are_counted_and_switched():
    state = three_kinds()
    drawn = draw_all()["Inspect"]
    place = drawn.index(("prop", "1 stop"))
    assert drawn[place : place + 3] == [("prop", "1 stop"), ("prop", "2 warn"), ("prop", "1 note")]
    assert drawn.index(("list", "findings")) > place
    assert [code for code, _ in listed(state)] == ["fused", "web-thin", "web-thin", "looks"]
    state.show_warn = False
    assert [code for code, _ in listed(state)] == ["fused", "looks"]
    state.show_stop = False
    assert [code for code, _ in listed(state)] == ["looks"]
    state.show_warn = state.show_stop = True
    state.show_note = False
    assert [code for code, _ in listed(state)] == ["fused", "web-thin", "web-thin"]


def test_a_new_result_keeps_what_is_switched_off():
    state = three_kinds()
    state.show_note = False
    three_kinds()
    assert not state.show_note
    assert state.warn_count == 2


def test_the_search_looks_through_what_is_switched_on():
    state = three_kinds()
    assert listed(state, "clasp") == [("fused", "Ring, Clasp")]
    assert [where for _, where in listed(state, "bail")] == ["Ring, Bail", "Arch, Bail"]
    assert [code for code, _ in listed(state, "bail", invert=True)] == ["fused", "looks"]
    state.show_warn = False
    assert listed(state, "bail") == []
    # Turned round, the search must not bring back what is switched off.
    assert [code for code, _ in listed(state, "bail", invert=True)] == ["fused", "looks"]


def test_sorted_by_name_the_worst_come_first():
    state = three_kinds()
    assert listed(state, alphabetical=True) == [
        ("fused", "Ring, Clasp"),
        ("web-thin", "Arch, Bail"),
        ("web-thin", "Ring, Bail"),
        ("looks", ""),
    ]


def test_a_finding_that_is_switched_off_is_not_told_below():
    def below():
        drawn = draw_all()["Inspect"]
        return drawn[drawn.index(("list", "findings")) :]

    state = three_kinds()
    state.active = 0
    assert ("label", "Fused") in below()
    state.show_stop = False
    assert ("label", "Fused") not in below()


def test_marks_in_the_view_follow_the_switches():
    state = three_kinds()
    overlay = Overlay()
    overlay._read(state)
    assert overlay._switched_on(state).tolist() == [True, True, True]
    state.show_warn = False
    assert overlay._switched_on(state).tolist() == [True, False, False]


@pytest.mark.parametrize("mm", [1.0, 1000.0])
@pytest.mark.parametrize("size", [1e-4, 0.011, 0.3, 800.0, 9000.0])
def test_a_mistaken_unit_is_mended_by_clicks(size, mm):
    (finding,) = size_findings(["Ring"], np.zeros((1, 3)), np.full((1, 3), size))
    text = panel_text(finding, mm=mm, labels={})
    assert text.startswith("Ring: ")
    assert f"{size:.4g} mm" in text
    assert not re.search(r"--\w", text)
    assert re.search(r"Set Millimetres|press S|\(S, ", text)
    assert ("Set Millimetres" in text) == (size > 500.0 and mm != 1.0)


def test_a_link_in_metres_names_the_factor_that_mends_it():
    (finding,) = size_findings(["Ring"], np.zeros((1, 3)), np.full((1, 3), 0.012))
    text = panel_text(finding, mm=1.0, labels={})
    assert "type 1000 if it was drawn in metres" in text
    assert "inches" not in text


def test_keys_of_a_job_file_go_by_their_names_in_the_panel(add_chain):
    add_chain()
    bpy.ops.linkwright.inspect()
    (hand,) = rows("hand")
    assert "give it as Hand" in hand.text
    for row in state_of(bpy.context).findings:
        assert not re.search(r"_mm\b|--\w", row.text), row.text


def test_a_choice_of_a_job_file_goes_by_its_name_in_the_panel():
    finding = Finding("size-off", "note", (), 'off; fit = "ease" meets it, or layout.inner_length_mm')
    labels = {"fit": "Fit", "inner_length_mm": "Inside Length (mm)"}
    assert panel_text(finding, mm=1.0, labels=labels) == "off; Fit set to Ease meets it, or Inside Length"
    assert panel_text(finding, mm=1.0, labels={}) == finding.text


def test_meshes_are_inspected_for_the_pour_of_the_scene():
    """The head decides how much a web bears, so the panel's choice must reach meshes of any origin."""
    mm_scene()
    put("a", box((0, 0, 0), (12, 12, 3)))
    put("b", box((0, 0, 0), (12, 12, 3)), at=(0, 0, 3.6))
    severities = {}
    for head in ("gravity", "spin"):
        bpy.context.scene.linkwright.head = head
        bpy.ops.linkwright.inspect()
        severities[head] = [row.text for row in rows("web-weak")]
        assert "Web Width" in figures(rows("web-weak")[0])
    assert "gravity" in severities["gravity"][0]
    assert "spin" in severities["spin"][0]


def test_other_limits_make_a_result_of_meshes_out_of_date():
    mm_scene()
    put("a", torus(8, 1.2))
    bpy.ops.linkwright.inspect()
    assert "Out of date" not in texts(draw_all()["Inspect"])
    bpy.context.scene.linkwright.wall_floor_mm = 1.0
    assert "Out of date: limits" in texts(draw_all()["Inspect"])
