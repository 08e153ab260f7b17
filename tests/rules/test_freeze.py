"""Freezing of small networks: sums, bounds, order, and what must not make a difference."""

from dataclasses import fields, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from addon.rules.cast.cases import beside, sized
from addon.rules.cast.enthalpy import heat_at, heat_content, solid_share, temperature_at
from addon.rules.cast.metal_heat import heat_step, metal_of
from addon.rules.cast.mould_around import surroundings
from addon.rules.cast.mould_law import advance, at_rest, held_j, pull, store_rise_k
from addon.rules.cast.network import Mould, Network
from tests.freezing_rods import around_one, cases_of, frozen, mould_of, network_of, rod, wider

# A button, a thick runner, a gate, a link and its thinner far side.
STEPPED = [8.0, 5.0, 4.0, 2.0, 2.0, 1.5, 1.5, 1.2]


def in_webs(network: Network, gap: float = 0.8) -> Mould:
    """Each element half before thick mould and half before a web, all about a row of cells."""
    n = len(network.volume_mm3)
    half = network.cooling_mm2 / 2.0
    store = np.concatenate([np.zeros(n), half * gap / 2.0])
    cells = 6
    return replace(
        mould_of(network, network.bore_mm / 2.0),
        element=np.tile(np.arange(n), 2),
        area_mm2=np.tile(half, 2),
        gap_mm=np.concatenate([np.full(n, np.inf), np.full(n, gap)]),
        facing=np.full(2 * n, -1),
        store_mm3=store,
        passing_mm=np.where(store > 0.0, 0.3, 0.0),
        cell=np.tile(np.arange(n) % cells, 2),
        cell_mm3=np.full(cells, 400.0),
        cell_joints=np.array([(i, i + 1) for i in range(cells - 1)] + [(0, 5), (1, 4)]),
        cell_passing_mm=np.full(cells + 1, 2.0),
        outward_mm=np.full(cells, 0.5),
        cell_at=np.zeros((cells, 3)),
    )


# The heat content of an alloy


@given(st.floats(0.0, 2000.0), st.floats(100.0, 1800.0), st.floats(0.0, 150.0))
@settings(derandomize=True, deadline=None, max_examples=20)
def test_temperature_follows_from_heat_and_heat_from_temperature(metal_c, solidus, span):
    content = heat_content(cases_of(1, solidus_c=solidus, liquidus_c=solidus + span))
    at = np.array([[metal_c]])
    heat = heat_at(content, at)
    back, slope = temperature_at(content, heat)
    assert back[0, 0] == pytest.approx(metal_c, abs=1e-9)
    rise = heat_at(content, at + 1e-4) - heat_at(content, at - 1e-4)
    assert content.solid[0] * 0.99 < slope[0, 0] <= content.freezing[0]
    assert rise[0, 0] > 0.0


def test_latent_heat_lies_between_solidus_and_liquidus():
    content = heat_content(cases_of(1))
    edges = heat_at(content, np.array([[802.0], [847.5], [893.0], [970.0]]))[:, 0]
    assert edges[0] == 0.0
    assert edges[2] == pytest.approx(112.0 + (0.245 + 0.32) / 2.0 * 91.0)
    assert edges[3] - edges[2] == pytest.approx(0.32 * 77.0)
    assert solid_share(content, edges[:, None])[:, 0] == pytest.approx([1.0, 0.5, 0.0, 0.0])


def test_pure_metal_freezes_within_a_kelvin():
    content = heat_content(cases_of(1, solidus_c=961.78, liquidus_c=961.78))
    assert (content.solidus_c[0], content.liquidus_c[0]) == pytest.approx((961.28, 962.28))
    assert content.liquidus_j[0] == pytest.approx(112.0 + 0.2825)


# The march


