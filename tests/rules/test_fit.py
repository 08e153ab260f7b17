"""Fit: figures computed independently by sampled centrelines, laws that hold, and what is said when nothing fits."""

import re

import numpy as np
import pytest

from addon.rules.base.errors import BadInput, CannotBuild
from addon.rules.chain import closure
from addon.rules.chain.build import draft_chain
from addon.rules.chain.families import draw
from addon.rules.chain.fit import fit, reach, widest
from addon.rules.chain.lengths import inner_length, rings
from addon.rules.chain.link import even_parameters
from addon.rules.chain.spec import ChainSpec, LayoutSpec
from addon.rules.chain.tubes import tube_gaps
from addon.rules.chain.uniform import are_linked, lay_of, uniform_gaps

CURB = ChainSpec("curb", 2.2, 12.2, 9.7, 0.4)
TRACE = ChainSpec("trace", 2.2, 12.2, 9.7, 0.4)
RING = LayoutSpec("ring", links=30)


def plain_gap(link, rotation, shift, samples=1440):
    """The slow twin: the smallest distance of two densely sampled centrelines, less the wire."""
    loop = link.curve(even_parameters(samples))[0]
    other = loop @ rotation.T + shift
    return min(float(np.linalg.norm(other - p, axis=1).min()) for p in loop) - link.wire_mm


# Computed independently by sampled centrelines, to the digits given.
@pytest.mark.parametrize(
    ("pitch", "next_one", "next_but_one"),
    [(6.3, None, 0.40), (6.8, 0.598, 1.40), (7.5, 0.30, None), (7.8, 0.0, None)],
)
def test_straight_curb_gaps_are_those_computed_independently(pitch, next_one, next_but_one):
    link = draw(CURB)
    gap = tube_gaps(link, np.broadcast_to(np.eye(3), (2, 3, 3)), np.array([[pitch, 0, 0], [2 * pitch, 0, 0]])).gap_mm
    if next_one is not None:
        assert gap[0] == pytest.approx(next_one, abs=6e-4)
    if next_but_one is not None:
        assert gap[1] == pytest.approx(next_but_one, abs=6e-4)


def test_curb_ring_of_thirty_has_the_gap_computed_independently():
    link = draw(CURB)
    gap = uniform_gaps(link, lay_of(link, "out"), np.array([2 * np.pi / 30]), np.array([[6.8]])).gap_mm
    assert gap[0, 0] == pytest.approx(0.488, abs=6e-4)


def test_curb_interval_and_best_pitch_are_those_to_steer_by():
    link = draw(CURB)
    found = fit(link, lay_of(link, "out"), 0.0, 0.3)
    assert found.gap_mm == pytest.approx(0.60, abs=1e-3)
    assert found.best_mm == pytest.approx(6.8, abs=0.1)
    assert found.low_mm == pytest.approx(6.3, abs=0.06)
    assert found.high_mm == pytest.approx(7.5, abs=0.01)
    assert found.pulled_mm == pytest.approx(7.8, abs=1e-4)


@pytest.mark.parametrize("seed", range(12))
def test_tube_gaps_agree_with_dense_samples(seed):
    """Dense samples can only lie above the exact distance, by the square of half their spacing over twice it."""
    rng = np.random.default_rng(seed)
    link = draw((CURB, TRACE)[seed % 2])
    rotation = np.linalg.qr(rng.normal(size=(3, 3)))[0]
    rotation *= np.sign(np.linalg.det(rotation))
    shift = rng.uniform(3, 15) * np.array([1, 0, 0]) + rng.normal(size=3) * 2
    exact = float(tube_gaps(link, rotation[None], shift[None]).gap_mm[0])
    dense = plain_gap(link, rotation, shift)
    distance = exact + link.wire_mm
    assert exact <= dense + 1e-9
    assert dense - exact < 0.03**2 / max(distance, 0.02) + 1e-9


