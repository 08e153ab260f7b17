"""The forecast of a pour: what every link is said to be, why, and what would put it right.

The story it has to tell (common practice, no published source): with thin gates, a thin ring and a cool flask the ring
fills and the links do not; with both made thicker, and metal and flask hotter, everything fills.
"""

import json
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from cast_jobs import cast
from lattices import chain, planned, ring_way

from addon.rules.base.progress import finish
from addon.rules.cast.cases import beside, sized
from addon.rules.cast.elimination import elimination
from addon.rules.cast.feeding import feeding
from addon.rules.cast.fill import fill
from addon.rules.cast.flask import USUAL_MARGINS
from addon.rules.cast.forecast import Forecast, _pore_findings, forecast
from addon.rules.cast.freeze import freeze
from addon.rules.cast.hydraulics import spin_kpa
from addon.rules.cast.levers import levers
from addon.rules.cast.materials import load_materials
from addon.rules.cast.network import LINK, Network
from addon.rules.cast.pour import COLD, USUAL, VARIANTS, WARM, Pour, case, near_kpa, reach_mm
from addon.rules.cast.quick import SPIN_ARM_MM, SPIN_TURNS_PER_MIN
from addon.rules.cast.temperatures import Temperatures
from addon.rules.cast.verdict import (
    AT_RISK,
    FED,
    FULL,
    FULL_IN_COLD,
    SHORT,
    SOUND,
    LinkFigures,
    filled_shares,
    link_figures,
    verdicts,
)

MATERIALS = load_materials()
GYPSUM = MATERIALS.investment("gypsum-bonded")
# First and second pour of the story: sterling silver by its own weight, a trunk of 18 mm under a cone of 20 mm, gates
# 5.1 mm from ring to link, the same head for both. The first: shafts of 1.0 mm, tips of 0.7 mm and a ring of 2.6 mm.
# The second: shafts of 2.4 mm, tips of 1.6 mm, a ring of 4.0 mm, and metal and flask hotter.
THIN = {"gate_mm": 1.0, "tip_mm": 0.7, "ring_mm": 2.6}
THICK = {"gate_mm": 2.4, "tip_mm": 1.6, "ring_mm": 4.0}
COOL = Temperatures(940.0, (950.0, 1000.0), 350.0, (510.0, 677.0), ())
HOT = Temperatures(1000.0, (950.0, 1000.0), 677.0, (510.0, 677.0), ())


@cache
def network(**sizes: float):
    way = ring_way(10, 6.6)
    bodies = chain(way)
    return cast(bodies, planned(bodies, way, **sizes), reach_mm=reach_mm(GYPSUM))


def pour(temperatures: Temperatures, head: str = "gravity", alloy: str = "sterling-silver") -> Pour:
    return Pour(MATERIALS.alloy(alloy), GYPSUM, temperatures, head, USUAL_MARGINS)


def full(net: Network, filled: np.ndarray, kind: str) -> np.ndarray:
    """Give how full all metal of a kind is in every case."""
    rows = net.elements_of(kind)
    share: np.ndarray = net.volume_mm3[rows] @ filled[rows] / net.volume_mm3[rows].sum()
    return share


@cache
def poured(thick: bool, hot: bool, head: str):
    net, mould = network(**(THICK if thick else THIN))
    cases = beside([case(pour(HOT if hot else COOL, head), len(net.at), v) for v in VARIANTS])
    return net, finish(fill(net, mould, cases)).filled


def test_the_first_pour_fills_the_ring_and_no_link() -> None:
    """It holds at both ends for the links; where the mould takes most heat even the ring stays short."""
    net, filled = poured(False, False, "gravity")
    usual, cold, warm = (VARIANTS.index(v) for v in (USUAL, COLD, WARM))
    ring, links = full(net, filled, "ring"), full(net, filled, LINK)
    assert ring[usual] > 0.99
    assert ring[warm] > 0.99
    assert (links < 0.05).all()
    assert ring[cold] < ring[usual] + 1e-9


