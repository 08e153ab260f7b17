"""What is switched, searched, measured and refused, in a small window and Blender's light theme.

Show a chain as worn and back, undo and redo by keyboard, switch severities and colours, find an operator by F3, have an
export refused and mend it, read a gauge.

`steps(hand, folder)` is played by `run_in_blender.py`.
"""

from pathlib import Path

import bpy
import scene
from scene import chain, host, idle, press, state

# Long enough to go round a wrist, with few links.
LENGTH_MM = 150.0
FLOOR_MM, HIGH_FLOOR_MM = 0.25, 0.8
# From the middle of a button's row to the middle of the header under it, at Blender's usual scale: in its own panel, of
# the next one.
HEADER_PX, NEXT_HEADER_PX = 26, 32
SEVERITIES = ("stop", "warn", "note")


def steps(hand, folder):
    """Play the job; files go to ``folder``."""
    scene.empty()
    _light_theme()
    bpy.ops.linkwright.set_millimetres()
    yield from hand.sidebar()
    yield from hand.picture("light_empty")
    yield from press(hand, "linkwright.add_chain(where='ring'", lambda: chain() is not None, "a chain is made")
    group = chain().linkwright
    group.shape, group.straight_size, group.length_mm = "straight", "LENGTH", LENGTH_MM
    scene.look(hand, 190.0)
    yield from hand.wait(lambda: chain().linkwright.figures.verified, "the gap is measured by itself", 60.0)
    yield from hand.wait(lambda: not state().checking, "nothing is left to check", 60.0)
    yield from hand.picture("light_chain")
    yield from _worn_and_back(hand)
    yield from _too_high_a_floor(hand)
    yield from press(hand, "linkwright.inspect(", lambda: idle() and state().has_result, "the chain is inspected")
    hand.expect(state().stop_count > 0, "no gap reaches that floor")
    yield from _severities(hand)
    yield from _colours(hand)
    yield from _refused_and_mended(hand, Path(folder))
    yield from _search(hand)
    yield from _gauge(hand)


def _light_theme():
    folder = Path(bpy.utils.preset_paths("interface_theme")[0])
    bpy.ops.script.execute_preset(
        filepath=str(folder / "Blender_Light.xml"), menu_idname="USERPREF_MT_interface_theme_presets"
    )


def _worn_and_back(hand):
    before = _places()
    worn = "linkwright.preview_worn"
    yield from press(hand, worn, lambda: idle() and chain().linkwright.figures.worn_view, "the chain is shown as worn")
    hand.expect(_places() != before, "worn it lies elsewhere than printed")
    yield from hand.picture("light_worn")
    yield from press(hand, worn, lambda: idle() and not chain().linkwright.figures.worn_view, "and as printed again")
    hand.expect(_places() == before, "going back puts the links where they were")


def _places():
    links = [ob for ob in bpy.data.objects if ob.linkwright.part == "LINK"]
    return [[round(c, 5) for c in link.location] for link in links]


def _floor():
    return round(bpy.context.scene.linkwright.gap_floor_mm, 3)


def _too_high_a_floor(hand):
    """Open the limits, type a floor that no gap reaches, undo and redo it by keyboard."""
    x, y = yield from hand.find("linkwright.inspect(", column=0.3)
    yield from hand.click(x, y - HEADER_PX)
    yield 0.5
    yield from scene.fill(hand, "linkwright.gap_floor_mm", f"{HIGH_FLOOR_MM}", lambda: _floor() == HIGH_FLOOR_MM)
    yield from hand.key("Z", ctrl=True)
    yield from hand.wait(lambda: _floor() == FLOOR_MM, "undo brings the floor back", 20.0)
    yield from hand.key("Z", ctrl=True, shift=True)
    yield from hand.wait(lambda: _floor() == HIGH_FLOOR_MM, "redo sets it again", 20.0)
    hand.expect(chain() is not None and len(_places()) == chain().linkwright.figures.links, "the chain stands")


def _severities(hand):
    """Switch each severity off and on again by its button."""
    for severity in SEVERITIES:
        name, others = f"show_{severity}", [f"show_{other}" for other in SEVERITIES if other != severity]
        x, y = yield from hand.find(f"linkwright.{name}", column=0.2 + 0.3 * SEVERITIES.index(severity))
        yield from hand.click(x, y)
        yield from hand.wait(lambda name=name: not getattr(state(), name), f"a click on {name} leaves them out", 10.0)
        hand.expect(all(getattr(state(), other) for other in others), "the other severities stay")
        if severity == "stop":
            yield from hand.picture("light_without_stops")
        yield from hand.click(x, y)
        yield from hand.wait(lambda name=name: getattr(state(), name), "another click lists them again", 10.0)


