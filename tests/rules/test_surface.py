"""Nearest places of a surface: against a twin that measures every triangle, and by what must hold of any of them."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from addon.rules.base.errors import BadInput
from addon.rules.base.progress import finish
from addon.rules.solid.feet import feet
from addon.rules.solid.mesh import merged, mesh
from addon.rules.solid.surface import COARSEST, MOST, TOGETHER, nearest_on, surface_of
from tests.gap_shapes import ball, oval_link, split, turn_about
from tests.mesh_shapes import box, moved, torus

FAR = math.inf
seeds = st.integers(0, 2**32 - 1)


def nearest(solid, points, within_mm=FAR):
    return finish(nearest_on(finish(surface_of(solid)), np.asarray(points, dtype=float), within_mm))


def twin(solid, points):
    """The smallest distance over all triangles, one by one, and the number of each triangle's."""
    corners = np.moveaxis(solid.corners(), 0, -1)
    squares = [feet(corners, np.broadcast_to(p[:, None], (3, corners.shape[2])))[0] for p in np.asarray(points)]
    return np.sqrt(np.min(squares, axis=1)), np.sqrt(np.array(squares))


def shape(seed):
    """A solid or a heap of triangles drawn at random, of any size and anywhere."""
    rng = np.random.default_rng(seed)
    kind = rng.integers(4)
    if kind == 0:
        solid = ball(1.0, int(rng.integers(0, 4)))
        solid = mesh(solid.points * rng.uniform(0.3, 1.5, (len(solid.points), 1)), solid.triangles)
    elif kind == 1:
        count = int(rng.integers(1, 300))
        places = rng.normal(size=(count, 1, 3)) + rng.normal(size=(count, 3, 3)) * 10.0 ** rng.uniform(-6, 0)
        solid = mesh(places.reshape(-1, 3), np.arange(3 * count).reshape(-1, 3))
    elif kind == 2:
        # Corners on a coarse grid: coplanar faces, equal distances, triangles without area, doubled ones.
        solid = mesh(rng.integers(0, 3, (40, 3)), rng.integers(0, 40, (200, 3)))
    else:
        solid = merged([torus(steps=10, sides=6), moved(ball(), rng.normal(size=3) * 5.0)])
    size = 10.0 ** rng.uniform(-4, 4)
    place = rng.normal(size=3) * 10.0 ** rng.uniform(-2, 4)
    return mesh(solid.points * size + place, solid.triangles), rng


def places_about(solid, rng, count=60):
    """Places near and far: on corners and faces, close over them, and up to a hundred times the size away."""
    span = np.ptp(solid.points, axis=0).max() or 1.0
    corners = solid.corners()[rng.integers(0, len(solid.triangles), count)]
    on = (rng.dirichlet((1.0, 1.0, 1.0), count)[:, :, None] * corners).sum(axis=1)
    off = rng.normal(size=(count, 3)) * span * 10.0 ** rng.uniform(-9, 2, (count, 1))
    return np.concatenate((on, corners[:, 0], on + off))


@settings(max_examples=40, deadline=None)
@given(seeds)
def test_distances_are_those_of_the_twin(seed):
    solid, rng = shape(seed)
    points = places_about(solid, rng)
    found = nearest(solid, points)
    expected, every = twin(solid, points)
    assert np.array_equal(found.distance_mm, expected)
    assert np.array_equal(every[np.arange(len(points)), found.triangle], expected)


@settings(max_examples=40, deadline=None)
@given(seeds)
def test_the_foot_lies_on_its_triangle_at_its_distance(seed):
    solid, rng = shape(seed)
    points = places_about(solid, rng, 20)
    found = nearest(solid, points)
    size = np.abs(solid.points).max() + np.abs(points).max()
    assert np.linalg.norm(points - found.foot, axis=1) == pytest.approx(found.distance_mm, abs=1e-14 * size)
    corners = np.moveaxis(solid.corners()[found.triangle], 0, -1)
    assert np.sqrt(feet(corners, found.foot.T)[0]).max() <= 1e-14 * size


@settings(max_examples=40, deadline=None)
@given(seeds)
def test_beyond_the_range_nothing_is_told_and_within_it_the_same(seed):
    solid, rng = shape(seed)
    points = places_about(solid, rng, 30)
    whole = nearest(solid, points)
    one = float(np.median(whole.distance_mm)) * (1.0 + 1e-9)
    each = whole.distance_mm * rng.choice((0.0, 0.5, 1.0 - 1e-9, 1.0 + 1e-9, 3.0), len(points))
    for within in (one, each):
        found = nearest(solid, points, within)
        inside = whole.distance_mm < within
        assert np.array_equal(found.distance_mm, np.where(inside, whole.distance_mm, np.inf))
        assert ((found.triangle >= 0) == inside).all()
        assert (np.isnan(found.foot).all(axis=1) == ~inside).all()


