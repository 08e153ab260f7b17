"""The thinnest metal against balls that others fit into the same solids."""

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog
from scipy.spatial import cKDTree

from addon.rules.base.progress import finish
from addon.rules.solid.measure import volume_mm3
from addon.rules.solid.mesh import Mesh, mesh
from addon.rules.solid.wall import thinnest_wall
from tests.mesh_shapes import grid_triangles


def taken(solid: trimesh.Trimesh) -> Mesh:
    return mesh(np.asarray(solid.vertices), np.asarray(solid.faces))


def outward(solid: Mesh) -> Mesh:
    return solid if volume_mm3(solid) > 0.0 else Mesh(solid.points, solid.triangles[:, ::-1])


def pebble(seed: int) -> trimesh.Trimesh:
    """The hull of 80 places of an ellipsoid."""
    places = np.random.default_rng(seed).normal(size=(80, 3))
    return trimesh.Trimesh(places / np.linalg.norm(places, axis=1, keepdims=True) * (3.0, 2.0, 1.5)).convex_hull


def largest_ball(solid: trimesh.Trimesh) -> float:
    """The diameter of the largest ball in a convex solid, by linear programming.

    The Chebyshev centre: S. Boyd and L. Vandenberghe, Convex Optimization, 2004, section 8.5.1.
    """
    out = solid.face_normals
    height = (out * solid.triangles[:, 0]).sum(axis=1)
    found = linprog(
        (0.0, 0.0, 0.0, -1.0), A_ub=np.column_stack((out, np.ones(len(out)))), b_ub=height, bounds=[(None, None)] * 4
    )
    return 2.0 * float(found.x[3])


@settings(max_examples=8, deadline=None, derandomize=True)
@given(sides=st.integers(4, 14), wide=st.floats(0.3, 3.0), turn=st.integers(0, 1000))
def test_a_long_bar_of_a_regular_section_is_as_thick_as_the_largest_ball_in_it(
    sides: int, wide: float, turn: int
) -> None:
    bar = trimesh.creation.cylinder(wide, 8.0 * wide, sections=sides)
    bar.apply_transform(trimesh.transformations.random_rotation_matrix(np.random.default_rng(turn).random(3)))
    wall = finish(thinnest_wall(taken(bar)))
    assert wall is not None
    assert wall.thickness_mm == pytest.approx(largest_ball(bar), rel=1e-6)


@pytest.mark.parametrize("seed", range(3))
def test_no_convex_solid_is_thicker_than_the_largest_ball_in_it(seed: int) -> None:
    solid = pebble(seed)
    wall = finish(thinnest_wall(taken(solid)))
    assert wall is not None
    assert 1.5 < wall.thickness_mm <= largest_ball(solid) * (1.0 + 1e-9)


def bent_wire(around: int, across: int) -> tuple[np.ndarray, np.ndarray]:
    """Points and inward normals of a closed wire that bends and thins: no closed form of its thickness."""
    t, u = np.meshgrid(2 * np.pi * np.arange(around) / around, 2 * np.pi * np.arange(across) / across, indexing="ij")

    def place(t: np.ndarray, u: np.ndarray) -> np.ndarray:
        line = np.stack((6 * np.cos(t), 4 * np.sin(t), 0.5 * np.sin(2 * t)), axis=-1)
        ahead = np.stack((-6 * np.sin(t), 4 * np.cos(t), np.cos(2 * t)), axis=-1)
        side = np.cross(ahead, (0.0, 0.0, 1.0))
        side /= np.linalg.norm(side, axis=-1, keepdims=True)
        up = np.cross(side, ahead)
        up /= np.linalg.norm(up, axis=-1, keepdims=True)
        wide = 1.0 - 0.35 * np.exp(-(((t - 2.0) / 0.3) ** 2))
        return line + (wide * np.cos(u))[..., None] * side + (wide * np.sin(u))[..., None] * up

    step = 1e-5
    along, round_it = place(t + step, u) - place(t - step, u), place(t, u + step) - place(t, u - step)
    inward = np.cross(along, round_it)
    inward /= np.linalg.norm(inward, axis=-1, keepdims=True)
    line = np.stack((6 * np.cos(t), 4 * np.sin(t), 0.5 * np.sin(2 * t)), axis=-1)
    inward *= np.sign(((line - place(t, u)) * inward).sum(axis=-1, keepdims=True))
    return place(t, u).reshape(-1, 3), inward.reshape(-1, 3)


def test_a_wire_that_bends_and_thins_against_shrinking_balls_in_a_cloud_of_points() -> None:
    """Tangent balls shrunk until they hold no point of a dense cloud, by scipy's nearest neighbours.

    J. Ma, S. W. Bae, S. Choi, 3D medial axis point approximation using nearest neighbors and the normal field, The
    Visual Computer 28, 2012 (from memory). Of all balls those count that touch two places 157 degrees apart or more.
    """
    cloud, inward = bent_wire(480, 96)
    tree = cKDTree(cloud)
    at, n = cloud[::11], inward[::11]
    radius, other = np.full(len(at), 3.0), at.copy()
    for _ in range(15):
        off, near = tree.query(at + radius[:, None] * n)
        holds = off < radius * (1 - 1e-6)
        way = cloud[near] - at
        smaller = (way * way).sum(axis=1) / np.maximum(2 * (way * n).sum(axis=1), 1e-9)
        other = np.where(holds[:, None], cloud[near], other)
        radius = np.where(holds, np.minimum(smaller, radius), radius)
    middle = at + radius[:, None] * n
    a, b = at - middle, other - middle
    apart = (a * b).sum(axis=1) / (np.linalg.norm(a, axis=1) * np.linalg.norm(b, axis=1))
    expected = 2.0 * float(radius[apart < np.cos(np.radians(157.0))].min())

    points, _ = bent_wire(144, 32)
    wall = finish(thinnest_wall(outward(mesh(points, grid_triangles(144, 32)))))
    assert wall is not None
    # 32 facets leave a round wire cos(180 / 32 degrees) of its thickness, half a percent less; so does the cloud.
    assert wall.thickness_mm == pytest.approx(expected, rel=0.015)
    assert 0.65 * 2 * 0.98 < wall.thickness_mm < 0.65 * 2 * 1.01


@pytest.mark.parametrize("seed", range(3))
def test_the_line_told_lies_in_the_metal(seed: int) -> None:
    """Both ends on the surface, the middle in a convex solid: by the planes of its faces, from trimesh."""
    solid = pebble(seed)
    wall = finish(thinnest_wall(taken(solid)))
    assert wall is not None
    for place, on_it in ((wall.point_a, True), (wall.point_b, True), (0.5 * (wall.point_a + wall.point_b), False)):
        depth = float(((solid.triangles[:, 0] - place) * solid.face_normals).sum(axis=1).min())
        assert depth == pytest.approx(0.0, abs=1e-6) if on_it else depth > 0.2 * wall.thickness_mm
