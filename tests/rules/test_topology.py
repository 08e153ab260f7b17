"""Surfaces closed or not, and the bodies of a mesh: the rule of the design, case by case."""

import numpy as np
import pytest

from addon.rules.solid import winding
from addon.rules.solid.measure import volume_mm3
from addon.rules.solid.mesh import Mesh, merged, mesh
from addon.rules.solid.topology import bodies_of, facts, weld
from tests.mesh_shapes import (
    box,
    cubes,
    flipped,
    frame_block,
    grid_triangles,
    moved,
    rotation,
    soup,
    tetrahedron,
    torus,
)


def assert_sound(body: Mesh, volume: float, genus: int = 0, shells: int = 1) -> None:
    """A body with no fault at all, and a manifold by its indices: every edge once each way."""
    found = facts(body)
    assert found.closed
    assert (found.genus, found.shells) == (genus, shells)
    assert (found.open_edges, found.turned_edges, found.doubled_faces, found.zero_area) == (0, 0, 0, 0)
    assert not found.inside_out
    assert volume_mm3(body) == pytest.approx(volume, rel=1e-9)
    assert found.volume_mm3 == pytest.approx(volume, rel=1e-9)
    t = body.triangles
    edges = {(a, b) for a, b in np.concatenate([t[:, [0, 1]], t[:, [1, 2]], t[:, [2, 0]]]).tolist()}
    assert len(edges) == 3 * len(t)
    assert {(b, a) for a, b in edges} == edges
    # Euler's formula on the indices themselves, shell by shell summed.
    assert len(np.unique(t)) - len(edges) // 2 + len(t) == 2 * shells - 2 * genus


def volumes(bodies: tuple[Mesh, ...]) -> list[float]:
    return [round(volume_mm3(b), 9) for b in bodies]


# Welding


def test_weld_merges_equal_points_only_and_drops_unused_ones():
    near = np.nextafter(1.0, 2.0)
    points = [[9, 9, 9], [0.0, 0, 0], [1, 0, 0], [0, 1, 0], [-0.0, 0, 0], [near, 0, 0], [0, 0, 1]]
    welded = weld(np.array(points, dtype=float), np.array([[1, 2, 3], [4, 6, 5]]))
    assert welded.points.tolist() == [[0, 0, 0], [1, 0, 0], [0, 1, 0], [near, 0, 0], [0, 0, 1]]
    assert welded.triangles.tolist() == [[0, 1, 2], [0, 4, 3]]


def test_weld_agrees_with_sorting_whole_rows():
    """Slow plain version: numpy's unique over rows."""
    rng = np.random.default_rng(7)
    points = rng.integers(-3, 4, (4000, 3)) * 0.1
    triangles = rng.integers(0, 4000, (9000, 3))
    welded = weld(points, triangles)
    assert np.array_equal(welded.points[welded.triangles], points[triangles] + 0.0)
    assert len(welded.points) == len(np.unique(points[np.unique(triangles)] + 0.0, axis=0))


def test_a_crack_of_one_rounding_step_stays_open():
    block = soup(box())
    points = block.points.copy()
    points[0, 0] = np.nextafter(points[0, 0], 1.0)
    found = facts(mesh(points, block.triangles))
    assert not found.closed
    assert found.open_edges == 4


# Genus


@pytest.mark.parametrize("holes", [0, 1, 2, 5])
def test_genus_counts_the_holes_of_a_block(holes):
    block = frame_block(holes)
    (body,) = bodies_of(block)
    assert_sound(body, 3 * (2 * holes + 1) - holes, genus=holes)


def test_a_ring_has_genus_1_and_its_euler_number_is_that_of_trimesh():
    trimesh = pytest.importorskip("trimesh")
    (body,) = bodies_of(soup(torus()))
    assert facts(body).genus == 1
    assert trimesh.Trimesh(body.points, body.triangles, process=False).euler_number == 0


def test_facts_of_several_bodies_sum_their_handles():
    found = facts(merged([torus(), moved(torus(), (0, 0, 9)), moved(box(), (20, 0, 0))]))
    assert (found.closed, found.genus, found.shells) == (True, 2, 3)


# What joins and what does not


