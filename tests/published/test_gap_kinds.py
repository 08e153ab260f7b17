"""Gaps of pairs named by how they meet, each from its construction and from python-fcl (Flexible Collision Library).

Every pair is built between two planes a known distance apart, so its gap is known without any program; it then stands
somewhere else at a size of its own, and the independent library measures the same numbers. manifold3d, an independent
library for solids, tells the metal that two solids have in common.
"""

import numpy as np
import pytest

from addon.rules.solid.distance import pair_gap, prepare
from addon.rules.solid.mesh import IDENTITY, FloatArray, Mesh, merged, mesh
from tests.gap_shapes import ball
from tests.mesh_shapes import box, flipped, moved, rotation, tetrahedron, torus

fcl = pytest.importorskip("fcl")
manifold3d = pytest.importorskip("manifold3d")

NEAR = 1e-6
SEEDS = range(16)
HIGH = 1.5


def library(a: Mesh, b: Mesh) -> float:
    """Ask the library for the distance of two surfaces; 0 where they meet."""
    a, b = (_model(solid) for solid in (a, b))
    if fcl.collide(a, b, fcl.CollisionRequest(), fcl.CollisionResult()):
        return 0.0
    return max(0.0, fcl.distance(a, b, fcl.DistanceRequest(), fcl.DistanceResult()))


def _model(solid: Mesh):
    made = fcl.BVHModel()
    made.beginModel(len(solid.points), len(solid.triangles))
    made.addSubModel(solid.points, solid.triangles)
    made.endModel()
    return fcl.CollisionObject(made)


def common_mm3(a: Mesh, b: Mesh) -> float:
    """Ask the library for solids how much metal two of them share."""
    one, other = (
        manifold3d.Manifold(manifold3d.Mesh64(s.points.copy(), s.triangles.astype(np.uint64))) for s in (a, b)
    )
    return float((one ^ other).volume())


def ours(a: Mesh, b: Mesh) -> float:
    """Measure a pair, and check that its two places lie as far apart as it says."""
    found = pair_gap(prepare(a), IDENTITY, prepare(b), IDENTITY)
    assert np.linalg.norm(found.point_a - found.point_b) == pytest.approx(found.gap_mm, abs=1e-9)
    return found.gap_mm


def triangle(corners) -> Mesh:
    return mesh(np.array(corners, dtype=float), [(0, 1, 2)])


def elsewhere(solid: Mesh, rng_seed: int) -> Mesh:
    """Turn and move a mesh; equal seeds, equal motions."""
    shift = np.random.default_rng(rng_seed).normal(size=3) * 20.0
    return mesh(solid.points @ rotation(rng_seed).T + shift, solid.triangles)


# --- two triangles, a below the plane z = 0 and b above the plane z = d, each on its plane where they are nearest


def _level(direction_deg: float) -> FloatArray:
    turn = np.radians(direction_deg)
    return np.array([np.cos(turn), np.sin(turn), 0.0])


def _edge_through(at, along, rng, rise):
    """A triangle with one edge through ``at`` along a level direction; its third corner higher or lower by ``rise``."""
    there, back = rng.uniform(0.2, 2.0, 2)
    third = at + rng.normal(size=3) * (1, 1, 0) + (0, 0, rise)
    return triangle([at - back * along, at + there * along, third])


def _corner_at(at, rng, rise):
    """A triangle with one corner at ``at`` and the others higher or lower."""
    sides = rng.normal(size=(2, 3)) * (1, 1, 0) + [(0, 0, rise), (0, 0, rise * rng.uniform(0.3, 1.0))]
    return triangle([at, *(at + sides)])


def _face_round(at, rng, thin=1.0):
    """A level triangle with ``at`` inside it; ``thin`` squeezes it across into a sliver."""
    angles = np.radians(rng.uniform(-20, 20, 3) + np.array([0, 120, 240]))
    corners = np.stack([2.0 * np.cos(angles), 2.0 * thin * np.sin(angles), 0.0 * angles], axis=1)
    return triangle(at + corners)


ORIGIN = np.zeros(3)


def edge_edge(rng, d):
    one = rng.uniform(0, 180)
    other = one + rng.uniform(15, 165)
    return (
        _edge_through(ORIGIN, _level(one), rng, -HIGH),
        _edge_through(np.array([0, 0, d]), _level(other), rng, HIGH),
    )


def corner_face(rng, d):
    return _face_round(ORIGIN, rng), _corner_at(np.array([0, 0, d]), rng, HIGH)


def corner_edge(rng, d):
    return _edge_through(ORIGIN, _level(rng.uniform(0, 180)), rng, -HIGH), _corner_at(np.array([0, 0, d]), rng, HIGH)


