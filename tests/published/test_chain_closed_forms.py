"""Links, curves and placed chains against closed forms.

Volume and surface of a torus and of a swept wire: Pappus of Alexandria, Collection VII (Guldin's theorems), as printed
in any handbook: V = A times the way of the centroid, 2 pi^2 R r^2 for a torus. Circumference of an ellipse: complete
elliptic integral of the second kind (scipy). Length of a helix: sqrt((2 pi R)^2 + h^2) a turn. Chord of a circle:
2 R sin(pi / n).
"""

import numpy as np
import pytest

from addon.rules.chain.families import draw
from addon.rules.chain.fit import fit
from addon.rules.chain.lengths import ring_bends, ring_radius_of, rings
from addon.rules.chain.measure import drafting
from addon.rules.chain.path import along, chords_closed, chords_open, ring, ring_radius
from addon.rules.chain.spec import ChainSpec
from addon.rules.chain.sweep import sweep
from addon.rules.chain.tubes import tube_gaps
from addon.rules.chain.uniform import even_of
from addon.rules.solid.curves import spline
from addon.rules.solid.measure import area_mm2, volume_mm3

CHORDS = (0.04, 0.01, 0.0025)


def approach(family, wire, length, width, exact):
    """Give the relative errors of a property as the chord tolerance falls by four each time."""
    link = draw(ChainSpec(family, wire, length, width, 0.2)).link
    return [abs(measure(sweep(link, chord)[0]) / value - 1) for chord in CHORDS for measure, value in exact]


def test_round_trace_links_approach_the_torus():
    big, r = 4.0, 1.0
    exact = [(volume_mm3, 2 * np.pi**2 * big * r**2), (area_mm2, 4 * np.pi**2 * big * r)]
    errors = np.array(approach("trace", 2 * r, 2 * (big + r), 2 * (big + r), exact)).reshape(3, 2)
    assert (errors[:-1] / errors[1:] > 3).all()
    assert errors[-1].max() < 2e-3


def test_oval_trace_links_approach_pappus_on_the_ellipse():
    ellipe = pytest.importorskip("scipy.special").ellipe
    a, b, r = 5.0, 3.75, 1.1
    girth = 4 * a * float(ellipe(1 - (b / a) ** 2))
    errors = approach("trace", 2 * r, 2 * (a + r), 2 * (b + r), [(volume_mm3, np.pi * r**2 * girth)])
    assert errors[0] > 3 * errors[1] > 9 * errors[2]
    assert errors[-1] < 2e-3


def test_curb_links_approach_pappus_on_the_twisted_oval():
    """The length of the twisted centreline by the trapezoidal rule, exact to rounding on a smooth closed curve."""
    link = draw(ChainSpec("curb", 2.2, 12.2, 9.7, 0.2)).link
    t = np.arange(512) * 2 * np.pi / 512
    girth = np.linalg.norm(np.gradient(link.curve(np.append(t, 2 * np.pi))[0], t[1], axis=0, edge_order=2), axis=1)
    length = float(np.linalg.norm(link.curve(t)[1], axis=1).mean() * 2 * np.pi)
    assert girth[:-1].mean() * 2 * np.pi == pytest.approx(length, rel=1e-4)
    errors = [abs(volume_mm3(sweep(link, chord)[0]) / (np.pi * 1.1**2 * length) - 1) for chord in CHORDS]
    assert errors[0] > 3 * errors[1] > 9 * errors[2]
    assert errors[-1] < 2e-3


def test_gap_of_two_perpendicular_rings_is_two_R_less_the_shift_less_the_wire():
    """Round links of radius R, shifted by s and turned 90 degrees: pulling leaves 2R - s - 2r."""
    link = draw(ChainSpec("trace", 2.0, 12.0, 12.0, 0.2)).link
    shifts = np.linspace(6, 9.9, 9)
    turn = np.array([[1.0, 0, 0], [0, 0, -1], [0, 1, 0]])
    gap = tube_gaps(link, link, np.broadcast_to(turn, (9, 3, 3)), np.outer(shifts, [1.0, 0, 0])).gap_mm
    np.testing.assert_allclose(gap, 10 - shifts - 2, atol=1e-9)