@pytest.mark.parametrize("gap", [0.4, 3.0])
def test_no_heat_is_lost(gap):
    metal = rod(STEPPED, 10.0)
    found = frozen(metal, in_webs(metal, gap), cases_of(8, interface_w_m2_k=[200.0, 1000.0]))
    assert np.abs(found.imbalance) == pytest.approx(0.0, abs=1e-10)
    assert np.isfinite(found.solid_s).all()
    assert (found.freeze_s < found.solid_s).all()
    assert found.end_s == pytest.approx(found.solid_s.max(axis=0))


def test_a_case_comes_out_beside_others_as_alone():
    metal = rod(STEPPED, 10.0)
    cases = cases_of(8, flask_c=[500.0, 600.0, 690.0], pour_c=[950.0, 970.0, 1050.0], mould_w_m_k=[0.3, 0.4, 0.5])
    mould = in_webs(metal)
    together = frozen(metal, mould, cases, limits_c=(700.0, 850.0))
    for case in range(3):
        alone = frozen(metal, mould, cases.take([case]), limits_c=(700.0, 850.0))
        for name in ("freeze_s", "solid_s", "web_peak_c", "web_over_s"):
            both = getattr(together, name)[..., case], getattr(alone, name)[..., 0]
            np.testing.assert_allclose(*both, rtol=1e-9)


def test_same_input_same_output():
    metal = rod(STEPPED, 10.0)
    first, second = (frozen(metal, in_webs(metal), cases_of(8)) for _ in range(2))
    for field in fields(first):
        np.testing.assert_array_equal(getattr(first, field.name), getattr(second, field.name))


@given(
    st.floats(0.001, 100.0),
    st.floats(0.05, 3.0),
    st.floats(50.0, 1e5),
    st.lists(st.floats(0.0, 1.0), min_size=8, max_size=8),
)
@settings(derandomize=True, deadline=None, max_examples=20)
def test_no_step_is_too_long(seconds, gap, interface, shares):
    """Metal, stores and cells stay between flask and pour, however long the steps and whatever is filled."""
    metal = rod(STEPPED, 10.0)
    cases = cases_of(8, interface_w_m2_k=interface)
    filled = np.array(shares)[:, None]
    around = surroundings(in_webs(metal, gap), sized(metal, cases), cases)
    body = metal_of(metal, sized(metal, cases), cases, filled)
    state = at_rest(around)
    heat = heat_at(body.content, np.where(filled > 0.0, 970.0, 600.0))
    for _ in range(6):
        metal_c, _ = temperature_at(body.content, heat)
        step = pull(around, state, metal_c, seconds, filled)
        after, driving_c = heat_step(body, heat, heat, step.conductance, step.source, seconds)
        moved = advance(around, state, step, driving_c)
        gone = (body.mass_g * (heat - after)).sum()
        assert held_j(around, moved)[0] - held_j(around, state)[0] == pytest.approx(gone, rel=1e-9, abs=1e-9)
        heat, state = after, moved
        for figures, low, high in (
            (temperature_at(body.content, heat)[0], 600.0, 970.0),
            (store_rise_k(around, state, filled), 0.0, 370.0),
            (state.cell_k, 0.0, 370.0),
        ):
            assert low - 1e-6 <= figures.min()
            assert figures.max() <= high + 1e-6


def test_coarse_steps_tell_nearly_the_same():
    metal = rod(STEPPED, 10.0)
    fine = frozen(metal, in_webs(metal), cases_of(8), first_s=0.002, growth=0.01)
    usual = frozen(metal, in_webs(metal), cases_of(8))
    assert usual.freeze_s == pytest.approx(fine.freeze_s, rel=0.01)
    assert usual.solid_s == pytest.approx(fine.solid_s, rel=0.035)
    assert usual.web_peak_c[8:] == pytest.approx(fine.web_peak_c[8:], abs=3.0)