@pytest.mark.parametrize("spec", [CURB, TRACE])
@pytest.mark.parametrize("links", [np.inf, 40, 18])
@pytest.mark.parametrize("face", ["out", "flat"])
def test_fit_agrees_with_a_fine_scan_of_the_pitch(spec, links, face):
    link = draw(spec)
    lay, bend = lay_of(link, face), 2 * np.pi / links
    found = fit(link, lay, bend, 0.1)
    pitches = np.linspace(5, 8.5, 1401)
    gap = uniform_gaps(link, lay, np.array([bend]), pitches[None]).gap_mm[0]
    assert found.gap_mm >= gap.max() - 1e-6
    assert found.gap_mm <= gap.max() + 0.0025
    centre = int(np.searchsorted(pitches, found.best_mm))
    for floor, low, high in ((0.1, found.low_mm, found.high_mm), (0.0, found.pushed_mm, found.pulled_mm)):
        below = np.flatnonzero(gap < floor)
        assert pitches[below[below < centre].max()] == pytest.approx(low, abs=0.0026)
        assert pitches[below[below >= centre].min()] == pytest.approx(high, abs=0.0026)
        ends = uniform_gaps(link, lay, np.array([bend, bend]), np.array([[low], [high]])).gap_mm
        np.testing.assert_allclose(ends, floor, atol=1e-6)


def test_first_contact_is_not_jumped():
    """From a pitch beyond a contact, going back stops at that contact's far side."""
    link = draw(CURB)
    lay = lay_of(link, "out")
    one = np.ones(1)
    assert np.isnan(reach(link, lay, 0 * one, 7.9 * one, one, 0 * one)[0])
    assert reach(link, lay, 0 * one, 6.2 * one, one, 0 * one)[0] == pytest.approx(7.8, abs=1e-6)
    assert reach(link, lay, 0 * one, 7.7 * one, -one, 0 * one)[0] == pytest.approx(6.1, abs=1e-6)


def test_links_of_a_sharp_ring_that_came_apart_are_no_fit():
    link = draw(CURB)
    lay = lay_of(link, "out")
    gap = widest(link, lay, 2 * np.pi / np.array([3.0, 4.0, 5.0]))[1]
    assert (gap <= 0).all()
    assert not are_linked(link, lay, np.array([2 * np.pi / 3]), np.array([9.9]))[0]
    assert are_linked(link, lay, np.zeros(1), np.array([6.8]))[0]


@pytest.mark.parametrize("scale", [0.1, 3.0])
@pytest.mark.parametrize("spec", [CURB, TRACE])
def test_fit_scales_with_the_link(spec, scale):
    grown = ChainSpec(spec.family, 2.2 * scale, 12.2 * scale, 9.7 * scale, 0.4 * scale)
    one, other = draw(spec), draw(grown)
    a, b = (fit(link, lay_of(link, "out"), 0.2, gap) for link, gap in ((one, 0.3), (other, 0.3 * scale)))
    assert b.gap_mm == pytest.approx(a.gap_mm * scale, abs=1e-5)
    np.testing.assert_allclose(
        (b.low_mm, b.high_mm, b.pulled_mm), np.array((a.low_mm, a.high_mm, a.pulled_mm)) * scale, atol=1e-5
    )


@pytest.mark.parametrize("spec", [CURB, TRACE])
def test_inside_length_is_two_pi_times_the_innermost_metal(spec):
    link = draw(spec)
    lay = lay_of(link, "out")
    chain = draft_chain(spec, RING)
    points = np.concatenate([body.pose.apply(link.curve(even_parameters(2000))[0]) for body in chain.bodies])
    innermost = np.hypot(points[:, 0], points[:, 1]).min() - spec.wire_mm / 2
    assert chain.printed_inner_length_mm == pytest.approx(2 * np.pi * innermost, abs=1e-3)
    pulled = rings(link, lay, np.array([30.0])).pulled_mm
    assert chain.worn_inner_length_mm == pytest.approx(inner_length(link, lay, np.array([30.0]), pulled)[0], abs=1e-6)


@pytest.mark.parametrize("spec", [CURB, TRACE])
def test_worn_ring_is_at_contact_and_lies_between_the_others(spec):
    chain = draft_chain(spec, RING)
    link = draw(spec)
    lay = lay_of(link, "out")
    pulled = rings(link, lay, np.array([30.0])).pulled_mm[0]
    near = uniform_gaps(
        link, lay, np.array([2 * np.pi / 30]), np.array([[pulled - 1e-3, pulled, pulled + 1e-3]])
    ).gap_mm[0]
    assert near[0] > 0 > near[2]
    assert near[1] == pytest.approx(0, abs=1e-6)
    assert chain.pushed_inner_length_mm < chain.printed_inner_length_mm < chain.worn_inner_length_mm
    assert chain.slack_mm == pytest.approx(chain.worn_inner_length_mm - chain.printed_inner_length_mm)


