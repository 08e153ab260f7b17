"""Calibration: what went into made-up prints comes out again, and odd readings are said plainly."""

import tomllib
from pathlib import Path

import numpy as np
import pytest

from addon.rules.base.errors import BadInput
from addon.rules.files.readings import parse_readings, read_readings
from addon.rules.inspect.calibration import Reading, calibrate
from addon.rules.inspect.gauge import GAPS_MM
from addon.rules.inspect.ladder import printed_gap_mm
from addon.verbs.gauge import found_lines

UPRIGHT, LEVEL = (1.0, 0.0, 0.0), (0.0, 0.0, 1.0)


def printed(bleed, over_cure, *, free_from=0.0, scale=1.0, gaps=GAPS_MM, wrong=0.0, seed=0):
    """The readings of a printer that grows by bleed and over-cure, as the ladder says; under ``free_from`` stuck."""
    noise = np.random.default_rng(seed)
    out = []
    for gap in gaps:
        for level, way in ((False, UPRIGHT), (True, LEVEL)):
            mm = printed_gap_mm(gap, way, scale=scale, bleed_mm=bleed, over_cure_mm=over_cure)
            mm += wrong * noise.normal()
            out.append(Reading(gap, mm if mm >= max(free_from, 1e-3) else None, level))
    return out


@pytest.mark.parametrize("scale", [1.0, 1.018])
@pytest.mark.parametrize(("bleed", "over_cure"), [(0.0, 0.0), (0.04, 0.09), (0.11, 0.02)])
def test_a_printers_growth_is_found_again(bleed, over_cure, scale):
    found = calibrate(printed(bleed, over_cure, free_from=0.12, scale=scale), scale=scale)
    assert found.bleed.mm == pytest.approx(bleed, abs=1e-12)
    assert found.over_cure.mm == pytest.approx(over_cure, abs=1e-12)
    assert found.bleed.spread_mm == pytest.approx(0.0, abs=1e-12)
    assert found.profile_values()["bleed_mm"] == pytest.approx(bleed, abs=5e-4)
    assert not [note for note in found.notes if "disagree" in note or "contradict" in note or "one figure" in note]


def test_the_floor_is_the_smallest_printed_gap_from_which_all_came_free():
    readings = printed(0.05, 0.08, free_from=0.16)
    found = calibrate(readings)
    # Upright 0.3 prints 0.20 (0.25 prints 0.15: stuck), level 0.25 prints 0.17: both came free from 0.3 on.
    assert found.free_gap_mm == pytest.approx(0.3)
    assert found.gap_floor_mm == pytest.approx(0.20)
    assert found.notes == ()
    assert found.profile_values() == {"bleed_mm": 0.05, "over_cure_mm": 0.08, "gap_floor_mm": 0.2}
    stuck = [r for r in readings if r.measured_mm is None]
    assert {(r.gap_mm, r.level) for r in stuck} == {
        (0.15, False),
        (0.2, False),
        (0.25, False),
        (0.15, True),
        (0.2, True),
    }


def test_the_floor_is_rounded_to_the_safe_side():
    found = calibrate([Reading(0.3, 0.2312, False), Reading(0.25, None, False)])
    assert found.gap_floor_mm == 0.24


def test_scatter_is_told_as_its_standard_deviation():
    readings = printed(0.05, 0.08, wrong=0.004, gaps=tuple(np.linspace(0.3, 0.9, 60)))
    found = calibrate(readings)
    assert found.bleed.count == 60
    assert found.bleed.spread_mm == pytest.approx(0.002, rel=0.35)
    assert found.over_cure.spread_mm == pytest.approx(0.004, rel=0.35)
    assert found.bleed.mm == pytest.approx(0.05, abs=4 * 0.002 / 60**0.5)


def test_order_plays_no_part():
    readings = printed(0.05, 0.08, free_from=0.15, wrong=0.01)
    one, other = calibrate(readings), calibrate(readings[::-1])
    assert one.bleed.mm == pytest.approx(other.bleed.mm, abs=1e-15)
    assert (one.free_gap_mm, one.gap_floor_mm, one.notes) == (other.free_gap_mm, other.gap_floor_mm, other.notes)


