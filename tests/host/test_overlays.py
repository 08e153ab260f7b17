"""What is drawn over the view: where, in which colours, in which windows, and that nothing of it is left behind."""

from types import SimpleNamespace

import bpy
import numpy as np
import pytest

from addon.host import cast_view as cast
from addon.host import gap_colours, handlers, legend
from addon.host.current import as_printed
from addon.host.gap_colours import colours
from addon.host.in_view import InView, viewports
from addon.host.overlay import MARKS, Overlay
from addon.host.print_view import LightSteps
from addon.host.result_state import state_of
from addon.host.showing import parts
from tests.host.test_boolean import torus
from tests.host.test_cast_view import ALL, run, three_links
from tests.host.test_inspect import mm_scene, put

# How colours look without the red, the green or the blue receptors, by matrices for linear sRGB at full severity:
# Machado, Oliveira, Fernandes, "A Physiologically-based Model for Simulation of Color Vision Deficiency", IEEE
# Transactions on Visualization and Computer Graphics 15(6), 2009.
SIGHTS = {
    "all three": np.eye(3),
    "protanopia": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "deuteranopia": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
}
# sRGB (IEC 61966-2-1:1999) to XYZ under D65.
TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
# Of CIE L*a*b* 1976. 2.3 is just noticeable side by side (Mahy, Van Eycken, Oosterlinck 1994); colours of a legend are
# compared across the view: five times as much, our judgement.
APART = 11.5


def lab(colour, sight):
    """Give L*a*b* (n, 3) of sRGB colours (n, 4) as a sight takes them (CIE 15:2004, 8.2.1)."""
    srgb = np.array(colour)[:, :3]
    linear = np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)
    linear = np.clip(linear @ SIGHTS[sight].T, 0.0, 1.0)
    share = linear @ TO_XYZ.T / TO_XYZ.sum(axis=1)
    f = np.where(share > (6 / 29) ** 3, np.cbrt(share), share * (29 / 6) ** 2 / 3 + 4 / 29)
    return np.stack((116 * f[:, 1] - 16, 500 * (f[:, 0] - f[:, 1]), 200 * (f[:, 1] - f[:, 2])), axis=1)


def legends():
    middle = 2.9
    return {
        "gap": gap_colours.ColourSteps(0.25, 0.35, 1.5).legend(),
        "light": LightSteps(0.02).legend(),
        "fill": cast.fill_colours(run(), ALL, 1.0, ended=False)[1],
        "fill at the end": cast.fill_colours(run(), ALL, 2.0, ended=True)[1],
        "freeze": cast.freeze_colours(run(), ALL, middle)[1],
        "order": cast.order_colours(run(), ALL)[1],
        "marks": tuple((severity, colour) for severity, (colour, _) in MARKS.items()),
    }


def test_the_sight_matrices_leave_grey_as_it_is_and_make_red_and_green_alike():
    for sight in SIGHTS:
        grey = lab([(0.5, 0.5, 0.5)], sight)[0]
        assert np.abs(grey[1:]).max() < 0.5
    # Of equal brightness to that eye: the model's own sense. What all three receptors tell apart, two do not.
    red, green = (0.80, 0.0, 0.0), (0.43, 0.42, 0.0)
    apart = {sight: np.linalg.norm(np.diff(lab([red, green], sight)[:, 1:], axis=0)) for sight in SIGHTS}
    assert apart["deuteranopia"] < 0.35 * apart["all three"]


@pytest.mark.parametrize("sight", SIGHTS)
@pytest.mark.parametrize("name", legends())
def test_every_two_neighbours_of_a_legend_are_told_apart(name, sight):
    seen = lab([colour for _, colour in legends()[name]], sight)
    apart = np.linalg.norm(np.diff(seen, axis=0), axis=1)
    assert apart.min() > APART, (name, sight, apart)


def test_legends_say_figures_with_their_units():
    for name in ("gap", "light", "fill", "order"):
        for text, _ in legends()[name]:
            assert text.split(":")[0] in ("no metal",) or any(unit in text for unit in (" mm", "%", " s")), text


