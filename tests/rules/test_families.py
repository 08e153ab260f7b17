"""The drawn links: closed, outward, inside the wire they stand for, as fine as asked, linked to their neighbours."""

import numpy as np
import pytest

from addon.rules.base.errors import BadInput
from addon.rules.chain.families import DRAWN, draw
from addon.rules.chain.link import curvature, even_parameters
from addon.rules.chain.spec import ChainSpec
from addon.rules.chain.sweep import distance_from, resolution, sweep
from addon.rules.solid.linking import linking_number
from addon.rules.solid.topology import facts

SIZES = [(2.2, 12.2, 9.7), (1.2, 6.0, 4.5), (2.2, 9.0, 9.0), (0.6, 9.0, 4.0), (1.0, 4.5, 8.0)]


def spec(family: str, wire: float = 2.2, length: float = 12.2, width: float = 9.7, **other) -> ChainSpec:
    return ChainSpec(family, wire, length, width, 0.2, **other)


@pytest.mark.parametrize("family", sorted(DRAWN))
def test_derivatives_are_those_of_the_curve(family):
    curve = draw(spec(family)).curve
    t, h = np.linspace(0, 7, 40), 1e-5
    _, first, second = curve(t)
    np.testing.assert_allclose((curve(t + h)[0] - curve(t - h)[0]) / (2 * h), first, atol=1e-8)
    np.testing.assert_allclose((curve(t + h)[1] - curve(t - h)[1]) / (2 * h), second, atol=1e-8)


@pytest.mark.parametrize("family", sorted(DRAWN))
def test_a_half_turn_about_the_chain_axis_carries_a_link_into_itself(family):
    curve = draw(spec(family)).curve
    t = even_parameters(60)
    np.testing.assert_allclose(curve(-t)[0], curve(t)[0] * [1, -1, -1], atol=1e-12)


@pytest.mark.parametrize("family", sorted(DRAWN))
@pytest.mark.parametrize(("wire", "length", "width"), SIZES)
def test_a_link_is_one_closed_outward_loop_of_the_size_asked_for(family, wire, length, width):
    mesh, drawn = sweep(draw(spec(family, wire, length, width)), 0.01)
    found = facts(mesh)
    assert (found.closed, found.genus, found.shells, found.inside_out) == (True, 1, 1, False)
    low, high = mesh.points.min(axis=0), mesh.points.max(axis=0)
    np.testing.assert_allclose((high - low)[0], length, atol=0.02)
    if family == "trace":
        np.testing.assert_allclose(high - low, (length, width, wire), atol=0.02)
    else:
        np.testing.assert_allclose(np.abs(drawn.centreline[:, 1]).max() * 2 + wire, width, atol=1e-3)
    assert drawn.radius_mm == wire / 2


@pytest.mark.parametrize("family", sorted(DRAWN))
@pytest.mark.parametrize(("wire", "length", "width"), SIZES)
@pytest.mark.parametrize("chord", [0.02, 0.005])
def test_facets_lie_inside_the_wire_and_within_the_chord_tolerance(family, wire, length, width, chord):
    link = draw(spec(family, wire, length, width))
    mesh, _ = sweep(link, chord)
    along, around = resolution(link, chord)
    assert along % 2 == 0
    assert around % 2 == 0
    assert len(mesh.triangles) == 2 * along * around
    rng = np.random.default_rng(7)
    shares = np.concatenate((rng.dirichlet((1, 1, 1), 12), [[0.5, 0.5, 0], [0, 0.5, 0.5], [0.5, 0, 0.5]]))
    points = np.einsum("kc,tcx->tkx", shares, mesh.corners())
    near = np.repeat(even_parameters(along) + np.pi / along, 2 * around)[:, None] + np.zeros((1, len(shares)))
    depth = wire / 2 - distance_from(link.curve, points, near)
    assert depth.min() > -1e-6
    assert depth.max() < chord


def test_default_resolution_is_about_a_hundred_by_twenty_four():
    assert resolution(draw(spec("trace")), 0.02) == (96, 24)
    along, around = resolution(draw(spec("curb")), 0.02)
    assert around == 24
    assert 92 <= along <= 108


def test_curb_twists_ninety_degrees_end_to_end():
    """The plane of the sides turns from -45 to +45 degrees towards the two ends, always the same way."""
    curve = draw(spec("curb")).curve
    side = curve(np.array([1e-6, np.pi - 1e-6]))[0]
    angle = np.degrees(np.arctan2(side[:, 2], side[:, 1]))
    np.testing.assert_allclose(angle, (45, -45), atol=1e-3)


@pytest.mark.parametrize(("family", "turn"), [("curb", 0.0), ("trace", 90.0)])
def test_neighbours_pass_through_each_other_and_the_next_but_one_does_not(family, turn):
    link = draw(spec(family))
    assert link.turn_deg == turn
    loop = link.curve(even_parameters(96))[0]
    turned = loop if turn == 0 else loop[:, [0, 2, 1]] * [1, 1, -1]
    assert abs(round(linking_number(loop, turned + np.array([6.8, 0, 0])))) == 1
    assert round(linking_number(loop, loop + np.array([13.6, 0, 0]))) == 0


def test_curvature_of_a_round_link_is_one_over_its_radius():
    np.testing.assert_allclose(curvature(draw(spec("trace", 2, 10, 10)).curve, even_parameters(9)), 1 / 4)


def test_unknown_and_unbuilt_families_are_told_apart():
    with pytest.raises(BadInput, match="no family 'kerb'; choose curb, trace"):
        draw(spec("kerb"))
    with pytest.raises(BadInput, match="'figaro' is not available in this version; choose curb, trace"):
        draw(spec("figaro"))
