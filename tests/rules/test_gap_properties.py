"""What must hold of any gap and of any inspection: which body is first, where they stand and how the surface is cut is
of no account, and the places that are told lie on the two surfaces, as far apart as the gap."""

import dataclasses
import functools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from addon.rules.base.profile import load_profile
from addon.rules.base.progress import finish
from addon.rules.inspect.inspection import Inspection, inspect
from addon.rules.solid.distance import PairGap, pair_gap, prepare
from addon.rules.solid.mesh import IDENTITY, Body, FloatArray, Mesh, Pose, mesh
from addon.rules.solid.triangle_pairs import closest_points
from tests.gap_shapes import ball, split, turn_about
from tests.mesh_shapes import box, torus

BENCH = load_profile("bench")
SEEDS = st.integers(0, 10_000)
RELATIVE, ROUNDING = 1e-9, 1e-12


def found(a: Mesh, b: Mesh, pose_a: Pose = IDENTITY, pose_b: Pose = IDENTITY) -> PairGap:
    return pair_gap(prepare(a), pose_a, prepare(b), pose_b)


def lump(seed: int) -> Mesh:
    """A ball, a box or a ring with every point pushed about."""
    rng = np.random.default_rng(seed)
    solid = (ball(1.0, 1), box(1.5, (-0.7, -0.8, -0.75)), torus(1.2, 0.4, 12, 6))[seed % 3]
    return mesh(solid.points * rng.uniform(0.8, 1.2, (len(solid.points), 1)), solid.triangles)


def anywhere(rng: np.random.Generator, far: float) -> Pose:
    turn = turn_about(tuple(rng.normal(size=3)), float(rng.uniform(0, 3)))
    return Pose(turn, rng.normal(size=3) * far)


def two(seed: int) -> tuple[Mesh, Pose, Mesh, Pose]:
    """Two lumps near each other, some apart, some crossing."""
    rng = np.random.default_rng(seed)
    return lump(seed), IDENTITY, lump(seed + 1), anywhere(rng, 1.8)


def off_surface_mm(place: FloatArray, solid: Mesh) -> float:
    corners = solid.corners()
    spot = np.broadcast_to(place, (len(corners), 3, 3))
    return float(closest_points(spot, corners)[0].min())


@given(SEEDS)
@settings(max_examples=15, deadline=None)
def test_the_two_places_lie_on_the_surfaces_as_far_apart_as_the_gap(seed: int) -> None:
    a, _, b, pose = two(seed)
    told = found(a, b, IDENTITY, pose)
    assert np.linalg.norm(told.point_b - told.point_a) == pytest.approx(told.gap_mm, rel=RELATIVE, abs=ROUNDING)
    if told.gap_mm > 0.0:
        assert off_surface_mm(told.point_a, a) < 1e-12
        assert off_surface_mm(told.point_b, Body("b", b, pose).placed()) < 1e-12


@given(SEEDS)
@settings(max_examples=15, deadline=None)
def test_the_other_way_round_the_gap_is_the_same(seed: int) -> None:
    a, _, b, pose = two(seed)
    there, back = found(a, b, IDENTITY, pose), found(b, a, pose, IDENTITY)
    assert back.gap_mm == pytest.approx(there.gap_mm, rel=RELATIVE, abs=ROUNDING)


@given(SEEDS, st.sampled_from([1.0, 100.0, 10_000.0]))
@settings(max_examples=20, deadline=None)
def test_a_motion_of_both_leaves_the_gap_and_the_distance_of_its_places(seed: int, far: float) -> None:
    """Rounding is relative to the coordinates: one part in 1e15 of 10 m is 1e-11 mm."""
    a, _, b, pose = two(seed)
    motion = anywhere(np.random.default_rng(seed + 1), far)
    moved = Pose(motion.rotation @ pose.rotation, motion.apply(pose.origin))
    still, carried = found(a, b, IDENTITY, pose), found(a, b, motion, moved)
    rounding = ROUNDING * max(1.0, far)
    assert carried.gap_mm == pytest.approx(still.gap_mm, rel=RELATIVE, abs=rounding)
    assert np.linalg.norm(carried.point_b - carried.point_a) == pytest.approx(
        still.gap_mm, rel=RELATIVE, abs=10.0 * rounding
    )


@given(SEEDS)
@settings(max_examples=20, deadline=None)
def test_the_order_of_triangles_corners_and_points_is_of_no_account(seed: int) -> None:
    a, _, b, pose = two(seed)
    rng = np.random.default_rng(seed)
    place = rng.permutation(len(a.points))
    points = np.empty_like(a.points)
    points[place] = a.points
    shuffled = mesh(points, np.roll(place[a.triangles][rng.permutation(len(a.triangles))], seed % 3, axis=1))
    assert found(shuffled, b, IDENTITY, pose).gap_mm == pytest.approx(
        found(a, b, IDENTITY, pose).gap_mm, rel=RELATIVE, abs=ROUNDING
    )


