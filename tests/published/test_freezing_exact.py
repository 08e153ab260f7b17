"""Freezing against exact solutions and closed forms from outside.

Where freezing runs into a melting point the metal is given a range of 1 K about it. Stated limits are 2 % where nothing
else is said.
"""

import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.special import erf, erfc, erfcx, j0, y0

from addon.rules.cast.mould_around import BEND
from addon.rules.cast.mould_law import advance, at_rest, held_j, pull
from tests.freezing_rods import OPEN, around_one, cases_of, frozen, held_at, mould_of, network_of

# Ghosh and Mallik, Manufacturing Science, worked examples on iron in a sand mould and in a water-cooled one.
IRON = {
    "solid_g_cm3": 7.85,
    "solidus_c": 1539.5,
    "liquidus_c": 1540.5,
    "latent_j_g": 272.0,
    "heat_solid_j_g_k": 0.67,
    "heat_liquid_j_g_k": 0.67,
    "pour_c": 1540.5,
    "flask_c": 28.0,
}
SAND = {"mould_w_m_k": 0.8655, "mould_j_cm3_k": 1.6 * 1.170, "interface_w_m2_k": OPEN}
CONDUCTIVITY, HEAT = 0.4e-3, 1.23e-3  # gypsum mould, W/(mm K) and J/(mm3 K)
SPREADS = CONDUCTIVITY / HEAT


def clock(end: float, growth: float = 0.06, first: float = 0.008) -> np.ndarray:
    """Steps as the march takes them."""
    steps, time = [], 0.0
    while time < end:
        steps.append(max(first, growth * time))
        time += steps[-1]
    return np.array(steps)


# Freezing against an insulating mould: all resistance in the mould.


@pytest.mark.parametrize(
    ("modulus", "radius", "seconds"),
    [
        # slab 10 cm thick: 0.671318 h, printed
        (50.0, np.inf, 2416.74),
        # sphere of 10 cm, exact root of the printed equation; two curvatures count as half the radius
        (50.0 / 3.0, BEND * 25.0, 196.52),
        # long cylinder of 10 cm (derived: C. Adams and H. Taylor, Trans. AFS 65, 1957)
        (25.0, BEND * 50.0, 472.36),
    ],
)
def test_iron_in_sand_freezes_in_the_printed_time(modulus, radius, seconds):
    """Textbook rules take the whole bend of a rod: radii are given so that the network does so too."""
    one = network_of([modulus], [1.0])
    found = frozen(one, mould_of(one, radius), cases_of(1, **IRON, **SAND, conductivity_w_m_k=OPEN))
    assert found.solid_s[0, 0] == pytest.approx(seconds, rel=0.01)
    assert abs(found.imbalance[0]) < 1e-9


@pytest.mark.parametrize(
    ("flask_c", "seconds"), [(450.0, (0.36, 1.42, 3.20)), (550.0, (0.53, 2.14, 4.81)), (650.0, (0.91, 3.64, 8.19))]
)
def test_sterling_wire_in_a_hot_gypsum_mould(flask_c, seconds):
    """Wires of 1, 2, 3 mm, no superheat, by the rule for long cylinders (derived: Adams and Taylor 1957).

    The figures have two decimals: half of the last counts besides the 2 %.
    """
    for diameter, expected in zip((1.0, 2.0, 3.0), seconds, strict=True):
        one = network_of([diameter / 4.0], [1.0])
        cases = cases_of(
            1, solidus_c=892.5, liquidus_c=893.5, pour_c=893.5, latent_j_g=105.0, flask_c=flask_c, interface_w_m2_k=OPEN
        )
        found = frozen(one, mould_of(one, BEND * diameter / 2.0), cases)
        assert found.solid_s[0, 0] == pytest.approx(expected, abs=0.02 * expected + 0.005)


def given_round_a_cylinder(tau: float) -> float:
    """Heat into the region round a cylinder held at 1, over k d r / alpha, at tau = alpha t / r^2.

    The flux of Carslaw and Jaeger, Conduction of Heat in Solids, 13.5, integrated over time; u is exp(-v) below 1.
    """

    def rate(u: float) -> float:
        return -np.expm1(-tau * u * u) / (u**3 * (j0(u) ** 2 + y0(u) ** 2))

    low = quad(lambda v: rate(np.exp(-v)) * np.exp(-v), 0.0, 15.0)[0]
    # beyond, Y0 is its logarithm and the exponential its first term
    low += tau * math.pi / 2.0 * (math.pi / 2.0 - math.atan(2.0 / math.pi * (15.0 + math.log(2.0) - np.euler_gamma)))
    return 4.0 / math.pi**2 * (low + quad(rate, 1.0, 60.0, limit=200)[0] + math.pi / 120.0)


