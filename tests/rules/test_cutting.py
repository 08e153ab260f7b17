"""The cutting list: what is cut, in what order, whether a tool gets there, and what is left to grind."""

import json
from dataclasses import replace
from math import cos, hypot, pi, sin, sqrt

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from lattices import chain, planned, ring_way, straight_way

from addon.rules.base.errors import BadInput
from addon.rules.base.progress import finish
from addon.rules.feed.cut_order import FIRST, LAST, SECOND, alternately
from addon.rules.feed.cut_tools import (
    BLADE_END_MM,
    BLADE_THICK_MM,
    BLADE_WIDE_MM,
    KEEP_MM,
    PAST_MM,
    Metal,
    best_way,
    disc,
    nipper,
    saw,
)
from addon.rules.feed.cuts import GATE, LIFT, POST, UPPER_GATE
from addon.rules.feed.cutting import cutting_list
from addon.rules.feed.lattice import Lattice, LatticeSolid, Strut
from addon.rules.feed.rods import rod
from addon.rules.files.report import lattice_part, report_text
from addon.rules.solid.mesh import Body, Mesh
from addon.verbs.words import cutting_lines

WAY = ring_way(14, 6.8)
BODIES = chain(WAY)
UP = np.array([0.0, 0.0, 1.0])


@pytest.fixture(scope="module")
def two_rings():
    return planned(BODIES, WAY, upper_ring=True)


@pytest.fixture(scope="module")
def listed(two_rings):
    return cut(two_rings)


def cut(lattice, bodies=BODIES, **options):
    return finish(cutting_list(bodies, lattice, **options))


def strut(role, start, end, d, d_end=None, feeds=None):
    return Strut(role, tuple(map(float, start)), tuple(map(float, end)), d, d if d_end is None else d_end, feeds)


def solid(*struts, above=False):
    line = np.array([s.start for s in struts] + [struts[-1].end])
    d = np.array([s.d_start_mm for s in struts] + [struts[-1].d_end_mm])
    return LatticeSolid(struts[0].role, rod(line, d), struts, d[0] / 4, above=above)


def plate(low_z, wide=20.0, thick=2.0, name="plate"):
    box = trimesh.creation.box((wide, wide, thick))
    box.apply_translation((0, 0, low_z + thick / 2))
    return Body(name, Mesh(np.array(box.vertices, dtype=float), np.array(box.faces, dtype=np.int64)))


def ground(z=0.0, d=4.0, long=30.0):
    return solid(strut("ring", (-long, 0, z), (long, 0, z), d))


def one_gate(length, d=1.0, more=()):
    """A gate ``length`` long between a straight runner (its top at z = 2) and the plate above it."""
    gate = solid(strut("gate", (0, 0, 0), (0, 0, 2 + length + 0.5), d, feeds="plate"))
    return (plate(2 + length),), Lattice((ground(), gate, *more), -2.0)


def reach(cut_, tool, when="after"):
    return next(r for r in getattr(cut_, when) if r.tool == tool)


@pytest.mark.parametrize("d", [0.9, 1.6])
def test_a_stub_has_the_area_of_its_circle(d):
    bodies, lattice = one_gate(5.0, d)
    made = cut(lattice, bodies, lattice_mm3=500.0)
    (only,) = made.cuts
    assert only.area_mm2 == pytest.approx(pi * d**2 / 4, rel=1e-9)
    assert made.stub_area_mm2 == only.area_mm2
    assert made.returns_mm3 == pytest.approx(500 - only.area_mm2 * (only.stub_mm + BLADE_THICK_MM), rel=1e-12)
    assert only.at == pytest.approx((0, 0, 7 - only.stub_mm))
    assert only.ahead == pytest.approx((0, 0, 1))
    assert only.stub_mm == pytest.approx(BLADE_THICK_MM / 2 + KEEP_MM + 0.05)


def test_a_cone_is_cut_at_its_own_thickness():
    """A cone from 3 mm to 1 mm over 5 mm: its diameter falls by 0.4 mm a mm, and ends at the plate."""
    shaft, cone = strut("brace", (0, 0, 0), (0, 0, 3), 3.0), strut("gate", (0, 0, 3), (0, 0, 8), 3.0, 1.0, "plate")
    made = cut(Lattice((ground(), solid(shaft, cone)), -2.0), (plate(8.0 - 1e-6),))
    assert made.cuts[0].diameter_mm == pytest.approx(1.0 + 0.4 * made.cuts[0].stub_mm, abs=1e-4)


