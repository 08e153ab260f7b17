"""Volumes and spill heights of pockets against closed forms, and against booleans of manifold3d measured by trimesh.

Closed forms (any handbook of solid geometry): a cylinder pi r^2 h; half a ball 2/3 pi r^3; a round cup of radius r and
depth h that leans by an angle a keeps pi r^2 (h - r tan a) while its floor is covered, for the level of what is left is
a plane through the lowest point of the rim; a bowl of half a ball that leans keeps the cap of height r (1 - sin a),
pi r^3 (2 - 3 sin a + sin^3 a) / 3.

The judge: what lies below a level, less the solid, falls into the surroundings and the pools that are shut off from
them. The highest level at which a pool is still shut off is where it spills.
"""

import numpy as np
import pytest
import trimesh

from addon.rules.base.progress import finish
from addon.rules.inspect.cups import Cup, cups
from addon.rules.solid.mesh import Body, Mesh, Pose, mesh
from tests.gap_shapes import turn_about

manifold3d = pytest.importorskip("manifold3d")

LAYER = 0.02


def _found(solid: Mesh, up: tuple[float, float, float], **options: float) -> tuple[Cup, ...]:
    return finish(cups([Body("solid", solid)], LAYER, up, fused=(), **options))


def _lathe(radius: list[float], height: list[float], sides: int = 180) -> "manifold3d.Manifold":
    outline = manifold3d.CrossSection([list(zip(radius, height, strict=True))])
    return outline.revolve(sides)


def _taken(solid: "manifold3d.Manifold") -> Mesh:
    made = solid.to_mesh64()
    return mesh(np.asarray(made.vert_properties)[:, :3], np.asarray(made.tri_verts, dtype=np.int64))


def _leaning(angle_deg: float) -> tuple[float, float, float]:
    angle = np.radians(angle_deg)
    return (float(np.sin(angle)), 0.0, float(np.cos(angle)))


def _cup() -> Mesh:
    """A cup of radius 3 and depth 4, walls and floor 1 thick."""
    return _taken(_lathe([0, 4, 4, 3, 3, 0], [0, 0, 5, 5, 1, 1]))


def _bowl() -> Mesh:
    """Half a ball of radius 3 hollowed out of a block of radius 4."""
    t = np.linspace(-np.pi / 2, 0.0, 120)[::-1]
    return _taken(_lathe([0, 4, 4, *(3 * np.cos(t))], [0, 0, 4, *(4 + 3 * np.sin(t))]))


def test_an_upright_cup_and_one_upside_down() -> None:
    (found,) = _found(_cup(), (0.0, 0.0, 1.0))
    assert found.volume_mm3 == pytest.approx(np.pi * 9.0 * 4.0, rel=1e-3)
    assert (found.floor_mm, found.spill_mm) == (pytest.approx(1.0, abs=LAYER), pytest.approx(5.0, abs=LAYER))
    assert np.hypot(*found.at[:2]) < 0.1
    assert _found(_cup(), (0.0, 0.0, -1.0)) == ()


@pytest.mark.parametrize("angle_deg", [5.0, 15.0, 25.0, 33.0])
def test_a_leaning_cup_spills_over_the_lowest_of_its_rim(angle_deg: float) -> None:
    (found,) = _found(_cup(), _leaning(angle_deg))
    tan = np.tan(np.radians(angle_deg))
    # To half a layer over the level of what is left, an ellipse.
    slack = 0.5 * LAYER * np.pi * 9.0 / np.cos(np.radians(angle_deg))
    assert found.volume_mm3 == pytest.approx(np.pi * 9.0 * (4.0 - 3.0 * tan), abs=slack + 0.1)


@pytest.mark.parametrize("angle_deg", [0.0, 15.0, 40.0, 60.0])
def test_a_bowl_keeps_a_cap(angle_deg: float) -> None:
    (found,) = _found(_bowl(), _leaning(angle_deg))
    sin = np.sin(np.radians(angle_deg))
    slack = 0.5 * LAYER * np.pi * 9.0 * (1.0 - sin**2)
    assert found.volume_mm3 == pytest.approx(np.pi * 27.0 * (2.0 - 3.0 * sin + sin**3) / 3.0, abs=slack + 0.05)


