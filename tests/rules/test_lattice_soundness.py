"""The check of lattices finds what is broken on purpose, and nothing in a sound one."""

from dataclasses import replace

import numpy as np
import pytest
from lattices import BENCH, chain, codes, planned, ring_way, straight_way

from addon.rules.base.progress import finish
from addon.rules.feed.lattice import Lattice, LatticeSolid, Strut
from addon.rules.feed.rods import rod
from addon.rules.feed.soundness import check_lattice
from addon.rules.feed.steadiness import RESIN_MPA, Column, sway_mm

WAY = ring_way(14, 6.8)
BODIES = chain(WAY)
UP = np.array([0.0, 0.0, 1.0])


@pytest.fixture(scope="module")
def sound():
    return planned(BODIES, WAY, upper_ring=True)


def check(lattice, bodies=BODIES, profile=BENCH, **options):
    return finish(check_lattice(bodies, lattice, profile, **{"wire_mm": 2.2, **options}))


def loud(findings):
    return [f for f in findings if f.severity != "note"]


def without(lattice, drop):
    return replace(lattice, solids=tuple(s for s in lattice.solids if not drop(s)))


def changed(lattice, pick, change):
    """Change the first solid that ``pick`` finds."""
    at = next(k for k, s in enumerate(lattice.solids) if pick(s))
    return replace(lattice, solids=(*lattice.solids[:at], change(lattice.solids[at]), *lattice.solids[at + 1 :]))


def redrawn(solid: LatticeSolid, factor: float) -> LatticeSolid:
    """Draw a straight-pieced solid anew, ``factor`` times as thick."""
    struts = tuple(replace(s, d_start_mm=s.d_start_mm * factor, d_end_mm=s.d_end_mm * factor) for s in solid.struts)
    line = np.array([s.start for s in struts] + [struts[-1].end])
    d = np.array([s.d_start_mm for s in struts] + [struts[-1].d_end_mm])
    return replace(solid, mesh=rod(line, d), struts=struts, modulus_mm=solid.modulus_mm * factor)


def lower_gate(name):
    return lambda s: s.feeds == name and not s.above


def test_a_sound_lattice_is_found_sound(sound):
    assert loud(check(sound)) == []


def test_a_body_without_a_gate_is_named(sound):
    found = check(without(sound, lambda s: s.feeds == "link 5"))
    assert [(f.code, f.bodies) for f in loud(found)] == [("no-gate", ("link 5",))]


def test_one_gate_less_is_still_fed_by_the_other_but_no_longer_held(sound):
    found = check(without(sound, lower_gate("link 5")), profile=replace(BENCH, feed_distance_mm=10.0))
    assert [(f.code, f.bodies) for f in loud(found)] == [("feed-far", ("link 5",))]


def test_a_strut_that_touches_a_stranger_is_found_with_both_names_and_where(sound):
    link = BODIES[4]
    side = link.pose.rotation[:, 0]
    moved = changed(sound, lower_gate("link 5"), lambda s: s.moved(3.4 * side + [0, 0, 3.0]))
    near = [f for f in check(moved) if f.code == "strut-near" and f.severity == "stop"]
    assert near
    assert all("link 5" in f.bodies for f in near)
    assert any(len(f.bodies) == 2 for f in near)
    assert all(f.value < BENCH.strut_web_mm == f.limit for f in near)
    assert np.linalg.norm(np.subtract(near[0].at, link.pose.origin)) < 15


@pytest.mark.parametrize("gap", [0.0, 0.3, 0.59])
def test_a_strut_nearer_than_the_floor_reads_its_true_distance(sound, gap):
    """A round rod beside a post, both upright and straight, their faces ``gap`` apart."""
    post = next(s for s in sound.solids if s.role == "post")
    low, high = (np.array(p) for p in (post.struts[1].start, post.struts[1].end))
    out = (low + high)[:2] / np.linalg.norm((low + high)[:2])
    r = post.struts[1].d_start_mm / 2
    foot, head = low + 2 * UP, high - 2 * UP
    aside = np.append((2 * r + gap) * out, 0.0)
    strut = Strut("brace", tuple(foot + aside), tuple(head + aside), 2 * r, 2 * r)
    beside = LatticeSolid("brace", rod(np.array([strut.start, strut.end]), np.full(2, 2 * r)), (strut,), r / 2)
    found = [f for f in check(replace(sound, solids=(*sound.solids, beside))) if f.code == "strut-near"]
    stops = [f for f in found if f.severity == "stop"]
    assert len(stops) == 1
    # Facets lie up to 0.02 mm inside each of the two rounds.
    assert gap - 1e-9 <= stops[0].value <= gap + 0.045


def test_a_strut_without_hold_is_found(sound):
    """Without the base ring only gates that a spoke or a post happens to hold still reach the hub."""
    held = {s.struts[0].start for s in sound.solids if s.role == "post"}
    held |= {tuple(np.round(s.struts[-1].end[:2], 3)) for s in sound.solids if s.role == "spoke"}
    free = {
        s.feeds
        for s in sound.solids
        if s.feeds and not s.above and not {s.struts[0].start, tuple(np.round(s.struts[0].start[:2], 3))} & held
    }
    found = loud(check(without(sound, lambda s: s.role == "ring")))
    loose = [f for f in found if "not joined" in f.text]
    assert {name for f in loose for name in f.bodies} >= free
    assert len(free) >= 3
    assert all(f.code == "no-gate" and f.severity == "stop" for f in loose)


