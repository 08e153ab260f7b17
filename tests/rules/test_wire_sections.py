"""Sections of wire and their sweep: inscribed, inside the true surface, as near to it as asked, flat where cut flat."""

import numpy as np
import pytest

from addon.rules.base.errors import Bug
from addon.rules.chain.facets import cut_outlines, top_mm
from addon.rules.chain.families import draw
from addon.rules.chain.outline import arcs, outline, outside_mm
from addon.rules.chain.section import Section, round_wire
from addon.rules.chain.spec import ChainSpec
from addon.rules.chain.sweep import resolution, sweep
from addon.rules.solid.bridge import boundary, bridge
from addon.rules.solid.measure import normals, volume_mm3
from addon.rules.solid.mesh import Mesh
from addon.rules.solid.topology import facts
from tests.mesh_shapes import box, grid_triangles, torus
from tests.wires import outside, sampled

SECTIONS = [
    round_wire(2.0),
    Section("rectangle", 2.0, 3.0, 0.3),
    Section("rectangle", 2.0, 1.2, 0.59),
    Section("D", 2.0, 3.0, 0.3),
    Section("D", 1.0, 4.0, 0.2),
    Section("D", 2.4, 1.4, 0.25),
    Section("D", 2.0, 3.4, 0.3),
    Section("double", 2.0, 3.6),
]
IDS = [f"{s.kind} {s.thick_mm:g} x {s.broad_mm:g}" for s in SECTIONS]
# Name, family, options and sizes (wire, length, width).
SWEPT = [
    ("curb", {}, (2.2, 12.2, 9.7)),
    ("curb", {}, (0.6, 9.0, 4.0)),
    ("curb", {"strands": 2}, (2.2, 12.2, 9.7)),
    ("curb", {"strands": 2}, (1.0, 4.5, 8.0)),
    ("curb", {"facet_mm": 0.3}, (1.2, 6.0, 4.5)),
    ("curb", {"facet_mm": 0.8}, (2.2, 12.2, 9.7)),
    ("curb", {"section": "rectangle"}, (1.2, 6.0, 5.5)),
    ("curb", {"section": "D"}, (2.2, 9.5, 9.5)),
    ("trace", {}, (1.0, 4.5, 8.0)),
    ("trace", {"section": "D", "wire_width_mm": 1.2}, (1.2, 6.5, 5.0)),
    ("trace", {"section": "rectangle"}, (2.2, 12.2, 9.7)),
    ("belcher", {"section": "D"}, (2.2, 12.2, 9.7)),
    ("figaro", {"facet_mm": 0.4}, (2.2, 10.0, 9.7)),
    ("anchor", {}, (2.2, 12.2, 9.7)),
    ("anchor", {"stud_mm": 0.36}, (1.2, 8.0, 6.0)),
    ("anchor", {"stud_mm": 2.55}, (3.0, 20.0, 20.0)),
    ("box", {}, (1.2, 6.0, 4.5)),
    ("box", {"section": "D"}, (2.2, 9.5, 9.5)),
]


def links(family, other, sizes):
    return draw(ChainSpec(family, *sizes, 0.15, **other)).links


@pytest.mark.parametrize("section", SECTIONS, ids=IDS)
def test_an_outline_is_inscribed_as_near_as_asked_and_as_broad_and_thick_as_its_section(section):
    for sagitta in (0.05, 0.002):
        drawn = outline(section, sagitta)
        points, after = drawn.points, np.roll(drawn.points, -1, axis=0)
        np.testing.assert_allclose(outside_mm(section, *points.T), 0, atol=1e-12)
        share = np.linspace(0, 1, 17)[:, None, None]
        between = points + share * (after - points)
        depth = -outside_mm(section, between[..., 0], between[..., 1])
        assert depth.min() > -1e-12
        assert depth.max() < sagitta * 1.001
        (x, y), (u, v) = (after - points).T, (np.roll(after, -1, axis=0) - after).T
        assert (x * v - y * u < -1e-9).sum() == (2 if section.kind == "double" else 0)
        np.testing.assert_allclose(
            np.ptp(drawn.points, axis=0), (section.thick_mm, section.broad_mm), atol=2.001 * sagitta
        )
        mirrored = np.sort(np.round(points * [1, -1], 9) + 0.0, axis=0)
        np.testing.assert_allclose(mirrored, np.sort(np.round(points, 9) + 0.0, axis=0), atol=1e-8)


