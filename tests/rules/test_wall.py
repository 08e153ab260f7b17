"""The thinnest metal of solids whose thickness is known in closed form."""

import math
from dataclasses import replace

import numpy as np
import pytest
import trimesh

from addon.rules.base.profile import load_profile
from addon.rules.base.progress import finish
from addon.rules.inspect.inspection import inspect
from addon.rules.inspect.wall_findings import wall_findings, wall_mm
from addon.rules.solid.mesh import Body, Mesh, Pose, Wire, merged, mesh
from addon.rules.solid.wall import TOLERANCE, Wall, thinnest_wall

BENCH = load_profile("bench")


def taken(solid: trimesh.Trimesh) -> Mesh:
    return mesh(np.asarray(solid.vertices), np.asarray(solid.faces))


def thinnest(solid: Mesh) -> float:
    wall = finish(thinnest_wall(solid))
    assert wall is not None
    assert np.linalg.norm(wall.point_a - wall.point_b) <= wall.thickness_mm * (1 + 1e-9)
    return wall.thickness_mm


def hollow(inner: float, aside: float = 0.0) -> Mesh:
    ball, hole = (trimesh.creation.icosphere(4, radius) for radius in (3.0, inner))
    hole.apply_translation((aside, 0.0, 0.0))
    hole.invert()
    return merged([taken(ball), taken(hole)])


def moved(solid: Mesh, seed: int = 1) -> Mesh:
    turn = np.linalg.qr(np.random.default_rng(seed).normal(size=(3, 3)))[0]
    turn *= np.sign(np.linalg.det(turn))
    return Mesh(solid.points @ turn.T + (30.0, -20.0, 7.0), solid.triangles)


def prism(outline: np.ndarray, length: float, pieces: int = 1) -> Mesh:
    """A bar of a convex outline (n, 2), counter-clockwise, drawn along z."""
    n = len(outline)
    points = [np.column_stack((outline, np.full(n, length * k / pieces))) for k in range(pieces + 1)]
    i, j = np.arange(n), (np.arange(n) + 1) % n
    sides = [np.concatenate((np.stack((a + i, a + j, a + n + j), 1), np.stack((a + i, a + n + j, a + n + i), 1)))
             for a in range(0, n * pieces, n)]  # fmt: skip
    fan = np.stack((np.zeros(n - 2, dtype=int), np.arange(1, n - 1), np.arange(2, n)), axis=1)
    return mesh(np.concatenate(points), np.concatenate((*sides, fan[:, ::-1], fan + n * pieces)))


def polygon(sides: int) -> np.ndarray:
    angle = 2 * np.pi * (np.arange(sides) + 0.3) / sides
    return np.column_stack((np.cos(angle), np.sin(angle)))


def trapezium(thin: float, thick: float, length: float) -> Mesh:
    """A plate that thins out along x, flat below."""
    return prism(np.array([[0, 0], [length, 0], [length, thick], [0, thin]]), 10.0)


def in_thin_end(thin: float, thick: float, length: float) -> float:
    """The circle that touches the end, the flat and the slope: its middle is one radius from each."""
    slope = (thick - thin) / length
    return 2.0 * thin / (math.hypot(1.0, slope) + 1.0 - slope)


@pytest.mark.parametrize(
    ("solid", "expected"),
    [
        (taken(trimesh.creation.box((10, 10, 2))), 2.0),
        (taken(trimesh.creation.box((50, 50, 0.3))), 0.3),
        (taken(trimesh.creation.box((3, 3, 3))), 3.0),
        (trapezium(1.0, 3.0, 10.0), in_thin_end(1.0, 3.0, 10.0)),
        (trapezium(0.5, 4.0, 20.0), in_thin_end(0.5, 4.0, 20.0)),
        *((prism(polygon(n), 12.0), 2.0 * math.cos(math.pi / n)) for n in (4, 5, 8, 24)),
        (prism(polygon(24), 12.0, 30), 2.0 * math.cos(math.pi / 24)),
    ],
    ids=lambda value: f"{value:.3f}" if isinstance(value, float) else f"{len(value.triangles)} faces",
)
def test_flat_sided_solids_are_measured_exactly_wherever_they_stand(solid: Mesh, expected: float) -> None:
    assert thinnest(solid) == pytest.approx(expected, rel=1e-9)
    assert thinnest(moved(solid)) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(
    ("solid", "expected", "under", "over"),
    [
        (taken(trimesh.creation.icosphere(2, 2.0)), 4.0, 0.03, 0.0),
        (taken(trimesh.creation.torus(5, 1, 96, 24)), 2.0 * math.cos(math.pi / 24), 0.002, 0.001),
        (taken(trimesh.creation.annulus(2, 2.5, 5, sections=64)), 0.5, 0.003, 0.0),
        (hollow(2.4), 0.6, 0.01, 0.005),
        (hollow(2.4, 0.3), 0.3, 0.02, 0.01),
    ],
    ids=["ball", "round wire", "tube", "hollow ball", "hollow ball off its middle"],
)
def test_round_solids_are_as_thick_as_their_facets_leave_them(
    solid: Mesh, expected: float, under: float, over: float
) -> None:
    assert (1 - under) * expected <= thinnest(solid) <= (1 + over) * expected
    assert thinnest(moved(solid)) == pytest.approx(thinnest(solid), rel=2 * TOLERANCE)


