"""The drawn links: closed, outward, of the size asked for, linked as the family says; and what a family refuses."""

from dataclasses import replace

import numpy as np
import pytest

from addon.rules.base.errors import BadInput
from addon.rules.chain.box import rounded_square, squareness
from addon.rules.chain.check import check_chain, check_link
from addon.rules.chain.curb import LEFT, WALL_MM
from addon.rules.chain.families import DRAWN, draw
from addon.rules.chain.link import curvature, even_parameters
from addon.rules.chain.spec import FAMILIES, ChainSpec
from addon.rules.chain.sweep import meshes_of, resolution, sweep
from addon.rules.solid.linking import linking_number
from addon.rules.solid.topology import facts
from tests.wires import self_crossings

SIZES = [(2.2, 12.2, 9.7), (1.2, 6.5, 5.5), (0.6, 9.0, 4.0), (3.0, 20.0, 20.0)]
KINDS = {
    "curb": {},
    "curb of two strands": {"strands": 2},
    "heavy curb": {"facet_mm": 0.3},
    "curb of a rectangle": {"section": "rectangle", "wire_width_mm": 0.8},
    "trace": {},
    "trace of a D": {"section": "D", "wire_width_mm": 0.7},
    "belcher": {"section": "D"},
    "figaro": {},
    "heavy figaro": {"facet_mm": 0.2, "repeat": 2},
    "anchor": {},
    "box": {},
    "box of a D": {"section": "D"},
}
FAMILY = {name: next(word for word in name.split() if word in FAMILIES) for name in KINDS}


def spec(name: str, wire: float = 2.2, length: float = 12.2, width: float = 9.7, **other) -> ChainSpec:
    options = {key: value * wire if key == "wire_width_mm" else value for key, value in KINDS.get(name, {}).items()}
    return ChainSpec(FAMILY.get(name, name), wire, length, width, 0.15, **{**options, **other})


def drawn(name: str, *sizes: float):
    """The links of a kind, or a skip where the family refuses these sizes (tested below)."""
    try:
        links = draw(spec(name, *sizes)).links
        for link in links:
            check_link(link)
    except BadInput as error:
        pytest.skip(str(error))
    return links


@pytest.mark.parametrize("name", KINDS)
def test_derivatives_are_those_of_the_curve(name):
    for link in drawn(name):
        t, h = np.linspace(0, 7, 40), 1e-5
        _, first, second = link.curve(t)
        np.testing.assert_allclose((link.curve(t + h)[0] - link.curve(t - h)[0]) / (2 * h), first, atol=1e-8)
        np.testing.assert_allclose((link.curve(t + h)[1] - link.curve(t - h)[1]) / (2 * h), second, atol=1e-7)


@pytest.mark.parametrize("name", KINDS)
def test_a_half_turn_about_the_chain_axis_carries_a_link_into_itself(name):
    pattern = draw(spec(name))
    assert pattern.symmetric
    for link in pattern.links:
        t = even_parameters(60)
        np.testing.assert_allclose(link.curve(-t)[0], link.curve(t)[0] * [1, -1, -1], atol=1e-12)


@pytest.mark.parametrize("name", KINDS)
@pytest.mark.parametrize("sizes", SIZES)
@pytest.mark.parametrize("chord", [0.1, 0.02])
def test_a_link_is_one_closed_outward_shell_of_the_size_asked_for(name, sizes, chord):
    for link in drawn(name, *sizes):
        mesh, wire = sweep(link, chord)
        found = facts(mesh)
        assert (found.closed, found.shells, found.inside_out) == (True, 1, False)
        assert found.genus == (1 if link.stud_mm is None else 2)
        if chord == 0.1 or sizes == SIZES[0]:
            assert self_crossings(mesh) == 0
        extent = np.ptp(mesh.points, axis=0)
        # The corners of a broad section on a twisted loop reach a hair further than its middle.
        hair = 0.01 if FAMILY[name] == "curb" and link.section.kind != "round" else 1e-9
        assert np.all(extent[:2] <= [link.length_mm + hair, link.width_mm + hair])
        np.testing.assert_allclose(extent[:2], (link.length_mm, link.width_mm), atol=2 * chord)
        if FAMILY[name] not in ("curb", "figaro"):
            np.testing.assert_allclose(extent[2], link.section.broad_mm, atol=2 * chord)
        assert (wire is not None) == link.plain
        if link.stud_mm is None:
            along, around = resolution(link, chord)
            assert len(mesh.triangles) == 2 * along * around


