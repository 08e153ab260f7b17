"""The flow network against worked examples and closed forms: heads, losses, friction, gas, surface tension, fluidity.

The worked examples come from a textbook companion (FOSSEE repository); `test_casting_examples` has the closed forms of
the same.
"""

import math
from itertools import pairwise

import numpy as np
import pytest

from addon.rules.cast.cases import sized
from addon.rules.cast.elimination import elimination
from addon.rules.cast.fill import PRESSURE, STEPS
from addon.rules.cast.flow import (
    GAS_DEPTH_MM,
    GAS_VISCOSITY_PA_S,
    VISCOSITY_PA_S,
    Reach,
    at_rest,
    channels,
    flow_step,
)
from addon.rules.cast.hydraulics import column_kpa, meniscus_kpa
from addon.rules.cast.network import Network
from tests.filling_rods import COLD_DOES_NOTHING, NO_LIMIT_G_S, Channel, filled, running, straight
from tests.freezing_rods import cases_of

# Mould 50 x 25 x 15 cm, gate 5 cm2, sprue 15 cm (problems 2.1 and 2.2, pages 46 and 53), in mm.
LEVEL_MM2, TALL_MM, GATE_MM2, HEAD_MM = 500.0 * 250.0, 150.0, 500.0, 150.0
FREELY = {"pour_g_s": NO_LIMIT_G_S, "push_kpa": 0.0, "tension_n_m": 1e-9}


def cavity(made: Channel, gate: int, heights, depths, path=1e-3) -> Network:
    """The mould as layers of some heights, joined to a gate: metal has to be in one before it comes to the next."""
    owner = made.owner("mould", "link")
    layers = [made.element(owner, LEVEL_MM2 * h, 1.0, 400.0, 1e-3, d) for h, d in zip(heights, depths, strict=True)]
    made.join(gate, layers[0], section=GATE_MM2, path=path)
    for a, b in pairwise(layers):
        made.join(a, b, section=LEVEL_MM2, path=1e-3)
    return made.network()


def test_top_gate_fills_in_the_printed_time():
    """Problem 2.1: 21.859294 s from the top, where the metal falls free of what is in the mould.

    All of the head is lost in the mould; Borda and Carnot take a share of 2 GATE / LEVEL less, so time is 0.4 % short.
    """
    network = cavity(Channel(root_mm3=1.0, root_depth_mm=HEAD_MM), 0, np.full(5, TALL_MM / 5), np.full(5, HEAD_MM))
    got = running(network, longest_s=60.0, **FREELY)
    assert got.filled.min() == 1.0
    assert np.nanmax(got.fill_s[1:]) == pytest.approx(21.859294, rel=0.006)


def test_bottom_gate_takes_twice_as_long():
    """Problem 2.1: 43.718589 s from below. Layers are thin where little head is left, as the integral asks for.

    Layers and steps leave 2 % open, Borda and Carnot 0.4 %.
    """
    levels = TALL_MM * (1.0 - np.linspace(1.0, 0.0, 41) ** 2)
    network = cavity(
        Channel(root_mm3=1.0, root_depth_mm=HEAD_MM), 0, np.diff(levels), HEAD_MM - (levels[1:] + levels[:-1]) / 2
    )
    got = running(network, longest_s=100.0, steps=400, **FREELY)
    assert np.nanmax(got.fill_s[1:]) == pytest.approx(43.718589, rel=0.03)


def test_top_gate_with_friction_and_losses():
    """Problem 2.2: 31.653919 s with an entry of 0.46, a bend of 25 diameters, 0.12 m, Blasius' friction; rho 7800.

    Its viscosity is 0.00496 Pa s and ours 0.005: 0.05 % in time.
    """
    bore = math.sqrt(4.0 * GATE_MM2 / math.pi)
    long = 120.0 + 25.0 * bore
    made = Channel(root_mm3=1.0, root_depth_mm=HEAD_MM)
    gate = made.element(made.owner("gate", "gate"), GATE_MM2 * long, 1.0, bore, long, HEAD_MM)
    made.join(0, gate, section=GATE_MM2, path=long / 2.0, loss=0.46)
    network = cavity(made, gate, np.full(5, TALL_MM / 5), np.full(5, HEAD_MM), long / 2.0)
    got = running(network, longest_s=100.0, liquid_g_cm3=7.8, **FREELY)
    begun = got.fill_s[gate, 0]
    assert np.nanmax(got.fill_s[2:]) - begun == pytest.approx(31.653919, rel=0.01)


