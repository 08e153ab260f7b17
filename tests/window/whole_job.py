"""The whole job by mouse and keyboard, from an empty scene to the bench sheet.

Draw a curve and edit it, make the chain along it, inspect, click a finding, add the lattice, delete a gate and plan
again, see if it prints, plan the pour and go through it in time, undo, export.

`steps(hand, folder)` is played by `run_in_blender.py`.
"""

import json
import math
from pathlib import Path

import bpy
import scene
from scene import chain, host, idle, press, state, struts

# Blender adds its curve a metre to each side; scaled by this its ends are 90 mm apart.
SCALE = "0.045"
APART_MM = 90.0


def gates():
    """Give the gates of the lattice."""
    return [ob for ob in struts() if ob.name.startswith("gate")]


def steps(hand, folder):
    """Play the job; files go to ``folder``."""
    scene.empty()
    yield from hand.sidebar()
    yield from hand.picture("panel_empty")
    yield from press(hand, "linkwright.set_millimetres", lambda: _unit() == "MILLIMETERS", "the scene is in mm")
    yield from _draw_curve(hand)
    yield from _make_chain(hand)
    yield from _edit_curve(hand)
    yield from _inspect(hand)
    yield from _click_finding(hand)
    yield from _lattice(hand)
    yield from _gate(hand)
    yield from _print(hand)
    yield from _pour(hand)
    yield from _undo(hand)
    yield from _export(hand, Path(folder))


def _draw_curve(hand):
    """Add a curve from the menu of the view by keyboard, and scale it in Edit Mode."""
    scene.look(hand, 1.0)
    yield from hand.key("A", shift=True)
    yield 0.4
    yield from hand.type("bezier")
    yield 0.4
    yield from hand.key("RET")
    yield from hand.wait(lambda: any(ob.type == "CURVE" for ob in bpy.data.objects), "a curve is added", 10.0)
    yield from hand.key("TAB")
    yield from hand.wait(lambda: bpy.context.mode == "EDIT_CURVE", "Tab begins to edit it", 10.0)
    yield from hand.key("S")
    yield from hand.type(SCALE)
    yield from hand.key("RET")
    yield from hand.key("TAB")
    yield from hand.wait(lambda: bpy.context.mode == "OBJECT", "Tab ends it", 10.0)
    (curve,) = (ob for ob in bpy.data.objects if ob.type == "CURVE")
    ends = [point.co.x for point in curve.data.splines[0].bezier_points]
    hand.expect(math.isclose(ends[1] - ends[0], APART_MM, rel_tol=1e-4), f"its points are moved apart: {ends}")
    yield from hand.picture("curve")


def _make_chain(hand):
    yield from press(hand, "linkwright.add_chain(where='curve'", lambda: chain() is not None, "a chain is made")
    group = chain().linkwright
    hand.expect(group.curve is not None and group.shape == "curve", "it follows the curve")
    hand.expect(group.figures.links > 5, "it has its links")
    hand.expect(not group.figures.message, f"nothing stands against its sizes: {group.figures.message}")
    yield from hand.wait(lambda: chain().linkwright.figures.verified, "the gap is measured by itself", 30.0)
    yield from hand.wait(lambda: len(chain().linkwright.figures.play) > 0, "so is the free play of its joints", 60.0)
    yield from hand.wait(lambda: not state().checking, "nothing is left to check", 60.0)
    scene.look(hand, 120.0)
    yield from hand.picture("panel_chain")


def _edit_curve(hand):
    """Make the curve longer by hand: the chain says so, and follows when it is asked."""
    links = chain().linkwright.figures.links
    curve = chain().linkwright.curve
    for ob in bpy.context.selected_objects:
        ob.select_set(False)
    curve.select_set(True)
    bpy.context.view_layer.objects.active = curve
    yield from hand.key("TAB")
    yield from hand.key("S")
    yield from hand.type("1.3")
    yield from hand.key("RET")
    yield from hand.key("TAB")
    yield from hand.wait(lambda: chain().linkwright.figures.stale, "the chain is out of date then", 10.0)
    scene.select(chain())
    yield from press(
        hand, "linkwright.follow_curve", lambda: not chain().linkwright.figures.stale, "it follows its curve again"
    )
    hand.expect(chain().linkwright.figures.links > links, "the longer curve takes more links")


def _inspect(hand):
    yield from press(hand, "linkwright.inspect(", lambda: idle() and state().has_result, "the chain is inspected")
    hand.expect(chain().linkwright.figures.verified, "inspecting measures the gap")
    hand.expect(state().subject == chain().name, "what was inspected is the chain")


def _click_finding(hand):
    view = hand.area.spaces.active.region_3d
    before = view.view_distance
    rows = state().findings
    hand.expect(any(row.has_place for row in rows), "some finding has a place")
    first = next(k for k, row in enumerate(rows) if row.has_place)
    # A row of the list answers to the pointer with the path of the active row; rows are 20 px high.
    x, y = yield from hand.find("linkwright.active", column=0.3)
    yield from hand.click(x, y - 20 * max(first, 1) if first < 4 else y)
    yield from hand.wait(lambda: view.view_distance < before, "a click on a finding turns the view to it", 5.0)
    hand.expect(state().findings[state().active].has_place, "the row that was clicked is the active one")
    yield from hand.picture("panel_finding")
    scene.look(hand, 160.0)


