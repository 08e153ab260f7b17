"""Where printing begins on a mesh: the lowest corners of trimesh's solids, whichever way they lean."""

import numpy as np
import pytest
import trimesh

from addon.rules.feed.starts import LEVEL_MM, dents


@pytest.mark.parametrize("side", [1.0, -1.0])
@pytest.mark.parametrize("lean", [0.0, 0.0009, 0.0018, 0.01, 0.3], ids=lambda lean: f"{lean:g} mm per mm")
def test_a_block_begins_at_its_lowest_corner_however_little_it_leans(lean: float, side: float) -> None:
    """Edges of its base may be level within a step while its diagonal is not."""
    box = trimesh.creation.box((1.0, 1.0, 3.0))
    points = np.asarray(box.vertices) + np.outer(box.vertices @ (1.0, side, 0.0), (0.0, 0.0, lean))
    (start,) = dents(points, np.asarray(box.faces))
    assert start[:, 2].min() == pytest.approx(points[:, 2].min())
    assert start[:, 2].max() - start[:, 2].min() <= 2 * LEVEL_MM


@pytest.mark.parametrize("turn", range(12))
def test_every_closed_mesh_begins_at_its_lowest_place_at_least(turn: int) -> None:
    """A wire of square section bent to a ring, turned at random: a facet's diagonal rises more than its edges."""
    made = np.random.default_rng(turn)
    ring = trimesh.creation.torus(4.0, 1.0, major_sections=60, minor_sections=4)
    turned = trimesh.transformations.random_rotation_matrix(made.random(3))
    ring.apply_transform(turned if turn % 2 else trimesh.transformations.rotation_matrix(0.003 * turn, (1, 0.3, 0)))
    points = np.asarray(ring.vertices)
    starts = dents(points, np.asarray(ring.faces))
    assert starts
    assert starts[0][:, 2].min() == pytest.approx(points[:, 2].min(), abs=LEVEL_MM)
