"""The lattice edited by hand in the scene: gates deleted, moved, added, pinned; planned by itself; kept and undone.

Where a gate meets its link is looked for on its own mesh in the scene, not in what we noted of it.
"""

import json
from dataclasses import replace

import bpy
import numpy as np
import pytest

from addon.host import live_lattice
from addon.host import reasons as reasons_module
from addon.host.chain_object import read_job, read_specs
from addon.host.conversions import double
from addon.host.current import is_current
from addon.host.lattice_edits import Edits, gone, of_spec, planned_again, store_edits, stored, strut_of
from addon.host.lattice_show import lattice_stamp
from addon.host.live_lattice import live
from addon.host.own_link import KEEP_OUT
from addon.host.process_settings import FEED_CHOICES, FEED_KEYS, apply_scene, feed_spec
from addon.host.reasons import reasons
from addon.host.result_state import state_of
from addon.host.showing import parts
from addon.rules.feed.spec import FeedSpec, GatePlace, PinnedGate
from addon.rules.files.job import read_job as read_job_file
from tests.host.recorder import draw_all, texts
from tests.host.test_boolean import counts, torus
from tests.host.test_chain_object import select
from tests.host.test_checking import _Window
from tests.host.test_inspect import mm_scene, put
from tests.host.test_print_check import three_links

# Gates led to a place end within a wire and the millimetre that the planner calls one place.
WIRE_MM, NEAR_MM = 2.2, 1.0


@pytest.fixture(scope="module")
def saved(_registered, tmp_path_factory):
    """A file with a straight chain of three links on its lattice, one unit a millimetre."""
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    mm_scene()

    def add_chain(**sizes):
        bpy.ops.linkwright.add_chain(**sizes)
        return bpy.context.active_object

    three_links(add_chain)
    bpy.ops.linkwright.add_lattice()
    path = tmp_path_factory.mktemp("lattice") / "fed.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(path), check_existing=False)
    return str(path)


@pytest.fixture
def fed(saved):
    """The chain of that file, opened anew."""
    bpy.ops.wm.open_mainfile(filepath=saved)
    return chain()


@pytest.fixture
def window(monkeypatch):
    """Timers as in a window, to be played by hand."""
    stand_in = _Window()
    monkeypatch.setattr(live_lattice, "bpy", stand_in)
    bpy.context.scene.linkwright.live_lattice = True
    yield stand_in
    live.stop()


def chain():
    return next(ob for ob in bpy.data.objects if ob.linkwright.schema and not ob.name.endswith("copy"))


def gates(ob, body=None, above=False):
    """Give a chain's gates, or those of one link."""
    found = [(strut, told.gate) for strut in parts(ob, "STRUT") if (told := strut_of(strut)).gate is not None]
    return [strut for strut, gate in found if body is None or (gate.body, gate.above) == (body, above)]


def gate(ob, body):
    (one,) = gates(ob, body)
    return one


def link(ob, number):
    return parts(ob, "LINK")[number - 1]


def top(strut):
    """Give the highest place of a strut's mesh on its chain: of a gate from below, its end in the metal."""
    points = np.array([v.co for v in strut.data.vertices]) @ double(strut.matrix_basis)[:3, :3].T
    points += double(strut.matrix_basis)[:3, 3]
    return points[points[:, 2] > points[:, 2].max() - 0.2].mean(axis=0)


def own(ob, number, at):
    """Give a place on the chain in the coordinates of one of its links."""
    return (np.linalg.inv(double(link(ob, number).matrix_basis)) @ np.append(at, 1.0))[:3]


def delete(strut):
    bpy.data.objects.remove(strut)


# Stored and read.

PIN = PinnedGate("link 2", True, tuple((0.1 * k, 0.1 + 0.2 * k, 1 / 3) for k in range(5)), 2.4, 1.1)
SOME = Edits(
    (PIN,), (GatePlace("link 1", (1 / 7, -0.0, 3.0)),), (GatePlace("link 3", (0.1, 0.2, 0.3), True),),
    (GatePlace("link 2", (1e-17, 2.0, 3.0)),), (3, 5),
)  # fmt: skip


def test_edits_come_back_to_the_last_digit_and_by_family(add_chain):
    group = add_chain().linkwright
    store_edits(group, SOME)
    assert stored(group) == SOME
    group.hold = True
    group.family = "trace"
    assert stored(group) == Edits()
    assert gone(group) == SOME.count == 5
    store_edits(group, Edits(barred=SOME.barred))
    group.family = "curb"
    assert stored(group) == SOME
    assert gone(group) == 1
    store_edits(group, Edits())
    group.family = "trace"
    store_edits(group, Edits())
    assert group.edits == ""