@pytest.mark.parametrize(
    ("tool", "length", "fits"),
    [("saw", 2.9, False), ("saw", 3.02, True), ("disc", 3.9, False), ("disc", 4.02, True)],
)
def test_the_clear_length_between_ring_and_link_decides(tool, length, fits):
    bodies, lattice = one_gate(length)
    made = cut(lattice, bodies, cut=tool)
    assert made.cuts[0].clear_mm == pytest.approx(length, abs=1e-3)
    assert reach(made.cuts[0], tool).fits is fits
    assert [(f.code, f.severity, f.bodies) for f in made.findings] == (
        [] if fits else [("saw-room", "warn", ("plate",))]
    )
    if not fits:
        assert made.findings[0].value == pytest.approx(length, abs=1e-3)
        assert f"{made.findings[0].limit:g} mm" in made.findings[0].text
        assert "feed.gate_length_mm" in made.findings[0].text


def metal(*balls):
    """Balls (x, y, height, radius) of feed metal, which a tool may graze."""
    found = np.array(balls, dtype=float).reshape(-1, 4)
    zero = np.zeros(len(found))
    return Metal(found[:, :2], found[:, 2], found[:, 3], zero, zero.astype(np.int64))


@pytest.mark.parametrize("off", [-0.01, 0.01])
def test_two_posts_opposite_bar_a_disc_up_to_an_exact_distance(off):
    """Square to both, the disc's edge passes a post at hypot(x, D) - R, D the distance of its middle from the gate."""
    r, post, radius = 0.5, 1.0, 11.0
    middle = radius - PAST_MM - r
    x = sqrt((radius + post) ** 2 - middle**2) + off
    way = best_way(disc(22.0, 0.7), metal((x, 0, 0, post), (-x, 0, 0, post)), r)
    assert (way is not None) is (off > 0)
    if way is not None:
        assert way.clearance_mm == pytest.approx(hypot(x, middle) - radius - post, abs=1e-6)
        assert abs(cos(way.angle)) < 1e-6


@pytest.mark.parametrize("off", [-0.01, 0.01])
def test_a_ball_above_a_disc_is_passed_at_its_true_height(off):
    """It lies over the whole way in; only the height of its lowest point over the disc's face counts."""
    high = 0.35 + 2.0 + off
    balls = metal(*((3 * cos(a), 3 * sin(a), high, 2.0) for a in np.linspace(0, 2 * pi, 24)), (0, 0, high, 2.0))
    held = disc(22.0, 0.7)
    # The screw's head stands on that face: only the blade itself is looked at here.
    only = replace(held, ways=((held.ways[0][0],),))
    assert (best_way(only, balls, 0.5) is not None) is (off > 0)


@pytest.mark.parametrize("off", [-0.02, 0.02])
def test_a_blade_passes_between_two_rows_of_posts_with_nothing_to_spare(off):
    """Rows to both sides, as far off as gate and blade need: the blade's back on one side, the gate's edge on other."""
    r, post = 0.5, 0.8
    right, left = r + BLADE_WIDE_MM + post + off, r + post + off
    y = np.arange(-40.0, 40.5, 1.0)
    rows = [(right, b, 0, post) for b in y] + [(-left, b, 0, post) for b in y]
    assert (best_way(saw(), metal(*rows), r) is not None) is (off > 0)


def test_a_blade_needs_room_for_its_stroke_at_both_ends():
    def walled(at):
        a = np.arange(0, 2 * pi, 0.02)
        return metal(*((at * cos(b), at * sin(b), 0, 0.5) for b in a))

    assert best_way(saw(), walled(0.5 + BLADE_END_MM - 1.0), 0.5) is None
    assert best_way(saw(), walled(31.0), 0.5) is not None
    assert best_way(saw(), walled(29.0), 0.5) is None