@given(SEEDS, st.integers(0, 2), st.integers(0, 2))
@settings(max_examples=20, deadline=None)
def test_a_finer_cut_of_the_same_surfaces_leaves_the_gap(seed: int, first: int, second: int) -> None:
    a, _, b, pose = two(seed)
    still = found(a, b, IDENTITY, pose).gap_mm
    for _ in range(first):
        a = split(a)
    for _ in range(second):
        b = split(b)
    assert found(a, b, IDENTITY, pose).gap_mm == pytest.approx(still, rel=RELATIVE, abs=ROUNDING)


@given(SEEDS, st.floats(0.01, 100.0))
@settings(max_examples=20, deadline=None)
def test_everything_larger_makes_the_gap_larger_by_as_much(seed: int, by: float) -> None:
    a, _, b, pose = two(seed)
    grown = Pose(pose.rotation, by * pose.origin)
    large = found(mesh(by * a.points, a.triangles), mesh(by * b.points, b.triangles), IDENTITY, grown)
    still = found(a, b, IDENTITY, pose).gap_mm
    assert large.gap_mm == pytest.approx(by * still, rel=RELATIVE, abs=by * ROUNDING)


# --- a whole inspection


def links() -> list[Body]:
    """Five rings in a row, each turned against the last and at its own distance; two of them share a mesh."""
    wide, narrow = torus(3.0, 0.7, 24, 10), torus(3.0, 0.6, 24, 10)
    x, bodies = 0.0, []
    for k, (shape, pitch) in enumerate(((wide, 0.0), (narrow, 4.1), (wide, 4.25), (narrow, 4.3), (narrow, 4.4))):
        x += pitch
        turn = turn_about((1, 0, 0), math.pi / 2 * (k % 2) + 0.1 * k)
        bodies.append(Body(f"ring {k + 1}", shape, Pose(turn, np.array([x, 0.0, 0.05 * k]))))
    return bodies


def inspected(bodies: list[Body]) -> Inspection:
    return finish(inspect(bodies, BENCH))


@functools.cache
def as_they_are() -> Inspection:
    return inspected(links())


def figures(inspection: Inspection) -> dict[frozenset[str], list[float]]:
    """The figures of every pair, by the names of its bodies; what is not told is no number."""
    return {
        frozenset((p.a, p.b)): [
            math.nan if figure is None else float(figure)
            for figure in (p.gap_mm, p.linked, *(() if p.ladder is None else dataclasses.astuple(p.ladder)))
        ]
        for p in inspection.pairs
    }


def worst(inspection: Inspection) -> dict[frozenset[str], tuple[float, float]]:
    return {frozenset((w.a, w.b)): (w.thickness_mm, w.width_mm) for w in inspection.webs}


def said(inspection: Inspection) -> list[tuple[str, str, tuple[str, ...]]]:
    return sorted((f.code, f.severity, tuple(sorted(f.bodies))) for f in inspection.findings)


def same(one: Inspection, other: Inspection, *, webs: float) -> None:
    assert figures(one).keys() == figures(other).keys()
    for pair, told in figures(one).items():
        assert figures(other)[pair] == pytest.approx(told, rel=RELATIVE, abs=1e-11, nan_ok=True)
    for a, b in zip(sorted(one.bodies, key=lambda f: f.name), sorted(other.bodies, key=lambda f: f.name), strict=True):
        assert (a.closed, a.genus) == (b.closed, b.genus)
        assert b.volume_mm3 == pytest.approx(a.volume_mm3, rel=RELATIVE)
        assert b.wall_mm == (None if a.wall_mm is None else pytest.approx(a.wall_mm, rel=RELATIVE))
    assert worst(one).keys() == worst(other).keys()
    for pair, told in worst(one).items():
        assert worst(other)[pair] == pytest.approx(told, rel=webs)
    assert said(one) == said(other)


def test_an_inspection_does_not_depend_on_the_order_of_the_bodies() -> None:
    """A web is measured by steps; seen from its other side the step of its figures may differ."""
    bodies = links()
    same(as_they_are(), inspected([bodies[k] for k in (3, 0, 4, 2, 1)]), webs=1e-9)


def test_an_inspection_does_not_depend_on_where_the_bodies_stand() -> None:
    """In a profile without bleed and over-cure no direction is special."""
    bodies = links()
    motion = anywhere(np.random.default_rng(1), 100.0)
    moved = [Body(b.name, b.mesh, Pose(motion.rotation @ b.pose.rotation, motion.apply(b.pose.origin))) for b in bodies]
    same(as_they_are(), inspected(moved), webs=1e-6)


def test_copies_of_one_mesh_are_inspected_like_meshes_of_their_own() -> None:
    bodies = links()
    same(as_they_are(), inspected([Body(b.name, b.placed()) for b in bodies]), webs=1e-6)
