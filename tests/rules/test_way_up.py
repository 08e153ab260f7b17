"""The ways to stand a job, against closed forms of blocks, a cone and a pair of plates."""

from dataclasses import replace

import numpy as np
import pytest
from knots import blocks
from mesh_shapes import box, torus, turned_section

from addon.rules.base.errors import BadInput
from addon.rules.base.profile import load_profile
from addon.rules.base.progress import finish
from addon.rules.inspect.inspection import Pair, inspect
from addon.rules.inspect.ladder import printed_gap_mm
from addon.rules.inspect.way_up import Way, best_way_up, ways
from addon.rules.solid.mesh import Body, Pose

BENCH = load_profile("bench")
STANDS, DOWN = (next(way for way in ways() if way.name == name) for name in ("as it stands", "upside down"))
ON_SIDE = next(way for way in ways() if way.name == "tipped 90 deg to the front")


def found(bodies, *tried, profile=BENCH, **told):
    return {one.way.name: one for one in finish(best_way_up(bodies, profile, tried=tried, **told))}


def table():
    """A table of 1 mm cells: a top of 5 x 5 on four legs of 3."""
    filled = np.zeros((5, 5, 4), dtype=bool)
    filled[:, :, 3] = True
    filled[::4, ::4, :] = True
    return Body("table", blocks(filled))


def test_the_ways_are_rotations_that_differ_and_lean_as_they_are_named() -> None:
    found_ways = ways()
    assert found_ways[0].name == "as it stands"
    assert len(found_ways) <= 24
    assert len({way.name for way in found_ways}) == len(found_ways)
    turns = np.array([way.rotation for way in found_ways])
    assert np.allclose(turns @ turns.transpose(0, 2, 1), np.eye(3))
    assert np.allclose(np.linalg.det(turns), 1.0)
    # Two rotations are one when the trace of the turn between them is 3.
    between = np.einsum("aij,bij->ab", turns, turns)
    assert (between[~np.eye(len(turns), dtype=bool)] < 3.0 - 1e-3).all()
    for way in found_ways:
        first, second = way.name.split()[:2]
        lean = float(second) if first == "tipped" else {"as": 0.0, "upside": 180.0}[first]
        assert np.degrees(np.arccos(np.clip(way.rotation[2, 2], -1.0, 1.0))) == pytest.approx(lean)
        # Where the top goes, in a view from the front (-y).
        aside = {"front": (0, -1), "back": (0, 1), "right": (1, 0), "left": (-1, 0)}.get(way.name.split()[-1], (0, 0))
        assert way.rotation[:2, 2] == pytest.approx(np.sin(np.radians(lean)) * np.array(aside), abs=1e-9)


def test_a_table_stands_best_on_its_top() -> None:
    told = found([table()], STANDS, DOWN, ON_SIDE)
    assert next(iter(told)) == "upside down"
    # On its legs the top hangs over 25 - 4 mm2; on its top nothing hangs. On its side two legs hang, 3 mm2 each.
    assert [told[way.name].underside_mm2 for way in (STANDS, DOWN, ON_SIDE)] == pytest.approx([21.0, 0.0, 6.0])
    assert [told[way.name].height_mm for way in (STANDS, DOWN, ON_SIDE)] == pytest.approx([4.0, 4.0, 5.0])
    doubled = found([table()], STANDS, scale=2.0)["as it stands"]
    assert doubled.underside_mm2 == pytest.approx(4.0 * 21.0)
    assert told["upside down"].size_mm == pytest.approx((5.0, 5.0))
    assert told["upside down"].largest_mm2 == pytest.approx(25.0)
    assert told["upside down"].layers == round(4.0 / BENCH.layer_mm)
    assert told["tipped 90 deg to the front"].size_mm == pytest.approx((5.0, 4.0))


def test_islands_come_before_undersides() -> None:
    # A gallows: foot, post, arm, and a peg that hangs from the arm. As it stands the peg begins in mid-air; upside down
    # nothing does, though the foot then hangs over more than the arm and the peg did.
    filled = np.zeros((9, 1, 5), dtype=bool)
    filled[:6, 0, 0] = filled[5, 0, :] = filled[5:, 0, 4] = filled[8, 0, 2:] = True
    told = found([Body("gallows", blocks(filled))], STANDS, DOWN)
    assert [(name, one.islands) for name, one in told.items()] == [("upside down", 0), ("as it stands", 1)]
    assert [one.underside_mm2 for one in told.values()] == pytest.approx([5.0, 3.0])


def test_a_cone_stands_best_on_its_base() -> None:
    steps = 64
    # Radius 3, height 2: the flank is 33.7 degrees from level. The tip is 0.01 mm wide and the hole through it less.
    cone = turned_section(np.array([(0.001, 0.0), (3.0, 0.0), (0.01, 2.0), (0.001, 2.0)]), steps)
    told = found([Body("cone", cone)], STANDS, DOWN, profile=replace(BENCH, overhang_deg=45.0))
    assert next(iter(told)) == "as it stands"
    assert told["as it stands"].underside_mm2 == 0.0
    # A pyramid frustum of 64 sides; its slant goes from the middle of an edge below to the middle of one above.
    edge = 2.0 * np.sin(np.pi / steps)
    slant = np.hypot(2.0, (3.0 - 0.01) * np.cos(np.pi / steps))
    flank = steps * edge * (3.0 + 0.01) / 2.0 * slant
    assert told["upside down"].underside_mm2 == pytest.approx(flank, rel=1e-6)
    steeper = found([Body("cone", cone)], DOWN, profile=replace(BENCH, overhang_deg=33.0))
    assert steeper["upside down"].underside_mm2 == 0.0


