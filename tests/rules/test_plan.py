"""The cast plan: its sums, its laws, and what it refuses."""

import dataclasses
import json
import math

import pytest
from scipy.special import jv

from addon.rules.base.errors import BadInput
from addon.rules.cast.flask import flask_volume_cm3
from addon.rules.cast.materials import Flask, load_materials
from addon.rules.cast.mould_and_metal import mould_and_metal
from addon.rules.cast.plan import USUAL_HABITS, PourHabits, plan, weights_by_alloy
from addon.rules.cast.quick import Section
from addon.rules.cast.schedule import FIRST_ZERO, burnout_schedule, heating_mm2
from addon.rules.cast.spec import HEADS, CastSpec

MATERIALS = load_materials()
WIRE, GATE, RING = Section("wire", 2.2), Section("gate", 2.4), Section("feed ring", 4.0)
TIP = Section("gate tip", 1.0, neck=True)


def planned(spec=CastSpec(), **changes):  # noqa: B008
    job = {
        "chain_mm3": 7000.0,
        "lattice_mm3": 5000.0,
        "size_mm": (85.0, 84.0, 22.0),
        "across_mm": 85.0,
        "sections": (WIRE, GATE, RING),
    }
    return plan(spec, MATERIALS, **{**job, **changes})


def codes(found, severity=None):
    return [f.code for f in found.findings if severity in (None, f.severity)]


def test_weights_add_up():
    """By hand: UNS C90700 weighs 8.77 g/cm3; trunk of 8 x 18 mm; button a quarter of what hangs below it."""
    found = planned()
    trunk = math.pi / 4 * 8.0**2 * 18.0
    assert found.chain_g == pytest.approx(7.0 * 8.77)
    assert found.lattice_g == pytest.approx(5.0 * 8.77)
    assert found.trunk_g == pytest.approx(trunk / 1000 * 8.77)
    assert found.button_g == pytest.approx(0.25 * (12.0 + trunk / 1000) * 8.77)
    assert found.metal_g == pytest.approx(found.chain_g + found.lattice_g + found.trunk_g + found.button_g)
    assert found.yield_percent == pytest.approx(100 * found.chain_g / found.metal_g)
    assert found.fresh_metal_g == pytest.approx(0.5 * found.metal_g)
    assert found.crucible_cm3 * found.alloy.liquid_density_g_cm3.value * 2 / 3 == pytest.approx(found.metal_g)


def test_tree_and_button_outweigh_the_pieces():
    """Bench text on casting carat golds: button and tree together weigh at least as much as the pieces."""
    for lattice in (0.0, 500.0, 3000.0, 20000.0):
        found = planned(CastSpec(alloy="gold-18-yellow"), lattice_mm3=lattice)
        assert found.lattice_g + found.trunk_g + found.button_g >= found.chain_g * (1 - 1e-12)
    assert planned(lattice_mm3=0.0).button_g > planned(lattice_mm3=5000.0).button_g


def test_mass_goes_with_the_cube_of_size():
    bare = PourHabits(trunk_d_mm=8.0)
    small = planned(habits=bare)
    large = planned(habits=bare, chain_mm3=7000.0 * 1.2**3, lattice_mm3=5000.0 * 1.2**3)
    assert large.chain_g == pytest.approx(1.2**3 * small.chain_g)
    assert large.lattice_g == pytest.approx(1.2**3 * small.lattice_g)
    assert large.trunk_g == small.trunk_g


def test_print_weighs_what_its_resin_weighs_at_export_scale():
    found = planned(scale=1.02)
    assert found.applied_scale == 1.02
    assert found.print_g == pytest.approx(12.0 * 1.02**3 * 1.15)
    assert found.metal_per_print == pytest.approx(8.77 / (1.15 * 1.02**3))
    assert found.scale.factor == planned().scale.factor


