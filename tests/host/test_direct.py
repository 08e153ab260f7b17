"""Work in the 3D view: handles that drag sizes and gates, pointing at gates, the gap at the pointer, keys and menus.

What a drag makes is measured on the links in the scene; gaps are measured again by trimesh. The pointer itself is
played by stand-ins for events: the wheel has no window.
"""

import importlib.util
import math
from pathlib import Path
from types import SimpleNamespace

import bpy
import numpy as np
import pytest
import trimesh
from scipy.spatial import cKDTree
from trimesh.proximity import closest_point_naive

import addon
from addon.host import gap_reader as gap_reader_module
from addon.host import keys, long_work, menus, op_drag, op_gate, pointing, pointing_edit
from addon.host.chain_object import change_together
from addon.host.conversions import double
from addon.host.gap_reader import NOTHING, WORN, gap_lines, reader
from addon.host.gizmos import LINKWRIGHT_GGT_gate, LINKWRIGHT_GGT_sizes, handles_switch
from addon.host.handles import along_line, size_handle, width_handle
from addon.host.lattice_edits import strut_of
from addon.host.op_drag import LINKWRIGHT_OT_drag_size, LINKWRIGHT_OT_drag_width
from addon.host.op_gate import LINKWRIGHT_OT_add_gate, LINKWRIGHT_OT_lead_gate
from addon.host.pointing import Pointed
from addon.host.result_state import state_of
from addon.host.showing import parts
from addon.host.units import mm_per_unit
from tests.host.recorder import Recorder, draw_all, texts
from tests.host.test_chain_object import line, select
from tests.host.test_inspect import mm_scene, put
from tests.host.test_lattice_editing import (
    NEAR_MM,
    WIRE_MM,
    chain,
    fed,
    gate,
    gates,
    link,
    own,
    saved,
    stands,
    top,
    undoes_in_one_step,
)
from tests.host.test_print_check import three_links

__all__ = ["fed", "saved"]


def corners(ob, mm):
    """Give every point of every link of a chain, in the chain's coordinates in mm."""
    found = []
    for one in parts(ob, "LINK"):
        matrix = double(one.matrix_basis)
        found.append(np.array([v.co for v in one.data.vertices]) @ matrix[:3, :3].T + matrix[:3, 3])
    return np.concatenate(found) * mm


# Handles: where they stand and what they do.


@pytest.mark.parametrize(
    ("choice", "key", "scale"),
    [
        ("INNER", "inner_length_mm", 0.001), ("WRIST", "wrist_mm", 1.0), ("FINGER", "finger_mm", 0.001),
        ("LINKS", "links", 1.0),
    ],
)  # fmt: skip
def test_the_ring_grows_as_far_as_its_handle_is_dragged(add_chain, choice, key, scale):
    bpy.context.scene.unit_settings.scale_length = scale
    mm = mm_per_unit(bpy.context.scene)
    ob = add_chain()
    change_together(ob, bpy.context, {"ring_size": choice, "finger_mm": 170.0, "chord_mm": 0.1})
    held = size_handle(ob, mm)
    assert held.key == key
    # It stands clear of the metal, on the ring's plane.
    assert held.place @ held.along > (corners(ob, mm) @ held.along).max() + 1.0
    assert held.place[2] == pytest.approx(0.0, abs=1e-4)
    figures = ob.linkwright.figures
    before, worn, links = radius(ob, mm), figures.worn_mm, figures.links
    value = held.dragged(getattr(ob.linkwright, key), 4.0)
    change_together(ob, bpy.context, {key: round(value) if held.whole else value})
    # The inside as worn grows by 2 pi for every mm, but for half a link either way before and after.
    assert figures.worn_mm - worn == pytest.approx(8.0 * math.pi, abs=worn / links)
    assert figures.links > links
    assert radius(ob, mm) > before + 2.0


def radius(ob, mm):
    return mm * float(np.mean([np.linalg.norm(double(one.matrix_basis)[:2, 3]) for one in parts(ob, "LINK")]))


def test_a_straight_chain_reaches_as_far_as_its_handle(add_chain):
    mm_scene()
    ob = add_chain(where="straight")
    change_together(ob, bpy.context, {"chord_mm": 0.1})
    held = size_handle(ob, 1.0)
    assert held.key == "length_mm"
    assert held.place @ held.along > (corners(ob, 1.0) @ held.along).max()
    worn, links = ob.linkwright.figures.worn_mm, ob.linkwright.figures.links
    change_together(ob, bpy.context, {"length_mm": held.dragged(ob.linkwright.length_mm, 30.0)})
    assert ob.linkwright.figures.worn_mm - worn == pytest.approx(60.0, abs=worn / links)


def test_the_width_grows_on_both_sides(add_chain):
    mm_scene()
    ob = add_chain()
    held = width_handle(ob, 1.0)
    before = np.ptp([v.co.y for v in link(ob, 1).data.vertices])
    assert bpy.ops.linkwright.drag_width(size=held.dragged(ob.linkwright.link_width_mm, 0.5)) == {"FINISHED"}
    after = np.ptp([v.co.y for v in link(ob, 1).data.vertices])
    assert after - before == pytest.approx(1.0, abs=0.02)