def test_a_bar_lies_rather_than_stands() -> None:
    bar = Body("bar", box((1.0, 20.0, 1.0)))
    told = found([bar], STANDS, ON_SIDE, scale=2.0)
    assert list(told) == ["as it stands", "tipped 90 deg to the front"]
    assert [one.height_mm for one in told.values()] == pytest.approx([2.0, 40.0])
    assert [one.largest_mm2 for one in told.values()] == pytest.approx([80.0, 4.0])


def test_a_job_is_ranked_alike_wherever_it_stands() -> None:
    away = Body("table", table().mesh, Pose(np.eye(3), np.array([100.0, -7.0, 30.0])))
    here, there = (found([body], STANDS, DOWN) for body in (table(), away))
    assert list(here) == list(there)
    for name in here:
        assert here[name].underside_mm2 == pytest.approx(there[name].underside_mm2)
        assert here[name].height_mm == pytest.approx(there[name].height_mm)
        assert here[name].islands == there[name].islands


def linked_rings(apart_mm):
    """Two rings through each other whose nearest places lie one beside the other, across x."""
    ring = torus(5.0, 1.0)
    upright = Pose(np.array([[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]]), np.array([8.0 - apart_mm, 0.0, 0.0]))
    return [Body("a", ring), Body("b", ring, upright)]


def test_a_way_in_which_a_joint_closes_is_refused() -> None:
    profile = replace(BENCH, bleed_mm=0.0, over_cure_mm=0.3, gap_floor_mm=0.2, gap_warn_mm=0.2)
    rings = linked_rings(0.4)
    seen = finish(inspect(rings, profile))
    (pair,) = seen.pairs
    assert pair.linked
    assert pair.gap_mm == pytest.approx(0.4, abs=0.02)
    upright = next(way for way in ways() if way.name == "tipped 90 deg to the right")
    told = found(rings, STANDS, upright, profile=profile, pairs=seen.pairs, fused=seen.met())
    # A level gap loses the over-cure, an upright one none of it; facets turn the gap a little from level, so to 0.03.
    assert told["as it stands"].gap_mm == pytest.approx(pair.gap_mm, abs=0.03)
    assert not told["as it stands"].refusal
    assert told[upright.name].gap_mm == pytest.approx(pair.gap_mm - 0.3, abs=0.03)
    assert "0.1" in told[upright.name].refusal
    # Two rings of 12 mm across whose middles are 8 - 0.4 mm apart.
    assert told[upright.name].height_mm == pytest.approx(12.0 + 7.6)
    assert list(told)[-1] == upright.name
    closed = found(rings, upright, profile=replace(profile, over_cure_mm=0.6), pairs=seen.pairs)
    assert closed[upright.name].refusal == "a gap closes"


def test_every_gap_is_held_to_what_it_prints_as_designed() -> None:
    profile = replace(BENCH, bleed_mm=0.0, over_cure_mm=0.1, gap_floor_mm=0.2, gap_warn_mm=0.2)
    here = (0.0, 0.0, 0.0)
    # The first is too small from the start whichever way; the second is spoilt by standing upright, yet stays wider.
    small = Pair("a", "b", 0.05, here, (0.0, 0.05, 0.0), True)
    fine = Pair("b", "c", 0.25, here, (0.25, 0.0, 0.0), True)
    upright = next(way for way in ways() if way.name == "tipped 90 deg to the right")
    told = found([table()], STANDS, upright, profile=profile, pairs=(small, fine))
    assert not told["as it stands"].refusal
    assert told[upright.name].gap_mm == pytest.approx(0.05)
    spoilt = printed_gap_mm(0.25, (0.0, 0.0, 1.0), over_cure_mm=0.1)
    assert told[upright.name].refusal == f"gap of {spoilt:.2f} mm"
    assert not found([table()], upright, profile=profile, pairs=(small,))[upright.name].refusal


def test_what_does_not_fit_the_printer_comes_last() -> None:
    bar = Body("bar", box((1.0, 20.0, 1.0)))
    low = replace(BENCH, build_x_mm=30.0, build_y_mm=5.0, build_z_mm=10.0)
    told = found([bar], ON_SIDE, STANDS, profile=low)
    assert [one.refusal for one in told.values()] == ["", "too large"]
    assert next(iter(told)) == "as it stands"
    # 20 mm do not lie along a room of 15 x 15, but do from corner to corner: 15 * sqrt(2) = 21.2 mm.
    square = replace(BENCH, build_x_mm=15.0, build_y_mm=15.0, build_z_mm=10.0)
    assert not found([bar], STANDS, profile=square)["as it stands"].refusal


@pytest.mark.parametrize(
    ("bodies", "told", "words"),
    [
        ([], {}, "there is no body"),
        ([table()], {"tried": ()}, "there is no way"),
        ([table()], {"scale": 0.0}, "a scale of 0"),
        ([table()], {"scale": float("nan")}, "a scale of nan"),
        ([table()], {"tried": (Way("stretched", 2.0 * np.eye(3)),)}, "'stretched' is no rotation"),
        ([table()], {"tried": (Way("mirrored", np.diag([1.0, 1.0, -1.0])),)}, "'mirrored' is no rotation"),
    ],
)
def test_bad_input_is_told(bodies, told, words) -> None:
    with pytest.raises(BadInput, match=words):
        finish(best_way_up(bodies, BENCH, **told))