def test_words_stand_out_on_light_themes_and_on_dark_ones():
    assert legend.contrast(legend.BLACK, legend.WHITE) == pytest.approx(21.0)
    # The least grey that is still readable on white, by the guidelines' own example: #767676, 4.54 to 1.
    assert legend.contrast((0x76 / 255,) * 3 + (1.0,), legend.WHITE) == pytest.approx(4.54, abs=0.005)
    for back in (0.0, 0.11, 0.35, 0.5, 0.7, 0.95, 1.0):
        for text in (0.0, 0.3, 0.5, 0.85, 1.0):
            found = legend.readable((back, back, back, 1.0), (text, text, text, 1.0))
            assert legend.contrast(found.back, found.text) >= legend.READABLE
    kept = legend.readable((0.11, 0.11, 0.11, 1.0), (0.85, 0.85, 0.85, 1.0))
    assert kept.text == (0.85, 0.85, 0.85, 1.0)
    theme = bpy.context.preferences.themes[0].user_interface.wcol_tooltip
    before = tuple(theme.inner), tuple(theme.text)
    try:
        theme.inner, theme.text = (0.9, 0.9, 0.9, 1.0), (0.8, 0.8, 0.8)
        assert legend.palette(bpy.context).text == legend.BLACK
    finally:
        theme.inner, theme.text = before


def region(kind, x, y, width, height):
    return SimpleNamespace(type=kind, x=x, y=y, width=width, height=height)


def test_the_legend_keeps_clear_of_bars_shelves_and_the_last_operation():
    window = region("WINDOW", 100, 50, 1000, 600)
    bars = [
        region("TOOLS", 100, 50, 40, 560),
        region("UI", 850, 50, 250, 560),
        region("HUD", 150, 55, 200, 90),
        region("HEADER", 100, 620, 1000, 30),
        region("ASSET_SHELF", 100, 50, 1, 1),
    ]
    room = legend.free_room(SimpleNamespace(regions=[window, *bars]), window)
    assert (room.left, room.low, room.right, room.top) == (40, 95, 750, 570)
    # Toolbar and sidebar flipped to the other sides.
    flipped = [region("TOOLS", 1060, 50, 40, 560), region("UI", 100, 50, 250, 560)]
    room = legend.free_room(SimpleNamespace(regions=[window, *flipped]), window)
    assert (room.left, room.right) == (250, 960)


