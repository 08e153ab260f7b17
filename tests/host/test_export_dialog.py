"""The export dialog: what it says before the click, what it writes, and the words of its refusals."""

import json
from dataclasses import replace

import bpy
import numpy as np
import pytest
import trimesh

from addon.host import op_export
from addon.host.export_dialog import draw_dialog
from addon.host.op_export import LINKWRIGHT_OT_export, export_menu, import_menu
from addon.host.panel_names import labels, named
from addon.rules.base.errors import LinkwrightError
from addon.rules.files import threemf
from addon.rules.inspect.finding import Finding
from tests.host.recorder import Recorder, texts

ROW = {"where": "straight", "length_mm": 30.0, "family": "trace", "wire_mm": 1.6}
PRINTS = {"print.stl", "print.3mf"}
PAPERS = {"report.json", "sheet.html"}


@pytest.fixture
def row(add_chain):
    bpy.context.scene.unit_settings.scale_length = 0.001
    ob = add_chain(**ROW)
    ob.linkwright.straight_size, ob.linkwright.links = "LINKS", 3
    return ob


@pytest.fixture(scope="module")
def worked_out():
    """What the slow rules give of that chain, once for all exports of this file."""
    return []


@pytest.fixture
def quick(monkeypatch, worked_out):
    """Exports whose rules run once; ``found`` are stops that stand for all of them."""
    slow, found = op_export._whole, []

    def whole(*asked):
        if not worked_out:
            worked_out.append((yield from slow(*asked)))
        chain, fed, planned = worked_out[0]
        return chain, replace(fed, findings=tuple(found)), replace(planned, findings=())

    monkeypatch.setattr(op_export, "_whole", whole)
    return found


class Dialog:
    """Stands in for the operator in its own draw: the same properties with their defaults."""

    bl_rna = property(lambda _: bpy.ops.linkwright.export.get_rna_type())

    def __init__(self):
        for prop in self.bl_rna.properties:
            if hasattr(prop, "default"):
                setattr(self, prop.identifier, prop.default)


def said():
    layout = Recorder()
    draw_dialog(layout, bpy.context, Dialog())
    return texts(layout.drawn)


def sentence():
    return said().replace(" | ", " ")


def written(folder):
    return {path.name for path in folder.iterdir()}


def exported(folder, **options):
    bpy.ops.linkwright.export(directory=str(folder), **options)
    return written(folder)


def test_the_dialog_says_what_will_be_refused_and_why_before_the_click(row):
    assert "Not inspected yet" in said()
    row.linkwright.gap_mm = 0.1
    bpy.ops.linkwright.inspect()
    state = bpy.context.window_manager.linkwright
    state.overrides.clear()
    assert "No stop stands" in said()
    stop = state.findings.add()
    stop.code, stop.severity, stop.text = "gap", "stop", "links 1 and 2 are 0.1 mm apart"
    refused = state.overrides.add()
    refused.name, refused.count = "gap", 1
    assert "Stops refuse the print files" in sentence()
    assert "Allow gap (1)" in said()
    assert "Links 1 and 2 are 0.1 mm apart" in sentence()
    row.linkwright.gap_mm = 0.15
    assert "Out of date" in said()
    assert {"STL", "3MF", "Bodies", "Report and Sheet", "Scale for Shrinkage"} <= set(said().split(" | "))
    assert "Print Scale" not in said()


def test_the_menus_offer_print_files_and_job_files():
    for menu, entries in (
        (export_menu, {"Linkwright Print Files (.stl, .3mf)", "Linkwright Job (.toml)"}),
        (import_menu, {"Linkwright Job (.toml)"}),
    ):
        stand_in = type("Menu", (), {"layout": Recorder()})()
        menu(stand_in, bpy.context)
        assert {text for _, text in stand_in.layout.drawn} == entries
    for name, ours in (("TOPBAR_MT_file_export", export_menu), ("TOPBAR_MT_file_import", import_menu)):
        assert ours in getattr(bpy.types, name)._dyn_ui_initialize()
    assert "filepath" not in bpy.ops.linkwright.export.get_rna_type().properties
    assert LINKWRIGHT_OT_export.bl_options >= {"UNDO", "PRESET"}


