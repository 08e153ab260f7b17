"""What must hold for every mesh: answers that do not depend on place, order, numbering or size."""

import numpy as np
import pytest

pytest.importorskip("hypothesis")

from hypothesis import given, settings
from hypothesis import strategies as st

from addon.rules.solid.measure import area_mm2, volume_mm3
from addon.rules.solid.mesh import mesh
from addon.rules.solid.topology import bodies_of, facts
from tests.mesh_shapes import cubes, rotation

seeds = st.integers(0, 2**32 - 1)


def blocks(seed: int, size: int = 3):
    """The surface of cubes filled at random: touching at points and edges, holes and cavities of all kinds."""
    filled = np.random.default_rng(seed).random((size, size, size)) < 0.45
    filled[0, 0, 0] = True
    return filled, cubes(filled)


def face_connected(filled: np.ndarray) -> list[int]:
    """The number of cells of each set of filled cells that hang together by their faces."""
    left = {tuple(c) for c in np.argwhere(filled).tolist()}
    sizes = []
    while left:
        stack = [left.pop()]
        size = 0
        while stack:
            cell = stack.pop()
            size += 1
            for axis in range(3):
                for step in (-1, 1):
                    other = tuple(c + step * (i == axis) for i, c in enumerate(cell))
                    if other in left:
                        left.remove(other)
                        stack.append(other)
        sizes.append(size)
    return sorted(sizes)


@settings(max_examples=60)
@given(seeds)
def test_bodies_of_random_blocks_are_the_sets_of_cells_that_share_faces(seed):
    """Slow plain version: flood the cells. Edges and points join nothing, and each body has its cells' volume."""
    filled, surface = blocks(seed)
    bodies = bodies_of(surface)
    assert sorted(round(volume_mm3(b), 6) for b in bodies) == face_connected(filled)
    for body in bodies:
        found = facts(body)
        assert found.closed
        assert not found.inside_out


@settings(max_examples=20)
@given(seeds)
def test_larger_blocks_with_cavities(seed):
    filled = np.random.default_rng(seed).random((6, 6, 6)) < 0.7
    filled[0, 0, 0] = True
    assert sorted(round(volume_mm3(b), 6) for b in bodies_of(cubes(filled))) == face_connected(filled)


@settings(max_examples=40)
@given(seeds)
def test_order_numbering_and_place_change_nothing(seed):
    _, surface = blocks(seed)
    rng = np.random.default_rng(seed)
    t = surface.triangles[rng.permutation(len(surface.triangles))]
    t = np.take_along_axis(t, (np.arange(3) + rng.integers(0, 3, len(t))[:, None]) % 3, axis=1)
    rename = rng.permutation(len(surface.points))
    points = np.empty_like(surface.points)
    points[rename] = np.round(surface.points @ rotation(seed % 1000).T * 0.37 + rng.normal(size=3) * 10, 9)
    other = mesh(points, rename[t])
    a, b = facts(surface), facts(other)
    keys = ("closed", "genus", "shells", "open_edges", "non_manifold_edges", "inside_out", "doubled_faces", "zero_area")
    assert [getattr(a, k) for k in keys] == [getattr(b, k) for k in keys]
    assert b.volume_mm3 == pytest.approx(a.volume_mm3 * 0.37**3, rel=1e-6)
    ours, theirs = bodies_of(surface), bodies_of(other)
    assert sorted(volume_mm3(x) * 0.37**3 for x in ours) == pytest.approx(sorted(map(volume_mm3, theirs)), rel=1e-6)
    assert sum(map(area_mm2, theirs)) == pytest.approx(area_mm2(surface) * 0.37**2, rel=1e-6)


@settings(max_examples=60)
@given(seeds)
def test_taking_bodies_apart_again_gives_the_same_bodies(seed):
    """Of any triangles at all: a body is one body."""
    rng = np.random.default_rng(seed)
    points = rng.integers(0, 3, (10, 3)).astype(float)
    for body in bodies_of(mesh(points, rng.integers(0, 10, (25, 3)))):
        again = bodies_of(body)
        assert sum(len(b.triangles) for b in again) == len(body.triangles)
        facts(body)


@settings(max_examples=30)
@given(seeds)
def test_genus_agrees_with_the_euler_number_of_trimesh(seed):
    trimesh = pytest.importorskip("trimesh")
    _, surface = blocks(seed)
    for body in bodies_of(surface):
        theirs = trimesh.Trimesh(body.points, body.triangles, process=False)
        found = facts(body)
        if found.non_manifold_edges:
            continue
        assert theirs.is_watertight
        assert theirs.is_winding_consistent
        assert theirs.euler_number == 2 * found.shells - 2 * found.genus