def test_investment_fills_the_flask_but_for_the_job():
    found = planned()
    job = 12.0 * found.applied_scale**3 + math.pi / 4 * 8.0**2 * 18.0 / 1000
    expected = (flask_volume_cm3(found.flask.flask) - job) * (1 + USUAL_HABITS.slurry_waste)
    assert found.mix.slurry_cm3 == pytest.approx(expected)
    assert found.mix.water_g / found.mix.powder_g == pytest.approx(0.40)
    powder = found.investment.powder_density_g_cm3.value
    assert found.mix.powder_g / powder + found.mix.water_g == pytest.approx(expected)


def test_flask_takes_the_job_at_export_scale():
    edge = 127.0 - 2 * 12.7
    assert planned(scale=1.0, across_mm=edge).flask.flask.diameter_mm == 127.0
    assert planned(scale=1.001, across_mm=edge).flask.flask.diameter_mm == 152.0
    assert planned(across_mm=None).flask.needs_diameter_mm > planned().flask.needs_diameter_mm


def test_a_flask_too_small_stops_the_job_and_the_plan_is_whole():
    found = planned(CastSpec(flask_mm=(63.0, 63.0)))
    assert codes(found, "stop") == ["flask-size"]
    assert found.mix.powder_g > 0
    assert found.to_dict()["flask"]["fits"] is False


def test_by_alloy_names_all_and_agrees_with_the_plan():
    found = planned()
    assert [w.name for w in found.by_alloy] == [a.name for a in MATERIALS.alloys]
    own = next(w for w in found.by_alloy if w.name == "tin-bronze")
    assert (own.chain_g, own.metal_g) == pytest.approx((found.chain_g, found.metal_g))
    for weight in weights_by_alloy(MATERIALS, 1000.0, 2000.0):
        assert weight.metal_g == pytest.approx(2 * weight.chain_g)
        assert weight.chain_g == MATERIALS.alloy(weight.name).density_g_cm3.value


# Temperatures and the mould


@pytest.mark.parametrize("alloy", [a.name for a in MATERIALS.alloys])
@pytest.mark.parametrize("head", HEADS)
@pytest.mark.parametrize("wire", [0.6, 1.2, 2.2, 3.5, 6.0])
def test_every_alloy_plans_inside_its_own_ranges(alloy, head, wire):
    found = planned(CastSpec(alloy=alloy, head=head), sections=(Section("wire", wire),))
    t = found.temperatures
    assert t.pour_range_c[0] <= t.pour_c <= t.pour_range_c[1]
    assert t.flask_range_c[0] <= t.flask_c <= t.flask_range_c[1]
    assert t.pour_c > found.alloy.liquidus_c.value > t.flask_c
    assert t.flask_c <= found.investment.limit_c.value
    assert "stop" not in {f.severity for f in found.findings}
    assert 0 < found.quick_freeze[0].low_s <= found.quick_freeze[0].freeze_s <= found.quick_freeze[0].high_s


def test_spin_takes_the_cool_end_and_gravity_the_hot_one():
    """Bench texts: a centrifugal pour takes the lower end of a range."""
    flask = [planned(CastSpec(head=h)).temperatures.flask_c for h in ("spin", "vacuum", "gravity")]
    pour = [planned(CastSpec(head=h)).temperatures.pour_c for h in ("spin", "vacuum", "gravity")]
    assert flask == sorted(set(flask))
    assert pour == sorted(set(pour))


def test_thin_sections_take_a_hotter_flask_and_a_neck_sets_none():
    thin = planned(CastSpec(alloy="sterling-silver"), sections=(Section("wire", 1.0), RING))
    heavy = planned(CastSpec(alloy="sterling-silver"), sections=(Section("wire", 5.0), RING))
    assert thin.temperatures.flask_c > heavy.temperatures.flask_c
    assert planned(sections=(WIRE, GATE, RING, TIP)).temperatures == planned().temperatures


def test_what_is_asked_for_is_taken():
    found = planned(CastSpec(metal_c=1120.0, flask_c=550.0))
    assert (found.temperatures.pour_c, found.temperatures.flask_c) == (1120.0, 550.0)
    assert codes(found, "warn") == []


