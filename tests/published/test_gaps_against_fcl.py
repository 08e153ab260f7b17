"""Gaps against python-fcl (the Flexible Collision Library, a general collision library) on equal triangles.

Its distance is that of surfaces; where they meet it is asked for a collision instead. Buried bodies, which have no
surfaces in common, are told by the volume in common by manifold3d, an independent library for solids.
"""

import itertools

import numpy as np
import pytest

from addon.rules.base.progress import finish
from addon.rules.solid.distance import gaps, pair_gap, prepare
from addon.rules.solid.mesh import IDENTITY, Body, merged, mesh
from addon.rules.solid.mesh import Mesh as Solid
from tests.gap_shapes import ball, distinct_ring, oval_link, turn_about
from tests.mesh_shapes import box, flipped, moved, rotation, torus

fcl = pytest.importorskip("fcl")
manifold3d = pytest.importorskip("manifold3d")

NEAR = 1e-6


def model(solid):
    made = fcl.BVHModel()
    made.beginModel(len(solid.points), len(solid.triangles))
    made.addSubModel(solid.points, solid.triangles)
    made.endModel()
    return fcl.CollisionObject(made)


def surfaces(a, b):
    """The distance of two surfaces by the independent library, 0 where they meet."""
    a, b = model(a), model(b)
    if fcl.collide(a, b, fcl.CollisionRequest(), fcl.CollisionResult()):
        return 0.0
    return max(0.0, fcl.distance(a, b, fcl.DistanceRequest(), fcl.DistanceResult()))


def share_metal(a, b):
    """Whether the solids have volume in common, by the independent library for solids."""
    a, b = (manifold3d.Manifold(manifold3d.Mesh64(s.points.copy(), s.triangles.astype(np.uint64))) for s in (a, b))
    return (a ^ b).volume() > 1e-9


def ours(a, b):
    return pair_gap(prepare(a), IDENTITY, prepare(b), IDENTITY).gap_mm


def single(corners):
    return mesh(corners, [(0, 1, 2)])


def turned(solid, seed):
    return mesh(solid.points @ rotation(seed).T, solid.triangles)


def bumpy(seed, level=1):
    rng = np.random.default_rng(seed)
    solid = ball(1.0, level)
    return mesh(solid.points * rng.uniform(0.4, 1.6, (len(solid.points), 1)), solid.triangles)


FLOOR = np.array([(0.0, 0, 0), (4, 0, 0), (0, 4, 0)])


def degenerate_triangles():
    """Pairs of single triangles that sit exactly on the border between two cases."""
    edge = np.array([(0.0, -1, 0.3), (2, 1, 0.3), (1, 0, 5)])
    above = FLOOR + np.array([0, 0, 0.25])
    yield from (
        ("edge over edge", FLOOR, edge - (0.5, 0, 0)),
        ("corner over face", FLOOR, np.array([(1, 1, 0.4), (1, 1, 3), (2, 1, 3)])),
        ("corner over edge", FLOOR, np.array([(2, 0, 0.4), (2, 0, 3), (3, 0, 3)])),
        ("corner over corner", FLOOR, np.array([(0, 0, 0.4), (0, 0, 3), (1, 0, 3)])),
        ("parallel faces", FLOOR, above),
        ("parallel edges", FLOOR, np.array([(1.0, -1, 0), (3, -1, 0), (2, -2, 1)])),
        ("coplanar apart", FLOOR, FLOOR + np.array([5.0, 0, 0])),
        ("coplanar edge to edge", FLOOR, np.array([(1.0, -0.5, 0), (3, -0.5, 0), (2, -2, 0)])),
        ("sliver over face", FLOOR, np.array([(0.5, 0.5, 0.3), (2, 1, 0.3), (1.25, 0.75 + 1e-9, 0.3)])),
        ("needle past an edge", FLOOR, np.array([(-100.0, -2, 0.5), (100, -2, 0.5), (0, -2 - 1e-7, 0.5)])),
        ("segment over a face", FLOOR, np.array([(1.0, 1, 0.5), (2, 1, 0.5), (1.5, 1, 0.5)])),
        ("segment beside", FLOOR, np.array([(-1.0, 0, 0), (-1, 4, 0), (-1, 2, 0)])),
        ("point over a face", FLOOR, np.array([(1.0, 1, 0.7)] * 3)),
        ("point beside", FLOOR, np.array([(-3.0, -4, 0)] * 3)),
        ("crossing", FLOOR, np.array([(1.0, 1, -1), (1, 1, 1), (1.5, 1.5, 1)])),
        ("crossing at an edge", FLOOR, np.array([(2.0, -1, -1), (2, 1, 1), (3, 0.5, 2)])),
        ("one in the plane of the other", FLOOR, np.array([(1.0, 1, 0), (2, 1, 0), (1, 2, 0)])),
    )