def test_gap_of_coaxial_and_coplanar_rings():
    """Coaxial equal rings are the shift apart, coplanar ones the shift less the diameter; less the wire."""
    link = draw(ChainSpec("trace", 2.0, 12.0, 12.0, 0.2)).link
    same = np.broadcast_to(np.eye(3), (2, 3, 3))
    gap = tube_gaps(link, link, same, np.array([[0, 0, 5.0], [13.0, 0, 0]])).gap_mm
    np.testing.assert_allclose(gap, (3, 1), atol=1e-9)


@pytest.mark.parametrize(("length", "wire"), [(12.0, 2.0), (9.0, 1.3)])
def test_fit_of_round_trace_links_follows_from_plane_geometry(length, wire):
    """Straight: pulled, 2R - p - 2r; pushed, links k and k+2 lie in one plane, 2p - 2R - 2r. They meet at (4R)/3.

    Between them the two perpendicular rings of a joint are at least as far apart as both, for wires this thin.
    """
    pattern = draw(ChainSpec("trace", wire, length, length, 0.1))
    big = (length - wire) / 2
    (found,) = fit(even_of(pattern, drafting(pattern.links), "flat"), np.zeros(1), 0.1)
    assert found.best_mm == pytest.approx(4 * big / 3, abs=1e-4)
    assert found.gap_mm == pytest.approx(2 * big / 3 - wire, abs=1e-5)
    assert found.pulled_mm == pytest.approx(2 * big - wire, abs=1e-6)
    assert found.pushed_mm == pytest.approx(big + wire / 2, abs=1e-6)
    assert (found.low_mm, found.high_mm) == pytest.approx((big + wire / 2 + 0.05, 2 * big - wire - 0.1), abs=1e-6)


@pytest.mark.parametrize("n", [12, 30, 61])
def test_ring_stands_on_its_circle_with_the_pitch_as_chord(n):
    path = ring(np.full(n, 6.8), "out")
    radius = 6.8 / (2 * np.sin(np.pi / n))
    assert ring_radius(np.full(n, 6.8)) == pytest.approx(radius, rel=1e-14)
    np.testing.assert_allclose(np.linalg.norm(path.origins, axis=1), radius, rtol=1e-14)
    np.testing.assert_allclose(np.linalg.norm(np.roll(path.origins, -1, 0) - path.origins, axis=1), 6.8, rtol=1e-12)
    np.testing.assert_allclose(path.rotations[:, :, 2], path.origins / radius, atol=1e-14)
    np.testing.assert_allclose(path.rotations[:, :, 1], np.broadcast_to([0, 0, 1], (n, 3)), atol=1e-15)


@pytest.mark.parametrize("repeats", [4, 9, 30])
def test_two_chords_in_turn_bend_as_the_law_of_cosines_says(repeats):
    """n pairs of chords a, b close round a circle where a and b enclose the angle pi - pi/n: the chord across both is
    2 R sin(pi / n), and c^2 = a^2 + b^2 + 2 a b cos(pi / n).
    """
    a, b = 6.9, 11.6
    across = np.sqrt(a * a + b * b + 2 * a * b * np.cos(np.pi / repeats))
    radius = across / (2 * np.sin(np.pi / repeats))
    counts, pitches = np.full((1, 2), float(repeats)), np.array([[a, b]])
    assert ring_radius_of(counts, pitches)[0] == pytest.approx(radius, rel=1e-12)
    np.testing.assert_allclose(ring_bends(counts, pitches)[0], 2 * np.arcsin(pitches[0] / (2 * radius)), rtol=1e-12)
    assert float(ring_bends(counts, pitches).sum()) * repeats == pytest.approx(2 * np.pi, rel=1e-12)


