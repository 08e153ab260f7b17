"""What people read of an inspection: aligned tables, the worst first, alike ones counted, nothing rounded away."""

import dataclasses
import io
import json
import math
import sys
from pathlib import Path

import pytest

from addon.rules.files import threemf
from addon.rules.files.named import Named
from addon.rules.files.report import inspection_part, report_text
from addon.rules.inspect.finding import Finding
from addon.rules.inspect.inspection import BodyFacts, Inspection, Pair, WebPatch
from addon.rules.inspect.ladder import Ladder, ladder
from addon.verbs import main
from addon.verbs.inspection_words import inspection_lines
from addon.verbs.words import finding_lines, table
from tests.mesh_shapes import moved, torus

PLACE = (1.0, 2.0, 3.0)


def body(name: str, wall_mm: float | None = 1.2, **changes: object) -> BodyFacts:
    facts = BodyFacts(name, 111.25, 204.1, True, 1, ((0.0, 0.0, 0.0), (10.0, 20.0, 2.5)), wall_mm, PLACE)
    return dataclasses.replace(facts, **changes)  # type: ignore[arg-type]


def rungs(gap_mm: float, bleed_mm: float = 0.02) -> Ladder:
    return ladder(gap_mm, (1.0, 0.0, 0.0), scale=1.02, bleed_mm=bleed_mm, expansion=0.01, shrinkage=0.02)


def pair(a: str, b: str, gap_mm: float | None, linked: bool | None = True, **changes: object) -> Pair:
    steps = rungs(gap_mm) if gap_mm else None
    return dataclasses.replace(Pair(a, b, gap_mm, PLACE, PLACE, linked, steps), **changes)  # type: ignore[arg-type]


def lines(
    *pairs: Pair, bodies: tuple[BodyFacts, ...] = (body("a"), body("b")), webs: tuple[WebPatch, ...] = ()
) -> list[str]:
    return inspection_lines(Inspection(bodies, pairs, webs, ()), range_mm=1.5, head="spin")


def rows(text: list[str], head: str) -> list[list[str]]:
    """The cells of the table whose first line holds ``head``, cut where its columns are."""
    start = next(k for k, line in enumerate(text) if head in line)
    stop = next((k for k in range(start + 1, len(text)) if "  " not in text[k]), len(text))
    return [[cell.strip() for cell in line.split("  ") if cell.strip()] for line in text[start:stop]]


def test_columns_stand_under_each_other() -> None:
    text = table(("name", "gap mm", "joint"), [["a", "10.25", "linked"], ["link 12", "0.4", "not"]], right=(1,))
    assert text == ["name     gap mm  joint", "a         10.25  linked", "link 12     0.4  not"]


def test_signs_two_columns_wide_keep_the_columns_aligned() -> None:
    """East Asian wide letters take two columns of a terminal, a mark upon a letter none (Unicode Annex 11)."""
    text = table(("body", "mm"), [["環一", "0.4"], ["e\u0301", "0.5"], ["ring", "0.6"]])
    assert text == ["body  mm", "環一  0.4", "e\u0301     0.5", "ring  0.6"]


def test_the_narrowest_gap_comes_first_with_all_its_steps() -> None:
    text = rows(lines(pair("a", "b", 0.9), pair("b", "c", 0.3, False)), "model mm")
    assert text[0] == ["body", "body", "model mm", "printed mm", "web mm", "cast mm", "joint"]
    printed = 0.3 * 1.02 - 0.04
    expected = [f"{x:.3f}" for x in (0.3, printed, printed * 1.01, printed * 1.01 * 0.98)]
    assert text[1] == ["b", "c", *expected, "not linked"]
    assert text[2][:3] == ["a", "b", "0.900"]


def test_alike_joints_are_one_row_and_counted() -> None:
    chain = [pair(f"link {k}", f"link {k + 1}", 0.4 + 1e-9 * (-1) ** k) for k in range(1, 60)]
    text = rows(lines(*chain, pair("link 1", "link 3", 0.3, None)), "model mm")
    assert text[0][-1] == "alike"
    assert [row[-1] for row in text[1:]] == ["1", "59"]
    assert text[1][-2] == "undecided"
    assert text[2][:2] == ["link 1", "link 2"]


def test_many_different_joints_are_cut_with_a_count() -> None:
    text = lines(*(pair("a", f"b {k}", 0.2 + 0.01 * k) for k in range(30)))
    assert "... and 18 more, all in the JSON report" in text
    assert "gaps: 30 pairs nearer than 1.5 mm or linked" in text


