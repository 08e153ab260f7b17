"""Tapered chains: sizes run evenly from a to b, every joint keeps the gap, and a taper that inverts is named."""

from dataclasses import replace

import numpy as np
import pytest

from addon.rules.base.errors import BadInput
from addon.rules.base.progress import finish
from addon.rules.chain.build import build_chain, draft_chain
from addon.rules.chain.families import draw
from addon.rules.chain.measure import drafting
from addon.rules.chain.spec import ChainSpec, LayoutSpec
from addon.rules.chain.taper import tapered_pattern, tight
from addon.rules.chain.taper_counts import count
from addon.rules.chain.taper_fits import sample
from addon.rules.chain.taper_sizes import at_share, shares
from addon.rules.solid.distance import gaps
from addon.rules.solid.linking import linking_number
from addon.rules.solid.measure import volume_mm3

CURB = ChainSpec(
    "curb", 2.2, 12.2, 9.7, 0.4, chord_mm=0.08, end_wire_mm=1.2, end_link_length_mm=8.0, end_link_width_mm=6.2
)
TRACE = ChainSpec(
    "trace", 2.0, 12.0, 9.0, 0.4, chord_mm=0.08, end_wire_mm=1.2, end_link_length_mm=7.2, end_link_width_mm=5.5
)
T = np.arange(64) * 2 * np.pi / 64
OVAL = tuple(map(tuple, np.stack((52 * np.cos(T), 45 * np.sin(T), 0 * T), axis=1).tolist()))

LAYOUTS = [
    LayoutSpec("straight", links=20),
    LayoutSpec("straight", length_mm=180.0, face="flat"),
    LayoutSpec("ring", inner_length_mm=200.0),
    LayoutSpec("curve", points=OVAL[:24]),
    LayoutSpec("curve", points=OVAL, cyclic=True),
    LayoutSpec("spiral", links=26),
]


@pytest.mark.parametrize("spec", [CURB, TRACE], ids=["curb", "trace"])
@pytest.mark.parametrize("layout", LAYOUTS, ids=lambda at: f"{at.shape}-{at.cyclic}-{at.face}")
def test_every_gap_is_held_on_the_meshes_and_neighbours_alone_are_linked(spec, layout):
    chain = finish(build_chain(spec, layout))
    n = chain.links
    assert finish(gaps(chain.bodies, range_mm=1.0)).gap_mm.min() >= spec.gap_mm
    lines = [body.pose.apply(body.wire.centreline) for body in chain.bodies]
    assert len(chain.joints) == (n if chain.closed else n - 1)
    for k in range(n - 1):
        assert abs(round(linking_number(lines[k], lines[k + 1]))) == 1
        if k + 2 < n and not (chain.closed and n == 3):
            assert round(linking_number(lines[k], lines[k + 2])) == 0


def test_links_run_evenly_from_the_first_size_to_the_last():
    chain = draft_chain(TRACE, LayoutSpec("straight", links=11))
    sizes = [chain.pattern.links[kind] for kind in chain.row.kind]
    assert [link.length_mm for link in sizes] == pytest.approx(np.linspace(12.0, 7.2, 11))
    assert [link.width_mm for link in sizes] == pytest.approx(np.linspace(9.0, 5.5, 11))
    assert [link.wire_mm for link in sizes] == pytest.approx(np.linspace(2.0, 1.2, 11))
    volumes = [volume_mm3(body.mesh) for body in chain.bodies]
    assert (np.diff(volumes) < 0).all()


def test_a_ring_runs_to_the_middle_and_back_and_closes():
    chain = draft_chain(TRACE, LayoutSpec("ring", links=36))
    lengths = np.array([chain.pattern.links[kind].length_mm for kind in chain.row.kind])
    assert lengths[0] == 12.0
    assert lengths[18] == pytest.approx(7.2)
    assert lengths[1:] == pytest.approx(lengths[:0:-1])
    assert len(chain.pattern.links) == 19
    # Pitches are chords of one circle that close once round.
    chords = np.array([chain.fits[j].pitch_mm for j in chain.row.joint])
    assert 2 * np.arcsin(chords / 2 / chain.radius_mm).sum() == pytest.approx(2 * np.pi, abs=1e-9)


def test_equal_ends_make_the_even_chain():
    """A taper from a size to itself is the chain without one: same places, same lengths."""
    even = replace(CURB, end_wire_mm=None, end_link_length_mm=None, end_link_width_mm=None)
    same = replace(CURB, end_wire_mm=2.2, end_link_length_mm=12.2, end_link_width_mm=9.7)
    for layout in (LayoutSpec("straight", links=9), LayoutSpec("ring", inner_length_mm=200.0)):
        one, two = draft_chain(even, layout), draft_chain(same, layout)
        assert one.links == two.links
        assert two.worn_mm == pytest.approx(one.worn_mm, abs=2e-3)
        places = [np.array([body.pose.origin for body in chain.bodies]) for chain in (one, two)]
        assert places[1] == pytest.approx(places[0], abs=5e-3)


