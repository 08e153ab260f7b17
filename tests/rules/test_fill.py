"""Filling: what runs where, what it leaves behind, and that nothing is lost on the way."""

from dataclasses import replace

import numpy as np
import pytest

from addon.rules.base.progress import finish
from addon.rules.cast.cases import beside, sized
from addon.rules.cast.fill import FULL, GAS, NOT_REACHED, PRESSURE, SOLID, fill, front_stands
from addon.rules.cast.freeze import freeze
from addon.rules.cast.network import Network
from tests.filling_rods import NO_LIMIT_G_S, Channel, filled, running, straight
from tests.freezing_rods import STERLING, cases_of, mould_of

# What is poorly known, as it hinders filling, as the tables have it, and as it helps.
COLD_USUAL_WARM = {
    "interface_w_m2_k": [1000.0, 500.0, 200.0],
    "mould_w_m_k": [0.5, 0.4, 0.3],
    "permeability_m2": [1e-14, 5e-14, 2.8e-13],
    "pour_g_s": [100.0, 150.0, 250.0],
}


def fed_chain(gate: float, ring: float, *, gate_length=4.0, wire=1.6, links=4, spare=False) -> Network:
    """Links on gates around a feed ring: button, trunk of 18 mm, four spokes, ring, and what hangs below it in the
    flask. ``spare``: every link has a second gate kept in reserve.
    """
    made = Channel(root_mm3=1500.0, root_depth_mm=7.0)
    trunk = made.bore(made.owner("trunk", "trunk"), 8.0, 18.0, 4, (14.0, 32.0))
    made.join(0, trunk[0], loss=0.5)
    around = made.ring(made.owner("ring", "ring"), ring, links * 6.0, links * 4, 33.0)
    for k in range(4):
        spoke = made.bore(made.owner(f"spoke {k + 1}", "spoke"), 4.0, 8.0, 2, 33.0)
        made.join(trunk[-1], spoke[0], loss=1.0)
        made.join(spoke[-1], around[k * len(around) // 4], loss=1.0)
    for k in range(links):
        body = f"link {k + 1}"
        link = made.ring(made.owner(body, "link"), wire, 24.0, 14, (34.0 + gate_length, 40.0 + gate_length))
        for place, is_spare in ((0, False), (6, True)) if spare else ((0, False),):
            gate_of = made.owner(f"gate {k + 1}", "gate", body)
            shaft = made.bore(gate_of, gate, gate_length, 3, (34.0, 34.0 + gate_length), tip=True)
            made.join(around[4 * k + place // 3], shaft[0], loss=1.0, spare=is_spare)
            made.join(shaft[-1], link[place], loss=0.5, spare=is_spare)
    return made.network()


def cases_for(network: Network, **figures):
    return cases_of(len(network.volume_mm3), **figures)


def share(got, network: Network, kind: str) -> np.ndarray:
    """How full a kind is in every case, by volume."""
    mine = network.elements_of(kind)
    volume = network.volume_mm3[mine]
    return (volume[:, None] * got.filled[mine]).sum(axis=0) / volume.sum()


def test_a_first_pour_fills_the_ring_and_not_the_links():
    """Sterling by gravity alone, 38 mm of head at the links (common practice, no published source).

    Gates of 0.8 mm and 6 mm long, a ring of 2.4 mm, metal of 940 and a flask of 350 degC: the ring fills at the usual
    figures and the warm ones, the links in none. Gates of 1.8 mm and 4 mm long, a ring of 3 mm, 1000 and 650 degC: all
    fill at the usual figures and the warm ones. At the cold ones this head hardly moves the gas of the links, and they
    freeze before it is gone; under 20 kPa of vacuum they fill there too.
    """
    thin = fed_chain(0.8, 2.4, gate_length=6.0)
    got = filled(thin, cases_for(thin, pour_c=940.0, flask_c=350.0, push_kpa=0.0, **COLD_USUAL_WARM))
    assert share(got, thin, "ring")[1:] == pytest.approx(1.0)
    assert np.all(share(got, thin, "link") < 0.05)
    assert not np.any(got.reason[thin.elements_of("link")] == FULL)

    fat = fed_chain(1.8, 3.0)
    got = filled(fat, cases_for(fat, pour_c=1000.0, flask_c=650.0, push_kpa=0.0, **COLD_USUAL_WARM))
    assert share(got, fat, "link")[1:] == pytest.approx(1.0)
    assert share(got, fat, "link")[0] < 1.0
    got = filled(fat, cases_for(fat, pour_c=1000.0, flask_c=650.0, push_kpa=20.0, **COLD_USUAL_WARM))
    assert share(got, fat, "link") == pytest.approx(1.0)


def test_nothing_is_lost():
    """Metal to rounding, heat far below a thousandth, however the metal runs and wherever it stops."""
    network = fed_chain(1.2, 2.4)
    cases = cases_for(network, push_kpa=[0.0, 3.0, 6.0, 25.0], flask_c=[300.0, 400.0, 500.0, 600.0], pour_c=940.0)
    got = filled(network, cases)
    assert 0.0 < share(got, network, "link").min() < 1.0
    assert np.abs(got.volume_imbalance).max() < 1e-12
    assert np.abs(got.heat_imbalance).max() < 1e-9
    assert got.filled.max() <= 1.0
    assert got.filled.min() >= 0.0


def test_a_case_fills_the_same_beside_others_as_alone():
    network = fed_chain(1.2, 2.4)
    cases = cases_for(network, push_kpa=[2.0, 25.0, 8.0], flask_c=[350.0, 600.0, 450.0], pour_g_s=[80.0, 150.0, 300.0])
    together = filled(network, cases)
    for k in range(cases.count):
        alone = filled(network, cases.take([k]))
        assert alone.filled[:, 0] == pytest.approx(together.filled[:, k], abs=1e-6)
        assert alone.fill_s[:, 0] == pytest.approx(together.fill_s[:, k], rel=1e-6, nan_ok=True)
        assert alone.metal_c[:, 0] == pytest.approx(together.metal_c[:, k], abs=1e-3, nan_ok=True)
        assert np.all(alone.reason[:, 0] == together.reason[:, k])


@pytest.mark.parametrize(
    ("figure", "values"),
    [
        ("pour_c", [910.0, 940.0, 970.0, 1000.0, 1030.0]),
        ("flask_c", [250.0, 350.0, 450.0, 550.0, 650.0]),
        ("push_kpa", [0.0, 3.0, 6.0, 12.0, 24.0]),
        ("permeability_m2", [2e-15, 5e-15, 1e-14, 5e-14, 2e-13]),
    ],
)
def test_more_of_what_helps_never_fills_less(figure, values):
    """Hotter metal, a hotter flask, more head, a mould that lets gas out: from links that stay short to full ones."""
    network = fed_chain(1.2, 2.4)
    figures = {"pour_c": 930.0, "flask_c": 300.0, "push_kpa": 6.0, "permeability_m2": 5e-15, figure: values}
    full = share(filled(network, cases_for(network, **figures)), network, "link")
    assert np.all(np.diff(full) >= -0.01)
    assert full[-1] > full[0] + 0.1


def test_a_wider_network_fills_more():
    """The same network stretched: gates of 0.8 mm keep metal out by its tension, twice as wide they let it in."""
    network = fed_chain(0.8, 2.4)
    cases = cases_for(network, push_kpa=[0.0, 0.0], flask_c=600.0, permeability_m2=3e-13)
    wider = cases.wider.copy()
    wider[1:, 1] = 2.0
    full = share(filled(network, replace(cases, wider=wider)), network, "link")
    assert full[0] == 0.0
    assert full[1] == pytest.approx(1.0)


def test_spare_gates_open_only_where_they_are_asked_for():
    """Shut, a spare gate stays out of it all; open, it fills with the rest and the links fill sooner."""
    network = fed_chain(1.2, 2.4, spare=True)
    cases = replace(cases_for(network, push_kpa=[25.0, 25.0]), spare=np.array([False, True]))
    got = filled(network, cases)
    shut = sized(network, cases).section_mm2 == 0.0
    ends = network.joints[shut[:, 0]]
    gates = np.intersect1d(ends, network.elements_of("gate"))
    assert len(gates) == 8
    assert np.all(got.filled[gates, 0] == 0.0)
    assert np.all(got.reason[gates, 0] == NOT_REACHED)
    assert np.all(got.filled[:, 1] == 1.0)
    links = network.elements_of("link")
    assert np.nanmax(got.fill_s[links, 1]) < np.nanmax(got.fill_s[links, 0])


def test_gas_that_has_a_way_out_holds_nothing_up():
    """A bore in a tight mould: blind it fills by a few percent, with its end in a pocket that breathes it runs full."""
    ways = {}
    for name in ("blind", "vented"):
        made = Channel()
        link = made.bore(made.owner("link 1", "link"), 2.0, 30.0, 30, 0.0)
        made.join(0, link[0])
        if name == "vented":
            pocket = made.element(made.owner("gate 1", "gate"), 50.0, 1e9, 2.0, 10.0, 0.0)
            made.join(link[-1], pocket)
        ways[name] = running(made.network(), push_kpa=10.0, permeability_m2=1e-18, longest_s=1.0)
    assert ways["blind"].filled[1:31].mean() < 0.2
    assert ways["blind"].reason[30] != FULL
    assert np.any(ways["blind"].reason == GAS)
    assert np.all(ways["vented"].filled[1:31] == 1.0)


def test_cold_metal_stands_and_says_so():
    """A long thin bore in a cold mould: the front stands at the share solid for the alloy's range, all before it
    empty.
    """
    network = straight(1.0, 200.0, 100)
    got = filled(network, cases_for(network, flask_c=100.0, pour_c=910.0, interface_w_m2_k=2000.0, push_kpa=8.0))
    tip = int(np.flatnonzero(got.filled[:, 0] > 0.0)[-1])
    assert 3 < tip < 97
    assert got.reason[tip, 0] == SOLID
    assert np.all(got.reason[tip + 2 :, 0] == NOT_REACHED)
    stands = front_stands(cases_for(network))[0]
    where = STERLING["liquidus_c"] - stands * (STERLING["liquidus_c"] - STERLING["solidus_c"])
    assert got.front_c[tip, 0] == pytest.approx(where, abs=6.0)
    passed = got.front_c[1:tip, 0]
    assert np.all(np.diff(passed) < 0.1)


def test_what_one_front_leaves_of_its_element_another_fills():
    """A thin bore freezes up just before its end; metal by a wide way round comes to that end later and fills it."""
    cold = {"flask_c": 100.0, "pour_c": 910.0, "interface_w_m2_k": 2000.0, "push_kpa": 20.0, "permeability_m2": 1e-9}
    cold["pour_g_s"] = NO_LIMIT_G_S
    alone = straight(1.0, 200.0, 100)
    stands = int(np.flatnonzero(filled(alone, cases_for(alone, **cold)).filled[:, 0] > 0.0)[-1])
    made = Channel(root_mm3=20.0)
    link = made.owner("link 1", "link")
    thin, wide = made.bore(link, 1.0, 2.0 * stands, stands, 0.0), made.bore(link, 4.0, 400.0, 40, 0.0)
    made.join(0, thin[0])
    made.join(0, wide[0])
    made.join(thin[-1], wide[-1])
    network = made.network()
    got = filled(network, cases_for(network, **cold))
    assert np.all(got.filled == 1.0)
    assert got.fill_s[thin[-1], 0] > got.fill_s[wide[-1], 0] > 2.0 * got.fill_s[thin[-3], 0]


def test_metal_that_waits_in_a_mouth_is_as_hot_as_what_runs_by():
    """A bore too thin to enter before the main is full: a trace that the metal's swing leaves in it is no cold front.

    So it does not hang on the steps either, which leave a trace or none.
    """
    made = Channel(root_mm3=300.0, root_depth_mm=30.0)
    main = made.bore(made.owner("ring", "ring"), 3.3, 160.0, 40, 30.0)
    side = made.bore(made.owner("link 1", "link"), 1.2, 12.0, 6, 30.0)
    made.join(0, main[0])
    made.join(main[20], side[0])
    network = made.network()
    cases = cases_for(network, push_kpa=3.0, pour_g_s=30.0, interface_w_m2_k=1000.0, permeability_m2=1e-11)
    few, many = (filled(network, cases, steps=steps) for steps in (60, 240))
    assert few.fill_s[side[0], 0] > 1.5 * few.fill_s[main[20], 0]
    assert many.front_c[side[0], 0] == pytest.approx(few.front_c[side[0], 0], abs=5.0)


def test_a_case_that_is_lost_is_given_up():
    """A thin bore freezes up while a wide one still fills. What can still come is never less than what comes; a case
    that is given up ends there, one beside it goes on to the same end.
    """
    made = Channel(500.0, 0.0)
    link = made.owner("link 1", "link")
    thin, wide = made.bore(link, 1.0, 200.0, 100, 0.0), made.bore(link, 4.0, 200.0, 100, 0.0)
    made.join(0, thin[0])
    made.join(0, wide[0])
    network = made.network()
    cold = {"flask_c": 100.0, "pour_c": 910.0, "interface_w_m2_k": 2000.0}
    cases = beside([cases_for(network, push_kpa=8.0, **cold), cases_for(network, push_kpa=500.0)])
    seen = []

    def lost(can_come):
        seen.append(can_come)
        return can_come[thin[-1]] < 1.0

    whole, got = filled(network, cases), filled(network, cases, lost=lost)
    assert all(np.all(can_come >= whole.filled - 1e-9) for can_come in seen)
    assert np.all(seen[0] == 1.0)
    assert seen[-1][thin[-1], 0] < 1.0 == seen[-1][wide[-1], 0]
    assert got.end_s[0] < 0.9 * whole.end_s[0]
    assert whole.filled[thin[-1], 1] == 1.0
    assert got.filled[:, 1] == pytest.approx(whole.filled[:, 1], abs=1e-9)


def test_skin_freezing_metal_runs_on_longer():
    narrow, wide = cases_of(1, solidus_c=885.0, liquidus_c=893.0), cases_of(1, solidus_c=770.0)
    assert front_stands(narrow)[0] == 0.5
    assert front_stands(wide)[0] == 0.3
    assert 0.3 < front_stands(cases_of(1))[0] < 0.5


def test_a_neck_that_metal_cannot_enter_is_a_matter_of_pressure():
    """A pinch of 0.3 mm between two bores of 2 mm: what lies behind it stays empty while all before it is full.

    A trace may pass as the front stops: what a step brought too much.
    """
    made = Channel()
    owner = made.owner("link 1", "link")
    near, far = made.bore(owner, 2.0, 10.0, 5, 0.0), made.bore(owner, 2.0, 10.0, 5, 0.0)
    made.join(0, near[0])
    made.join(near[-1], far[0], section=np.pi / 4 * 0.3**2)
    got = running(made.network(), push_kpa=6.0)
    assert np.all(got.filled[near] == 1.0)
    assert got.filled[far[0], 0] < 0.01
    assert np.all(got.filled[far[1:]] == 0.0)
    assert got.reason[far[0], 0] == PRESSURE
    assert np.all(got.reason[far[1:], 0] == NOT_REACHED)


def test_times_and_pictures_go_with_each_other():
    """An element is full in the pictures from its time on; the button is full at the end and times rise along a way."""
    network = straight(2.0, 30.0, 15)
    got = running(network, push_kpa=5.0)
    assert got.filled[network.root, 0] == 1.0
    assert np.all(np.diff(got.fill_s[1:, 0]) > 0.0)
    for element in (1, 8, 15):
        later = got.times_s >= got.fill_s[element, 0]
        assert np.all(got.shown[later, element] == 1.0)
        assert np.all(got.shown[got.times_s < got.fill_s[element, 0] - 0.02, element] < 1.0)
    assert got.times_s[-1] == pytest.approx(got.end_s[0])


def test_freezing_goes_on_from_where_filling_ends():
    """What metal and mould hold at the end of filling is what freezing begins with: it freezes, and heat is kept."""
    network = straight(2.0, 30.0, 15)
    cases = cases_for(network, push_kpa=[5.0, 20.0])
    mould = mould_of(network, radius=network.bore_mm / 2.0)
    got = finish(fill(network, mould, cases))
    froze = finish(freeze(network, mould, cases, start_c=got.metal_c, filled=got.filled, state=got.state))
    assert np.all(np.isfinite(froze.end_s))
    assert np.abs(froze.imbalance).max() < 1e-3
    rested = finish(freeze(network, mould, cases))
    # Times are known to some per mille: they are read off between steps.
    assert np.all(froze.solid_s[1:] < 1.005 * rested.solid_s[1:])
    assert np.all(froze.solid_s[1:].mean(axis=0) < rested.solid_s[1:].mean(axis=0))


def test_share_done_rises_to_one():
    network = straight(2.0, 30.0, 15)
    shares = list(fill(network, mould_of(network), cases_for(network)))
    assert np.all(np.diff(shares) >= 0.0)
    assert shares[-1] == pytest.approx(1.0)