@pytest.mark.usefixtures("quick")
def test_joined_is_one_solid_and_apart_is_every_body_by_its_name(row, tmp_path):
    joined, apart = tmp_path / "joined", tmp_path / "apart"
    joined.mkdir()
    apart.mkdir()
    assert exported(joined) == PRINTS | PAPERS
    assert exported(apart, bodies="APART") == PRINTS | PAPERS
    count = row.linkwright.figures.links
    whole = trimesh.load(joined / "print.stl")
    assert whole.is_watertight
    assert whole.body_count == 1
    assert len(threemf.read(joined / "print.3mf")) == 1
    objects = threemf.read(apart / "print.3mf")
    names = [one.name for one in objects]
    assert names[:count] == [f"link {k}" for k in range(1, count + 1)]
    assert len(names) == len(set(names)) > 2 * count
    solids = [trimesh.Trimesh(one.mesh.points, one.mesh.triangles) for one in objects]
    assert all(solid.is_watertight and solid.volume > 0 for solid in solids)
    shells = trimesh.load(apart / "print.stl")
    assert len(shells.faces) == sum(len(solid.faces) for solid in solids)
    np.testing.assert_allclose(shells.bounds, whole.bounds, atol=1e-3)
    # Both are at export scale: larger than the finished links.
    scale = json.loads((joined / "report.json").read_text())["export"]["scale"]
    assert scale > 1.0
    assert np.ptp(objects[0].mesh.points, axis=0).max() == pytest.approx(
        row.linkwright.link_length_mm * scale, abs=0.02
    )


@pytest.mark.usefixtures("quick", "row")
def test_only_what_is_asked_for_is_written_and_nothing_old_is_left(tmp_path):
    assert exported(tmp_path, scale=1.25, papers=False) == PRINTS
    assert bpy.context.scene.linkwright.scale == pytest.approx(1.25)
    assert not bpy.context.scene.linkwright.auto_scale
    big = np.ptp(trimesh.load(tmp_path / "print.stl").bounds, axis=0)
    assert exported(tmp_path, use_3mf=False, auto_scale=True) == {"print.stl"} | PAPERS
    assert bpy.context.scene.linkwright.auto_scale
    small = np.ptp(trimesh.load(tmp_path / "print.stl").bounds, axis=0)
    scale = json.loads((tmp_path / "report.json").read_text())["export"]["scale"]
    # Along the chain there are only links, which are scaled; tips of gates keep their millimetres.
    assert big[0] / small[0] == pytest.approx(1.25 / scale, rel=5e-3)
    with pytest.raises(RuntimeError, match="no file is chosen"):
        bpy.ops.linkwright.export(directory=str(tmp_path), use_stl=False, use_3mf=False, papers=False)


@pytest.mark.usefixtures("quick", "row")
def test_papers_alone_are_no_failure(tmp_path):
    assert exported(tmp_path, use_stl=False, use_3mf=False) == PAPERS
    assert bpy.context.window_manager.linkwright.exported == "Written: report.json, sheet.html"


@pytest.mark.usefixtures("row")
def test_beside_a_file_that_is_not_saved_nothing_is_written():
    with pytest.raises(RuntimeError, match="not saved yet"):
        bpy.ops.linkwright.export(directory="//out")


@pytest.mark.usefixtures("row")
def test_refused_nothing_is_written_but_papers_and_no_older_print_file_stays(quick, tmp_path):
    (tmp_path / "print.stl").write_text("older")
    quick.append(Finding("gap-below-floor", "stop", ("link 1", "link 2"), "They are too near to each other."))
    with pytest.raises(RuntimeError, match="No print file written, stops stand"):
        bpy.ops.linkwright.export(directory=str(tmp_path))
    assert written(tmp_path) == PAPERS
    assert "Stops refuse the print files" in sentence()
    assert "They are too near to each other" in sentence()
    (tmp_path / "print.stl").write_text("older")
    with pytest.raises(RuntimeError, match=r"or allow each by name$"):
        bpy.ops.linkwright.export(directory=str(tmp_path), papers=False)
    assert written(tmp_path) == PAPERS
    assert exported(tmp_path, override="gap-below-floor") == PRINTS | PAPERS
    assert json.loads((tmp_path / "report.json").read_text())["export"]["overridden"] == ["gap-below-floor"]


def test_errors_call_sizes_what_the_panel_calls_them(add_chain):
    with pytest.raises(RuntimeError, match=r"Wire \(mm\): ") as refused:
        add_chain(wire_mm=9.0, link_length_mm=12.2, link_width_mm=9.7)
    assert "wire_mm" not in str(refused.value)
    assert named("chain.gap_mm: make the link wider (link_width_mm = 5.3)") == (
        "Gap (mm): make the link wider (Link Width = 5.3 mm)"
    )
    assert named("layout: no curve is chosen") == "Layout: no curve is chosen"
    assert named("process.scale: 3 does not work") == "Print Scale: 3 does not work"
    assert named("some_thing and chain.nothing_mm stay") == "some_thing and chain.nothing_mm stay"


def test_every_key_that_a_refusal_may_name_has_a_label():
    from addon.rules.base.profile import OVERRIDES
    from addon.rules.chain.spec import ChainSpec, LayoutSpec
    from addon.rules.feed.spec import FeedSpec

    known = labels()
    keys = {
        key for spec in (ChainSpec, LayoutSpec, FeedSpec) for key in spec.__dataclass_fields__ if key.endswith("_mm")
    }
    assert sorted(keys - set(known)) == []
    assert {"scale", "gap_floor_mm"} <= set(OVERRIDES) & set(known)
    assert issubclass(LinkwrightError, Exception)
