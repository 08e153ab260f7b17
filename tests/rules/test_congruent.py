"""Moved copies are found whatever turn they have; mirrored, bent and renumbered meshes are none."""

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from addon.rules.base.profile import load_profile
from addon.rules.base.progress import finish
from addon.rules.inspect.inspection import inspect
from addon.rules.solid.congruent import congruent
from addon.rules.solid.mesh import Body, Mesh, mesh

PROFILE = load_profile("bench")


def hook() -> Mesh:
    """A solid with no symmetry at all."""
    solid = trimesh.creation.torus(4, 0.8, 32, 16)
    points = solid.vertices * (1.0, 0.7, 1.1)
    points[:, 2] += 0.1 * points[:, 0] * points[:, 1] + 0.05 * points[:, 0] ** 2
    points *= 1.0 + 0.03 * points[:, :1]
    return mesh(points, np.asarray(solid.faces))


def turned(solid: Mesh, seed: int, *, float32: bool = False) -> Mesh:
    random = np.random.default_rng(seed)
    turn = trimesh.transformations.random_rotation_matrix(random.random(3))[:3, :3]
    points = solid.points @ turn.T + random.uniform(-60.0, 60.0, 3)
    return Mesh(points.astype(np.float32).astype(np.float64) if float32 else points, solid.triangles.copy())


@settings(max_examples=20, deadline=None, derandomize=True)
@given(seed=st.integers(0, 10_000), float32=st.booleans())
def test_a_moved_copy_is_carried_onto_itself(seed: int, float32: bool) -> None:
    solid = hook()
    copy = turned(solid, seed, float32=float32)
    (first, _), (second, pose) = congruent([solid, copy])
    assert (first, second) == (0, 0)
    assert pose.apply(solid.points) == pytest.approx(copy.points, abs=2e-5)
    assert np.linalg.det(pose.rotation) == pytest.approx(1.0)


def test_what_differs_is_a_shape_of_its_own() -> None:
    solid = hook()
    mirrored = Mesh(solid.points * (-1.0, 1.0, 1.0), solid.triangles)
    dented = solid.points.copy()
    dented[7] *= 1.0 + 1e-4
    renumbered = Mesh(solid.points, np.roll(solid.triangles, 1, axis=0))
    larger = Mesh(solid.points * 1.001, solid.triangles)
    meshes = [solid, mirrored, Mesh(dented, solid.triangles), renumbered, larger]
    assert [first for first, _ in congruent(meshes)] == [0, 1, 2, 3, 4]


def test_copies_have_the_wall_of_the_first_where_they_stand() -> None:
    solid = hook()
    copies = [solid, *(turned(solid, seed, float32=True) for seed in (1, 2))]
    bodies = [Body(f"link {number}", copy) for number, copy in enumerate(copies)]
    told = finish(inspect(bodies, PROFILE)).bodies
    for body, (_, pose) in zip(told, congruent(copies), strict=True):
        assert body.wall_mm == told[0].wall_mm
        assert body.wall_at == pytest.approx(pose.apply(np.array(told[0].wall_at)), abs=1e-9)
    alone = finish(inspect(bodies[2:], PROFILE)).bodies[0]
    assert told[2].wall_mm == pytest.approx(alone.wall_mm, rel=2e-3)
