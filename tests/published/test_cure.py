"""The working curve of photopolymers (P. F. Jacobs, SME 1992) against its published worked figures."""

import math
from collections.abc import Callable

import pytest

from addon.rules.base.errors import BadInput
from addon.rules.inspect.cure import cure_depth_mm, exposure_for, over_cure_mm

RESIN = {"penetration_mm": 0.175, "critical": 8.0}


def test_the_worked_figure_of_cured_depth_and_over_cure() -> None:
    """D_p 0.175 mm, E_c 8, E 30 mJ/cm2: 0.231 mm, so 0.181 mm beyond a 0.05 mm layer.

    A published worked example: "Resin cure depth formula", superglobalcalculator.com.
    """
    assert cure_depth_mm(30.0, **RESIN) == pytest.approx(0.231, abs=5e-4)
    assert over_cure_mm(30.0, 0.05, **RESIN) == pytest.approx(0.181, abs=5e-4)


@pytest.mark.parametrize("exposure", [10.0, 30.0, 400.0])
def test_twice_the_exposure_cures_deeper_by_d_ln_2(exposure: float) -> None:
    """D ln 2 follows from the curve; the page of the worked example prints a factor 0.3 ln 2, which is a slip."""
    deeper = cure_depth_mm(2.0 * exposure, **RESIN) - cure_depth_mm(exposure, **RESIN)
    assert deeper == pytest.approx(0.1213, abs=5e-5)


def test_nothing_sets_at_the_critical_exposure_and_the_curve_turns_back() -> None:
    assert cure_depth_mm(8.0, **RESIN) == 0.0
    assert cure_depth_mm(0.0, **RESIN) == 0.0
    assert exposure_for(cure_depth_mm(30.0, **RESIN), **RESIN) == pytest.approx(30.0)


def test_exposures_through_many_layers_add_up_to_the_sum_of_their_weakened_light() -> None:
    """By Beer and Lambert, summed one by one; at layers far thicker than D the first alone counts."""
    by_hand = sum(30.0 * math.exp(-n * 0.05 / 0.175) for n in range(7))
    assert over_cure_mm(30.0, 0.05, **RESIN, layers=7) == pytest.approx(cure_depth_mm(by_hand, **RESIN) - 0.05)
    growing = [over_cure_mm(30.0, 0.05, **RESIN, layers=n) for n in (1, 2, 5, 20, 40)]
    assert growing == sorted(growing)
    assert growing[-1] - growing[-2] < 0.001
    # The whole of a geometric series, E / (1 - q).
    whole = cure_depth_mm(30.0 / (1.0 - math.exp(-0.05 / 0.175)), **RESIN) - 0.05
    assert over_cure_mm(30.0, 0.05, **RESIN, layers=math.inf) == pytest.approx(whole)
    assert growing[-1] < whole < growing[-1] + 0.001
    thick = [over_cure_mm(3e5, 1.5, **RESIN, layers=n) for n in (1, 40)]
    assert thick[1] == pytest.approx(thick[0], abs=1e-4)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: cure_depth_mm(-1.0, **RESIN), "at least 0"),
        (lambda: cure_depth_mm(1.0, penetration_mm=0.0, critical=8.0), "penetration depth"),
        (lambda: cure_depth_mm(1.0, penetration_mm=0.1, critical=math.nan), "critical exposure"),
        (lambda: cure_depth_mm(1.0, penetration_mm=175.0, critical=8.0), "175 mm does not work; .* up to 10 mm"),
        (lambda: over_cure_mm(30.0, 0.0, **RESIN), "layer of 0 mm does not work; give a number above 0"),
        (lambda: over_cure_mm(-2.0, 0.05, **RESIN, layers=9), "exposure of -2 does not work"),
        (lambda: over_cure_mm(30.0, math.nan, **RESIN), "layer of nan mm"),
        (lambda: over_cure_mm(30.0, 0.05, **RESIN, layers=0), "0 layers do not work; give 1 or more"),
        (lambda: over_cure_mm(30.0, 0.05, **RESIN, layers=math.nan), "1 or more"),
        (lambda: exposure_for(math.inf, **RESIN), "from 0 to 10 mm"),
        (lambda: exposure_for(5.0, penetration_mm=0.001, critical=8.0), "no light cures 5 mm deep"),
    ],
)
def test_figures_that_do_not_work_are_refused(call: Callable[[], float], words: str) -> None:
    with pytest.raises(BadInput, match=words):
        call()