def test_what_was_taken_away_is_barred_when_planned_again():
    near = GatePlace("link 2", (0.0, 2.0, 4.0))
    again = planned_again(Edits(wanted=(*SOME.wanted, near), barred=SOME.barred, removed=SOME.removed))
    assert again == Edits(wanted=SOME.wanted, barred=(*SOME.barred, *SOME.removed))


def test_all_that_is_asked_of_a_lattice_goes_through_the_scene(add_chain):
    """Every field away from its default; what was done by hand and keep-outs belong to the chain."""
    job = read_job(add_chain(), bpy.context)
    asked = FeedSpec(
        True, True, 1.1, 2.3, 3.7, 4.1, 3.3, 2.9, 5.3, 9.7, trunk="printed", trunk_length_mm=17.3, cut="nipper",
        fillet_mm=0.35, keep_out=SOME.keep_out, pinned=SOME.pinned, wanted=SOME.wanted, barred=SOME.barred,
        removed=SOME.removed,
    )  # fmt: skip
    apart = {"base_ring"}
    for name in FeedSpec.__slots__:
        assert name in apart or getattr(asked, name) != getattr(FeedSpec(), name), name
    group = bpy.context.scene.linkwright
    before = group.stamp
    apply_scene(group, replace(job, feed=asked))
    assert group.stamp != before
    by_hand = {name: getattr(FeedSpec(), name) for name in ("keep_out", "pinned", "wanted", "barred", "removed")}
    assert feed_spec(group) == replace(asked, **by_hand)
    kinds = {*FEED_KEYS, *FEED_CHOICES, "fillet_mm"}
    assert kinds == set(FeedSpec.__slots__) - set(by_hand) - apart
    for name in kinds:
        before = group.stamp
        value = getattr(group, name)
        setattr(group, name, {"printed": "wax", "nipper": "saw"}.get(value, 0) if isinstance(value, str) else 0)
        assert group.stamp != before, name


def test_edits_are_saved_copied_and_written_to_job_files(fed, tmp_path):
    store_edits(fed.linkwright, SOME)
    path = tmp_path / "again.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(path), check_existing=False)
    bpy.ops.wm.open_mainfile(filepath=str(path))
    ob = chain()
    assert stored(ob.linkwright) == SOME
    assert [strut_of(one).gate.body for one in gates(ob)] == ["link 1", "link 2", "link 3"]
    for one in (ob, *ob.children):
        one.select_set(True)
    before = set(bpy.data.objects)
    bpy.ops.object.duplicate()
    (copy,) = (one for one in set(bpy.data.objects) - before if one.linkwright.schema)
    assert stored(copy.linkwright) == SOME
    delete(gate(copy, "link 3"))
    assert [place.body for place in read_job(copy, bpy.context).feed.removed] == ["link 2", "link 3"]
    assert read_job(ob, bpy.context).feed.removed == SOME.removed
    select(ob)
    job = tmp_path / "job.toml"
    bpy.ops.linkwright.save_job(filepath=str(job))
    assert of_spec(read_job_file(job).feed) == SOME
    bpy.ops.linkwright.load_job(filepath=str(job))
    assert bpy.context.active_object not in (ob, copy)
    assert stored(bpy.context.active_object.linkwright) == SOME


# Edits by hand in the scene.


def test_inspect_speaks_of_the_lattice_as_it_stands_and_planning_again_finds_another_place(fed):
    before = top(gate(fed, "link 2"))
    delete(gate(fed, "link 2"))
    bpy.context.view_layer.update()
    assert "Gates were moved or" in texts(draw_all()["Feed"])
    bpy.ops.linkwright.inspect()
    bpy.context.view_layer.update()
    assert "Gates were moved or" not in texts(draw_all()["Feed"])
    assert not gates(fed, "link 2")
    assert [row.bodies for row in state_of(bpy.context).findings if row.code == "no-gate"] == ["link 2"]
    assert len(stored(fed.linkwright).removed) == 1
    # A gate that is pinned where it is makes the findings no older; one that is asked for does.
    state, scene = state_of(bpy.context), bpy.context.scene
    select(gate(fed, "link 1"))
    bpy.ops.linkwright.pin_gate()
    assert is_current(state, scene)
    kept = stored(fed.linkwright)
    store_edits(fed.linkwright, replace(kept, wanted=SOME.wanted))
    assert not is_current(state, scene)
    store_edits(fed.linkwright, replace(kept, pinned=()))
    # Read again it is the same edit.
    bpy.ops.linkwright.clear_edits(gone_only=True)
    assert len(read_job(fed, bpy.context).feed.removed) == 1
    bpy.ops.linkwright.add_lattice()
    edits = stored(fed.linkwright)
    assert (len(edits.removed), len(edits.barred)) == (0, 1)
    assert gates(fed, "link 2")
    for one in gates(fed, "link 2"):
        assert np.linalg.norm(top(one) - before) > NEAR_MM