@pytest.mark.parametrize(
    ("one", "cells"),
    [
        (pair("a", "b", 0.0, None, depth_mm=0.25), ["0.000", "-", "-", "-", "fused, 0.250 mm deep"]),
        (pair("a", "b", 0.0, None, depth_mm=2e-5), ["0.000", "-", "-", "-", "fused, <0.001 mm deep"]),
        (pair("a", "b", 0.0, None, depth_mm=0.0), ["0.000", "-", "-", "-", "touching"]),
        (pair("a", "b", 0.0, None), ["0.000", "-", "-", "-", "fused"]),
        (pair("a", "b", None, True), ["over 1.5", "-", "-", "-", "linked"]),
        (pair("a", "b", 0.03, True), ["0.030", "closes", "-", "-", "linked"]),
        (pair("a", "b", 1e-6, True, ladder=rungs(1e-6, 0.0)), ["<0.001", "<0.001", "<0.001", "<0.001", "linked"]),
    ],
)
def test_what_has_no_figure_is_said_in_words(one: Pair, cells: list[str]) -> None:
    assert rows(lines(one), "model mm")[1][2:] == cells


def test_bodies_are_listed_by_their_wall_with_what_their_surface_is() -> None:
    several = (
        body("thick", 1.2),
        body("thin", 0.4),
        body("holed", None, closed=False, genus=None),
        body("turned", None, volume_mm3=-3.0),
        body("crowded", None, genus=None),
        body("ball", 2.0, genus=0),
        body("eight", 3.0, genus=2),
    )
    text = lines(bodies=several)
    assert text[0] == "7 bodies, 10.0 x 20.0 x 2.5 mm in all"
    found = rows(text, "wall mm")[1:]
    assert [row[0] for row in found] == ["holed", "turned", "crowded", "thin", "thick", "ball", "eight"]
    assert [row[-1] for row in found] == [
        "open", "inside out", "uneven", "closed, 1 handle", "closed, 1 handle", "closed", "closed, 2 handles",
    ]  # fmt: skip
    assert [row[3] for row in found[2:5]] == ["-", "0.400", "1.200"]


def test_the_webs_come_by_width_for_their_thickness() -> None:
    webs = (
        WebPatch("a", "b", PLACE, 0.5, 3.0, 2.0, 1.0),
        WebPatch("b", "c", PLACE, 0.4, 9.0, 4.0, 2.0),
        WebPatch("c", "d", PLACE, 0.4, 9.0, math.inf, math.inf),
    )
    text = lines(webs=webs)
    assert any("driven by spin" in line for line in text)
    assert rows(text, "thick mm")[1:] == [
        ["c", "d", "0.400", "no open edge", "9.0", "-"],
        ["b", "c", "0.400", "4.00", "9.0", "10.0"],
        ["a", "b", "0.500", "2.00", "3.0", "4.0"],
    ]


def test_names_of_any_kind_keep_to_one_line_and_to_their_column() -> None:
    long = "a very long name of a link that somebody exported 17"
    text = lines(pair("two\nlines", long, 0.4))
    row = rows(text, "model mm")[1]
    assert row[0] == "two lines"
    assert row[1].startswith("a very long")
    assert row[1].endswith("exported 17")
    assert len(row[1]) == 28


def test_nothing_near_is_said() -> None:
    assert lines()[-1] == "gaps: no two bodies come nearer than 1.5 mm, and none are linked"


def test_findings_alike_are_counted_and_no_stop_is_left_out() -> None:
    warns = [Finding("web-thin", "warn", ("a", "b"), f"w{k}") for k in range(9)]
    stops = [Finding("fused", "stop", ("a", "b"), f"s{k}") for k in range(9)]
    text = finding_lines((*warns, *stops))
    assert text[0] == "findings: 9 stop, 9 warn"
    assert [line.split()[-1] for line in text[1:10]] == [f"s{k}" for k in range(9)]
    assert text[-1].endswith("... and 7 more like these")


def test_the_report_holds_walls_the_ladder_depths_and_webs() -> None:
    found = Inspection(
        (body("a"), body("b", None, wall_at=None)),
        (pair("a", "b", 0.3), pair("a", "c", 0.0, None, depth_mm=0.2), pair("b", "c", None)),
        (WebPatch("a", "b", PLACE, 0.4, 9.0, math.inf, math.inf),),
        (),
    )
    report = json.loads(report_text("inspect", "x", (inspection_part(found),)))
    assert [(b["wall_mm"], b["wall_at"]) for b in report["bodies"]] == [(1.2, [1.0, 2.0, 3.0]), (None, None)]
    near, fused, far = report["pairs"]
    steps = rungs(0.3)
    assert [near[f"{key}_mm"] for key in ("printed", "web", "cast", "finished")] == [
        steps.printed_mm, steps.web_mm, steps.cast_mm, steps.finished_mm,
    ]  # fmt: skip
    assert (near["depth_mm"], fused["depth_mm"], far["depth_mm"]) == (None, 0.2, None)
    assert [one["printed_mm"] for one in (fused, far)] == [None, None]
    (web,) = report["webs"]
    assert web == {
        "a": "a", "b": "b", "at": [1.0, 2.0, 3.0], "thickness_mm": 0.4, "area_mm2": 9.0, "width_mm": None,
        "depth_mm": None,
    }  # fmt: skip


