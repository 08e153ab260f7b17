"""Nearest places of a surface against closed forms and independent libraries.

trimesh (triangles.closest_point, a general mesh library) asked for every triangle by itself; python-fcl (the Flexible
Collision Library) with the point as a triangle too small to matter; and the distances of a box, of a plane and of a
round ball, which follow from their definitions.
"""

import numpy as np
import pytest

from addon.rules.base.progress import finish
from addon.rules.solid.mesh import merged, mesh
from addon.rules.solid.surface import nearest_on, surface_of
from tests.gap_shapes import ball, oval_link, turn_about
from tests.mesh_shapes import box, moved, soup, torus

EXACT = 1e-12


def nearest(solid, points, *within):
    return finish(nearest_on(finish(surface_of(solid)), np.asarray(points, dtype=float), *within))


def by_trimesh(solid, points):
    """The distance of every point by the independent library: the smallest over all triangles."""
    triangles = pytest.importorskip("trimesh").triangles
    corners = solid.corners()
    smallest = []
    for point in points:
        places = triangles.closest_point(corners, np.broadcast_to(point, (len(corners), 3)))
        smallest.append(np.linalg.norm(places - point, axis=1).min())
    return np.array(smallest)


def bumpy(seed):
    solid = ball(2.0, 3)
    rng = np.random.default_rng(seed)
    return mesh(solid.points * rng.uniform(0.6, 1.3, (len(solid.points), 1)), solid.triangles)


def crumpled(seed):
    """Triangles of sizes from 0.1 to 10 anywhere: no solid, and none is asked for."""
    rng = np.random.default_rng(seed)
    corners = rng.normal(size=(300, 1, 3)) * 3.0 + rng.normal(size=(300, 3, 3)) * 10.0 ** rng.uniform(
        -1, 1, (300, 1, 1)
    )
    return mesh(corners.reshape(-1, 3), np.arange(900).reshape(-1, 3))


SOLIDS = {
    "link": oval_link(24, 12),
    "torus": torus(),
    "bumpy": bumpy(1),
    "box": box((3.0, 1.0, 0.2)),
    "soup": soup(torus(steps=12, sides=8)),
    "crumpled": crumpled(2),
    "several": merged([box(1.0), moved(ball(0.5), (3.0, 0.0, 0.0)), moved(torus(), (0.0, 9.0, 0.0))]),
    "far off": moved(torus(), (4000.0, -7000.0, 100.0)),
    "one triangle": mesh([(0, 0, 0), (2, 0, 0), (0, 1, 0)], [(0, 1, 2)]),
}


def around(solid, count, seed):
    """Places in and about a solid: anywhere, close over its faces, on its corners and in the middles of edges."""
    rng = np.random.default_rng(seed)
    low, high = solid.points.min(axis=0), solid.points.max(axis=0)
    corners = solid.corners()[rng.integers(0, len(solid.triangles), count)]
    on = (rng.dirichlet((1.0, 1.0, 1.0), count)[:, :, None] * corners).sum(axis=1)
    return np.concatenate(
        (
            rng.uniform(low - 2.0, high + 2.0, (count, 3)),
            on + rng.normal(size=(count, 3)) * 0.05,
            on,
            corners[:, 0],
            corners[:, :2].mean(axis=1),
        )
    )


@pytest.mark.parametrize("name", SOLIDS)
def test_distances_are_those_of_an_independent_library(name):
    solid = SOLIDS[name]
    points = around(solid, 40, 3)
    found = nearest(solid, points)
    size = np.abs(solid.points).max()
    assert found.distance_mm == pytest.approx(by_trimesh(solid, points), abs=1e-9 * max(size, 1.0), rel=EXACT)