def test_kinds_swept_together_are_those_swept_alone():
    links = [link for name in KINDS for link in draw(spec(name)).links]
    links += [draw(spec("curb", 2.2 * k, 12.2 * k, 9.7 * k)).link for k in np.linspace(1, 0.9, 7)]
    for link, (mesh, _) in zip(links, meshes_of(links, 0.05), strict=True):
        alone, _ = sweep(link, 0.05)
        np.testing.assert_array_equal(mesh.triangles, alone.triangles)
        np.testing.assert_allclose(mesh.points, alone.points, atol=1e-12)


def test_default_resolution_is_about_a_hundred_by_twenty_four():
    assert resolution(draw(spec("trace")).link, 0.02) == (96, 24)
    along, around = resolution(draw(spec("curb")).link, 0.02)
    assert around == 24
    assert 92 <= along <= 108


def test_curb_and_figaro_twist_ninety_degrees_end_to_end_the_same_way():
    """The plane of the sides turns from -45 to +45 degrees towards the two ends, always the same way."""
    for link in (*draw(spec("curb")).links, *draw(spec("figaro")).links):
        side = link.curve(np.array([1e-6, np.pi - 1e-6]))[0]
        angle = np.degrees(np.arctan2(side[:, 2], side[:, 1]))
        np.testing.assert_allclose(angle, (45, -45), atol=1e-3)


@pytest.mark.parametrize(("name", "turn"), [("curb", 0), ("trace", 90), ("belcher", 90), ("box", 90), ("anchor", 90)])
def test_neighbours_pass_through_each_other_and_the_next_but_one_does_not(name, turn):
    pattern = draw(spec(name))
    assert pattern.turn_deg == turn
    loop = pattern.link.curve(even_parameters(96))[0]
    turned = loop if turn == 0 else loop[:, [0, 2, 1]] * [1, 1, -1]
    assert abs(round(linking_number(loop, turned + np.array([7.2, 0, 0])))) == 1
    assert round(linking_number(loop, loop + np.array([14.4, 0, 0]))) == 0


def test_a_figaro_repeats_short_links_and_a_long_one_of_the_same_wire_and_width():
    pattern = draw(spec("figaro", repeat=3, long_link_mm=20.0))
    short, long = pattern.links
    assert [place.kind for place in pattern.places] == [0, 0, 0, 1]
    assert [pattern.joints[place.joint] for place in pattern.places] == [
        "short to short",
        "short to short",
        "short to long",
        "short to long",
    ]
    assert pattern.linked == ((0, 1), (1, 1), (2, 1), (3, 1))
    assert (short.length_mm, long.length_mm) == (12.2, 20.0)
    assert (short.width_mm, short.section) == (long.width_mm, long.section)
    alternating = draw(spec("figaro", repeat=1))
    assert alternating.joints == ("short to long",)
    assert [place.joint for place in alternating.places] == [0, 0]


def test_the_facets_of_a_figaro_lie_in_one_plane():
    links = draw(spec("heavy figaro")).links
    for mesh, _ in meshes_of(links, 0.02):
        assert np.abs(mesh.points[:, 2]).max() == pytest.approx(links[0].section.flat_mm, abs=1e-12)