def steady(network: Network, empty, **figures):
    """The flow, after a long time, in a network that is full but for some elements at no pressure."""
    cases = cases_of(len(network.volume_mm3), **COLD_DOES_NOTHING | {"tension_n_m": 1e-9} | figures)
    sizes = sized(network, cases)
    ways = channels(network, sizes, cases, elimination(len(network.volume_mm3), network.joints))
    full = np.ones_like(sizes.volume_mm3, dtype=bool)
    full[empty] = False
    none = np.zeros_like(sizes.volume_mm3)
    reach = Reach(
        filled=full.astype(float),
        full=full,
        shut=none > 0.0,
        stood=np.zeros((len(network.joints), cases.count), dtype=bool),
        runs=full,
        viscosity=none + VISCOSITY_PA_S,
        excess_mm3=none,
        supply_mm3_s=cases.pour_g_s / (cases.liquid_g_cm3 * 1e-3),
        coming_mm3_s=none,
    )
    flow = at_rest(ways)
    for _ in range(3):
        flow = flow_step(ways, flow, reach, np.full(cases.count, 1e9))
    return flow


def test_long_pipe_flows_as_hagen_and_poiseuille_have_it():
    """q = pi d4 dp / (128 mu L): 1 mm, 1 m, 10 kPa; Re about 115. Velocity heads take 0.2 % of the pressure."""
    network = straight(1.0, 1000.0, 40)
    flow = steady(network, [40], push_kpa=10.0, pour_g_s=NO_LIMIT_G_S)
    long = 1000.0 - 12.5
    expected = math.pi * 1.0**4 * 10_000.0 / (128.0 * VISCOSITY_PA_S * long)
    assert flow.mm3_s[:, 0] == pytest.approx(expected, rel=0.005)
    # The pressure falls evenly: half of it is left in the middle.
    assert flow.pa[20, 0] == pytest.approx(5_000.0, rel=0.05)


def test_turbulent_pipe_loses_what_blasius_says():
    """4 f (L/d) rho v2 / 2 with f = 0.0791 Re^-1/4 and the velocity head at the front: 4 mm, 1 m, 60 kPa."""
    network = straight(4.0, 1000.0, 40)
    cases = cases_of(41)
    rho = 1000.0 * cases.liquid_g_cm3[0]
    flow = steady(network, [40], push_kpa=60.0, pour_g_s=NO_LIMIT_G_S)
    speed = flow.mm3_s[20, 0] / (math.pi / 4 * 16.0) / 1000.0
    reynolds = rho * speed * 0.004 / VISCOSITY_PA_S
    assert reynolds > 4000.0
    loss = 4.0 * 0.0791 * reynolds**-0.25 * (1000.0 - 12.5) / 4.0
    # The root's wide element takes no friction; it and the first part share one joint.
    assert 0.5 * rho * speed**2 * (1.0 + loss) == pytest.approx(60_000.0, rel=0.03)


def test_two_pipes_share_the_flow_by_their_fourth_powers():
    """Slow flow in bores of 1 and 1.4 mm of the same length: by 1 to 1.4^4 (Hagen, Poiseuille)."""
    made = Channel()
    owner = made.owner("link 1", "link")
    ends = []
    for bore in (1.0, 1.4):
        pipe = made.bore(owner, bore, 400.0, 20, 0.0)
        made.join(0, pipe[0])
        ends.append(pipe[-1])
    flow = steady(made.network(), ends, push_kpa=0.5, pour_g_s=NO_LIMIT_G_S)
    shares = [flow.mm3_s[10, 0], flow.mm3_s[30, 0]]
    assert shares[1] / shares[0] == pytest.approx(1.4**4, rel=0.005)


def test_widening_loses_what_borda_and_carnot_say():
    """A short bore of 2 mm into one of 4 mm: (1 - A1/A2)^2 velocity heads of the narrow, and one head at the front."""
    made = Channel()
    owner = made.owner("link 1", "link")
    narrow, wide = made.bore(owner, 2.0, 0.01, 1, 0.0), made.bore(owner, 4.0, 0.02, 2, 0.0)
    made.join(0, narrow[0])
    made.join(narrow[0], wide[0])
    cases = cases_of(4)
    flow = steady(made.network(), [wide[1]], push_kpa=20.0, pour_g_s=NO_LIMIT_G_S)
    speed = flow.mm3_s[0, 0] / math.pi / 1000.0
    heads = (1.0 - 1.0 / 4.0) ** 2 + (1.0 / 4.0) ** 2
    assert 500.0 * cases.liquid_g_cm3[0] * speed**2 * heads == pytest.approx(20_000.0, rel=0.03)


