"""Slits of one body: split rings and grooves of known width, and solids that have none."""

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from addon.rules.base.profile import load_profile
from addon.rules.base.progress import finish
from addon.rules.inspect.inspection import inspect
from addon.rules.solid.mesh import Body, Mesh, Pose, mesh
from addon.rules.solid.slit import Slit, narrowest_slit

PROFILE = load_profile("bench")


def split_ring(width: float, along: int = 60, across: int = 12) -> Mesh:
    """A round wire bent to a ring whose flat ends, square to the wire, are parallel and ``width`` apart."""
    half = np.arcsin(0.5 * width / 5.0)
    turn = np.linspace(half, 2 * np.pi - half, along)
    # The ends stand parallel to the plane y = 0; the sections between are spread evenly.
    middle = 5.0 * np.stack([np.cos(turn), np.sin(turn), 0 * turn], axis=1)
    tilt = np.linspace(0.0, 2 * np.pi, along)
    out = np.stack([np.cos(tilt), np.sin(tilt), 0 * tilt], axis=1)
    angle = 2 * np.pi * np.arange(across) / across
    points = (
        middle[:, None] + np.cos(angle)[:, None] * out[:, None] + np.sin(angle)[:, None] * np.array([0.0, 0.0, 1.0])
    )
    i, j = np.meshgrid(np.arange(along - 1), np.arange(across), indexing="ij")
    a, b = i * across + j, i * across + (j + 1) % across
    c, d = a + across, b + across
    sides = np.concatenate((np.stack((a, b, d), -1).reshape(-1, 3), np.stack((a, d, c), -1).reshape(-1, 3)))
    fan = np.stack((np.zeros(across - 2, dtype=int), np.arange(1, across - 1), np.arange(2, across)), axis=1)
    ends = np.concatenate((fan[:, ::-1], fan + (along - 1) * across))
    solid = trimesh.Trimesh(points.reshape(-1, 3), np.concatenate((sides, ends)), process=False)
    assert solid.is_watertight
    if solid.volume < 0:
        solid.invert()
    return mesh(np.asarray(solid.vertices), np.asarray(solid.faces))


def taken(solid: trimesh.Trimesh) -> Mesh:
    return mesh(np.asarray(solid.vertices), np.asarray(solid.faces))


def slit(solid: Mesh, below: float = 0.5) -> Slit | None:
    return finish(narrowest_slit(solid, below))


@settings(max_examples=12, deadline=None, derandomize=True)
@given(width=st.floats(0.005, 0.45), seed=st.integers(0, 99))
def test_a_split_ring_is_as_open_as_it_was_cut_however_it_lies(width: float, seed: int) -> None:
    ring = split_ring(width)
    turn = trimesh.transformations.random_rotation_matrix(np.random.default_rng(seed).random(3))[:3, :3]
    found = slit(Mesh(ring.points @ turn.T + (20.0, 0.0, -9.0), ring.triangles))
    assert found is not None
    assert found.width_mm == pytest.approx(width, rel=1e-6)
    assert np.linalg.norm(found.point_b - found.point_a) == pytest.approx(width, rel=1e-6)


def test_a_slit_as_wide_as_asked_for_is_none() -> None:
    assert slit(split_ring(0.52)) is None


@pytest.mark.parametrize(
    "solid",
    [
        trimesh.creation.box((4, 3, 0.2)),
        trimesh.creation.torus(5, 1, 48, 16),
        trimesh.creation.annulus(0.4, 2, 3, sections=32),
        trimesh.creation.icosphere(3, 2.0),
    ],
    ids=["foil", "ring", "tube", "ball"],
)
def test_whole_solids_have_no_slit_however_thin_their_metal_is(solid: trimesh.Trimesh) -> None:
    assert slit(taken(solid)) is None


def test_a_square_groove_is_a_slit_and_an_open_one_is_not() -> None:
    def grooved(width: float, top: float) -> Mesh:
        half, wide = width / 2, top / 2
        outline = np.array([[-3, 0], [3, 0], [3, 2], [wide, 2], [half, 1], [-half, 1], [-wide, 2], [-3, 2.0]])
        n = len(outline)
        points = np.concatenate([np.column_stack((outline, np.full(n, z))) for z in (0.0, 6.0)])
        i, j = np.arange(n), (np.arange(n) + 1) % n
        cap = np.array([[0, 1, 4], [1, 2, 3], [1, 3, 4], [0, 4, 5], [0, 5, 6], [0, 6, 7]])
        sides = np.concatenate((np.stack((i, j, n + j), 1), np.stack((i, n + j, n + i), 1)))
        return mesh(points, np.concatenate((sides, cap[:, ::-1], cap + n)))

    found = slit(grooved(0.2, 0.2))
    assert found is not None
    assert found.width_mm == pytest.approx(0.2)
    assert slit(grooved(0.2, 2.2)) is None


def test_a_slit_is_warned_of_in_print_and_told_where_it_is() -> None:
    pose = Pose(np.eye(3), np.array([0.0, 40.0, 0.0]))
    ring = split_ring(0.05)
    said = finish(inspect([Body("ring", ring, pose)], PROFILE)).findings
    (found,) = [f for f in said if f.code == "gap-below-floor"]
    assert (found.severity, found.bodies) == ("warn", ("ring",))
    assert "0.050 mm" in found.text
    assert found.at is not None
    assert found.at[1] == pytest.approx(40.0, abs=0.03)
    assert found.at[0] > 3.9
    # Scaled up for the print it grows with the rest.
    wide = finish(inspect([Body("ring", split_ring(0.6))], PROFILE)).findings
    assert not [f for f in wide if f.code == "gap-below-floor"]
