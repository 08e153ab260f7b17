"""The command line without Blender: exit status, one-line errors, JSON and files."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from addon.rules.base.progress import Steps
from addon.rules.cast.forecast import Forecast
from addon.rules.cast.levers import Lever
from addon.rules.cast.materials import load_materials
from addon.rules.cast.plan import plan as plan_of
from addon.rules.cast.quick import Section
from addon.rules.cast.spec import CastSpec
from addon.rules.cast.verdict import SHORT, LinkCast
from addon.rules.chain.build import draft_chain
from addon.rules.chain.chain import Chain
from addon.rules.chain.play import FreePlay, free_play
from addon.rules.chain.spec import ChainSpec, LayoutSpec
from addon.rules.files import stl
from addon.rules.files.job import read_job
from addon.rules.files.report import report_text
from addon.rules.sheet.outcome import NO_LEVER
from addon.rules.solid.mesh import Mesh, merged
from addon.verbs import flow, main
from addon.verbs.words import plan_lines
from tests.mesh_shapes import flipped, moved, torus

ROOT = Path(__file__).resolve().parents[2]
SAMPLES = sorted(path.stem for path in (ROOT / "sample_scenes").glob("*.toml"))
JOB = """
schema = 1
name = "Harbour bracelet"
[chain]
family = "curb"
wire_mm = 2.2
link_length_mm = 12.2
link_width_mm = 9.7
gap_mm = 0.4
[layout]
shape = "ring"
links = 24
"""
# How it prints has tests of its own; here its layers are thick and it is left in the dark, which is quick.
QUICK = ("--light", "0", "--layer", "0.2")


@pytest.fixture
def job(tmp_path: Path) -> Path:
    file = tmp_path / "job.toml"
    file.write_text(JOB, encoding="utf-8")
    return file


def upright(m: Mesh) -> Mesh:
    """Turn a mesh a quarter about x."""
    return Mesh(m.points @ np.array([[1.0, 0, 0], [0, 0, 1], [0, -1, 0]]), m.triangles)


def linked_rings(apart: float) -> Mesh:
    """Give two rings of radius 5 and wire 1 that pass through each other: 8 - apart between them, as they get finer."""
    return merged([torus(steps=48, sides=32), moved(upright(torus(steps=48, sides=32)), (apart, 0.0, 0.0))])


def one_line(text: str) -> bool:
    return text.endswith("\n") and text.count("\n") == 1


def test_chain_writes_links_and_report(job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "chain.3mf"
    job.write_text(JOB.replace('"ring"', '"straight"').replace("links = 24", "links = 5"), encoding="utf-8")
    assert main(["chain", str(job), "-o", str(out), "--json", "-"]) == 0
    told = capsys.readouterr()
    report = json.loads(told.out)
    assert told.err == ""
    assert report["schema"] == 1
    assert report["unit"] == "mm"
    assert len(report["bodies"]) == report["chain"]["links"] == 5
    assert all(b["closed"] and b["genus"] == 1 for b in report["bodies"])
    assert sum(p["linked"] is True for p in report["pairs"]) == 4
    assert min(p["gap_mm"] for p in report["pairs"]) == pytest.approx(report["chain"]["smallest_gap_mm"], abs=1e-9)
    assert report["chain"]["smallest_gap_mm"] >= 0.4
    low, high = report["chain"]["pitch_interval_mm"]
    assert low <= report["chain"]["pitch_mm"] <= high
    again = tmp_path / "again.json"
    assert main(["inspect", str(out), *QUICK, "--json", str(again)]) == 0
    seen = json.loads(again.read_text(encoding="utf-8"))
    assert [b["name"] for b in seen["bodies"]] == [b["name"] for b in report["bodies"]]
    for mine, read in zip(report["pairs"], seen["pairs"], strict=True):
        assert read["gap_mm"] == pytest.approx(mine["gap_mm"], abs=1e-9)
        assert read["linked"] == mine["linked"]


def test_a_hand_too_large_stops_the_job_but_the_chain_is_written(job: Path, tmp_path: Path) -> None:
    job.write_text(JOB + "hand_mm = 250\n", encoding="utf-8")
    out = tmp_path / "chain.stl"
    assert main(["chain", str(job), "-o", str(out)]) == 1
    assert out.stat().st_size > 84


def test_a_rule_that_refuses_a_key_is_told_with_the_name_of_the_job_file(
    job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    job.write_text(JOB + '\n[cast]\nalloy = "stering-silver"\n', encoding="utf-8")
    assert main(["plan", str(job)]) == 2
    said = capsys.readouterr().err
    assert said.startswith("linkwright: job.toml: cast.alloy: there is no 'stering-silver'; did you mean")
    assert one_line(said)


def test_what_would_put_a_cast_right_is_told_with_the_plan() -> None:
    lever = Lever("hotter flask", 350.0, 640.0, "degC", False, "that does too little")
    figures = ((LinkCast("link 1", SHORT, 62.0, None, 2.1, 40.0, "x"),), True, (), (), True, "Both ways.")
    told = Forecast(None, None, None, *figures, 800.0, 0.7, 1.25, (lever,), ())  # type: ignore[arg-type]
    planned = plan_of(
        CastSpec(),
        load_materials(),
        chain_mm3=5e3,
        lattice_mm3=3e3,
        size_mm=(60, 60, 20),
        sections=(Section("wire", 2),),
    )
    lines = plan_lines(planned.foretold(told))
    assert "1 of 1 link will not fill: do not pour it like this." in lines
    assert "Hotter flask   350 degC  640 degC  does not pass: that does too little" in lines
    assert NO_LEVER in lines
    assert "Both ways." in lines


def test_inspect_tells_linked_rings_from_fused_ones(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for apart, status in ((7.6, 0), (7.8, 1), (8.5, 1)):
        file = tmp_path / f"rings {apart}.stl"
        stl.write(file, linked_rings(apart))
        assert main(["inspect", str(file), *QUICK, "--json", "-"]) == status
        report = json.loads(capsys.readouterr().out)
        assert [b["name"] for b in report["bodies"]] == ["body 1", "body 2"]
        (pair,) = report["pairs"]
        assert pair["gap_mm"] == pytest.approx(max(0.0, 8.0 - apart), abs=0.02)
        assert pair["linked"] is (None if apart == 8.5 else True)
        codes = {f["code"] for f in report["findings"] if f["severity"] == "stop"}
        assert codes == {7.6: set(), 7.8: {"gap-below-floor"}, 8.5: {"fused"}}[apart]


def test_gap_floor_range_and_unit(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "rings.stl"
    stl.write(file, linked_rings(7.6))
    assert main(["inspect", str(file), "--gap-floor", "0.45", *QUICK]) == 1
    capsys.readouterr()
    assert main(["inspect", str(file), "--gap-floor", "0.1", "--range", "0.3", *QUICK, "--json", "-"]) == 0
    (pair,) = json.loads(capsys.readouterr().out)["pairs"]
    assert (pair["gap_mm"], pair["linked"]) == (None, True)
    rings = linked_rings(7.6)
    stl.write(file, Mesh(rings.points / 25.4, rings.triangles))
    assert main(["inspect", str(file), "--unit", "in", *QUICK, "--json", "-"]) == 0
    report = json.loads(capsys.readouterr().out)
    assert report["bodies"][0]["volume_mm3"] == pytest.approx(2 * np.pi**2 * 5, rel=0.02)


def test_several_files_are_one_set(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    stl.write(tmp_path / "a.stl", torus())
    stl.write(tmp_path / "b.stl", moved(upright(torus()), (7.5, 0.0, 0.0)))
    assert main(["inspect", str(tmp_path / "a.stl"), str(tmp_path / "b.stl"), "--json", "-"]) == 0
    report = json.loads(capsys.readouterr().out)
    assert [b["name"] for b in report["bodies"]] == ["body 1", "body 1 2"]
    assert report["pairs"][0]["linked"] is True


def test_an_unsound_mesh_is_never_clear(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    holed = torus()
    for name, mesh, code in (
        ("open", Mesh(holed.points, holed.triangles[1:]), "open"),
        ("inside out", flipped(holed), "inside-out"),
    ):
        stl.write(tmp_path / f"{name}.stl", mesh)
        assert main(["inspect", str(tmp_path / f"{name}.stl"), "--json", "-"]) == 1
        assert code in {f["code"] for f in json.loads(capsys.readouterr().out)["findings"]}


def test_plan_needs_no_blender(job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sheet = tmp_path / "sheet.html"
    assert main(["plan", str(job), "--json", "-", "--sheet", str(sheet)]) == 0
    report = json.loads(capsys.readouterr().out)
    cast = report["cast"]
    chain_mm3 = sum(b["volume_mm3"] for b in report["bodies"])
    assert cast["chain_g"] == pytest.approx(chain_mm3 * 8.77e-3)
    assert cast["metal_g"] > cast["chain_g"] + cast["lattice_g"]
    assert {g["alloy"] for g in cast["by_alloy"]} >= {"sterling-silver", "platinum-950", "tin-bronze"}
    feeds = {s["feeds"] for s in report["lattice"]["struts"] if s["role"] == "gate"}
    assert feeds == {b["name"] for b in report["bodies"]}
    assert "Harbour bracelet" in sheet.read_text(encoding="utf-8")


def told(capsys: pytest.CaptureFixture[str]) -> dict[str, Any]:
    """Read the report that was printed."""
    report: dict[str, Any] = json.loads(capsys.readouterr().out)
    return report


def test_the_report_says_how_the_joints_move_and_what_sizes_there_are(
    job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["chain", str(job), "-o", str(tmp_path / "out.stl"), "--json", "-"]) == 0
    report = told(capsys)
    assert sum(p["linked"] is True for p in report["pairs"]) == 24
    (joint,) = report["free_play"]["joints"]
    assert joint["between"] == ["link 1", "link 2"]
    for key in ("bend_y_deg", "bend_z_deg", "twist_deg", "best_bend_y_deg", "best_bend_z_deg"):
        low, high = joint[key]
        assert low < 0 < high, key
    out, into = joint["slide_mm"]
    (fit,) = report["chain"]["fits"]
    assert (fit["pitch_mm"], fit["pitch_interval_mm"]) == (
        report["chain"]["pitch_mm"],
        report["chain"]["pitch_interval_mm"],
    )
    assert out > 0 > into
    assert set(report["free_play"]["least_radius_mm"]) == {"over_face", "edgewise"}
    sizes = {size["links"]: size for size in report["chain"]["sizes"]}
    assert sizes[24]["worn_mm"] == report["chain"]["inner_length_mm"]
    assert sizes[24]["printed_mm"] == report["chain"]["printed_inner_length_mm"]
    assert len(sizes) == 7
    assert 0 < report["chain"]["least_width_mm"] < 9.7


def test_a_chain_can_be_made_at_another_width_with_its_gap_held(
    job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "out.stl"
    job.write_text(JOB.replace('"ring"', '"straight"').replace("links = 24", "links = 3"), encoding="utf-8")
    assert main(["chain", str(job), "-o", str(out), "--width", "14.55", "--json", "-"]) == 0
    wide = told(capsys)
    link = wide["bodies"][0]
    assert link["volume_mm3"] == pytest.approx(1.5**3 * volume(job, tmp_path, capsys), rel=0.02)
    assert wide["chain"]["smallest_gap_mm"] >= 0.4
    assert main(["chain", str(job), "-o", str(out), "--width", "4.0"]) == 2
    assert "link_width_mm" in capsys.readouterr().err
    assert main(["chain", str(job), "-o", str(out), "--width", "0"]) == 2
    assert "--width" in capsys.readouterr().err


def volume(job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> float:
    """Give the volume of the first link of a job as it is."""
    main(["chain", str(job), "-o", str(tmp_path / "plain.stl"), "--json", "-"])
    return float(told(capsys)["bodies"][0]["volume_mm3"])


def test_a_clasp_comes_as_two_bodies_after_the_links(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    job = tmp_path / "job.toml"
    clasped = JOB.replace('"ring"', '"straight"').replace("links = 24", 'inner_length_mm = 110\nclasp = "ring-bar"')
    job.write_text(clasped, encoding="utf-8")
    assert main(["chain", str(job), "-o", str(tmp_path / "out.stl"), "--json", "-"]) == 0
    report = told(capsys)
    assert [b["name"] for b in report["bodies"]][report["chain"]["links"] :] == ["ring", "bar"]
    assert report["chain"]["clasp_mm"] > 0
    assert report["chain"]["inner_length_mm"] == pytest.approx(110, abs=5)
    assert sum(p["linked"] is True for p in report["pairs"]) == report["chain"]["links"] + 1


def test_the_feed_meets_a_clasps_halves_at_the_ends_they_hang_on() -> None:
    """Walked in the other order the runner under the chain would turn back across the whole piece."""
    layout = LayoutSpec("straight", links=20, clasp="ring-bar")
    chain = draft_chain(ChainSpec("curb", 2.2, 12.2, 9.7, 0.4), layout)
    order = flow.along(chain)
    assert [chain.bodies[k].name for k in (order[0], order[-1])] == ["ring", "bar"]
    assert (np.diff(chain.path.origins[order][:, 0]) > 0).all()


def test_an_own_link_is_looked_for_beside_the_job_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "jobs"
    folder.mkdir()
    stl.write(folder / "link.stl", torus(steps=32, sides=12))
    own = 'family = "mesh"\nfile = "link.stl"\ngap_mm = 0.4\n'
    (folder / "job.toml").write_text(f'schema = 1\n[chain]\n{own}[layout]\nshape = "straight"\nlinks = 3\n', "utf-8")
    monkeypatch.chdir(tmp_path)
    assert main(["chain", "jobs/job.toml", "-o", "out.stl", "--json", "-"]) == 0
    report = told(capsys)
    assert (report["chain"]["family"], report["chain"]["links"]) == ("mesh", 3)
    assert report["chain"]["smallest_gap_mm"] >= 0.4
    (folder / "link.stl").unlink()
    assert main(["chain", "jobs/job.toml", "-o", "out.stl"]) == 2
    error = capsys.readouterr().err
    assert one_line(error)
    assert "job.toml: chain.file" in error
    assert "link.stl: no such file" in error


def test_a_plan_sets_the_layouts_beside_each_other_and_moves_the_joints_once(
    job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    times = []

    def counted(chain: Chain) -> Steps[FreePlay]:
        times.append(chain.links)
        return free_play(chain)

    monkeypatch.setattr(flow, "free_play", counted)
    sheet = tmp_path / "sheet.html"
    assert main(["plan", str(job), "--json", "-", "--sheet", str(sheet)]) == 0
    assert times == [24]
    report = told(capsys)
    assert report["free_play"]["joints"]
    found = {one["shape"]: one for one in report["layouts"]}
    assert set(found) == {"straight", "ring", "spiral", "coil", "serpentine"}
    for one in found.values():
        assert (one["refusal"] is None) == (one["size_mm"] is not None)
    assert found["straight"]["size_mm"][0] > found["ring"]["across_mm"] > found["ring"]["size_mm"][2]
    page = sheet.read_text(encoding="utf-8")
    assert "Free play" in page
    assert "Layouts" in page


def test_what_is_not_finite_is_null() -> None:
    text = report_text("chain", "x", ({"a": float("nan"), "b": [np.float64("inf"), 1.5], "c": np.array([np.nan])},))
    report = json.loads(text)
    assert (report["a"], report["b"], report["c"]) == (None, [None, 1.5], [None])


@pytest.mark.parametrize("name", SAMPLES)
def test_the_sample_jobs_can_be_drafted_with_their_gap(name: str) -> None:
    job = read_job(ROOT / "sample_scenes" / f"{name}.toml")
    chain = draft_chain(job.chain, job.layout)
    assert chain.smallest_gap_mm >= job.chain.gap_mm - 1e-6
    if chain.asked_mm is not None:
        assert chain.worn_mm == pytest.approx(chain.asked_mm, rel=0.04)


@pytest.mark.parametrize("verb", ["feed", "run"])
def test_without_blender_feed_and_run_say_so(
    verb: str, job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / ("out.stl" if verb == "feed" else "out")
    assert main([verb, str(job), "-o", str(out)], host=None) == 2
    told = capsys.readouterr()
    assert one_line(told.err)
    assert "bpy" in told.err
    assert told.out == ""
    assert not out.exists()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([], "VERB"),
        (["chian", "job.toml"], "chian"),
        (["chain", "{job}"], "-o"),
        (["chain", "{job}", "-o", "{dir}/out.step"], "cannot write .step"),
        (["chain", "{job}", "-o", "{dir}/none/out.stl"], "there is no folder"),
        (["chain", "{job}", "-o", "{dir}/out.blend"], "bpy"),
        (["chain", "{dir}/none.toml", "-o", "{dir}/out.stl"], "no such file"),
        (["inspect", "{dir}/none.stl"], "none.stl"),
        (["inspect", "{job}"], "job.toml"),
        (["inspect", "{dir}/empty.stl"], "empty.stl"),
        (["inspect", "{dir}/empty.stl", "--gap-floor", "thin"], "--gap-floor"),
        (["inspect", "{dir}/empty.stl", "--range", "0"], "--range"),
        (["inspect", "{dir}/empty.stl", "--profile", "dream"], "dream"),
        (["inspect", "{dir}/some.3mf", "--unit", "in"], "carries its own unit"),
        (["plan", "{job}", "--json", "{dir}/none/r.json"], "there is no folder"),
    ],
)
def test_what_cannot_be_used_is_one_line_and_exit_2(
    words: list[str], said: str, job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "empty.stl").touch()
    argv = [w.format(job=job, dir=tmp_path) for w in words]
    before = sorted(tmp_path.iterdir())
    assert main(argv) == 2
    told = capsys.readouterr()
    assert one_line(told.err)
    assert said in told.err
    assert told.out == ""
    assert sorted(tmp_path.iterdir()) == before


def test_an_impossible_gap_names_the_size_to_change(
    job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    job.write_text(JOB.replace("gap_mm = 0.4", "gap_mm = 0.8"), encoding="utf-8")
    assert main(["chain", str(job), "-o", str(tmp_path / "out.stl")]) == 2
    told = capsys.readouterr().err
    assert one_line(told)
    assert "0.80 mm" in told
    assert "link_width_mm" in told or "wire_mm" in told
    assert not (tmp_path / "out.stl").exists()


def test_help_is_exit_0(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as caught:
        main(["inspect", "--help"])
    assert caught.value.code == 0
    assert "--gap-floor" in capsys.readouterr().out