def test_a_thick_gate_is_no_work_for_a_nipper():
    nothing = metal()
    assert best_way(nipper(), nothing, 1.2) is not None
    assert best_way(nipper(), nothing, 1.3) is None
    assert best_way(disc(10.0), nothing, 1.0) is not None
    assert best_way(disc(10.0), nothing, 1.3) is None


def clear_by_steps(tool, balls, r, angles):
    """A naive twin: carry every part in by small steps at each angle; tell at which it meets nothing."""
    turn = np.asarray(angles)[:, None, None]
    clear = np.zeros(len(turn), dtype=bool)
    for held in tool.ways:
        free = np.ones(len(turn), dtype=bool)
        for part in held:
            s = tool.middle_mm(r) + part.back_mm + np.arange(0, 36, 0.1)[:, None]
            x, y = balls.across.T
            flat = np.hypot(x - s * np.cos(turn), y - s * np.sin(turn)).min(axis=1) - part.radius_mm - part.wider * r
            beside = np.maximum(np.maximum(part.low_mm - balls.height, balls.height - part.high_mm), 0.0)
            free &= (np.hypot(np.maximum(flat, 0.0), beside) >= balls.radius + balls.keep - 1e-6).all(axis=1)
        clear |= free
    return clear


@pytest.mark.parametrize("tool", [disc(22.0, 0.7), nipper()], ids=["disc", "nipper"])
def test_a_way_is_found_where_small_steps_find_one_and_is_one(tool):
    random = np.random.default_rng(3)
    found = []
    for count in (3, 6, 12, 20, 60):
        angle, away = random.uniform(0, 2 * pi, count), random.uniform(4, 16, count)
        high, radius = random.uniform(-4, 4, count), random.uniform(0.5, 2, count)
        balls = metal(*zip(away * np.cos(angle), away * np.sin(angle), high, radius, strict=True))
        way = best_way(tool, balls, 0.6)
        found.append(way is not None)
        if way is None:
            assert not clear_by_steps(tool, balls, 0.6, np.radians(np.arange(0, 360, 3))).any()
        else:
            assert clear_by_steps(tool, balls, 0.6, [way.angle]).all()
    assert set(found) == {True, False}


def fence(distance, count=4):
    """Posts round a gate at the origin, from below the cut to above it, each standing on the ground by a lean foot."""
    posts = []
    for k in range(count):
        a = 2 * pi * k / count
        x, y = distance * cos(a), distance * sin(a)
        posts.append(solid(strut("post", (x, y, -2.0), (x, y, 14.0), 2.0)))
    return tuple(posts)


def floor(long=12.0):
    """A ring two of the posts stand on, clear of the plate."""
    return solid(strut("ring", (-long, 0, -1), (long, 0, -1), 3.0), strut("ring", (long, 0, -1), (long, long, -1), 3.0))


def test_a_disc_that_posts_bar_is_free_once_they_are_cut():
    """Four posts 5 mm off leave a 22 mm disc no way; each stands in a ring at its foot and is cut away there."""
    gate = solid(strut("gate", (0, 0, -1), (0, 0, 8), 1.0, feeds="plate"))
    across = solid(strut("ring", (0, -12, -1), (0, 12, -1), 3.0))
    lattice = Lattice((floor(), across, gate, *fence(5.0)), -2.5)
    made = cut(lattice, (plate(7.5, wide=4.0),), cut="disc")
    (last,) = made.of(GATE)
    assert len(made.of(POST)) == 4
    assert not reach(last, "disc", "there").fits
    assert reach(last, "disc", "there").blocker == "a post"
    assert reach(last, "disc").fits
    assert made.findings == ()


def test_every_post_end_gate_and_the_lift_come_once_and_in_order(two_rings, listed):
    kinds = [c.kind for c in listed.cuts]
    assert kinds == sorted(kinds, key=(POST, UPPER_GATE, LIFT, GATE).index)
    assert kinds.count(LIFT) == 1
    assert [c.number for c in listed.cuts] == list(range(1, len(kinds) + 1))
    names = {b.name for b in BODIES}
    for kind in (UPPER_GATE, GATE):
        assert sorted(c.feeds for c in listed.of(kind)) == sorted(names)
    posts = [k for k, s in enumerate(two_rings.struts) if s.role == POST]
    assert {c.strut for c in listed.of(POST)} <= set(posts)
    assert len(listed.of(POST)) == 2 * sum(s.role == POST for s in two_rings.solids)
    assert all(two_rings.struts[c.strut].feeds == c.feeds for c in listed.of(GATE))


