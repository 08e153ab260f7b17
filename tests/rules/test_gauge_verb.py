"""The verb `gauge`: the files it writes are those an inspection reads, the lines it prints those a job takes."""

import json
from pathlib import Path

import pytest

from addon.rules.files.job import read_job
from addon.verbs import main

JOB = """
schema = 1
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


def sheet(folder: Path) -> Path:
    """Readings of a printer with a bleed of 0.05 and an over-cure of 0.08, stuck under 0.16 mm."""
    lines = []
    for gap in (0.15, 0.2, 0.25, 0.3, 0.4, 0.5):
        upright, level = round(gap - 0.1, 3), round(gap - 0.08, 3)
        lines += ["[[reading]]", f"gap_mm = {gap}"]
        lines += [
            f"{key} = {mm if mm >= 0.16 else repr('stuck')}"
            for key, mm in (("upright_mm", upright), ("level_mm", level))
        ]
    file = folder / "readings.toml"
    file.write_text("\n".join(lines), encoding="utf-8")
    return file


@pytest.mark.parametrize(("suffix", "exact"), [("3mf", 1e-9), ("stl", 2e-5)])
def test_what_is_written_is_inspected_as_engraved(tmp_path, capsys, suffix, exact):
    out = tmp_path / f"gauge.{suffix}"
    assert main(["gauge", "-o", str(out), "--gaps", "0.3,0.25", "--json", "-"]) == 0
    told = capsys.readouterr()
    report = json.loads(told.out)
    assert told.err == ""
    assert report["gauge"]["gaps_mm"] == [0.3, 0.25]
    assert report["export"]["files"] == [out.name]
    assert main(["inspect", str(out), "--gap-floor", "0.2", "--light", "0", "--layer", "0.2", "--json", "-"]) in (0, 1)
    seen = json.loads(capsys.readouterr().out)
    assert len(seen["bodies"]) == 3
    assert [pair["gap_mm"] for pair in seen["pairs"]] == pytest.approx([0.3, 0.25], abs=exact)
    assert all(pair["linked"] for pair in seen["pairs"])
    if suffix == "3mf":
        assert [body["name"] for body in seen["bodies"]] == ["gauge", "gap 0.3", "gap 0.25"]


def test_readings_give_lines_that_a_job_takes(tmp_path, capsys):
    assert main(["gauge", "--readings", str(sheet(tmp_path))]) == 0
    lines = capsys.readouterr().out.splitlines()
    job = tmp_path / "job.toml"
    job.write_text(JOB + "\n".join(lines[lines.index("[process]") :]), encoding="utf-8")
    profile = read_job(job).profile
    assert (profile.bleed_mm, profile.over_cure_mm, profile.gap_floor_mm) == (0.05, 0.08, 0.2)


def test_readings_as_json(tmp_path, capsys):
    assert main(["gauge", "--readings", str(sheet(tmp_path)), "--json", "-"]) == 0
    found = json.loads(capsys.readouterr().out)["calibration"]
    assert found["process"] == {"bleed_mm": 0.05, "over_cure_mm": 0.08, "gap_floor_mm": 0.2}
    assert found["bleed"]["readings"] == 3
    assert found["free_gap_mm"] == 0.3


def test_both_at_once(tmp_path, capsys):
    out = tmp_path / "next.stl"
    assert main(["gauge", "-o", str(out), "--readings", str(sheet(tmp_path))]) == 0
    assert out.exists()
    assert "Bleed 0.050 mm" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([], "or --cure to work out the over-cure"),
        (["--gaps", "0.3"], "--gaps: belongs to making a gauge; add -o OUT"),
        (["-o", "g.stl", "--gaps", "0.3;0.4"], "no list of mm; give numbers with commas: 0.2,0.3"),
        (["-o", "g.stl", "--gaps", "0.3,0.01"], "give gaps from 0.05 to 1 mm"),
        (["-o", "g.obj"], "end it in .stl, .3mf, .blend"),
        (["-o", "g.stl", "--layer", "2"], "a layer of 2 mm does not work"),
        (["--readings", "none.toml"], "no such file"),
    ],
)
def test_what_cannot_be_is_one_line(tmp_path, monkeypatch, capsys, words, said):
    monkeypatch.chdir(tmp_path)
    assert main(["gauge", *words]) == 2
    told = capsys.readouterr()
    assert said in told.err
    assert told.err.count("\n") == 1
    assert told.out == ""
    assert list(tmp_path.iterdir()) == []


def test_the_over_cure_is_worked_out_from_the_resins_figures(capsys):
    """By the published worked figure: D 0.175 mm, E_c 8, E 30 cure 0.231 mm, 0.181 mm beyond a 0.05 mm layer."""
    assert main(["gauge", "--cure", "0.175,8,30", "--json", "-"]) == 0
    cure = json.loads(capsys.readouterr().out)["cure"]
    assert cure["depth_mm"] == pytest.approx(0.231, abs=5e-4)
    assert cure["over_cure_mm"] == pytest.approx(0.181, abs=5e-4)
    assert cure["accumulated_over_cure_mm"] > cure["over_cure_mm"]
    assert main(["gauge", "--cure", "0.175,8,30"]) == 0
    assert f"over_cure_mm = {cure['accumulated_over_cure_mm']:.3f}" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("figures", "said"),
    [("0.175,8", "takes 3 numbers"), ("0.175,8,9", "give at least 10.6"), ("0.6,8,300", "check the exposure")],
)
def test_resin_figures_that_cannot_be_are_one_line(capsys, figures, said):
    assert main(["gauge", "--cure", figures]) == 2
    assert said in capsys.readouterr().err
