"""The local gap of every point: against a twin, the pairs' own gaps, and what must hold of any field."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from addon.rules.base.errors import BadInput
from addon.rules.base.progress import finish
from addon.rules.inspect.gap_field import gap_field
from addon.rules.solid.distance import gaps
from addon.rules.solid.mesh import Body, Pose, merged, mesh
from addon.rules.solid.surface import nearest_on, surface_of
from tests.gap_shapes import ball, distinct_ring, oval_link, shared_ring, split, turn_about
from tests.mesh_shapes import box, flipped, moved, torus

EXACT = 1e-12
RANGE_MM = 1.5


def field(bodies, range_mm=RANGE_MM, table=None):
    return finish(gap_field(bodies, range_mm=range_mm, table=table))


def table_of(bodies, range_mm=RANGE_MM):
    return finish(gaps(bodies, range_mm=range_mm))


def named(*solids):
    return [Body(f"body {i + 1}", solid) for i, solid in enumerate(solids)]


def twin(bodies, range_mm):
    """Every point of every body against every other body where it stands, without sharing or a table of pairs."""
    gap, nearest = [], []
    surfaces = [finish(surface_of(body.placed())) for body in bodies]
    for i, body in enumerate(bodies):
        found = [
            finish(nearest_on(s, body.points())).distance_mm if j != i else np.full(len(body.mesh.points), np.inf)
            for j, s in enumerate(surfaces)
        ]
        least = np.min(found, axis=0)
        gap.append(np.where(least < range_mm, least, np.inf))
        nearest.append(np.where(least < range_mm, np.argmin(found, axis=0), -1))
    return gap, nearest


def same(found, expected, abs=1e-11):
    for mine, theirs in zip(found, expected, strict=True):
        assert mine == pytest.approx(theirs, abs=abs)


def test_a_ball_in_a_round_cavity_sees_the_wall_and_not_the_metal():
    wall = ball(2.0, 3)
    shell = merged([ball(3.0, 3), flipped(wall)])
    inner = mesh(wall.points * 0.7, wall.triangles)
    found = field(named(inner, shell))
    in_radius = np.linalg.norm(wall.corners().mean(axis=1), axis=1).min()
    assert (found.gap_mm[0] <= 0.6 + EXACT).all()
    assert (found.gap_mm[0] >= in_radius - 1.4 - EXACT).all()
    assert np.isinf(found.gap_mm[1][: len(ball(3.0, 3).points)]).all()


@pytest.mark.parametrize("ring", [shared_ring, distinct_ring])
def test_a_ring_of_links_has_the_field_of_the_twin(ring):
    bodies = ring(oval_link(24, 8), 20, 7.4)
    found = field(bodies)
    gap, nearest = twin(bodies, RANGE_MM)
    same(found.gap_mm, gap)
    for mine, theirs in zip(found.nearest, nearest, strict=True):
        assert np.array_equal(mine >= 0, theirs >= 0)
    assert set(np.unique(found.nearest[1]).tolist()) == {-1, 0, 2}


def test_links_that_ask_the_same_share_one_array_of_gaps_and_name_their_own_neighbours():
    bodies = shared_ring(oval_link(24, 8), 12, 7.4)
    found = field(bodies)
    assert len({id(gap) for gap in found.gap_mm}) == 2
    for i, nearest in enumerate(found.nearest):
        assert set(np.unique(nearest).tolist()) == {-1, (i - 1) % 12, (i + 1) % 12}
    with pytest.raises(ValueError, match="read-only"):
        found.gap_mm[0][0] = 0.0


def test_a_table_of_a_wider_range_gives_the_same_field():
    bodies = distinct_ring(oval_link(24, 8), 20, 7.4)
    same(field(bodies, 0.8, table_of(bodies, 4.0)).gap_mm, field(bodies, 0.8).gap_mm, abs=0.0)


@settings(max_examples=12, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_heaps_of_bodies_have_the_field_of_the_twin(seed):
    rng = np.random.default_rng(seed)
    shapes = (ball(1.0, 1), torus(1.5, 0.4, 12, 6), box(1.5))
    bodies = [
        Body(f"body {i + 1}", shapes[rng.integers(3)], Pose(turn_about(tuple(rng.normal(size=3)), 2.0), place))
        for i, place in enumerate(rng.uniform(0.0, 5.0, (7, 3)))
    ]
    table = table_of(bodies)
    apart = table.gap_mm > 0.0
    fused = set(table.a[~apart].tolist()) | set(table.b[~apart].tolist())
    found = field(bodies, RANGE_MM, table)
    gap, _ = twin(bodies, RANGE_MM)
    for i in range(len(bodies)):
        if i not in fused:
            assert found.gap_mm[i] == pytest.approx(gap[i], abs=1e-11)
        else:
            assert (found.gap_mm[i] <= gap[i] + 1e-11).all()
    # The points of two bodies come no nearer than the bodies do.
    for a, b, least in zip(table.a, table.b, table.gap_mm, strict=True):
        for one, other in ((a, b), (b, a)):
            of_pair = found.gap_mm[one][found.nearest[one] == other]
            assert (of_pair >= least - 1e-11).all()


@settings(max_examples=8, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_the_field_does_not_depend_on_the_order_of_bodies_or_how_the_scene_is_moved(seed):
    rng = np.random.default_rng(seed)
    bodies = shared_ring(oval_link(16, 6), 6, 7.4)
    bodies[2] = Body("pushed", bodies[2].mesh, bodies[2].pose.then_move(rng.normal(size=3) * 0.1))
    before = field(bodies)
    turn, shift = turn_about(tuple(rng.normal(size=3)), rng.uniform(0.0, 6.0)), rng.normal(size=3) * 50.0
    order = rng.permutation(6)
    after = field(
        [
            replace(bodies[i], pose=Pose(turn @ bodies[i].pose.rotation, turn @ bodies[i].pose.origin + shift))
            for i in order
        ]
    )
    for place, i in enumerate(order):
        assert after.gap_mm[place] == pytest.approx(before.gap_mm[i], rel=1e-9)


def test_points_in_the_metal_of_another_body_read_nothing():
    bodies = named(split(split(box(2.0))), moved(box(2.0), (1.0, 1.0, 1.0)))
    found = field(bodies)
    points = bodies[0].points()
    held = (points >= 1.0).all(axis=1)
    assert (found.gap_mm[0][held] == 0.0).all()
    outside = np.linalg.norm(np.maximum(1.0 - points, 0.0), axis=1)
    expected = np.where(outside < RANGE_MM, outside, np.inf)
    assert found.gap_mm[0][~held] == pytest.approx(expected[~held], abs=EXACT)
    assert (found.nearest[0][held] == 1).all()


@pytest.mark.parametrize("outer", [box(20.0), flipped(box(20.0))])
def test_a_body_buried_deeper_than_the_range_reads_nothing_everywhere(outer):
    found = field(named(moved(ball(1.0, 1), (10.0, 10.0, 10.0)), outer))
    assert (found.gap_mm[0] == 0.0).all()
    assert np.isinf(found.gap_mm[1]).all()


def test_an_open_surface_has_no_metal_to_lie_in():
    half = box(4.0)
    opened = mesh(half.points, half.triangles[:-2])
    found = field(named(split(moved(box(2.0), (-1.0, 1.0, 1.0))), opened), 0.4)
    assert np.isinf(found.gap_mm[0]).any()
    assert found.gap_mm[0].min() == pytest.approx(0.0, abs=EXACT)


def test_two_bodies_in_one_place_read_nothing_everywhere():
    link = oval_link(16, 6)
    found = field([Body("one", link), Body("other", link), Body("third", link)])
    for gap in found.gap_mm:
        assert (gap == 0.0).all()


def test_a_mirrored_and_a_stretched_pose_are_measured_where_they_stand():
    link = oval_link(16, 6)
    mirror = Pose(np.diag((1.0, 1.0, -1.0)), np.array([0.0, 0.0, 2.5]))
    stretch = Pose(np.diag((1.0, 1.3, 0.8)), np.array([0.0, 0.0, -2.2]))
    bodies = [Body("link", link), Body("mirrored", link, mirror), Body("stretched", link, stretch)]
    gap, _ = twin(bodies, RANGE_MM)
    same(field(bodies).gap_mm, gap)


def test_far_from_the_origin_the_field_is_the_same():
    link = oval_link(16, 6)
    near = shared_ring(link, 6, 7.4)
    far = [body.moved(np.array([3e5, -2e5, 1e5])) for body in near]
    same(field(far).gap_mm, field(near).gap_mm, abs=1e-9)


def test_one_body_and_none_have_no_gap():
    found = field(named(box()))
    assert np.isinf(found.gap_mm[0]).all()
    assert (found.nearest[0] == -1).all()
    assert field([]).gap_mm == ()


def test_points_of_no_triangle_have_a_gap_as_well():
    loose = mesh(np.concatenate((box(1.0).points, [(0.5, 0.5, 1.2)])), box(1.0).triangles)
    found = field(named(loose, moved(box(1.0), (0.0, 0.0, 1.5))))
    assert found.gap_mm[0][-1] == pytest.approx(0.3, abs=EXACT)
    assert len(found.gap_mm[0]) == 9


def test_progress_runs_from_none_to_all():
    shares = list(gap_field(distinct_ring(oval_link(24, 8), 6, 7.4), range_mm=RANGE_MM))
    assert shares == sorted(shares)
    assert 0.0 <= shares[0] <= shares[-1] <= 1.0


@pytest.mark.parametrize("range_mm", [-0.1, math.nan])
def test_a_range_that_is_none_is_refused(range_mm):
    with pytest.raises(BadInput, match="range"):
        field(named(box(), moved(box(), (2.0, 0.0, 0.0))), range_mm)
