"""Light reach against view factors: the share of light that arrives is 1 less the view factor to what stands over it.

J. R. Howell, A Catalog of Radiation Heat Transfer Configuration Factors (thermalradiation.net), by the catalogue's
numbers from memory; the worked figures from the places named beside them.
"""

import math

import fcl
import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from addon.rules.base.progress import finish
from addon.rules.inspect.light import LightReach, light_reach
from addon.rules.solid.mesh import Body, Mesh, Pose, mesh
from tests.mesh_shapes import rotation, torus

DIRECTIONS = 1024


def rectangle(corner: tuple[float, ...], u: tuple[float, ...], v: tuple[float, ...]) -> Mesh:
    """Two triangles that look along u x v."""
    a, b, c = np.array(corner), np.array(u), np.array(v)
    return mesh(np.array([a, a + b, a + b + c, a + c]), [(0, 1, 2), (0, 2, 3)])


def disc(radius: float, height: float, *, sides: int = 720) -> Mesh:
    """A level polygon of the area of the disc."""
    turn = 2.0 * np.pi * np.arange(sides) / sides
    radius *= math.sqrt(math.pi / (0.5 * sides * math.sin(2.0 * math.pi / sides)))
    rim = np.column_stack((radius * np.cos(turn), radius * np.sin(turn), np.full(sides, height)))
    steps = np.arange(sides)
    fan = np.column_stack((np.full(sides, sides), steps, (steps + 1) % sides))
    return mesh(np.vstack((rim, (0.0, 0.0, height))), fan)


def turned(shapes: list[Mesh], seed: int = 5) -> list[Body]:
    """Bodies turned together, so that nothing lies along the axes of the directions or the pixels."""
    return [Body(str(n), shape, Pose(rotation(seed), np.array([3.0, -2.0, 1.0]))) for n, shape in enumerate(shapes)]


def measured(shapes: list[Mesh], pixel_mm: float, directions: int = DIRECTIONS) -> LightReach:
    return finish(light_reach(turned(shapes), directions=directions, pixel_mm=pixel_mm))


def average(reach: LightReach, body: int) -> float:
    """The light reach of a whole body, by area."""
    of = reach.body == body
    return float(np.average(reach.share[of], weights=reach.area_mm2[of]))


def opposite_rectangles(x: float, y: float) -> float:
    """The view factor of equal parallel rectangles right over each other, sides over distance x and y (Howell C-11)."""
    a, b = 1.0 + x * x, 1.0 + y * y
    return (
        2.0
        / (math.pi * x * y)
        * (
            0.5 * math.log(a * b / (a + b - 1.0))
            + x * math.sqrt(b) * math.atan(x / math.sqrt(b))
            + y * math.sqrt(a) * math.atan(y / math.sqrt(a))
            - x * math.atan(x)
            - y * math.atan(y)
        )
    )


# Worked figures: X = Y = 1 of the tables of parallel rectangles (engdatabase.com, after F. P. Incropera, table 13.2);
# 1 by 1.5 at 0.5 of an engineering program's handbook (fchartsoftware.com, after R. Siegel and J. R. Howell, Thermal
# Radiation Heat Transfer, 4th edition, p. 843).
@pytest.mark.parametrize(("a", "b", "c", "factor"), [(1.0, 1.0, 1.0, 0.1998), (1.0, 1.5, 0.5, 0.4756)])
def test_two_facing_rectangles_hide_from_each_other_what_the_tables_say(
    a: float, b: float, c: float, factor: float
) -> None:
    assert opposite_rectangles(a / c, b / c) == pytest.approx(factor, abs=6e-5)
    floor, roof = rectangle((0, 0, 0), (a, 0, 0), (0, b, 0)), rectangle((0, 0, c), (0, b, 0), (a, 0, 0))
    reach = measured([floor, roof], 0.02)
    for body in (0, 1):
        assert average(reach, body) == pytest.approx(1.0 - factor, abs=0.003)