def test_two_cubes_apart_or_sharing_a_point_an_edge_or_a_face_are_two_bodies():
    for shift in ((2, 0, 0), (1, 1, 1), (1, 1, 0), (1, 0, 0)):
        bodies = bodies_of(soup(merged([box(), moved(box(), shift)])))
        assert len(bodies) == 2
        for body, at in zip(bodies, ((0, 0, 0), shift), strict=True):
            assert_sound(body, 1.0)
            assert body.points.min(axis=0).tolist() == list(at)


def test_tetrahedra_that_share_an_edge_by_their_point_numbers_are_two_bodies():
    edge = ((0, 0, 0), (0, 0, 1))
    parts = [tetrahedron(*edge, (x, -0.5, 0), (x, 0.5, 0)) for x in (1, -1)]
    both = weld(merged(parts).points, merged(parts).triangles)
    assert len(both.points) == 6
    found = facts(both)
    assert found.closed
    assert found.non_manifold_edges == 1
    assert found.non_manifold_at.tolist() == [0, 0, 0.5]
    bodies = bodies_of(both)
    assert len(bodies) == 2
    for body in bodies:
        assert_sound(body, 1 / 6)
        assert facts(body).non_manifold_edges == 0


def test_where_metal_lies_around_them_the_two_are_one_cavity():
    """The same tetrahedra inside out: the metal side closes the other way about the edge."""
    edge = ((0, 0, 0), (0, 0, 1))
    parts = [flipped(tetrahedron(*edge, (x, -0.5, 0), (x, 0.5, 0))) for x in (1, -1)]
    (body,) = bodies_of(merged([*parts, box(8, (-4, -4, -4))]))
    assert facts(body).shells == 2
    assert facts(body).volume_mm3 == pytest.approx(512 - 1 / 3)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("wedges", [2, 3, 5, 8])
def test_wedges_fanned_around_one_edge_stay_apart_whichever_way_they_lie(wedges, seed):
    """The faces at the common edge pair by angle, in any position and in any order of the triangles."""
    rng = np.random.default_rng(seed)
    parts = []
    for k in range(wedges):
        begin, end = 2 * np.pi * (k + np.array([0.1, 0.8])) / wedges
        corners = [(0, 0, 0), (0, 0, 1), (np.cos(begin), np.sin(begin), 0.3), (np.cos(end), np.sin(end), 0.4)]
        parts.append(tetrahedron(*(np.array(corners) @ rotation(seed).T)))
    both = merged(parts)
    turns = rng.integers(0, 3, len(both.triangles))
    mixed = np.array([np.roll(t, k) for t, k in zip(both.triangles, turns, strict=True)])
    bodies = bodies_of(mesh(both.points, mixed[rng.permutation(len(mixed))]))
    assert sorted(volumes(bodies)) == sorted(volumes(tuple(parts)))
    assert all(facts(b).closed for b in bodies)


def test_solids_face_to_face_stay_two_with_the_seam_cut_either_way_and_turned_anywhere():
    """The touching faces are cut along different diagonals, so that no triangle matches another."""
    one, other = box(), moved(box(), (1, 0, 0))
    t = other.triangles.copy()
    left = np.flatnonzero((other.points[t][:, :, 0] == 1).all(axis=1))
    quad = [t[left[0]][0], t[left[0]][1], t[left[0]][2], t[left[1]][2]]
    t[left] = [(quad[1], quad[2], quad[3]), (quad[1], quad[3], quad[0])]
    for turn in (np.eye(3), rotation(3)):
        pair = merged([mesh(one.points @ turn.T, one.triangles), mesh(other.points @ turn.T, t)])
        shared = weld(np.round(pair.points, 12), pair.triangles)
        assert volumes(bodies_of(shared)) == pytest.approx([1.0, 1.0], abs=1e-9)


def test_a_body_that_touches_itself_along_an_edge_is_one_body():
    """A ring of seven cubes whose ends meet along one edge only: closed, one body, its edge reported."""
    filled = np.zeros((3, 3, 1), dtype=bool)
    filled[[0, 0, 0, 1, 2, 2, 1], [0, 1, 2, 2, 2, 1, 0], 0] = True
    (body,) = bodies_of(cubes(filled))
    assert_sound(body, 7.0, genus=0)
    found = facts(body)
    assert found.non_manifold_edges == 1
    assert found.non_manifold_at.tolist() == [2, 1, 0.5]