def test_thick_mould_round_a_rod():
    """Heat taken from a rod of 2 mm that stays hot, up to alpha t = 5 r^2: 15 s in gypsum."""
    around = around_one(cases_of(1, interface_w_m2_k=OPEN), 1.0)
    seconds, taken = held_at(around, 900.0, clock(15.0))
    for time, heat in zip(seconds[10::8], taken[10::8, 0], strict=True):
        exact = 300.0 * HEAT * given_round_a_cylinder(SPREADS * float(time))
        assert heat == pytest.approx(exact, rel=0.025)


@pytest.mark.parametrize(("diameter", "flask_c"), [(1.0, 450.0), (2.0, 650.0), (4.0, 600.0)])
def test_wire_freezes_as_the_exact_flux_round_it_says(diameter, flask_c):
    """The same exact solution: metal at its melting point gives off its latent heat to the mould round a wire."""
    one = network_of([diameter / 4.0], [1.0])
    cases = cases_of(1, solidus_c=892.5, liquidus_c=893.5, pour_c=893.5, flask_c=flask_c, interface_w_m2_k=OPEN)
    found = frozen(one, mould_of(one, diameter / 2.0), cases).solid_s[0, 0]
    asked = 10.36e-3 * 112.2825 / (2.0 * HEAT * (893.0 - flask_c))
    tau = brentq(lambda x: given_round_a_cylinder(x) - asked, 1e-3, 20.0)
    assert found == pytest.approx(tau * (diameter / 2.0) ** 2 / SPREADS, rel=0.04)


# Freezing from a face that is held cold: all resistance in the metal.


def front(count: int, width: float, end: float, **figures) -> tuple[np.ndarray, np.ndarray]:
    """Freeze a rod of so many elements from its end against a block that stays cold.

    Gives the elements' middles in mm and the times at which they were half solid. The front passes through a hundred
    elements: steps are half as long as a casting needs, of which each element has but a few behind it.
    """
    joints = np.stack([np.arange(count), np.arange(1, count + 1)], axis=1)
    volumes, paths = np.full(count + 1, width), np.full(count, width)
    # Half of the way between two elements lies in each, and that in the block resists nothing.
    volumes[0] = 1e9
    rod = network_of(volumes, np.full(count + 1, 1e-9), joints, 1.0, paths, length=width)
    cases = cases_of(count + 1, **figures, mould_w_m_k=1e-9)
    start = np.full((count + 1, 1), cases.pour_c[0])
    start[0] = cases.flask_c[0]
    found = frozen(rod, mould_of(rod), cases, start_c=start, longest_s=end, first_s=1e-4 * end, growth=0.03)
    return (np.arange(count) + 0.5) * width, found.freeze_s[1:, 0]


def test_front_of_the_one_phase_stefan_problem():
    """A published benchmark after Turcotte and Schubert, eq. 4.141: 1.465974602531472 m at 1e5 s."""
    figures = {
        "solid_g_cm3": 8.0,
        "solidus_c": 1049.5,
        "liquidus_c": 1050.5,
        "latent_j_g": 400.0,
        "heat_solid_j_g_k": 1.0,
        "heat_liquid_j_g_k": 1.0,
        "conductivity_w_m_k": 56.0,
        "pour_c": 1050.5,
        "flask_c": 0.0,
    }
    at, seconds = front(100, 20.0, 1.02e5, **figures)
    assert np.interp(1e5, seconds[:74], at[:74]) == pytest.approx(1465.974602531472, rel=0.01)
    # The front goes with the square root of time all along; the first few elements are coarse.
    assert seconds[5:72] == pytest.approx(1e5 * (at[5:72] / 1465.974602531472) ** 2, rel=0.02)


def test_iron_against_a_water_cooled_mould():
    """Ghosh and Mallik: half thickness 50 mm, exact root 0.97531 of the printed equation, 0.011565 h."""
    at, seconds = front(60, 1.0, 60.0, **IRON, conductivity_w_m_k=83.0)
    assert np.interp(50.0, at, seconds) == pytest.approx(0.011565 * 3600.0, rel=0.02)