@pytest.mark.parametrize("n", [24, 60])
def test_a_ring_of_round_flat_links_wears_where_plane_geometry_says(n):
    """Flat round links upright and level in turn, drawn tight. The level ones reach furthest inward: the radius through
    the centres less the loop's radius and the wire's. Straight, a joint gives 2R - 2r; on the ring a little less.
    """
    wire, length = 1.0, 12.0
    big = (length - wire) / 2
    pattern = draw(ChainSpec("trace", wire, length, length, 0.1))
    found = rings(even_of(pattern, drafting(pattern.links), "flat"), np.array([float(n)]))
    pitch = float(found.at.pulled_mm[0, 0])
    # The corner at a joint is 2 pi / n: each link leans half of it, and its hole gives way by its sagitta at most.
    assert 0 <= 2 * big - wire - pitch < length / 2 * (2 * np.pi / n)
    radius = pitch / (2 * np.sin(np.pi / n))
    assert found.worn_mm[0] == pytest.approx(2 * np.pi * (radius - big - wire / 2), rel=1e-9)


def circle(radius: float, n: int) -> np.ndarray:
    t = np.arange(n) * 2 * np.pi / n
    return np.stack((radius * np.cos(t), radius * np.sin(t), 0 * t), axis=1)


@pytest.mark.parametrize(("points", "near"), [(12, 3e-3), (24, 3e-4), (96, 2e-6)])
def test_a_curve_through_points_of_a_circle_has_its_length(points, near):
    line = spline(circle(40, points), cyclic=True, where="p")
    assert line.length_mm == pytest.approx(2 * np.pi * 40, rel=near)


def test_links_along_a_circle_stand_as_on_the_ring():
    line = spline(circle(40, 400), cyclic=True, where="p")
    walked, pitch = chords_closed(line, np.ones(36))
    assert pitch == pytest.approx(2 * 40 * np.sin(np.pi / 36), rel=1e-7)
    path, known = along(line, walked, "out"), ring(np.full(36, pitch), "out")
    np.testing.assert_allclose(path.origins, known.origins, atol=1e-4)
    np.testing.assert_allclose(path.rotations, known.rotations, atol=1e-5)


def test_a_helix_has_its_length_and_equal_chords_equal_climb():
    """On a helix equal chords are equal steps of angle; every frame leans by the same angle."""
    radius, climb, turns = 30.0, 14.0, 2.5
    t = np.linspace(0, turns * 2 * np.pi, 600)
    points = np.stack((radius * np.cos(t), radius * np.sin(t), climb * t / (2 * np.pi)), axis=1)
    line = spline(points, cyclic=False, where="p")
    exact = turns * np.hypot(2 * np.pi * radius, climb)
    assert line.length_mm == pytest.approx(exact, rel=1e-6)
    path = along(line, chords_open(line, 5.0, np.full(59, 6.8)), "out")
    steps = np.diff(path.origins, axis=0)
    np.testing.assert_allclose(np.linalg.norm(steps, axis=1), 6.8, atol=1e-8)
    np.testing.assert_allclose(steps[:, 2], steps[0, 2], atol=1e-4)
    np.testing.assert_allclose(np.linalg.norm(path.origins[:, :2], axis=1), radius, atol=1e-4)
    # Between its neighbours' centres a link rises 2 dz over a chord of 2 R sin(dt).
    step = steps[0, 2] * 2 * np.pi / climb
    angle = np.arctan2(path.origins[:, 1], path.origins[:, 0])
    lean = np.full(60, 2 * steps[0, 2] / (2 * radius * np.sin(step)))
    exact_ahead = np.stack((-np.sin(angle), np.cos(angle), lean), axis=1) / np.hypot(1, lean)[:, None]
    np.testing.assert_allclose(path.rotations[1:-1, :, 0], exact_ahead[1:-1], atol=1e-5)
    np.testing.assert_allclose(path.rotations[[0, -1], :, 0], exact_ahead[[0, -1]], atol=3e-3)
