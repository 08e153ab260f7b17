"""Weaves of rings against published aspect ratios (inside diameter over wire) and against circle packing.

Sources. Aspect ratios of chain work as weavers publish them: a tight single spiral, each ring through the two before
it, 2.8 to 3.2, links touching; every weave has a least aspect ratio and most have no greatest one (facts of the trade
as collected for this project, from makers' tables). Packing: the smallest circle round N equal circles, in their
diameters: 2, 1 + 2/sqrt 3, 1 + sqrt 2, 1 + sqrt(2 (1 + 1/sqrt 5)), 3 for N = 2 to 6 (Graham, Lubachevsky, Nurmela,
Ostergard, Discrete Mathematics 181 (1998) 139, from memory). For wires that keep a gap g from each other and from the
ring they pass, the circles have diameter d + g, and the room is the inside diameter - g.
"""

import numpy as np
import pytest

from addon.rules.base.errors import BadInput
from addon.rules.chain import rope, trace, weave
from addon.rules.chain.spec import ChainSpec
from tests.straight_rows import widest_gap

TIGHT_SPIRAL = (2.8, 3.2)
PACKED = {2: 2.0, 3: 1 + 2 / np.sqrt(3), 4: 1 + np.sqrt(2), 5: 1 + np.sqrt(2 * (1 + 1 / np.sqrt(5))), 6: 3.0}
# Wires of the neighbours that share one opening: of two links before and two behind, of two pairs, of two links.
SHARING = {"rope": (rope, 4), "weave": (weave, 4), "trace": (trace, 2)}


def drawn(family, aspect, wire=1.0):
    size = (aspect + 2) * wire
    return SHARING[family][0].pattern(ChainSpec(family, wire, size, size, 1e-3))


def gap_of(family, aspect, wire=1.0):
    """The widest smallest gap of rings of an aspect ratio, over pitches: as smooth tubes, no fit of the project's."""
    middle = (aspect + 1) * wire
    low, high = {"rope": (0.31, 0.35), "weave": (0.6, 0.75), "trace": (0.5, 0.95)}[family]
    bodies = {"rope": 6, "weave": 6, "trace": 4}[family]
    best, pitch = widest_gap(drawn(family, aspect, wire), bodies, np.linspace(low, high, 41) * middle)
    step = (high - low) / 40 * middle
    fine, _ = widest_gap(drawn(family, aspect, wire), bodies, pitch + np.linspace(-step, step, 41))
    return max(best, fine)


def least_aspect(family):
    """The aspect ratio at which rings just touch: gaps fall evenly with it, wherever the rings stand."""
    wide, narrow = gap_of(family, 4.0), gap_of(family, 3.0)
    return 3.0 - narrow / (wide - narrow)


def test_a_rope_just_touches_at_the_tight_end_of_the_published_spiral():
    least = least_aspect("rope")
    assert 0.98 * TIGHT_SPIRAL[0] < least < TIGHT_SPIRAL[0]
    for aspect in np.linspace(*TIGHT_SPIRAL, 3):
        # Free, but by so little that the weaver's links touch: under an eighth of the wire.
        assert 0 < gap_of("rope", aspect) < 0.125
    # Printed in place the same spiral wants rings larger by the gap: 0.4 mm with a wire of 1.5.
    assert gap_of("rope", 3.7, 1.5) < 0.4 < gap_of("rope", 3.8, 1.5)
    assert rope.widest_gap_mm(1.5 * 5.77, 1.5 * 5.77, 1.5) == pytest.approx(0.4, abs=0.005)


@pytest.mark.parametrize("family", list(SHARING))
def test_no_weave_beats_the_packing_of_its_wires(family):
    wires = SHARING[family][1]
    least = least_aspect(family)
    assert least > PACKED[wires] - 1e-3
    for aspect in (3.0, 4.0, 6.0):
        gap = gap_of(family, aspect)
        assert aspect - gap > PACKED[wires] * (1 + gap) - 1e-3


def test_the_weave_reaches_the_packing_of_four_wires():
    assert least_aspect("weave") == pytest.approx(PACKED[4], abs=2e-3)
    for aspect in (3.0, 5.0):
        gap = gap_of("weave", aspect)
        assert aspect - gap == pytest.approx(PACKED[4] * (1 + gap), abs=2e-3)


@pytest.mark.parametrize("family", ["rope", "weave"])
def test_rings_under_the_least_aspect_ratio_are_refused_and_there_is_no_greatest(family):
    least = least_aspect(family)
    with pytest.raises(BadInput, match="too thick"):
        drawn(family, least - 0.01)
    gaps = [gap_of(family, aspect) for aspect in (least + 0.01, 4.0, 8.0, 16.0)]
    assert gaps[0] > 0
    assert np.all(np.diff(gaps) > 0)
