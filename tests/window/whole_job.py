"""The whole job by mouse: add a chain, inspect, look at the findings, stop with Esc, add the lattice, see if it prints,
plan, export; and a gauge beside it.

`steps(hand, folder)` is played by `run_in_blender.py`.
"""

import json
import sys
from pathlib import Path

import bpy

# From a row of the Inspect panel to the header of the panel under it.
HEADER_PX = 32


def state():
    """Give the results beside the window."""
    return bpy.context.window_manager.linkwright


def chain():
    """Give the one chain of the scene, or None."""
    return next((ob for ob in bpy.data.objects if ob.linkwright.schema), None)


def press(hand, words, done, said, seconds=120.0):
    """Click a button and wait until its work is done."""
    x, y = yield from hand.find(words)
    yield from hand.click(x, y)
    yield from hand.wait(done, said, seconds)
    yield 0.5


def idle():
    """Tell whether nothing runs."""
    return not state().running


def struts():
    """Give the lattice's objects."""
    return [ob for ob in bpy.data.objects if ob.linkwright.part == "STRUT"]


def steps(hand, folder, shown=None):
    """Play the job; files go to ``folder``, which the panel may name in another way (``shown``)."""
    for ob in list(bpy.data.objects):
        bpy.data.objects.remove(ob)
    bpy.context.scene.linkwright.folder = shown or str(folder)
    yield from hand.sidebar()
    yield from hand.picture("empty")
    yield from press(
        hand, "linkwright.set_millimetres", lambda: _unit() == "MILLIMETERS", "the scene is in millimetres"
    )
    yield from press(hand, "linkwright.add_chain(where='ring'", lambda: chain() is not None, "a chain is made")
    _turn(hand, 1.05)
    yield 0.5
    yield from hand.picture("chain")
    hand.expect(chain().linkwright.figures.links > 20, "the chain has its links")
    yield from hand.wait(lambda: chain().linkwright.figures.verified, "the gap is measured by itself", 20.0)
    yield from hand.wait(lambda: len(chain().linkwright.figures.play) > 0, "its joints are moved by themselves", 30.0)
    yield from _worn_and_back(hand)

    yield from press(hand, "linkwright.inspect", lambda: idle() and state().has_result, "the chain is inspected")
    hand.expect(chain().linkwright.figures.verified, "inspecting measures the gap")
    yield from hand.picture("inspected")
    yield from _click_finding(hand)
    yield from _gaps_on_links(hand)
    yield from _switch_severities(hand)
    _whole(hand)

    # The job is done in the blink of an eye: in small slices it lasts long enough to be stopped and to be seen.
    work = next(module for name, module in sys.modules.items() if name.endswith("linkwright.host.long_work"))
    slice_s, work.SLICE_S = work.SLICE_S, 1e-4
    yield from _stop_by_escape(hand)
    x, y = yield from hand.find("linkwright.add_lattice")
    yield from hand.click(x, y)
    yield from hand.picture("running")
    work.SLICE_S = slice_s
    yield from hand.wait(lambda: idle() and bool(struts()), "the lattice is planned")
    _whole(hand)
    yield 0.5
    yield from hand.picture("lattice")
    count = len(bpy.data.objects)
    yield from hand.key("Z", ctrl=True)
    yield from hand.wait(lambda: not struts(), "one undo takes the lattice away", 20.0)
    yield from hand.key("Z", ctrl=True, shift=True)
    yield from hand.wait(lambda: len(bpy.data.objects) == count, "redo brings it back", 20.0)

    yield from _check_print(hand)
    yield from press(hand, "linkwright.plan_cast", lambda: idle() and len(state().plan) > 0, "the pour is planned")
    yield from hand.picture("planned")
    yield from press(hand, "linkwright.export", lambda: idle() and bool(state().exported), "the export is done", 240.0)
    yield from hand.scroll(40)
    yield from hand.picture("exported")
    names = sorted(path.name for path in Path(folder).iterdir())
    hand.expect({"report.json", "sheet.html"} <= set(names), f"report and sheet are written: {names}")
    report = json.loads((Path(folder) / "report.json").read_text(encoding="utf-8"))
    stop = [f["code"] for f in report["findings"] if f["severity"] == "stop"]
    hand.expect(("print.stl" in names) == (not stop), f"a print file exactly where no stop stands: {names}, {stop}")
    yield from _gauge(hand)


def _worn_and_back(hand):
    before = _places()
    worn = "linkwright.preview_worn"
    yield from press(hand, worn, lambda: idle() and chain().linkwright.figures.worn_view, "the chain is shown as worn")
    yield from hand.picture("worn")
    hand.expect(_places() != before, "worn it lies elsewhere than printed")
    yield from press(hand, worn, lambda: idle() and not chain().linkwright.figures.worn_view, "and as printed again")
    hand.expect(_places() == before, "going back puts the links where they were")


def _places():
    links = [ob for ob in bpy.data.objects if ob.linkwright.part == "LINK"]
    return [[round(c, 5) for c in link.location] for link in links]


def _unit():
    return bpy.context.scene.unit_settings.length_unit


def _click_finding(hand):
    view = hand.area.spaces.active.region_3d
    before = view.view_distance
    rows = state().findings
    with_place = [k for k, row in enumerate(rows) if row.has_place]
    hand.expect(bool(with_place), "some finding has a place")
    # Rows of the list answer to the pointer with the path of the active row; the first is about the whole piece.
    x, y = yield from hand.find("linkwright.active", column=0.3)
    yield from hand.click(x, y - 20)
    yield from hand.wait(lambda: view.view_distance < before, "a click on a finding turns the view to it", 5.0)
    row = rows[state().active]
    hand.expect(row.where.startswith("joint "), f"a finding between neighbours names their joint: {row.where}")
    ladder = ["Gap in Model", "Printed", "Mould Web", "Cast", "Finished"]
    hand.expect([line.name for line in row.figures][:5] == ladder, "its gap goes down the ladder")
    # The figures stand below the list.
    yield from hand.scroll(6)
    yield from hand.picture("finding")