def test_a_planned_lattice_of_two_rings_has_saw_room_and_its_posts_bar_the_disc(listed):
    assert listed.findings == ()
    for c in (*listed.of(UPPER_GATE), *listed.of(GATE)):
        assert reach(c, "saw").fits
        assert not reach(c, "disc", "there").fits
        assert 3.0 <= c.clear_mm <= 5.0
        assert reach(c, "saw").clearance_mm >= 0.0


def test_where_the_tools_go_no_metal_is_met(two_rings, listed):
    """The disc of each lower gate, as a mesh of its own, against the exact meshes of all that is there then."""
    collision = pytest.importorskip("trimesh.collision")
    manager = collision.CollisionManager()
    for body in BODIES:
        manager.add_object(body.name, trimesh.Trimesh(body.points(), body.mesh.triangles, process=False))
    stays = [s for s in two_rings.solids if s.role in ("ring", "spoke", "trunk") or (s.role == "gate" and not s.above)]
    for k, s in enumerate(stays):
        manager.add_object(f"{k}", trimesh.Trimesh(s.mesh.points, s.mesh.triangles, process=False))
    looked = 0
    for c in listed.of(GATE)[::3]:
        own = next(f"{k}" for k, s in enumerate(stays) if s.feeds == c.feeds)
        found = reach(c, "disc")
        if not found.fits:
            continue
        blade = trimesh.creation.cylinder(11.0, 0.7, sections=96)
        middle = 11.0 - PAST_MM - 1.21
        for out in (middle + 0.35, middle + 6.0, middle + 20.0):
            place = blade.copy()
            place.apply_translation(np.array(found.at) + out * np.array(found.toward))
            hit, who = manager.in_collision_single(place, return_names=True)
            assert not hit or who == {own}
        looked += 1
    assert looked >= 2


@settings(derandomize=True, deadline=None, max_examples=20)
@given(st.lists(st.floats(0.0, 99.9), min_size=0, max_size=40), st.booleans())
def test_orders_hold_every_gate_once_and_three_last(at, closed):
    order, rounds = alternately(np.array(at), 100.0, closed=closed)
    assert sorted(order.tolist()) == list(range(len(at)))
    assert np.all(np.diff(rounds) >= 0)
    assert (rounds == LAST).sum() == min(3, len(at))


