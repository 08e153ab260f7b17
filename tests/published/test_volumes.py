"""Volumes and areas against closed forms, and against trimesh (a general mesh library) on the same triangles.

Pappus' theorems: the volume of a solid of revolution is the section's area times its centroid's path, its surface the
outline's length times the outline's centroid's path (Bronstein, Semendjajew, Handbook of Mathematics, "Guldin's rules";
from memory). The bodies are turned in steps, and converge to them with the square of the step.
"""

import itertools

import numpy as np
import pytest

from addon.rules.solid.measure import area_mm2, volume_mm3
from addon.rules.solid.topology import bodies_of, facts
from tests.mesh_shapes import box, frame_block, rotation, tetrahedron, torus, turned_section


def test_the_torus_converges_to_2_pi2_R_r2_with_the_square_of_the_step():
    exact = 2 * np.pi**2 * 4.5 * 1.1**2
    errors = [1 - volume_mm3(torus(4.5, 1.1, n, n)) / exact for n in (32, 64, 128, 256)]
    assert errors[-1] < 2e-3
    assert [a / b for a, b in itertools.pairwise(errors)] == pytest.approx([4.0] * 3, rel=0.01)


def test_the_torus_surface_converges_to_4_pi2_R_r():
    exact = 4 * np.pi**2 * 4.5 * 1.1
    errors = [1 - area_mm2(torus(4.5, 1.1, n, n)) / exact for n in (64, 128, 256)]
    assert 0 < errors[-1] < 1e-3
    assert [a / b for a, b in itertools.pairwise(errors)] == pytest.approx([4.0] * 2, rel=0.02)


def test_a_turned_section_of_n_steps_is_exact():
    """Turned in n flat steps, section times path becomes section area x centroid radius x n sin(2 pi / n), exactly.

    Each step is a wedge whose slices at radius r are as deep as r sin(2 pi / n) (its two triangles taken together).
    """
    section = np.array([[3.0, -1.0], [5.0, -0.5], [4.5, 1.5], [3.2, 1.0]])
    x, y = section.T
    cross = x * np.roll(y, -1) - np.roll(x, -1) * y
    area = cross.sum() / 2
    centroid = ((x + np.roll(x, -1)) * cross).sum() / (6 * area)
    for steps in (5, 12, 100):
        # A pane between two sections is not flat where its edges are skew; both ways of cutting it average to it.
        one = turned_section(section, steps)
        other = turned_section(section * [1, -1], steps)
        mean = (volume_mm3(one) - volume_mm3(other)) / 2
        assert mean == pytest.approx(area * centroid * steps * np.sin(2 * np.pi / steps), rel=1e-12)


def test_a_regular_tetrahedron_has_a_cubed_over_6_root_2():
    """Euclid XIII.13; edge a: volume a^3 / (6 sqrt 2), surface sqrt 3 a^2."""
    a = 3.7
    solid = tetrahedron(*(a / np.sqrt(8) * np.array([[1, 1, 1], [1, -1, -1], [-1, 1, -1], [-1, -1, 1]])))
    assert volume_mm3(solid) == pytest.approx(a**3 / (6 * np.sqrt(2)), rel=1e-14)
    assert area_mm2(solid) == pytest.approx(np.sqrt(3) * a**2, rel=1e-14)


def test_a_heronian_tetrahedron_agrees_with_the_cayley_menger_determinant():
    """288 V^2 is the Cayley-Menger determinant of the edge lengths; edges 117, 84, 51, 52, 53, 80 give 18144.

    The smallest perfect tetrahedron (Buchholz 1992, Bulletin of the Australian Mathematical Society 46; from memory).
    """
    # Triangle 52, 51, 53 with the edges 117, 80, 84 across from them, in the arrangement that closes.
    a, b, c = np.array([0.0, 0.0]), np.array([117.0, 0.0]), _third(117.0, 84.0, 51.0)
    d = _apex(a, b, c, 80.0, 53.0, 52.0)
    solid = tetrahedron((*a, 0.0), (*b, 0.0), (*c, 0.0), d)
    assert volume_mm3(solid) == pytest.approx(18144.0, rel=1e-12)


def _third(ab, ac, bc):
    x = (ab**2 + ac**2 - bc**2) / (2 * ab)
    return np.array([x, np.sqrt(ac**2 - x**2)])


def _apex(a, b, c, ad, bd, cd):
    matrix = 2 * np.array([b - a, c - a])
    right = np.array([ad**2 - bd**2 + b @ b - a @ a, ad**2 - cd**2 + c @ c - a @ a])
    x, y = np.linalg.solve(matrix, right)
    return np.array([x, y, np.sqrt(ad**2 - x**2 - y**2)])


def test_volume_area_bodies_and_euler_number_agree_with_trimesh():
    trimesh = pytest.importorskip("trimesh")
    for number, shape in enumerate((box((1, 2, 3)), torus(), torus(3, 1.4, 31, 9), frame_block(4))):
        from addon.rules.solid.mesh import mesh

        (body,) = bodies_of(mesh(shape.points @ rotation(number).T + number, shape.triangles))
        theirs = trimesh.Trimesh(body.points, body.triangles, process=False)
        assert theirs.is_volume
        assert volume_mm3(body) == pytest.approx(theirs.volume, rel=1e-11)
        assert area_mm2(body) == pytest.approx(theirs.area, rel=1e-12)
        assert theirs.euler_number == 2 - 2 * facts(body).genus
