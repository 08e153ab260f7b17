"""How deep fused bodies reach into each other: closed forms, touching, burying, and the same answer however asked."""

import numpy as np
import pytest

from addon.rules.base.errors import BadInput
from addon.rules.base.progress import finish
from addon.rules.solid import crossing as module
from addon.rules.solid.crossing import WITHIN_MM, crossings
from addon.rules.solid.distance import gaps
from addon.rules.solid.mesh import IDENTITY, Body, Pose, merged, mesh
from addon.rules.solid.surface import nearest_on, surface_of
from tests.gap_shapes import ball, oval_link, shared_ring, split, turn_about
from tests.mesh_shapes import box, flipped, moved, tetrahedron, torus

BIG = box(6.0)
TURN = turn_about((1.0, 2.0, 3.0), 0.7)


def crossed(a, b, pose_a=IDENTITY, pose_b=IDENTITY):
    return finish(crossings([Body("a", a, pose_a), Body("b", b, pose_b)], np.array([(0, 1)])))[0]


def rod(radius, half, sides=96):
    """A round rod along z, its ends fans of triangles."""
    turn = 2 * np.pi * np.arange(sides) / sides
    ring = np.stack((radius * np.cos(turn), radius * np.sin(turn)), axis=1)
    low, high = np.insert(ring, 2, -half, axis=1), np.insert(ring, 2, half, axis=1)
    i, j = np.arange(sides), (np.arange(sides) + 1) % sides
    faces = ((i, j, j + sides), (i, j + sides, i + sides), (j, i, 0 * i + 2 * sides))
    top = (i + sides, j + sides, 0 * i + 2 * sides + 1)
    points = np.concatenate((low, high, [(0, 0, -half), (0, 0, half)]))
    return mesh(points, np.concatenate([np.stack(face, axis=1) for face in (*faces, top)]))


# Depths from their definition: the deepest place of either surface in the other's metal.
DEPTHS = {
    # The corner of each is 0.5 from the nearest three faces of the other.
    "box corner in box": (box(2.0), moved(box(2.0), (1.5, 1.5, 1.5)), 0.5),
    "a tip in a face": (box(2.0), tetrahedron((1, 1, 1.7), (0.5, 0.5, 5), (1.5, 0.5, 5), (1, 1.5, 5)), 0.3),
    # No corner of either in the other. The sides of one pass the other's middle, 0.5 from its own sides.
    "two square bars crossed": (box((4, 1, 1), (-2, -0.5, -0.5)), box((1, 4, 1), (-0.5, -2, -0.1)), 0.5),
    # They share 0.2 of height: the top of one lies so deep in the other, across all of its width.
    "two bars that graze": (box((4, 1, 1), (-2, -0.5, -0.5)), box((1, 4, 1), (-0.5, -2, 0.3)), 0.2),
    # Halfway through a thick plate the rod's side is farthest from its faces; in a thin one the plate's face is
    # farthest from the rod's side, at the axis: the rod's flats are cos(pi / 96) of its radius away.
    "rod through a thick plate": (rod(0.5, 5.0), box((6, 6, 2), (-3, -3, -1)), 1.0),
    "rod through a thin plate": (rod(0.5, 5.0), box((6, 6, 0.4), (-3, -3, -0.2)), 0.5 * np.cos(np.pi / 96)),
    # A floor at one depth all over, in many triangles: no place of it is deeper than another.
    "a level floor in many triangles": (
        split(split(split(box(2.0)))),
        split(split(box((4, 4, 1.25), (-1, -1, -1)))),
        0.25,
    ),
    "inside out": (flipped(box(2.0)), moved(box(2.0), (1.5, 1.5, 1.5)), 0.5),
}  # fmt: skip


@pytest.mark.parametrize("name", DEPTHS)
def test_depths_are_those_of_the_definition(name):
    a, b, depth = DEPTHS[name]
    for found in (crossed(a, b), crossed(b, a)):
        assert depth - WITHIN_MM <= found.depth_mm <= depth + 1e-9
        assert not found.buried
        assert np.isfinite(found.at).all()