def test_limits_and_steps(add_chain):
    mm_scene()
    ob = add_chain()
    held = size_handle(ob, 1.0)
    assert held.dragged(186.0, -1000.0) == held.low == 1.0
    assert held.dragged(186.0, 1e9) == held.high
    assert held.high == pytest.approx(200 * ob.linkwright.figures.worn_mm / ob.linkwright.figures.links, rel=1e-3)
    assert held.dragged(186.0, 0.3, 1.0) == 188.0
    change_together(ob, bpy.context, {"ring_size": "LINKS"})
    held = size_handle(ob, 1.0)
    assert held.whole
    assert held.dragged(30.0, 0.2) == 30.0
    assert held.dragged(30.0, 1e9) == 200.0


def test_what_has_no_size_of_its_own_has_no_handle(add_chain):
    mm_scene()
    select(line([(0, 0, 0), (100, 0, 0)]))
    ob = add_chain(where="curve")
    assert size_handle(ob, 1.0) is None
    assert width_handle(ob, 1.0) is not None
    with pytest.raises(RuntimeError, match="fills its curve"):
        bpy.ops.linkwright.drag_size(size=50.0)


def test_the_place_on_a_line_nearest_to_a_view_ray_is_that_of_least_squares():
    rng = np.random.default_rng(3)
    for _ in range(20):
        origin, place = rng.normal(size=(2, 3)) * 50.0
        ahead, along = (v / np.linalg.norm(v) for v in rng.normal(size=(2, 3)))
        (_, wanted), *_ = np.linalg.lstsq(np.column_stack((ahead, -along)), place - origin, rcond=None)
        assert along_line(origin, ahead, place, along) == pytest.approx(wanted, abs=1e-9)
    assert along_line(np.zeros(3), along, place, along) is None


@pytest.mark.parametrize(
    ("call", "key"),
    [
        (lambda: bpy.ops.linkwright.drag_size("EXEC_DEFAULT", True, size=200.0), "inner_length_mm"),
        (lambda: bpy.ops.linkwright.drag_width("EXEC_DEFAULT", True, size=10.5), "link_width_mm"),
    ],
    ids=["size", "width"],
)
def test_a_size_by_call_is_one_undo_step_and_a_bad_one_changes_nothing(add_chain, call, key):
    ob = add_chain()
    bpy.ops.ed.undo_push(message="before")
    before = getattr(ob.linkwright, key), ob.linkwright.figures.stamp
    call()
    ob = bpy.context.active_object
    assert (getattr(ob.linkwright, key), ob.linkwright.figures.stamp) != before
    bpy.ops.ed.undo()
    ob = bpy.context.active_object
    assert (getattr(ob.linkwright, key), ob.linkwright.figures.stamp) == before
    with pytest.raises(RuntimeError, match="too thick for a link"):
        bpy.ops.linkwright.drag_width(size=1.0)
    assert (getattr(ob.linkwright, key), ob.linkwright.figures.stamp) == before


def test_a_scaled_or_worn_chain_is_refused_in_words(add_chain):
    ob = add_chain()
    ob.scale = (2.0, 2.0, 2.0)
    bpy.context.view_layer.update()
    with pytest.raises(RuntimeError, match="is scaled by"):
        bpy.ops.linkwright.drag_size(size=200.0)
    ob.scale = (1.0, 1.0, 1.0)
    ob.linkwright.figures.worn_view = True
    with pytest.raises(RuntimeError, match="press Show as Printed first"):
        bpy.ops.linkwright.drag_size(size=200.0)


# Drags and clicks, event by event.


class Context:
    """The context as it is, with what a window would add."""

    def __init__(self):
        area = next(area for area in bpy.context.window.screen.areas if area.type == "VIEW_3D")
        self.area, self.status, self.cursors, self.modal = area, [], [], 0
        self.region = next(region for region in area.regions if region.type == "WINDOW")
        self.workspace = SimpleNamespace(status_text_set=self.status.append)
        self.window = SimpleNamespace(
            cursor_modal_set=self.cursors.append, cursor_modal_restore=self.cursors.clear, modal_operators=()
        )
        real = bpy.context.window_manager
        self.window_manager = SimpleNamespace(
            modal_handler_add=self._add, event_timer_add=lambda *_, **__: "timer", event_timer_remove=lambda _: None,
            windows=real.windows, linkwright=real.linkwright,
        )  # fmt: skip

    def _add(self, _):
        self.modal += 1

    def __getattr__(self, name):
        return getattr(bpy.context, name)


def event(kind, value="NOTHING", at=(0, 0), **held):
    keys_held = {"shift": False, "ctrl": False, "alt": False, "oskey": False} | held
    return SimpleNamespace(type=kind, value=value, mouse_x=at[0], mouse_y=at[1], **keys_held)


def stand_in(cls):
    """Make an operator that is no Blender object: its own methods, and what it reports in a list."""
    bases = tuple(base for base in cls.__mro__[1:] if base.__module__.startswith("addon"))[:1]
    own_names = {k: v for k, v in vars(cls).items() if not k.startswith("__") and k != "bl_rna"}
    made = type("StandIn", bases, own_names)()
    made.reports = []
    made.report = lambda _kind, text: made.reports.append(text)
    for name in ("body", "gate"):
        setattr(made, name, "")
    made.place, made.above = (0.0, 0.0, 0.0), False
    return made


