"""The first minutes: what the Add menu makes, samples, presets, the status of every step, tooltips, greyed buttons."""

import re
from pathlib import Path
from types import SimpleNamespace

import bpy
import pytest

from addon.host import op_samples, presets, steps_status
from addon.host.cast_results import MOST_REASONS, reasons
from addon.host.op_chain import look_at_new
from addon.host.result_state import state_of
from addon.rules.cast.verdict import AT_RISK, SHORT, SOUND, LinkCast
from addon.rules.files.job import read_job
from tests.host.recorder import Recorder, draw_all, headers, texts

SAMPLES = Path(__file__).parents[2] / "sample_scenes"
SMALL = {"family": "trace", "wire_mm": 2.0, "link_length_mm": 12.0, "link_width_mm": 9.0, "length_mm": 36.0}


def small(add_chain):
    """Add a short chain of coarse facets, on which every step is quick."""
    ob = add_chain(where="straight", **SMALL)
    ob.linkwright.chord_mm = 0.1
    ob.linkwright.straight_size, ob.linkwright.links = "LINKS", 2
    return ob


# Settings and arguments of ours whose tooltip need not name a usual range, and why.
NO_USUAL = {
    "schema": "not for people", "number": "not for people", "other_struts": "not for people",
    "axis": "a direction",
    "metal_price_per_g": "a price", "investment_price_per_kg": "a price",
    "active": "a row of a list", "gate_active": "a row of a list", "way_active": "a row of a list",
    "index": "a row of a list",
    "section_mm": "a place in what is there", "section_share": "a place in what is there",
    "place": "what was pointed at", "size": "what was dragged to",
    "cast_s": "a place in what is there", "cast_share": "a place in what is there",
}  # fmt: skip
# What Blender's own base classes bring along.
BLENDERS = {
    "filepath",
    "check_existing",
    "filter_glob",
    "remove_name",
    "remove_active",
    "directory",
    "hide_props_region",
}
# Where a tooltip says what is usual.
USUAL = re.compile(r"\busually\b.*(\d|three quarters)")


def _ours():
    """Give (where, property) of every setting that people see, and of every argument of an operator of ours."""
    for owner, name in (
        (bpy.types.Object, "linkwright"),
        (bpy.types.Scene, "linkwright"),
        (bpy.types.Scene, "linkwright_gauge"),
        (bpy.types.WindowManager, "linkwright"),
    ):
        kind = owner.bl_rna.properties[name].fixed_type
        groups = [kind]
        if name == "linkwright_gauge":
            groups.append(kind.properties["readings"].fixed_type)
        for group in groups:
            for prop in group.properties:
                # What has no name of its own is shown to nobody.
                named = prop.name not in ("", prop.identifier)
                if named and not prop.is_hidden and prop.identifier not in ("rna_type", "name"):
                    yield f"{owner.__name__}.{name}.{prop.identifier}", prop
    for cls, kind in _operators():
        for prop in kind.properties:
            if prop.identifier not in BLENDERS | {"rna_type"} and not prop.is_hidden:
                yield f"{cls.bl_idname}.{prop.identifier}", prop


def _operators():
    for name in dir(bpy.types):
        if name.startswith("LINKWRIGHT_OT_"):
            cls = getattr(bpy.types, name)
            module, own = cls.bl_idname.split(".")
            yield cls, getattr(getattr(bpy.ops, module), own).get_rna_type()


def test_every_setting_has_a_tooltip_that_says_what_it_does():
    seen = 0
    for where, prop in _ours():
        seen += 1
        assert len(prop.description) > 10, where
        assert not prop.description.endswith("."), where
        assert prop.description.lower() != prop.name.lower(), where
    assert seen > 120


def test_every_number_names_what_is_usual():
    bare = {
        prop.identifier for _, prop in _ours() if prop.type in ("FLOAT", "INT") and not USUAL.search(prop.description)
    }
    assert bare - set(NO_USUAL) == set()