def _lattice(hand):
    """Start the lattice and stop it with Esc, then let it come to its end; undo it, and redo."""
    names = {ob.name for ob in bpy.data.objects}
    work = host("long_work")
    kept, work.SLICE_S = work.SLICE_S, 1e-4
    x, y = yield from hand.find("linkwright.add_lattice")
    yield from hand.click(x, y)
    hand.expect(bool(state().running), "the work goes on between two redraws")
    yield from hand.key("ESC")
    yield from hand.wait(idle, "Esc stops the work", 20.0)
    hand.expect({ob.name for ob in bpy.data.objects} == names, "a stopped run leaves the scene as it was")
    work.SLICE_S = kept
    yield from press(hand, "linkwright.add_lattice", lambda: idle() and bool(struts()), "the lattice is planned")
    hand.expect(len(gates()) > 5, "it has gates")
    yield from hand.picture("panel_lattice")
    count = len(struts())
    yield from hand.key("Z", ctrl=True)
    yield from hand.wait(lambda: not struts(), "one undo takes the lattice away", 20.0)
    yield from hand.key("Z", ctrl=True, shift=True)
    yield from hand.wait(lambda: len(struts()) == count, "redo brings it back", 20.0)


def _gate(hand):
    """Delete a gate with the key, and have the lattice planned again without it."""
    gate = gates()[len(gates()) // 2]
    name, place = gate.name, _middle(gate)
    scene.select(gate)
    yield 0.5
    yield from hand.picture("gate")
    yield from hand.key("DEL")
    yield from hand.wait(lambda: name not in bpy.data.objects, "the key deletes the gate", 10.0)
    scene.select(chain())
    yield 1.0
    yield from press(hand, "linkwright.add_lattice", idle, "the lattice is planned again")
    hand.expect(_by_hand(), "the chain remembers that the gate is not wanted where it stood")
    again = bpy.data.objects.get(name)
    hand.expect(again is None or _middle(again) != place, "no gate stands where the deleted one stood")
    yield from press(hand, "linkwright.clear_edits", lambda: not _by_hand(), "what was done by hand is forgotten")
    yield from press(
        hand, "linkwright.add_lattice", lambda: idle() and name in bpy.data.objects and
        _middle(bpy.data.objects[name]) == place, "planned again the gate is back where it was"
    )  # fmt: skip


def _by_hand():
    kept = chain().linkwright.edits
    return "removed" in kept or "barred" in kept


def _middle(ob):
    corners = [ob.matrix_world @ vertex.co for vertex in ob.data.vertices]
    return [round(sum(corner[k] for corner in corners) / len(corners), 3) for k in range(3)]


def _print(hand):
    done = "the print is checked"
    yield from press(hand, "linkwright.check_print", lambda: idle() and len(state().print_figures) > 0, done, 300.0)
    view, drawn = host("print_view").section, host("gap_colours").colours
    hand.expect(view.stands(state(), bpy.context.scene), "a layer is outlined in its place")
    hand.expect(
        drawn.shown(state(), bpy.context.scene).title.startswith("light"), "the light is on the links, with its legend"
    )
    before, height = view.held, state().section_mm
    x, y = yield from hand.find("linkwright.section_share", column=0.6)
    yield from hand.drag(x, y, 60)
    yield from hand.wait(lambda: state().section_mm > height, "the slider goes up through the layers", 5.0)
    hand.expect(view.held is not before, "the outline follows the slider")
    yield from hand.picture("panel_print")


def _pour(hand):
    yield from press(hand, "linkwright.plan_cast", lambda: idle() and len(state().plan) > 0, "the pour is planned")
    hand.expect(bool(state().verdict), "there is a verdict")
    share = state().cast_share
    x, y = yield from hand.find("linkwright.colour_by", column=0.25)
    yield from hand.click(x, y)
    yield from hand.wait(lambda: state().colour_by == "FILL", "a click shows the metal running in", 5.0)
    x, y = yield from hand.find("linkwright.cast_share", column=0.6)
    yield from hand.drag(x, y, -60)
    yield from hand.wait(lambda: state().cast_share < share, "the slider goes back in time", 5.0)
    yield from hand.picture("panel_pour")


def _undo(hand):
    """Change a size in the panel and take it back: results belong to what is shown, and say so when it is not."""
    gap = chain().linkwright.gap_mm
    yield from hand.to_top()
    yield from scene.fill(hand, "linkwright.gap_mm", "0.45", lambda: abs(chain().linkwright.gap_mm - 0.45) < 1e-6)
    yield from hand.key("Z", ctrl=True)
    yield from hand.wait(lambda: chain().linkwright.gap_mm == gap, "undo brings the number back", 20.0)
    hand.expect(bool(struts()), "the lattice stands through it")


def _export(hand, folder):
    """Press Export, give the folder in the file browser, and look at what was written."""
    yield from scene.export(hand, folder)
    names = sorted(path.name for path in folder.iterdir())
    hand.expect({"report.json", "sheet.html"} <= set(names), f"report and sheet are written: {names}")
    report = json.loads((folder / "report.json").read_text(encoding="utf-8"))
    stop = [found["code"] for found in report["findings"] if found["severity"] == "stop"]
    hand.expect(("print.stl" in names) == (not stop), f"a print file exactly where no stop stands: {names}, {stop}")
    hand.expect(report["chain"]["links"] == chain().linkwright.figures.links, "the report is about this chain")


def _unit():
    return bpy.context.scene.unit_settings.length_unit
