"""Sections of meshes against closed forms, and against the volume they must add up to."""

import numpy as np
import pytest

from addon.rules.base.errors import BadInput
from addon.rules.solid import section
from addon.rules.solid.mesh import Mesh, merged
from addon.rules.solid.section import Sections, sections, surface, turns
from tests.knots import blocks, closed_chain, plate_with_holes, ring, tube


def _shoelace(polygon: np.ndarray) -> float:
    x, y = polygon.T
    return float((x * np.roll(y, -1) - y * np.roll(x, -1)).sum() / 2.0)


def _area(found: Sections) -> np.ndarray:
    return np.bincount(found.layer, weights=found.area_mm2, minlength=len(found.heights))


def test_a_box_with_holes_cuts_to_its_outline_and_holes() -> None:
    plate = plate_with_holes(2)[0]
    found = sections(surface(plate), np.array([0.5, 1.5]))
    assert found.layer.tolist() == [0, 0, 0, 1, 1, 1]
    assert sorted(found.area_mm2[:3].tolist()) == pytest.approx([-1.0, -1.0, 15.0])


def test_a_torus_cut_level_with_its_ring_is_two_circles_apart() -> None:
    """Closed form: at height h the section of a lying torus is a ring of area 4 pi R sqrt(r^2 - h^2)."""
    torus = tube(ring(4.0, sides=300), 1.0, 300)
    heights = np.array([-0.6, 0.0, 0.31, 0.8])
    expected = 4.0 * np.pi * 4.0 * np.sqrt(1.0 - heights**2)
    assert _area(sections(surface(torus), heights)) == pytest.approx(expected, rel=1e-3)


def test_areas_of_many_layers_add_up_to_the_volume() -> None:
    """Simpson's rule between the heights of the points is exact: a section's area is a square law there."""
    knot = tube(closed_chain(12)[3], 0.7, 9)
    levels = np.unique(knot.points[:, 2])
    a, b = levels[:-1], levels[1:]
    inside = np.concatenate([a + share * (b - a) for share in (0.25, 0.5, 0.75)])
    order = np.argsort(inside, kind="stable")
    area = np.empty(len(inside))
    area[order] = _area(sections(surface(knot), inside[order]))
    low, middle, high = area.reshape(3, -1)
    # Of the three heights inside each slab, the open rule of degree three (2, -1, 2) / 3.
    volume = float(((2.0 * low - middle + 2.0 * high) / 3.0 * (b - a)).sum())
    corners = knot.corners()
    exact = float(np.linalg.det(corners).sum() / 6.0)
    assert volume == pytest.approx(exact, rel=1e-9)


def test_a_cut_at_the_height_of_points_and_faces_is_that_just_below() -> None:
    steps = np.ones((3, 1, 2), dtype=bool)
    steps[1:, 0, 1] = False
    stair = surface(blocks(steps))
    assert _area(sections(stair, np.array([0.0, 1.0, 2.0, 3.0]))).tolist() == [0.0, 3.0, 1.0, 0.0]


def test_outlines_run_round_in_order(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each polygon has its loop's area and length, also when the layers are cut a few at a time."""
    links = merged([tube(curve) for curve in closed_chain(6, radius=6.0)])
    heights = np.linspace(-2.4, 2.4, 31)
    whole = sections(surface(links), heights)
    for polygon, area in zip(whole.outlines(), whole.area_mm2, strict=True):
        assert _shoelace(polygon) == pytest.approx(area, abs=1e-9)
    assert sum(len(polygon) for polygon in whole.outlines()) == len(whole.start)
    monkeypatch.setattr(section, "BLOCK", 500)
    pieces = sections(surface(links), heights)
    np.testing.assert_array_equal(pieces.start, whole.start)
    np.testing.assert_array_equal(pieces.following, whole.following)
    np.testing.assert_array_equal(pieces.begin, whole.begin)


def test_turns_count_round_nested_loops() -> None:
    hollow = np.ones((5, 5, 1), dtype=bool)
    hollow[1:4, 1:4] = False
    hollow[2, 2] = True
    found = sections(surface(blocks(hollow)), np.array([0.5]))
    points = np.array([[0.5, 0.5], [1.5, 1.5], [2.5, 2.5], [7.0, 2.5]])
    point, loop = np.divmod(np.arange(12), 3)
    counted = turns(found, points, point, loop).reshape(4, 3).sum(axis=1)
    assert counted.tolist() == [1, 0, 1, 0]


def test_the_triangles_are_those_of_the_mesh_given() -> None:
    """Also when the mesh holds triangles without area, which are not cut."""
    whole = blocks(np.ones((1, 1, 1), dtype=bool))
    spoiled = Mesh(whole.points, np.concatenate([[[3, 3, 1]], whole.triangles]))
    found = sections(surface(spoiled), np.array([0.5]))
    z = spoiled.corners()[found.triangle, :, 2]
    assert ((z.min(axis=1) < 0.5) & (z.max(axis=1) > 0.5)).all()


def test_no_height_through_the_mesh_gives_no_loops() -> None:
    found = sections(surface(blocks(np.ones((1, 1, 1), dtype=bool))), np.array([5.0, 6.0]))
    assert found.outlines() == () or all(len(polygon) == 0 for polygon in found.outlines())
    assert len(found.layer) == 0


def test_open_and_disagreeing_surfaces_are_refused_by_name() -> None:
    whole = blocks(np.ones((1, 1, 1), dtype=bool))
    with pytest.raises(BadInput, match="lid: the surface is open"):
        surface(Mesh(whole.points, whole.triangles[1:]), where="lid")
    flipped = whole.triangles.copy()
    flipped[0] = flipped[0, ::-1]
    with pytest.raises(BadInput, match="disagree"):
        surface(Mesh(whole.points, flipped))