def test_tooltips_of_choices_differ_from_their_names():
    for where, prop in _ours():
        if prop.type == "ENUM":
            for item in prop.enum_items:
                assert item.description, (where, item.identifier)
                assert item.description.lower() != item.name.lower(), (where, item.identifier)
                assert not item.description.endswith("."), (where, item.identifier)


def test_every_operator_has_a_tooltip_and_a_title():
    small = {"a", "an", "the", "of", "on", "as", "to", "for", "and", "at"}
    for cls, kind in _operators():
        assert len(kind.description) > 10, cls
        assert not kind.description.endswith("."), cls
        assert kind.description != kind.name, cls
        for word in kind.name.split():
            assert word[0].isupper() or word in small, (cls.bl_idname, kind.name)


@pytest.mark.parametrize("situation", ["empty", "edit mode", "running"])
def test_every_greyed_button_says_why(situation, add_chain):
    if situation == "edit mode":
        bpy.ops.mesh.primitive_cube_add()
        bpy.ops.object.mode_set(mode="EDIT")
    if situation == "running":
        small(add_chain)
        state_of(bpy.context).running = "Inspecting"
    greyed = 0
    try:
        for cls, _ in _operators():
            # Those of a key or a handle stand on no button.
            if "INTERNAL" in cls.bl_options and "preset" not in cls.bl_idname:
                continue
            module, own = cls.bl_idname.split(".")
            call = getattr(getattr(bpy.ops, module), own)
            if call.poll():
                continue
            greyed += 1
            with pytest.raises(RuntimeError) as told:
                call()
            assert "context is incorrect" not in str(told.value), cls.bl_idname
            assert len(str(told.value).partition("poll()")[2].strip()) > 10, cls.bl_idname
    finally:
        state_of(bpy.context).property_unset("running")
        if situation == "edit mode":
            bpy.ops.object.mode_set(mode="OBJECT")
    assert greyed > 3


def test_a_new_ring_is_sized_by_the_wrist():
    bpy.ops.linkwright.add_chain(size_by="WRIST")
    group = bpy.context.active_object.linkwright
    assert (group.ring_size, group.wrist_mm, group.ease_mm) == ("WRIST", 170.0, 15.0)
    worn = group.figures.worn_mm
    assert abs(worn - 185.0) < 12.2, "within a link of wrist and ease"
    # The panel reads the same length out of it: nothing is out of date.
    stamp = group.figures.stamp
    group.ease_mm = 15.0
    assert group.figures.stamp == stamp
    group.wrist_mm = 200.0
    assert group.figures.worn_mm > worn + 20.0


@pytest.mark.parametrize("family", ["curb", "belcher", "anchor", "rope"])
def test_a_width_alone_makes_a_chain_that_has_its_gap(family):
    bpy.ops.linkwright.add_chain(where="straight", family=family, link_width_mm=16.0, length_mm=120.0)
    group = bpy.context.active_object.linkwright
    assert group.link_width_mm == 16.0
    assert group.figures.gap_mm >= 0.399
    assert not group.figures.message


def test_the_add_menu_has_a_submenu():
    layout = Recorder()
    bpy.types.LINKWRIGHT_MT_add.draw(SimpleNamespace(layout=layout), bpy.context)
    drawn = texts(layout.drawn)
    for words in ("On a New Ring", "Along Selected Curve", "From Selected Mesh", "Straight", "Gauge", "Open a Sample"):
        assert words in drawn


def test_the_tooltip_says_what_has_to_be_selected_first():
    cls = bpy.types.LINKWRIGHT_OT_add_chain

    def tip(where):
        return cls.description(bpy.context, SimpleNamespace(where=where))

    assert tip("curve").startswith("Select a curve")
    assert tip("mesh").startswith("Select a closed mesh")
    bpy.ops.mesh.primitive_torus_add()
    assert tip("mesh").startswith("Add a ring")
    bpy.ops.curve.primitive_bezier_curve_add()
    assert tip("curve").startswith("Add a chain")
    assert tip("ring").startswith("Add a closed")