def test_front_in_superheated_metal():
    """F. Neumann's two-phase solution (Carslaw and Jaeger, Conduction of Heat in Solids, 11.2), root by scipy."""
    solid, liquid, latent, density, conductivity, cold, melts, hot = 0.25, 0.32, 110.0, 10.0, 200.0, 0.0, 900.0, 1100.0
    ratio = math.sqrt(liquid / solid)

    def lacks(x: float) -> float:
        from_liquid = ratio * (hot - melts) / (melts - cold) * math.exp(-((ratio * x) ** 2)) / erfc(ratio * x)
        return math.exp(-x * x) / erf(x) - from_liquid - x * math.sqrt(math.pi) * latent / (solid * (melts - cold))

    root = brentq(lacks, 0.01, 3.0)
    spreads = conductivity * 1e-3 / (density * 1e-3 * solid)
    at, seconds = front(
        120,
        1.0,
        40.0,
        solid_g_cm3=density,
        solidus_c=melts - 0.5,
        liquidus_c=melts + 0.5,
        latent_j_g=latent,
        heat_solid_j_g_k=solid,
        heat_liquid_j_g_k=liquid,
        conductivity_w_m_k=conductivity,
        pour_c=hot,
        flask_c=cold,
    )
    assert root < 0.97
    assert seconds[12:50] == pytest.approx((at[12:50] / (2.0 * root)) ** 2 / spreads, rel=0.02)


# What the mould takes from metal that stays hot.


@pytest.mark.parametrize("interface", [200.0, 1000.0, OPEN])
def test_thick_mould_behind_an_interface(interface):
    """Semi-infinite solid heated through a film: Carslaw and Jaeger, Conduction of Heat in Solids, 2.7."""
    around = around_one(cases_of(1, interface_w_m2_k=interface))
    seconds, taken = held_at(around, 900.0, clock(60.0))
    film = interface * 1e-6
    x = film * np.sqrt(SPREADS * seconds) / CONDUCTIVITY
    # erfcx(x) - 1 is nothing beside the rest where the film is open
    exact = (
        300.0 * CONDUCTIVITY**2 / (film * SPREADS) * (erfcx(np.minimum(x, 1e6)) - 1.0 + 2.0 * x / math.sqrt(math.pi))
    )
    later = seconds > 0.05
    assert taken[later, 0] == pytest.approx(exact[later], rel=0.02)


@pytest.mark.parametrize("interface", [500.0, OPEN])
@pytest.mark.parametrize("depth", [0.3, 1.0, 2.0])
def test_web_between_two_faces(depth, interface):
    """Slab with an insulated middle heated through a film: Carslaw and Jaeger, 3.4 and 3.11, as a series."""
    around = around_one(cases_of(1, interface_w_m2_k=interface), store=depth, gap=2.0 * depth)
    seconds, taken = held_at(around, 900.0, clock(60.0))
    biot = interface * 1e-6 * depth / CONDUCTIVITY
    roots = [
        brentq(lambda b: b * math.sin(b) - biot * math.cos(b), i * math.pi, (i + 0.5) * math.pi) for i in range(80)
    ]
    b = np.array(roots)
    terms = 2.0 * biot**2 / (b**2 * (b**2 + biot**2 + biot))
    left = np.exp(-np.outer(seconds, b**2) * SPREADS / depth**2) @ terms
    exact = 300.0 * HEAT * depth * (1.0 - left)
    later = seconds > 0.02
    assert taken[later, 0] == pytest.approx(exact[later], rel=0.02)
    assert taken[-1, 0] <= 300.0 * HEAT * depth * (1.0 + 1e-9)


def test_late_start_and_changes_follow_the_heat_taken():
    """A step up in temperature after a while: Duhamel's sum of two semi-infinite solutions, for a plane."""
    around = around_one(cases_of(1, interface_w_m2_k=OPEN))
    state = at_rest(around)
    time = 0.0
    for seconds in [*clock(2.0), *clock(20.0)]:
        metal = np.array([[750.0 if time < 2.0 else 900.0]])
        state = advance(around, state, pull(around, state, metal, float(seconds)), metal)
        time += float(seconds)
    begin = float(np.sum(clock(2.0)))
    exact = 2.0 * CONDUCTIVITY * 150.0 * (math.sqrt(time) + math.sqrt(time - begin)) / math.sqrt(math.pi * SPREADS)
    assert held_j(around, state)[0] == pytest.approx(exact, rel=0.02)
