"""Weights and mixes: laws that hold whatever the figures."""

import math

import pytest

from addon.rules.base.errors import BadInput
from addon.rules.cast.materials import load_materials
from addon.rules.cast.mixing import mix_for, powder_density_g_cm3, slurry_density_g_cm3
from addon.rules.cast.scale import export_scale, mould_expansion_percent, net_scale
from addon.rules.cast.weights import fineness, mass_g, mass_mix_density_g_cm3, metal_for_pattern_g

MATERIALS = load_materials()


def test_mass_grows_with_the_cube_of_size():
    for factor in (0.5, 1.013, 3.0):
        assert mass_g(7000.0 * factor**3, 8.77) == pytest.approx(mass_g(7000.0, 8.77) * factor**3, rel=1e-12)
    assert mass_g(1000.0, 10.36) == pytest.approx(10.36)


def test_metal_for_a_pattern_goes_by_volume():
    """A pattern twice as dense at the same weight is half the volume, so half the metal."""
    assert metal_for_pattern_g(10.0, 8.77, 1.0) == pytest.approx(2.0 * metal_for_pattern_g(10.0, 8.77, 2.0))
    assert metal_for_pattern_g(mass_g(500.0, 1.15), 8.77, 1.15) == pytest.approx(mass_g(500.0, 8.77), rel=1e-12)


@pytest.mark.parametrize("mix", [{"Ag": 92.5, "Cu": 7.5}, {"Au": 58.5, "Ag": 4.0, "Cu": 31.2, "Zn": 6.3}])
def test_a_mix_lies_between_its_elements_and_takes_any_unit(mix):
    alone = [mass_mix_density_g_cm3({element: 1.0}) for element in mix]
    mixed = mass_mix_density_g_cm3(mix)
    assert min(alone) < mixed < max(alone)
    assert mass_mix_density_g_cm3({e: s / 100.0 for e, s in mix.items()}) == pytest.approx(mixed, rel=1e-12)
    assert sum(fineness(mix, e) for e in mix) == pytest.approx(1000.0)


def test_an_element_without_a_density_is_named():
    with pytest.raises(BadInput, match="Unobtainium"):
        mass_mix_density_g_cm3({"Ag": 50.0, "Unobtainium": 50.0})


@pytest.mark.parametrize("ratio", [0.2, 0.38, 0.40, 0.5, 1.0])
def test_a_mix_sums_to_its_slurry(ratio):
    density = slurry_density_g_cm3(ratio, 2.394)
    mix = mix_for(800.0, density, ratio)
    assert mix.powder_g + mix.water_g == pytest.approx(800.0 * density, rel=1e-12)
    assert mix.water_g / mix.powder_g == pytest.approx(ratio, rel=1e-12)
    assert mix.powder_g / 2.394 + mix.water_g / 1.0 == pytest.approx(800.0, rel=1e-12)
    assert powder_density_g_cm3(density, ratio) == pytest.approx(2.394, rel=1e-12)
    more = mix_for(800.0, density, ratio, spare_share=0.08)
    assert (more.slurry_cm3, more.spare_cm3) == (pytest.approx(864.0), pytest.approx(64.0))
    assert more.powder_g == pytest.approx(1.08 * mix.powder_g, rel=1e-12)


def test_more_water_makes_a_lighter_slurry_with_less_powder():
    density = [slurry_density_g_cm3(w, 2.394) for w in (0.3, 0.38, 0.40, 0.5)]
    powder = [mix_for(500.0, d, w).powder_g for d, w in zip(density, (0.3, 0.38, 0.40, 0.5), strict=True)]
    assert density == sorted(density, reverse=True)
    assert powder == sorted(powder, reverse=True)


def test_scale_undoes_shrinkage_and_mould():
    """Drawn size x scale x (1 + e) x (1 - s) is drawn size again: the gap ladder's cast step."""
    for s, e in ((1.6, 1.49), (0.0, 0.0), (2.08, 0.3)):
        assert 10.0 * net_scale(s, e) * (1 + e / 100) * (1 - s / 100) == pytest.approx(10.0, rel=1e-12)


@pytest.mark.parametrize("alloy", MATERIALS.alloys, ids=lambda a: a.name)
def test_scale_lies_in_its_own_spread(alloy):
    investment = MATERIALS.investment("phosphate-bonded" if alloy.gypsum == "no" else "gypsum-bonded")
    scale = export_scale(alloy, investment, 550.0)
    assert scale.low <= scale.factor <= scale.high
    assert 0.98 < scale.low < scale.high < 1.03
    assert f"{100 * scale.factor:.2f} %" in scale.words
    assert "process.scale" in scale.words


def test_a_hotter_mould_has_grown_more_until_it_levels_off():
    gypsum = MATERIALS.investment("gypsum-bonded")
    grown = [mould_expansion_percent(gypsum, t) for t in (20.0, 100.0, 200.0, 300.0, 550.0, 700.0)]
    assert grown == sorted(grown)
    assert grown[0] == pytest.approx(gypsum.setting_expansion_percent.value)
    assert grown[3] == grown[5]
    assert math.isclose(grown[5], 1.49)
