"""Moved copies are found whatever turn they have; mirrored, bent and renumbered meshes are none."""

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from addon.rules.base.profile import load_profile
from addon.rules.base.progress import finish
from addon.rules.inspect.inspection import inspect
from addon.rules.solid.congruent import Copy, copies_of, on_first_meshes
from addon.rules.solid.mesh import Body, Mesh, Pose, mesh

PROFILE = load_profile("bench")


def hook() -> Mesh:
    """A solid with no symmetry at all."""
    solid = trimesh.creation.torus(4, 0.8, 20, 10)
    points = solid.vertices * (1.0, 0.7, 1.1)
    points[:, 2] += 0.1 * points[:, 0] * points[:, 1] + 0.05 * points[:, 0] ** 2
    points *= 1.0 + 0.03 * points[:, :1]
    return mesh(points, np.asarray(solid.faces))


def found(meshes: list[Mesh]) -> tuple[Copy, ...]:
    return finish(copies_of([Body(str(number), solid) for number, solid in enumerate(meshes)]))


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
    first, second = found([solid, copy])
    assert first.first is second.first is solid
    pose = second.pose
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
    assert all(copy.first is solid for copy, solid in zip(found(meshes), meshes, strict=True))


def test_a_posed_body_is_told_as_a_posed_copy() -> None:
    solid, pose = hook(), Pose(np.eye(3)[[1, 2, 0]], np.array([3.0, 4.0, 5.0]))
    bodies = [Body("a", solid), Body("b", turned(solid, 4), pose), Body("c", solid, pose)]
    shared = on_first_meshes(bodies, finish(copies_of(bodies)))
    for body, same in zip(bodies, shared, strict=True):
        assert same.mesh is solid
        assert same.points() == pytest.approx(body.points(), abs=1e-9)


def test_copies_have_the_wall_of_the_first_where_they_stand() -> None:
    solid = hook()
    copies = [solid, *(turned(solid, seed, float32=True) for seed in (1, 2))]
    bodies = [Body(f"link {number}", copy) for number, copy in enumerate(copies)]
    told = finish(inspect(bodies, PROFILE)).bodies
    for body, copy in zip(told, found(copies), strict=True):
        assert body.wall_mm == told[0].wall_mm
        assert body.wall_at == pytest.approx(copy.pose.apply(np.array(told[0].wall_at)), abs=1e-9)
    alone = finish(inspect(bodies[2:], PROFILE)).bodies[0]
    assert told[2].wall_mm == pytest.approx(alone.wall_mm, rel=2e-3)