def _colours(hand):
    """Switch the colours of the gaps off and on again: they are drawn over the links and leave the file alone."""
    drawn, kept = host("gap_colours").colours, _counts()
    hand.expect(drawn.stands(state(), bpy.context.scene), "the colours belong to what is shown")
    yield from hand.picture("light_gaps")
    x, y = yield from hand.find("linkwright.colours", column=0.7)
    yield from hand.click(x, y)
    yield from hand.wait(lambda: not state().colours, "a click takes the colours away", 10.0)
    hand.expect(not drawn.stands(state(), bpy.context.scene), "no colours are drawn then")
    yield from hand.picture("light_plain")
    yield from hand.click(x, y)
    yield from hand.wait(lambda: state().colours, "another brings them back", 10.0)
    hand.expect(_counts() == kept, "the colours put nothing into the file")


def _counts():
    data = bpy.data
    attributes = sum(len(mesh.attributes) for mesh in data.meshes)
    return len(data.objects), len(data.meshes), len(data.materials), len(data.images), attributes


def _refused_and_mended(hand, folder):
    """Export in spite of the stops, which the panel names before; set the floor right, inspect, export."""
    names = [row.name for row in state().overrides]
    hand.expect(names == ["gap-below-floor"], f"what will refuse the files is known before: {names}")
    yield from hand.find("overrides[0].allow", column=0.7)
    yield from scene.export(hand, folder)
    written = sorted(path.name for path in folder.iterdir())
    hand.expect(state().exported.startswith("Refused"), f"the export is refused: {state().exported}")
    hand.expect(written == ["report.json", "sheet.html"], f"the papers are written, no print file: {written}")
    # Blender shows an error in a pop-up that takes mouse and wheel until it is closed.
    yield from hand.key("ESC")
    yield from hand.picture("light_refused")
    yield from hand.to_top()
    yield from scene.fill(hand, "linkwright.gap_floor_mm", f"{FLOOR_MM}", lambda: _floor() == FLOOR_MM)
    yield from press(
        hand, "linkwright.inspect(", lambda: idle() and state().stop_count == 0, "inspected again no stop stands"
    )
    hand.expect(not len(state().overrides), "nothing refuses the files any more")
    yield from scene.export(hand, folder)
    written = sorted(path.name for path in folder.iterdir())
    hand.expect({"print.3mf", "print.stl"} <= set(written), f"the print files are written: {written}")
    hand.expect(state().exported.startswith("Written"), f"the panel says so: {state().exported}")
    yield from hand.picture("light_written")


def _search(hand):
    """Find an operator by its name, as it is found in the menus."""
    hand.expect(not len(state().layouts), "no layouts are compared yet")
    yield from hand.key("F3")
    yield 1.0
    yield from hand.type("compare layouts")
    yield 1.0
    yield from hand.key("RET")
    yield from hand.wait(lambda: idle() and len(state().layouts) > 2, "F3 finds and runs Compare Layouts", 120.0)


def _gauge(hand):
    """Add the gauge beside the chain from its panel, which is closed at first, and write down what was measured."""
    bpy.context.scene.cursor.location = (-60.0, 60.0, 0.0)
    yield from hand.find("linkwright.clear_findings", column=0.83)
    # The header of its panel stands under that row, which may be the last that is seen.
    yield from hand.scroll(4)
    _, y = yield from hand.find("linkwright.clear_findings", column=0.83)
    yield from hand.click(hand.region("UI").x + 60, y - NEXT_HEADER_PX)
    yield 0.5
    gauge = bpy.context.scene.linkwright_gauge
    yield from press(hand, "linkwright.add_gauge", lambda: len(gauge.readings) > 0, "a gauge is added", 30.0)
    told, names = host("translated").told, host("panel_gauge").FACE_NAMES
    rows = [f"{row.gap_mm:.3g} {told(names[row.face])}" for row in gauge.readings]
    hand.expect(len(rows) == 20 and len(set(rows)) == 20, f"each of its gaps has a row of its own name: {rows}")
    yield from scene.fill(
        hand, "readings[0].measured_mm", "0.12", lambda: abs(gauge.readings[0].measured_mm - 0.12) < 1e-6
    )
    yield from hand.picture("light_gauge")
