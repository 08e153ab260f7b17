"""The check of lattices finds what is broken on purpose, and nothing in a sound one."""

from dataclasses import replace

import numpy as np
import pytest
import trimesh
from lattices import BENCH, chain, codes, link, planned, ring_way, straight_way, tube

from addon.rules.base.progress import finish
from addon.rules.feed.lattice import Lattice, LatticeSolid, Strut
from addon.rules.feed.rods import rod
from addon.rules.feed.soundness import check_lattice
from addon.rules.feed.steadiness import RESIN_MPA, Column, sliced
from addon.rules.solid.mesh import Body, Mesh, Pose

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


@pytest.mark.parametrize("gap", [0.0, 0.3, 0.55])
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
    thin = changed(sound, lower_gate("link 9"), lambda s: redrawn(s, 0.6))
    found = loud(check(thin, profile=replace(BENCH, feed_distance_mm=9.0)))
    assert {(f.code, f.bodies) for f in found if f.code == "modulus"} == {("modulus", ("link 9",))}
    # Where the upper gate alone feeds the link, a thin one under it only holds it up.
    assert "modulus" not in {f.code for f in loud(check(thin))}


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


def swaying(body, columns):
    return finish(sliced([body]))[0].sway_mm(columns, 20.0)


def hanging(offset):
    """A bar of 1 x 1 x 2 mm, its middle ``offset`` mm beside the gate under it."""
    bar = trimesh.creation.box((1.0, 1.0, 2.0))
    body = Body(
        "bar", Mesh(np.array(bar.vertices), np.array(bar.faces)), Pose(np.eye(3), np.array([offset, 0.0, 10.0]))
    )
    return swaying(body, [Column(np.array([0.0, 0, 9.0]), 4.0, 2.0, 0.5, 1.0)])


def test_sway_follows_the_beam_formula():
    """Cantilever under a moment: slope M L / (E I), I = pi d^4 / 64 (Euler-Bernoulli, any handbook)."""
    offset = 5.0
    force = 20.0e-3 * 1.0
    turn = force * offset * (4.0 / (RESIN_MPA * np.pi * 16 / 64) + 0.5 / (RESIN_MPA * np.pi / 64))
    shrink = force * (4.0 / (RESIN_MPA * np.pi) + 0.5 / (RESIN_MPA * np.pi / 4))
    # The corner furthest from the gate, in the middle of the last of 24 layers.
    arm = np.sqrt((offset + 0.5) ** 2 + 0.5**2 + (2.0 - 1 / 24) ** 2)
    assert hanging(offset) == pytest.approx(turn * arm + shrink, rel=1e-6)
    # Straight above its gate a bar still tips a little: a film never lets go evenly.
    assert 0.0 < hanging(0.0) < 0.03 * hanging(offset)


def test_two_columns_spread_along_the_link_hold_it_far_steadier_than_one():
    t = np.linspace(0, 2 * np.pi, 80, endpoint=False)
    ring = tube(np.stack((6 * np.cos(t), 0 * t, 16 + 6 * np.sin(t)), axis=1), 1.0)
    body = Body("ring", ring, Pose(np.eye(3), np.array([2.0, 0.0, 0.0])))

    def column(x):
        return Column(np.array([x, 0.0, 10.0]), 4.0, 2.4, 0.5, 1.0)

    assert swaying(body, [column(-3.0), column(3.0)]) < swaying(body, [column(0.0)]) / 20
    assert swaying(body, []) == float("inf")


def test_links_that_stand_alike_sway_alike_wherever_they_are_turned():
    """Cut once and turned with the link, or cut where it stands: the same figure."""
    mesh, wire = link("curb")
    lean = np.array([[1.0, 0, 0], [0, 0.6, -0.8], [0, 0.8, 0.6]])
    angle = np.radians(70)
    about = np.array([[np.cos(angle), -np.sin(angle), 0], [np.sin(angle), np.cos(angle), 0], [0, 0, 1.0]])
    top, shift = np.array([0.5, -3.0, -3.0]), np.array([40.0, -7.0, 3.0])
    here = Body("a", mesh, Pose(lean, np.zeros(3)), wire)
    there = Body("b", mesh, Pose(about @ lean, shift), wire)

    def columns(place):
        return [Column(place, 4.0, 2.4, 0.5, 1.1)]

    slices = finish(sliced([here, there]))
    one, other = slices[0].sway_mm(columns(top), 20.0), slices[1].sway_mm(columns(about @ top + shift), 20.0)
    alone = Body("c", Mesh(there.points(), mesh.triangles))
    assert other == pytest.approx(one, rel=1e-9)
    assert swaying(alone, columns(about @ top + shift)) == pytest.approx(one, rel=1e-6)
