"""Crossings against independent libraries.

Which triangles of two shells cross: python-fcl (the Flexible Collision Library), which lists every pair of triangles
that collide. How deep a body reaches into another: places drawn densely on its surface, their distances by trimesh
(triangles.closest_point) and whether they are in the metal by manifold3d (the volume of a speck there in common).
"""

import numpy as np
import pytest

from addon.rules.base.progress import finish
from addon.rules.solid.crossing import WITHIN_MM, WITHIN_SHARE, crossings
from addon.rules.solid.mesh import Body, merged, mesh
from addon.rules.solid.self_crossing import self_crossings
from tests.gap_shapes import ball, oval_link
from tests.mesh_shapes import moved, rotation, torus

fcl = pytest.importorskip("fcl")
manifold3d = pytest.importorskip("manifold3d")
triangles = pytest.importorskip("trimesh").triangles


def bumpy(seed, level=2):
    solid = ball(1.0, level)
    return mesh(solid.points * np.random.default_rng(seed).uniform(0.7, 1.3, (len(solid.points), 1)), solid.triangles)


def placed(solid, seed, reach):
    shift = np.random.default_rng(seed).normal(size=3)
    return mesh(solid.points @ rotation(seed).T + shift * (reach / np.linalg.norm(shift)), solid.triangles)


PAIRS = [(bumpy(seed), placed(bumpy(seed + 100), seed, 1.4)) for seed in range(12)]
PAIRS += [(oval_link(24, 8), placed(oval_link(24, 8), seed, 4.0)) for seed in range(6)]
PAIRS += [(torus(3.0, 1.0, 16, 8), placed(bumpy(seed, 1), seed, 3.0)) for seed in range(6)]


def colliding(a, b):
    """The number of pairs of triangles of two shells that collide, by the independent library."""
    models = []
    for solid in (a, b):
        model = fcl.BVHModel()
        model.beginModel(len(solid.points), len(solid.triangles))
        model.addSubModel(solid.points, solid.triangles)
        model.endModel()
        models.append(fcl.CollisionObject(model))
    result = fcl.CollisionResult()
    fcl.collide(*models, fcl.CollisionRequest(num_max_contacts=1_000_000, enable_contact=True), result)
    return len({(contact.b1, contact.b2) for contact in result.contacts})


@pytest.mark.parametrize("number", range(len(PAIRS)))
def test_as_many_triangles_cross_as_collide(number):
    a, b = PAIRS[number]
    expected = colliding(a, b)
    assert expected > 0 or number >= 12
    assert finish(self_crossings(a)).count == finish(self_crossings(b)).count == 0
    assert finish(self_crossings(merged([a, b]))).count == expected


def surface_distances(solid, places):
    corners = solid.corners()
    nearest = []
    for place in places:
        feet = triangles.closest_point(corners, np.broadcast_to(place, (len(corners), 3)))
        nearest.append(np.linalg.norm(feet - place, axis=1).min())
    return np.array(nearest)


def in_metal(solid, place, size=1e-4):
    whole = manifold3d.Manifold(manifold3d.Mesh64(solid.points.copy(), solid.triangles.astype(np.uint64)))
    speck = manifold3d.Manifold.cube((size, size, size), True).translate(tuple(place))
    return (whole ^ speck).volume() > 0.5 * size**3


def drawn(solid, seed, each):
    shares = np.random.default_rng(seed).dirichlet((1, 1, 1), each)
    return np.concatenate((np.einsum("kc,tcx->tkx", shares, solid.corners()).reshape(-1, 3), solid.points))


@pytest.mark.parametrize("number", [0, 3, 7, 12, 14, 17])
def test_no_place_drawn_on_either_surface_is_deeper_and_the_one_told_is_as_deep(number):
    a, b = PAIRS[number]
    (found,) = finish(crossings([Body("a", a), Body("b", b)], np.array([(0, 1)])))
    depth = found.depth_mm
    assert depth > 0.0
    for solid, other in ((a, b), (b, a)):
        places = drawn(solid, number, 3)
        low, high = other.points.min(axis=0), other.points.max(axis=0)
        places = places[((places > low) & (places < high)).all(axis=1)]
        away = surface_distances(other, places)
        suspects = places[away > depth + max(WITHIN_MM, WITHIN_SHARE * depth)]
        assert not any(in_metal(other, place) for place in suspects)
    apart = [surface_distances(solid, found.at[None])[0] for solid in (a, b)]
    assert min(apart) == pytest.approx(0.0, abs=1e-9)
    assert max(apart) == pytest.approx(depth, abs=1e-9)
    assert in_metal((a, b)[int(np.argmax(apart))], found.at)


def test_the_depth_of_balls_moved_apart_falls_as_they_move():
    one = ball(1.0, 3)
    depths = []
    for way in np.linspace(1.0, 1.9, 7):
        (found,) = finish(crossings([Body("a", one), Body("b", moved(one, (way, 0.0, 0.0)))], np.array([(0, 1)])))
        depths.append(found.depth_mm)
    # Closed form of round balls: 2 r less the way. Points of the mesh are on the ball, its faces a little inside.
    a, b, c = one.corners().swapaxes(0, 1)
    normal = np.cross(b - a, c - a)
    inside = 1.0 - (np.einsum("ij,ij->i", a, normal) / np.linalg.norm(normal, axis=1)).min()
    short = 2.0 - np.linspace(1.0, 1.9, 7) - depths
    assert (short >= 0.0).all()
    assert (short <= inside + WITHIN_MM).all()
    assert inside < 0.02
