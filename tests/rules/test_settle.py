"""Slivers of a joined solid are settled so that every program reads it as closed."""

import numpy as np
import pytest

from addon.rules.feed.settle import settled
from addon.rules.solid.measure import volume_mm3
from addon.rules.solid.mesh import Mesh, merged
from addon.rules.solid.topology import facts
from tests.mesh_shapes import box, torus

trimesh = pytest.importorskip("trimesh")


def split_corner(solid: Mesh, apart: float) -> Mesh:
    """Put a second point next to the first one of a mesh, on an edge, with two slivers between: still closed."""
    t = solid.triangles
    first = np.flatnonzero((t == 0).any(axis=1))[0]
    row = np.roll(t[first], -int(np.flatnonzero(t[first] == 0)[0]))
    _, b, c = row.tolist()
    (other,) = (k for k in range(len(t)) if k != first and {0, b} <= set(t[k].tolist()))
    d = next(k for k in t[other].tolist() if k not in (0, b))
    new = len(solid.points)
    step = solid.points[b] - solid.points[0]
    points = np.vstack((solid.points, solid.points[0] + apart * step / np.linalg.norm(step)))
    kept = np.delete(t, [first, other], axis=0)
    fresh = [(0, new, c), (new, b, c), (b, new, d), (new, 0, d)]
    return Mesh(points, np.vstack((kept, fresh)))


@pytest.mark.parametrize("apart", [1e-12, 1e-9, 1e-7, 1e-6])
@pytest.mark.parametrize("shape", [box(20.0, (30.0, 0.0, 0.0)), torus(30.0, 2.0)])
def test_points_too_near_to_tell_apart_become_one(shape: Mesh, apart: float) -> None:
    slivered = split_corner(shape, apart)
    assert facts(slivered).closed
    clean = settled(slivered)
    assert len(clean.triangles) == len(shape.triangles)
    assert facts(clean).genus == facts(shape).genus
    assert volume_mm3(clean) == pytest.approx(volume_mm3(shape), rel=1e-6)
    stored = trimesh.Trimesh(clean.points.astype(np.float32), clean.triangles)
    assert stored.is_watertight


@pytest.mark.parametrize("size", [0.0, 1e-7, 1e-6])
def test_a_speck_beside_the_solid_is_taken_away(size: float) -> None:
    """A solver leaves shells of a few triangles, without volume, where faces meet: they are no second part."""
    solid = box(20.0, (30.0, 0.0, 0.0))
    speck = box(1.0)
    speck = Mesh(np.array([26.0, 1.2, -10.0]) + size * speck.points, speck.triangles)
    clean = settled(merged([solid, speck]))
    assert facts(clean).shells == 1
    assert len(clean.triangles) == len(solid.triangles)


def test_a_small_part_that_is_metal_stays() -> None:
    solid, part = box(20.0, (30.0, 0.0, 0.0)), box(0.01, (10.0, 0.0, 0.0))
    assert facts(settled(merged([solid, part]))).shells == 2


def test_trimesh_reads_a_sliver_as_open() -> None:
    """What settling is for: an independent library that merges near points finds such a solid open."""
    slivered = split_corner(torus(30.0, 2.0), 1e-9)
    assert not trimesh.Trimesh(slivered.points, slivered.triangles).is_watertight


def test_points_that_lie_well_apart_stay() -> None:
    solid = torus(30.0, 2.0)
    clean = settled(solid)
    assert np.array_equal(clean.triangles, solid.triangles)
    assert np.abs(clean.points - solid.points).max() < 1e-5


def test_a_solid_that_would_lose_its_shape_is_left_as_it_came() -> None:
    """A box thinner than the grid would fall flat."""
    thin = box((40.0, 40.0, 1e-7))
    assert settled(thin) is thin