def test_metal_that_is_not_molten_is_refused():
    with pytest.raises(
        BadInput, match=r"cast\.metal_c: 990 degC is not above the liquidus .* 999; give from 1099 to 1175"
    ):
        planned(CastSpec(metal_c=990.0))


def test_metal_out_of_its_range_is_a_warning():
    for metal, word in ((1010.0, "cool"), (1250.0, "hot")):
        (finding,) = [f for f in planned(CastSpec(metal_c=metal)).findings if f.code == "pour-temperature"]
        assert finding.severity == "warn"
        assert word in finding.text
        assert finding.value == metal


def test_a_flask_as_hot_as_the_metal_is_refused():
    with pytest.raises(BadInput, match=r"cast\.flask_c: 840 degC is not below the solidus"):
        planned(CastSpec(flask_c=840.0))


def test_a_flask_beyond_the_investment_stops():
    found = planned(CastSpec(flask_c=780.0))
    (finding,) = [f for f in found.findings if f.code == "flask-temperature"]
    assert (finding.severity, finding.value, finding.limit) == ("stop", 780.0, 750.0)


def test_a_hot_flask_is_warned_of_carbon():
    """From memory: carbon left in breaks gypsum down from about 700 degC; dental notes name 700 degC as its limit."""
    found = planned(CastSpec(flask_c=710.0))
    texts = [f.text for f in found.findings if f.code == "flask-temperature"]
    assert any("carbon" in t for t in texts)
    assert "carbon" not in " ".join(f.text for f in planned(CastSpec(flask_c=650.0, alloy="sterling-silver")).findings)


def test_platinum_never_goes_into_gypsum():
    """Platinum pours far above the breakdown of calcium sulphate; phosphate-bonded moulds are the rule."""
    assert planned(CastSpec(alloy="platinum-950")).investment.bond == "phosphate"
    with pytest.raises(BadInput, match=r"cast\.investment: platinum 950 .* use phosphate-bonded"):
        planned(CastSpec(alloy="platinum-950", investment="gypsum-bonded"))
    assert planned(CastSpec(alloy="copper", investment="phosphate-bonded")).investment.bond == "phosphate"


def test_bronze_in_gypsum_is_noted():
    assert "mould-limit" in codes(planned(), "note")
    assert "mould-limit" not in codes(planned(CastSpec(alloy="sterling-silver")))


def test_unknown_materials_are_refused_by_key():
    for spec, key in ((CastSpec(alloy="tin"), "cast.alloy"), (CastSpec(investment="clay"), "cast.investment")):
        with pytest.raises(BadInput, match=key.replace(".", r"\.")):
            planned(spec)
    with pytest.raises(BadInput, match=r"cast\.resin"):
        planned(CastSpec(resin="jelly"))


@pytest.mark.parametrize(
    "changes",
    [
        {"chain_mm3": 0.0},
        {"chain_mm3": math.nan},
        {"lattice_mm3": -1.0},
        {"size_mm": (1.0, 0.0, 1.0)},
        {"size_mm": (1.0, math.inf, 1.0)},
        {"sections": ()},
        {"sections": (TIP,)},
        {"sections": (Section("wire", 0.0),)},
    ],
)
def test_impossible_jobs_are_refused(changes):
    with pytest.raises(BadInput):
        planned(**changes)


# Quick rules


def test_thicker_freezes_later_and_hotter_freezes_later():
    rods = planned(sections=tuple(Section(str(d), d) for d in (1.0, 2.0, 3.0, 4.0))).quick_freeze
    times = [q.freeze_s for q in rods]
    assert times == sorted(times)
    assert times[1] == pytest.approx(4.0 * times[0], rel=1e-12), "modulus squared"
    for lower, higher in (
        (CastSpec(flask_c=500.0), CastSpec(flask_c=600.0)),
        (CastSpec(metal_c=1100.0), CastSpec(metal_c=1170.0)),
    ):
        assert planned(lower).quick_freeze[0].freeze_s < planned(higher).quick_freeze[0].freeze_s