def test_every_sample_is_listed_as_its_file_says():
    found = op_samples.known.found
    assert set(found) == {path.stem for path in SAMPLES.glob("*.toml")}
    for stem, sample in found.items():
        first = (SAMPLES / f"{stem}.toml").read_text(encoding="utf-8").splitlines()[0]
        assert first == f"# {sample.said}."
    layout = Recorder()
    bpy.types.LINKWRIGHT_MT_samples.draw(SimpleNamespace(layout=layout), bpy.context)
    assert len(layout.drawn) == len(found)


@pytest.mark.parametrize("stem", ["hawser", "sandbar", "driftwood"])
def test_a_sample_becomes_a_chain_in_one_step(stem):
    bpy.ops.ed.undo_push(message="before")
    before = set(bpy.data.objects.keys())
    bpy.ops.linkwright.open_sample("EXEC_DEFAULT", True, sample=stem)
    ob = bpy.context.active_object
    job = read_job(SAMPLES / f"{stem}.toml")
    assert (ob.name, ob.linkwright.family, ob.linkwright.shape) == (job.name, job.chain.family, job.layout.shape)
    assert bpy.context.scene.linkwright.alloy == job.cast.alloy
    assert ob.linkwright.figures.links > 5
    bpy.ops.ed.undo()
    assert set(bpy.data.objects.keys()) == before


def test_an_unknown_sample_is_refused():
    with pytest.raises(RuntimeError, match="no such sample"):
        bpy.ops.linkwright.open_sample(sample="elsewhere")


@pytest.fixture
def own_presets(tmp_path, monkeypatch):
    """Keep the user's presets in a folder of the test's own."""
    monkeypatch.setattr(bpy.utils, "user_resource", lambda *_a, path="", **_k: _made(tmp_path / path))
    for cls in presets.CLASSES:
        # Blender calls the list by the preset that was taken last.
        monkeypatch.setattr(cls, "bl_label", cls.bl_label)
    monkeypatch.setattr(bpy.utils, "preset_paths", lambda subdir: [_made(tmp_path / "presets" / subdir)])
    return tmp_path / "presets" / "linkwright"


def _made(folder):
    folder.mkdir(parents=True, exist_ok=True)
    return str(folder)


def test_a_link_comes_back_from_its_preset_in_one_step(add_chain, own_presets):
    ob = small(add_chain)
    bpy.ops.linkwright.link_preset_add(name="Fine trace")
    (path,) = (own_presets / "link").glob("*.py")
    stamp = ob.linkwright.figures.stamp
    ob.linkwright.wire_mm = 1.8
    ob.linkwright.gap_mm = 0.6
    assert ob.linkwright.figures.stamp != stamp
    name = ob.name
    bpy.ops.ed.undo_push(message="before")
    bpy.ops.linkwright.take_preset("EXEC_DEFAULT", True, filepath=str(path), kind="LINK")
    assert ob.linkwright.figures.stamp == stamp
    assert not ob.linkwright.hold
    bpy.ops.ed.undo()
    assert bpy.data.objects[name].linkwright.gap_mm == pytest.approx(0.6)


def test_a_link_preset_works_with_a_link_selected(add_chain, own_presets):
    ob = small(add_chain)
    bpy.context.view_layer.objects.active = next(one for one in ob.children_recursive if one.type == "MESH")
    bpy.ops.linkwright.link_preset_add(name="From a link")
    (path,) = (own_presets / "link").glob("*.py")
    ob.linkwright.gap_mm = 0.6
    bpy.ops.linkwright.take_preset(filepath=str(path), kind="LINK")
    assert ob.linkwright.gap_mm == pytest.approx(0.4)