def test_a_quad_view_has_one_legend_and_bars_count_only_where_they_are():
    quad = [region("WINDOW", 100 + 500 * (k % 2), 50 + 300 * (k // 2), 500, 300) for k in (3, 1, 2, 0)]
    area = SimpleNamespace(regions=[*quad, region("UI", 850, 50, 250, 600)])
    assert [legend.bears_legend(area, one) for one in quad] == [False, False, False, True]
    assert legend.free_room(area, quad[3]).right == 500.0
    assert legend.free_room(area, quad[1]).right == 250.0


def view():
    """Give a context as a draw handler has it: of a 3D view in a window."""
    context = bpy.context
    window = context.window_manager.windows[0]
    area = next(one for one in window.screen.areas if one.type == "VIEW_3D")
    return SimpleNamespace(
        scene=context.scene, view_layer=context.view_layer, space_data=area.spaces.active, area=area, window=window,
        region=next(one for one in area.regions if one.type == "WINDOW"),
    )  # fmt: skip


def seen():
    viewports.changed()
    return viewports.of(state_of(bpy.context), view())


def faces():
    painting = colours.shown(state_of(bpy.context), bpy.context.scene)
    return painting, painting.faces_in(seen())


def two_rings():
    mm_scene()
    a = put("a", torus(8, 1.2))
    b = put("b", torus(8, 1.2), at=(8, 0, 0), turn=(np.pi / 2, 0, 0))
    # A neighbour of almost the same name: what belongs to "a 1" does not belong to "a".
    c = put("a 1", torus(8, 1.2), at=(0, 8, 0), turn=(np.pi / 2, 0, 0))
    bpy.ops.linkwright.inspect()
    return a, b, c


def test_hidden_objects_have_neither_colours_nor_marks():
    _, hidden, _ = two_rings()
    painting, all_of_them = faces()
    assert all_of_them is painting.faces
    hidden.hide_set(True)
    _, left = faces()
    counts = dict(painting.owners)
    assert 0 < len(left) == len(painting.faces) - counts["b"]
    assert not seen().shows("b")
    assert seen().shows("a")
    assert seen().shows("a 1")
    hidden.hide_set(False)
    hidden.hide_viewport = True
    bpy.context.view_layer.update()
    assert not seen().shows("b")


def test_the_handler_looks_anew_after_something_was_hidden():
    _, hidden, _ = two_rings()
    assert seen().shows("b")
    hidden.hide_set(True)
    bpy.context.view_layer.update()
    assert not viewports.of(state_of(bpy.context), view()).shows("b")


def test_local_view_shows_what_is_in_it():
    first, *_ = two_rings()
    assert seen().whole
    for ob in bpy.context.selected_objects:
        ob.select_set(ob == first)
    here = view()
    with bpy.context.temp_override(window=here.window, area=here.area, region=here.region):
        bpy.ops.view3d.localview()
        assert here.space_data.local_view is not None
        # What is kept of the whole view does not serve for the local one.
        found = viewports.of(state_of(bpy.context), view())
        assert found.shown == {"a": True, "b": False, "a 1": False}
        bpy.ops.view3d.localview()
    assert viewports.of(state_of(bpy.context), view()).whole


def test_other_scenes_and_view_layers_show_nothing_that_is_not_in_them():
    two_rings()
    state, here = state_of(bpy.context), view()
    other = bpy.data.scenes.new("Other")
    here.scene, here.view_layer = other, other.view_layers[0]
    assert viewports.of(state, here) is None
    for ob in bpy.context.scene.objects:
        other.collection.objects.link(ob)
    # Even the same objects: units and limits of the other scene are its own.
    assert viewports.of(state, here) is None
    assert colours.shown(state, other) is None
    here.scene = bpy.context.scene
    here.view_layer = here.scene.view_layers.new("Empty")
    here.view_layer.layer_collection.exclude = True
    bpy.context.view_layer.update()
    viewports.changed()
    for ob in here.scene.objects:
        ob.hide_set(True, view_layer=here.view_layer)
    assert viewports.of(state, here) is None


def test_links_hidden_on_a_chain_and_its_lattice_are_left_out_one_by_one(add_chain):
    ob = three_links(add_chain)
    bpy.ops.linkwright.inspect()
    painting, all_of_them = faces()
    assert all_of_them is painting.faces
    hidden = parts(ob, "LINK")[1]
    hidden.hide_set(True)
    _, left = faces()
    assert len(left) == len(painting.faces) - painting.owners[1][1]
    assert not seen().shows("link 2")
    bpy.ops.linkwright.add_lattice()
    # What is joined of all links is drawn where all are shown.
    assert not seen().shows("curb bracelet")
    hidden.hide_set(False)
    assert seen().shows("curb bracelet")
    for strut in parts(ob, "STRUT"):
        strut.hide_set(True)
    assert not seen().shows("")
    assert seen().shows("link 2")


def test_marks_end_with_the_objects_they_are_at():
    overlay = Overlay()
    first, second, _ = two_rings()
    state = state_of(bpy.context)
    assert any(row.has_place for row in state.findings)
    flat = SimpleNamespace(perspective_matrix=np.diag((0.01, 0.01, 0.01, 1.0)))
    area = SimpleNamespace(width=800, height=600)
    assert overlay.placed(state, seen(), area, flat)[1].any()
    for ob in (first, second):
        ob.hide_set(True)
    shown = overlay.placed(state, seen(), area, flat)[1]
    rows = [row for row in state.findings if row.has_place]
    for row, drawn in zip(rows, shown, strict=True):
        assert drawn == ("a 1" in row.bodies.split(", "))
    for ob in list(bpy.data.objects):
        bpy.data.objects.remove(ob)
    assert seen() is None


def test_a_deleted_chain_takes_its_marks_and_colours_along(add_chain):
    ob = three_links(add_chain)
    bpy.ops.linkwright.inspect()
    state = state_of(bpy.context)
    assert as_printed(state, bpy.context.scene)
    assert seen() is not None
    bpy.data.objects.remove(ob)
    assert not as_printed(state, bpy.context.scene)
    assert colours.shown(state, bpy.context.scene) is None
    assert seen() is None


@pytest.fixture
def as_in_a_window():
    """Let looks that take long wait for a moment of rest; gives a function that lets that moment pass."""

    def rest():
        later = handlers.later
        later._due = later._due and 0.0
        slices = 1
        while later._wait() is not None:
            slices += 1
        later.stop()
        return slices

    handlers.later.at_once = False
    yield rest
    handlers.later.stop()
    handlers.later.at_once = True


def test_a_moved_link_takes_the_colours_at_once_and_brings_them_back_at_rest(add_chain, as_in_a_window, monkeypatch):
    ob = three_links(add_chain)
    bpy.ops.linkwright.inspect()
    bpy.context.view_layer.update()
    as_in_a_window()
    state, link = state_of(bpy.context), parts(ob, "LINK")[1]
    assert not state.moved
    looked = []
    looking = handlers.looking
    monkeypatch.setattr(handlers, "looking", lambda *given: looked.append(1) or looking(*given))
    before = link.location.copy()
    link.location.z += 0.001
    bpy.context.view_layer.update()
    assert state.moved
    link.location = before
    bpy.context.view_layer.update()
    assert not looked
    as_in_a_window()
    assert len(looked) == 1
    assert not state.moved
    # The chain as a whole may go where it likes.
    ob.location.x += 0.01
    bpy.context.view_layer.update()
    assert not state.moved
    as_in_a_window()
    assert not state.moved
    bpy.data.objects.remove(link)
    bpy.context.view_layer.update()
    as_in_a_window()
    assert state.moved


@pytest.fixture
def one_step(monkeypatch, as_in_a_window):
    """Let slices be one step each; gives a function that goes some of them and tells whether that was the end."""

    def step(steps, _seconds):
        try:
            next(steps)
        except StopIteration:
            return True, None
        return False, None

    def go(count):
        later = handlers.later
        for _ in range(count):
            later._due = 0.0
            if later._wait() is None:
                return True
        return False

    monkeypatch.setattr(handlers, "run_slice", step)
    yield go
    as_in_a_window()


def test_what_changes_while_all_parts_are_looked_at_has_the_look_begin_anew(add_chain, one_step):
    ob = three_links(add_chain)
    bpy.ops.linkwright.inspect()
    bpy.context.view_layer.update()
    assert one_step(200)
    state, link = state_of(bpy.context), parts(ob, "LINK")[0]
    before = link.location.copy()
    # Moved after the look had passed it.
    handlers.later.ask(None)
    assert not one_step(4)
    link.location.z += 0.001
    bpy.context.view_layer.update()
    assert one_step(200)
    assert state.moved
    # And moved back while it is being found that it was moved.
    handlers.later.ask(None)
    assert not one_step(4)
    link.location = before
    bpy.context.view_layer.update()
    assert one_step(200)
    assert not state.moved
    # Another result in the middle of a look at the one before.
    link.location.z += 0.001
    bpy.context.view_layer.update()
    assert not one_step(4)
    bpy.ops.linkwright.inspect()
    assert one_step(200)
    assert not state.moved
    # Deleted, and Blender has not told yet.
    handlers.later.ask(None)
    assert not one_step(1)
    bpy.data.objects.remove(parts(ob, "LINK")[2])
    assert one_step(200)
    assert state.moved


def test_an_undo_or_another_file_in_the_middle_of_a_look_lets_go_of_all_objects(add_chain, one_step):
    three_links(add_chain)
    bpy.ops.linkwright.inspect()
    handlers.later.ask(None)
    assert not one_step(4)
    assert handlers.later._steps is not None
    handlers.after_undo(bpy.context.scene)
    assert handlers.later._steps is None
    assert not one_step(4)
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    assert handlers.later._steps is None
    assert one_step(200)


def test_objects_that_come_and_go_are_counted_at_rest_and_looked_for(add_chain, one_step, monkeypatch):
    three_links(add_chain)
    bpy.context.view_layer.update()
    one_step(200)
    looked = []
    looking = handlers.looking
    monkeypatch.setattr(handlers, "looking", lambda *given: looked.append(given[2]) or looking(*given))
    other = bpy.data.objects.new("other", None)
    bpy.context.scene.collection.objects.link(other)
    bpy.context.view_layer.update()
    assert one_step(200)
    assert looked[-1] is None
    looked.clear()
    # Selected or hidden: as many as before, so nothing is looked at.
    other.hide_set(True)
    bpy.context.view_layer.update()
    assert one_step(200)
    assert not looked
    bpy.data.objects.remove(other)
    bpy.context.view_layer.update()
    assert one_step(200)
    assert looked == [None]


def test_nothing_is_looked_up_when_all_is_off(monkeypatch):
    two_rings()
    state = state_of(bpy.context)
    state.overlay = state.colours = state.section = False
    looked = []
    monkeypatch.setattr(viewports, "of", lambda *_: looked.append(1))
    overlay = Overlay()
    overlay._draw()
    colours._draw()
    assert not looked
    state.overlay = True
    with pytest.raises(AttributeError):
        # On, it asks for the view it draws in; here is none.
        overlay._draw()


def test_starting_twice_leaves_one_handler(monkeypatch):
    standing = []
    space = SimpleNamespace(
        draw_handler_add=lambda fn, *_: standing.append(fn) or fn,
        draw_handler_remove=lambda handle, _: standing.remove(handle),
    )
    monkeypatch.setattr(bpy.types, "SpaceView3D", space)
    overlay = Overlay()
    overlay.start()
    overlay.start()
    assert len(standing) == 1
    overlay.stop()
    overlay.stop()
    assert not standing


def test_nothing_is_put_on_meshes_and_another_file_forgets_everything(tmp_path):
    two_rings()
    had = {data.name: [one.name for one in data.attributes] for data in bpy.data.meshes}
    assert not any("linkwright" in name or "gap" in name for names in had.values() for name in names)
    path = str(tmp_path / "rings.blend")
    bpy.ops.wm.save_as_mainfile(filepath=path)
    bpy.ops.wm.open_mainfile(filepath=path)
    state = state_of(bpy.context)
    assert not state.has_result
    assert not colours.anything(state)
    assert colours.shown(state, bpy.context.scene) is None
    assert {data.name: [one.name for one in data.attributes] for data in bpy.data.meshes} == had


def test_a_part_of_an_object_is_shown_with_it_and_what_nobody_owns_only_with_all():
    there = InView({"Ring": True, "Ring 2": False}, {}, named=False)
    assert there.shows("Ring: stone 3")
    assert not there.shows("Ring 2 5")
    assert not there.shows("elsewhere")


def alone(*objects):
    """Show objects in a local view; gives its context."""
    for ob in bpy.context.view_layer.objects:
        ob.select_set(ob in objects)
    bpy.context.view_layer.objects.active = objects[0]
    here = view()
    with bpy.context.temp_override(window=here.window, area=here.area, region=here.region):
        bpy.ops.view3d.localview()
    bpy.context.view_layer.update()
    return here


def shown_in(here, objects):
    return [ob.visible_get(view_layer=here.view_layer, viewport=here.space_data) for ob in objects]


def test_links_and_gates_that_come_join_a_local_view_of_the_whole_chain(add_chain):
    ob = three_links(add_chain)
    here = alone(ob, *parts(ob, "LINK"))
    ob.linkwright.links += 2
    assert len(parts(ob, "LINK")) == 5
    assert all(shown_in(here, parts(ob, "LINK")))
    bpy.ops.linkwright.add_lattice()
    assert parts(ob, "STRUT")
    assert all(shown_in(here, parts(ob, "STRUT")))
    with bpy.context.temp_override(window=here.window, area=here.area, region=here.region):
        bpy.ops.view3d.localview()


def test_what_is_new_stays_out_of_a_local_view_of_one_link(add_chain):
    ob = three_links(add_chain)
    here = alone(parts(ob, "LINK")[0])
    ob.linkwright.links += 1
    assert shown_in(here, parts(ob, "LINK")) == [True, False, False, False]
    bpy.context.view_layer.objects.active = ob
    bpy.ops.linkwright.add_lattice()
    assert not any(shown_in(here, parts(ob, "STRUT")))
    with bpy.context.temp_override(window=here.window, area=here.area, region=here.region):
        bpy.ops.view3d.localview()
