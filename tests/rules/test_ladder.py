"""The gap ladder against worked steps."""

import pytest

from addon.rules.inspect.ladder import cast_gap_mm, ladder, printed_gap_mm, web_mm

UPRIGHT, LEVEL = (1.0, 0.0, 0.0), (0.0, 0.0, -2.5)


def test_an_upright_gap_loses_bleed_on_both_faces() -> None:
    assert printed_gap_mm(0.4, UPRIGHT, scale=1.02, bleed_mm=0.03, over_cure_mm=0.1) == pytest.approx(0.408 - 0.06)


def test_a_level_gap_loses_the_over_cure_of_its_one_downward_face() -> None:
    assert printed_gap_mm(0.4, LEVEL, scale=1.02, bleed_mm=0.03, over_cure_mm=0.1) == pytest.approx(0.408 - 0.1)


def test_a_slanting_gap_lies_between_and_its_way_does_not_matter() -> None:
    """A 3-4-5 slope: 0.6 of the way across, 0.8 of it up."""
    for sign in (1.0, -1.0):
        direction = (sign * 0.3, 0.0, sign * 0.4)
        printed = printed_gap_mm(0.4, direction, bleed_mm=0.03, over_cure_mm=0.1)
        assert printed == pytest.approx(0.4 - 0.06 * 0.6 - 0.1 * 0.8)


def test_a_gap_without_direction_loses_all() -> None:
    assert printed_gap_mm(0.4, (0.0, 0.0, 0.0), bleed_mm=0.03, over_cure_mm=0.1) == pytest.approx(0.24)


def test_a_gap_narrower_than_its_bleed_closes() -> None:
    assert printed_gap_mm(0.05, UPRIGHT, bleed_mm=0.03) < 0.0


def test_web_and_cast_follow_the_printed_gap() -> None:
    assert web_mm(0.35, expansion=0.01) == pytest.approx(0.3535)
    assert cast_gap_mm(0.35, expansion=0.01, shrinkage=0.015) == pytest.approx(0.35 * 0.985 * 1.01)


def test_the_whole_ladder() -> None:
    steps = ladder(0.4, UPRIGHT, scale=1.02, bleed_mm=0.03, expansion=0.01, shrinkage=0.015)
    assert steps.model_mm == 0.4
    assert steps.printed_mm == pytest.approx(0.348)
    assert steps.web_mm == pytest.approx(0.348 * 1.01)
    assert steps.cast_mm == pytest.approx(0.348 * 1.01 * 0.985)
    assert steps.finished_mm == steps.cast_mm