def test_the_length_asked_for_is_met_to_the_nearest_link():
    chain = draft_chain(TRACE, LayoutSpec("straight", length_mm=180.0))
    worn = {size.links: size.worn_mm for size in chain.sizes}
    assert worn[chain.links] == chain.worn_length_mm
    best = min(worn, key=lambda n: abs(worn[n] - 180.0))
    assert best == chain.links
    assert len(worn) == 7
    # Trace drawn taut, closed form: the inside lengths of all links and the wire at either end.
    share = np.linspace(0, 1, chain.links)
    inside = (12.0 + share * -4.8) - 2 * (2.0 + share * -0.8)
    assert chain.worn_length_mm == pytest.approx(inside.sum() + 2.0 + 1.2, abs=0.05)


def test_a_quarter_turn_is_kept_between_unlike_links_and_an_odd_ring_spreads_it():
    straight = tapered_pattern(TRACE, 7, closed=False)
    assert [place.roll_deg for place in straight.places] == pytest.approx([90.0 * k for k in range(7)])
    odd = tapered_pattern(TRACE, 15, closed=True)
    steps = np.diff([place.roll_deg for place in odd.places])
    assert np.allclose(steps, steps[0])
    assert (steps[0] * 15 / 180) == pytest.approx(round(steps[0] * 15 / 180))


def test_shares_and_proportions():
    assert shares(5, closed=False) == pytest.approx([0, 0.25, 0.5, 0.75, 1])
    assert shares(6, closed=True) == pytest.approx([0, 1 / 3, 2 / 3, 1, 2 / 3, 1 / 3])
    spec = replace(CURB, facet_mm=0.44, end_wire_mm=1.1)
    last = at_share(spec, 1.0)
    assert (last.wire_mm, last.facet_mm, last.tapered) == (1.1, pytest.approx(0.22), False)


@pytest.mark.parametrize(
    ("ends", "key"),
    [
        ({"end_link_width_mm": 2.0}, "end_link_width_mm"),
        ({"end_wire_mm": 4.0}, "end_wire_mm"),
        ({"end_link_length_mm": -3.0}, "end_link_length_mm"),
        ({"end_wire_mm": 0.0}, "end_wire_mm"),
        ({"end_link_length_mm": float("nan")}, "end_link_length_mm"),
        ({"end_link_length_mm": 8.0, "end_link_width_mm": 6.2, "end_wire_mm": 1.4}, "end_wire_mm"),
    ],
)
def test_a_taper_that_inverts_or_closes_up_names_the_end_size(ends, key):
    bare = replace(CURB, end_wire_mm=None, end_link_length_mm=None, end_link_width_mm=None)
    with pytest.raises(BadInput, match=rf"chain\..*{key}"):
        draft_chain(replace(bare, **ends), LayoutSpec("straight", links=12))


def test_the_end_sizes_offered_in_place_of_ones_that_close_up_work():
    spec = replace(CURB, end_wire_mm=1.4)
    with pytest.raises(BadInput) as refused:
        draft_chain(spec, LayoutSpec("straight", links=12))
    offered = str(refused.value).rsplit("; ", 1)[1].removesuffix(" works")
    sizes = {key: float(value) for key, value in (part.split(" = ") for part in offered.split(" and "))}
    assert set(sizes) == {"end_wire_mm", "end_link_length_mm", "end_link_width_mm"}
    chain = draft_chain(replace(spec, **sizes), LayoutSpec("straight", links=12))
    assert chain.smallest_gap_mm >= spec.gap_mm


def test_tapered_ends_carry_closures_of_their_own_size():
    chain = finish(build_chain(TRACE, LayoutSpec("straight", links=30, clasp="eyes")))
    one, two = chain.bodies[-2:]
    assert (one.wire.radius_mm, two.wire.radius_mm) == (1.0, 0.6)
    table = finish(gaps(chain.bodies, range_mm=2.0))
    assert table.gap_mm.min() >= TRACE.gap_mm


@pytest.mark.parametrize("near", [None, 2, 12, 40, 400])
def test_the_number_of_links_does_not_hang_on_where_it_is_looked_for(near):
    layout = LayoutSpec("straight", length_mm=180.0)
    sampled = sample(TRACE, layout.face, drafting)
    assert count(sampled, layout, 0.0, near=near) == count(sampled, layout, 0.0)


def test_a_link_inside_a_taper_that_runs_into_itself_is_found_by_its_bend():
    links = [draw(replace(at_share(TRACE, 0.0), link_width_mm=width)).link for width in (9.0, 6.2, 9.0)]
    assert [links.index(one) for one in tight(links, drafting(links))] == [1]


@pytest.mark.parametrize("links", [20, 21, 22])
def test_an_open_weave_may_end_on_a_single_ring_or_on_either_of_a_pair(links):
    spec = ChainSpec("weave", 1.9, 14.0, 12.0, 0.3, end_wire_mm=1.6)
    chain = draft_chain(spec, LayoutSpec("straight", links=links))
    assert chain.links == links
    assert len(chain.fits) == chain.row.stations - 1
    assert chain.smallest_gap_mm >= spec.gap_mm