def test_a_moved_gate_is_led_to_where_its_tip_stands(fed, window):
    one = gate(fed, "link 1")
    goal = top(one) - np.array([1.5, 0.0, 0.0])
    one.location.x -= 1.5
    assert not any((*one.lock_location, *one.lock_rotation))
    assert all(one.lock_scale)
    assert all(all(strut.lock_location) for strut in parts(fed, "STRUT") if strut_of(strut).gate is None)
    live.ask()
    window.play()
    (led,) = [one for one in gates(fed) if strut_of(one).gate.state == "wanted"]
    assert np.abs(double(led.matrix_basis) - np.eye(4)).max() == 0.0
    assert np.hypot(*(top(led) - goal)[:2]) < NEAR_MM
    assert [p.body for p in stored(fed.linkwright).wanted] == [strut_of(led).gate.body]


def test_a_copy_of_a_gate_is_one_more(fed, window):
    one = gate(fed, "link 1")
    copy = one.copy()
    one.users_collection[0].objects.link(copy)
    copy.location.x -= 3.0
    live.ask()
    window.play()
    states = sorted(strut_of(strut).gate.state for strut in gates(fed, "link 1"))
    assert states in (["planned", "wanted"], ["wanted"])
    assert stored(fed.linkwright).removed == ()


def test_rings_and_posts_come_back(fed, window):
    count = len(parts(fed, "STRUT"))
    spoke = next(strut for strut in parts(fed, "STRUT") if strut_of(strut).role == "spoke")
    delete(spoke)
    bpy.context.view_layer.update()
    assert read_job(fed, bpy.context).feed == FeedSpec()
    bpy.context.scene.linkwright.tip_mm = 1.0
    window.play()
    assert len(parts(fed, "STRUT")) == count


# Operators.


def test_a_gate_is_added_where_a_script_says_and_a_place_out_of_reach_is_refused(fed):
    at = own(fed, 1, top(gate(fed, "link 1")) - np.array([2.0, 0.0, 0.0]))
    bpy.ops.linkwright.add_gate(body="link 1", place=at)
    ends = [own(fed, 1, top(one)) for one in gates(fed, "link 1")]
    assert min(np.linalg.norm(end - at) for end in ends) < NEAR_MM + WIRE_MM / 2
    assert [place.body for place in stored(fed.linkwright).wanted] == ["link 1"]
    kept, count = stored(fed.linkwright), len(parts(fed, "STRUT"))
    # Inside the joint, where the next link is in the way.
    inner = own(fed, 2, np.mean([double(link(fed, k).matrix_basis)[:3, 3] for k in (1, 2)], axis=0))
    for body, place, words in (
        ("link 2", inner, "link 2"),
        ("link 9", at, "link 9 is no link of this chain"),
        ("", at, "no link is named"),
    ):
        with pytest.raises(RuntimeError, match=words):
            bpy.ops.linkwright.add_gate(body=body, place=place)
    with pytest.raises(RuntimeError, match="no upper ring"):
        bpy.ops.linkwright.add_gate(body="link 1", place=at, above=True)
    assert stored(fed.linkwright) == kept
    assert len(parts(fed, "STRUT")) == count