@settings(max_examples=5, derandomize=True, deadline=None)
@given(x=st.floats(0.3, 4.0), y=st.floats(0.3, 4.0), seed=st.integers(0, 1000))
def test_facing_rectangles_of_any_size_keep_to_the_closed_form(x: float, y: float, seed: int) -> None:
    floor, roof = rectangle((0, 0, 0), (x, 0, 0), (0, y, 0)), rectangle((0, 0, 1), (0, y, 0), (x, 0, 0))
    reach = finish(light_reach(turned([floor, roof], seed), directions=256, pixel_mm=0.04))
    for body in (0, 1):
        assert abs(average(reach, body) - (1.0 - opposite_rectangles(x, y))) <= reach.sampling_error


@pytest.mark.parametrize("deep", [0.25, 1.0, 2.0])
def test_the_floor_of_a_long_groove_sees_what_crossed_strings_say(deep: float) -> None:
    """H. C. Hottel's crossed strings: floor to opening sqrt(1 + H^2) - H, wall to opening (1 + H - sqrt(1 + H^2)) / 2H.

    H is depth over width. The middle line of the floor sees the sine of half the angle of the opening.
    """
    strip = 0.04

    def groove(begin: float, length: float) -> list[Mesh]:
        along = (0.0, length, 0.0)
        return [
            rectangle((-strip / 2, begin, 0), (strip, 0, 0), along),
            rectangle((-0.5, begin, 0), (0.5 - strip / 2, 0, 0), along),
            rectangle((strip / 2, begin, 0), (0.5 - strip / 2, 0, 0), along),
            rectangle((-0.5, begin, 0), along, (0, 0, deep)),
            rectangle((0.5, begin, 0), (0, 0, deep), along),
        ]

    # Only the middle is looked at: the ends of so long a groove are open.
    reach = measured([*groove(-1.0, 2.0), *groove(-10.0, 9.0), *groove(1.0, 9.0)], 0.06, 512)
    slant = math.hypot(1.0, deep)
    middle = math.sin(math.atan(0.5 / deep))
    assert average(reach, 0) == pytest.approx(middle, abs=reach.sampling_error)
    floor = strip * average(reach, 0) + (1.0 - strip) / 2.0 * (average(reach, 1) + average(reach, 2))
    assert floor == pytest.approx(slant - deep, abs=0.005)
    for body in (3, 4):
        assert average(reach, body) == pytest.approx((1.0 + deep - slant) / (2.0 * deep), abs=0.005)


@pytest.mark.parametrize("opening_deg", [60.0, 130.0])
def test_every_place_in_a_round_cup_sees_the_same_share_of_the_sky(opening_deg: float) -> None:
    """Inside a sphere every view factor to a part of it is that part's share of the sphere's area, from anywhere.

    So from all over a cup the share that goes out is 1 less the cup's own, (1 + cos) / 2 for the half angle of the
    opening. A half sphere sees a half.
    """
    rings, sides = 24, 60
    polar = np.linspace(0.0, math.pi - math.radians(opening_deg), rings + 1)[1:]
    turn = 2.0 * np.pi * np.arange(sides) / sides
    rim = np.stack(
        (
            np.outer(np.sin(polar), np.cos(turn)),
            np.outer(np.sin(polar), np.sin(turn)),
            np.outer(-np.cos(polar), np.ones(sides)),
        ),
        axis=-1,
    ).reshape(-1, 3)
    ring, step = (part.ravel() for part in np.meshgrid(np.arange(rings - 1), np.arange(sides), indexing="ij"))
    a, b = ring * sides + step, ring * sides + (step + 1) % sides
    quads = np.vstack((np.column_stack((a, b, b + sides)), np.column_stack((a, b + sides, a + sides))))
    bottom = np.column_stack((np.full(sides, len(rim)), np.roll(np.arange(sides), -1), np.arange(sides)))
    cup = mesh(5.0 * np.vstack((rim, (0.0, 0.0, -1.0))), np.vstack((quads, bottom))[:, ::-1])
    share = (1.0 - math.cos(math.radians(opening_deg))) / 2.0
    reach = measured([cup], 0.1, 512)
    assert average(reach, 0) == pytest.approx(share, abs=0.005)
    # Facets see a little more of the sky than the round does: by half a facet's angle at most.
    facet = math.pi / sides
    assert (np.abs(reach.share - share) <= reach.sampling_error + reach.pixel_error + facet).all()
    assert np.std(reach.share) < 0.01