def test_cubes_touching_at_edges_only_are_all_bodies_of_their_own():
    """A three-dimensional chessboard: every inner edge has four faces, every inner point many sheets."""
    filled = np.indices((4, 4, 4)).sum(axis=0) % 2 == 0
    bodies = bodies_of(cubes(filled))
    assert len(bodies) == 32
    for body in bodies:
        assert_sound(body, 1.0)


# Cavities


def test_a_cube_in_a_cavity_in_a_cube_is_two_bodies():
    bodies = bodies_of(soup(merged([flipped(box(2, (1, 1, 1))), box(0.5, (1.5, 1.5, 1.5)), box(4)])))
    assert volumes(bodies) == [56.0, 0.125]
    assert_sound(bodies[0], 56.0, shells=2)


def test_shells_in_shells_alternate():
    nest = [box(8), flipped(box(6, (1, 1, 1))), box(4, (2, 2, 2)), flipped(box(2, (3, 3, 3)))]
    for order in ([0, 1, 2, 3], [3, 1, 0, 2], [2, 3, 1, 0]):
        bodies = bodies_of(merged([nest[i] for i in order]))
        assert sorted(volumes(bodies)) == [56.0, 296.0]


def test_a_ring_shaped_cavity_adds_its_handle():
    hollow = merged([box((14, 14, 4), (-7, -7, -2)), flipped(torus())])
    (body,) = bodies_of(hollow)
    assert_sound(body, 784 - volume_mm3(torus()), genus=1, shells=2)


def test_a_cavity_belongs_to_the_body_around_it_not_to_one_whose_box_holds_it():
    """A hollow cube in the middle of a wide ring: the ring's bounds hold it, the ring does not."""
    bodies = bodies_of(merged([torus(10, 2), box(2, (-1, -1, -1)), flipped(box(1, (-0.5, -0.5, -0.5)))]))
    assert volumes(bodies)[1] == 7.0
    assert len(bodies) == 2


def test_a_cavity_that_touches_the_outside_at_a_face_is_still_one():
    (body,) = bodies_of(merged([box(4), flipped(box(2, (0, 1, 1)))]))
    assert volume_mm3(body) == pytest.approx(56.0)


def test_an_inside_out_cube_alone_or_beside_another_is_a_body_flagged():
    for mesh_, count in ((flipped(box()), 1), (merged([box(), flipped(box(1, (5, 0, 0)))]), 2)):
        bodies = bodies_of(mesh_)
        assert len(bodies) == count
        found = facts(bodies[-1])
        assert (found.inside_out, found.closed, found.genus) == (True, True, 0)
        assert found.inside_out_at is not None
        assert volume_mm3(bodies[-1]) == pytest.approx(-1.0)


def test_an_inward_shell_in_a_cavity_bounds_no_metal_and_is_flagged():
    bodies = bodies_of(merged([box(8), flipped(box(6, (1, 1, 1))), flipped(box(2, (3, 3, 3)))]))
    assert [facts(b).inside_out for b in bodies] == [False, True]


def test_winding_numbers_count_shells():
    corners = merged([box(4), box(2, (1, 1, 1)), flipped(box(0.5, (3.2, 3.2, 3.2)))]).corners()
    at = np.array([[-1, 0, 0], [0.5, 0.5, 0.5], [2, 2, 2], [3.4, 3.4, 3.4]])
    assert winding.winding_numbers(corners, at) == pytest.approx([0, 1, 2, 0], abs=1e-12)
    assert winding.turns_around(corners, at).tolist() == [0, 1, 2, 0]


@pytest.mark.parametrize("at_once", [7, 1_000_000])
@pytest.mark.parametrize("turn", [np.eye(3), rotation(6)], ids=["straight", "turned"])
def test_counting_faces_overhead_agrees_with_solid_angles(monkeypatch, turn, at_once):
    """The fast way beside the plain one, on places straight below edges and corners too, none of them on a surface."""
    monkeypatch.setattr(winding, "_PAIRS_AT_ONCE", at_once)
    shape = merged([box(4), flipped(box(2, (1, 1, 1))), box(0.5, (1.5, 1.5, 1.5)), moved(torus(3, 1), (2, 2, 2))])
    corners = shape.corners() @ turn.T
    flat = np.arange(-0.5, 5.0, 0.25) + 1 / 512
    flat[::2] -= 1 / 512
    x, y, z = np.meshgrid(flat, flat, np.arange(-1.3, 5.0, 0.94), indexing="ij")
    at = np.stack([x, y, z], axis=-1).reshape(-1, 3)
    # On a plane of the boxes only below them, else the place could lie on a wall.
    at = at[~np.isin(at, [0, 1, 1.5, 2, 3, 4]).any(axis=1) | (at[:, 2] < -0.1)]
    plain = winding.winding_numbers(corners, at @ turn.T)
    assert np.abs(plain - np.round(plain)).max() < 1e-9
    assert set(np.round(plain).astype(int)) == {0, 1, 2}
    assert np.array_equal(winding.turns_around(corners, at @ turn.T), np.round(plain).astype(int))