def test_more_head_presses_harder_and_gravity_is_warned_of_fine_tips():
    by_head = {h: planned(CastSpec(head=h), sections=(WIRE, TIP)) for h in HEADS}
    assert by_head["gravity"].head_kpa[1] < by_head["vacuum"].head_kpa[1] < by_head["spin"].head_kpa[1]
    assert codes(by_head["gravity"], "warn") == ["not-filled"]
    assert "not-filled" not in codes(by_head["vacuum"])
    assert "not-filled" not in codes(by_head["spin"])


def test_trunk_and_button_freeze_last():
    """Feeders need 1.2 times the modulus of what they feed (from memory: Wlodawer, Campbell)."""
    assert "modulus" not in codes(planned())
    assert "modulus" in codes(planned(habits=PourHabits(trunk_d_mm=4.0)))
    assert "modulus" in codes(planned(habits=PourHabits(button_share=0.02, tree_ratio=0.0, button_last=False)))
    assert "modulus" not in codes(planned(habits=PourHabits(button_share=0.02, tree_ratio=0.0)))


# Burnout


@pytest.mark.parametrize(
    ("flask", "holds"),
    [
        # Bench text with holds by flask size: 63 x 63, 89 x 102, 102 x 203 mm
        (Flask("a", 63, 63), [(149, 2), (371, 1), (732, 2)]),
        (Flask("b", 89, 102), [(149, 2), (371, 2), (732, 3)]),
        (Flask("c", 102, 203), [(149, 2), (315, 2), (482, 2), (732, 4)]),
        (Flask("d", 76, 76), [(149, 2), (371, 2), (732, 3)]),
    ],
)
def test_burnout_of_wax_is_the_published_one(flask, holds):
    schedule = burnout_schedule(MATERIALS.investment("gypsum-bonded"), MATERIALS.resin("printed-wax"), flask, 480.0)
    assert [(s.to_c, s.hold_h) for s in schedule.steps[:-1]] == holds
    assert schedule.steps[-1].to_c == 480.0
    assert schedule.steps[-1].hold_h >= 1.0, "bench texts: at least an hour at casting temperature"
    assert schedule.status == "published"


def test_resin_rises_slowly_where_it_swells_and_burns_longer():
    """Common practice, no published source: slow from 100 to 250 degC, one or two hours more at the top."""
    gypsum, flask = MATERIALS.investment("gypsum-bonded"), Flask("b", 89, 102)
    resin = burnout_schedule(gypsum, MATERIALS.resin("castable-acrylate"), flask, 550.0)
    wax = burnout_schedule(gypsum, MATERIALS.resin("printed-wax"), flask, 550.0)
    now = 20.0
    for step in resin.steps:
        if now < 250.0 and step.to_c > 100.0:
            assert step.ramp_c_per_h <= 60.0
        assert step.ramp_h == pytest.approx(abs(step.to_c - now) / step.ramp_c_per_h)
        now = step.to_c
    assert 250.0 in [s.to_c for s in resin.steps]
    top = {s.to_c: s.hold_h for s in resin.steps}[732.0]
    assert top == {s.to_c: s.hold_h for s in wax.steps}[732.0] + 2.0
    assert resin.total_h > wax.total_h
    assert resin.status == "our judgement"
    assert resin.total_h == pytest.approx(sum(s.ramp_h + s.hold_h for s in resin.steps))


def test_a_larger_flask_than_known_is_said_so_and_held_longer():
    assert "burnout" in codes(planned(CastSpec(flask_mm=(203.0, 254.0))), "warn")
    assert "burnout" in codes(planned(CastSpec(flask_mm=(152.0, 102.0))), "note")
    assert "burnout" not in codes(planned(CastSpec(flask_mm=(127.0, 89.0))))


