"""Sizes of the lattice that the maker wrote are kept; what they break is said: which key, by how much, what would do.

Moduli by Chvorinov's rule, d / 4 of a long round (modulus tables); what carries the summed flow by its area.
"""

import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lattices import BENCH, chain, codes, planned, ring_way

from addon.rules.cast.materials import load_materials
from addon.rules.feed.freezing import feed_wires
from addon.rules.feed.sections import ROUND
from addon.rules.feed.sizes import choose_sizes, choose_trunk_mm, choose_wheel, drum_d_mm, drum_modulus_mm
from addon.rules.feed.spec import FeedSpec

WAY = ring_way(10, 6.8)
BODIES = chain(WAY, samples=32)
WIDE = ring_way(14, 6.8)
size = st.one_of(st.none(), st.floats(1.0, 8.0))


@settings(derandomize=True, deadline=None, max_examples=20)
@given(st.floats(0.8, 4.0), size, size, size, size, st.booleans())
def test_written_sizes_are_kept_and_free_ones_freeze_in_order_as_far_as_they_let_them(
    wire, ring, upper, post, gate, up
):
    spec = FeedSpec(upper_ring=up, ring_mm=ring, upper_ring_mm=upper, post_mm=post, gate_mm=gate)
    sizes = choose_sizes(spec, BENCH, wire_mm=wire)
    for key in ("ring_mm", "upper_ring_mm", "post_mm", "gate_mm"):
        if getattr(spec, key) is not None:
            assert getattr(sizes, key) == getattr(spec, key)
    moduli = [
        sizes.upper_gate_mm / 4,
        sizes.upper_ring_mm / 4,
        sizes.post_mm / 4,
        sizes.lying.modulus_mm(sizes.ring_mm),
    ]
    written = [gate, upper, post, ring]
    for k in range(3):
        least = max(0.75 * wire, sizes.tip_mm) / 4
        # A step may fall only where a written size stands over it, or the gate is as thin as its rule lets it be.
        if moduli[k] > moduli[k + 1] * (1 + 1e-9) and up:
            assert written[k] is not None or any(w is not None for w in written[k:]) or moduli[k] <= least
    if not any(written):
        assert moduli == sorted(moduli)


@settings(derandomize=True, deadline=None, max_examples=20)
@given(st.floats(0.8, 4.0), st.integers(1, 120), st.integers(1, 8), st.floats(0.0, 1.5))
def test_the_wheel_grows_towards_the_trunk_and_carries_the_flow(wire, gates, spokes, fillet):
    sizes = choose_sizes(FeedSpec(), BENCH, wire_mm=wire)
    wheel = choose_wheel(sizes, gates=gates, spokes=spokes, web_mm=0.6, fillet_mm=fillet)
    ring, spoke = sizes.lying.modulus_mm(sizes.ring_mm), sizes.lying.modulus_mm(wheel.spoke_mm)
    hub = drum_modulus_mm(wheel.hub_mm, wheel.hub_height_mm)
    assert spoke >= 1.2 * ring * (1 - 1e-9)
    assert hub >= 1.2 * spoke * (1 - 1e-9)
    trunk = choose_trunk_mm(wheel.hub_mm, wheel.hub_height_mm, wheel.flow_mm2)
    assert ROUND.modulus_mm(trunk) >= 1.2 * hub * (1 - 1e-9)
    tips = gates * np.pi * sizes.tip_mm**2 / 4
    arms = 2 * spokes * sizes.lying.area_mm2(sizes.ring_mm)
    assert wheel.flow_mm2 == pytest.approx(min(tips, arms))
    for area in (np.pi * trunk**2 / 4, spokes * sizes.lying.area_mm2(wheel.spoke_mm)):
        assert area >= wheel.flow_mm2 * (1 - 1e-9)
    # Where spokes leave the hub, with their fillets, the web still fits between them.
    chord = 2 * (wheel.hub_mm / 2 - 0.5) * np.sin(np.pi / max(spokes, 2))
    assert chord >= wheel.spoke_mm + 2 * fillet + 0.6


def test_the_diameter_of_a_hub_is_the_inverse_of_its_modulus():
    for d, h in ((6.0, 6.0), (9.0, 4.0), (2.0, 8.0)):
        assert drum_d_mm(drum_modulus_mm(d, h), h) == pytest.approx(d)
    assert drum_d_mm(4.0, 4.0) == np.inf


