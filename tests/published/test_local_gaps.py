"""The local gap of every point against closed forms and against trimesh (a general mesh library).

Plates and a ball over a plate follow from their definitions; trimesh (triangles.closest_point) is asked for every
triangle of the neighbour by itself.
"""

import numpy as np
import pytest

from addon.rules.base.progress import finish
from addon.rules.inspect.gap_field import gap_field
from addon.rules.solid.mesh import Body, mesh
from tests.gap_shapes import ball, oval_link, shared_ring, split
from tests.mesh_shapes import box, moved

EXACT = 1e-12


def field(bodies, range_mm=1.5):
    return finish(gap_field(bodies, range_mm=range_mm))


def named(*solids):
    return [Body(f"body {i + 1}", solid) for i, solid in enumerate(solids)]


def test_two_plates_have_the_distance_of_their_planes_where_they_face_each_other():
    found = field(named(split(split(box((8.0, 8.0, 1.0)))), moved(box((8.0, 8.0, 1.0)), (0.0, 0.0, 1.4))))
    points = split(split(box((8.0, 8.0, 1.0)))).points
    top = points[:, 2] == 1.0
    assert found.gap_mm[0][top] == pytest.approx(0.4, abs=EXACT)
    assert found.gap_mm[0][~top] == pytest.approx(1.4 - points[~top, 2], abs=EXACT)
    assert (found.nearest[0] == 1).all()


def test_a_ball_over_a_plate_has_its_points_heights():
    solid = ball(2.0, 3)
    found = field(named(moved(solid, (0.0, 0.0, 2.3)), moved(box((20.0, 20.0, 1.0)), (-10.0, -10.0, -1.0))), 1.5)
    height = solid.points[:, 2] + 2.3
    assert found.gap_mm[0] == pytest.approx(np.where(height < 1.5, height, np.inf), abs=EXACT)
    assert np.array_equal(found.nearest[0], np.where(height < 1.5, 1, -1))
    assert found.gap_mm[0].min() == pytest.approx(0.3, abs=EXACT)


def test_two_tubes_one_in_the_other_are_their_radii_apart():
    """Round in the limit: a point of the inner tube sees a facet of the outer, no nearer than its inscribed round."""
    sides = 360
    about = 2.0 * np.pi * np.arange(sides) / sides

    def tube(radius, half):
        ring = np.stack((radius * np.cos(about), radius * np.sin(about), np.zeros(sides)), axis=1)
        up = np.array([0.0, 0.0, half])
        points = np.concatenate((ring - up, ring + up))
        i = np.arange(sides)
        j = (i + 1) % sides
        faces = np.concatenate((np.stack((i, j, j + sides), axis=1), np.stack((i, j + sides, i + sides), axis=1)))
        return mesh(points, faces)

    found = field(named(tube(2.0, 3.0), tube(2.6, 5.0)))
    assert found.gap_mm[0].min() >= 2.6 * np.cos(np.pi / sides) - 2.0 - EXACT
    assert found.gap_mm[0].max() <= 0.6 + EXACT


def test_a_bent_ring_of_links_has_the_gaps_of_an_independent_library():
    triangles = pytest.importorskip("trimesh").triangles
    bodies = shared_ring(oval_link(20, 8), 30, 7.4)
    found = field(bodies)
    for i in (0, 1, 17):
        points = bodies[i].points()
        least = np.full(len(points), np.inf)
        for j in ((i - 1) % 30, (i + 1) % 30):
            corners = bodies[j].placed().corners()
            for number, point in enumerate(points):
                places = triangles.closest_point(corners, np.broadcast_to(point, (len(corners), 3)))
                least[number] = min(least[number], np.linalg.norm(places - point, axis=1).min())
        assert found.gap_mm[i] == pytest.approx(np.where(least < 1.5, least, np.inf), abs=1e-9)
        assert np.isfinite(found.gap_mm[i]).sum() > 20