def test_holds_grow_with_the_time_heat_takes_to_the_middle():
    """Twice the size in every way takes four times as long (heat conduction), to the next half hour."""
    gypsum, wax = MATERIALS.investment("gypsum-bonded"), MATERIALS.resin("printed-wax")
    known = burnout_schedule(gypsum, wax, Flask("a", 102, 203), 480.0)
    twice = burnout_schedule(gypsum, wax, Flask("b", 204, 406), 480.0)
    assert (known.stretch, twice.stretch) == (1.0, pytest.approx(4.0, rel=1e-12))
    assert [s.hold_h for s in twice.steps[:-1]] == [4 * s.hold_h for s in known.steps[:-1]]
    assert (known.status, twice.status) == ("published", "our judgement")


def test_the_slowest_mode_of_a_cylinder():
    """Limits in closed form: a long rod goes by r^2 / 2.4048^2, a flat disc by h^2 / pi^2."""
    assert heating_mm2(20.0, 1e9) == pytest.approx(100.0 / 2.404826**2)
    assert heating_mm2(1e9, 20.0) == pytest.approx(400.0 / math.pi**2)
    assert jv(0, FIRST_ZERO) == pytest.approx(0.0, abs=1e-6)


def test_the_wait_before_the_quench_is_the_benchs_for_its_flask_and_goes_with_the_size():
    """Bench chart for silver: 15 to 20 minutes, a flask of 102 x 203 mm (trade figure); heat conduction for others."""
    known = planned(CastSpec(alloy="sterling-silver", flask_mm=(102.0, 203.0)), across_mm=60.0)
    half = planned(CastSpec(alloy="sterling-silver", flask_mm=(51.0, 101.5)), across_mm=20.0, size_mm=(9.0, 9.0, 9.0))
    assert known.stand_min == pytest.approx((15.0, 20.0))
    assert half.stand_min == pytest.approx((3.75, 5.0))


def test_the_resin_asked_for_sets_weight_and_burnout():
    resin, wax = planned(), planned(CastSpec(resin="printed-wax"))
    assert wax.print_g == pytest.approx(resin.print_g * 0.97 / 1.15)
    assert wax.schedule.total_h < resin.schedule.total_h
    assert wax.to_dict()["resin"] == "printed-wax"


# Leaning, spinning, and what it costs

LONG = {"size_mm": (142.0, 31.0, 17.0), "across_mm": 145.0}


def test_a_leaning_job_takes_less_investment_and_a_longer_trunk():
    upright, leaning = planned(**LONG), planned(CastSpec(tilt=True), **LONG)
    assert leaning.flask.lean.deg > 0
    assert leaning.mix.powder_g < 0.7 * upright.mix.powder_g
    assert leaning.margins.trunk_mm == 18.0 + leaning.flask.lean.trunk_more_mm
    assert leaning.trunk_g == pytest.approx(upright.trunk_g * leaning.margins.trunk_mm / 18.0)
    assert leaning.to_dict()["flask"]["lean_deg"] == leaning.flask.lean.deg
    assert leaning.head_kpa[1] > upright.head_kpa[1], "its far end stands higher over the cone"


def test_a_wide_job_is_warned_of_in_a_spin_and_goes_on_the_arm_that_carries_it():
    spun = planned(CastSpec(head="spin"))
    assert "spin-wide" in codes(spun, "warn")
    assert spun.spin_arm.name == "floor-arm"
    assert "spin-wide" not in codes(planned())
    narrow = planned(CastSpec(head="spin"), size_mm=(40.0, 40.0, 20.0), across_mm=45.0)
    assert "spin-wide" not in codes(narrow)
    assert narrow.spin_arm.name == "bench-arm"
    tall = planned(CastSpec(head="spin"), size_mm=(60.0, 60.0, 80.0), across_mm=70.0)
    assert "spin-wide" not in codes(tall)


def test_an_arm_too_small_stops_the_job():
    found = planned(CastSpec(head="spin", spin_arm="bench-arm"))
    assert codes(found, "stop") == ["spin-arm"]
    with pytest.raises(BadInput, match=r"cast\.spin_arm: there is no 'bench'"):
        planned(CastSpec(head="spin", spin_arm="bench"))


