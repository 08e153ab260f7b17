"""Rotation-minimising frames: square, steady, and closed without a step."""

import numpy as np

from addon.rules.chain.frames import angle_about, rotation_minimising, square_to, unit


def knot(n: int) -> tuple[np.ndarray, np.ndarray]:
    """Give a closed curve that is neither flat nor symmetric, with its exact unit tangents."""
    t = np.arange(n) * 2 * np.pi / n
    p = np.stack((np.cos(t) * 9 + np.cos(3 * t), 7 * np.sin(t), 2 * np.sin(2 * t) + np.cos(t)), axis=1)
    v = np.stack((-9 * np.sin(t) - 3 * np.sin(3 * t), 7 * np.cos(t), 4 * np.cos(2 * t) - np.sin(t)), axis=1)
    return p, unit(v)


def one_by_one(places, tangents, first):
    """The paper's loop, a step after the other: the slow twin."""
    out = [first]
    for i in range(len(places) - 1):
        v1 = places[i + 1] - places[i]
        left = out[i] - 2 / (v1 @ v1) * (v1 @ out[i]) * v1
        t_left = tangents[i] - 2 / (v1 @ v1) * (v1 @ tangents[i]) * v1
        v2 = tangents[i + 1] - t_left
        out.append(left - 2 / (v2 @ v2) * (v2 @ left) * v2)
    return np.array(out)


def test_all_steps_at_once_give_what_the_loop_gives():
    places, tangents = knot(70)
    first = square_to(tangents[:1])[0]
    swift = rotation_minimising(places, tangents, first, closed=False)
    np.testing.assert_allclose(swift, one_by_one(places, tangents, first), atol=1e-12)


def test_frames_are_unit_and_square_to_the_way():
    places, tangents = knot(50)
    side = rotation_minimising(places, tangents, square_to(tangents[:1])[0], closed=True)
    np.testing.assert_allclose((side**2).sum(axis=1), 1, atol=1e-12)
    np.testing.assert_allclose((side * tangents).sum(axis=1), 0, atol=1e-12)


def test_a_closed_way_spreads_what_is_left_over_evenly():
    places, tangents = knot(60)
    first = square_to(tangents[:1])[0]
    again = lambda a: np.concatenate((a, a[:1]))  # noqa: E731
    free = rotation_minimising(again(places), again(tangents), first, closed=False)
    left_over = angle_about(tangents[:1], first[None], free[-1:])[0]
    assert abs(left_over) > 0.05
    side = rotation_minimising(places, tangents, first, closed=True)
    lag = angle_about(tangents, free[:-1], side)
    np.testing.assert_allclose(lag, -left_over * np.arange(60) / 60, atol=1e-12)


def test_no_more_than_half_a_period_is_spread():
    places, tangents = knot(60)
    first = square_to(tangents[:1])[0]
    again = lambda a: np.concatenate((a, a[:1]))  # noqa: E731
    free = rotation_minimising(again(places), again(tangents), first, closed=False)
    side = rotation_minimising(places, tangents, first, closed=True, period=0.1)
    assert np.abs(angle_about(tangents, free[:-1], side)).max() <= 0.05


def test_a_level_way_keeps_its_upright_exactly():
    places, tangents = knot(40)
    places[:, 2], tangents[:, 2] = 0, 0
    side = rotation_minimising(places, unit(tangents), np.array([0.0, 0.0, 1.0]), closed=True)
    np.testing.assert_allclose(side, np.broadcast_to([0, 0, 1], (40, 3)), atol=1e-14)