def test_a_foam_of_a_thousand_bubbles_is_one_body():
    filled = np.ones((21, 21, 21), dtype=bool)
    filled[1:-1:2, 1:-1:2, 1:-1:2] = False
    (body,) = bodies_of(cubes(filled))
    assert_sound(body, 21**3 - 1000, shells=1001)


# Faults


def test_an_open_box_is_a_body_flagged_open_with_the_place():
    lidless = mesh(box().points, box().triangles[:-2])
    (body,) = bodies_of(lidless)
    found = facts(body)
    assert (found.closed, found.genus, found.open_edges, found.inside_out) == (False, None, 4, False)
    assert found.open_at[2] == 1.0


def test_a_moebius_strip_is_open_and_has_turned_edges():
    n = 30
    angle = 2 * np.pi * np.arange(n) / n
    side = np.array([-0.5, 0.5])[None, :]
    radius = 3 + side * np.cos(angle / 2)[:, None]
    points = np.stack(
        [radius * np.cos(angle)[:, None], radius * np.sin(angle)[:, None], side * np.sin(angle / 2)[:, None]], axis=-1
    )
    a = 2 * np.arange(n)
    strip = [t for i in a[:-1] for t in ((i, i + 2, i + 3), (i, i + 3, i + 1))]
    last = 2 * n - 2
    found = facts(mesh(points.reshape(-1, 3), [*strip, (last, 1, 0), (last, 0, last + 1)]))
    assert (found.shells, found.open_edges, found.closed) == (1, 2 * n, False)
    assert found.turned_edges > 0
    assert found.inside_out