def test_a_closed_ball_of_air_is_there_whichever_way_is_up() -> None:
    t = np.linspace(-np.pi / 2, np.pi / 2, 160)
    ball = _lathe([0, *(2 * np.cos(t[1:-1])), 0], [-2, *(2 * np.sin(t[1:-1])), 2])
    solid = _taken(manifold3d.Manifold.cube((6.0, 6.0, 6.0), True) - ball)
    for up in ((0.0, 0.0, 1.0), (1.0, -2.0, 0.5)):
        (found,) = _found(solid, up)
        assert found.spill_mm is None
        assert found.volume_mm3 == pytest.approx(4.0 / 3.0 * np.pi * 8.0, rel=1e-3)
        assert np.linalg.norm(found.at) < 2.0


def _pools(solid: Mesh, level: float) -> list[float]:
    """The volumes below a level that are shut off from the surroundings, by manifold3d and trimesh."""
    whole = manifold3d.Manifold(manifold3d.Mesh64(solid.points.copy(), solid.triangles.astype(np.uint64)))
    low, high = solid.points.min(axis=0) - 1.0, solid.points.max(axis=0) + 1.0
    room = manifold3d.Manifold.cube((high[0] - low[0], high[1] - low[1], level - low[2])).translate(tuple(low))
    sizes = []
    for lump in (room - whole).decompose():
        made = lump.to_mesh64()
        sizes.append(trimesh.Trimesh(np.asarray(made.vert_properties)[:, :3], np.asarray(made.tri_verts)).volume)
    return sorted(sizes)[:-1]


@pytest.mark.parametrize("seed", range(6))
def test_pools_of_a_pitted_block_against_booleans(seed: int) -> None:
    """A block with a pit in every side, stood any way up: just below its spill height the judge finds the pool shut
    off, just above it no longer; in between lies its volume."""
    rng = np.random.default_rng(seed)
    block = manifold3d.Manifold.cube((8.0, 7.0, 6.0), True)
    for axis in range(3):
        for side in (-1.0, 1.0):
            place = rng.uniform(-1.0, 1.0, 3)
            place[axis] = side * (4.0, 3.5, 3.0)[axis]
            block -= manifold3d.Manifold.sphere(float(rng.uniform(1.6, 2.2)), 48).translate(tuple(place))
    turned = _taken(block)
    stand = turn_about(tuple(rng.normal(size=3)), float(rng.uniform(0.0, 3.0)))
    stood = mesh(turned.points @ stand.T, turned.triangles)
    found = _found(stood, (0.0, 0.0, 1.0), least_mm3=0.3)
    spilling = [cup for cup in found if cup.spill_mm is not None]
    assert spilling
    for cup in spilling:
        below, above = _pools(stood, cup.spill_mm - LAYER), _pools(stood, cup.spill_mm + LAYER)
        smallest = [size for size in below if size <= cup.volume_mm3 * 1.002]
        assert smallest
        least = max(smallest)
        assert cup.volume_mm3 - least < 4.0 * LAYER * np.sqrt(8.0**2 + 7.0**2)
        assert not any(abs(size - cup.volume_mm3) < 1e-3 * cup.volume_mm3 for size in above)


def test_the_direction_is_the_turn_of_the_body() -> None:
    """Looked at along a direction, a body is the same as when it is turned that way."""
    turn = turn_about((1.0, 2.0, -0.5), 0.4)
    (leaning,) = _found(_cup(), tuple(turn.T @ [0.0, 0.0, 1.0]))
    (turned,) = finish(cups([Body("solid", _cup(), Pose(turn, np.zeros(3)))], LAYER))
    assert turned.volume_mm3 == pytest.approx(leaning.volume_mm3, rel=1e-9)
    assert turned.spill_mm == pytest.approx(leaning.spill_mm)