def test_thicker_and_hotter_the_second_pour_fills_everything() -> None:
    """By its own weight it holds in the usual and the warm case; in the cold one too once a vacuum helps."""
    net, filled = poured(True, True, "gravity")
    shares = filled_shares(net, np.broadcast_to(net.volume_mm3[:, None], filled.shape), filled)
    assert (shares[:, [VARIANTS.index(USUAL), VARIANTS.index(WARM)]] >= FULL).all()
    net, filled = poured(True, True, "vacuum")
    shares = filled_shares(net, np.broadcast_to(net.volume_mm3[:, None], filled.shape), filled)
    assert (shares >= FULL).all()


@cache
def foretold(thick: bool, head: str, with_levers: bool = False) -> Forecast:
    net, mould = network(**(THICK if thick else THIN))
    return finish(forecast(net, mould, pour(HOT if thick else COOL, head), with_levers=with_levers))


def test_links_that_stay_empty_are_short_with_a_reason_and_a_stop() -> None:
    found = foretold(False, "gravity")
    assert {link.verdict for link in found.links} == {SHORT}
    assert all("gates" in link.reason and "head" in link.reason for link in found.links)
    (stop,) = [f for f in found.findings if f.severity == "stop"]
    assert stop.code == "not-filled"
    assert len(stop.bodies) == 10
    assert all(link.fill_s is None and link.freeze_s is None for link in found.links)
    assert found.same
    assert "same links" in found.remark


def test_a_sound_pour_says_so_and_tries_no_lever() -> None:
    found = foretold(True, "vacuum", True)
    assert {link.verdict for link in found.links} == {SOUND}
    assert found.levers == ()
    assert not any(f.severity == "stop" for f in found.findings)
    assert all(link.fill_s is not None and link.freeze_s is not None for link in found.links)
    assert all((link.freeze_s or 0.0) > (link.fill_s or 0.0) > 0.0 for link in found.links)
    assert 0.0 < found.gate_m_s < 3.0
    assert HOT.flask_c < found.web_peak_c < HOT.pour_c


def test_pores_are_looked_for_where_the_last_metal_is_solid_when_its_way_has_closed() -> None:
    """Times made up: gates and links are solid after 5 s, the rest after 9 s, one place of two links in between."""
    net, _ = network(**THICK)
    links = [k for k, owner in enumerate(net.owners) if owner.kind == LINK]
    solid_s = np.full(len(net.at), 9.0)
    solid_s[net.elements_of(LINK)] = 5.0
    solid_s[net.tip] = 5.0
    spots = [int(np.flatnonzero(net.owner == links[k])[3]) for k in (2, 4)]
    solid_s[spots] = 8.0, 7.0
    (pores,) = _pore_findings(net, feeding(net, solid_s), solid_s)
    assert (pores.code, pores.severity) == ("pores", "note")
    assert pores.bodies == tuple(net.owners[links[k]].name for k in (2, 4))
    assert pores.value == pytest.approx(3.0)
    assert pores.at == pytest.approx(tuple(net.at[spots[0]]))
    assert _pore_findings(net, feeding(net, np.full(len(net.at), 9.0)), np.full(len(net.at), 9.0)) == ()


def test_the_report_has_the_keys_that_other_programs_read() -> None:
    told = json.loads(json.dumps(foretold(False, "gravity").to_dict()))
    assert {"links", "freeze_order_ok", "levers"} <= set(told)
    assert {"body", "filled_percent", "fill_s", "freeze_s", "verdict"} <= set(told["links"][0])


def test_a_lever_that_passes_really_does() -> None:
    """What a lever asks for is put into the job, and the job is judged anew in both cases it has to hold in."""
    net, mould = network(**THIN)
    bad = pour(COOL)
    plan = elimination(len(net.at), net.joints)
    found = {lever.change: lever for lever in finish(levers(net, mould, bad, plan, 60.0))}
    assert found["vacuum under the flask"].passes == all(
        link.verdict == SOUND
        for link in finish(forecast(net, mould, replace(bad, head="vacuum"), with_levers=False)).links
    )
    assert not found["hotter metal"].passes
    assert found["hotter metal"].reason
    assert {"thicker gates", "thicker tips", "thicker rings", "hotter flask"} <= set(found)
    alone = [lever.passes for change, lever in found.items() if change != "all of these together"]
    assert ("all of these together" in found) == (not any(alone))
    for lever in found.values():
        assert lever.after != lever.before
        assert lever.passes != bool(lever.reason)