def test_an_arm_that_cannot_carry_the_load_stops_the_job():
    arm = MATERIALS.spin_arm("floor-arm")
    weak = dataclasses.replace(arm, load_g=dataclasses.replace(arm.load_g, value=1000.0, low=1000.0))
    small = dataclasses.replace(MATERIALS, spin_arms=(weak,))
    job = {"chain_mm3": 7000.0, "lattice_mm3": 5000.0, "size_mm": (60.0, 60.0, 22.0), "sections": (WIRE,)}
    found = plan(CastSpec(head="spin"), small, **job)
    (finding,) = [f for f in found.findings if f.code == "spin-arm"]
    assert (finding.severity, finding.value) == ("stop", found.arm_load_g)
    flask = found.flask.flask
    steel = math.pi / 4 * ((flask.diameter_mm + 4) ** 2 - flask.diameter_mm**2) * flask.height_mm * 7.9 / 1000
    mould = flask_volume_cm3(flask) * found.investment.mould_density_g_cm3.value
    assert found.arm_load_g == pytest.approx(steel + mould + found.metal_g)


def test_metal_that_goes_back_to_the_pot_is_not_spent():
    spec = CastSpec(metal_price_per_g=2.0, investment_price_per_kg=4.0, currency="shells")
    found = planned(spec)
    assert found.cost.chain_metal == pytest.approx(2.0 * found.chain_g)
    assert found.cost.kept_metal == pytest.approx(2.0 * (found.metal_g - found.chain_g))
    assert found.cost.investment == pytest.approx(4.0 * found.mix.powder_g / 1000)
    assert found.cost.total == pytest.approx(found.cost.chain_metal + found.cost.investment)
    assert found.to_dict()["cost"]["currency"] == "shells"
    assert planned().cost is None
    assert planned().to_dict()["cost"] is None
    powder = planned(CastSpec(investment_price_per_kg=4.0)).cost
    assert (powder.chain_metal, powder.kept_metal) == (None, None)
    assert powder.total == powder.investment > 0


def test_what_is_wrong_with_the_makers_own_materials_is_a_finding():
    told = dataclasses.replace(MATERIALS, warnings=("flasks.toml line 3: x",))
    found = plan(CastSpec(), told, chain_mm3=7e3, lattice_mm3=0.0, size_mm=(60.0, 60.0, 20.0), sections=(WIRE,))
    (finding,) = [f for f in found.findings if f.code == "materials"]
    assert (finding.severity, finding.text) == ("warn", "flasks.toml line 3: x")


# For the report


def test_to_dict_is_plain_data_with_the_keys_of_the_report():
    data = planned(CastSpec(alloy="gold-18-yellow")).to_dict()
    assert json.loads(json.dumps(data, allow_nan=False)) == data
    wanted = {"chain_g", "lattice_g", "button_g", "metal_g", "yield_percent", "flask", "investment_g", "water_g"}
    assert wanted | {"pour_c", "flask_c"} <= set(data)
    assert {"diameter_mm", "height_mm", "perforated"} <= set(data["flask"])
    assert data["fineness_per_mille"] == pytest.approx(750.0)


def test_the_same_job_gives_the_same_plan():
    assert planned().to_dict() == planned().to_dict()


def test_mould_and_metal_agree_with_the_plan():
    found = mould_and_metal(CastSpec(), MATERIALS, thinnest_mm=2.2)
    scale = planned().scale
    assert found.scale == scale.factor
    assert 100 * found.expansion == pytest.approx(scale.mould_expansion_percent)
    assert 100 * found.shrinkage == pytest.approx(scale.shrinkage_percent)


def test_a_plan_without_gypsum_in_the_table_says_so():
    bare = dataclasses.replace(MATERIALS, investments=MATERIALS.investments[1:])
    with pytest.raises(BadInput, match="no gypsum-bonded investment"):
        plan(CastSpec(), bare, chain_mm3=1.0, lattice_mm3=0.0, size_mm=(1.0, 1.0, 1.0), sections=(WIRE,))