@pytest.mark.parametrize(
    ("kind", "key", "other"),
    [("LIMITS", "gap_floor_mm", 0.31), ("FEED", "ring_mm", 4.5), ("POUR", "alloy", "sterling-silver")],
)
def test_settings_come_back_from_their_preset(kind, key, other, own_presets):
    group = bpy.context.scene.linkwright
    usual = getattr(group, key)
    setattr(group, key, other)
    stamp = group.stamp
    getattr(bpy.ops.linkwright, f"{kind.lower()}_preset_add")(name="Mine")
    setattr(group, key, usual)
    (path,) = (own_presets / kind.lower()).glob("*.py")
    bpy.ops.linkwright.take_preset(filepath=str(path), kind=kind)
    assert getattr(group, key) == (pytest.approx(other) if isinstance(other, float) else other)
    assert group.stamp == stamp
    getattr(bpy.ops.linkwright, f"{kind.lower()}_preset_add")(name="Mine", remove_name=True)
    assert not list((own_presets / kind.lower()).glob("*.py"))


def test_presets_hold_every_setting_of_their_kind():
    scene = {prop.identifier for prop in bpy.context.scene.linkwright.bl_rna.properties}
    kept = {key for kind in ("LIMITS", "FEED", "POUR") for key in presets.KEYS[kind]}
    # What belongs to one piece, to one look, or to one folder is no preset.
    others = {"rna_type", "name", "stamp", "hold", "job_name", "light", "live_lattice", "handles", "folder"}
    assert scene - kept - others == set()
    assert kept <= scene


def test_the_presets_that_come_along_make_links_that_print(add_chain):
    ob = small(add_chain)
    folders = [Path(folder) for folder in bpy.utils.preset_paths("linkwright/link")]
    shipped = sorted(path for folder in folders for path in folder.glob("*.py") if presets.SHIPPED in str(path))
    assert len(shipped) >= 3
    for path in shipped:
        settings = re.findall(r"^settings\.(\w+) = (.+)$", path.read_text(encoding="utf-8"), re.MULTILINE)
        assert tuple(key for key, _ in settings) == presets.LINK_KEYS
        bpy.ops.linkwright.take_preset(filepath=str(path), kind="LINK")
        group = ob.linkwright
        assert path.stem == f"{group.family.capitalize()}_{group.wire_mm:g}_mm"
        assert group.figures.message == ""
        assert group.figures.gap_mm >= group.gap_mm - 1e-6


def test_a_preset_that_cannot_be_built_changes_nothing(add_chain, tmp_path):
    ob = small(add_chain)
    stamp = ob.linkwright.figures.stamp
    for text in ("settings.wire_mm = 9.0\n", "nothing.wire_mm = 1\n", "settings.wire_mm =\n"):
        path = tmp_path / "bad.py"
        path.write_text("\n".join(("import bpy", *presets.OF_CHAIN, text)), encoding="utf-8")
        with pytest.raises(RuntimeError):
            bpy.ops.linkwright.take_preset(filepath=str(path), kind="LINK")
        assert ob.linkwright.wire_mm == 2.0
        assert not ob.linkwright.hold
        assert (ob.linkwright.figures.stamp, ob.linkwright.figures.message) == (stamp, "")


def statuses(ob):
    """Give how every step stands for a chain."""
    return {step: steps_status.status_of(bpy.context, ob, step) for step in steps_status.STEPS}


