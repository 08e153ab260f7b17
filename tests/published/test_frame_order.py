"""Rotation-minimising frames against W. Wang, B. Juettler, D. Zheng, Y. Liu, "Computation of rotation minimizing

frames", ACM Transactions on Graphics 27 (2008), no. 1, article 2: "the double reflection method has the fourth order
global approximation error". The exact frame: along a curve it turns against the Frenet frame by the integral of the
torsion (R. L. Bishop, "There is more than one way to frame a curve", American Mathematical Monthly 82 (1975) 246).
"""

import numpy as np
import pytest

from addon.rules.chain.frames import angle_about, rotation_minimising, unit

R, CLIMB = 30.0, 9.0


def helix(n: int):
    t = np.linspace(0, 4 * np.pi, n + 1)
    places = np.stack((R * np.cos(t), R * np.sin(t), CLIMB * t), axis=1)
    tangents = unit(np.stack((-R * np.sin(t), R * np.cos(t), np.full_like(t, CLIMB)), axis=1))
    normals = np.stack((-np.cos(t), -np.sin(t), np.zeros_like(t)), axis=1)
    # Torsion c / (R^2 + c^2) times the arc length sqrt(R^2 + c^2) t.
    turned = CLIMB / np.hypot(R, CLIMB) * t
    return places, tangents, normals, turned


def error(n: int) -> float:
    places, tangents, normals, turned = helix(n)
    side = rotation_minimising(places, tangents, normals[0], closed=False)
    lag = angle_about(tangents, normals, side)
    off = np.angle(np.exp(1j * (lag + turned)))
    return float(np.abs(off).max())


def test_error_on_a_helix_falls_with_the_fourth_power_of_the_step():
    errors = [error(n) for n in (40, 80, 160, 320)]
    ratios = np.array(errors[:-1]) / np.array(errors[1:])
    assert errors[0] < 1e-3
    np.testing.assert_allclose(ratios, 16, rtol=0.02)


def varying(n: int):
    """A curve of uneven curvature and torsion; its exact turn by Simpson's rule on the torsion."""
    t = np.linspace(0, 3, n + 1)

    def derivatives(t):
        one = np.stack((np.ones_like(t), 2 * t, 3 * t**2), axis=-1)
        two = np.stack((0 * t, 2 + 0 * t, 6 * t), axis=-1)
        three = np.stack((0 * t, 0 * t, 6 + 0 * t), axis=-1)
        return one, two, three

    def rate(t):
        one, two, three = derivatives(t)
        c = np.cross(one, two)
        return (c * three).sum(axis=-1) / (c**2).sum(axis=-1) * np.sqrt((one**2).sum(axis=-1))

    fine = np.linspace(0, 3, 40001)
    f = rate(fine)
    turned = (f[0] + f[-1] + 4 * f[1:-1:2].sum() + 2 * f[2:-1:2].sum()) * (3 / 40000) / 3
    one, two, _ = derivatives(t)
    tangents = unit(one)
    normals = unit(np.cross(np.cross(one, two), one))
    return np.stack((t, t**2, t**3), axis=1), tangents, normals, turned


@pytest.mark.parametrize("n", [40, 80, 160])
def test_error_on_a_twisted_cubic_falls_with_the_fourth_power_of_the_step(n):
    def end_error(n):
        places, tangents, normals, turned = varying(n)
        side = rotation_minimising(places, tangents, normals[0], closed=False)
        return abs(angle_about(tangents, normals, side)[-1] + turned)

    assert end_error(n) / end_error(2 * n) == pytest.approx(16, rel=0.15)