def test_a_pinned_gate_stays_while_the_others_change(fed, window):
    one = gate(fed, "link 2")
    select(one)
    bpy.ops.linkwright.pin_gate()
    assert fed.linkwright.figures.lattice_stamp == lattice_stamp(fed, bpy.context.scene)
    assert one.show_wire
    before = strut_of(one).gate
    shape = np.array([v.co for v in one.data.vertices])
    others = [strut_of(gate(fed, body)).gate.tip_mm for body in ("link 1", "link 3")]
    bpy.context.scene.linkwright.tip_mm = 1.45
    window.play()
    after = strut_of(gate(fed, "link 2")).gate
    assert after.state == "pinned"
    assert np.abs(np.subtract(after.own, before.own)).max() < 1e-9
    assert np.abs(np.subtract(after.line, before.line)).max() < 1e-9
    assert (after.tip_mm, after.shaft_mm) == (before.tip_mm, before.shaft_mm)
    stands = np.array([v.co for v in gate(fed, "link 2").data.vertices])
    np.testing.assert_allclose(stands, shape, atol=1e-5)
    assert [strut_of(gate(fed, body)).gate.tip_mm for body in ("link 1", "link 3")] != others
    select(gate(fed, "link 2"))
    bpy.ops.linkwright.pin_gate(pin=False)
    window.play()
    assert strut_of(gate(fed, "link 2")).gate.tip_mm == strut_of(gate(fed, "link 1")).gate.tip_mm
    assert stored(fed.linkwright) == Edits()


def test_a_barred_gate_goes_elsewhere_and_clearing_brings_it_back(fed):
    before = top(gate(fed, "link 2"))
    select(gate(fed, "link 2"))
    bpy.ops.linkwright.remove_gate()
    assert len(stored(fed.linkwright).barred) == 1
    for one in gates(fed, "link 2"):
        assert np.linalg.norm(top(one) - before) > NEAR_MM
    bpy.ops.linkwright.clear_edits()
    assert fed.linkwright.edits == ""
    np.testing.assert_allclose(top(gate(fed, "link 2")), before, atol=1e-4)


def test_only_gates_are_pinned_and_a_moved_one_is_planned_first(fed):
    select(next(strut for strut in parts(fed, "STRUT") if strut_of(strut).role == "trunk"))
    with pytest.raises(RuntimeError, match="follow from the gates"):
        bpy.ops.linkwright.pin_gate()
    one = gate(fed, "link 1")
    select(one)
    one.location.x += 1.0
    with pytest.raises(RuntimeError, match="moved by hand"):
        bpy.ops.linkwright.pin_gate()
    select(fed)
    with pytest.raises(RuntimeError, match="Select one or more gates"):
        bpy.ops.linkwright.remove_gate()


@pytest.mark.parametrize(
    "edit",
    [
        lambda: bpy.ops.linkwright.add_gate("EXEC_DEFAULT", True, body="link 1", place=(0.0, -4.85, -1.0)),
        lambda: bpy.ops.linkwright.pin_gate("EXEC_DEFAULT", True),
        lambda: bpy.ops.linkwright.remove_gate("EXEC_DEFAULT", True),
        lambda: bpy.ops.linkwright.clear_edits("EXEC_DEFAULT", True),
    ],
    ids=["add", "pin", "bar", "clear"],
)
def test_an_edit_undoes_in_one_step_and_comes_back(fed, edit):
    store_edits(fed.linkwright, Edits(barred=(GatePlace("link 3", (0.0, 4.85, 0.0)),)))
    select(gate(fed, "link 2"))
    undoes_in_one_step(edit)


def undoes_in_one_step(edit):
    """Check that an edit changes the lattice, and that one step back and one forth give what was before and after."""
    bpy.ops.ed.undo_push(message="before")
    before = stands(chain())
    edit()
    after = stands(chain())
    assert after != before
    bpy.ops.ed.undo()
    assert stands(chain()) == before
    bpy.ops.ed.redo()
    assert stands(chain()) == after


def stands(ob):
    """Give all that an edit may change, as plain values."""
    struts = [(s.name, strut_of(s), [tuple(v.co) for v in s.data.vertices], s.show_wire) for s in parts(ob, "STRUT")]
    return struts, ob.linkwright.edits, ob.linkwright.figures.lattice_stamp


# By itself.


def test_it_follows_changes_by_itself_and_reuses_what_is_there(fed, window, monkeypatch):
    before = {strut.name: (strut.as_pointer(), strut.data.as_pointer()) for strut in parts(fed, "STRUT")}
    shaft = strut_of(gate(fed, "link 1")).thick_mm
    group = bpy.context.scene.linkwright
    monkeypatch.setattr(live_lattice, "SLICE_S", 0.001)
    group.gate_mm = 3.0
    assert window.waiting
    for _ in range(2):
        window.waiting[0]()
    assert state_of(bpy.context).planning == fed.name
    assert "Planning" in texts(draw_all()["Feed"])
    # The newest wish wins, even where it comes at the last moment.
    monkeypatch.setattr(live_lattice, "LOOK_S", 1e9)
    group.gate_mm = 1.9
    window.play()
    assert state_of(bpy.context).planning == ""
    assert strut_of(gate(fed, "link 1")).thick_mm == pytest.approx(1.9) != shaft
    assert {s.name: (s.as_pointer(), s.data.as_pointer()) for s in parts(fed, "STRUT")} == before
    assert fed.linkwright.figures.lattice_stamp == lattice_stamp(fed, bpy.context.scene)
    # Nothing is left to do, and nothing is done.
    live.ask()
    assert window.play() == 1