def test_neither_the_order_of_triangles_nor_parted_points_play_a_part() -> None:
    solid = taken(trimesh.creation.torus(5, 1, 40, 12))
    order = np.random.default_rng(5).permutation(len(solid.triangles))
    shuffled = Mesh(solid.points, solid.triangles[order])
    parted = Mesh(solid.corners().reshape(-1, 3), np.arange(3 * len(solid.triangles)).reshape(-1, 3))
    assert thinnest(shuffled) == pytest.approx(thinnest(solid), rel=2 * TOLERANCE)
    assert thinnest(parted) == pytest.approx(thinnest(solid), rel=2 * TOLERANCE)


def test_a_body_far_from_the_origin_is_measured_as_well() -> None:
    box = taken(trimesh.creation.box((10, 10, 2)))
    assert thinnest(Mesh(box.points + 1e5, box.triangles)) == pytest.approx(2.0, rel=1e-9)


@pytest.mark.parametrize("split", [1, 4])
def test_halving_triangles_changes_nothing(split: int) -> None:
    plate = trimesh.Trimesh(trapezium(1.0, 3.0, 10.0).points, trapezium(1.0, 3.0, 10.0).triangles)
    assert thinnest(taken(plate.subdivide_to_size(8.0 / split))) == pytest.approx(in_thin_end(1.0, 3.0, 10.0), rel=1e-9)


def test_the_edges_of_a_d_are_not_its_thickness() -> None:
    angle = np.linspace(0.0, np.pi, 21)
    half_round = prism(np.column_stack((np.cos(angle), np.sin(angle))), 12.0, 8)
    assert 0.9 < thinnest(half_round) <= 1.0


def test_a_neck_in_a_wire_is_found_where_it_is() -> None:
    ring = trimesh.creation.torus(5, 1, 96, 24)
    points = ring.vertices.copy()
    angle = np.arctan2(points[:, 1], points[:, 0])
    middle = 5.0 * np.stack([np.cos(angle), np.sin(angle), 0 * angle], axis=1)
    points = middle + (points - middle) * (1.0 - 0.4 * np.exp(-((angle / 0.2) ** 2)))[:, None]
    wall = finish(thinnest_wall(mesh(points, np.asarray(ring.faces))))
    assert wall is not None
    assert wall.thickness_mm == pytest.approx(1.2 * math.cos(math.pi / 24), rel=TOLERANCE)
    assert abs(wall.point_a[1]) < 0.05
    assert abs(wall.point_b[1]) < 0.05
    assert min(wall.point_a[0], wall.point_b[0]) > 4.0


def test_two_cuts_that_face_each_other_leave_what_is_between_their_edges() -> None:
    """A bar of 24 faces, cut to a V from above and below: both sides of the thinnest place are edges."""
    outline = np.array([[-5, -2], [0, -0.4], [5, -2], [5, 2], [0, 0.4], [-5, 2.0]])
    n = len(outline)
    points = np.concatenate([np.column_stack((outline, np.full(n, z))) for z in (0.0, 6.0)])
    i, j = np.arange(n), (np.arange(n) + 1) % n
    cap = np.array([[0, 1, 4], [0, 4, 5], [1, 2, 3], [1, 3, 4]])
    sides = np.concatenate((np.stack((i, j, n + j), 1), np.stack((i, n + j, n + i), 1)))
    solid = mesh(points, np.concatenate((sides, cap[:, ::-1], cap + n)))
    wall = finish(thinnest_wall(solid))
    assert wall is not None
    assert wall.thickness_mm == pytest.approx(0.8, rel=TOLERANCE)
    assert thinnest(moved(solid)) == pytest.approx(0.8, rel=TOLERANCE)