def test_what_is_not_filled_takes_no_part():
    """A rod of which the last piece is empty freezes like the rod without that piece; half a piece counts half."""
    long, short = rod(STEPPED, 10.0), rod(STEPPED[:-1], 10.0)
    filled = np.ones((8, 1))
    filled[-1] = 0.0
    with_rest = frozen(long, in_webs(long), cases_of(8), filled=filled)
    without = frozen(short, in_webs(short), cases_of(7))
    assert np.isnan(with_rest.solid_s[-1, 0])
    assert with_rest.solid_s[:-1] == pytest.approx(without.solid_s, rel=1e-3)
    single = network_of([3.0], [4.0])
    half = frozen(single, mould_of(single), cases_of(1), filled=np.array([[0.5]]))
    whole = frozen(network_of([1.5], [2.0]), mould_of(network_of([1.5], [2.0])), cases_of(1))
    assert half.solid_s == pytest.approx(whole.solid_s, rel=1e-9)


def test_a_mould_warmed_before_holds_the_metal_longer():
    metal = rod(STEPPED, 10.0)
    cases = cases_of(8)
    around = surroundings(in_webs(metal), sized(metal, cases), cases)
    state, hot = at_rest(around), np.full((8, 1), 900.0)
    for _ in range(20):
        state = advance(around, state, pull(around, state, hot, 0.02), hot)
    cold = frozen(metal, in_webs(metal), cases)
    warm = frozen(metal, in_webs(metal), cases, around=around, state=state)
    assert (warm.solid_s > cold.solid_s).all()
    assert warm.imbalance[0] == pytest.approx(0.0, abs=1e-10)


def test_march_ends_at_its_limit_and_says_what_is_left():
    metal = rod(STEPPED, 10.0)
    found = frozen(metal, in_webs(metal), cases_of(8), longest_s=60.0)
    assert found.times_s[-1] == pytest.approx(60.0)
    assert np.isinf(found.solid_s[0, 0])
    assert np.isinf(found.end_s[0])
    assert np.isfinite(found.solid_s[-1, 0])
    assert found.shown_c.shape == (len(found.times_s), 8)
    assert len(found.times_s) <= 60


# What must come later


def test_hotter_or_thicker_never_freezes_sooner():
    metal = rod(STEPPED, 10.0)
    cases = cases_of(8, flask_c=[450.0, 550.0, 650.0, 650.0], pour_c=[970.0, 970.0, 970.0, 1050.0])
    found = frozen(metal, in_webs(metal), cases)
    assert (np.diff(found.solid_s, axis=1) > 0.0).all()
    same = cases_of(8, flask_c=[600.0, 600.0, 600.0])
    thicker = frozen(metal, in_webs(metal), wider(same, [1.0, 1.1, 1.3]))
    assert (np.diff(thicker.solid_s, axis=1) > 0.0).all()


@pytest.mark.parametrize("diameter", [1.0, 1.5, 3.0])
def test_a_web_never_freezes_its_metal_sooner_than_thick_mould(diameter):
    one = network_of([diameter / 4.0], [1.0])
    thick = frozen(one, mould_of(one, diameter / 2.0), cases_of(1)).solid_s[0, 0]
    for passing in (0.0, 0.4):
        found = []
        for half in (0.15, 0.4, 1.0, 2.0, 6.0):
            # a ring of mould around the wire, up to the middle of the web
            store = half + half**2 / diameter
            web = mould_of(one, diameter / 2.0, store=store, gap=2.0 * half, passing=passing)
            found.append(frozen(one, web, cases_of(1)).solid_s[0, 0])
        # nor does one so wide that its end is hardly felt; half a percent is what the steps resolve
        assert thick * (1.0 - 5e-3) <= min(found)
        if passing == 0.0:
            assert found[0] == np.inf
            assert sorted(found, reverse=True) == found
            assert found[-1] < 1.5 * thick