@pytest.mark.parametrize("name", ["link", "bumpy", "box"])
def test_distances_are_those_of_the_collision_library(name):
    fcl = pytest.importorskip("fcl")

    def model(points, triangles):
        made = fcl.BVHModel()
        made.beginModel(len(points), len(triangles))
        made.addSubModel(points, triangles)
        made.endModel()
        return fcl.CollisionObject(made)

    solid = SOLIDS[name]
    whole = model(solid.points, solid.triangles)
    points = np.random.default_rng(4).normal(size=(60, 3)) * 6.0
    tiny = 1e-8 * np.eye(3)
    theirs = [fcl.distance(model(p + tiny, np.array([[0, 1, 2]])), whole) for p in points]
    ours = nearest(solid, points).distance_mm
    apart = ours > 1e-3
    assert apart.sum() > 40
    assert ours[apart] == pytest.approx(np.array(theirs)[apart], abs=1e-7)


def test_distances_from_a_box_are_those_of_its_definition():
    points = np.random.default_rng(5).uniform(-3.0, 4.0, (2000, 3))
    outside = np.linalg.norm(np.maximum(np.maximum(-points, points - 1.0), 0.0), axis=1)
    inside = np.minimum(points, 1.0 - points).min(axis=1)
    expected = np.where(inside > 0.0, inside, outside)
    found = nearest(box(1.0), points)
    assert found.distance_mm == pytest.approx(expected, abs=EXACT)


def test_distances_from_a_square_in_a_plane_are_heights_over_it():
    square = mesh([(0, 0, 0), (9, 0, 0), (9, 9, 0), (0, 9, 0)], [(0, 1, 2), (0, 2, 3)])
    turn = turn_about((1.0, 2.0, 3.0), 0.7)
    points = np.random.default_rng(6).uniform((0.0, 0.0, -2.0), (9.0, 9.0, 2.0), (500, 3))
    found = nearest(mesh(square.points @ turn.T, square.triangles), points @ turn.T)
    assert found.distance_mm == pytest.approx(np.abs(points[:, 2]), abs=EXACT)
    assert found.foot @ turn == pytest.approx(points * (1.0, 1.0, 0.0), abs=1e-11)


def test_distances_from_a_faceted_ball_lie_between_those_of_the_balls_in_and_about_it():
    fine = ball(3.0, 5)
    within = np.linalg.norm(fine.corners().mean(axis=1), axis=1).min()
    points = np.random.default_rng(7).normal(size=(2000, 3))
    points *= np.random.default_rng(8).uniform(3.2, 9.0, (2000, 1)) / np.linalg.norm(points, axis=1, keepdims=True)
    out = np.linalg.norm(points, axis=1)
    found = nearest(fine, points).distance_mm
    assert (found >= out - 3.0 - EXACT).all()
    assert (found <= out - within + EXACT).all()
    assert 3.0 - within < 4e-3


def test_distances_from_a_segment_without_area_are_those_of_its_definition():
    points = np.random.default_rng(9).normal(size=(500, 3)) * 3.0
    for far in (4.0, 1e-7):
        line = mesh([(0, 0, 0), (far, 0, 0), (far / 3, 0, 0)], [(0, 1, 2), (1, 1, 0)])
        along = np.clip(points[:, 0], 0.0, far)
        expected = np.hypot(points[:, 0] - along, np.hypot(points[:, 1], points[:, 2]))
        assert nearest(line, points).distance_mm == pytest.approx(expected, rel=EXACT)


@pytest.mark.parametrize("thin", [1e-3, 1e-5, 1e-7, 1e-9, 1e-12])
def test_slivers_are_measured_as_well_as_any(thin):
    """A long rectangle of width ``thin`` in the plane z = 0, cut along its diagonal: the distance by its sides."""
    strip = mesh([(0, 0, 0), (5, 0, 0), (5, thin, 0), (0, thin, 0)], [(0, 1, 2), (0, 2, 3)])
    rng = np.random.default_rng(10)
    points = np.concatenate((rng.normal(size=(200, 3)) * 3.0, rng.uniform((0, 0, 0), (5, thin, thin), (200, 3))))
    beside = np.maximum(np.maximum(-points[:, :2], points[:, :2] - (5.0, thin)), 0.0)
    expected = np.hypot(np.hypot(beside[:, 0], beside[:, 1]), points[:, 2])
    assert nearest(strip, points).distance_mm == pytest.approx(expected, abs=1e-14, rel=EXACT)