@pytest.mark.parametrize("spec", [CURB, TRACE])
@pytest.mark.parametrize("asked", [150.0, 186.0, 203.3, 440.0])
def test_ring_closes_with_the_number_whose_worn_length_is_nearest(spec, asked):
    chain = draft_chain(spec, LayoutSpec("ring", inner_length_mm=asked))
    step = 2 if spec.family == "trace" else 1
    others = [chain.links - step, chain.links + step]
    worn = {n: draft_chain(spec, LayoutSpec("ring", links=n)).worn_inner_length_mm for n in others}
    assert all(abs(chain.worn_inner_length_mm - asked) <= abs(length - asked) for length in worn.values())
    assert [n for n, _ in chain.nearby] == others
    for n, length in chain.nearby:
        assert length == pytest.approx(worn[n], abs=1e-5)


@pytest.mark.parametrize("spec", [CURB, TRACE])
def test_straight_chain_hangs_nearest_to_the_length_asked_for(spec):
    chain = draft_chain(spec, LayoutSpec("straight", length_mm=440.0))
    assert chain.worn_length_mm == pytest.approx((chain.links - 1) * 7.8 + 12.2, abs=1e-4)
    assert abs(chain.worn_length_mm - 440) <= 3.9
    assert chain.printed_length_mm == pytest.approx((chain.links - 1) * chain.pitch_mm + 12.2)
    assert chain.worn_inner_length_mm is None


@pytest.mark.parametrize("spec", [CURB, TRACE])
@pytest.mark.parametrize(
    "layout",
    [LayoutSpec("ring", inner_length_mm=186.0, fit="ease"), LayoutSpec("straight", length_mm=440.0, fit="ease")],
)
def test_easing_meets_the_length_exactly_within_three_percent(spec, layout):
    chain = draft_chain(spec, layout)
    assert chain.worn_mm == pytest.approx(chain.asked_mm, abs=1e-3)
    assert chain.eased_from_mm == 12.2
    assert chain.spec.link_length_mm == pytest.approx(12.2, rel=0.03)
    assert chain.smallest_gap_mm >= chain.spec.gap_mm


def test_easing_too_far_names_what_can_be_met():
    with pytest.raises(CannotBuild, match=r"lets \d+ links wear from [\d.]+ to [\d.]+ mm, not 30"):
        draft_chain(ChainSpec("trace", 1.0, 8.0, 6.0, 0.2), LayoutSpec("straight", length_mm=30.0, fit="ease"))


REMEDY = re.compile(r"(link_width_mm|link_length_mm|wire_mm) = ([\d.]+)")


@pytest.mark.parametrize("spec", [CURB, TRACE])
@pytest.mark.parametrize(
    ("gap", "layout"),
    [(1.2, LayoutSpec("straight", links=20)), (0.95, RING), (0.95, LayoutSpec("ring", inner_length_mm=186.0))],
)
def test_a_gap_no_pitch_gives_names_sizes_that_really_work(spec, gap, layout):
    asked = ChainSpec(spec.family, 2.2, 12.2, 9.7, gap)
    with pytest.raises(CannotBuild, match="no pitch gives") as caught:
        draft_chain(asked, layout)
    ways = REMEDY.findall(str(caught.value))
    assert ways
    for key, value in ways:
        mended = draft_chain(
            ChainSpec(**{**{k: getattr(asked, k) for k in asked.__slots__}, key: float(value)}), layout
        )
        assert mended.smallest_gap_mm >= gap
    if fewest := re.search(r"take (\d+) links or more", str(caught.value)):
        n = int(fewest.group(1))
        assert draft_chain(asked, LayoutSpec("ring", links=n)).smallest_gap_mm >= gap
        with pytest.raises(CannotBuild):
            draft_chain(asked, LayoutSpec("ring", links=n - closure.ring_stride(draw(asked))))