@pytest.fixture
def drag(add_chain, monkeypatch):
    """A chain, an operator that drags, and a pointer whose x is mm along the way of the handle."""
    mm_scene()
    ob = add_chain()
    change_together(ob, bpy.context, {"chord_mm": 0.1})
    monkeypatch.setattr(op_drag, "view_ray", lambda *args: args)
    monkeypatch.setattr(op_drag, "along_line", lambda _region, _view, x, _y, *_: float(x))
    return ob, Context()


def test_a_drag_follows_the_pointer_and_ends_where_the_button_is_let_go(drag):
    ob, context = drag
    op = stand_in(LINKWRIGHT_OT_drag_size)
    assert op.invoke(context, event("LEFTMOUSE", "PRESS", (10, 0))) == {"RUNNING_MODAL"}
    assert context.modal == 1
    assert "Esc: as it was" in context.status[-1]
    op.modal(context, event("MOUSEMOVE", at=(12, 0)))
    assert ob.linkwright.inner_length_mm == pytest.approx(186.0 + 4.0 * math.pi, abs=1e-4)
    assert op._pointer.words.startswith("Inside Length (mm): 198.6")
    assert f"{ob.linkwright.figures.links} links" in op._pointer.words
    op.modal(context, event("MOUSEMOVE", at=(14, 0), shift=True))
    assert ob.linkwright.inner_length_mm == pytest.approx(186.0 + 4.4 * math.pi, abs=1e-4)
    op.modal(context, event("MOUSEMOVE", at=(14, 0), ctrl=True))
    assert ob.linkwright.inner_length_mm == 200.0
    pointer = op._pointer
    assert op.modal(context, event("LEFTMOUSE", "RELEASE", (14, 0))) == {"FINISHED"}
    assert op.size == 200.0
    assert (context.status[-1], pointer._handles) == (None, [])


def test_esc_takes_a_drag_back_and_a_press_without_one_is_none(drag):
    ob, context = drag
    stamp = ob.linkwright.figures.stamp
    op = stand_in(LINKWRIGHT_OT_drag_size)
    op.invoke(context, event("LEFTMOUSE", "PRESS"))
    op.modal(context, event("MOUSEMOVE", at=(9, 0)))
    assert ob.linkwright.figures.stamp != stamp
    assert op.modal(context, event("ESC", "PRESS")) == {"CANCELLED"}
    assert (ob.linkwright.figures.stamp, ob.linkwright.inner_length_mm) == (stamp, 186.0)
    op = stand_in(LINKWRIGHT_OT_drag_size)
    op.invoke(context, event("LEFTMOUSE", "PRESS"))
    assert op.modal(context, event("LEFTMOUSE", "RELEASE")) == {"CANCELLED"}


def test_a_drag_ends_on_the_last_size_that_can_be_built(drag):
    ob, context = drag
    op = stand_in(LINKWRIGHT_OT_drag_width)
    # From the keyboard: no button is down, so a click ends it.
    op.invoke(context, event("RET", "PRESS"))
    assert op.modal(context, event("RET", "RELEASE")) == {"RUNNING_MODAL"}
    op.modal(context, event("MOUSEMOVE", at=(0.5, 0)))
    assert ob.linkwright.link_width_mm == pytest.approx(10.7)
    op.modal(context, event("MOUSEMOVE", at=(-4, 0)))
    assert "too thick for a link" in op._pointer.said
    assert ob.linkwright.link_width_mm == pytest.approx(10.7)
    assert op.modal(context, event("LEFTMOUSE", "RELEASE")) == {"RUNNING_MODAL"}
    assert op.modal(context, event("LEFTMOUSE", "PRESS")) == {"FINISHED"}
    assert ob.linkwright.figures.message == ""


@pytest.fixture
def clicks(fed, monkeypatch):
    """The fed chain, with ``under``: the link and the gate that every view has under the pointer."""
    under = SimpleNamespace(link=None, gate=None, over=True)
    context = Context()
    place = (context.area, context.region)
    monkeypatch.setattr(pointing_edit, "view_at", lambda *_: place if under.over else None)
    monkeypatch.setattr(op_gate, "pointed_at", lambda *_: under.link)
    monkeypatch.setattr(op_gate, "gate_at", lambda *_: under.gate)
    return fed, context, under


@pytest.mark.parametrize(
    ("kind", "held", "over", "passes"),
    [
        ("MIDDLEMOUSE", {"shift": True}, True, True), ("WHEELUPMOUSE", {}, True, True), ("NUMPAD_1", {}, True, True),
        ("WHEELUPMOUSE", {"ctrl": True}, True, False), ("WHEELUPMOUSE", {"alt": True}, True, False),
        ("WHEELUPMOUSE", {}, False, False), ("LEFTMOUSE", {}, True, False), ("X", {}, True, False),
        ("NUMPAD_SLASH", {}, True, False),
    ],
)  # fmt: skip
def test_while_a_rule_runs_the_view_turns_and_nothing_else_is_heard(kind, held, over, passes, monkeypatch):
    monkeypatch.setattr(long_work, "view_at", lambda *_: ("area", "region") if over else None)
    heard = long_work.SteppedOperator().modal(Context(), event(kind, "PRESS", **held))
    assert heard == {"PASS_THROUGH" if passes else "RUNNING_MODAL"}