def _gaps_on_links(hand):
    """Switch the colours of the gaps off and on again: they are drawn over the links and leave the file alone."""
    drawn = next(module for name, module in sys.modules.items() if name.endswith("linkwright.host.gap_colours")).colours
    kept = _counts()
    x, y = yield from hand.find("linkwright.colours", column=0.75)
    # Nothing of ours over the links but their colours.
    state().overlay = False
    yield from hand.picture("gaps on links")
    hand.expect(drawn.stands(state(), bpy.context.scene), "the colours belong to what is shown")
    yield from hand.click(x, y)
    yield from hand.wait(lambda: not state().colours, "a click takes the colours away", 5.0)
    hand.expect(not drawn.stands(state(), bpy.context.scene), "no colours are drawn then")
    yield from hand.picture("plain links")
    yield from hand.click(x, y)
    yield from hand.wait(lambda: state().colours, "another brings them back", 5.0)
    state().overlay = True
    hand.expect(_counts() == kept, "the colours put nothing into the file")


def _counts():
    data = bpy.data
    attributes = sum(len(mesh.attributes) for mesh in data.meshes)
    return len(data.objects), len(data.meshes), len(data.materials), len(data.images), attributes


def _switch_severities(hand):
    x, y = yield from hand.find("linkwright.show_warn", column=0.5)
    yield from hand.click(x, y)
    yield from hand.wait(lambda: not state().show_warn, "a click leaves the warnings out of the list", 5.0)
    hand.expect(state().show_stop and state().show_note, "the other severities stay")
    yield from hand.picture("without warnings")
    yield from hand.click(x, y)
    yield from hand.wait(lambda: state().show_warn, "another click lists them again", 5.0)


def _check_print(hand):
    """See whether the chain on its lattice prints, go through its layers, and look at the light on it."""
    done = "the print is checked"
    yield from press(hand, "linkwright.check_print", lambda: idle() and len(state().print_figures) > 0, done, 240.0)
    view = next(module for name, module in sys.modules.items() if name.endswith("linkwright.host.print_view")).section
    drawn = next(module for name, module in sys.modules.items() if name.endswith("linkwright.host.gap_colours")).colours
    scene = bpy.context.scene
    hand.expect(view.stands(state(), scene), "a layer is outlined in its place")
    hand.expect(drawn.shown(state(), scene).title.startswith("light"), "the light is on the links, with its legend")
    yield from hand.picture("print checked")
    before = view.held
    x, y = yield from hand.find("linkwright.section_share", column=0.6)
    height = state().section_mm
    yield from _drag(hand, x, y, 60)
    yield from hand.wait(lambda: state().section_mm > height, "the slider goes up through the layers", 5.0)
    hand.expect(view.held is not before, "the outline follows the slider")
    state().overlay = False
    yield from hand.picture("layer")
    state().overlay = True


def _drag(hand, x, y, across):
    yield from hand.move(x, y)
    yield 0.1
    hand.window.event_simulate(type="LEFTMOUSE", value="PRESS", x=int(x), y=int(y))
    for step in range(1, 11):
        yield 0.05
        hand.window.event_simulate(type="MOUSEMOVE", value="NOTHING", x=int(x + across * step / 10), y=int(y))
    yield 0.05
    hand.window.event_simulate(type="LEFTMOUSE", value="RELEASE", x=int(x + across), y=int(y))
    yield 0.1


def _gauge(hand):
    """Add the gauge beside the chain from its panel, which is closed at first, and inspect it."""
    bpy.context.scene.cursor.location = (-60.0, 60.0, 0.0)
    _, y = yield from hand.find("linkwright.clear_findings", column=0.82)
    # The header of the panel stands right under that row.
    yield from hand.click(hand.region("UI").x + 60, y - HEADER_PX)
    yield 0.5
    yield from press(hand, "linkwright.add_gauge", lambda: _gauge_parts(), "a gauge is added", 20.0)
    hand.expect(len(bpy.context.scene.linkwright_gauge.readings) == 20, "each of its gaps waits to be read")
    yield from hand.picture("gauge")
    yield from press(hand, "linkwright.inspect", lambda: idle() and not state().subject, "the gauge is inspected")
    hand.expect(not any(row.where.startswith("joint") for row in state().findings), "foreign bodies keep their names")
    yield from hand.picture("gauge inspected")


def _gauge_parts():
    return [ob for ob in bpy.context.selected_objects if any(c.name.startswith("Gauge") for c in ob.users_collection)]


def _stop_by_escape(hand):
    names = {ob.name for ob in bpy.data.objects}
    x, y = yield from hand.find("linkwright.add_lattice")
    yield from hand.click(x, y)
    hand.expect(bool(state().running), "the work goes on between two redraws")
    yield from hand.key("ESC")
    yield from hand.wait(idle, "Esc stops the work", 20.0)
    hand.expect({ob.name for ob in bpy.data.objects} == names, "a stopped run leaves the scene as it was")


def _turn(hand, tilt):
    from mathutils import Euler

    hand.area.spaces.active.region_3d.view_rotation = Euler((tilt, 0.0, 0.5)).to_quaternion()


def _whole(hand):
    view = hand.area.spaces.active.region_3d
    view.view_location, view.view_distance = (0.0, 0.0, -6.0), 130.0
