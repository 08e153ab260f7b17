"""Ways to lay a chain out, against closed forms of their curves and scipy's own quadrature and Fresnel integrals."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import fresnel

from addon.rules.base.errors import CannotBuild
from addon.rules.chain.layouts import Coil, Spiral, bulge_mm, serpentine
from addon.rules.chain.path import along, chords_closed, chords_open, ring, ring_radius
from addon.rules.solid.curves import spline

SPIRALS = [Spiral(20.0, 10.4), Spiral(5.5, 4.0), Spiral(0.3, 9.0), Spiral(60.0, 0.5)]


def gaps(places, *, closed=False):
    step = np.roll(places, -1, axis=0) - places if closed else np.diff(places, axis=0)
    return np.linalg.norm(step, axis=1)


@pytest.mark.parametrize("spiral", SPIRALS)
@pytest.mark.parametrize("turned", [0.1, 2.0, 40.0])
def test_the_arc_of_an_archimedean_spiral_is_the_integral_of_its_speed(spiral, turned):
    """ds = sqrt(r^2 + (dr/dphi)^2) dphi, r = r0 + pitch phi / 2 pi."""
    growth = spiral.pitch_mm / (2 * np.pi)
    speed = lambda phi: np.hypot(spiral.radius_mm + growth * phi, growth)  # noqa: E731
    exact, _ = quad(speed, 0, turned, epsabs=1e-12, epsrel=1e-13, limit=200)
    assert float(spiral.walked_mm(np.array(turned))) == pytest.approx(exact, rel=1e-11)
    assert float(spiral.turned(np.array(exact))) == pytest.approx(turned, rel=1e-10)


@pytest.mark.parametrize("spiral", SPIRALS)
def test_the_radius_of_a_spiral_grows_with_the_angle_by_its_pitch_a_turn(spiral):
    walked = np.linspace(0, float(spiral.walked_mm(np.array(6 * np.pi))), 2001)
    x, y, z = spiral.at(walked).T
    radius = np.hypot(x, y)
    angle = np.unwrap(np.arctan2(y, x))
    np.testing.assert_allclose(radius, spiral.radius_mm + spiral.pitch_mm * angle / (2 * np.pi), rtol=1e-12)
    assert radius[-1] - radius[0] == pytest.approx(3 * spiral.pitch_mm, rel=1e-10)
    assert not z.any()


def test_a_helix_has_its_length_curvature_and_torsion():
    """Of radius R and climb c a radian: ds = sqrt(R^2 + c^2) dphi, curvature R / (R^2 + c^2), torsion c / (R^2 + c^2).

    Eric W. Weisstein, "Helix", MathWorld (from memory). Derivatives by central differences of the fourth order.
    """
    coil = Coil(26.0, 14.0)
    climb = 14.0 / (2 * np.pi)
    whole = coil.at(np.array(2 * np.pi * np.hypot(26.0, climb)))
    np.testing.assert_allclose(whole, (26.0, 0.0, 14.0), atol=1e-12)
    h, s = 0.05, np.linspace(5, 200, 50)
    p = [coil.at(s + k * h) for k in range(-3, 4)]
    first = (p[1] - 8 * p[2] + 8 * p[4] - p[5]) / (12 * h)
    second = (-p[1] + 16 * p[2] - 30 * p[3] + 16 * p[4] - p[5]) / (12 * h**2)
    third = (p[0] - 8 * p[1] + 13 * p[2] - 13 * p[4] + 8 * p[5] - p[6]) / (8 * h**3)
    np.testing.assert_allclose(np.linalg.norm(first, axis=1), 1, atol=1e-9)
    square = 26.0**2 + climb**2
    np.testing.assert_allclose(np.linalg.norm(second, axis=1), 26.0 / square, rtol=1e-7)
    cross = np.cross(first, second)
    torsion = (cross * third).sum(axis=1) / (cross**2).sum(axis=1)
    np.testing.assert_allclose(torsion, climb / square, rtol=1e-5)


def test_equal_chords_on_a_helix_turn_and_climb_evenly():
    """A chord that turns by t on a helix is sqrt((2 R sin(t/2))^2 + (c t)^2) long."""
    coil = Coil(26.0, 14.0)
    places = coil.at(chords_open(coil, 0.0, np.full(80, 6.875)))
    turned = np.diff(np.unwrap(np.arctan2(places[:, 1], places[:, 0])))
    np.testing.assert_allclose(turned, turned[0], rtol=1e-9)
    np.testing.assert_allclose(np.diff(places[:, 2]), 14.0 * turned[0] / (2 * np.pi), rtol=1e-8)
    assert np.hypot(52.0 * np.sin(turned[0] / 2), 14.0 * turned[0] / (2 * np.pi)) == pytest.approx(6.875, abs=1e-9)


def test_a_coil_keeps_the_width_upright_and_tilts_no_more_than_it_climbs():
    """The tangent of a helix leans by atan(c / R) to the level, and so does its upright to the plumb line."""
    coil = Coil(26.0, 14.0)
    path = along(coil, chords_open(coil, 0.0, np.full(200, 6.875)), "out", upright=True)
    inside = path.rotations[1:-1]
    chord_climb = np.arcsin(inside[:, 2, 0])
    # A station looks along the chord of its neighbours, which turns by t: its level part is 2 R sin t.
    turn = 2 * np.pi * np.diff(path.origins[:, 2])[0] / 14.0
    exact = np.arctan2(2 * 14.0 * turn / (2 * np.pi), 52.0 * np.sin(turn))
    np.testing.assert_allclose(chord_climb, exact, atol=1e-9)
    np.testing.assert_allclose(np.arccos(inside[:, 2, 1]), exact, atol=1e-7)
    outward = path.origins[1:-1] * [1, 1, 0] / 26.0
    np.testing.assert_allclose(inside[:, :, 2], outward, atol=1e-9)


@pytest.mark.parametrize(("radius", "ramp"), [(21.3, 27.5), (12.6, 5.0), (8.0, 8.0 * np.pi), (5.0, 400.0)])
def test_a_bend_of_a_serpentine_runs_into_its_circle_along_an_euler_spiral(radius, ramp):
    """x = A C(s / A), y = A S(s / A) with A = sqrt(pi R L), the Fresnel integrals; then a circle of radius R."""
    way = serpentine(0.0, radius, ramp)
    ramp = min(ramp, np.pi * radius)
    s = np.linspace(0, ramp, 200)
    scale = np.sqrt(np.pi * radius * ramp)
    sine, cosine = fresnel(s / scale)
    np.testing.assert_allclose(way.at(s)[:, 0], scale * cosine, atol=1e-6 * radius)
    np.testing.assert_allclose(way.at(s)[:, 1], scale * sine, atol=1e-6 * radius)
    heading = ramp / (2 * radius)
    end = way.at(np.array(ramp))[:2]
    centre = end + radius * np.array([-np.sin(heading), np.cos(heading)])
    circle = np.linspace(ramp, way.bend_mm / 2, 50)
    np.testing.assert_allclose(np.linalg.norm(way.at(circle)[:, :2] - centre, axis=1), radius, rtol=1e-6)
    assert way.bend_mm == pytest.approx(np.pi * radius + ramp, rel=1e-12)


def test_rows_of_a_serpentine_are_straight_even_and_bend_to_either_side_in_turn():
    way = serpentine(40.0, 12.0, 27.0, pitch_mm=60.0)
    whole = way.row_mm + way.bend_mm
    for row in range(4):
        on = way.at(row * whole + np.linspace(0, 40.0, 20))
        np.testing.assert_allclose(on[:, 1], 60.0 * row, atol=1e-9)
        np.testing.assert_allclose(on[:, 0], (-1.0) ** row * np.linspace(-20, 20, 20), atol=1e-9)
        bend = way.at(row * whole + 40.0 + np.linspace(0, way.bend_mm, 101))
        assert (np.diff(bend[:, 1]) > -1e-12).all()
        assert ((-1.0) ** row * bend[1:-1, 0] > 20).all()
    walked = np.linspace(0, 3 * whole, 20001)
    np.testing.assert_allclose(gaps(way.at(walked)), walked[1], rtol=1e-5)


def test_the_rows_of_a_plain_bend_lie_two_radii_apart_without_a_ramp():
    assert serpentine(10.0, 15.0, 1e-9).pitch_mm == pytest.approx(30.0, rel=1e-7)


@pytest.mark.parametrize("sides", [(13.0, 14.0, 15.0), (6.0, 6.0, 6.0), (7.0, 9.0, 11.3)])
def test_three_unequal_chords_lie_on_the_circumcircle_of_their_triangle(sides):
    """R = a b c / (4 K), K by Heron's formula."""
    half = sum(sides) / 2
    area = np.sqrt(half * np.prod([half - side for side in sides]))
    assert ring_radius(np.array(sides)) == pytest.approx(np.prod(sides) / (4 * area), rel=1e-12)