def beside(fed, body):
    """Give a place of a link, two mm beside where its gate enters it."""
    number = int(body.split()[1])
    return own(fed, number, top(gate(fed, body)) - np.array([2.0, 0.0, 0.0]))


def until_done(op, context):
    for _ in range(2000):
        if op.modal(context, event("TIMER")) != {"RUNNING_MODAL"} or not op._working:
            return
    raise AssertionError("the plan does not end")


def test_clicks_add_and_take_away_gates_one_after_the_other_each_with_its_own_undo(clicks):
    fed, context, under = clicks
    bpy.ops.ed.undo_push(message="before")
    before, at = stands(fed), beside(fed, "link 1")
    op = stand_in(LINKWRIGHT_OT_add_gate)
    op.begin_clicks(context, event("MOUSEMOVE"), takes=False)
    assert op._pointer.words == "Point at a link"
    assert "Ctrl: take a gate away" in context.status[-1]
    under.link = Pointed("link 1", "link 1", tuple(at))
    op.modal(context, event("MOUSEMOVE"))
    assert (op._pointer.words, op._pointer.lit) == ("Add a gate to link 1 from below", "link 1")
    op.modal(context, event("MOUSEMOVE", shift=True))
    assert op._pointer.words == "Add a gate to link 1 from above"
    op.modal(context, event("LEFTMOUSE", "PRESS"))
    assert state_of(bpy.context).running == "Planning the lattice"
    # What is clicked meanwhile is not heard.
    op.modal(context, event("LEFTMOUSE", "PRESS"))
    until_done(op, context)
    assert op._pointer.said == "Gate to link 1 from below"
    assert not state_of(bpy.context).running
    added = stands(chain())
    ends = [own(chain(), 1, top(one)) for one in gates(chain(), "link 1")]
    assert added != before
    assert min(np.linalg.norm(end - at) for end in ends) < NEAR_MM + WIRE_MM / 2
    # A gate that is pointed at, or the one of the link that is.
    op.modal(context, event("LEFT_CTRL", "PRESS", ctrl=True))
    assert op._pointer.words == "Take away: gate of link 1"
    op.modal(context, event("X", "PRESS"))
    assert "X: add gates again" in context.status[-1]
    under.gate = Pointed("gate of link 3", "gate of link 3", (0.0, 0.0, 0.0))
    op.modal(context, event("LEFTMOUSE", "PRESS"))
    until_done(op, context)
    assert op._pointer.said == "Taken away: gate of link 3"
    assert not gates(chain(), "link 3")
    pointer = op._pointer
    assert op.modal(context, event("RET", "PRESS")) == {"CANCELLED"}
    assert (context.status[-1], context.cursors, pointer._handles) == (None, [], [])
    bpy.ops.ed.undo()
    assert stands(chain()) == added
    bpy.ops.ed.undo()
    assert stands(chain()) == before


def test_esc_while_planning_and_a_place_out_of_reach_change_nothing_and_clicks_go_on(clicks):
    fed, context, under = clicks
    before, at = stands(fed), beside(fed, "link 1")
    op = stand_in(LINKWRIGHT_OT_add_gate)
    op.begin_clicks(context, event("MOUSEMOVE"), takes=False)
    under.link = Pointed("link 1", "link 1", tuple(at))
    op.modal(context, event("LEFTMOUSE", "PRESS"))
    assert op.modal(context, event("ESC", "PRESS")) == {"RUNNING_MODAL"}
    assert op._pointer.said == "Stopped, nothing changed"
    inner = own(fed, 2, np.mean([double(link(fed, k).matrix_basis)[:3, 3] for k in (1, 2)], axis=0))
    under.link = Pointed("link 2", "link 2", tuple(inner))
    op.modal(context, event("LEFTMOUSE", "PRESS"))
    until_done(op, context)
    assert "link 2" in op._pointer.said
    op.modal(context, event("LEFTMOUSE", "PRESS", shift=True))
    assert "there is no upper ring" in op._pointer.said
    op.modal(context, event("LEFTMOUSE", "PRESS"))
    fed.linkwright.edits = '{"curb": {}}'
    op.modal(context, event("TIMER"))
    assert op._pointer.said == "Stopped: the chain was changed meanwhile"
    fed.linkwright.edits = ""
    assert not state_of(bpy.context).running
    assert stands(fed) == before
    op.modal(context, event("ESC", "PRESS"))


def test_while_pointing_the_view_turns_and_undo_works_but_no_key_edits(clicks):
    _, context, under = clicks
    op = stand_in(LINKWRIGHT_OT_add_gate)
    op.begin_clicks(context, event("MOUSEMOVE"), takes=False)
    for one in (
        event("MIDDLEMOUSE", "PRESS"), event("WHEELUPMOUSE", "PRESS"), event("NUMPAD_1", "PRESS"),
        event("Z", "PRESS", ctrl=True), event("Z", "PRESS", ctrl=True, shift=True), event("MOUSEMOVE"),
        event("LEFTMOUSE", "PRESS", alt=True),
    ):  # fmt: skip
        assert op.modal(context, one) == {"PASS_THROUGH"}, one
    for kind in ("G", "Z", "DEL", "TAB"):
        assert op.modal(context, event(kind, "PRESS")) == {"RUNNING_MODAL"}, kind
    under.over = False
    for kind in ("LEFTMOUSE", "G"):
        assert op.modal(context, event(kind, "PRESS")) == {"PASS_THROUGH"}, kind
    op.cancel(context)
    assert op._pointer is None