def test_message_names_the_widest_gap_and_its_pitch():
    with pytest.raises(
        CannotBuild, match=r"no pitch gives 0.90 mm: the widest gap of this link is 0.60 mm at pitch 6.88"
    ):
        draft_chain(ChainSpec("curb", 2.2, 12.2, 9.7, 0.9), LayoutSpec("straight", links=20))


@pytest.mark.parametrize(
    ("change", "key"),
    [
        ({"wire_mm": 0}, "chain.wire_mm"),
        ({"wire_mm": -1.0}, "chain.wire_mm"),
        ({"wire_mm": float("nan")}, "chain.wire_mm"),
        ({"wire_mm": "thick"}, "chain.wire_mm"),
        ({"wire_mm": 5.0}, "chain.wire_mm: 5 is too thick for a link 9.7 mm wide"),
        ({"link_length_mm": 8.0}, "chain.wire_mm: 2.2 is too thick for a link 8 mm long"),
        ({"link_length_mm": float("inf")}, "chain.link_length_mm"),
        ({"link_width_mm": 0.0}, "chain.link_width_mm"),
        ({"link_width_mm": 7.5, "link_length_mm": 30.0}, "chain.link_width_mm: 7.5 makes the ends bend"),
        ({"gap_mm": 0.0}, "chain.gap_mm"),
        ({"gap_mm": 3.2}, "chain.gap_mm: 3.2 does not fit"),
        ({"chord_mm": 2.0}, "chain.chord_mm: 2 does not work; give from 0.0005 to 1 mm"),
    ],
)
def test_sizes_that_cannot_be_used_are_named(change, key):
    spec = ChainSpec(**{**{k: getattr(CURB, k) for k in CURB.__slots__}, **change})
    with pytest.raises(BadInput, match=re.escape(key)):
        draft_chain(spec, RING)


@pytest.mark.parametrize(
    ("layout", "text"),
    [
        (LayoutSpec("ring"), "give inner_length_mm or links"),
        (LayoutSpec("ring", inner_length_mm=186.0, links=4), "both given"),
        (LayoutSpec("ring", length_mm=186.0), "layout.length_mm: a closed chain is measured inside"),
        (LayoutSpec("straight", inner_length_mm=186.0), "layout.inner_length_mm: an open chain has no inside"),
        (LayoutSpec("straight", length_mm=15.0), "layout.length_mm: 15 is shorter than two links"),
        (LayoutSpec("straight", links=1), "layout.links: 1 does not work; give from 2 to 5000"),
        (LayoutSpec("ring", links=2), "layout.links: 2 does not work; give from 3 to 5000"),
        (LayoutSpec("ring", links=10**7), "give from 3 to 5000"),
        (LayoutSpec("ring", links=True), "must be a whole number"),
        (LayoutSpec("ring", inner_length_mm=90000.0), "give up to 5000 links"),
        (LayoutSpec("straight", length_mm=90000.0), "give up to 5000 links"),
        (LayoutSpec("ring", inner_length_mm=float("nan")), "layout.inner_length_mm: nan does not work"),
        (LayoutSpec("ring", links=30, face="up"), "layout.face: 'up' is not one of its words"),
        (LayoutSpec("heap", links=30), "layout.shape: 'heap' is not one of its words"),
        (LayoutSpec("spiral", links=30), "layout.shape: 'spiral' is not available in this version"),
        (LayoutSpec("ring", links=30, ends="open"), "layout.ends: 'open' is not available on this layout"),
        (LayoutSpec("ring", links=30, hand_mm=-2.0), "layout.hand_mm"),
        (LayoutSpec("ring", links=30, fit="ease"), 'layout.fit: "ease" meets a length'),
        (LayoutSpec("ring", links=30, points=((0.0, 0.0, 0.0),)), "layout.points: only shape"),
    ],
)
def test_layouts_that_cannot_be_used_are_named(layout, text):
    with pytest.raises(BadInput, match=re.escape(text)):
        draft_chain(CURB, layout)


def test_turned_families_close_only_with_even_numbers():
    with pytest.raises(BadInput, match="31 links turned 90 degrees in turn do not close; give 30 or 32"):
        draft_chain(TRACE, LayoutSpec("ring", links=31))
