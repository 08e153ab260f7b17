"""Gaps between bodies: against a twin that measures every pair of triangles, and by what must hold of any gap."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from addon.rules.base.errors import BadInput
from addon.rules.base.progress import finish
from addon.rules.solid.distance import gaps, pair_gap, prepare
from addon.rules.solid.mesh import IDENTITY, Body, Mesh, Pose, merged, mesh
from addon.rules.solid.triangle_pairs import closest_points
from tests.gap_shapes import ball, distinct_ring, oval_link, shared_ring, split, turn_about
from tests.mesh_shapes import box, flipped, moved, torus

FAR = math.inf


def twin(a, b):
    """The smallest distance of all pairs of triangles, one by one."""
    first, second = a.corners(), b.corners()
    i, j = np.divmod(np.arange(len(first) * len(second)), len(second))
    return float(closest_points(first[i], second[j])[0].min())


def gap_of(a, b, pose_a=IDENTITY, pose_b=IDENTITY, range_mm=FAR):
    return pair_gap(prepare(a), pose_a, prepare(b), pose_b, range_mm=range_mm)


def table(bodies, range_mm=1.5, pairs=None):
    return finish(gaps(bodies, range_mm=range_mm, pairs=pairs))


def bumpy(seed, level=1):
    """A ball with every point pushed in or out: dents, slivers, no symmetry."""
    rng = np.random.default_rng(seed)
    solid = ball(1.0, level)
    return mesh(solid.points * rng.uniform(0.5, 1.5, (len(solid.points), 1)), solid.triangles)


# --- the figure itself


@pytest.mark.parametrize("seed", range(12))
def test_random_solids_agree_with_the_twin(seed):
    rng = np.random.default_rng(seed)
    a, b = bumpy(seed), moved(bumpy(seed + 100, level=2), rng.normal(size=3) * 2.5)
    found = gap_of(a, b)
    expected = twin(a, b)
    assert found.gap_mm == pytest.approx(0.0 if expected < 1e-11 else expected, abs=1e-12)
    assert np.linalg.norm(found.point_a - found.point_b) == pytest.approx(found.gap_mm, abs=1e-10)


@pytest.mark.parametrize("angle", [0.0, 0.3, 1.2, math.pi / 2])
def test_nested_links_agree_with_the_twin(angle):
    link = torus(5.0, 1.0, 16, 8)
    pose = Pose(turn_about((1.0, 0.1, 0.2), angle), np.array([5.5, 0.3, 0.2]))
    expected = twin(link, Body("b", link, pose).placed())
    assert gap_of(link, link, IDENTITY, pose).gap_mm == pytest.approx(expected if expected > 1e-11 else 0.0, abs=1e-12)


def test_the_reference_ring_distinct_and_shared():
    """Known beforehand from an independent library: 0.327866901 mm at each of the 100 joints."""
    link = oval_link()
    for ring in (distinct_ring(link, 100, 7.4), shared_ring(link, 100, 7.4)):
        found = table(ring)
        expected = sorted([(k, k + 1) for k in range(99)] + [(0, 99)])
        assert list(zip(found.a.tolist(), found.b.tolist(), strict=True)) == expected
        np.testing.assert_allclose(found.gap_mm, 0.327866901, atol=5e-10)
        np.testing.assert_allclose(np.linalg.norm(found.point_a - found.point_b, axis=1), found.gap_mm, atol=1e-11)


def test_two_circles_at_right_angles_approach_the_closed_form():
    """Tori R, r in planes at right angles, centres s apart on the line common to both planes: 2 R - s - 2 r."""
    ring, wire, apart = 5.0, 1.0, 7.5
    errors = []
    for n in (1, 2, 4):
        link = torus(ring, wire, 24 * n, 10 * n)
        pose = Pose(turn_about((1, 0, 0), math.pi / 2), np.array([apart, 0.0, 0.0]))
        errors.append(gap_of(link, link, IDENTITY, pose).gap_mm - (2 * ring - apart - 2 * wire))
    assert abs(errors[2]) < 2e-3
    assert abs(errors[0]) >= abs(errors[1]) >= abs(errors[2])


@pytest.mark.parametrize(
    ("corner", "expected"), [((1.25, 0.3, 0.2), 0.25), ((4.0, 5.0, 0.5), 5.0), ((3.0, 4.0, 7.0), 7.0)]
)
def test_boxes_face_to_face_edge_to_edge_and_corner_to_corner(corner, expected):
    assert gap_of(box(1.0), box(1.0, corner)).gap_mm == pytest.approx(expected, abs=1e-12)


# --- touching, crossing, buried, in a cavity


@pytest.mark.parametrize("shift", [(1.0, 0.2, 0.3), (1.0, 1.0, 0.0), (1.0, 1.0, 1.0), (0.0, 0.0, 0.0), (0.5, 0.5, 0.5)])
def test_touching_and_crossing_boxes_read_zero_where_they_do(shift):
    found = gap_of(box(1.0), box(1.0, shift))
    assert found.gap_mm == 0.0
    np.testing.assert_allclose(found.point_a, found.point_b, atol=1e-9)
    assert (found.point_a >= np.array(shift) - 1e-9).all()
    assert (found.point_a <= 1.0 + 1e-9).all()


def test_balls_that_touch_at_one_point_in_any_direction():
    for seed in range(8):
        rng = np.random.default_rng(seed)
        turn = turn_about(tuple(rng.normal(size=3)), float(rng.uniform(0, 3)))
        origin = rng.normal(size=3) * 100
        one = Pose(turn, origin)
        other = Pose(turn, origin + turn @ np.array([3.0, 0.0, 0.0]))
        found = gap_of(ball(2.0), ball(1.0), one, other)
        assert found.gap_mm == 0.0
        np.testing.assert_allclose(found.point_a, origin + turn @ np.array([2.0, 0.0, 0.0]), atol=1e-9)


@pytest.mark.parametrize("turned", [False, True])
def test_a_body_buried_in_metal_reads_zero_however_deep(turned):
    outer, inner = box(10.0, (-5, -5, -5)), ball(0.5)
    outer = flipped(outer) if turned else outer
    for range_mm in (0.0, 0.1, 1.5, FAR):
        for a, b in ((outer, inner), (inner, outer)):
            found = gap_of(a, b, range_mm=range_mm)
            assert found.gap_mm == 0.0
            np.testing.assert_array_equal(found.point_a, found.point_b)
            assert np.linalg.norm(found.point_a) == pytest.approx(0.5)
        result = table([Body("outer", outer), Body("inner", inner)], range_mm=range_mm)
        assert result.gap_mm.tolist() == [0.0]


def test_a_body_in_a_cavity_has_its_real_gap():
    hollow = merged((box(10.0, (-5, -5, -5)), flipped(box(4.0, (-2, -2, -2)))))
    found = gap_of(hollow, box(1.0, (0.7, 0, 0)))
    assert found.gap_mm == pytest.approx(0.3, abs=1e-12)
    assert found.point_a[0] == pytest.approx(2.0)
    assert gap_of(hollow, box(1.0, (3.0, 0, 0))).gap_mm == 0.0
    assert gap_of(box(1.0, (0.7, 0, 0)), hollow, range_mm=0.2).gap_mm == FAR


def test_a_body_inside_an_open_mesh_is_measured_by_surfaces_only():
    outer = box(10.0, (-5, -5, -5))
    opened = mesh(outer.points, outer.triangles[1:])
    assert gap_of(opened, box(1.0)).gap_mm == pytest.approx(4.0)
    assert gap_of(opened, box(1.0), range_mm=1.5).gap_mm == FAR


def test_a_link_through_a_link_is_not_buried():
    link = torus(5.0, 1.0)
    pose = Pose(turn_about((1, 0, 0), math.pi / 2), np.array([5.0, 0.0, 0.0]))
    assert gap_of(link, link, IDENTITY, pose).gap_mm > 1.0


# --- what must hold of any gap

SEEDS = st.integers(0, 10_000)


def two_solids(seed):
    rng = np.random.default_rng(seed)
    return bumpy(seed), moved(bumpy(seed + 1), rng.normal(size=3) * 2.0), rng


@given(SEEDS)
@settings(max_examples=12)
def test_the_gap_is_symmetric(seed):
    a, b, _ = two_solids(seed)
    there, back = gap_of(a, b), gap_of(b, a)
    assert back.gap_mm == pytest.approx(there.gap_mm, rel=1e-9, abs=1e-12)


@given(SEEDS)
@settings(max_examples=12)
def test_a_rigid_motion_of_both_leaves_the_gap(seed):
    a, b, rng = two_solids(seed)
    motion = Pose(turn_about(tuple(rng.normal(size=3)), float(rng.uniform(0, 3))), rng.normal(size=3) * 300)
    still = gap_of(a, b).gap_mm
    assert gap_of(a, b, motion, motion).gap_mm == pytest.approx(still, rel=1e-9, abs=1e-11)
    far_a, far_b = (mesh(motion.apply(m.points), m.triangles) for m in (a, b))
    assert gap_of(far_a, far_b).gap_mm == pytest.approx(still, rel=1e-9, abs=1e-9)


@given(SEEDS)
@settings(max_examples=12)
def test_the_order_of_triangles_and_corners_is_of_no_account(seed):
    a, b, rng = two_solids(seed)
    shuffled = mesh(a.points, np.roll(a.triangles[rng.permutation(len(a.triangles))], 1, axis=1))
    assert gap_of(shuffled, b).gap_mm == pytest.approx(gap_of(a, b).gap_mm, rel=1e-12, abs=1e-13)


@given(SEEDS)
@settings(max_examples=8)
def test_a_finer_mesh_of_the_same_surface_has_the_same_gap(seed):
    a, b, _ = two_solids(seed)
    assert gap_of(split(a), split(split(b))).gap_mm == pytest.approx(gap_of(a, b).gap_mm, rel=1e-9, abs=1e-12)


@given(SEEDS, st.floats(0.01, 3.0))
@settings(max_examples=12)
def test_the_range_only_hides(seed, range_mm):
    a, b, _ = two_solids(seed)
    whole, cut = gap_of(a, b).gap_mm, gap_of(a, b, range_mm=range_mm).gap_mm
    assert cut == (FAR if whole >= range_mm else pytest.approx(whole, abs=1e-13))


# --- tables of many bodies


def scattered(count, seed, meshes):
    rng = np.random.default_rng(seed)
    poses = [
        Pose(turn_about(tuple(rng.normal(size=3)), float(rng.uniform(0, 6))), rng.normal(size=3) * 3)
        for _ in range(count)
    ]
    return [Body(f"body {i + 1}", meshes[i % len(meshes)], pose) for i, pose in enumerate(poses)]


def by_pair(found):
    return {(int(a), int(b)): g for a, b, g in zip(found.a, found.b, found.gap_mm, strict=True)}


def test_a_table_holds_every_near_pair_and_no_other():
    bodies = scattered(14, 3, [bumpy(1), bumpy(2), ball(0.3, 1)])
    found = by_pair(table(bodies, range_mm=1.0))
    for i, j in itertools.combinations(range(len(bodies)), 2):
        expected = gap_of(bodies[i].placed(), bodies[j].placed()).gap_mm
        assert ((i, j) in found) == (expected < 1.0)
        if expected < 1.0:
            assert found[i, j] == pytest.approx(expected, abs=1e-10)
    assert list(found) == sorted(found)


def test_small_and_large_meshes_in_one_table():
    large, small = ball(3.0, 4), bumpy(3)
    places = [(4.7, 0.3, 0.1), (0.2, 4.9, 0.1), (-0.1, 0.4, 6.0), (0.1, 0.4, 0.2)]
    bodies = [Body("large", large)]
    bodies += [Body(f"small {i + 1}", small, IDENTITY.then_move(np.array(place))) for i, place in enumerate(places)]
    bodies += [Body("box", box(0.5, (3.1, -0.2, -0.3)))]
    found = by_pair(table(bodies, range_mm=3.0))
    for i, body in enumerate(bodies[1:], start=1):
        buried = body.name == "small 4"
        assert found[0, i] == (0.0 if buried else pytest.approx(twin(large, body.placed()), abs=1e-12))


def test_the_order_of_bodies_is_of_no_account():
    bodies = scattered(12, 5, [bumpy(1), bumpy(2)])
    order = np.random.default_rng(0).permutation(len(bodies))
    found, shuffled = by_pair(table(bodies)), by_pair(table([bodies[i] for i in order]))
    back = {tuple(sorted((int(order[a]), int(order[b])))): g for (a, b), g in shuffled.items()}
    assert back.keys() == found.keys()
    for pair, gap in found.items():
        assert back[pair] == pytest.approx(gap, abs=1e-10)


def test_only_the_pairs_asked_for():
    bodies = scattered(8, 3, [bumpy(1)])
    every = by_pair(table(bodies))
    wanted = list(every)[1:4]
    asked = np.array([(b, a) for a, b in wanted] + [wanted[0]])
    assert by_pair(table(bodies, pairs=asked)) == {
        pair: pytest.approx(every[pair], abs=1e-12) for pair in sorted(wanted)
    }


def test_a_shared_pose_is_not_mistaken_for_another():
    """Links moved by a hair are different questions; equal ones are one, also seen from the other side."""
    link = torus(5.0, 1.0, 24, 10)
    turned = turn_about((1, 0, 0), math.pi / 2)
    bodies = [Body("a", link), Body("b", link, Pose(turned, np.array([7.5, 0, 0])))]
    bodies += [Body("c", link, Pose(np.eye(3), np.array([15.0 + 1e-7, 0, 0])))]
    found = by_pair(table(bodies))
    for (i, j), gap in found.items():
        assert gap == pytest.approx(gap_of(bodies[i].placed(), bodies[j].placed()).gap_mm, abs=1e-10)
    assert found[0, 1] - found[1, 2] == pytest.approx(1e-7, rel=0.05)


def test_no_body_or_one_gives_an_empty_table():
    for bodies in (
        [],
        [Body("alone", ball())],
        [Body("a", ball()), Body("b", ball(), IDENTITY.then_move(np.array([9.0, 0, 0])))],
    ):
        found = table(bodies)
        assert len(found.a) == len(found.b) == len(found.gap_mm) == 0
        assert found.point_a.shape == found.point_b.shape == (0, 3)


def test_what_is_not_a_range_or_not_a_body_is_refused():
    bodies = [Body("a", ball()), Body("b", ball())]
    for range_mm in (math.nan, -1.0):
        with pytest.raises(BadInput, match="range"):
            table(bodies, range_mm=range_mm)
    for pairs in ([(0, 2)], [(-1, 0)], [(1, 1)]):
        with pytest.raises(BadInput, match="two different bodies"):
            table(bodies, pairs=np.array(pairs))


def test_triangles_without_area_count_as_segments_and_points():
    wire = mesh([(0, 0, 0), (2, 0, 0), (1, 0, 0)], [(0, 1, 2)])
    point = mesh([(1, 3, 4)], [(0, 0, 0)])
    assert gap_of(wire, point).gap_mm == pytest.approx(5.0, abs=1e-12)
    assert gap_of(wire, wire).gap_mm == 0.0


def test_loose_points_are_no_part_of_a_body():
    """Points that no triangle names lie about in many files; here some between the bodies and some far outside."""
    cube = box(1.0)
    strewn = mesh(np.concatenate(([(1.9, 0.5, 0.5), (50.0, 0, 0)], cube.points)), cube.triangles + 2)
    assert gap_of(strewn, box(1.0, (2.0, 0, 0))).gap_mm == pytest.approx(1.0, abs=1e-12)
    assert gap_of(strewn, box(9.0, (-4, -4, -4))).gap_mm == 0.0
    found = table([Body("strewn", strewn), Body("b", box(1.0, (2.0, 0, 0)))])
    assert found.gap_mm.tolist() == [pytest.approx(1.0, abs=1e-12)]


def test_progress_comes_often_and_grows():
    bodies = distinct_ring(oval_link(48, 12), 12, 7.4)
    shares: list[float] = []
    finish(gaps(bodies, range_mm=1.5), shares.append)
    assert all(0.0 <= share <= 1.0 for share in shares)
    assert shares == sorted(shares)
    assert max(np.diff([0.0, *shares, 1.0])) < 0.3


def test_a_ball_in_a_ball_of_the_same_facets():
    """Every facet is almost as near as the nearest, the worst there is for bounds; known from the facets' planes."""
    outer = merged((ball(3.0, 4), flipped(ball(2.0, 4))))
    corners = ball(1.0, 4).corners()
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    plane = (corners[:, 0] * normals).sum(axis=1) / np.linalg.norm(normals, axis=1)
    assert gap_of(outer, ball(1.9, 4)).gap_mm == pytest.approx(0.1 * plane.min(), abs=1e-12)


def test_same_input_same_output():
    bodies = scattered(10, 9, [bumpy(4)])
    one, two = table(bodies), table(bodies)
    np.testing.assert_array_equal(one.gap_mm, two.gap_mm)
    np.testing.assert_array_equal(one.point_a, two.point_a)


def test_meshes_are_left_alone():
    link = Mesh(torus(5.0, 1.0, 12, 6).points.copy(), torus(5.0, 1.0, 12, 6).triangles.copy())
    before = link.points.copy(), link.triangles.copy()
    table([Body("a", link), Body("b", link, IDENTITY.then_move(np.array([5.0, 0, 0])))])
    np.testing.assert_array_equal(link.points, before[0])
    np.testing.assert_array_equal(link.triangles, before[1])