def said(key, way=WAY, **spec):
    lattice = planned(BODIES if way is WAY else chain(way, samples=32), way, **spec)
    return [f for f in lattice.findings if f"feed.{key}" in f.text]


@pytest.mark.parametrize(("key", "value", "upper"), [
    ("ring_mm", 2.0, False), ("upper_ring_mm", 1.2, True), ("post_mm", 1.2, True), ("spoke_mm", 2.4, False),
    ("hub_mm", 4.0, False),
])  # fmt: skip
def test_a_size_too_thin_is_a_warning_with_its_key_and_the_figure_that_mends_it(key, value, upper):
    found = said(key, **{key: value, "upper_ring": upper})
    assert {(f.code, f.severity) for f in found if "freezes before" in f.text} == {("modulus", "warn")}
    first = next(f for f in found if "freezes before" in f.text)
    assert f"instead of {value:.2f} mm would do" in first.text
    assert first.value < first.limit
    would = float(re.search(r"needed; ([\d.]+) mm across", first.text)[1])
    # A hub written thicker has less room for spokes: there the sentence is all that is asked.
    mended = said(key, **{key: would + 0.01, "upper_ring": upper})
    assert [f for f in mended if "freezes before" in f.text and f.limit == first.limit] == []


def test_spokes_and_hub_that_do_not_carry_the_flow_say_what_would():
    (flow,) = [f for f in said("spoke_mm", spoke_mm=2.0) if "carry" in f.text]
    assert flow.value < flow.limit
    would = float(re.search(r"([\d.]+) mm or more would do", flow.text)[1])
    assert [f for f in said("spoke_mm", spoke_mm=would + 0.01) if "carry" in f.text] == []
    (room,) = [f for f in said("hub_mm", hub_mm=5.0) if "room for only" in f.text]
    assert (room.severity, room.value) == ("note", 5.0)


def test_a_hub_too_large_for_its_ring_stops_the_job_and_says_how_much_smaller():
    (stop,) = [f for f in said("hub_mm", WIDE, hub_mm=26.0) if f.severity == "stop"]
    assert stop.code == "strut-unrouted"
    smaller = float(re.search(r"feed.hub_mm ([\d.]+) mm smaller", stop.text)[1])
    mended = planned(chain(WIDE, samples=32), WIDE, hub_mm=26.0 - smaller - 0.1)
    assert "strut-unrouted" not in codes(mended.findings, "stop")
    assert smaller == pytest.approx(2 * stop.value, abs=0.06)


def test_a_hub_too_large_for_a_narrow_ring_becomes_a_disc_and_says_what_has_room():
    (warn,) = [f for f in said("hub_mm", hub_mm=20.0) if "one disc" in f.text]
    assert (warn.code, warn.severity) == ("strut-unrouted", "warn")
    under = float(re.search(r"a hub under ([\d.]+) mm", warn.text)[1])
    assert [f for f in said("hub_mm", hub_mm=under - 0.1) if "one disc" in f.text] == []
    assert [f for f in said("hub_mm", hub_mm=under + 0.1) if "one disc" in f.text] != []


def test_spokes_that_reach_up_into_the_links_say_how_thick_they_may_be():
    lattice = planned(chain(WIDE, samples=32), WIDE, spoke_mm=9.0)
    assert "strut-near" in codes(lattice.findings, "stop")
    (warn,) = [f for f in lattice.findings if "feed.spoke_mm" in f.text and "stand" in f.text]
    most = float(re.search(r"write ([\d.]+) or less", warn.text)[1])
    assert [f for f in said("spoke_mm", WIDE, spoke_mm=most - 0.01) if "stand" in f.text] == []


def test_metal_that_freezes_over_a_long_range_feeds_less_far():
    """Pure metals freeze from the skin inwards, tin bronze over 170 K: foundry practice; multiples our judgement."""
    wires = {a.name: feed_wires(a.liquidus_c.value - a.solidus_c.value) for a in load_materials().alloys}
    assert wires["fine-silver"] == wires["gold-18-yellow"] == 9.0
    assert wires["sterling-silver"] == 8.0
    assert wires["tin-bronze"] == wires["silicon-bronze"] == 7.0
    ranges = np.linspace(0.0, 400.0, 81)
    assert (np.diff([feed_wires(k) for k in ranges]) <= 0).all()
