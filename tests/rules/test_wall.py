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
from addon.rules.solid.wall import Wall, thinnest_wall

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


@pytest.mark.parametrize(
    ("solid", "expected", "share"),
    [
        (taken(trimesh.creation.box((10, 10, 2))), 2.0, 1e-9),
        (taken(trimesh.creation.box((50, 50, 0.3))), 0.3, 1e-9),
        (taken(trimesh.creation.cylinder(1, 20, sections=4)), math.sqrt(2.0), 1e-9),
        (taken(trimesh.creation.icosphere(3, 2.0)), 4.0, 0.015),
        (taken(trimesh.creation.torus(5, 1, 96, 24)), 2.0, 0.04),
        (taken(trimesh.creation.annulus(2, 2.5, 5, sections=64)), 0.5, 0.01),
        (hollow(2.4), 0.6, 0.01),
        (hollow(2.4, 0.3), 0.3, 0.01),
    ],
    ids=["box", "foil", "square bar", "ball", "round wire", "tube", "hollow ball", "hollow ball off its middle"],
)
def test_solids_of_known_thickness_wherever_they_stand(solid: Mesh, expected: float, share: float) -> None:
    assert thinnest(solid) == pytest.approx(expected, rel=share)
    assert thinnest(moved(solid)) == pytest.approx(thinnest(solid), rel=0.01)


def test_a_plate_that_thins_out_is_measured_at_its_thin_end_though_it_has_twelve_faces() -> None:
    plate = trimesh.creation.box((10, 10, 3))
    points = plate.vertices.copy()
    points[(points[:, 0] > 0) & (points[:, 2] > 0), 2] = -0.5
    solid = mesh(points, np.asarray(plate.faces))
    wall = finish(thinnest_wall(solid))
    assert wall is not None
    assert wall.thickness_mm == pytest.approx(1.0, rel=0.1)
    assert wall.point_a[0] > 4.0


def test_a_neck_in_a_wire_is_found_where_it_is() -> None:
    ring = trimesh.creation.torus(5, 1, 96, 24)
    points = ring.vertices.copy()
    angle = np.arctan2(points[:, 1], points[:, 0])
    middle = 5.0 * np.stack([np.cos(angle), np.sin(angle), 0 * angle], axis=1)
    points = middle + (points - middle) * (1.0 - 0.4 * np.exp(-((angle / 0.2) ** 2)))[:, None]
    wall = finish(thinnest_wall(mesh(points, np.asarray(ring.faces))))
    assert wall is not None
    assert wall.thickness_mm == pytest.approx(1.2, rel=0.03)
    assert np.linalg.norm(wall.point_a - (5.0, 0.0, 0.0)) < 1.0


def test_a_knife_edge_is_sharp_and_a_square_corner_is_not() -> None:
    wedge = mesh(
        np.array([[0, 0, 0], [4, 0, 0], [4, 0, 1], [0, 6, 0], [4, 6, 0], [4, 6, 1.0]]),
        np.array([[0, 1, 2], [3, 5, 4], [0, 4, 1], [0, 3, 4], [1, 5, 2], [1, 4, 5], [0, 2, 5], [0, 5, 3]]),
    )
    wall = finish(thinnest_wall(wedge))
    assert wall is not None
    assert wall.sharp
    assert wall.thickness_mm == 0.0
    assert wall.point_a == pytest.approx([0.0, 3.0, 0.0])


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
    assert len(wall_findings([replace(body, wire=None)], [facets], BENCH, 1.0)) == 1