def test_wider_gates_let_more_through() -> None:
    """A gate's mouth grows with the gate, but no further than the ring it opens from."""
    net, _ = network(**THIN)
    base = case(pour(COOL), len(net.at))
    wide = base.wider.copy()
    wide[net.elements_of("gate")] *= 2.0
    before, after = sized(net, base).section_mm2, sized(net, replace(base, wider=wide)).section_mm2
    kinds = np.array([o.kind for o in net.owners])[net.owner]
    mouths = np.flatnonzero((kinds[net.joints] == "gate").any(axis=1) & (kinds[net.joints] == "ring").any(axis=1))
    mouths = mouths[~net.spare[mouths]]
    assert len(mouths)
    assert (after[mouths] > 1.5 * before[mouths]).all()
    room = (net.volume_mm3 / net.length_mm)[net.joints[mouths]].max(axis=1)
    assert (after[mouths, 0] <= np.maximum(room, before[mouths, 0]) + 1e-9).all()


def test_a_gate_that_is_not_there_feeds_nothing() -> None:
    """Spare joints stand for gates that could be: only a case that opens them may count on them."""
    net, mould = network(**THICK)
    usual = case(pour(HOT, "vacuum"), len(net.at))
    both = beside([usual, replace(usual, spare=np.array([True]))])
    sizes = sized(net, both)
    filled = finish(fill(net, mould, both))
    freezing = freeze(net, mould, both, start_c=filled.metal_c, filled=filled.filled, state=filled.state)
    frozen = finish(freezing)
    frozen = replace(frozen, freeze_s=frozen.freeze_s.copy(), solid_s=frozen.solid_s.copy())
    gates = net.elements_of("gate")
    frozen.freeze_s[gates], frozen.solid_s[gates] = 0.01, 0.02
    fed = link_figures(net, sizes, filled, frozen).fed
    assert (fed[:, 0] < 0.05).all()
    assert (fed[:, 1] > 0.5).all()


def test_cold_hinders_and_warm_helps() -> None:
    cold, usual, warm = (case(pour(COOL, "vacuum"), 3, v) for v in (COLD, USUAL, WARM))
    for key in ("push_kpa", "pour_g_s", "permeability_m2", "latent_j_g"):
        assert getattr(cold, key) <= getattr(usual, key) <= getattr(warm, key)
    for key in ("interface_w_m2_k", "mould_w_m_k", "mould_j_cm3_k", "tension_n_m"):
        assert getattr(cold, key) >= getattr(usual, key) >= getattr(warm, key)


def test_heads_press_in_their_order() -> None:
    gravity, vacuum, spin = (near_kpa(pour(COOL, head)) for head in ("gravity", "vacuum", "spin"))
    assert gravity < vacuum < spin


def test_a_spin_presses_as_the_exact_formula_says() -> None:
    """A column that turns presses rho w^2 (R^2 - r^2) / 2 (as in any text on centrifugal casting)."""
    one = pour(COOL, "spin")
    down = one.margins.cone_mm + one.margins.trunk_mm
    density = one.alloy.liquid_density_g_cm3.value * 1000.0
    exact = spin_kpa(density, SPIN_TURNS_PER_MIN, SPIN_ARM_MM, SPIN_ARM_MM + down)
    assert near_kpa(one) == pytest.approx(exact, rel=1e-9)


@pytest.mark.parametrize(
    ("usual", "cold", "fed", "verdict"),
    [
        (1.0, 1.0, FED + 0.1, SOUND),
        (1.0, 1.0, FED - 0.1, AT_RISK),
        (1.0, FULL_IN_COLD - 0.01, 1.0, AT_RISK),
        (FULL - 0.02, 0.0, 1.0, SHORT),
    ],
)
def test_the_worst_that_holds_is_the_verdict(usual: float, cold: float, fed: float, verdict: str) -> None:
    figures = LinkFigures(
        ("link 1",),
        np.array([[usual, cold]]),
        np.array([[fed, fed]]),
        np.array([[1.0, np.nan]]),
        np.array([[9.0, 9.0]]),
    )
    (link,) = verdicts(figures, 0, 1, ["metal freezes in it on the way"])
    assert link.verdict == verdict
    assert (verdict == SOUND) == ("metal follows" in link.reason)
