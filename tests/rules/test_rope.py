"""Rope: its rule against a search of its own, how its rings are linked, and what it says of sizes that do not work."""

import re
from dataclasses import replace

import numpy as np
import pytest

from addon.rules.base.errors import BadInput
from addon.rules.chain import rope
from addon.rules.chain.row import row_of
from addon.rules.chain.spec import ChainSpec
from tests.straight_rows import linked_pairs, pair_gaps, widest_gap

BODIES = 8
RING = ChainSpec("rope", 1.0, 8.0, 8.0, 0.3)
OVALS = [(8.0, 8.0), (6.6, 8.0), (5.0, 8.0), (9.0, 8.0), (10.0, 8.0), (11.6, 8.0), (14.0, 8.0), (20.0, 8.0)]


def pitches(spec, count=61):
    return np.linspace(0.29, 0.42, count) * (spec.link_length_mm - spec.wire_mm)


@pytest.mark.parametrize(("length", "width"), OVALS)
def test_each_ring_passes_through_the_two_before_it_and_no_other(length, width):
    spec = replace(RING, link_length_mm=length, link_width_mm=width)
    pattern = rope.pattern(spec)
    gap, pitch = widest_gap(pattern, 5, pitches(spec))
    assert gap > 0
    wanted = {(k, k + step) for k in range(BODIES) for step in (1, 2) if k + step < BODIES}
    assert linked_pairs(pattern, BODIES, pitch) == wanted
    row = row_of(pattern, BODIES, closed=False, face="out")
    assert {tuple(pair) for pair in row.linked} == wanted


@pytest.mark.parametrize(("length", "width"), OVALS)
def test_the_gap_foretold_is_the_one_that_is_had(length, width):
    spec = replace(RING, link_length_mm=length, link_width_mm=width)
    gap, _ = widest_gap(rope.pattern(spec), 6, pitches(spec, 81))
    assert gap == pytest.approx(rope.widest_gap_mm(length, width, 1.0), abs=0.015 * (width - 1.0))


def test_where_the_rule_changes_nothing_jumps():
    """At 1.4 times as long as wide both ways to stand give the same gap."""
    below, above = (rope.widest_gap_mm(1 + 1.4 * q * 7, 8, 1.0) for q in (0.9999, 1.0001))
    assert above == pytest.approx(below, abs=0.005)


def test_a_mirror_of_the_search_finds_nothing_much_better():
    """Random places of rings of diameter 1 round the rule, and far from it: pitch, turn, tilt, lean, offset.

    The distance of two circles is measured by closed form from the points of one to the other.
    """
    rng = np.random.default_rng(7)
    tilt = np.radians(rope.tilt_deg(RING))
    here = np.array([1 / 3, np.radians(120.0), tilt, 0.0, 0.0])
    near = here + rng.normal(size=(6000, 5)) * [0.02, 0.1, 0.06, 0.02, 0.4]
    far = np.column_stack(
        (
            rng.uniform(0.15, 0.5, 20000),
            rng.uniform(0.3, np.pi, 20000),
            rng.uniform(0.3, np.pi / 2, 20000),
            rng.uniform(-0.2, 0.2, 20000),
            rng.uniform(0, np.pi, 20000),
        )
    )
    ours = least_distance(here[None])[0]
    assert ours == pytest.approx(0.26606, abs=2e-4)
    assert ours == pytest.approx((rope.widest_gap_mm(8, 8, 1) + 1) / 7, abs=1e-3)
    assert least_distance(near).max() < 1.012 * ours
    assert least_distance(far).max() < 1.012 * ours


def least_distance(places, furthest=4, samples=64):
    """Smallest distance (m,) of the first of a rope of circles of diameter 1 to the next four; -1 if linked wrongly.

    ``places`` (m, 5): pitch, turn, tilt of the circle's own axis from the chain's, offset of its middle along y, and
    the direction of its axis about the chain's.
    """
    pitch, turn, tilt, offset, way = places.T
    normal = np.stack((np.cos(tilt), np.sin(tilt) * np.sin(way), -np.sin(tilt) * np.cos(way)), axis=-1)
    middle = np.stack((0 * offset, offset, 0 * offset), axis=-1)
    u = np.cross(normal, [1.0, 0.0, 0.0])
    u /= np.linalg.norm(u, axis=-1, keepdims=True)
    v = np.cross(normal, u)
    t = 2 * np.pi * np.arange(samples) / samples
    circle = middle[:, None] + 0.5 * (np.cos(t)[:, None] * u[:, None] + np.sin(t)[:, None] * v[:, None])
    least = np.full(len(places), np.inf)
    for step in range(1, furthest + 1):
        c, s = np.cos(step * turn)[:, None], np.sin(step * turn)[:, None]
        x, y, z = circle[..., 0] + step * pitch[:, None], circle[..., 1], circle[..., 2]
        other = np.stack((x, c * y - s * z, s * y + c * z), axis=-1) - middle[:, None]
        above = np.einsum("mni,mi->mn", other, normal)
        out = np.sqrt(np.maximum((other**2).sum(axis=2) - above**2, 0.0))
        least = np.minimum(least, np.hypot(above, out - 0.5).min(axis=1))
        # Every crossing of the first circle's plane inside it counts one.
        crossing = (above > 0) != (np.roll(above, -1, axis=1) > 0)
        through = (crossing & (out < 0.5)).sum(axis=1) % 2
        least = np.where(through == (step <= 2), least, -1.0)
    return least


def test_sizes_offered_in_place_of_too_thick_a_wire_give_the_gap():
    spec = replace(RING, wire_mm=2.4, gap_mm=0.35)
    with pytest.raises(BadInput, match=r"chain\.wire_mm: 2\.4 is too thick") as refused:
        rope.pattern(spec)
    wire, length, width = (float(x) for x in re.findall(r"(?:of|=) (\d+\.\d+)", str(refused.value)))
    for offered in (
        replace(spec, wire_mm=wire),
        replace(spec, link_length_mm=length, link_width_mm=width),
    ):
        gap, _ = widest_gap(rope.pattern(offered), 6, pitches(offered, 81))
        assert gap >= spec.gap_mm - 0.002


def test_options_of_other_families_are_refused():
    for option in ({"section": "D"}, {"stud_mm": 1.0}, {"facet_mm": 0.2}, {"strands": 2}, {"turn_deg": 60.0}):
        with pytest.raises(BadInput, match=f"chain.{next(iter(option))}: does not belong to a rope"):
            rope.pattern(replace(RING, **option))


def test_lengths_of_the_leaning_ring_are_true():
    ring = rope.pattern(RING).link
    t = np.linspace(0, 2 * np.pi, 4001)
    x, y, z = ring.curve(t)[0].T
    assert np.ptp(x) + 1.0 == pytest.approx(ring.length_mm, abs=1e-5)
    assert np.ptp(y) + 1.0 == pytest.approx(8.0, abs=1e-5)
    assert np.sqrt(x**2 + y**2 + z**2) == pytest.approx(3.5, abs=1e-12)


def test_a_gap_between_third_neighbours_equals_that_between_first_ones():
    """Rings a third of a turn on: the third is parallel to the first, as far as its tilt makes it, in closed form."""
    pattern = rope.pattern(RING)
    gap = pair_gaps(pattern, 4, 7 / 3, np.array([[0, 3]]))
    assert gap[0] == pytest.approx(7 * np.cos(np.radians(rope.tilt_deg(RING))) - 1, abs=1e-6)