@pytest.mark.parametrize("section", SECTIONS, ids=IDS)
def test_arcs_follow_one_another_smoothly(section):
    """Each arc ends in the direction in which the next begins, but at the notches of two strands."""
    drawn = arcs(section)
    for arc, following in zip(drawn, drawn[1:] + drawn[:1], strict=True):
        turn = (following.start - arc.end + np.pi) % (2 * np.pi) - np.pi
        if section.kind == "double":
            assert abs(turn) > 0.5
            np.testing.assert_allclose(
                arc.points(np.array(arc.end)), following.points(np.array(following.start)), atol=1e-12
            )
        else:
            assert turn == pytest.approx(0, abs=1e-12)
            gap = following.points(np.array(following.start)) - arc.points(np.array(arc.end))
            assert gap @ [np.cos(arc.end), np.sin(arc.end)] == pytest.approx(0, abs=1e-12)


@pytest.mark.parametrize("section", SECTIONS, ids=IDS)
def test_corners_drawn_in_move_inward_by_as_much(section):
    drawn = outline(section, 0.01)
    moved = drawn.points - 0.01 * drawn.normals
    depth = -outside_mm(section, *moved.T)
    np.testing.assert_allclose(depth, 0.01, atol=2e-4)


@pytest.mark.parametrize(("family", "other", "sizes"), SWEPT)
@pytest.mark.parametrize("chord", [0.1, 0.02, 0.01])
def test_facets_lie_inside_the_true_link_and_within_the_chord_tolerance(family, other, sizes, chord):
    for link in links(family, other, sizes):
        mesh, _ = sweep(link, chord)
        out = outside(link, sampled(mesh))
        assert out.max() < 1e-7
        assert -out.min() < chord


def test_a_finer_tolerance_makes_a_finer_mesh_and_every_quad_has_the_same_diagonal():
    for family, other, sizes in SWEPT[:6]:
        for link in links(family, other, sizes):
            (along, around), (fine_along, fine_around) = resolution(link, 0.02), resolution(link, 0.005)
            assert fine_along > along
            assert fine_around > around
            quads = sweep(link, 0.02)[0].triangles.reshape(along, around, 2, 3)
            np.testing.assert_array_equal(quads[..., 0, 0], quads[..., 1, 0])
            np.testing.assert_array_equal(quads[..., 0, 2], quads[..., 1, 1])
            np.testing.assert_array_equal(quads[..., 0, 0], np.arange(along * around).reshape(along, around))


@pytest.mark.parametrize("facet", [0.2, 0.5, 1.0])
def test_facets_are_two_planes_each_with_two_flats_whose_edges_are_edges_of_the_mesh(facet):
    (link,) = links("curb", {"facet_mm": facet}, (2.2, 12.2, 9.7))
    flat = link.section.flat_mm
    assert flat == pytest.approx(top_mm(link.curve, 2.2) - facet, abs=1e-12)
    mesh, _ = sweep(link, 0.02)
    assert np.abs(mesh.points[:, 2]).max() == pytest.approx(flat, abs=1e-12)
    for sign in (1, -1):
        on = np.abs(mesh.points[:, 2] - sign * flat) < 1e-9
        level = on[mesh.triangles].all(axis=1)
        way = normals(mesh.corners()[level])
        np.testing.assert_allclose(way / np.linalg.norm(way, axis=1)[:, None], [[0, 0, sign]] * len(way), atol=1e-9)
        # Area of the flats against the lens in which the plane cuts the true wire, counted on a fine grid.
        x, y = np.meshgrid(np.arange(-6.2, 6.2, 0.04), np.arange(-5, 5, 0.04))
        grid = np.stack((x.ravel(), y.ravel(), np.full(x.size, sign * (flat - 1e-9))), axis=1)
        true = (outside(link, grid) <= 0).sum() * 0.04**2
        assert np.linalg.norm(way, axis=1).sum() / 2 == pytest.approx(true, rel=0.03)