DEGENERATE = list(degenerate_triangles())


@pytest.mark.parametrize("case", DEGENERATE, ids=[name for name, _, _ in DEGENERATE])
def test_degenerate_triangles_in_four_directions(case):
    _, a, b = case
    for seed in range(4):
        first, second = turned(single(a), seed), turned(single(b), seed)
        assert ours(first, second) == pytest.approx(surfaces(first, second), abs=NEAR)


def test_two_hundred_random_triangles():
    rng = np.random.default_rng(11)
    for _ in range(200):
        a, b = single(rng.normal(size=(3, 3))), single(rng.normal(size=(3, 3)) + rng.normal(size=3) * 2)
        assert ours(a, b) == pytest.approx(surfaces(a, b), abs=NEAR)


@pytest.mark.parametrize("seed", range(60))
def test_random_solids_apart_crossing_and_buried(seed):
    rng = np.random.default_rng(seed)
    size = rng.choice([0.15, 0.6, 1.0, 2.5])
    a = bumpy(seed, int(rng.integers(0, 4)))
    b = bumpy(seed + 500, int(rng.integers(0, 4)))
    b = mesh(b.points * size + rng.normal(size=3) * rng.choice([0.2, 1.0, 2.0, 4.0]), b.triangles)
    expected = surfaces(a, b)
    if expected > 0.0 and share_metal(a, b):
        expected = 0.0
    assert ours(a, b) == pytest.approx(expected, abs=NEAR)


NESTED = {
    "ball in a ball of metal": (ball(3.0, 3), ball(1.0, 2), 0.0),
    "ball in a hollow ball": (merged((ball(3.0, 3), flipped(ball(2.0, 3)))), ball(1.0, 2), None),
    "ball in the wall of a hollow box": (
        merged((box(10.0, (-5, -5, -5)), flipped(box(4.0, (-2, -2, -2))))),
        moved(ball(0.5), (3.5, 0, 0)),
        0.0,
    ),
    "ball in the hole of a torus": (torus(5.0, 1.0), ball(1.0, 2), None),
    "ball in the wire of a torus": (torus(5.0, 1.0), moved(ball(0.5, 2), (5.0, 0, 0)), 0.0),
    "ball in a ball, touching at one point": (
        merged((ball(3.0, 3), flipped(ball(2.0, 3)))),
        moved(ball(1.0, 3), (1.0, 0, 0)),
        0.0,
    ),
    "box on a box": (box(1.0), box(1.0, (0.2, 0.3, 1.0)), 0.0),
    "box edge on box edge": (box(1.0), box(1.0, (1.0, 0.3, 1.0)), 0.0),
    "box over a box": (box(1.0), box(1.0, (0.2, 0.3, 1.5)), None),
    "the same box": (box(1.0), box(1.0), 0.0),
}


@pytest.mark.parametrize("name", NESTED)
def test_nested_and_touching_solids(name):
    a, b, known = NESTED[name]
    expected = surfaces(a, b) if known is None else known
    if known is None:
        assert expected > 0.1
    assert ours(a, b) == pytest.approx(expected, abs=NEAR)
    assert ours(b, a) == pytest.approx(expected, abs=NEAR)


def test_a_crowd_of_links_in_one_table():
    link = torus(3.0, 0.6, 24, 10)
    rng = np.random.default_rng(2)
    bodies = []
    for i in range(12):
        points = link.points @ turn_about(tuple(rng.normal(size=3)), rng.uniform(0, 6)).T + rng.normal(size=3) * 5
        bodies.append(Body(f"body {i + 1}", Solid(points, link.triangles)))
    found = finish(gaps(bodies, range_mm=2.0))
    table = {(int(a), int(b)): g for a, b, g in zip(found.a, found.b, found.gap_mm, strict=True)}
    zeros = 0
    for i, j in itertools.combinations(range(len(bodies)), 2):
        expected = surfaces(bodies[i].mesh, bodies[j].mesh)
        zeros += expected == 0.0
        assert ((i, j) in table) == (expected < 2.0)
        if (i, j) in table:
            assert table[i, j] == pytest.approx(expected, abs=NEAR)
    assert 0 < zeros < len(table) < 66


def test_nested_links_of_a_ring():
    bodies = distinct_ring(oval_link(48, 16), 16, 7.4)
    found = finish(gaps(bodies, range_mm=1.5))
    assert len(found.a) == 16
    for a, b, gap in zip(found.a, found.b, found.gap_mm, strict=True):
        assert gap == pytest.approx(surfaces(bodies[a].mesh, bodies[b].mesh), abs=NEAR)
