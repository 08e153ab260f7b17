"""The two-in-one weave: its linking, its even gaps, closed form where there is one, and what it says of bad sizes."""

import re
from dataclasses import replace

import numpy as np
import pytest

from addon.rules.base.errors import BadInput
from addon.rules.base.profile import load_profile
from addon.rules.base.progress import finish
from addon.rules.chain import weave
from addon.rules.chain.build import build_chain
from addon.rules.chain.row import row_of
from addon.rules.chain.spec import ChainSpec, LayoutSpec
from addon.rules.feed.plan import plan_lattice
from addon.rules.feed.spec import FeedSpec
from tests.straight_rows import linked_pairs, pair_gaps, widest_gap

BODIES = 10
RING = ChainSpec("weave", 1.0, 8.0, 8.0, 0.3)
OVALS = [(8.0, 8.0), (5.5, 8.0), (12.0, 8.0), (20.0, 8.0)]


def best_pitch(spec):
    """Half a wire's spacing beyond half the length: single rings then stay as far apart as the rings of a pair."""
    aside = weave.aside_mm(spec.link_length_mm, spec.link_width_mm, spec.wire_mm)
    return (spec.link_length_mm - spec.wire_mm) / 2 + aside


@pytest.mark.parametrize(("length", "width"), OVALS)
def test_every_single_ring_carries_two_and_they_the_next(length, width):
    spec = replace(RING, link_length_mm=length, link_width_mm=width)
    pattern = weave.pattern(spec)
    singles = range(0, BODIES, 3)
    wanted = {(k, k + on) for k in singles for on in (1, 2) if k + on < BODIES}
    wanted |= {(k - on, k) for k in singles for on in (1, 2) if k > 0}
    assert linked_pairs(pattern, BODIES, best_pitch(spec)) == wanted
    row = row_of(pattern, BODIES, closed=False, face="out")
    assert {tuple(pair) for pair in row.linked} == wanted
    assert row.station.tolist() == [0, 1, 1, 2, 3, 3, 4, 5, 5, 6]


@pytest.mark.parametrize(("length", "width"), OVALS)
def test_all_gaps_are_alike_and_no_other_spacing_gives_a_wider_one(length, width):
    spec = replace(RING, link_length_mm=length, link_width_mm=width)
    pattern, pitch = weave.pattern(spec), best_pitch(spec)
    side_by_side, single_to_single, single_to_pair = pair_gaps(pattern, 4, pitch, np.array([[1, 2], [0, 3], [0, 1]]))
    ours = weave.widest_gap_mm(length, width, spec.wire_mm)
    assert side_by_side == pytest.approx(ours, abs=1e-4)
    assert single_to_single == pytest.approx(ours, abs=1e-4)
    assert single_to_pair == pytest.approx(ours, abs=1e-4)
    aside = weave.aside_mm(length, width, spec.wire_mm)
    for other in np.linspace(0.7, 1.3, 9) * aside:
        moved = replace(pattern, links=(pattern.links[0], weave.ring(spec, float(other))))
        gap, _ = widest_gap(moved, 6, np.linspace(0.92, 1.08, 9) * pitch)
        assert gap <= ours + 1e-4


def test_round_rings_take_four_wires_on_a_square():
    """Closed form: corners of a square of side s, s from the circle too: s = R (1 - 1/sqrt 2) ... doubled."""
    radius = 3.5
    side = radius / (1 + 1 / np.sqrt(2))
    assert 2 * weave.aside_mm(8.0, 8.0, 1.0) == pytest.approx(side, abs=1e-5)


def test_sizes_offered_in_place_of_too_thick_a_wire_give_the_gap():
    spec = replace(RING, wire_mm=2.6, gap_mm=0.35)
    with pytest.raises(BadInput, match=r"chain\.wire_mm: 2\.6 is too thick") as refused:
        weave.pattern(spec)
    wire, length, width = (float(x) for x in re.findall(r"(?:of|=) (\d+\.\d+)", str(refused.value)))
    for offered in (replace(spec, wire_mm=wire), replace(spec, link_length_mm=length, link_width_mm=width)):
        gap, _ = widest_gap(weave.pattern(offered), 6, np.array([best_pitch(offered)]))
        assert gap >= spec.gap_mm - 1e-6


def test_options_of_other_families_are_refused():
    with pytest.raises(BadInput, match=r"chain\.section: does not belong to a weave; leave it out or write 'round'"):
        weave.pattern(replace(RING, section="rectangle"))


def test_every_ring_of_a_worn_length_gets_a_gate():
    """A pair's lower ring must not stand in the way of the upper one's gate."""
    spec = ChainSpec("weave", 1.6, 10.5, 9.5, 0.3)
    chain = finish(build_chain(spec, LayoutSpec("ring", links=60)))
    lattice = finish(plan_lattice(chain.bodies, chain.path, load_profile("bench"), FeedSpec(), wire_mm=1.6))
    assert [f.text for f in lattice.findings if f.severity == "stop"] == []
    fed = {strut.feeds for strut in lattice.struts if strut.feeds is not None}
    assert fed == {body.name for body in chain.bodies}
