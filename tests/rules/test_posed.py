"""Gaps of one pair of meshes in many poses: against the gap of one pair, a twin, and by what must hold of any gap."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from addon.rules.solid.distance import pair_gap, prepare
from addon.rules.solid.mesh import IDENTITY, Mesh, Pose, mesh
from addon.rules.solid.posed import posable, posed_bounds, posed_gaps
from addon.rules.solid.triangle_pairs import closest_points
from tests.gap_shapes import ball, oval_link, split, turn_about
from tests.mesh_shapes import box, torus


def bumpy(seed, level=1):
    """A ball with every point pushed in or out: dents, slivers, no symmetry."""
    rng = np.random.default_rng(seed)
    solid = ball(1.0, level)
    return mesh(solid.points * rng.uniform(0.5, 1.5, (len(solid.points), 1)), solid.triangles)


def poses(seed, count, spread):
    rng = np.random.default_rng(seed)
    turns = [turn_about(tuple(rng.normal(size=3)), float(rng.uniform(0, 6))) for _ in range(count)]
    return np.array(turns), rng.normal(size=(count, 3)) * spread


def one_by_one(a, b, rotation, shift):
    ready_a, ready_b = prepare(a), prepare(b)
    return [pair_gap(ready_a, IDENTITY, ready_b, Pose(r, s)) for r, s in zip(rotation, shift, strict=True)]


def surface_gap(a, b, rotation, shift):
    """The smallest distance of all pairs of triangles, one by one."""
    first, second = a.corners(), Pose(rotation, shift).apply(b.corners())
    i, j = np.divmod(np.arange(len(first) * len(second)), len(second))
    return float(closest_points(first[i], second[j])[0].min())


@pytest.mark.parametrize("seed", range(6))
def test_random_solids_agree_with_the_twin_of_all_triangles(seed):
    a, b = bumpy(seed), bumpy(seed + 50, level=seed % 3)
    rotation, shift = poses(seed, 8, 2.0)
    gap, _ = posed_gaps(posable(a), posable(b), rotation, shift)
    expected = [surface_gap(a, b, r, s) for r, s in zip(rotation, shift, strict=True)]
    np.testing.assert_allclose(gap, np.where(np.array(expected) < 1e-11, 0.0, expected), atol=1e-12)


@settings(max_examples=25)
@given(
    seed=st.integers(0, 10_000),
    level=st.integers(0, 3),
    size=st.sampled_from([0.2, 1.0, 3.0]),
    spread=st.sampled_from([0.3, 1.5, 4.0, 300.0]),
)
def test_any_two_solids_agree_with_the_gap_of_one_pair(seed, level, size, spread):
    a, b = bumpy(seed, 2), bumpy(seed + 1, level)
    b = mesh(b.points * size, b.triangles)
    rotation, shift = poses(seed, 5, spread)
    gap, towards = posed_gaps(posable(a), posable(b), rotation, shift)
    for mine, way, found in zip(gap, towards, one_by_one(a, b, rotation, shift), strict=True):
        if found.gap_mm == 0.0 and mine > 0.0:
            continue  # Buried whole, which surfaces alone do not tell.
        assert mine == pytest.approx(found.gap_mm, abs=1e-12 * (10 + spread))
        np.testing.assert_allclose(np.linalg.norm(way), 1.0 if mine > 0 else 0.0, atol=1e-9)


def test_linked_ovals_near_touching_and_crossing_in_every_sixth_pose():
    """Enough poses for several rounds, enough triangles for three sizes of blocks."""
    link = oval_link(64, 20)
    ready = posable(link)
    rng = np.random.default_rng(3)
    shift = np.column_stack((rng.uniform(5.0, 9.5, 90), rng.uniform(-1.0, 1.0, (90, 2))))
    rotation = np.array([turn_about((1.0, 0.1, 0.2), angle) for angle in rng.uniform(1.2, 1.9, 90)])
    gap, _ = posed_gaps(ready, ready, rotation, shift)
    some = slice(0, 90, 6)
    expected = [found.gap_mm for found in one_by_one(link, link, rotation[some], shift[some])]
    np.testing.assert_allclose(gap[some], expected, atol=1e-12)
    assert (gap == 0.0).any()
    assert (gap > 0.1).any()


@pytest.mark.parametrize("share", [0.5, 0.9, 1.0])
def test_bounds_keep_their_promise(share):
    a, b = posable(bumpy(3)), posable(bumpy(4))
    rotation, shift = poses(21, 80, 2.0)
    gap = posed_gaps(a, b, rotation, shift)[0]
    bound = posed_bounds(a, b, rotation, shift, share)
    assert (gap == 0).any()
    assert (gap > 0).any()
    assert (bound <= gap * (1 + 1e-12)).all()
    assert (bound >= share * gap * (1 - 1e-12)).all()
    np.testing.assert_array_equal(bound == 0, gap == 0)


def test_towards_tells_how_the_gap_grows():
    a, b = bumpy(5, 2), bumpy(6, 2)
    rotation, shift = poses(7, 20, 3.0)
    gap, towards = posed_gaps(posable(a), posable(b), rotation, shift)
    free = gap > 0.1
    assert free.sum() > 5
    step = 1e-6
    further, _ = posed_gaps(posable(a), posable(b), rotation[free], shift[free] + step * towards[free])
    # Moved straight apart the nearest pair opens by the whole step; another pair may take over and open less.
    np.testing.assert_array_less(further - gap[free], step * (1 + 1e-5))
    assert (np.abs(further - gap[free] - step) < 1e-4 * step).sum() >= 0.8 * free.sum()


def test_the_order_and_the_company_of_poses_play_no_part():
    a, b = torus(5.0, 1.0, 30, 12), bumpy(2, 2)
    rotation, shift = poses(1, 70, 4.0)
    ready = posable(a), posable(b)
    together, _ = posed_gaps(*ready, rotation, shift)
    back, _ = posed_gaps(*ready, rotation[::-1], shift[::-1])
    alone = np.concatenate([posed_gaps(*ready, rotation[k : k + 1], shift[k : k + 1])[0] for k in range(0, 70, 7)])
    np.testing.assert_array_equal(together, back[::-1])
    np.testing.assert_array_equal(together[::7], alone)


def test_exchanged_bodies_have_the_same_gap():
    a, b = bumpy(8, 2), torus(2.0, 0.5, 20, 8)
    rotation, shift = poses(4, 12, 2.5)
    gap, towards = posed_gaps(posable(a), posable(b), rotation, shift)
    back = rotation.transpose(0, 2, 1)
    other, away = posed_gaps(posable(b), posable(a), back, -np.einsum("nij,nj->ni", back, shift))
    np.testing.assert_allclose(gap, other, atol=1e-12)
    np.testing.assert_allclose(np.einsum("nij,nj->ni", rotation, away), -towards, atol=1e-6)


@pytest.mark.parametrize(
    ("corner", "expected"),
    [((1.25, 0.3, 0.2), 0.25), ((4.0, 5.0, 0.5), 5.0), ((3.0, 4.0, 7.0), 7.0), ((1.0, 0.2, 0), 0.0)],
)
def test_boxes_face_to_face_edge_to_edge_corner_to_corner_and_touching(corner, expected):
    solid = posable(box(1.0))
    gap, towards = posed_gaps(solid, solid, np.eye(3)[None], np.array([corner]))
    assert gap[0] == pytest.approx(expected, abs=1e-12)
    assert np.linalg.norm(towards[0]) == pytest.approx(1.0 if expected else 0.0, abs=1e-12)


def test_parallel_faces_of_many_triangles():
    """Every pair of triangles that face each other is equally near."""
    plate = split(split(split(split(box(4.0)))))
    ready = posable(plate)
    shift = np.array([[0.1 * k, 0.05, 4.3] for k in range(6)])
    gap, towards = posed_gaps(ready, ready, np.repeat(np.eye(3)[None], 6, axis=0), shift)
    np.testing.assert_allclose(gap, 0.3, atol=1e-12)
    np.testing.assert_allclose(towards, np.repeat([[0.0, 0.0, 1.0]], 6, axis=0), atol=1e-9)


def test_triangles_without_area_and_points_of_no_triangle():
    needle = Mesh(np.array([(0.0, 0, 0), (1.0, 0, 0), (0.5, 0, 0), (0.1, 0.1, 9.0)]), np.array([(0, 1, 2)]))
    gap, _ = posed_gaps(posable(needle), posable(box(1.0)), np.eye(3)[None], np.array([[0.2, 0.4, -0.5]]))
    assert gap[0] == pytest.approx(0.4, abs=1e-12)


def test_no_pose_gives_no_gap():
    solid = posable(box(1.0))
    gap, towards = posed_gaps(solid, solid, np.zeros((0, 3, 3)), np.zeros((0, 3)))
    assert gap.shape == (0,)
    assert towards.shape == (0, 3)
