"""Volume, area and bounds."""

import numpy as np
import pytest

from addon.rules.solid.measure import area_mm2, bounds_mm, volume_mm3
from addon.rules.solid.mesh import mesh
from tests.mesh_shapes import box, flipped, moved, rotation, soup, torus


def test_a_box_has_its_sides_product_and_its_faces_area():
    block = box((2.0, 3.0, 5.0), (-1.0, 4.0, 7.0))
    assert volume_mm3(block) == pytest.approx(30.0, rel=1e-15)
    assert area_mm2(block) == pytest.approx(62.0, rel=1e-15)
    assert bounds_mm(block.points).tolist() == [[-1.0, 4.0, 7.0], [1.0, 7.0, 12.0]]


def test_an_inside_out_mesh_has_negative_volume_and_the_same_area():
    assert volume_mm3(flipped(torus())) == pytest.approx(-volume_mm3(torus()), rel=1e-14)
    assert area_mm2(flipped(torus())) == pytest.approx(area_mm2(torus()), rel=1e-14)


@pytest.mark.parametrize("shift", [(0.0, 0.0, 0.0), (1e3, -2e3, 5e2), (1e6, 1e6, -1e6)])
def test_volume_stays_exact_far_from_the_origin(shift):
    """A small box on exact binary coordinates: the only error left is that of the sum, whatever the distance."""
    small = box(0.125)
    assert volume_mm3(moved(small, shift)) == pytest.approx(0.125**3, rel=1e-12)


def test_volume_of_a_ring_far_away_is_that_of_its_rounded_points():
    """The rounding of the points themselves (1e-13 mm at 1 m) is all that may show: better than 1e-9."""
    here, there = torus(steps=64), moved(torus(steps=64), (1000.0, 1000.0, 1000.0))
    assert volume_mm3(there) == pytest.approx(volume_mm3(here), rel=1e-9)


@pytest.mark.parametrize("seed", range(5))
def test_turning_and_scaling_change_volume_and_area_as_they_must(seed):
    ring, turn, scale = torus(), rotation(seed), 0.1 + seed
    other = mesh(ring.points @ turn.T * scale, ring.triangles)
    assert volume_mm3(other) == pytest.approx(volume_mm3(ring) * scale**3, rel=1e-11)
    assert area_mm2(other) == pytest.approx(area_mm2(ring) * scale**2, rel=1e-11)


def test_loose_triangles_measure_the_same():
    assert volume_mm3(soup(torus())) == pytest.approx(volume_mm3(torus()), rel=1e-14)


def test_volume_is_the_count_of_points_inside_within_chance():
    """Slow plain version beside the fast one: the share of a fine grid's points inside a ring."""
    ring = torus(ring=2.0, wire=0.7, steps=200, sides=100)
    step = 0.05
    x, y, z = np.meshgrid(*(np.arange(-2.7, 2.7, step) + step / 2,) * 3, indexing="ij")
    inside = (np.sqrt(x**2 + y**2) - 2.0) ** 2 + z**2 < 0.7**2
    assert volume_mm3(ring) == pytest.approx(inside.sum() * step**3, rel=5e-3)