@pytest.mark.parametrize("sides", [(6.0, 6.0, 6.0, 9.0), (5.0, 7.0, 6.0, 8.0), (1.0, 1.0, 1.0, 1.0)])
def test_four_unequal_chords_lie_on_the_circle_of_parameshvara(sides):
    """R = sqrt((ab+cd)(ac+bd)(ad+bc) / ((s-a)(s-b)(s-c)(s-d))) / 4, of a cyclic quadrilateral (from memory)."""
    a, b, c, d = sides
    half = sum(sides) / 2
    top = (a * b + c * d) * (a * c + b * d) * (a * d + b * c)
    exact = np.sqrt(top / np.prod([half - side for side in sides])) / 4
    assert ring_radius(np.array(sides)) == pytest.approx(exact, rel=1e-12)


def test_a_regular_ring_has_the_circumradius_of_its_polygon():
    for links in (3, 5, 30, 5000):
        assert ring_radius(np.full(links, 6.8)) == pytest.approx(6.8 / (2 * np.sin(np.pi / links)), rel=1e-12)


@pytest.mark.parametrize("face", ["out", "flat"])
def test_unequal_chords_of_a_ring_are_kept_and_every_station_looks_along_the_circle(face):
    chords = np.tile([6.0, 6.0, 6.0, 9.5], 7)
    path = ring(chords, face)
    np.testing.assert_allclose(gaps(path.origins, closed=True), chords, atol=1e-12)
    radial = path.origins / np.linalg.norm(path.origins, axis=1)[:, None]
    np.testing.assert_allclose((path.rotations[:, :, 0] * radial).sum(axis=1), 0, atol=1e-12)
    face_normal = path.rotations[:, :, 2]
    np.testing.assert_allclose(face_normal, np.broadcast_to([0, 0, 1.0], radial.shape) if face == "flat" else radial)