@pytest.fixture
def rings(tmp_path: Path) -> Path:
    """Two rings beside each other, 0.4 mm apart at the points where they come nearest."""
    file = tmp_path / "rings.3mf"
    ring = torus(steps=48, sides=16)
    threemf.write(file, (Named("left", ring), Named("right", moved(ring, (12.4, 0.0, 0.0)))))
    return file


def told(capsys: pytest.CaptureFixture[str]) -> dict[str, object]:
    report: dict[str, object] = json.loads(capsys.readouterr().out)
    return report


def test_scale_growth_and_shrinkage_reach_the_gaps(rings: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words = ["inspect", str(rings), "--scale", "1.02", "--expansion", "1", "--shrinkage", "2", "--head", "gravity"]
    assert main([*words, "--json", "-"]) == 0
    report = told(capsys)
    (one,) = report["pairs"]  # type: ignore[misc]
    assert one["gap_mm"] == pytest.approx(0.4, abs=1e-9)
    assert one["printed_mm"] == pytest.approx(0.4 * 1.02, abs=1e-9)
    assert one["web_mm"] == pytest.approx(0.4 * 1.02 * 1.01, abs=1e-9)
    assert one["cast_mm"] == pytest.approx(0.4 * 1.02 * 1.01 * 0.98, abs=1e-9)
    assert report["asked"] == {
        "profile": "bench", "gap_floor_mm": 0.25, "range_mm": 1.5, "scale": 1.02, "expansion_percent": 1.0,
        "shrinkage_percent": 2.0, "head": "gravity", "print": False, "layer_mm": 0.05, "light_directions": 64,
    }  # fmt: skip
    assert main(words) == 0
    assert "0.400       0.408   0.412    0.404  not linked" in capsys.readouterr().out


def test_a_smaller_print_closes_the_gap_below_its_floor(rings: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for scale, status in (("1", 0), ("0.6", 1)):
        assert main(["inspect", str(rings), "--scale", scale, "--json", "-"]) == status
        stops = {f["code"] for f in told(capsys)["findings"] if f["severity"] == "stop"}  # type: ignore[attr-defined]
        assert ("gap-below-floor" in stops) is (status == 1)


@pytest.mark.parametrize("code", ["ascii", "cp1252", "utf-8"])
def test_names_of_any_script_reach_a_terminal_that_does_not_know_it(
    code: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "rings.3mf"
    ring = torus(steps=12, sides=6)
    threemf.write(file, (Named("環一", ring), Named("Öse", moved(ring, (12.4, 0.0, 0.0)))))
    for words in ([], ["--json", "-"]):
        stream = io.TextIOWrapper(io.BytesIO(), encoding=code)
        monkeypatch.setattr(sys, "stdout", stream)
        assert main(["inspect", str(file), *words]) == 0
        stream.flush()
        text = stream.buffer.getvalue().decode(code)  # type: ignore[attr-defined]
        if words:
            assert [b["name"] for b in json.loads(text)["bodies"]] == ["環一", "Öse"]
        else:
            assert ("環一" in text) == (code == "utf-8")
            assert ("Öse" in text) == (code != "ascii")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--scale", "3"], "'3' does not work; give 0.5 to 2"),
        (["--scale", "nan"], "give 0.5 to 2"),
        (["--scale", "half"], "'half' is not a number"),
        (["--expansion", "12"], "give -10 to 10 percent"),
        (["--shrinkage", "x"], "is not a number of percent"),
        (["--shrinkage", "-1"], "give 0 to 10 percent"),
        (["--head", "steam"], "'steam'"),
        (["--gap-floor", "-1"], "give 0 to 1000 mm"),
        (["--gap-floor", "thin"], "is not a number of mm"),
    ],
)
def test_figures_that_cannot_be_are_refused_with_those_that_can(
    words: list[str], said: str, rings: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["inspect", str(rings), *words]) == 2
    message = capsys.readouterr().err
    assert message.count("\n") == 1
    assert words[0] in message
    assert said in message
