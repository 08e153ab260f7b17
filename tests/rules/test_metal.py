"""Which places lie in the metal of a mesh, against the winding number of each by itself."""

import numpy as np
import pytest

from addon.rules.base.progress import finish
from addon.rules.solid import containment, metal
from addon.rules.solid.mesh import merged, mesh
from addon.rules.solid.metal import in_metal_of
from addon.rules.solid.surface import surface_of
from addon.rules.solid.winding import winding_numbers
from tests.gap_shapes import ball, oval_link, turn_about
from tests.mesh_shapes import box, flipped, moved, soup, torus

HOLLOW = merged([ball(3.0, 3), flipped(ball(2.0, 2)), ball(1.0, 2)])
SOLIDS = {
    "link": oval_link(24, 12),
    "hollow with a ball in it": HOLLOW,
    "inside out": flipped(HOLLOW),
    "two that cross": merged([box(2.0), moved(box(2.0), (1.0, 1.0, 1.0))]),
    "torus": torus(),
}


def told(solid, places):
    return finish(in_metal_of(solid, finish(surface_of(solid)), places))


@pytest.mark.parametrize("name", SOLIDS)
@pytest.mark.parametrize("small", [False, True])
def test_what_lies_in_the_metal_is_what_the_mesh_winds_round(name, small, monkeypatch):
    if small:
        monkeypatch.setattr(metal, "_FACES", 100)
        monkeypatch.setattr(metal, "_PLACES", 64)
        monkeypatch.setattr(containment, "_POINTS", 10)
    turn = turn_about((1.0, 2.0, 4.0), 0.4)
    solid = mesh(SOLIDS[name].points @ turn.T, SOLIDS[name].triangles)
    reach = np.abs(solid.points).max()
    places = np.random.default_rng(1).uniform(-reach, reach, (1500, 3))
    expected = np.abs(winding_numbers(solid.corners(), places)) > 0.5
    assert 30 < expected.sum() < 1400
    assert np.array_equal(told(solid, places), expected)


@pytest.mark.parametrize("solid", [soup(box(2.0)), mesh(box(2.0).points, box(2.0).triangles[1:])], ids=["soup", "open"])
def test_a_mesh_that_does_not_close_has_no_metal(solid):
    assert not told(solid, np.full((3, 3), 1.0)).any()


def test_no_places_and_places_beside_the_box_lie_in_nothing():
    nowhere = np.empty((0, 3))
    assert len(told(box(), nowhere)) == 0
    assert not told(box(), np.array([(2.0, 0.5, 0.5)])).any()
