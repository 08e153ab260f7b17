"""Areas and regions of sections against closed forms and a general library of plane geometry.

Closed forms (any handbook of solid geometry): a ball's section pi (r^2 - h^2), a cone's pi (r (1 - h / H))^2, an
upright torus of radii R and r cut through its axis 2 pi r^2, a box tilted about one edge. The library (shapely, test
only) joins the polygons of overlapping bodies its own way.
"""

import numpy as np
import pytest

from addon.rules.base.progress import finish
from addon.rules.inspect.regions import regions
from addon.rules.solid.mesh import Body, Mesh, Pose, merged
from addon.rules.solid.section import sections, surface
from tests.knots import blocks, closed_chain, ring, tube, tubes

FINE = 480


def _lathe(radius: np.ndarray, height: np.ndarray) -> Mesh:
    """A body turned about the z axis from its profile, which begins and ends on the axis."""
    t = np.linspace(0.0, 2.0 * np.pi, FINE, endpoint=False)
    inner = np.stack(
        [np.outer(radius[1:-1], np.cos(t)), np.outer(radius[1:-1], np.sin(t)), np.outer(height[1:-1], np.ones(FINE))],
        axis=2,
    ).reshape(-1, 3)
    low, high = len(inner), len(inner) + 1
    points = np.concatenate([inner, [[0.0, 0.0, height[0]], [0.0, 0.0, height[-1]]]])
    k, n = np.arange(FINE), (np.arange(FINE) + 1) % FINE
    top = (len(radius) - 3) * FINE
    faces = [np.stack([0 * k + low, n, k], 1), np.stack([0 * k + high, top + k, top + n], 1)]
    for row in range(len(radius) - 3):
        a, b, c, d = row * FINE + k, row * FINE + n, (row + 1) * FINE + k, (row + 1) * FINE + n
        faces += [np.stack([a, b, d], 1), np.stack([a, d, c], 1)]
    return Mesh(points, np.concatenate(faces))


def _area(mesh: Mesh, *heights: float) -> np.ndarray:
    found = sections(surface(mesh), np.array(heights))
    return np.bincount(found.layer, weights=found.area_mm2, minlength=len(heights))


def test_a_ball() -> None:
    angle = np.linspace(-np.pi / 2, np.pi / 2, 240)
    heights = np.array([-2.1, -0.4, 0.0, 1.7])
    ball = _lathe(3.0 * np.cos(angle), 3.0 * np.sin(angle))
    assert _area(ball, *heights) == pytest.approx(np.pi * (9.0 - heights**2), rel=2e-4)


def test_a_cone() -> None:
    cone = _lathe(np.array([0.0, 2.0, 0.0]), np.array([0.0, 0.0, 5.0]))
    heights = np.array([0.5, 2.5, 4.9])
    assert _area(cone, *heights) == pytest.approx(np.pi * (2.0 * (1.0 - heights / 5.0)) ** 2, rel=5e-5)


def test_a_standing_torus_through_its_axis() -> None:
    torus = tube(ring(4.0, across=(0, 1, 0), sides=FINE), 1.0, 240)
    assert _area(torus, 0.0) == pytest.approx([2.0 * np.pi], rel=2e-4)


def test_a_tilted_box() -> None:
    """A cube of side 2 tilted by 30 degrees about an edge: 2 x 2 / cos 30 between its side corners, less below."""
    tilt = np.radians(30.0)
    turn = np.array([[np.cos(tilt), 0.0, -np.sin(tilt)], [0.0, 1.0, 0.0], [np.sin(tilt), 0.0, np.cos(tilt)]])
    cube = Body("cube", blocks(np.ones((1, 1, 1), dtype=bool), 2.0), Pose(turn, np.zeros(3))).placed()
    low = 0.4
    across = low / np.sin(tilt) / np.cos(tilt)
    assert _area(cube, low, 1.3) == pytest.approx([2.0 * across, 2.0 * 2.0 / np.cos(tilt)], rel=1e-12)


@pytest.mark.parametrize("seed", range(6))
def test_overlapping_bodies_agree_with_a_library_of_plane_geometry(seed: int) -> None:
    """Rings and blocks thrown together: area, number of regions, and the metal of every one."""
    shapely = pytest.importorskip("shapely")
    random = np.random.default_rng(seed)
    meshes = []
    for _ in range(9):
        turn = np.linalg.qr(random.normal(size=(3, 3)))[0]
        turn = turn * np.linalg.det(turn)
        shape = (
            blocks(np.ones((2, 1, 1), dtype=bool), 1.3) if random.random() < 0.4 else tube(ring(2.0, sides=40), 0.5, 12)
        )
        meshes.append(Body("", shape, Pose(turn, random.uniform(-2.5, 2.5, 3))).placed())
    heights = np.linspace(-2.0, 2.0, 9)
    found = finish(regions(sections(surface(merged(meshes)), heights)))
    for layer in range(len(heights)):
        metal = shapely.union_all([_polygon(shapely, mesh, heights[layer]) for mesh in meshes])
        parts = [part for part in shapely.get_parts(metal) if part.area > 1e-9]
        here = np.flatnonzero(found.layer == layer)
        assert found.area_mm2[here].sum() == pytest.approx(metal.area, abs=1e-9)
        assert sorted(found.area_mm2[here].tolist()) == pytest.approx(sorted(part.area for part in parts), abs=1e-9)
        assert shapely.contains_xy(metal, *found.inner[here].T).all()


def _polygon(shapely, mesh: Mesh, height: float):  # type: ignore[no-untyped-def]
    found = sections(surface(mesh), np.array([height]))
    whole = shapely.Polygon()
    for polygon in found.outlines():
        if len(polygon) >= 3:
            whole = whole.symmetric_difference(shapely.Polygon(polygon))
    return whole


def test_a_chain_has_the_regions_the_library_counts() -> None:
    shapely = pytest.importorskip("shapely")
    links = [body.placed() for body in tubes(*closed_chain(12), radius=0.4)]
    heights = np.linspace(-2.6, 2.6, 14)
    found = finish(regions(sections(surface(merged(links)), heights)))
    for layer, height in enumerate(heights):
        metal = shapely.union_all([_polygon(shapely, mesh, height) for mesh in links])
        assert (found.layer == layer).sum() == len(shapely.get_parts(metal))