def test_pointing_ends_with_the_lattice(clicks):
    fed, context, _ = clicks
    op = stand_in(LINKWRIGHT_OT_add_gate)
    op.begin_clicks(context, event("MOUSEMOVE"), takes=False)
    for strut in parts(fed, "STRUT"):
        bpy.data.objects.remove(strut)
    assert op.modal(context, event("MOUSEMOVE")) == {"CANCELLED"}


def test_the_tip_of_a_gate_is_dragged_to_another_place(clicks):
    fed, context, under = clicks
    select(gate(fed, "link 2"))
    at = beside(fed, "link 2")
    op = stand_in(LINKWRIGHT_OT_lead_gate)
    op.begin_pointing(context, event("LEFTMOUSE", "PRESS", (50, 50)))
    under.link = Pointed("link 2", "link 2", tuple(at))
    op.modal(context, event("MOUSEMOVE", at=(80, 50)))
    assert op._pointer.words == "Lead the gate to link 2"
    op.modal(context, event("LEFTMOUSE", "RELEASE", (80, 50)))
    until_done(op, context)
    assert op.reports == ["Gate led to link 2 from below"]
    (one,) = gates(fed, "link 2")
    assert np.linalg.norm(own(fed, 2, top(one)) - at) < NEAR_MM + WIRE_MM / 2
    assert bpy.context.active_object is one
    before = stands(fed)
    op = stand_in(LINKWRIGHT_OT_lead_gate)
    op.begin_pointing(context, event("LEFTMOUSE", "PRESS", (50, 50)))
    assert op.modal(context, event("LEFTMOUSE", "RELEASE", (51, 50))) == {"CANCELLED"}
    assert stands(fed) == before


@pytest.mark.parametrize(
    "edit",
    [
        lambda: bpy.ops.linkwright.take_gates("EXEC_DEFAULT", True, gate="gate of link 2"),
        lambda: bpy.ops.linkwright.lead_gate("EXEC_DEFAULT", True, body="link 2", place=beside(chain(), "link 2")),
    ],
    ids=["take", "lead"],
)
def test_a_gate_is_taken_or_led_by_call_in_one_undo_step(fed, edit):
    select(gate(fed, "link 2"))
    undoes_in_one_step(edit)


def test_what_cannot_be_taken_or_led_is_said(fed):
    before = stands(fed)
    for call, words in (
        (lambda: bpy.ops.linkwright.take_gates(), "no gate is named"),
        (lambda: bpy.ops.linkwright.take_gates(gate="gate of link 9"), "is not there"),
        (lambda: bpy.ops.linkwright.take_gates(gate="base ring"), "is no gate"),
        (lambda: bpy.ops.linkwright.lead_gate(body="link 2"), "Select a gate"),
    ):
        with pytest.raises(RuntimeError, match=words):
            call()
    select(gate(fed, "link 2"))
    with pytest.raises(RuntimeError, match="link 9 is no link"):
        bpy.ops.linkwright.lead_gate(body="link 9")
    assert stands(fed) == before


# What the ray meets.


@pytest.fixture
def ray(monkeypatch):
    """Let the pointer look along a ray that the test sets: origin and direction in the world."""
    held = SimpleNamespace(now=None)
    monkeypatch.setattr(pointing, "view_ray", lambda *_: held.now)
    monkeypatch.setattr(gap_reader_module, "view_ray", lambda *_: held.now)
    return held


def look(ray, at, along):
    along = np.array(along, dtype=float) / np.linalg.norm(along)
    ray.now = np.array(at, dtype=float) - 100.0 * along, along


def test_links_are_found_through_struts_and_gates_through_links(fed, ray):
    context = Context()
    over = (context.area, context.region, 0, 0)
    at = top(gate(fed, "link 2"))
    # From right below: the gate hides the link that it feeds.
    look(ray, at, (0.0, 0.0, 1.0))
    found = pointing.pointed_at(bpy.context, fed, *over)
    assert found.body == "link 2"
    under, same = pointing.link_under(bpy.context, *over)
    assert (under, same.ob_name) == (fed, found.ob_name)
    np.testing.assert_allclose(same.at, found.at, atol=1e-4)
    assert pointing.gate_at(bpy.context, fed, *over).ob_name == "gate of link 2"
    place = double(link(fed, 2).matrix_world) @ np.append(found.at, 1.0)
    assert np.linalg.norm(place[:2] - at[:2]) < 1e-3
    look(ray, at, (0.0, 0.0, -1.0))
    assert pointing.gate_at(bpy.context, fed, *over).ob_name == "gate of link 2"
    link(fed, 2).hide_set(True)
    assert pointing.pointed_at(bpy.context, fed, *over) is None
    look(ray, at + 500.0, (0.0, 0.0, 1.0))
    assert pointing.gate_at(bpy.context, fed, *over) is None


# The gap at the pointer.


@pytest.fixture
def reading():
    """The read-out, switched off in the end."""
    yield reader
    reader.stop()


def read(context):
    return reader.read(bpy.context, context.area, context.region, 0, 0)


