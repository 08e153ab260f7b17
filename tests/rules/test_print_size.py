"""Print size: a job's box against the printer's room, as it stands and turned about the vertical."""

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar

from addon.rules.base.profile import load_profile
from addon.rules.inspect.finding import CODES, Finding
from addon.rules.inspect.print_size import HAIR_MM, print_size_findings

ROOM = replace(load_profile("bench"), build_x_mm=120.0, build_y_mm=68.0, build_z_mm=150.0)
LOW = np.array([-3.0, 5.0, 2.0])


def told(size: tuple[float, float, float], scale: float = 1.0) -> tuple[Finding, ...]:
    return print_size_findings(LOW, LOW + np.array(size), ROOM, scale=scale)


@pytest.mark.parametrize("size", [(120.0, 68.0, 150.0), (1.0, 1.0, 1.0), (120.0 + 1e-9, 68.0, 150.0 + 1e-9)])
def test_what_fits_as_it_stands_is_not_told_of(size: tuple[float, float, float]) -> None:
    assert told(size) == ()


@pytest.mark.parametrize(
    ("size", "words", "value", "limit"),
    [
        ((125.0, 60.0, 10.0), "5.0 mm too long in x. ", 125.0, 120.0),
        ((90.0, 90.0, 10.0), "22.0 mm too long in y. ", 90.0, 68.0),
        ((60.0, 123.0, 10.0), "3.0 mm too long in y once turned by 90 degrees. ", 123.0, 120.0),
        ((20.0, 20.0, 151.5), "1.5 mm too high. ", 151.5, 150.0),
        ((200.0, 80.0, 160.0), "80.0 mm too long in x, 12.0 mm too long in y, 10.0 mm too high. ", 200.0, 120.0),
    ],
)
def test_a_job_too_large_is_a_stop_with_the_side_and_by_how_much(
    size: tuple[float, float, float], words: str, value: float, limit: float
) -> None:
    (one,) = told(size)
    assert (one.code, one.severity, one.bodies, one.at) == ("print-size", "stop", (), None)
    assert one.code in CODES
    assert f"mm: {words}To mend it" in one.text
    assert "builds 120 x 68 x 150 mm" in one.text
    assert "the profile of a larger printer" in one.text
    assert (one.value, one.limit) == (pytest.approx(value), limit)
    # What to do belongs to what is too large.
    assert ("wind the chain up" in one.text) == ("too long" in words)
    assert ("lean it" in one.text) == ("too high" in words)


def test_a_level_job_that_fits_turned_but_is_too_high_is_told_only_the_height() -> None:
    (one,) = told((60.0, 100.0, 170.0))
    assert one.severity == "stop"
    assert "mm: 20.0 mm too high. To" in one.text


@pytest.mark.parametrize("size", [(60.0, 100.0, 20.0), (68.0, 120.0, 150.0), (10.0, 118.0, 5.0)])
def test_a_job_that_fits_turned_by_a_quarter_is_told_so(size: tuple[float, float, float]) -> None:
    (one,) = told(size)
    assert (one.code, one.severity) == ("print-size", "note")
    assert "it fits turned by 90 degrees" in one.text


def test_a_straight_chain_longer_than_the_room_fits_aslant() -> None:
    """130 x 4 mm in 120 x 68: the room's diagonal is 137.9 mm."""
    (one,) = told((130.0, 4.0, 4.0))
    assert one.severity == "note"
    turn = math.radians(float(one.text.rpartition("turned by ")[2].split()[0]))
    assert 130.0 * math.cos(turn) + 4.0 * math.sin(turn) <= 120.0
    assert 130.0 * math.sin(turn) + 4.0 * math.cos(turn) <= 68.0
    (longer,) = told((139.0, 4.0, 4.0))
    assert longer.severity == "stop"


def test_the_scale_of_the_print_counts() -> None:
    assert told((118.0, 60.0, 20.0)) == ()
    (one,) = told((118.0, 60.0, 20.0), 1.03)
    assert one.severity == "stop"
    assert one.value == pytest.approx(118.0 * 1.03)
    assert "121.5 x 61.8 x 20.6 mm" in one.text


def _least_over(x: float, y: float) -> float:
    """By how much a box is over at best, turned by any angle: a general library's minimiser on pieces."""

    def over(turn: float) -> float:
        c, s = math.cos(turn), math.sin(turn)
        return max(x * c + y * s - ROOM.build_x_mm, x * s + y * c - ROOM.build_y_mm)

    cuts = np.linspace(0.0, math.pi / 2.0, 31)
    ends = min(over(float(cut)) for cut in cuts)
    inner = (minimize_scalar(over, bounds=pair, method="bounded").fun for pair in pairwise(cuts.tolist()))
    return min(ends, *inner)


@settings(max_examples=20, derandomize=True, deadline=None)
@given(x=st.floats(1.0, 160.0), y=st.floats(1.0, 160.0))
def test_a_stop_is_told_of_exactly_what_fits_at_no_angle(x: float, y: float) -> None:
    """Up to what half a degree of turn is worth at the corners."""
    least = _least_over(x, y)
    found = told((x, y, 10.0))
    stopped = bool(found) and found[0].severity == "stop"
    half_degree = math.hypot(x, y) * math.radians(0.5)
    assert stopped == (least > HAIR_MM) or 0.0 <= HAIR_MM - least <= half_degree