def test_no_more_flows_than_is_poured():
    """50 and 100 g/s come in where the head would drive more: a bore of known volume takes as long as it is poured."""
    network = straight(4.0, 200.0, 40)
    got = running(network, pour_g_s=[50.0, 100.0], push_kpa=50.0, tension_n_m=0.0)
    grams = network.volume_mm3[1:].sum() * cases_of(1).liquid_g_cm3[0] * 1e-3
    assert np.nanmax(got.fill_s[1:], axis=0) == pytest.approx(grams / np.array([50.0, 100.0]), rel=1e-6)
    assert np.nanmax(got.speed_m_s) == pytest.approx(0.1 / (9.21e-6 * math.pi / 4 * 16.0) / 1000.0, rel=1e-6)


@pytest.mark.parametrize(("stands", "superheat"), [(0.3, 5.0), (0.5, 5.0), (0.2, 30.0)])
def test_fluidity_length_in_a_straight_channel(stands, superheat):
    """(d/4) rho v (k L + c dT) / (h (T_m - T_0)) (M. Flemings, from memory): a mould that stays at T_0, only the
    interface resists, a steady speed by the pour. Silver in a bore of 2 mm. While superheat goes it is hotter than
    T_m, by a quarter of dT in the mean, about. Coarse steps stop it half a step early: 4 % at the usual ones.
    """
    melts, mould, speed, interface, rho = 961.8, 200.0, 0.5, 3000.0, 9320.0
    heat = 1000.0 * (stands * 105.0 + 0.31 * superheat)
    expected = 2.0 / 4.0 * rho * speed * heat / (interface * (melts + superheat / 4.0 - mould))
    network = straight(2.0, 2.0 * expected, 200, root_mm3=20.0)
    figures = {
        "liquid_g_cm3": rho / 1000.0, "solidus_c": melts, "liquidus_c": melts, "latent_j_g": 105.0,
        "heat_liquid_j_g_k": 0.31, "heat_solid_j_g_k": 0.235, "conductivity_w_m_k": 1e-6, "permeability_m2": 1e-3,
        "interface_w_m2_k": interface, "mould_w_m_k": 1e5, "mould_j_cm3_k": 1e5, "flask_c": mould,
        "pour_c": melts + superheat, "push_kpa": 500.0, "pour_g_s": math.pi / 4 * 4.0 * speed * rho * 1e-3,
    }  # fmt: skip
    for steps, within in ((300, 0.01), (STEPS, 0.04)):
        got = filled(network, cases_of(201, **figures), stands=np.array([stands]), steps=steps)
        ran = 2.0 * expected * got.filled[1:, 0].mean()
        assert ran == pytest.approx(expected, rel=within)


def test_nothing_enters_a_bore_below_its_capillary_pressure():
    """4 gamma / d (Laplace): just below it the metal stands at the mouth, just above it runs in."""
    needs = meniscus_kpa(0.92, 0.8)
    network = straight(0.8, 10.0, 10)
    got = running(network, push_kpa=[0.98 * needs, 1.02 * needs])
    assert np.all(got.filled[1:, 0] == 0.0)
    assert got.reason[1, 0] == PRESSURE
    assert np.all(got.filled[:, 1] == 1.0)


def test_a_column_stands_where_its_weight_holds_the_head():
    """Metal rises in a bore until rho g h and 4 gamma / d together are what pushes it (hydrostatics, Laplace).

    The bore is so narrow that friction lets nothing swing.
    """
    bore, push, rho = 0.4, 12.0, 1000.0 * cases_of(1).liquid_g_cm3[0]
    network = straight(bore, 60.0, 60, root_depth=100.0, depths=(100.0, 40.0))
    got = running(network, push_kpa=push - column_kpa(rho, 100.0), longest_s=60.0)
    rises = (push - meniscus_kpa(0.92, bore)) * 1e6 / (rho * 9.81)
    assert got.filled[1:, 0].sum() == pytest.approx(rises, abs=1.0)


def test_gas_of_a_blind_bore_leaves_as_darcy_has_it():
    """Radial Darcy flow: what is still empty shrinks as exp(-t c dp / A), c being what a mm lets out per kPa."""
    bore, long, push, permeability = 2.0, 40.0, 30.0, 2e-15
    network = straight(bore, long, 80)
    got = running(network, push_kpa=push, permeability_m2=permeability, longest_s=100.0)
    spread = math.log(1.0 + 2.0 * GAS_DEPTH_MM / bore)
    lets = 2.0 * math.pi * permeability * 1e-3 / (GAS_VISCOSITY_PA_S * spread) * 1e12
    driving = push - meniscus_kpa(0.92, bore)
    area = math.pi / 4 * bore**2
    half, quarter = got.fill_s[40, 0], got.fill_s[60, 0]
    assert quarter - half == pytest.approx(math.log(2.0) * area / (lets * driving), rel=0.03)
