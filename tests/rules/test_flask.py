"""Flask: the smallest that takes the job with its margins, and what would do when there is none."""

import numpy as np
import pytest

from addon.rules.cast.flask import USUAL_MARGINS, Margins, bounding_cylinder_mm, choose_flask, flask_volume_cm3
from addon.rules.cast.materials import Flask, load_materials

FLASKS = load_materials().flasks
SMALL, WIDE, TALL = Flask("small", 63, 63), Flask("wide", 127, 89), Flask("tall", 102, 203)
HOLED = Flask("holed", 127, 89, perforated=True)
SHELF = (TALL, WIDE, HOLED, SMALL)


def test_volume_of_a_flask():
    """A cylinder 100 x 100 mm holds 785.398 cm3."""
    assert flask_volume_cm3(Flask("x", 100.0, 100.0)) == pytest.approx(785.3982, abs=1e-4)


def test_margins_are_half_an_inch_to_the_wall_and_leave_room_for_the_trunk():
    """Bench text on lost-wax casting: at least 1/2 inch (12.7 mm) to the wall. Trunk 15 to 20 mm: common practice."""
    assert USUAL_MARGINS.wall_mm == 12.7
    assert 15.0 <= USUAL_MARGINS.trunk_mm <= 20.0
    assert USUAL_MARGINS.needs(80.0, 20.0) == pytest.approx((105.4, 20.0 + 18.0 + 10.0 + 15.0))


def test_the_smallest_that_fits_is_chosen():
    assert choose_flask(SHELF, 30.0, (30.0, 30.0, 15.0), head="gravity").flask is SMALL
    assert choose_flask(SHELF, 85.0, (85.0, 85.0, 25.0), head="gravity").flask is WIDE
    assert choose_flask(SHELF, 30.0, (30.0, 30.0, 100.0), head="gravity").flask is TALL


def test_exactly_fitting_is_fitting():
    wide, tall = WIDE.diameter_mm - 2 * 12.7, WIDE.height_mm - 43.0
    assert choose_flask([WIDE], wide, (wide, wide, tall), head="spin").findings == ()
    for more in ((wide + 0.01, tall), (wide, tall + 0.01)):
        found = choose_flask([WIDE], more[0], (more[0], more[0], more[1]), head="spin")
        assert [f.code for f in found.findings] == ["flask-size"]


def test_every_choice_from_our_table_fits_and_no_smaller_one_would():
    rng = np.random.default_rng(7)
    for across, tall in rng.uniform((10, 5), (140, 180), (200, 2)).tolist():
        found = choose_flask(FLASKS, across, (across, across, tall), head="vacuum")
        wide, high = USUAL_MARGINS.needs(across, tall)
        fits = [f for f in FLASKS if f.diameter_mm >= wide and f.height_mm >= high]
        assert bool(fits) == (found.findings == ())
        if fits:
            assert found.flask in fits
            assert flask_volume_cm3(found.flask) == min(flask_volume_cm3(f) for f in fits)


def test_only_vacuum_takes_a_perforated_flask_and_takes_it_first():
    size = (85.0, 85.0, 25.0)
    assert choose_flask(SHELF, 85.0, size, head="vacuum").flask is HOLED
    for head in ("gravity", "spin"):
        assert choose_flask(SHELF, 85.0, size, head=head).flask is WIDE
        assert choose_flask([HOLED], 85.0, size, head=head).findings[0].code == "flask-size"


def test_a_flask_asked_for_is_checked_and_a_better_one_named():
    good = choose_flask(SHELF, 85.0, (85.0, 85.0, 25.0), head="gravity", asked_mm=(150.0, 120.0))
    assert (good.flask.diameter_mm, good.flask.height_mm, good.findings) == (150.0, 120.0, ())
    bad = choose_flask(SHELF, 85.0, (85.0, 85.0, 25.0), head="gravity", asked_mm=(89.0, 102.0))
    (finding,) = bad.findings
    assert (finding.code, finding.severity) == ("flask-size", "stop")
    assert "127 x 89 mm" in finding.text
    assert finding.value == pytest.approx(110.4)
    assert finding.limit == 89.0
    assert not bad.fits
    assert bad.flask.diameter_mm == 89.0


def test_a_flask_of_the_table_asked_for_keeps_its_wall():
    found = choose_flask(SHELF, 85.0, (85.0, 85.0, 25.0), head="vacuum", asked_mm=(127.0, 89.0))
    assert found.flask is HOLED


def test_a_straight_chain_that_fits_none_is_told_to_stand_on_end():
    found = choose_flask(SHELF, 150.3, (150.0, 10.0, 10.0), head="gravity")
    (finding,) = found.findings
    assert finding.severity == "stop"
    assert "stood on end" in finding.text
    assert "102 x 203 mm" in finding.text
    assert found.fits, "the made-to-measure flask named instead takes the job"


def test_a_job_too_large_for_all_is_told_to_shrink():
    (finding,) = choose_flask(SHELF, 500.0, (500.0, 500.0, 300.0), head="gravity").findings
    assert "smaller" in finding.text
    assert choose_flask([], 50.0, (50.0, 50.0, 30.0), head="gravity").findings[0].code == "flask-size"


def test_larger_margins_need_larger_flasks():
    roomy = Margins(wall_mm=20.0, cover_mm=20.0)
    a = choose_flask(FLASKS, 65.0, (65.0, 65.0, 20.0), head="gravity")
    b = choose_flask(FLASKS, 65.0, (65.0, 65.0, 20.0), head="gravity", margins=roomy)
    assert flask_volume_cm3(b.flask) > flask_volume_cm3(a.flask)


# The bounding cylinder


def plain_circle(points):
    """The slow twin: the smallest of all circles through two or three points that holds all."""
    best = np.inf
    n = len(points)
    for i in range(n):
        for j in range(i):
            candidates = [0.5 * (points[i] + points[j])]
            for k in range(j):
                m = 2.0 * np.array([points[j] - points[i], points[k] - points[i]])
                right = [points[j] @ points[j] - points[i] @ points[i], points[k] @ points[k] - points[i] @ points[i]]
                if abs(np.linalg.det(m)) > 1e-12:
                    candidates.append(np.linalg.solve(m, right))
            for centre in candidates:
                radius = np.linalg.norm(points - centre, axis=1).max()
                if np.isclose(radius, np.linalg.norm(points[i] - centre), rtol=1e-9):
                    best = min(best, radius)
    return 2.0 * best


@pytest.mark.parametrize("seed", range(12))
def test_bounding_circle_is_the_smallest(seed):
    rng = np.random.default_rng(seed)
    points = rng.normal(size=(14, 3)) * [1.0, 3.0, 2.0] if seed % 2 else np.round(rng.uniform(-3, 3, (14, 3)))
    across, tall = bounding_cylinder_mm(points)
    assert across == pytest.approx(plain_circle(points[:, :2]), rel=1e-9)
    assert tall == pytest.approx(np.ptp(points[:, 2]))


def test_bounding_circle_of_many_points_and_of_none_to_speak_of():
    angle = np.linspace(0, 2 * np.pi, 100_000, endpoint=False)
    ring = np.stack([40 * np.cos(angle) + 7, 40 * np.sin(angle) - 3, 0 * angle], axis=1)
    assert bounding_cylinder_mm(ring)[0] == pytest.approx(80.0, rel=1e-8)
    assert bounding_cylinder_mm(np.zeros((5, 3))) == (0.0, 0.0)
    assert bounding_cylinder_mm(np.array([[0.0, 0, 0], [3, 4, 1], [1.5, 2, 0.5]])) == pytest.approx((5.0, 1.0))