def corner_corner(rng, d):
    return _corner_at(ORIGIN, rng, -HIGH), _corner_at(np.array([0, 0, d]), rng, HIGH)


def parallel_faces(rng, d):
    return _face_round(ORIGIN, rng), _face_round(np.array([0, 0, d]), rng)


def parallel_edges(rng, d):
    along = _level(rng.uniform(0, 180))
    return _edge_through(ORIGIN, along, rng, -HIGH), _edge_through(np.array([0, 0, d]), along, rng, HIGH)


def coplanar(rng, d):
    """In one plane: an edge at x = 0 with the rest before it, a corner at x = d with the rest behind it."""
    high, low = rng.uniform(0.3, 2.0, 2)
    one = triangle([(0, -low, 0), (0, high, 0), (-rng.uniform(0.5, 2.0), rng.normal(), 0)])
    y = rng.uniform(-0.9 * low, 0.9 * high)
    other = triangle([(d, y, 0), (d + rng.uniform(0.3, 2), y + 1, 0), (d + rng.uniform(0.3, 2), y - 1, 0)])
    return one, other


def sliver(rng, d):
    """A face a millionth to a billionth as wide as it is long, under a corner."""
    return _face_round(ORIGIN, rng, 10.0 ** -rng.uniform(6, 9)), _corner_at(np.array([0, 0, d]), rng, HIGH)


def two_slivers(rng, d):
    thin = 10.0 ** -rng.uniform(6, 9, 2)
    one, other = _face_round(ORIGIN, rng, thin[0]), _face_round(ORIGIN, rng, thin[1])
    turn = np.array([[0.0, -1, 0], [1, 0, 0], [0, 0, 1]])
    return one, triangle(other.points @ turn.T + (0, 0, d))


def no_area_segment(rng, d):
    """Three corners on one line, over a face."""
    along = _level(rng.uniform(0, 180))
    return _face_round(ORIGIN, rng), triangle([(0, 0, d) + t * along for t in (-0.3, rng.uniform(-0.2, 0.2), 0.3)])


def no_area_point(rng, d):
    """Three corners in one place, over a face."""
    return _face_round(ORIGIN, rng), triangle([(0, 0, d)] * 3)


def no_area_both(rng, d):
    one, other = _level(rng.uniform(0, 80)), _level(rng.uniform(100, 170))
    return triangle([-one, one, 0.3 * one]), triangle([(0, 0, d) + t * other for t in (-1.0, 0.5, 1.0)])


KINDS = (
    edge_edge, corner_face, corner_edge, corner_corner, parallel_faces, parallel_edges, coplanar, sliver, two_slivers,
    no_area_segment, no_area_point, no_area_both,
)  # fmt: skip


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.__name__)
@pytest.mark.parametrize("seed", SEEDS)
def test_two_triangles_as_built_and_as_the_library_says(kind, seed):
    rng = np.random.default_rng((seed, KINDS.index(kind)))
    d = 10.0 ** rng.uniform(-4, 0)
    a, b = (elsewhere(one, seed) for one in kind(rng, d))
    found = ours(a, b)
    assert found == pytest.approx(d, abs=1e-9)
    assert found == pytest.approx(library(a, b), abs=NEAR)


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.__name__)
@pytest.mark.parametrize("seed", SEEDS)
def test_two_triangles_that_touch_read_nothing_between_them(kind, seed):
    """The same pairs at distance 0. The library may see a rounding of its own, and so may we on a sliver: its plane is
    known so badly that a place on it counts as one on its edge, which is as near as the sliver is wide."""
    rng = np.random.default_rng((seed, KINDS.index(kind)))
    a, b = (elsewhere(one, seed) for one in kind(rng, 0.0))
    assert ours(a, b) <= (1e-7 if kind in (sliver, two_slivers) else 0.0)
    assert library(a, b) < NEAR


# --- solids


def _size(rng):
    return 10.0 ** rng.uniform(-1, 1)


def _scaled(a, b, size):
    return tuple(mesh(size * s.points, s.triangles) for s in (a, b))


def nested_in_a_cavity(rng, d):
    """A ball in a hollow one, the nearest corner d from the nearest wall: the hollow is a box, its walls level."""
    inner = ball(0.8, 2)
    at = np.array([*rng.uniform(-0.5, 0.5, 2), 0.0]) - (0, 0, 2.0 - d - 0.8)
    return merged((box(6.0, (-3, -3, -3)), flipped(box(4.0, (-2, -2, -2))))), moved(inner, at)