def figures(lines):
    return [float(line.split()[1]) for line in lines[1:]]


@pytest.mark.usefixtures("reading")
@pytest.mark.parametrize("scale", [0.001, 1.0])
def test_the_gap_at_the_pointer_is_that_to_the_nearest_other_link(add_chain, ray, scale):
    bpy.context.scene.unit_settings.scale_length = scale
    ob = three_links(add_chain)
    scene = bpy.context.scene.linkwright
    scene.auto_scale, scene.scale, scene.bleed_mm, scene.over_cure_mm = False, 1.02, 0.03, 0.08
    ob.rotation_euler, ob.location = (0.4, 0.0, 0.3), (0.01, 0.0, 0.0)
    bpy.context.view_layer.update()
    mm, context = mm_per_unit(bpy.context.scene), Context()
    solids = {}
    for one in parts(ob, "LINK"):
        matrix = double(one.matrix_world)
        points = np.array([v.co for v in one.data.vertices]) @ matrix[:3, :3].T + matrix[:3, 3]
        solids[one.name] = trimesh.Trimesh(points * mm, [tuple(f.vertices) for f in one.data.polygons], process=False)
    aims = []
    for name, other in (("link 1", "link 2"), ("link 3", "link 2"), ("link 2", "link 1")):
        apart, _ = cKDTree(solids[other].vertices).query(solids[name].vertices)
        aims.append((name, solids[name].vertices[int(np.argmin(apart))], solids[name]))
    for name, place, solid in aims:
        normal = solid.vertex_normals[np.argmin(np.linalg.norm(solid.vertices - place, axis=1))]
        # Seen from just above its surface, since the next link lies close over it.
        ray.now = (place + 0.05 * normal) / mm, -normal
        got = read(context)
        number = name.split()[1]
        assert got.lines[0].startswith(f"link {number} to link ")
        near = solids[got.lines[0].split(" to ")[1]]
        start, end = got.line * mm
        # The line begins where the ray meets the link, and ends at the nearest place of any other.
        assert np.linalg.norm(start - place) < 0.06
        others = [one for key, one in solids.items() if key != name]
        wanted = min(float(closest_point_naive(one, start[None])[1][0]) for one in others)
        assert np.linalg.norm(end - start) == pytest.approx(wanted, abs=2e-4)
        assert float(closest_point_naive(near, end[None])[1][0]) < 2e-4
        gap, printed = figures(got.lines)
        assert gap == pytest.approx(wanted, abs=6e-4)
        way = (end - start) / np.linalg.norm(end - start)
        lost = 2.0 * 0.03 * np.hypot(way[0], way[1]) + 0.08 * abs(way[2])
        assert printed == pytest.approx(1.02 * wanted - lost, abs=1.2e-3)


@pytest.mark.usefixtures("reading")
def test_it_says_what_it_cannot_read(add_chain, ray):
    mm_scene()
    context = Context()
    look(ray, (0.0, 0.0, 0.0), (0.0, 0.0, 1.0))
    assert read(context).lines == (NOTHING,)
    ob = three_links(add_chain)
    look(ray, (500.0, 0.0, 0.0), (0.0, 0.0, 1.0))
    assert read(context) is None
    ob.linkwright.figures.worn_view = True
    assert read(context).lines == (WORN,)


def test_it_tells_a_gap_under_the_floor_in_words():
    assert gap_lines("link 1", "link 2", 0.4, 0.301, 0.25) == (
        "link 1 to link 2", "gap 0.400 mm in the model", "printed 0.301 mm",
    )  # fmt: skip
    assert gap_lines("link 1", "link 2", 0.3, 0.201, 0.25)[2] == "printed 0.201 mm, under 0.25: stop"


@pytest.mark.usefixtures("reading")
def test_other_meshes_are_read_as_they_were_inspected(ray):
    mm_scene()
    box = trimesh.creation.box((2.0, 2.0, 2.0))
    for name, x in (("left", -1.2), ("right", 1.2)):
        put(name, SimpleNamespace(points=box.vertices, triangles=box.faces), at=(x, 0, 0))
    for ob in bpy.data.objects:
        ob.select_set(True)
    bpy.context.view_layer.objects.active = None
    bpy.ops.linkwright.inspect()
    context = Context()
    # Down into the slot, onto the right block's left side, half a millimetre under its top.
    ray.now = np.array((-0.1, 0.2, 1.0)), np.array((0.3, 0.0, -0.5)) / np.hypot(0.3, 0.5)
    got = read(context)
    assert got.lines[:2] == ("right to left", "gap 0.400 mm in the model")
    np.testing.assert_allclose(got.line, [(0.2, 0.2, 0.5), (-0.2, 0.2, 0.5)], atol=1e-6)
    bpy.data.objects["left"].location.x -= 1.0
    bpy.context.view_layer.update()
    assert read(context).lines == (NOTHING,)


@pytest.mark.usefixtures("reading")
def test_it_follows_only_while_it_is_on_and_another_file_ends_it():
    follow = bpy.ops.linkwright.follow_pointer
    assert not follow.poll()
    assert not bpy.ops.linkwright.stop_reading.poll()
    bpy.ops.linkwright.read_gap()
    assert reader.on
    assert len(reader._handles) == 2
    assert follow.poll()
    bpy.ops.linkwright.stop_reading()
    assert (reader.on, reader._handles) == (False, [])
    bpy.ops.linkwright.read_gap()
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    assert (reader.on, reader._handles) == (False, [])
    bpy.ops.linkwright.read_gap()
    bpy.ops.linkwright.read_gap()
    assert (reader.on, reader._handles) == (False, [])


