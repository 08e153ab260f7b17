"""The linking number of polygons against slower ways to count it."""

import numpy as np
import pytest

from addon.rules.solid import linking
from addon.rules.solid.linking import linking_number, linking_numbers, whole
from tests.knots import crossings, ring, torus_strand, wound_round


def _turned(seed: int) -> np.ndarray:
    turn = np.linalg.qr(np.random.default_rng(seed).normal(size=(3, 3)))[0]
    return turn * np.linalg.det(turn)


def test_tangled_random_polygons_agree_with_counted_crossings() -> None:
    """Random polygons of few sides wind through each other in every way."""
    random = np.random.default_rng(7)
    seen = set()
    for trial in range(60):
        a, b = random.normal(size=(random.integers(3, 12), 3)), random.normal(size=(random.integers(3, 12), 3))
        expected = crossings(a, b, _turned(trial))
        assert linking_number(a, b) == pytest.approx(expected, abs=1e-9)
        seen.add(expected)
    assert {-1, 0, 1} <= seen


def test_the_number_keeps_its_value_under_motion_and_changes_sign_with_a_direction() -> None:
    a, b = ring(6.0), wound_round(3)
    number = linking_number(a, b)
    turn = _turned(3)
    assert abs(number) == pytest.approx(3.0, abs=1e-9)
    assert linking_number(a @ turn.T + [40, -3, 5], b @ turn.T + [40, -3, 5]) == pytest.approx(number, abs=1e-9)
    assert linking_number(b, a) == pytest.approx(number, abs=1e-9)
    assert linking_number(a[::-1], b) == pytest.approx(-number, abs=1e-9)
    assert linking_number(1e-3 * a, 1e-3 * b) == pytest.approx(number, abs=1e-9)


def test_many_pairs_at_once_give_what_each_gives_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    """Also when a chunk holds less than one pair, and when loops have different sizes."""
    loops = [
        ring(3.0),
        ring(3.0, (3.0, 0.0, 0.0), across=(0, 1, 0), sides=17),
        torus_strand(2, 0.0, sides=90),
        ring(1.0, sides=3),
    ]
    first, second = np.triu_indices(len(loops), 1)
    alone = [linking_number(loops[i], loops[j]) for i, j in zip(first, second, strict=True)]
    assert linking_numbers(loops, first, second) == pytest.approx(alone, abs=1e-12)
    monkeypatch.setattr(linking, "CHUNK", 100)
    assert linking_numbers(loops, first, second) == pytest.approx(alone, abs=1e-12)
    assert linking_numbers(loops, first[:0], second[:0]).shape == (0,)


@pytest.mark.parametrize(
    "other",
    [
        [[0.5, 0, 1], [0.5, 0, -1], [0.5, -3, 0]],
        [[0, 0, 0], [-1, -1, 1], [-1, -1, -1]],
        [[0.5, 0, 0], [0.5, -1, 1], [0.5, -1, -1]],
        [[0.2, 0, 0], [0.8, 0, 0], [0.5, -1, 0]],
    ],
    ids=["sides cross", "corners meet", "corner on side", "sides lie on each other"],
)
def test_polygons_that_meet_have_no_number(other: list[list[float]]) -> None:
    square = np.array([[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]], dtype=np.float64)
    assert np.isnan(linking_number(square, np.array(other, dtype=np.float64)))


def test_repeated_points_and_one_point_loops_add_nothing() -> None:
    a, b = ring(3.0), ring(3.0, (3.0, 0.0, 0.0), across=(0, 1, 0))
    assert linking_number(np.repeat(a, 2, axis=0), b) == pytest.approx(linking_number(a, b), abs=1e-12)
    assert linking_number(a[:1], b) == 0.0


def test_whole_numbers_are_decided_only_when_near() -> None:
    numbers, decided = whole(np.array([0.9995, -2.0, 0.4, np.nan, 1.002]))
    assert numbers[:2].tolist() == [1, -2]
    assert decided.tolist() == [True, True, False, False, False]