def test_it_follows_the_chain_and_what_undo_brings_back(fed, window):
    bpy.ops.ed.undo_push(message="three")
    fed.linkwright.links = 4
    bpy.ops.ed.undo_push(message="four")
    window.play()
    assert len(gates(fed)) == 4
    bpy.ops.ed.undo()
    assert window.waiting
    window.play()
    assert len(gates(chain())) == 3
    assert chain().linkwright.figures.lattice_stamp == lattice_stamp(chain(), bpy.context.scene)


def test_it_does_nothing_unasked_nor_while_something_runs(fed, window):
    before = stands(fed)
    state = state_of(bpy.context)
    state.running = "Inspecting"
    bpy.context.scene.linkwright.gate_mm = 3.0
    for _ in range(5):
        window.waiting[0]()
    state.property_unset("running")
    bpy.context.scene.linkwright.live_lattice = False
    window.play()
    bpy.context.scene.linkwright.gate_mm = 2.9
    assert not window.waiting
    assert stands(fed) == before
    assert "Out of date" in texts(draw_all()["Feed"])


def test_what_cannot_be_planned_is_said_once(fed, window):
    bpy.context.scene.linkwright.gate_mm = 0.05
    window.play()
    assert "feed.gate_mm" in fed.linkwright.figures.lattice_said
    live.ask()
    assert window.play() == 1


def test_edits_of_links_that_are_gone_are_kept_and_told(fed, window):
    barred = tuple(GatePlace(body, (0.0, 4.0, 0.0)) for body in ("link 3", "link 1"))
    store_edits(fed.linkwright, Edits(barred=barred))
    fed.linkwright.links = 2
    window.play()
    assert gone(fed.linkwright) == 1
    assert "1 of links that are gone" in texts(draw_all()["Feed"])
    fed.linkwright.links = 3
    assert gone(fed.linkwright) == 0
    fed.linkwright.links = 2
    bpy.ops.linkwright.clear_edits(gone_only=True)
    assert [place.body for place in stored(fed.linkwright).barred] == ["link 1"]


# The panel, and what the link mesh keeps out.


def test_the_panel_tells_the_selected_gate(fed):
    assert "Add Gate" in texts(draw_all()["Feed"])
    select(gate(fed, "link 2"))
    told = texts(draw_all()["Feed"])
    gauge = strut_of(gate(fed, "link 2"))
    for words in ("Gate, by the planner", "link 2, from below", f"{gauge.gate.tip_mm:.2f} mm", "gate of link 3"):
        assert words in told
    bpy.ops.linkwright.pin_gate()
    assert "Gate, pinned" in texts(draw_all()["Feed"])
    assert "1 pinned" in texts(draw_all()["Feed"])
    # A click in the list selects.
    state_of(bpy.context).gate_active = 2
    assert bpy.context.active_object == gate(fed, "link 3")
    assert state_of(bpy.context).gate_active == 2
    select(fed)
    assert state_of(bpy.context).gate_active == -1


def test_the_selected_gate_is_explained(fed, monkeypatch):
    window = _Window()
    monkeypatch.setattr(reasons_module, "bpy", window)
    select(gate(fed, "link 2"))
    bpy.context.view_layer.update()
    reasons.ask()
    window.play()
    told = texts(draw_all()["Feed"])
    # The wire is 2.2 mm thick, and a link lying on its face starts at its lowest place.
    for words in ("Why Here", "Metal 2.2 mm thick", "Holds the start of link 2", "Score 0."):
        assert words in told
    select(next(strut for strut in parts(fed, "STRUT") if strut_of(strut).role == "trunk"))
    reasons.ask()
    window.play()
    assert "Why Here" not in texts(draw_all()["Feed"])


