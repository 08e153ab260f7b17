"""Struts as meshes: closed, of the volume and section they claim, printable at their flanks, lying on the plate."""

from itertools import pairwise

import numpy as np
import pytest
from lattices import chain, ring_way

from addon.rules.feed.joined import joined_pairs, reached
from addon.rules.feed.lattice import LatticeSolid, Strut
from addon.rules.feed.piercing import pierced
from addon.rules.feed.rods import drum, hoop, lying, rod
from addon.rules.feed.sections import ROUND, Section, corners_round, footed
from addon.rules.feed.sizes import drum_modulus_mm
from addon.rules.feed.skeletons import Rods, between, boxes_meet, near_bodies, rod_gap, skeletons
from addon.rules.solid.measure import area_mm2, volume_mm3
from addon.rules.solid.topology import facts


def polygon_share(d_mm):
    """Area of the inscribed polygon over the area of its circle."""
    n = corners_round(d_mm)
    return n / 2 * np.sin(2 * np.pi / n) / np.pi


def assert_solid(mesh, genus):
    found = facts(mesh)
    assert found.closed
    assert not found.inside_out
    assert found.shells == 1
    assert found.genus == genus
    assert found.zero_area == 0
    assert volume_mm3(mesh) > 0


@pytest.mark.parametrize("end", [(0, 0, 9), (0, 0, -9), (9, 0, 0), (3, -4, 7)])
def test_a_straight_rod_has_the_volume_of_its_prism(end):
    mesh = rod(np.array([[1.0, 2.0, 3.0], np.add([1.0, 2.0, 3.0], end)]), np.array([2.4, 2.4]))
    assert_solid(mesh, 0)
    assert volume_mm3(mesh) == pytest.approx(np.pi * 1.44 * np.linalg.norm(end) * polygon_share(2.4), rel=1e-12)


def test_a_cone_has_the_volume_of_its_frustum():
    """V = pi h (R^2 + R r + r^2) / 3: any handbook of formulas."""
    mesh = rod(np.array([[0.0, 0, 0], [0, 0, 5]]), np.array([4.0, 1.0]))
    assert volume_mm3(mesh) == pytest.approx(np.pi * 5 * (4 + 1 + 0.25) / 3 * polygon_share(4.0), rel=1e-12)


def test_a_bent_rod_has_the_volume_of_its_axis():
    """A prism cut by any plane has section times the length of its axis, so mitres take nothing away."""
    points = np.array([[0.0, 0, 0], [0, 3, 4], [2, 3, 9], [8, 5, 12]])
    mesh = rod(points, np.full(4, 1.8))
    length = sum(np.linalg.norm(b - a) for a, b in pairwise(points))
    assert_solid(mesh, 0)
    assert volume_mm3(mesh) == pytest.approx(np.pi * 0.81 * length * polygon_share(1.8), rel=1e-12)


def test_no_point_of_a_rod_is_outside_the_round_rod_it_reports():
    points = np.array([[0.0, 0, 0], [1, 0, 4], [4, 2, 8]])
    mesh = rod(points, np.full(3, 2.0))
    away = np.array([between(p, p, points[:-1], points[1:]).min() for p in mesh.points[:, None]])
    assert away.max() <= 1.0 / np.cos(0.5) + 1e-9


@pytest.mark.parametrize("radius", [15.0, 60.0])
def test_a_hoop_has_the_volume_and_area_of_a_torus(radius):
    """Torus: V = 2 pi^2 R r^2, A = 4 pi^2 R r (Pappus)."""
    angle = np.arange(400) * (2 * np.pi / 400)
    line = np.stack((radius * np.cos(angle), radius * np.sin(angle), 0 * angle + 7), axis=1)
    mesh = hoop(line, 2.64, closed=True)
    assert_solid(mesh, 1)
    share = polygon_share(2.64) * np.sin(2 * np.pi / 400) * 400 / (2 * np.pi)
    assert volume_mm3(mesh) == pytest.approx(2 * np.pi**2 * radius * 1.32**2 * share, rel=1e-4)
    assert area_mm2(mesh) == pytest.approx(4 * np.pi**2 * radius * 1.32, rel=0.01)