@settings(max_examples=40, deadline=None)
@given(seeds, st.floats(0.0, 6.0))
def test_distances_do_not_depend_on_how_the_scene_is_turned_or_moved(seed, angle):
    solid, rng = shape(seed)
    points = places_about(solid, rng, 20)
    turn, shift = turn_about(tuple(rng.normal(size=3)), angle), rng.normal(size=3)
    found = nearest(solid, points).distance_mm
    carried = nearest(mesh(solid.points @ turn.T + shift, solid.triangles), points @ turn.T + shift).distance_mm
    size = np.abs(solid.points).max() + np.abs(points).max() + 1.0
    assert carried == pytest.approx(found, abs=1e-14 * size, rel=1e-9)


@settings(max_examples=30, deadline=None)
@given(seeds)
def test_distances_do_not_depend_on_the_order_of_triangles_and_corners(seed):
    solid, rng = shape(seed)
    points = places_about(solid, rng, 20)
    order = rng.permutation(len(solid.triangles))
    found = nearest(solid, points)
    other = nearest(mesh(solid.points, np.roll(solid.triangles[order], 1, axis=1)), points)
    size = np.abs(solid.points).max() + np.abs(points).max()
    assert other.distance_mm == pytest.approx(found.distance_mm, abs=1e-14 * size)


def test_splitting_every_triangle_leaves_the_distances():
    solid = oval_link(24, 8)
    points = np.random.default_rng(1).normal(size=(400, 3)) * 4.0
    assert nearest(split(split(solid)), points).distance_mm == pytest.approx(
        nearest(solid, points).distance_mm, abs=1e-13
    )


@pytest.mark.parametrize("count", [1, 2, 3, 7, 8, 9, 255, 256, 257, 2 * COARSEST * 8 + 1])
def test_any_number_of_triangles_makes_whole_blocks(count):
    rng = np.random.default_rng(count)
    solid = mesh(rng.normal(size=(3 * count, 3)), np.arange(3 * count).reshape(-1, 3))
    points = rng.normal(size=(100, 3)) * 2.0
    found = nearest(solid, points)
    assert np.array_equal(found.distance_mm, twin(solid, points)[0])
    assert found.triangle.max() < count


def test_no_points_have_no_places():
    found = nearest(box(), np.zeros((0, 3)))
    assert found.distance_mm.shape == found.triangle.shape == (0,)
    assert found.foot.shape == (0, 3)


def test_a_place_at_equal_distance_from_everything_is_measured():
    """The middle of a ball: no bound can rule anything out, and more pairs arise than are opened together."""
    solid = ball(2.0, 5)
    points = np.zeros((40, 3))
    assert 40 * len(solid.triangles) > 4 * MOST
    assert np.array_equal(nearest(solid, points).distance_mm, twin(solid, points[:1])[0].repeat(40))


def test_points_absurdly_far_away_are_measured_too():
    solid = moved(box(1e-3), (1.0, 2.0, 3.0))
    points = np.array([[1e10, 0.0, 0.0], [0.0, -1e30, 0.0], [1.0005, 2.0005, 4.0]])
    assert nearest(solid, points).distance_mm == pytest.approx([1e10, 1e30, 0.999], rel=1e-9)


def test_a_mesh_of_one_point_is_measured():
    solid = mesh([(1.0, 2.0, 2.0)], [(0, 0, 0)])
    assert nearest(solid, [(0.0, 0.0, 0.0), (1.0, 2.0, 2.0)]).distance_mm == pytest.approx([3.0, 0.0])


def test_loose_points_are_no_part_of_the_surface():
    solid = box(1.0)
    loose = mesh(np.concatenate((solid.points, [(5.0, 5.0, 5.0)])), solid.triangles)
    assert nearest(loose, [(5.0, 5.0, 5.0)]).distance_mm[0] == pytest.approx(math.sqrt(48.0))


def test_progress_runs_from_none_to_all_in_many_steps():
    solid = oval_link()
    points = np.repeat(solid.points, 5, axis=0) + 0.3
    making = list(surface_of(solid))
    assert making == sorted(making)
    assert 0.0 <= making[0] <= making[-1] <= 1.0
    shares = list(nearest_on(finish(surface_of(solid)), points))
    assert len(shares) > len(points) / TOGETHER
    assert 0.0 <= min(shares) <= max(shares) <= 1.0


@pytest.mark.parametrize(
    ("points", "within", "said"),
    [
        (np.zeros((2, 2)), FAR, "points"),
        (np.zeros(3), FAR, "points"),
        (np.array([[0.0, np.nan, 0.0]]), FAR, "points"),
        (np.array([[0.0, np.inf, 0.0]]), FAR, "points"),
        (np.zeros((2, 3)), math.nan, "range"),
        (np.zeros((2, 3)), np.ones(3), "range"),
        (np.zeros((2, 3)), np.array([1.0, np.nan]), "range"),
    ],
)
def test_points_and_ranges_that_are_none_are_refused(points, within, said):
    with pytest.raises(BadInput, match=said):
        finish(nearest_on(finish(surface_of(box())), points, within))