@pytest.mark.parametrize("n", [12, 31, 60])
def test_round_a_ring_opposite_ones_follow_each_other_and_no_two_neighbours_are_free(n):
    order, rounds = alternately(np.arange(n) * 100.0 / n, 100.0, closed=True)
    last = np.sort(order[rounds == LAST])
    gaps = np.diff(np.append(last, last[0] + n))
    assert gaps.max() <= -(-n // 3) + 1
    assert gaps.min() >= n // 3 - 1
    for turn in (FIRST, SECOND):
        row = order[rounds == turn]
        apart = np.abs(row[1::2] - row[: 2 * (len(row) // 2) : 2])
        assert np.all(np.abs(np.minimum(apart, n - apart) - n / 2) <= 3)
    first = np.sort(order[rounds == FIRST])
    assert np.diff(np.append(first, first[0] + n)).min() >= 2


def test_an_open_runner_is_cut_from_both_ends_and_keeps_its_ends_and_middle_to_the_last():
    order, rounds = alternately(np.arange(11) * 5.0, 0.0, closed=False)
    assert sorted(order[rounds == LAST]) == [0, 5, 10]
    assert order[rounds == FIRST].tolist() == [1, 8, 3, 6]
    assert order[rounds == SECOND].tolist() == [2, 9, 4, 7]


def test_a_straight_chain_is_listed_without_posts_or_lift():
    way = straight_way(6, 6.8)
    bodies = chain(way)
    made = cut(planned(bodies, way), bodies)
    assert {c.kind for c in made.cuts} == {GATE}
    assert {c.feeds for c in made.cuts[-3:]} >= {"link 1", "link 6"}
    assert made.cuts[0].there == made.cuts[0].after
    assert cut(planned(bodies, way), bodies) == made


def test_edited_lattices_are_listed_too(two_rings):
    def kept(keep):
        return replace(two_rings, solids=tuple(s for s in two_rings.solids if keep(s)))

    no_posts = cut(kept(lambda s: s.role != POST))
    assert {c.kind for c in no_posts.cuts} == {UPPER_GATE, LIFT, GATE}
    no_ring = cut(kept(lambda s: s.role not in ("ring", "spoke", "trunk", "upper")))
    assert len(no_ring.of(GATE)) == len(BODIES)
    # Nothing holds the posts at either end.
    assert no_ring.of(POST) == ()
    no_gates = cut(kept(lambda s: s.feeds is None))
    assert {c.kind for c in no_gates.cuts} == {POST, LIFT}
    assert no_gates.stub_area_mm2 == 0.0
    assert cut(Lattice((), 0.0)).cuts == ()
    assert cut(two_rings, bodies=()).of(GATE)[0].clear_mm > 0.0


def test_a_list_moves_with_its_job(two_rings, listed):
    shift = np.array([3.0, -5.0, 11.0])
    there = cut(two_rings.moved(shift), tuple(b.moved(shift) for b in BODIES))
    assert [c.feeds for c in there.cuts] == [c.feeds for c in listed.cuts]
    assert np.allclose([c.at for c in there.cuts], np.array([c.at for c in listed.cuts]) + shift, atol=1e-6)


def test_the_report_and_the_command_line_tell_it_all(two_rings, listed):
    told = json.loads(report_text("feed", "ring", [lattice_part(two_rings, 4000.0, None, listed)]))["lattice"]
    made = told["cutting"]
    assert (made["tool"], made["returns_mm3"]) == ("saw", listed.returns_mm3)
    assert made["stub_area_mm2"] == pytest.approx(sum(c["area_mm2"] for c in made["cuts"]))
    assert [c["number"] for c in made["cuts"]] == list(range(1, len(listed.cuts) + 1))
    for one in made["cuts"]:
        if one["kind"] == LIFT:
            assert one["strut"] is None
            continue
        assert told["struts"][one["strut"]]["feeds"] == one["feeds"]
        assert {r["tool"] for r in one["after"]} == {"saw", "disc"}
    (line,) = cutting_lines(listed)
    assert "14 upper, 14 lower" in line
    assert f"{listed.stub_area_mm2:.0f} mm2 of stubs" in line
    assert cutting_lines(None) == cutting_lines(replace(listed, cuts=())) == []
    assert "cutting" not in lattice_part(two_rings, 4000.0)["lattice"]


def test_progress_rises_to_the_end():
    bodies, lattice = one_gate(5.0)
    shares = list(cutting_list(bodies, lattice))
    assert shares == sorted(shares)
    assert shares[-1] == 1.0


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"cut": "laser"}, "feed.cut"),
        ({"disc_mm": 2.0}, "diameter"),
        ({"disc_thick_mm": float("nan")}, "thick"),
        ({"lattice_mm3": -1.0}, "volume"),
        ({"bodies": (BODIES[0], BODIES[0])}, "link 1"),
    ],
)
def test_bad_input_is_named(two_rings, options, words):
    with pytest.raises(BadInput, match=words):
        cut(two_rings, **options)


def test_a_tie_between_posts_is_cut_once():
    """Two posts that a tie joins would go off as a yoke, with the chain between them."""
    ring = solid(strut("ring", (-30, 0, 2), (30, 0, 2), 4.0))
    posts = [solid(strut("post", (x, 0, 2), (x, 0, 30), 2.5)) for x in (-4.0, 4.0)]
    tie = solid(strut("post", (-4, 0, 22), (4, 0, 22), 1.6))
    without = [c for c in cut(Lattice((ring, *posts), 0.0), ()).cuts if c.kind == POST]
    tied = [c for c in cut(Lattice((ring, *posts, tie), 0.0), ()).cuts if c.kind == POST]
    assert len(without) == 2
    assert len(tied) == 3
    (more,) = [c for c in tied if abs(c.at[2] - 22.0) < 0.1]
    assert more.diameter_mm == pytest.approx(1.6, rel=0.02)
    assert abs(more.at[0]) < 3.0