@pytest.mark.parametrize("overlap", [0.01, 0.1, 0.5])
def test_two_balls_reach_as_deep_as_they_overlap(overlap):
    one = ball(1.0, 4)
    found = crossed(one, moved(one, (0.0, 0.0, 2.0 - overlap)))
    # Two poles meet, both points of their meshes; the faces beside them lie a little inside the round ball.
    assert overlap - 0.002 <= found.depth_mm <= overlap
    assert np.hypot(*found.at[:2]) < 0.02
    assert abs(found.at[2] - 1.0) <= overlap


@pytest.mark.parametrize(("a", "b"), [
    (box(2.0), moved(box(2.0), (2.0, 0.3, 0.2))),
    (split(split(box(2.0))), moved(split(split(box(2.0))), (2.0, 0.31, 0.22))),
    (box(2.0), moved(box(2.0), (2.0, 2.0, 0.2))),
    (box(2.0), moved(box(2.0), (2.0, 2.0, 2.0))),
    (box(2.0), tetrahedron((1, 1, 2), (0.5, 0.5, 5), (1.5, 0.5, 5), (1, 1.5, 5))),
    # A plug that fills a cavity to its walls, as a body of its own.
    (merged([box(6.0), flipped(moved(box(2.0), (2, 2, 2)))]), moved(box(2.0), (2, 2, 2))),
], ids=["faces", "fine faces", "edges", "corners", "tip", "plug"])  # fmt: skip
def test_what_touches_is_not_deep_and_tells_where(a, b):
    found = crossed(a, b)
    assert (found.depth_mm, found.buried) == (0.0, False)
    for solid in (a, b):
        low, high = solid.points.min(axis=0), solid.points.max(axis=0)
        assert (found.at >= low - 1e-9).all()
        assert (found.at <= high + 1e-9).all()


def test_a_buried_body_tells_its_deepest_place():
    # Of the cube's corners the inner one is 2.7 from three walls, and no place of the cube is deeper.
    inner = moved(box(1.0), (1.7, 1.7, 1.7))
    for found in (crossed(BIG, inner), crossed(inner, BIG)):
        assert found.buried
        assert found.depth_mm == pytest.approx(2.7, abs=1e-9)
        assert np.allclose(found.at, 2.7)


def test_a_body_buried_up_to_a_wall_is_as_deep_as_its_far_side():
    found = crossed(BIG, moved(box(2.0), (0.0, 2.0, 2.0)))
    assert found.depth_mm == pytest.approx(2.0, abs=WITHIN_MM)


@pytest.mark.parametrize(("a", "b"), [
    (box(2.0), box(2.0)),
    (box(2.0), split(split(box(2.0)))),
    (oval_link(24, 12), split(oval_link(24, 12))),
    (flipped(box(2.0)), box(2.0)),
], ids=["the same", "another mesh of it", "a link", "one inside out"])  # fmt: skip
def test_two_of_the_same_solid_on_one_place_are_not_said_to_touch(a, b):
    found = crossed(a, b)
    assert found.buried
    assert found.depth_mm > 0.5


def test_open_surfaces_bound_no_metal_but_reach_into_it():
    opened = mesh(box(2.0).points, box(2.0).triangles[2:])
    other = moved(box(2.0), (1.5, 1.5, 1.5))
    assert crossed(opened, other).depth_mm == pytest.approx(0.5)
    assert crossed(opened, moved(opened, (1.5, 1.5, 1.5))).depth_mm == 0.0


def test_triangles_without_area_are_met_as_what_they_are():
    thread = mesh([(-1.0, 1, 1), (1, 1, 1), (3, 1, 1)], [(0, 1, 2)])
    assert crossed(box(2.0), thread).depth_mm == pytest.approx(1.0)
    point = mesh([(2.0, 1, 1)] * 3, [(0, 1, 2)])
    found = crossed(box(2.0), point)
    assert found.depth_mm == 0.0
    assert np.allclose(found.at, (2, 1, 1))
    assert crossed(point, point).depth_mm == 0.0


