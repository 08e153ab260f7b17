"""The line a feed ring follows, where two bodies stand side by side at one station of the chain."""

import numpy as np
import pytest

from addon.rules.base.errors import CannotBuild
from addon.rules.chain.path import Path
from addon.rules.feed.course import plan_course, through
from addon.rules.solid.mesh import Body
from tests.mesh_shapes import torus


def row(count):
    return tuple(Body(f"link {k + 1}", torus()) for k in range(count))


def on_circle(stations, radius=30.0):
    angle = 2 * np.pi * np.arange(stations) / stations
    c, s, flat = np.cos(angle), np.sin(angle), 0 * angle
    ahead = np.stack((-s, c, flat), axis=1)
    up = np.tile([0.0, 0.0, 1.0], (stations, 1))
    return radius * np.stack((c, s, flat), axis=1), np.stack((ahead, up, np.cross(ahead, up)), axis=-1)


def twice_each_second(stations):
    """Numbers of the stations where bodies stand: one, two side by side, one, two, ..."""
    return np.repeat(np.arange(stations), np.where(np.arange(stations) % 2, 2, 1))


def test_a_ring_with_pairs_has_the_same_course_as_one_of_single_bodies():
    origins, rotations = on_circle(24)
    single = plan_course(row(24), Path(origins, rotations, closed=True))
    at = twice_each_second(24)
    double = plan_course(row(len(at)), Path(origins[at], rotations[at], closed=True))
    assert double.closed
    assert double.length_mm == single.length_mm
    assert double.pitch_mm == pytest.approx(single.pitch_mm)
    assert (double.at_mm == single.at_mm[at]).all()
    assert double.at(double.at_mm) == pytest.approx(origins[at] * [1, 1, 0], abs=1e-9)


def test_an_open_row_with_pairs_and_a_pair_at_its_end():
    at = twice_each_second(8)
    origins = np.column_stack((4.0 * at, 0 * at, 7.0 + 0 * at))
    course = plan_course(row(len(at)), Path(origins, np.tile(np.eye(3), (len(at), 1, 1)), closed=False))
    assert course.length_mm == pytest.approx(28.0)
    assert course.pitch_mm == pytest.approx(4.0)
    assert course.at_mm == pytest.approx(4.0 * at)


def test_a_ring_that_begins_inside_a_pair_closes_without_a_step():
    origins, rotations = on_circle(12)
    at = np.append(np.arange(12), 0)
    course = plan_course(row(13), Path(origins[at], rotations[at], closed=True))
    assert course.at_mm[0] == course.at_mm[-1] == 0.0
    assert course.length_mm == pytest.approx(plan_course(row(12), Path(origins, rotations, closed=True)).length_mm)


def test_heights_of_a_pair_are_met_halfway():
    places = np.array([(0, 0, 1.0), (5, 0, 1.0), (5, 0, 3.0), (10, 0, 2.0)])
    course = through(places, closed=False)
    assert course.at(course.at_mm)[:, 2] == pytest.approx([1.0, 2.0, 2.0, 2.0])


def test_two_bodies_at_one_place_alone_lie_on_a_short_line():
    course = plan_course(row(2), Path(np.zeros((2, 3)), np.tile(np.eye(3), (2, 1, 1)), closed=False))
    assert not course.closed
    assert course.at(course.at_mm) == pytest.approx(np.zeros((2, 3)), abs=1e-9)


def test_a_chain_that_climbs_straight_up_is_refused_with_pairs_in_it_too():
    origins = np.array([(0, 0, 0), (4.0, 0, 0), (4.0, 0, 0), (4.1, 0, 6.0)])
    with pytest.raises(CannotBuild, match="between link 3 and link 4 the chain climbs nearly straight up"):
        plan_course(row(4), Path(origins, np.tile(np.eye(3), (4, 1, 1)), closed=False))
