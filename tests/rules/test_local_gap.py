"""The gap at one place of one body, beside the gaps of all points found together and beside plain loops."""

import numpy as np
import pytest

from addon.rules.base.errors import BadInput
from addon.rules.base.progress import finish
from addon.rules.inspect.gap_field import gap_field
from addon.rules.inspect.local_gap import LocalGaps
from addon.rules.solid.mesh import Body, Mesh, Pose

CUBE = Mesh(
    np.array([(x, y, z) for x in (-1.0, 1.0) for y in (-1.0, 1.0) for z in (-1.0, 1.0)]),
    np.array(
        [(0, 1, 3), (0, 3, 2), (4, 6, 7), (4, 7, 5), (0, 4, 5), (0, 5, 1), (2, 3, 7), (2, 7, 6), (0, 2, 6), (0, 6, 4),
         (1, 5, 7), (1, 7, 3)]
    ),
)  # fmt: skip


def turned(seed):
    matrix, _ = np.linalg.qr(np.random.default_rng(seed).normal(size=(3, 3)))
    return matrix * np.linalg.det(matrix)


def cubes():
    places = ((0, 0, 0), (3.5, 0.3, -0.2), (-3.4, 0.5, 0.4), (0.2, 4.1, 0.1), (30, 0, 0))
    return [Body(f"cube {k}", CUBE, Pose(turned(k), np.array(at, dtype=float))) for k, at in enumerate(places)]


def test_at_every_corner_it_is_what_the_field_of_all_gaps_says():
    bodies = cubes()
    field = finish(gap_field(bodies, range_mm=2.0))
    ready = LocalGaps(bodies)
    seen = 0
    for number, body in enumerate(bodies):
        for place, gap, nearest in zip(body.points(), field.gap_mm[number], field.nearest[number], strict=True):
            found = ready.at(number, place, range_mm=2.0)
            if nearest < 0:
                assert found is None
                continue
            seen += 1
            assert found.other == nearest
            assert found.gap_mm == pytest.approx(gap, abs=1e-12)
            assert np.linalg.norm(found.foot - place) == pytest.approx(gap, abs=1e-12)
    assert seen > 10


def test_square_on_it_is_the_plain_distance_and_far_away_nothing():
    bodies = [Body("a", CUBE, Pose(np.eye(3), np.zeros(3))), Body("b", CUBE, Pose(np.eye(3), np.array([2.4, 0, 0])))]
    found = LocalGaps(bodies).at(0, np.array([1.0, 0.25, -0.5]))
    assert (found.other, found.gap_mm) == (1, pytest.approx(0.4, abs=1e-12))
    np.testing.assert_allclose(found.foot, (1.4, 0.25, -0.5), atol=1e-12)
    assert LocalGaps(bodies).at(0, np.array([1.0, 0.25, -0.5]), range_mm=0.39) is None
    assert LocalGaps(bodies[:1]).at(0, np.zeros(3)) is None
    with pytest.raises(BadInput, match="no body 2; give 0 to 1"):
        LocalGaps(bodies).at(2, np.zeros(3))