# Handles as Blender has them.


def test_handles_show_what_is_selected_and_nothing_else(fed):
    select(fed)
    assert LINKWRIGHT_GGT_sizes.poll(bpy.context)
    assert not LINKWRIGHT_GGT_gate.poll(bpy.context)
    select(link(fed, 2))
    assert LINKWRIGHT_GGT_sizes.poll(bpy.context)
    select(gate(fed, "link 2"))
    assert not LINKWRIGHT_GGT_sizes.poll(bpy.context)
    assert LINKWRIGHT_GGT_gate.poll(bpy.context)
    select(next(one for one in parts(fed, "STRUT") if strut_of(one).gate is None))
    assert not LINKWRIGHT_GGT_gate.poll(bpy.context)
    assert LINKWRIGHT_GGT_sizes.poll(bpy.context)
    select(gate(fed, "link 2"))
    bpy.context.scene.linkwright.handles = False
    assert not LINKWRIGHT_GGT_gate.poll(bpy.context)
    bpy.context.scene.linkwright.handles = True
    fed.linkwright.figures.worn_view = True
    assert not LINKWRIGHT_GGT_gate.poll(bpy.context)
    fed.linkwright.figures.worn_view = False
    state_of(bpy.context).running = "Inspecting"
    assert not LINKWRIGHT_GGT_gate.poll(bpy.context)
    state_of(bpy.context).property_unset("running")
    bpy.context.view_layer.objects.active = None
    assert not LINKWRIGHT_GGT_sizes.poll(bpy.context)


@pytest.mark.parametrize("scale", [0.001, 1.0])
def test_handles_stand_in_the_world_where_the_chain_does(add_chain, scale):
    bpy.context.scene.unit_settings.scale_length = scale
    mm = mm_per_unit(bpy.context.scene)
    ob = add_chain()
    ob.location, ob.rotation_euler = (0.3, -0.2, 0.1), (0.5, 0.2, 1.0)
    bpy.context.view_layer.update()
    arrows = [SimpleNamespace(hide=True, matrix_basis=None) for _ in range(2)]
    group = SimpleNamespace(_arrows=arrows, _sign=None, _held=[None, None])
    context = SimpleNamespace(
        active_object=ob, scene=bpy.context.scene, view_layer=bpy.context.view_layer,
        space_data=Context().area.spaces.active,
    )  # fmt: skip
    LINKWRIGHT_GGT_sizes.draw_prepare(group, context)
    matrix = double(ob.matrix_world)
    for arrow, held in zip(arrows, (size_handle(ob, mm), width_handle(ob, mm)), strict=True):
        assert not arrow.hide
        basis = double(arrow.matrix_basis)
        np.testing.assert_allclose(basis[:3, 3], matrix[:3, :3] @ held.place / mm + matrix[:3, 3], rtol=1e-4, atol=1e-6)
        np.testing.assert_allclose(basis[:3, 2], matrix[:3, :3] @ held.along, atol=1e-5)
    # Found once, then only looked at.
    kept = group._held[0]
    LINKWRIGHT_GGT_sizes.draw_prepare(group, context)
    assert group._held[0] is kept
    ob.linkwright.inner_length_mm = 220.0
    LINKWRIGHT_GGT_sizes.draw_prepare(group, context)
    assert group._held[0].place[0] > kept.place[0] + 4.0
    ob.scale = (2.0, 2.0, 2.0)
    bpy.context.view_layer.update()
    LINKWRIGHT_GGT_sizes.draw_prepare(group, context)
    assert all(arrow.hide for arrow in arrows)


def test_handles_are_not_in_a_local_view_of_something_else(add_chain):
    ob = add_chain()
    other = bpy.data.objects.new("stone", None)
    bpy.context.scene.collection.objects.link(other)
    context = Context()
    space = context.area.spaces.active
    arrows = [SimpleNamespace(hide=True, matrix_basis=None) for _ in range(2)]
    group = SimpleNamespace(_arrows=arrows, _sign=None, _held=[None, None])
    here = SimpleNamespace(
        active_object=ob, scene=bpy.context.scene, view_layer=bpy.context.view_layer, space_data=space
    )
    select(other)
    with bpy.context.temp_override(window=bpy.context.window, area=context.area, region=context.region):
        bpy.ops.view3d.localview()
        LINKWRIGHT_GGT_sizes.draw_prepare(group, here)
        assert all(arrow.hide for arrow in arrows)
        bpy.ops.view3d.localview()
    LINKWRIGHT_GGT_sizes.draw_prepare(group, here)
    assert not any(arrow.hide for arrow in arrows)