def test_a_klein_bottle_is_watertight_but_turned_and_has_no_genus():
    """A grid closed one way straight and the other way mirrored, in space (it crosses itself)."""
    n, m = 24, 12
    u = 2 * np.pi * np.arange(n)[:, None] / n
    v = 2 * np.pi * np.arange(m)[None, :] / m
    r = 4 + np.cos(u / 2) * np.sin(v) - np.sin(u / 2) * np.sin(2 * v)
    height = np.sin(u / 2) * np.sin(v) + np.cos(u / 2) * np.sin(2 * v)
    points = np.stack([r * np.cos(u), r * np.sin(u), height], axis=-1).reshape(-1, 3)
    t = grid_triangles(n, m)
    wraps = (t // m == n - 1).any(axis=1)[:, None] & (t // m == 0)
    found = facts(mesh(points, np.where(wraps, -(t % m) % m, t)))
    assert (found.shells, found.open_edges, found.closed, found.genus) == (1, 0, True, None)
    assert found.turned_edges == m
    assert found.inside_out


def test_one_face_turned_wrong_is_counted_by_its_edges():
    t = box().triangles.copy()
    t[3] = t[3, ::-1]
    found = facts(mesh(box().points, t))
    assert (found.closed, found.genus, found.inside_out, found.turned_edges) == (True, None, True, 3)
    assert found.turned_at is not None


@pytest.mark.parametrize("turned", [False, True])
@pytest.mark.parametrize("first", [False, True])
@pytest.mark.parametrize("count", [1, 2, 5])
def test_doubled_faces_are_counted_and_open_nothing(turned, first, count):
    block = box()
    extra = block.triangles[3 : 3 + count, :: -1 if turned else 1]
    doubled = mesh(block.points, np.vstack([extra, block.triangles] if first else [block.triangles, extra]))
    (body,) = bodies_of(doubled)
    found = facts(body)
    assert len(body.triangles) == 12 + count
    assert (found.doubled_faces, found.closed, found.genus, found.inside_out) == (count, True, 0, False)
    assert (found.open_edges, found.non_manifold_edges) == (0, 0)
    assert found.volume_mm3 == pytest.approx(1.0)


def test_a_body_written_twice_is_two_bodies_in_one_place():
    for t in (np.vstack([torus().triangles] * 2), np.repeat(torus().triangles, 2, axis=0)):
        bodies = bodies_of(mesh(torus().points, t))
        assert len(bodies) == 2
        for body in bodies:
            assert_sound(body, volume_mm3(torus()), genus=1)


def test_an_open_patch_written_twice_is_one_open_body_with_doubled_faces():
    patch = box().triangles[:2]
    (body,) = bodies_of(mesh(box().points, np.vstack([patch, patch])))
    found = facts(body)
    assert (found.doubled_faces, found.open_edges, found.closed) == (2, 4, False)


def test_collapsed_and_straight_triangles_are_counted_and_open_nothing():
    """Two corners at one place; and a needle that fills the seam between a long edge and two short ones."""
    block = box((2, 1, 1))
    points = np.vstack([block.points, [1.0, 0, 0]])
    t = block.triangles.tolist()
    # The edge from 0 to 4 gets a middle point 8 in one of its two faces; a needle 0, 4, 8 fills the other side.
    low = next(k for k, f in enumerate(t) if {0, 4} < set(f))
    a, b, c = t[low]
    while {a, b} != {0, 4}:
        a, b, c = b, c, a
    t[low : low + 1] = [(a, 8, c), (8, b, c), (a, b, 8)]
    found = facts(mesh(points, [*t, (0, 0, 1), (5, 5, 5)]))
    assert (found.zero_area, found.closed, found.genus, found.shells) == (3, True, 0, 1)
    assert found.zero_area_at is not None
    (body,) = bodies_of(mesh(points, [*t, (0, 0, 1), (5, 5, 5)]))
    assert len(body.triangles) == len(t) + 2
    assert volume_mm3(body) == pytest.approx(2.0)


def test_a_straight_triangle_at_a_crowded_edge_still_closes():
    """Two blocks share the edge that one of them fills with a needle."""
    one = box((2, 1, 1))
    points = np.vstack([one.points, [1.0, 0, 0]])
    t = one.triangles.tolist()
    low = next(k for k, f in enumerate(t) if {0, 4} < set(f))
    a, b, c = t[low]
    while {a, b} != {0, 4}:
        a, b, c = b, c, a
    t[low : low + 1] = [(a, 8, c), (8, b, c), (a, b, 8)]
    bodies = bodies_of(merged([mesh(points, t), box((2, 1, 1), (0, -1, -1))]))
    assert volumes(bodies) == [2.0, 2.0]
    assert all(facts(b).closed for b in bodies)


def test_a_mesh_of_nothing_but_collapsed_triangles_is_open_not_an_error():
    found = facts(mesh([[0, 0, 0], [1, 0, 0]], [[0, 1, 1], [0, 0, 0]]))
    assert (found.closed, found.genus, found.zero_area, found.open_edges) == (False, None, 2, 0)
    assert sum(len(b.triangles) for b in bodies_of(mesh([[0, 0, 0], [1, 0, 0]], [[0, 1, 1], [0, 0, 0]]))) == 2


def test_no_triangle_is_lost_or_made():
    rng = np.random.default_rng(5)
    for _ in range(50):
        points = rng.integers(0, 3, (12, 3)).astype(float)
        triangles = rng.integers(0, 12, (40, 3))
        bodies = bodies_of(mesh(points, triangles))
        given = sorted(_rolled(points[t]) for t in triangles)
        got = sorted(_rolled(b.points[t]) for b in bodies for t in b.triangles)
        assert got == given


def _rolled(corners: np.ndarray) -> tuple[tuple[float, ...], ...]:
    rows = [tuple((c + 0.0).tolist()) for c in corners]
    return min(tuple(rows[k:] + rows[:k]) for k in range(3))


def test_sixty_links_come_apart_in_order():
    links = [moved(torus(steps=96, sides=24), (0, 20 * k, 0)) for k in range(60)]
    whole = soup(merged(links))
    bodies = bodies_of(whole)
    assert [round(b.points[:, 1].mean() / 20) for b in bodies] == list(range(60))
    assert facts(bodies[31]).genus == 1