def test_an_upper_ring_that_hangs_on_links_only_is_found(sound):
    found = loud(check(without(sound, lambda s: s.role == "post")))
    assert any(f.code == "solid" and f.severity == "stop" and "upper" in f.text for f in found)
    assert any(f.code == "bridge" for f in found)


def test_a_missing_post_is_a_bridge_too_long(sound):
    post = next(s for s in sound.solids if s.role == "post")
    found = loud(check(without(sound, lambda s: s is post)))
    assert [f.code for f in found] == ["bridge"]
    assert found[0].value > BENCH.bridge_mm == found[0].limit
    assert np.linalg.norm(np.subtract(found[0].at, post.struts[-1].end)) < 12


@pytest.mark.parametrize(("depth", "code"), [(0.5, "no-gate"), (0.1, "solid")])
def test_a_tip_that_is_not_sunk_deep_enough_is_found(sound, depth, code):
    """The tips are sunk about 0.29 mm: drawn back by more they touch nothing, by a little less too little."""
    gate = next(s for s in sound.solids if lower_gate("link 3")(s))
    tip = gate.struts[-1]
    way = np.subtract(tip.end, tip.start)
    way /= np.linalg.norm(way)
    body = BODIES[2]
    line = body.pose.apply(body.wire.centreline)
    sunk = 1.1 - np.linalg.norm(line - tip.end, axis=1).min()
    back = (sunk - depth if code == "solid" else sunk + depth) * way
    short = replace(tip, end=tuple(float(x) for x in np.subtract(tip.end, back)))
    found = loud(check(changed(sound, lambda s: s is gate, lambda s: replace(s, struts=(*s.struts[:-1], short)))))
    assert [(f.code, f.severity, f.bodies) for f in found] == [(code, "stop", ("link 3",))]


def test_a_tip_that_shows_at_the_side_of_its_wire_is_found(sound):
    body = BODIES[2]
    aside = 0.6 * body.pose.rotation[:, 2] + [0, 0, 0.35]
    found = loud(check(changed(sound, lower_gate("link 3"), lambda s: s.moved(aside))))
    assert ("solid", ("link 3",)) in [(f.code, f.bodies) for f in found]


def test_thin_spokes_posts_and_rings_break_the_order_of_freezing(sound):
    def thin(role, factor):
        return replace(
            sound,
            solids=tuple(replace(s, modulus_mm=s.modulus_mm * factor) if s.role == role else s for s in sound.solids),
        )

    for role, words in (("spoke", "the spoke"), ("post", "the post"), ("ring", "feed.ring_mm"), ("trunk", "the hub")):
        found = loud(check(thin(role, 0.7)))
        assert {f.code for f in found} == {"modulus"}
        assert {f.severity for f in found} == {"warn"}
        assert any(words in f.text for f in found)
        assert all(f.value < f.limit for f in found)


def test_a_gate_thinner_than_the_quick_rule_is_named(sound):
    found = loud(check(changed(sound, lower_gate("link 9"), lambda s: redrawn(s, 0.6))))
    assert {(f.code, f.bodies) for f in found if f.code == "modulus"} == {("modulus", ("link 9",))}


def test_a_lattice_of_nothing_leaves_every_body_without_a_gate():
    found = check(Lattice((), 0.0))
    assert codes(found) == ["no-gate"] * len(BODIES)


def test_the_check_judges_a_straight_chain_by_the_same_rules():
    way = straight_way(6, 6.8)
    bodies = chain(way)
    lattice = planned(bodies, way)
    assert loud(check(lattice, bodies)) == []
    bridges = [s for s in lattice.solids if s.role == "spoke"]
    assert len(bridges) == 2
    cut = without(lattice, lambda s: s.role == "spoke")
    assert {f.code for f in loud(check(cut, bodies))} == {"no-gate", "solid"}


def hanging(offset):
    """A short thick bar of wire, its middle ``offset`` mm beside the gate under it."""
    t = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    line = np.stack((offset + 0.4 * np.cos(t), 0.4 * np.sin(t), 10 + 0 * t), axis=1)
    return sway_mm(line, 0.5, [Column(np.array([0.0, 0, 9.0]), 4.0, 2.0, 0.5, 1.0)], 20.0)


def test_sway_follows_the_beam_formula():
    """Cantilever under a moment: slope M L / (E I), I = pi d^4 / 64 (Euler-Bernoulli, any handbook)."""
    offset = 5.0
    force = 20.0e-3 * (2 * np.pi * 0.4 * np.pi * 0.25) / 1.0
    turn = force * offset * (4.0 / (RESIN_MPA * np.pi * 16 / 64) + 0.5 / (RESIN_MPA * np.pi / 64))
    arm = np.hypot(offset + 0.4, 1.0)
    assert hanging(offset) == pytest.approx(turn * arm, rel=0.02)
    assert hanging(0.0) < 0.01 * hanging(offset)


def test_two_columns_spread_along_the_link_hold_it_far_steadier_than_one():
    t = np.linspace(0, 2 * np.pi, 80, endpoint=False)
    line = np.stack((6 * np.cos(t), 0 * t, 16 + 6 * np.sin(t)), axis=1)

    def column(x):
        return Column(np.array([x, 0.0, 10.0]), 4.0, 2.4, 0.5, 1.0)

    one = sway_mm(line + np.array([2.0, 0, 0]), 1.0, [column(0.0)], 20.0)
    two = sway_mm(line + np.array([2.0, 0, 0]), 1.0, [column(-3.0), column(3.0)], 20.0)
    assert two < one / 20
    assert sway_mm(line, 1.0, [], 20.0) == float("inf")