@pytest.mark.parametrize(
    ("readings", "words"),
    [
        ([Reading(0.3, 0.25, False)], "bleed rests on 1 measured upright gap; measure 3 at least"),
        ([Reading(0.3, 0.25, False)], "no level gap was measured (none was read), so over-cure stays unknown"),
        (
            [Reading(0.3, 0.25, False), Reading(0.3, None, True)],
            "no level gap was measured (all are stuck), so over-cure stays unknown",
        ),
        (
            [Reading(0.3, 0.25, False), Reading(0.3, None, True)],
            "no level gap came free above 0.3 mm, so no floor is found; print a gauge with wider gaps",
        ),
        (
            [Reading(0.2, 0.15, False), Reading(0.3, None, False), Reading(0.4, 0.35, False)],
            "upright gaps contradict each other: 0.2 mm came free, 0.3 mm is stuck; the floor is taken above 0.3 mm",
        ),
        (
            [Reading(0.3, 0.25, False), Reading(0.3, None, False)],
            "upright gaps contradict each other: 0.3 mm came free, 0.3 mm is stuck",
        ),
        (
            [Reading(0.3, 0.34, False), Reading(0.4, 0.44, False), Reading(0.5, 0.54, False)],
            "bleed is -0.020 mm, below zero, the upright gaps came out wider than the model's; a profile holds none "
            "below 0, so bleed_mm is 0",
        ),
        (
            [Reading(0.3, 0.35, True), Reading(0.4, 0.45, True), Reading(0.5, 0.55, True)],
            "over-cure is -0.050 mm, below zero",
        ),
        (
            [Reading(gap, 2 * (gap - 0.1), False) for gap in (0.2, 0.3, 0.4, 0.5)],
            "widens by 2.00 mm, so one figure does not describe them; if the link was pushed aside, halve",
        ),
        (
            [Reading(gap, 0.2, True) for gap in (0.25, 0.3, 0.4, 0.5)],
            "widens by 0.00 mm, so one figure does not describe them; check the scale",
        ),
        (
            [Reading(0.4, 0.2, True), Reading(0.4, 0.35, True), Reading(0.4, 0.3, True)],
            "over-cure is uncertain, the level gaps disagree, their spread is 0.076 mm",
        ),
        (
            [Reading(0.3, 0.25, False)],
            "every upright gap came free, the smallest at 0.3 mm, so the floor may lie lower",
        ),
    ],
)
def test_what_to_know_is_said(readings, words):
    found = calibrate(readings)
    assert any(words in note for note in found.notes), found.notes
    assert any(words in line for line in found_lines(found))


def test_a_growth_below_zero_is_told_as_found_and_is_none_in_the_profile():
    found = calibrate([Reading(0.3, 0.34, False), Reading(0.4, 0.44, False), Reading(0.5, 0.54, False)])
    assert found.bleed.mm == pytest.approx(-0.02)
    assert found.profile_values()["bleed_mm"] == 0.0


def test_without_a_floor_the_profile_keeps_its_own():
    values = calibrate([Reading(0.3, None, True), Reading(0.3, 0.2, False)]).profile_values()
    assert values == {"bleed_mm": 0.05}


@pytest.mark.parametrize(
    ("readings", "scale", "words"),
    [
        ([], 1.0, "there are no readings, so nothing can be found"),
        ([Reading(0.3, None, True)], 1.0, "all of them are stuck, so nothing can be found; measure one gap at least"),
        ([Reading(0.0, 0.1, True)], 1.0, "reading 1: a gap of 0 mm does not work"),
        ([Reading(0.3, 0.2, True), Reading(0.3, 0.0, True)], 1.0, r"reading 2 \(level 0.3 mm\): 0 mm measured"),
        ([Reading(0.3, float("nan"), False)], 1.0, r"reading 1 \(upright 0.3 mm\): nan mm measured"),
        ([Reading(0.3, 200.0, False)], 1.0, "200 mm measured does not work; give a number above 0 and up to 5 mm"),
        ([Reading(0.3, 3.0, True)], 1.0, "over-cure -2.7 mm, and a profile holds up to 1 mm"),
        ([Reading(0.3, 0.2, True)], 0.0, "a scale of 0 does not work; give a number from 0.5 to 2"),
    ],
)
def test_what_cannot_be_is_refused(readings, scale, words):
    with pytest.raises(BadInput, match=words):
        calibrate(readings, scale=scale)


SHEET = """
scale = 1.02
[[reading]]
gap_mm = 0.25
upright_mm = "stuck"
level_mm = 0.12
[[reading]]
gap_mm = 0.3
upright_mm = 0.22
"""


def test_a_file_of_readings(tmp_path: Path):
    file = tmp_path / "readings.toml"
    file.write_text(SHEET, encoding="utf-8")
    read = read_readings(file)
    assert read.scale == 1.02
    assert read.readings == (Reading(0.25, None, False), Reading(0.25, 0.12, True), Reading(0.3, 0.22, False))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", r"r.toml: holds no readings; begin each with a line \[\[reading\]\]"),
        ("reading = 3", "r.toml: holds no readings"),
        ("scale = 3.0\n[[reading]]\ngap_mm = 0.3\nlevel_mm = 0.2", "scale: 3 does not work; give a number from 0.5"),
        ("[[reading]]\nlevel_mm = 0.2", "r.toml: reading 1: gap_mm: missing; give a number above 0"),
        ("[[reading]]\ngap_mm = 0.3", "reading 1: upright_mm: missing, and level_mm as well"),
        ("[[reading]]\ngap_mm = 0.3\nlevel_mm = 'stck'", "level_mm: 'stck' is no reading; give mm as a number, or"),
        (
            "[[reading]]\ngap_mm = 0.3\nlevel_mm = 0",
            "level_mm: 0 does not work; give a number above 0 and up to 5 mm, or",
        ),
        ("[[reading]]\ngap_mm = 0.3\nlevel_mm = true", "level_mm: must be a number, is true"),
        ("[[reading]]\ngap_mm = 0.3\nlevle_mm = 0.2", "levle_mm: unknown key; did you mean 'level_mm'"),
        ("[[reading]]\ngap_mm = 0.3\nlevel_mm = 0.2\n[[readings]]\ngap_mm = 1", "readings: unknown key"),
    ],
)
def test_a_file_that_is_wrong_is_said(text, words):
    with pytest.raises(BadInput, match=words):
        parse_readings(tomllib.loads(text), "r.toml")
