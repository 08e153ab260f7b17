"""Loops of a mesh generate all its closed curves; thinned loops stay where they were."""

import numpy as np
import pytest

from addon.rules.solid.linking import linking_number
from addon.rules.solid.loops import loops, thinned
from addon.rules.solid.mesh import Mesh, merged
from tests.knots import blocks, plate_with_holes, ring, torus_strand, tube


def _edges(mesh: Mesh) -> set[tuple[bytes, bytes]]:
    corners = mesh.points[mesh.triangles]
    return {(p.tobytes(), q.tobytes()) for one in corners for p, q in zip(one, np.roll(one, -1, axis=0), strict=True)}


@pytest.mark.parametrize("holes", [1, 2, 5])
def test_loops_generate_the_homology_of_a_plate_with_holes(holes: int) -> None:
    """Against curves whose classes are known, the matrix of linking numbers has determinant 1 or -1."""
    plate, inside, outside = plate_with_holes(holes)
    found = loops(plate)
    assert len(found) == 2 * holes
    matrix = np.array([[linking_number(loop, curve) for curve in (*inside, *outside)] for loop in found])
    assert np.abs(matrix - np.rint(matrix)).max() < 1e-9
    assert abs(np.linalg.det(matrix)) == pytest.approx(1.0, abs=1e-6)


def test_loops_run_along_edges_of_the_mesh() -> None:
    plate = plate_with_holes(2)[0]
    edges = _edges(plate)
    for loop in loops(plate):
        assert len(loop) == len(np.unique(loop, axis=0))
        for start, end in zip(loop, np.roll(loop, -1, axis=0), strict=True):
            assert (start.tobytes(), end.tobytes()) in edges


def test_the_loops_of_a_torus_are_short() -> None:
    """One goes round the wire, one along it, neither any longer than its row of points."""
    found = loops(tube(ring(3.0, sides=40), 0.3, sides=12))
    assert sorted(len(loop) for loop in found) == [12, 40]


def test_shells_are_counted_together_and_a_ball_carries_none() -> None:
    one, other = tube(ring(3.0)), tube(torus_strand(2, 0.0))
    ball = blocks(np.ones((2, 2, 2), dtype=bool))
    assert len(loops(merged([one, ball, other]))) == 4
    assert loops(ball) == ()


def test_the_same_mesh_gives_the_same_loops() -> None:
    plate = plate_with_holes(3)[0]
    for one, other in zip(loops(plate), loops(Mesh(plate.points.copy(), plate.triangles.copy())), strict=True):
        np.testing.assert_array_equal(one, other)


def test_open_and_crowded_surfaces_carry_none() -> None:
    whole = tube(ring(3.0))
    assert loops(Mesh(whole.points, whole.triangles[1:])) == ()
    assert loops(Mesh(whole.points, np.concatenate([whole.triangles, whole.triangles[:1]]))) == ()
    flipped = whole.triangles.copy()
    flipped[0] = flipped[0, ::-1]
    assert loops(Mesh(whole.points, flipped)) == ()


def test_loose_triangles_at_the_same_places_count_as_joined() -> None:
    """A mesh as an STL file gives it, each triangle with points of its own, and one collapsed triangle."""
    whole = tube(ring(3.0))
    loose = whole.points[whole.triangles].reshape(-1, 3)
    faces = np.concatenate([np.arange(len(loose)).reshape(-1, 3), [[0, 1, 0]]])
    assert len(loops(Mesh(loose, faces))) == 2


def test_a_pinched_point_joins_nothing() -> None:
    """Two cubes that share a corner point by number are two balls: no loops."""
    corner = np.zeros((2, 2, 2), dtype=bool)
    corner[0, 0, 0] = corner[1, 1, 1] = True
    assert loops(blocks(corner)) == ()


def test_thinned_loops_stay_within_their_tolerance() -> None:
    many = [ring(3.0, sides=200), torus_strand(5, 0.0), ring(0.1), ring(2.0, sides=3)]
    allowed = np.array([0.2, 0.05, 0.5, 0.01])
    for loop, thin, tolerance in zip(many, thinned(many, allowed), allowed, strict=True):
        start, step = thin, np.roll(thin, -1, axis=0) - thin
        apart = loop[:, None] - start[None]
        squared = (step * step).sum(axis=1)
        share = np.clip((apart * step).sum(axis=2) / np.where(squared > 0, squared, 1.0), 0.0, 1.0)
        nearest = np.linalg.norm(apart - share[..., None] * step, axis=2).min(axis=1)
        assert nearest.max() <= tolerance * (1 + 1e-12)
        assert len(thin) < len(loop) or len(loop) == 3
    assert len(thinned(many, allowed)[0]) < 20
    assert thinned([], np.zeros(0)) == ()


def test_thinned_loops_keep_their_linking_number() -> None:
    """Two strands 4 mm apart at their nearest, each moved by less than half of it."""
    a, b = torus_strand(3, 0.0), torus_strand(3, np.pi)
    near = np.linalg.norm(a[:, None] - b[None], axis=2).min()
    thin_a, thin_b = thinned([a, b], np.array([0.45 * near, 0.45 * near]))
    assert len(thin_a) + len(thin_b) < 60
    assert linking_number(thin_a, thin_b) == pytest.approx(linking_number(a, b), abs=1e-9)