def test_a_box_is_square_with_rounded_corners_of_continuous_curvature():
    a, b = 3.0, 4.0
    n = squareness(a, b, 1.1)
    curve = rounded_square(a, b, n)
    t = even_parameters(4000)
    x, y = curve(t)[0][:, 0], curve(t)[0][:, 1]
    np.testing.assert_allclose(np.abs(x / a) ** n + np.abs(y / b) ** n, 1, rtol=1e-12)
    bent = curvature(curve, t)
    assert np.abs(np.diff(bent)).max() < 0.01 * bent.max()
    corner = curvature(rounded_square(a, a, n), np.array([np.pi / 4]))
    assert 1 / corner[0] == pytest.approx(1.1, rel=1e-9)


def test_curvature_of_a_round_link_is_one_over_its_radius():
    np.testing.assert_allclose(curvature(draw(spec("trace", 2, 10, 10)).link.curve, even_parameters(9)), 1 / 4)


def test_every_family_of_the_spec_is_drawn_and_no_other():
    assert set(DRAWN) == set(FAMILIES)
    with pytest.raises(BadInput, match="no family 'kerb'; choose curb, trace"):
        draw(spec("kerb"))


@pytest.mark.parametrize(
    ("name", "other", "says", "mended"),
    [
        ("anchor", {"stud_mm": 4.0}, "chain.stud_mm: 4 is too wide for an opening 7.8 mm long", {"stud_mm": 1.5}),
        ("anchor", {"stud_mm": 2.1}, "give from 0.66 to 1.87", {"stud_mm": 1.87}),
        ("anchor", {"stud_mm": 0.3}, "give from 0.66 to 1.87", {"stud_mm": 0.66}),
        ("anchor", {"link_length_mm": 9.5}, "give a link_length_mm above 11.05", {"link_length_mm": 11.06}),
        ("anchor", {"section": "D"}, "chain.section: does not belong to an anchor", {"section": "round"}),
        ("curb", {"facet_mm": 2.0}, "chain.facet_mm: 2 leaves less than 1.10 mm.*give up to 1.10", {"facet_mm": 1.1}),
        ("curb", {"facet_mm": 0.3, "section": "D"}, "facets are cut on round wire", {"section": "round"}),
        (
            "curb",
            {"strands": 2, "wire_mm": 2.9},
            "chain.strands: .* link_width_mm above 11.32",
            {"link_width_mm": 11.33},
        ),
        ("curb", {"strands": 2, "section": "D"}, "two strands are round wire", {"section": "round"}),
        ("curb", {"strands": 2, "corner_mm": 0.2}, "chain.corner_mm: two strands", {"corner_mm": None}),
        ("curb", {"stud_mm": 1.0}, "chain.stud_mm: does not belong to a curb", {"stud_mm": None}),
        ("trace", {"wire_width_mm": 3.0}, "round wire has no such size.*section D or rectangle", {"section": "D"}),
        ("trace", {"facet_mm": 0.2}, "chain.facet_mm: does not belong to a trace", {"facet_mm": 0.0}),
        (
            "trace",
            {"section": "rectangle", "wire_width_mm": 5.1},
            "chain.wire_width_mm: 5.1 is too broad.*less than 5.00, or a link_width_mm above 9.80",
            {"link_width_mm": 9.81},
        ),
        ("trace", {"section": "D", "corner_mm": 1.2}, "chain.corner_mm: 1.2.*less than 1.10", {"corner_mm": 1.09}),
        (
            "belcher",
            {"section": "rectangle"},
            "a belcher has no section 'rectangle'; choose round or D",
            {"section": "D"},
        ),
        ("belcher", {"section": "D", "wire_width_mm": 2.0}, "a belcher is broad; give 2.2 or", {"wire_width_mm": 2.2}),
        ("figaro", {"long_link_mm": 12.0}, "not longer than a short link of 12.2", {"long_link_mm": 12.3}),
        ("figaro", {"repeat": 51}, "give from 1 to 50 short links", {"repeat": 50}),
        ("box", {"long_link_mm": 20.0}, "chain.long_link_mm: does not belong to a box", {"long_link_mm": None}),
    ],
)
def test_a_family_refuses_what_it_cannot_draw_and_says_what_works(name, other, says, mended):
    refused = replace(spec(name), **other)
    with pytest.raises(BadInput, match=says):
        draw(refused)
    for link in draw(replace(refused, **mended)).links:
        assert facts(sweep(link, 0.1)[0]).closed