def test_peak_of_a_web_and_time_over_the_limits():
    """A store that passes nothing on ends where metal and store have shared their heat."""
    one = network_of([1.0], [4.0])
    web = mould_of(one, store=8.0, gap=4.0)
    found = frozen(one, web, cases_of(1, solidus_c=601.0, liquidus_c=602.0), limits_c=(650.0, 900.0))
    metal, store = 10.36e-3 * 0.32, 8.0 * 1.23e-3
    both = (metal * 970.0 + store * 600.0) / (metal + store)
    assert found.web_peak_c[0, 0] == pytest.approx(both, abs=0.5)
    assert found.web_over_s[0, 0, 0] > 0.0
    assert found.web_over_s[1, 0, 0] == 0.0
    assert np.isnan(frozen(one, mould_of(one), cases_of(1)).web_peak_c).all()


def test_cases_put_beside_each_other_stay_apart():
    metal = rod(STEPPED, 10.0)
    low, high = cases_of(8, flask_c=500.0), cases_of(8, flask_c=650.0)
    both = frozen(metal, in_webs(metal), beside([low, high]))
    np.testing.assert_allclose(both.solid_s[:, 1], frozen(metal, in_webs(metal), high).solid_s[:, 0], rtol=1e-9)


def test_metal_passes_its_heat_along():
    """A thin piece between thick ones freezes later than the same piece alone."""
    alone = rod([1.5])
    between = rod([4.0, 1.5, 4.0])
    moulds = [mould_of(x, x.bore_mm / 2.0) for x in (alone, between)]
    assert frozen(between, moulds[1], cases_of(3)).solid_s[1] > 1.2 * frozen(alone, moulds[0], cases_of(1)).solid_s[0]


def test_an_element_looks_into_the_mould_through_all_its_patches():
    """Cut into two patches, the same surface takes the same heat."""
    one = network_of([2.0], [4.0])
    whole = mould_of(one, store=2.0, gap=1.0, passing=0.6)
    cut = replace(
        whole,
        element=np.array([0, 0]),
        area_mm2=np.array([3.0, 1.0]),
        gap_mm=np.array([1.0, 1.0]),
        facing=np.array([-1, -1]),
        store_mm3=np.array([1.5, 0.5]),
        passing_mm=np.array([0.45, 0.15]),
        cell=np.array([0, 0]),
    )
    assert frozen(one, cut, cases_of(1)).solid_s == pytest.approx(frozen(one, whole, cases_of(1)).solid_s, rel=1e-9)


def test_mould_beside_a_web_opens_outward_less():
    """A rod of which half faces metal far away freezes later than alone, and sooner than with a plane about it."""
    one = network_of([0.5], [1.0])
    halves = mould_of(one, 1.0)
    halves = replace(
        halves,
        element=np.array([0, 0]),
        area_mm2=np.array([0.5, 0.5]),
        gap_mm=np.array([np.inf, 12.0]),
        facing=np.array([-1, -1]),
        store_mm3=np.array([0.0, 3.0]),
        passing_mm=np.array([0.0, 0.1]),
        cell=np.array([0, 0]),
    )
    alone, between, plane = (
        frozen(one, mould, cases_of(1)).solid_s[0, 0] for mould in (mould_of(one, 1.0), halves, mould_of(one))
    )
    assert alone * 1.05 < between < plane * 0.95


def test_heat_reaches_the_far_mould_through_the_cells():
    """Held long enough, a store and its cell pass on what the three conductances in a row let through."""
    around = around_one(cases_of(1), store=0.5, gap=1.0, passing=2.0, cell=1.0)
    cells = replace(around.cells, outward=np.full((1, 1), 0.8e-3), rate=np.full((1, 1), 0.8e-3 / 1.23e-3))
    around = replace(around, cells=cells)
    state, metal = at_rest(around), np.full((1, 1), 900.0)
    for _ in range(400):
        before = state
        step = pull(around, state, metal, 0.1)
        state = advance(around, state, step, metal)
    through = (state.gone_j - before.gone_j)[0] / 0.1
    into = 500e-6 / (1.0 + 1.0 / around.last[0, 0])
    row = 1.0 / (1.0 / into + 1.0 / (2.0 * 0.4e-3) + 1.0 / 0.8e-3)
    assert through == pytest.approx(300.0 * row, rel=0.1)