@pytest.mark.parametrize("radius", [0.3, 2.0])
@pytest.mark.parametrize("tilt_deg", [0.0, 15.0])
def test_a_place_under_a_disc_loses_what_the_disc_covers(radius: float, tilt_deg: float) -> None:
    """r^2 / (h^2 + r^2), times the cosine of the tilt while the whole disc stands over the horizon (Howell B-12, B-13).

    Derived at craftbook.thermocraft.space, disk view factor.
    """
    tilt = math.radians(tilt_deg)
    half = 0.02
    across, along = (math.cos(tilt), 0.0, -math.sin(tilt)), (0.0, 1.0, 0.0)
    place = rectangle(
        tuple(-half * (np.array(across) + along)), tuple(2 * half * np.array(across)), (0.0, 2 * half, 0.0)
    )
    reach = measured([place, disc(radius, 1.0)], 0.04, 512)
    share = 1.0 - radius**2 / (1.0 + radius**2) * math.cos(tilt)
    assert average(reach, 0) == pytest.approx(share, abs=reach.sampling_error)


@pytest.mark.parametrize(
    "shape",
    [
        trimesh.creation.box((4.0, 3.0, 2.0)),
        trimesh.creation.icosphere(subdivisions=3, radius=2.0),
        trimesh.creation.cylinder(1.0, 5.0, sections=200),
        trimesh.creation.cone(2.0, 3.0, sections=150),
    ],
)
def test_on_a_convex_body_all_light_arrives_everywhere(shape: trimesh.Trimesh) -> None:
    reach = measured([mesh(np.asarray(shape.vertices), np.asarray(shape.faces))], 0.1, 256)
    assert (reach.share == 1.0).all()


def test_two_linked_rings_shade_each_other_as_rays_of_another_library_say() -> None:
    """Rays from random places of faces in random directions of their half sphere, their weight the cosine."""
    one, other = torus(3.0, 0.8, 40, 14), torus(3.0, 0.8, 40, 14)
    places = [Pose(np.eye(3), np.zeros(3)), Pose(np.array([[1.0, 0, 0], [0, 0, -1], [0, 1, 0]]), np.array([3.2, 0, 0]))]
    bodies = [Body("one", one, places[0]), Body("other", other, places[1])]
    reach = finish(light_reach(bodies, directions=512, pixel_mm=0.07))
    both = np.concatenate([body.points()[body.mesh.triangles] for body in bodies])
    scene = fcl.BVHModel()
    scene.beginModel(len(both), 3 * len(both))
    scene.addSubModel(both.reshape(-1, 3), np.arange(3 * len(both)).reshape(-1, 3))
    scene.endModel()
    target = fcl.CollisionObject(scene)
    long, rays = 20.0, 400
    needle = fcl.Capsule(1e-7, long)
    random = np.random.default_rng(3)
    faces = random.choice(len(both), 16, replace=False)
    for face in faces:
        a, b, c = both[face]
        normal = np.cross(b - a, c - a)
        normal /= np.linalg.norm(normal)
        free = 0
        for _ in range(rays):
            u, v = random.random(2)
            u, v = (1.0 - u, 1.0 - v) if u + v > 1.0 else (u, v)
            # A point of the unit sphere about the tip of the normal: its direction is spread by the cosine.
            ball = random.normal(size=3)
            way = normal + ball / np.linalg.norm(ball)
            way /= np.linalg.norm(way)
            start = a + u * (b - a) + v * (c - a) + 1e-6 * normal
            side = np.linalg.svd(way[None])[2][1]
            frame = np.column_stack((side, np.cross(way, side), way))
            ray = fcl.CollisionObject(needle, fcl.Transform(frame, start + (0.5 * long + 1e-6) * way))
            free += not fcl.collide(ray, target)
        share = free / rays
        # Three standard deviations of the rays, beside what the measure itself leaves open.
        spread = 3.0 * math.sqrt(max(share * (1.0 - share), 1.0 / rays) / rays)
        assert abs(reach.share[face] - share) <= reach.sampling_error + float(reach.pixel_error[face]) + spread
    assert reach.share[faces].min() < 0.5 < 0.9 < reach.share[faces].max()