@pytest.mark.usefixtures("reading")
def test_the_gap_is_read_of_the_chain_under_the_pointer_and_not_only_of_the_active_one(add_chain, ray):
    first, second = three_links(add_chain), three_links(add_chain)
    second.location.x += 0.2
    bpy.context.view_layer.update()
    context = Context()
    for active in (first, second, None):
        bpy.context.view_layer.objects.active = active
        for ob in (first, second):
            one = parts(ob, "LINK")[1]
            at = double(one.matrix_world)
            edge = np.array(one.data.vertices[0].co[:]) @ at[:3, :3].T + at[:3, 3]
            look(ray, edge + 1e-5 * (at[:3, 3] - edge), (0.0, 0.0, -1.0))
            found = pointing.link_under(bpy.context, context.area, context.region, 0, 0)
            assert found is not None
            assert found[0] == ob
            reading = read(context)
            assert reading.lines[0].startswith("link ")
            mm = mm_per_unit(bpy.context.scene)
            assert reading.line is None or np.abs(reading.line[0] - at[:3, 3]).max() * mm < 15.0


def test_the_gate_handle_stands_where_the_gate_enters_its_link(fed):
    fed.location = (5.0, 6.0, 7.0)
    bpy.context.view_layer.update()
    one = gate(fed, "link 2")
    select(one)
    tip = SimpleNamespace(hide=True, matrix_basis=None)
    context = SimpleNamespace(
        active_object=one, scene=bpy.context.scene, view_layer=bpy.context.view_layer,
        space_data=Context().area.spaces.active,
    )  # fmt: skip
    LINKWRIGHT_GGT_gate.draw_prepare(SimpleNamespace(_tip=tip), context)
    at = double(tip.matrix_basis)[:3, 3] - (5.0, 6.0, 7.0)
    solid = trimesh.Trimesh(*on_chain(link(fed, 2)), process=False)
    assert abs(closest_point_naive(solid, at[None])[1][0]) < 0.05


def on_chain(ob):
    matrix = double(ob.matrix_basis)
    points = np.array([v.co for v in ob.data.vertices]) @ matrix[:3, :3].T + matrix[:3, 3]
    return points, [tuple(face.vertices) for face in ob.data.polygons]


# Keys, menu, switches.


def blenders_keys():
    """Give the entries of Blender's own key map, (key map, key, shift, ctrl, alt), from the file it makes it of."""
    found = [Path(p) / "keyconfig/keymap_data/blender_default.py" for p in bpy.utils.script_paths(subdir="presets")]
    spec = importlib.util.spec_from_file_location("keys_of_blender", next(path for path in found if path.exists()))
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    for name, _, content in module.generate_keymaps(module.Params()):
        for _, held, _ in content["items"]:
            yield name, held["type"], *(bool(held.get(key)) for key in ("shift", "ctrl", "alt"))


def test_no_key_of_ours_is_one_that_blender_uses_in_the_view():
    theirs = set(blenders_keys())
    assert ("3D View", "HOME", False, False, False) in theirs
    around = {"3D View", "3D View Generic", "Object Mode", "Object Non-modal", "Window", "Screen", "Screen Editing",
              "Frames", "User Interface"}  # fmt: skip
    for _, _, operator, key, _, held in keys.ENTRIES:
        if key == "ESC":
            # Theirs stop a play or leave a render: ours is asked first only while it reads.
            continue
        at = tuple(bool(held.get(name)) for name in ("shift", "ctrl", "alt"))
        assert not [entry for entry in theirs if entry[0] in around and entry[1:] == (key, *at)], operator


def test_keys_come_and_go_with_the_extension():
    def ours():
        config = bpy.context.window_manager.keyconfigs.addon
        items = [item for keymap in config.keymaps for item in keymap.keymap_items]
        return sorted(item.idname for item in items if item.idname.startswith("linkwright."))

    assert ours() == sorted(operator for _, _, operator, *_ in keys.ENTRIES)
    drawn = len(bpy.types.VIEW3D_MT_object.draw._draw_funcs), len(bpy.types.VIEW3D_PT_gizmo_display.draw._draw_funcs)
    addon.unregister()
    try:
        assert ours() == []
        assert (
            len(bpy.types.VIEW3D_MT_object.draw._draw_funcs),
            len(bpy.types.VIEW3D_PT_gizmo_display.draw._draw_funcs),
        ) == (drawn[0] - 1, drawn[1] - 1)
    finally:
        addon.register()
    assert len(ours()) == len(keys.ENTRIES)


def test_the_menu_offers_what_the_tab_does():
    """Blender's search finds what stands in menus."""
    layout = Recorder()
    menus.LINKWRIGHT_MT_chain.draw(SimpleNamespace(layout=layout), bpy.context)
    names = [text for kind, text in layout.drawn if kind == "operator"]
    assert len(names) == len(set(names)) == len([entry for entry in menus.ENTRIES if entry])
    for word in " ".join(names).split():
        assert word[0].isupper() or word in ("as", "at"), word
    menus.object_menu(SimpleNamespace(layout=layout), bpy.context)
    assert layout.drawn[-1] == ("menu", "Chain")
    view = SimpleNamespace(space_data=SimpleNamespace(show_gizmo=True), scene=bpy.context.scene)
    handles_switch(SimpleNamespace(layout=layout), view)
    assert layout.drawn[-1] == ("prop", "Size and Gate Handles")


def test_the_panel_has_a_button_for_the_read_out_and_for_taking_gates(fed):
    select(fed)
    drawn = draw_all()
    assert "Read Gap at Pointer" in texts(drawn["Inspect"])
    assert "Take Gates Away" in texts(drawn["Feed"])