def test_a_thin_fin_on_a_thick_block_is_found() -> None:
    x = np.array([[-3, 0], [3, 0], [3, 4], [0.15, 4], [0.15, 5], [-0.15, 5], [-0.15, 4], [-3, 4.0]])
    n = len(x)
    points = np.concatenate([np.column_stack((x, np.full(n, z))) for z in (0.0, 6.0)])
    i, j = np.arange(n), (np.arange(n) + 1) % n
    cap = np.array([[0, 1, 3], [1, 2, 3], [0, 3, 6], [0, 6, 7], [3, 4, 5], [3, 5, 6]])
    sides = np.concatenate((np.stack((i, j, n + j), 1), np.stack((i, n + j, n + i), 1)))
    wall = finish(thinnest_wall(mesh(points, np.concatenate((sides, cap[:, ::-1], cap + n)))))
    assert wall is not None
    assert wall.thickness_mm == pytest.approx(0.3, rel=1e-9)
    assert wall.point_a[1] >= 4.0 - 0.3


def test_a_knife_edge_and_a_spike_are_sharp_and_a_square_corner_is_not() -> None:
    wedge = mesh(
        np.array([[0, 0, 0], [4, 0, 0], [4, 0, 1], [0, 6, 0], [4, 6, 0], [4, 6, 1.0]]),
        np.array([[0, 1, 2], [3, 5, 4], [0, 4, 1], [0, 3, 4], [1, 5, 2], [1, 4, 5], [0, 2, 5], [0, 5, 3]]),
    )
    wall = finish(thinnest_wall(wedge))
    assert wall is not None
    assert wall.sharp
    assert wall.thickness_mm == 0.0
    assert wall.point_a == pytest.approx([0.0, 3.0, 0.0])
    spike = finish(thinnest_wall(taken(trimesh.creation.cone(1.0, 5.0, sections=16))))
    assert spike is not None
    assert spike.sharp
    assert spike.point_a == pytest.approx([0.0, 0.0, 5.0], abs=0.1)
    # 60 degrees is no edge that metal runs out to.
    assert thinnest(prism(polygon(3), 9.0)) == pytest.approx(1.0, rel=1e-9)


def test_where_the_surface_bounds_no_metal_there_is_no_wall() -> None:
    box = taken(trimesh.creation.box((4, 4, 4)))
    assert finish(thinnest_wall(Mesh(box.points, box.triangles[1:]))) is None
    assert finish(thinnest_wall(Mesh(box.points, box.triangles[:, ::-1]))) is None
    assert finish(thinnest_wall(Mesh(np.zeros((3, 3)), np.array([[0, 1, 2]])))) is None
    one_turned = box.triangles.copy()
    one_turned[0] = one_turned[0, ::-1]
    assert finish(thinnest_wall(Mesh(box.points, one_turned))) is None


def test_findings_name_the_place_and_what_is_missing() -> None:
    foil = Body("foil", taken(trimesh.creation.box((9, 9, 0.5))), Pose(np.eye(3), np.array([100.0, 0.0, 0.0])))
    (finding,) = [f for f in finish(inspect([foil], BENCH)).findings if f.code == "wall-thin"]
    assert (finding.severity, finding.bodies, finding.limit) == ("stop", ("foil",), 0.8)
    assert finding.value == pytest.approx(0.5)
    assert finding.at == pytest.approx((100.0, 0.0, 0.0), abs=5.0)
    assert "0.3 mm thicker" in finding.text
    assert not [f for f in finish(inspect([foil], BENCH, scale=1.7)).findings if f.code == "wall-thin"]


def test_a_round_wire_of_ours_as_thick_as_the_floor_passes_and_a_necked_one_does_not() -> None:
    spot = np.zeros(3)
    circle = np.zeros((8, 3))
    body = Body("link", taken(trimesh.creation.box((1, 1, 1))), wire=Wire(circle, 0.4))
    facets, neck = Wall(0.785, spot, spot, False), Wall(0.7, spot, spot, False)
    assert wall_mm(body, facets) == 0.8
    assert wall_findings([body], [facets], BENCH, 1.0) == ()
    assert len(wall_findings([body], [neck], BENCH, 1.0)) == 1
    # A trace off the wire at the floor is nothing that anybody could mend; more than that is.
    assert wall_findings([body], [facets], BENCH, 0.998) == ()
    assert len(wall_findings([body], [facets], BENCH, 0.95)) == 1
    assert len(wall_findings([replace(body, wire=None)], [facets], BENCH, 1.0)) == 1