def test_headers_say_how_every_step_stands(add_chain):
    ob = small(add_chain)
    scene = bpy.context.scene.linkwright
    scene.light = "OFF"

    def told():
        return [texts([row for row in drawn if row[0] == "label"]) for drawn in headers().values()]

    assert told() == ["Done", "Done", "Next", "Not Yet", "Not Yet", "Not Yet", "Not Yet"]
    assert "Next: Inspect" in texts(draw_all()["Chain"])
    bpy.ops.linkwright.inspect()
    assert told()[2:4] == ["Done", "Next"]
    bpy.ops.linkwright.add_lattice()
    assert told()[2:5] == ["Done", "Done", "Next"]
    bpy.ops.linkwright.check_print()
    bpy.ops.linkwright.plan_cast()
    found = statuses(ob)
    assert [found[step].kind in ("done", "warn", "stop") for step in ("inspect", "feed", "print", "cast")] == [True] * 4
    assert found["cast"].words in ("Sound", "At Risk", "Stays Short", "Done")
    scene.gap_floor_mm = 0.3
    found = statuses(ob)
    assert [found[step].kind for step in ("inspect", "feed", "print", "cast")] == ["stale"] * 4
    assert found["print"].why == "Limits, feed or pour were changed since"
    scene.gap_floor_mm = 0.25
    ob.linkwright.gap_mm = 0.5
    found = statuses(ob)
    assert {found[step].why for step in ("inspect", "feed", "print", "cast")} == {"The chain was changed since"}
    ob.linkwright.gap_mm = 0.4
    assert statuses(ob)["print"].kind != "stale"
    bpy.ops.linkwright.remove_lattice()
    found = statuses(ob)
    assert found["feed"].kind == "todo" or found["feed"].kind == "next"
    assert found["cast"].why == "The lattice was changed since"


def test_stops_are_counted_in_the_header(add_chain):
    ob = small(add_chain)
    bpy.context.scene.linkwright.gap_floor_mm = 3.0
    bpy.ops.linkwright.inspect()
    status = statuses(ob)["inspect"]
    assert (status.kind, status.words) == ("stop", "1 Stop"), "of the one joint"
    assert steps_status.counted(2, 5).words == "2 Stops"
    assert steps_status.next_step(bpy.context, ob) is None
    bpy.ops.linkwright.clear_findings()
    assert statuses(ob)["inspect"].kind == "next"


def test_reasons_are_told_once_the_worst_first():
    def link(number, verdict, filled, reason):
        return LinkCast(f"link {number}", verdict, filled, 1.0, 2.0, 50.0, reason)

    cast = (
        link(1, SOUND, 100.0, "fills"),
        link(2, AT_RISK, 100.0, "only 40 % of it freezes in time"),
        link(3, SHORT, 80.0, "fills to 80 %: too cold"),
        link(4, SHORT, 20.0, "fills to 20 %: too cold"),
        link(5, AT_RISK, 100.0, "only 30 % of it freezes in time"),
    )
    assert reasons(cast) == (
        "2 links, worst link 4: fills to 20 %: too cold",
        "2 links, worst link 2: only 40 % of it freezes in time",
    )
    many = tuple(link(k, SHORT, 10.0, f"why {'x' * k}") for k in range(1, 7))
    assert len(reasons(many)) == MOST_REASONS + 1
    assert reasons(many)[-1].startswith("3 more")
    assert reasons(cast[:1]) == ()


def test_another_chain_keeps_its_own_status(add_chain):
    first = small(add_chain)
    bpy.ops.linkwright.inspect()
    second = small(add_chain)
    assert statuses(first)["inspect"].kind == "done"
    assert statuses(second)["inspect"].kind == "next"


def test_meshes_have_a_status_too():
    bpy.ops.mesh.primitive_cube_add(size=0.01)
    assert texts(headers()["Inspect"]) == ""
    bpy.ops.linkwright.inspect()
    assert "Done" in texts(headers()["Inspect"]) or "Warning" in texts(headers()["Inspect"])
    bpy.context.scene.linkwright.wall_floor_mm = 50.0
    assert "Out of Date" in texts(headers()["Inspect"])


def test_the_first_chain_clears_the_view_of_lines_to_its_parts(add_chain):
    screen = bpy.context.window.screen
    area = next(area for area in screen.areas if area.type == "VIEW_3D")
    overlay, seen = area.spaces.active.overlay, SimpleNamespace(scene=bpy.context.scene, screen=screen, area=area)
    overlay.show_relationship_lines = True
    look_at_new(seen, add_chain())
    assert not overlay.show_relationship_lines
    overlay.show_relationship_lines = True
    look_at_new(seen, add_chain())
    assert overlay.show_relationship_lines