def test_the_section_of_a_footed_rod_is_a_circle_less_its_segment():
    """Segment of a circle: A = r^2 (a - sin a) / 2 with a the angle at the centre; any handbook of formulas."""
    for foot in (0.0, 0.3, 0.7071, 0.95):
        half = np.arccos(foot)
        segment = 4.0 * (2 * half - np.sin(2 * half)) / 2
        section = Section(foot)
        assert section.area_mm2(4.0) == pytest.approx(np.pi * 4 - segment, rel=1e-12)
        assert section.perimeter_mm(4.0) == pytest.approx(2 * (2 * np.pi - 2 * half) + 4 * np.sin(half), rel=1e-12)
    assert Section(0.0).area_mm2(2.0) == pytest.approx(np.pi / 2)
    assert Section(0.0).perimeter_mm(2.0) == pytest.approx(np.pi + 2)


def test_moduli_are_those_of_the_tables():
    """Long round bar d / 4; upright round of height = diameter whose lower end does not cool d / 5 (modulus tables)."""
    assert ROUND.modulus_mm(2.0) == pytest.approx(0.5)
    assert drum_modulus_mm(6.0, 6.0) == pytest.approx(6.0 / 5)
    section = footed(30.0)
    assert section.modulus_mm(section.d_for_modulus(0.8)) == pytest.approx(0.8)
    assert section.area_mm2(section.d_for_area(12.0)) == pytest.approx(12.0)


@pytest.mark.parametrize("overhang", [10.0, 30.0, 45.0, 60.0])
@pytest.mark.parametrize("closed", [True, False])
def test_a_lying_ring_stands_flat_and_its_flanks_print(overhang, closed):
    angle = np.arange(120) * (2 * np.pi / 120)
    line = np.stack((30 * np.cos(angle), 22 * np.sin(angle)), axis=1)[: 120 if closed else 70]
    plate = -11.3
    mesh = lying(line, np.full(len(line), 3.5), footed(overhang), plate_z_mm=plate, closed=closed)
    assert_solid(mesh, 1 if closed else 0)
    assert mesh.points[:, 2].min() == plate
    corners = mesh.corners()
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    above = corners[:, :, 2].max(axis=1) > plate
    steepness = np.degrees(np.arccos(np.clip(-normal[above, 2], -1, 1)))
    assert steepness.min() >= overhang
    foot = ~above
    assert (normal[foot, 2] == -1.0).all()
    assert area_mm2(type(mesh)(mesh.points, mesh.triangles[foot])) > 100


def test_a_drum_is_a_round_prism_on_the_plate():
    mesh = drum(np.array([3.0, 4.0]), 8.0, plate_z_mm=2.0, height_mm=4.0)
    assert_solid(mesh, 0)
    assert volume_mm3(mesh) == pytest.approx(np.pi * 16 * 4 * polygon_share(8.0), rel=1e-12)
    assert mesh.points[:, 2].min() == 2.0


def test_distances_between_straight_pieces_agree_with_the_slow_way():
    """The slow way: the least over a fine grid of both pieces is never smaller, and nearly as small."""
    random = np.random.default_rng(5)
    p = random.normal(size=(200, 4, 3))
    p[:20, 3] = p[:20, 2] + (p[:20, 1] - p[:20, 0])  # parallel ones
    p[20:30, 1] = p[20:30, 0]  # points
    fast = between(p[:, 0], p[:, 1], p[:, 2], p[:, 3])
    u = np.linspace(0, 1, 201)[:, None]
    for row, gap in zip(p, fast, strict=True):
        a, b = row[0] + u * (row[1] - row[0]), row[2] + u * (row[3] - row[2])
        slow = np.linalg.norm(a[:, None] - b[None], axis=2).min()
        assert gap <= slow + 1e-12
        assert slow - gap < 0.03


