"""The same design at another width, its gap held, and the width at which the joint closes up."""

from dataclasses import replace

import numpy as np
import pytest

from addon.rules.base.errors import BadInput, CannotBuild
from addon.rules.chain.build import draft_chain
from addon.rules.chain.closure import straight_fit
from addon.rules.chain.families import draw
from addon.rules.chain.measure import measuring
from addon.rules.chain.own import own_sizes
from addon.rules.chain.resize import least_width, resized
from addon.rules.chain.spec import ChainSpec, LayoutSpec
from addon.rules.chain.sweep import meshes_of
from tests.mesh_shapes import torus

CURB = ChainSpec("curb", 2.2, 12.2, 9.7, 0.4)
TRACE = ChainSpec("trace", 1.5, 9.0, 7.0, 0.3)
OWN_TORUS = torus(4.0, 0.75, 48, 16)


def straight_gap(spec):
    """The widest smallest gap of the straight chain, or CannotBuild."""
    pattern = draw(spec)
    measure = measuring(pattern.links, [mesh for mesh, _ in meshes_of(pattern.links, spec.chord_mm)])
    return min(fit.gap_mm for fit in straight_fit(spec, pattern, measure, "out"))


def test_all_sizes_keep_their_proportion_and_the_gap_its_millimetres():
    spec = replace(
        CURB, wire_width_mm=3.0, corner_mm=0.2, facet_mm=0.3, long_link_mm=18.0, stud_mm=1.5,
        end_wire_mm=1.1, end_link_length_mm=6.1, end_link_width_mm=4.85,
    )  # fmt: skip
    small = resized(spec, 4.85)
    for key in (
        "wire_mm", "link_length_mm", "link_width_mm", "wire_width_mm", "corner_mm", "facet_mm", "long_link_mm",
        "stud_mm", "end_wire_mm", "end_link_length_mm", "end_link_width_mm",
    ):  # fmt: skip
        assert getattr(small, key) == pytest.approx(getattr(spec, key) / 2)
    assert (small.gap_mm, small.chord_mm, small.family, small.repeat) == (0.4, 0.02, "curb", 3)
    assert resized(CURB, 9.7) == CURB


def test_an_own_link_is_scaled_with_its_sizes():
    wire, length, width = own_sizes(OWN_TORUS)
    spec = ChainSpec("mesh", wire, length, width, 0.2, own=OWN_TORUS)
    large = resized(spec, 2 * width)
    assert large.own is not None
    assert large.own.points == pytest.approx(2 * OWN_TORUS.points)
    draw(large)


@pytest.mark.parametrize(
    "spec",
    [
        CURB,
        TRACE,
        ChainSpec("rope", 1.5, 10.0, 10.0, 0.4),
        ChainSpec("weave", 1.5, 9.0, 9.0, 0.4),
        replace(CURB, facet_mm=0.3, chord_mm=0.1),
    ],
    ids=lambda spec: f"{spec.family}-{spec.facet_mm}",
)
def test_at_the_least_width_the_gap_is_just_had_and_a_little_under_it_no_more(spec):
    least = least_width(spec)
    at = resized(spec, least.width_mm)
    assert (at.wire_mm, at.link_length_mm) == pytest.approx((least.wire_mm, least.link_length_mm))
    assert spec.gap_mm <= straight_gap(at) < spec.gap_mm + 0.01
    with pytest.raises((CannotBuild, BadInput)):
        straight_gap(resized(spec, least.width_mm - 0.05))
    assert least.widest_mm == pytest.approx(straight_gap(spec))


@pytest.mark.parametrize("spec", [CURB, TRACE], ids=["curb", "trace"])
def test_round_wire_scales_exactly(spec):
    """Centreline distances scale with the link: half the gap is had at half the width."""
    whole, half = least_width(spec), least_width(replace(spec, gap_mm=spec.gap_mm / 2))
    assert half.width_mm == pytest.approx(whole.width_mm / 2, abs=0.011)
    assert whole.width_mm == pytest.approx(spec.link_width_mm * spec.gap_mm / whole.widest_mm, abs=0.011)


def test_the_least_width_of_a_heavy_curb_lies_where_the_trade_has_it():
    """Common practice, no published source: a heavy curb 7 mm wide still prints well in place, and 10 mm is a
    realistic width to cast. The floors of a printed gap are 0.35 mm (warn) and 0.25 mm (stop), our judgement.
    """
    prints = least_width(replace(CURB, gap_mm=0.35)).width_mm
    stops = least_width(replace(CURB, gap_mm=0.25)).width_mm
    assert stops < prints < 7.0
    assert straight_gap(resized(CURB, 10.0)) > 0.5


def test_on_a_ring_the_joint_closes_up_sooner_than_on_the_straight():
    ring = LayoutSpec("ring", links=20)
    straight, bent = least_width(TRACE), least_width(TRACE, ring)
    assert bent.width_mm > straight.width_mm
    held = draft_chain(resized(TRACE, bent.width_mm), ring)
    assert TRACE.gap_mm <= held.smallest_gap_mm < TRACE.gap_mm + 0.01
    with pytest.raises((CannotBuild, BadInput)):
        draft_chain(resized(TRACE, bent.width_mm - 0.05), ring)
    assert least_width(TRACE, LayoutSpec("straight", links=20)) == straight


def test_of_a_tapered_chain_the_small_end_decides():
    tapered = replace(TRACE, end_wire_mm=0.75, end_link_length_mm=4.5, end_link_width_mm=3.5)
    assert least_width(tapered).width_mm == pytest.approx(2 * least_width(TRACE).width_mm, abs=0.02)
    assert least_width(tapered).widest_mm == pytest.approx(least_width(TRACE).widest_mm / 2, abs=1e-6)


def test_a_design_without_any_gap_has_no_least_width():
    with pytest.raises((CannotBuild, BadInput), match=r"chain\."):
        least_width(ChainSpec("rope", 2.0, 7.6, 7.6, 0.01))


def test_a_width_that_is_none_is_refused():
    for width in (0.0, -3.0, np.nan, np.inf, 2000.0):
        with pytest.raises(BadInput, match=r"chain\.link_width_mm: .* give a number above 0 and up to 1000"):
            resized(CURB, width)
