"""The skin that is coloured by elements: each point has the nearest of its own body's, and no face is lost."""

import numpy as np
import pytest
from cast_jobs import casting, job

from addon.rules.cast.skin_elements import FINE, skin_elements
from addon.rules.solid.measure import normals


@pytest.fixture(scope="module")
def straight():
    one, (network, _) = job("straight"), casting("straight")
    return one, network, skin_elements(network, one.bodies, [solid.mesh for solid in one.lattice.solids])


def test_every_point_has_the_nearest_element_of_its_own_body(straight):
    one, network, skin = straight
    start = 0
    for number, body in enumerate(one.bodies):
        points = body.points()
        own = network.of_owner(number)
        away = np.linalg.norm(points[:, None] - network.at[own], axis=2)
        chosen = skin.element[start : start + len(points)]
        assert np.isin(chosen, own).all()
        least = away[np.arange(len(points)), chosen - own[0]]
        # Places where two are as near as each other may take either.
        np.testing.assert_allclose(least, away.min(axis=1), atol=1e-6)
        start += len(points)


def test_the_lattice_is_cut_finer_and_keeps_its_surface(straight):
    one, network, skin = straight
    points = sum(len(body.mesh.points) for body in one.bodies)
    faces = sum(len(body.mesh.triangles) for body in one.bodies)
    corners = skin.points[skin.faces[faces:]]
    area = sum(_area(solid.mesh.corners()) for solid in one.lattice.solids)
    assert _area(corners) == pytest.approx(area, rel=1e-9)
    size = FINE * np.median(network.bore_mm[network.elements_of("link")])
    assert np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2).max() <= size * (1 + 1e-9)
    assert (skin.element[points:] >= len(one.bodies)).all()
    kinds = {network.owners[k].kind for k in np.unique(network.owner[skin.element[points:]])}
    assert {"gate", "ring"} <= kinds
    assert not {"link", "trunk", "button"} & kinds


def test_normals_look_out(straight):
    _, _, skin = straight
    twice = normals(skin.points[skin.faces])
    mean = skin.normal[skin.faces].mean(axis=1)
    np.testing.assert_allclose(np.linalg.norm(skin.normal, axis=1), 1.0, atol=1e-9)
    big = np.linalg.norm(twice, axis=1) > 1e-6
    assert (np.einsum("ij,ij->i", twice, mean)[big] > 0.0).mean() > 0.999


def _area(corners):
    return float(np.linalg.norm(normals(corners), axis=1).sum() / 2)