def test_rods_keep_the_distance_of_their_axes_less_their_radii():
    one = np.array([[0.0, 0, 0], [0, 0, 10]])
    others = np.array([[[5.0, 0, 2], [5, 0, 8]], [[0, 3.0, 12], [0, 3, 20]]])
    gap = rod_gap(one, np.array([1.0]), others, np.array([[0.5], [0.25]]))
    assert gap == pytest.approx([3.5, np.sqrt(13) - 1.25])


def test_boxes_that_meet_are_those_the_slow_way_finds():
    random = np.random.default_rng(8)
    low_a, low_b = random.uniform(0, 10, (40, 3)), random.uniform(0, 10, (60, 3))
    high_a, high_b = low_a + random.uniform(0, 3, (40, 3)), low_b + random.uniform(0, 3, (60, 3))
    a, b = boxes_meet(low_a, high_a, low_b, high_b)
    slow = [
        (i, j) for i in range(40) for j in range(60) if (low_a[i] <= high_b[j]).all() and (low_b[j] <= high_a[i]).all()
    ]
    assert list(zip(a.tolist(), b.tolist(), strict=True)) == slow


def test_a_ray_through_corners_and_edges_of_a_mesh_counts_each_meeting_once():
    mesh = rod(np.array([[0.0, 0, 0], [0, 0, 4]]), np.array([2.0, 2.0]))
    corners = mesh.corners()
    for x in (0.0, 0.3, 1.0 - 1e-6):
        assert pierced(corners, np.array([x, 0.0, -5.0]), np.array([0.0, 0, 1])) == pytest.approx([5.0, 9.0])
    assert len(pierced(corners, np.array([3.0, 0, -5.0]), np.array([0.0, 0, 1]))) == 0


def strut_solid(a, b, d, role="brace"):
    mesh = rod(np.array([a, b], dtype=float), np.array([d, d], dtype=float))
    return LatticeSolid(role, mesh, (Strut(role, a, b, d, d),), d / 4)


def test_struts_join_where_one_ends_inside_the_other_and_hang_together_through_it():
    ring = strut_solid((0.0, 0, 0), (20.0, 0, 0), 4.0, "ring")
    on_it = strut_solid((5.0, 0, 0), (5.0, 0, 9), 2.0)
    over_it = strut_solid((9.0, 0, 2.5), (9.0, 0, 9), 2.0)
    on_top = strut_solid((5.0, 0, 8.5), (7.0, 0, 14), 2.0)
    pairs = joined_pairs((ring, on_it, over_it, on_top))
    assert pairs.tolist() == [[0, 1], [1, 3]]
    assert reached(4, pairs, [0]).tolist() == [True, True, False, True]


def test_near_bodies_agree_with_every_line_measured_one_by_one():
    # Blocks of lines out of reach are left out: nothing within reach may be lost with them.
    way = ring_way(14, 6.8)
    bodies = chain(way, drawn=False)
    lines = skeletons(bodies)
    random = np.random.default_rng(5)
    start = random.uniform([-20, -20, -8], [20, 20, 0], (40, 3))
    points = np.stack((start, start + random.uniform(-3, 3, (40, 3)), start + random.uniform(-9, 9, (40, 3))), axis=1)
    rods = Rods(points, random.uniform(0.2, 1.0, (40, 2)))
    rod, body, gap = near_bodies(rods, np.full(40, 3), lines, reach_mm=1.5)
    found = {(r, b): g for r, b, g in zip(rod.tolist(), body.tolist(), gap.tolist(), strict=True)}
    assert len(found) > 20
    for r in range(40):
        for b in range(14):
            own = slice(lines.first[b], lines.first[b + 1])
            pieces = np.stack((lines.starts[own], lines.ends[own]), axis=1)
            true = rod_gap(points[r], rods.radii[r], pieces, np.zeros((len(pieces), 1))).min()
            if b != 3 and true < 1.5:
                assert found.pop((r, b)) == pytest.approx(true, abs=1e-12)
    assert not found