def test_a_plane_above_the_wire_leaves_the_whole_circle():
    radius = np.ones((1, 3, 26))
    corners = cut_outlines(radius, np.ones(1), np.full((1, 3), 2.0), np.full((1, 3), 2.0))
    np.testing.assert_allclose(np.hypot(corners[..., 0], corners[..., 1]), 1)
    angle = np.unwrap(np.arctan2(corners[..., 1], corners[..., 0]))
    assert np.diff(angle).min() > np.pi / 26
    assert np.diff(angle).max() < 2 * np.pi / 23


def test_a_bridge_adds_a_handle():
    """Two opposite faces of a box joined through its middle make a square ring: genus 1, volume less the hole."""
    n = 5
    solid, first, second = _grid_box(n)
    rings = np.linspace(0, 1, 4)[1:-1, None, None] * [0, 0, 1] + _square(n)[::-1]
    made = bridge(solid, first, second, rings)
    found = facts(made)
    assert (found.closed, found.shells, found.genus, found.inside_out) == (True, 1, 1, False)
    assert volume_mm3(made) == pytest.approx(1 - (3 / n) ** 2, rel=1e-12)


def test_a_bridge_refuses_patches_that_do_not_fit():
    solid, first, second = _grid_box(5)
    with pytest.raises(Bug, match="12 and 12 edges for rings of 9"):
        bridge(solid, first, second, np.zeros((2, 9, 3)))
    with pytest.raises(Bug, match="without a boundary"):
        boundary(box().triangles)
    band = grid_triangles(8, 6).reshape(2, 8, 6, 3)[:, :2].reshape(-1, 3)
    assert len(torus(5, 1, 8, 6).triangles) == len(grid_triangles(8, 6))
    with pytest.raises(Bug, match="more than one boundary"):
        boundary(band)


def _square(n: int) -> np.ndarray:
    """The edge of the middle three by three squares of a face of n by n, counter-clockwise from above, (12, 3)."""
    low, high = (n - 3) // 2, (n + 3) // 2
    side = np.arange(3)
    x = np.concatenate((low + side, np.full(3, high), high - side, np.full(3, low)))
    y = np.concatenate((np.full(3, low), low + side, np.full(3, high), high - side))
    return np.stack((x / n, y / n, np.zeros(12)), axis=1)


def _grid_box(n: int) -> tuple[Mesh, np.ndarray, np.ndarray]:
    """A unit box whose lower and upper face are n by n squares, and the triangles of the middle nine of each."""
    i, j = np.meshgrid(np.arange(n + 1), np.arange(n + 1), indexing="ij")
    face = np.stack((i / n, j / n, 0 * i), axis=-1).reshape(-1, 3)
    a, b = (i[:-1, :-1] * (n + 1) + j[:-1, :-1]).ravel(), ((i[:-1, :-1] + 1) * (n + 1) + j[:-1, :-1]).ravel()
    c, d = b + 1, a + 1
    up = np.concatenate((np.stack((a, b, c), axis=1), np.stack((a, c, d), axis=1)))
    size = (n + 1) ** 2
    rim = np.concatenate(
        (
            np.arange(n) * (n + 1),
            n * (n + 1) + np.arange(n),
            (n - np.arange(n)) * (n + 1) + n,
            n - np.arange(n),
        )
    )
    after = np.roll(rim, -1)
    walls = np.concatenate(
        (np.stack((rim, after, after + size), axis=1), np.stack((rim, after + size, rim + size), axis=1))
    )
    triangles = np.concatenate((up[:, ::-1], up + size, walls))
    k, low, high = np.arange(n * n), (n - 3) // 2, (n + 3) // 2
    middle = (k // n >= low) & (k // n < high) & (k % n >= low) & (k % n < high)
    patch = np.flatnonzero(np.concatenate((middle, middle)))
    return Mesh(np.concatenate((face, face + np.array([0, 0, 1]))), triangles), patch, patch + len(up)