@pytest.mark.parametrize("name", ["box corner in box", "two square bars crossed", "rod through a thin plate"])
def test_the_depth_does_not_depend_on_where_the_bodies_stand(name):
    a, b, _ = DEPTHS[name]
    here = crossed(a, b)
    pose = Pose(TURN, np.array([300.0, -20.0, 7.0]))
    there = crossed(a, b, pose, pose)
    assert there.depth_mm == pytest.approx(here.depth_mm, rel=1e-9)
    mixed = np.random.default_rng(1).permutation(len(b.triangles))
    assert crossed(a, mesh(b.points, b.triangles[mixed])).depth_mm == pytest.approx(here.depth_mm, abs=WITHIN_MM)
    # The place told is as deep as told: on one surface, and so far from the other.
    local = TURN.T @ (there.at - pose.origin)
    tip = mesh(np.tile(local, (3, 1)), [(0, 1, 2)])
    apart = sorted(surface_distance(solid, tip) for solid in (a, b))
    assert apart[0] == pytest.approx(0.0, abs=1e-9)
    assert apart[1] == pytest.approx(there.depth_mm, abs=1e-9)


def surface_distance(solid, tip):
    """The distance of a point from a surface, in its metal too."""
    return float(finish(nearest_on(finish(surface_of(solid)), tip.points[:1])).distance_mm[0])


@pytest.mark.parametrize("rotation", [np.diag([1.0, 1.0, -1.0]), np.diag([2.0, 2.0, 2.0])], ids=["mirrored", "scaled"])
def test_poses_that_mirror_or_stretch_are_measured_where_the_body_stands(rotation):
    solid = merged([box(1.0), moved(box(1.0), (0.0, 0.0, 3.0))])
    other = moved(box(1.0), rotation @ (0.5, 0.5, 3.5))
    pose = Pose(rotation, np.zeros(3))
    placed = Body("placed", solid, pose).placed()
    depth = crossed(solid, other, pose).depth_mm
    assert depth > 0.2
    assert depth == pytest.approx(crossed(placed, other).depth_mm, abs=1e-9)


def test_equal_relative_poses_are_measured_once_and_told_where_each_stands(monkeypatch):
    # Of the reference ring, its pitch too short: every joint fuses, all of them alike but for who is which.
    bodies = shared_ring(oval_link(24, 12), 20, 8.1)
    table = finish(gaps(bodies, range_mm=0.5))
    pairs = np.stack((table.a, table.b), axis=1)[table.gap_mm == 0.0]
    assert len(pairs) == 20
    calls = []
    once = module._crossing
    monkeypatch.setattr(module, "_crossing", lambda *given: calls.append(given) or once(*given))
    found = finish(crossings(bodies, pairs))
    assert len(calls) <= 2
    for (a, b), one in list(zip(pairs, found, strict=True))[::6]:
        alone = crossed(bodies[a].mesh, bodies[b].mesh, bodies[a].pose, bodies[b].pose)
        assert one.depth_mm == pytest.approx(alone.depth_mm, abs=WITHIN_MM)
    for (a, b), one in zip(pairs, found, strict=True):
        assert one.depth_mm > 0.0
        middle = (bodies[a].pose.origin + bodies[b].pose.origin) / 2
        assert np.linalg.norm(one.at - middle) < 5.0


def test_pairs_that_cannot_be_asked_are_named():
    bodies = [Body("ring 1", torus()), Body("ring 2", moved(torus(), (0.0, 0.0, 9.0)))]
    with pytest.raises(BadInput, match="ring 1 and ring 2 keep a gap; give only pairs whose gap is 0"):
        finish(crossings(bodies, np.array([(0, 1)])))
    for pair in ((0, 2), (-1, 0), (1, 1)):
        with pytest.raises(BadInput, match="two different bodies by the numbers 0 to 1"):
            finish(crossings(bodies, np.array([pair])))
    assert finish(crossings(bodies, np.zeros((0, 2), dtype=np.int64))) == ()