def ring_round_a_bar(rng, d):
    """A bar on edge through a ring; its edge lies across the ring's inmost straight piece, at 4 cos(pi / 48)."""
    ring, half_step = torus(5.0, 1.0, 48, 16), 180.0 / 48
    upright = box((1.0, 1.0, 6.0), (-1.0, -1.0, -rng.uniform(2.0, 4.0)))
    edge_at = (4.0 * np.cos(np.radians(half_step)) - d, 0, 0)
    return (
        mesh(ring.points @ rotation_about_z(half_step).T, ring.triangles),
        mesh(upright.points @ rotation_about_z(-45.0).T + edge_at, upright.triangles),
    )


def corner_over_a_box(rng, d):
    x, y = rng.uniform(0.1, 0.9, 2)
    tip = np.array([x, y, 1.0 + d])
    return box(1.0), tetrahedron(tip, *(tip + np.array([*rng.normal(size=2), rise]) for rise in (1.0, 0.7, 1.3)))


def edges_crosswise(rng, d):
    """Two roofs, ridge over ridge."""
    one = tetrahedron((-1, 0, 0), (1, 0, 0), (0.1, 0.6, -1), (-0.1, -0.7, -1))
    turn = rotation_about_z(rng.uniform(20, 160))
    other = tetrahedron((-1, 0, 0), (1, 0, 0), (0.1, 0.6, 1), (-0.1, -0.7, 1))
    return one, mesh(other.points @ turn.T + (0, 0, d), other.triangles)


def rotation_about_z(degrees: float) -> FloatArray:
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    return np.array([[c, -s, 0], [s, c, 0], [0, 0, 1.0]])


def box_on_a_box(rng, d):
    return box(1.0), box(rng.uniform(0.3, 3.0, 3), (*rng.uniform(-0.2, 0.9, 2), 1.0 + d))


SOLIDS = (nested_in_a_cavity, ring_round_a_bar, corner_over_a_box, edges_crosswise, box_on_a_box)


@pytest.mark.parametrize("kind", SOLIDS, ids=lambda kind: kind.__name__)
@pytest.mark.parametrize("seed", range(6))
def test_two_solids_apart_and_touching(kind, seed):
    rng = np.random.default_rng((seed, 50 + SOLIDS.index(kind)))
    size, d = _size(rng), 10.0 ** rng.uniform(-3, -0.5)
    a, b = (elsewhere(one, seed) for one in _scaled(*kind(rng, d), size))
    assert ours(a, b) == pytest.approx(size * d, abs=1e-9)
    assert ours(a, b) == pytest.approx(library(a, b), abs=NEAR)
    a, b = (elsewhere(one, seed) for one in _scaled(*kind(rng, 0.0), size))
    assert ours(a, b) == 0.0
    assert library(a, b) < NEAR


@pytest.mark.parametrize("seed", range(12))
def test_a_solid_buried_in_another_shares_its_metal_and_one_in_a_cavity_does_not(seed):
    """The surfaces are apart in both, by the same distance in the library's eyes; only the metal tells them apart."""
    rng = np.random.default_rng((seed, 70))
    inner = moved(ball(0.3, int(rng.integers(0, 3))), rng.uniform(-0.5, 0.5, 3))
    inner = mesh(inner.points @ rotation(seed).T, inner.triangles)
    for outer, buried in (
        (box(4.0, (-2, -2, -2)), True),
        (merged((box(6.0, (-3, -3, -3)), flipped(box(4.0, (-2, -2, -2))))), False),
    ):
        a, b = elsewhere(outer, seed), elsewhere(inner, seed)
        assert (common_mm3(a, b) > 1e-6) is buried
        apart = library(a, b)
        assert apart > 0.1
        for found in (ours(a, b), ours(b, a)):
            assert found == (0.0 if buried else pytest.approx(apart, abs=NEAR))


@pytest.mark.parametrize("seed", range(12))
def test_solids_that_cross_read_zero_with_and_without_a_corner_inside(seed):
    """Crossed bars have no corner in each other. The library sees the same contact, and metal in common."""
    rng = np.random.default_rng((seed, 80))
    bar = box((6.0, 1.0, 1.0), (-3, -0.5, -0.5))
    turn = rotation_about_z(rng.uniform(40, 140))
    across = mesh(bar.points @ turn.T + (0, 0, rng.uniform(-0.9, 0.9)), bar.triangles)
    chipped = moved(box(1.0), rng.uniform(0.1, 0.9, 3))
    for one, other in ((bar, across), (box(1.0), chipped)):
        a, b = elsewhere(one, seed), elsewhere(other, seed)
        assert ours(a, b) == 0.0
        assert library(a, b) == 0.0
        assert common_mm3(a, b) > 1e-6