def test_faces_marked_on_the_link_mesh_are_kept_out(tmp_path):
    """Whatever way they are marked, the numbers are those of the triangles that the rules get."""
    mm_scene()
    ob = put("stone link", torus(6.0, 1.1, 24, 12))
    select(ob)
    bpy.ops.linkwright.add_chain(where="mesh", length_mm=100.0)
    made = bpy.context.active_object
    assert read_job(made, bpy.context).feed.keep_out == ()
    high = [v.index for v in ob.data.vertices if v.co.z > 0.6]
    ob.vertex_groups.new(name=KEEP_OUT).add(high, 1.0, "REPLACE")
    ob.vertex_groups.new(name="other").add(range(len(ob.data.vertices)), 1.0, "REPLACE")
    bpy.context.view_layer.update()
    assert marked_heights(made).min() > 0.6
    assert made.linkwright.figures.own_stale
    count = len(read_job(made, bpy.context).feed.keep_out)
    ob.vertex_groups.clear()
    faces = [all(ob.data.vertices[v].co.z > 0.6 for v in p.vertices) for p in ob.data.polygons]
    mark = ob.data.attributes.new(KEEP_OUT, "INT", "FACE")
    mark.data.foreach_set("value", np.array(faces, dtype=np.int32))
    ob.data.update()
    bpy.context.view_layer.update()
    assert len(read_job(made, bpy.context).feed.keep_out) == count == sum(faces)
    ob.modifiers.new("half", "TRIANGULATE")
    ob.scale.z = -1.0
    bpy.context.view_layer.update()
    assert marked_heights(made).max() < -0.6
    path = tmp_path / "job.toml"
    select(made)
    bpy.ops.linkwright.save_job(filepath=str(path))
    bpy.ops.linkwright.load_job(filepath=str(path))
    assert bpy.context.active_object != made
    assert marked_heights(bpy.context.active_object).max() < -0.6
    assert len(read_job(bpy.context.active_object, bpy.context).feed.keep_out) == count


def marked_heights(made):
    """Give the heights of the corners of the triangles that are kept out."""
    job = read_job(made, bpy.context)
    solid = job.chain.own
    assert len(job.feed.keep_out)
    assert read_specs(made, bpy.context).own.keep_out == job.feed.keep_out
    return solid.points[solid.triangles[list(job.feed.keep_out)], 2]


def test_meshes_that_are_no_chain_get_a_lattice_of_their_own():
    mm_scene()
    things = [put(name, torus(4.0, 0.9, 16, 8), at=(12.0 * k, 0, 0)) for k, name in enumerate(("left", "right"))]
    bpy.context.view_layer.objects.active = things[0]
    before = counts()
    assert "Add Lattice to Selection" in texts(draw_all()["Feed"])
    bpy.ops.linkwright.add_lattice()
    struts = [ob for ob in bpy.data.objects if ob.linkwright.part == "STRUT"]
    assert {ob.parent for ob in struts} == {None}
    assert {home.name for ob in struts for home in ob.users_collection} == {"Lattice of left and right"}
    fed = {ob.name.removeprefix("gate of ").split(".")[0]: ob for ob in struts if ob.name.startswith("gate")}
    assert set(fed) == {"left", "right"}
    for thing in things:
        assert abs(top(fed[thing.name])[0] - thing.location.x) < 5.0
    floor = min(v.co.z for ob in struts for v in ob.data.vertices)
    assert floor < min((thing.matrix_world @ v.co).z for thing in things for v in thing.data.vertices)
    # Places of findings are those of the meshes where they stand.
    spots = [np.array(row.at) for row in state_of(bpy.context).findings if row.has_place]
    assert spots
    assert all(-6.0 < x < 18.0 and abs(y) < 6.0 and floor - 0.1 < z < 1.0 for x, y, z in spots)
    # Planned again it takes the older one's place, and taking it away leaves nothing.
    bpy.ops.linkwright.add_lattice()
    assert len([ob for ob in bpy.data.objects if ob.linkwright.part == "STRUT"]) == len(struts)
    bpy.ops.linkwright.remove_lattice()
    assert counts() == before
    assert not [home for home in bpy.data.collections if home.linkwright_set]


def test_struts_of_files_from_before_edits_are_taken_as_they_are(fed):
    """Struts that do not say what they are tell nothing, and the next plan makes new ones of them."""
    for strut in parts(fed, "STRUT"):
        strut.linkwright.strut = ""
    fed.linkwright.gates.clear()
    assert json.dumps(fed.linkwright.edits) == '""'
    delete(parts(fed, "STRUT")[5])
    assert read_job(fed, bpy.context).feed == FeedSpec()
    draw_all()
