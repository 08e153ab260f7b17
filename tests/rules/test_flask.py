"""Flask: the smallest that takes the job with its margins, and what would do when there is none."""

import numpy as np
import pytest

from addon.rules.cast.flask import (
    MOST_LEAN_DEG,
    USUAL_MARGINS,
    Lean,
    Margins,
    bounding_cylinder_mm,
    choose_flask,
    flask_volume_cm3,
    flask_wall_g,
)
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


# Leaning

STRAIGHT = (142.0, 31.0, 17.0)  # a straight chain of 142 mm on its runner


def corners_of_leaning_box(size, lean):
    """The slow twin: the corners of the job's box, turned by the lean, point by point."""
    x, y, z = size
    box = np.array([[a * x / 2, b * y / 2, c * z] for a in (-1, 1) for b in (-1, 1) for c in (0, 1)])
    angle = np.radians(lean.deg)
    k, other = (0, 1) if lean.axis == "x" else (1, 0)
    turned = box.copy()
    turned[:, k] = box[:, k] * np.cos(angle) - box[:, 2] * np.sin(angle)
    turned[:, 2] = box[:, k] * np.sin(angle) + box[:, 2] * np.cos(angle)
    turned[:, other] = box[:, other]
    return turned


def test_a_straight_chain_leans_into_a_smaller_flask():
    upright = choose_flask(FLASKS, np.hypot(142, 31), STRAIGHT, head="gravity")
    leaning = choose_flask(FLASKS, np.hypot(142, 31), STRAIGHT, head="gravity", tilt=True)
    assert upright.lean.deg == 0
    assert flask_volume_cm3(leaning.flask) < 0.7 * flask_volume_cm3(upright.flask)
    assert leaning.findings == ()
    assert leaning.fits


@pytest.mark.parametrize("size", [STRAIGHT, (31.0, 142.0, 17.0), (90.0, 5.0, 8.0), (60.0, 60.0, 10.0)])
def test_a_leaning_job_is_inside_its_margins_and_leans_no_more_than_it_must(size):
    across = float(np.hypot(size[0], size[1]))
    found = choose_flask(FLASKS, across, size, head="gravity", tilt=True)
    turned = corners_of_leaning_box(size, found.lean)
    wide, tall = bounding_cylinder_mm(turned)
    if found.lean.deg:
        assert (found.needs_diameter_mm, found.needs_height_mm) == pytest.approx(USUAL_MARGINS.needs(wide, tall))
        assert found.lean.trunk_more_mm == pytest.approx(-turned[:, 2].min(), abs=1e-9)
        less = Lean(found.lean.deg - 1, found.lean.axis)
        wide, tall = USUAL_MARGINS.needs(*bounding_cylinder_mm(corners_of_leaning_box(size, less)))
        assert wide > found.flask.diameter_mm or tall > found.flask.height_mm
    assert found.fits
    assert found.lean.deg <= MOST_LEAN_DEG


def test_a_job_that_fits_upright_does_not_lean():
    found = choose_flask(FLASKS, 69.0, (69.0, 70.0, 17.0), head="vacuum", tilt=True)
    assert found == choose_flask(FLASKS, 69.0, (69.0, 70.0, 17.0), head="vacuum")


def test_an_upright_job_that_would_fit_leaning_is_told_how():
    (finding,) = choose_flask([Flask("t", 127.0, 203.0)], 150.0, STRAIGHT, head="gravity").findings
    assert "cast.tilt = true" in finding.text
    assert choose_flask([Flask("t", 127.0, 203.0)], 150.0, STRAIGHT, head="gravity", tilt=True).findings == ()


# The spin arm

ARM, LARGE_ARM = load_materials().spin_arms


def test_a_spin_takes_no_flask_larger_than_its_arm_does():
    found = choose_flask(SHELF, 85.0, (85.0, 85.0, 25.0), head="spin", spin_arm=ARM)
    assert [(f.code, f.severity) for f in found.findings] == [("spin-arm", "stop")]
    assert "102 x 127 mm" in found.findings[0].text
    assert found.flask is WIDE, "the plan is whole all the same"
    assert choose_flask(SHELF, 85.0, (85.0, 85.0, 25.0), head="spin", spin_arm=LARGE_ARM).findings == ()
    assert choose_flask(SHELF, 85.0, (85.0, 85.0, 25.0), head="vacuum", spin_arm=ARM).findings == ()


def test_a_flask_asked_for_that_the_arm_does_not_take_is_refused_with_one_it_does():
    found = choose_flask(SHELF, 30.0, (30.0, 30.0, 15.0), head="spin", asked_mm=(127.0, 89.0), spin_arm=ARM)
    (finding,) = found.findings
    assert (finding.code, finding.value, finding.limit) == ("spin-arm", 127.0, 102.0)
    assert "63 x 63 mm" in finding.text
    tall = choose_flask(SHELF, 30.0, (30.0, 30.0, 15.0), head="spin", asked_mm=(102.0, 203.0), spin_arm=ARM)
    assert (tall.findings[0].value, tall.findings[0].limit) == (203.0, 127.0)


def test_a_job_too_large_for_any_flask_stays_a_matter_of_the_flask():
    (finding,) = choose_flask(SHELF, 500.0, (500.0, 500.0, 30.0), head="spin", spin_arm=ARM).findings
    assert finding.code == "flask-size"


def test_the_wall_weighs_what_a_tube_of_steel_weighs():
    """A tube: pi/4 (outer^2 - inner^2) h, steel of 7.9 g/cm3 (from memory)."""
    flask = Flask("x", 102.0, 127.0, wall_mm=2.0)
    assert flask_wall_g(flask) == pytest.approx(np.pi / 4 * (106.0**2 - 102.0**2) * 127.0 * 7.9 / 1000)


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