@pytest.mark.parametrize("name", ["curb", "figaro"])
def test_facets_leave_the_wall_and_half_the_wire(name):
    """The deepest facet allowed leaves just that, measured on the mesh at the facet's middle, straight down."""
    with pytest.raises(BadInput, match="give up to") as refused:
        draw(spec(name, facet_mm=9.0))
    deepest = float(str(refused.value).split("give up to ")[1])
    with pytest.raises(BadInput, match="leaves less"):
        draw(spec(name, facet_mm=deepest + 0.01))
    for link in draw(spec(name, facet_mm=deepest)).links:
        t = even_parameters(5000)
        height = link.curve(t)[0][:, 2]
        tangent = link.curve(t)[1]
        upright = np.sqrt(1 - tangent[:, 2] ** 2 / (tangent**2).sum(axis=1))
        left = link.wire_mm / 2 + (link.section.flat_mm - height) / upright
        assert left.min() >= max(WALL_MM, LEFT * link.wire_mm) - 1e-4
    with pytest.raises(BadInput, match="leave it out, or give a thicker wire_mm"):
        draw(spec(name, 0.7, 5.0, 4.0, facet_mm=0.1))


@pytest.mark.parametrize(
    ("other", "says"),
    [
        ({"family": "kerb"}, "chain.family: there is no family 'kerb'"),
        ({"wire_mm": 0.0}, "chain.wire_mm: 0 does not work"),
        ({"wire_mm": float("nan")}, "chain.wire_mm: nan does not work"),
        ({"gap_mm": "wide"}, "chain.gap_mm: must be a number"),
        ({"wire_mm": 3.3}, "chain.wire_mm: 3.3 is too thick for a link 9.7 mm wide"),
        ({"link_length_mm": 8.8}, "chain.wire_mm: 2.2 is too thick for a link 8.8 mm long"),
        ({"gap_mm": 3.2}, "chain.gap_mm: 3.2 does not fit"),
        ({"chord_mm": 2.0}, "chain.chord_mm: 2 does not work"),
        ({"section": "oval"}, "chain.section: 'oval' is not one of its words; choose round, D, rectangle"),
        ({"strands": 3}, "chain.strands: 3 does not work; give 1 or 2"),
        ({"repeat": 0}, "chain.repeat: 0 does not work"),
        ({"repeat": 2.5}, "chain.repeat: 2.5 does not work"),
        ({"facet_mm": -0.1}, "chain.facet_mm: -0.1 does not work"),
        ({"corner_mm": -1.0}, "chain.corner_mm: -1 does not work"),
        ({"end_wire_mm": float("inf")}, "chain.end_wire_mm: inf does not work"),
        ({"turn_deg": 400.0}, "chain.turn_deg: 400 does not work; give from -360 to 360"),
        ({"turn_deg": float("nan")}, "chain.turn_deg: nan does not work"),
    ],
)
def test_the_door_names_the_key_and_what_works(other, says):
    with pytest.raises(BadInput, match=says):
        check_chain(replace(spec("curb"), **other))


@pytest.mark.parametrize("name", ["trace", "curb", "curb of two strands", "belcher"])
def test_a_wire_that_runs_into_itself_is_refused_with_one_that_does_not(name):
    narrow = spec(name, 1.2, 40.0, 6.2)
    with pytest.raises(BadInput, match=r"runs into itself.*wire_mm below") as refused:
        check_link(draw(narrow).link)
    below = float(str(refused.value).rsplit(" ", 1)[1])
    check_link(draw(replace(narrow, wire_mm=below - 0.01)).link)