def test_a_chord_too_long_to_close_is_refused():
    with pytest.raises(CannotBuild, match=r"do not reach round a seam of 40.0 mm"):
        ring_radius(np.array([6.0, 6.0, 6.0, 40.0]))


def test_stations_at_unequal_chords_on_a_circle_look_along_its_tangent():
    """The tangent of the circle through three points, however unevenly they lie on it."""
    t = np.arange(720) * 2 * np.pi / 720
    line = spline(np.stack((40 * np.cos(t), 40 * np.sin(t), 0 * t), axis=1), cyclic=True, where="p")
    shares = np.tile([1.0, 1.0, 1.0, 1.6], 8)
    walked, scale = chords_closed(line, shares)
    path = along(line, walked, "out")
    np.testing.assert_allclose(gaps(path.origins, closed=True), scale * shares, atol=1e-8)
    np.testing.assert_allclose((path.rotations[:, :, 0] * path.origins).sum(axis=1) / 40, 0, atol=1e-6)
    assert scale == pytest.approx(80 * np.sin(np.arcsin(ring_scale(shares))), rel=1e-6)


def ring_scale(shares: np.ndarray) -> float:
    """Half a chord of share 1 over the radius, from the condition that all angles make a whole turn, by bisection."""
    low, high = 0.0, 1 / shares.max()
    for _ in range(80):
        middle = (low + high) / 2
        low, high = (middle, high) if np.arcsin(middle * shares).sum() < np.pi else (low, middle)
    return low


def test_a_fixed_seam_keeps_its_chord_and_the_others_share_the_rest():
    t = np.arange(90) * 2 * np.pi / 90
    line = spline(np.stack((60 * np.cos(t), 40 * np.sin(t), 4 * np.sin(2 * t)), axis=1), cyclic=True, where="p")
    shares, seam = np.append(np.ones(37), 0.0), np.append(np.zeros(37), 23.0)
    walked, scale = chords_closed(line, shares, seam)
    chord = gaps(line.at(walked), closed=True)
    assert chord[-1] == pytest.approx(23.0, abs=1e-8)
    np.testing.assert_allclose(chord[:-1], scale, atol=1e-8)


def test_the_ends_of_a_straight_link_stand_out_by_the_sagitta():
    """sqrt(R^2 + (l/2)^2) - R beyond the outside of the turn."""
    assert bulge_mm(20.0, 4.0, 12.0) == pytest.approx(np.sqrt(22.0**2 + 36.0) - 22.0)
