"""The planner: every link fed, every distance kept, printable, in good order of freezing; what cannot be is said."""

from dataclasses import replace

import numpy as np
import pytest
from lattices import BENCH, Way, chain, codes, curve_way, planned, ring_way, straight_way, tube

from addon.rules.base.errors import BadInput, CannotBuild
from addon.rules.base.profile import load_profile
from addon.rules.base.progress import finish
from addon.rules.chain.build import build_chain
from addon.rules.chain.spec import ChainSpec, LayoutSpec
from addon.rules.feed.plan import plan_lattice
from addon.rules.feed.soundness import check_lattice
from addon.rules.feed.spec import FeedSpec
from addon.rules.inspect.layers import slice_layers
from addon.rules.solid.mesh import Body, Mesh, Pose
from addon.rules.solid.topology import facts

WIRE = 2.2
WAVE = [[x, 9 * np.sin(x / 22), 3 * np.sin(x / 30)] for x in np.linspace(0, 100, 16)]


def job(name):
    """Give bodies, way and wire of one of the test jobs."""
    if name == "curb ring":
        way = ring_way(16, 6.8)
        return chain(way), way, WIRE
    if name == "trace ring":
        way = ring_way(14, 7.4)
        return chain(way, "trace", wire=2.0, length=11.0, width=8.0), way, 2.0
    if name == "curb line":
        way = straight_way(7, 6.8)
        return chain(way), way, WIRE
    if name == "curb wave":
        way = curve_way(WAVE)
        return chain(way), way, WIRE
    if name == "foreign mesh":
        way = ring_way(12, 6.8)
        return chain(way, drawn=False), way, WIRE
    raise AssertionError(name)


JOBS = ("curb ring", "trace ring", "curb line", "curb wave", "foreign mesh")


@pytest.fixture(scope="module", params=[(n, up) for n in JOBS for up in (False, True)], ids=lambda p: f"{p[0]} {p[1]}")
def done(request):
    name, up = request.param
    bodies, way, wire = job(name)
    return bodies, way, wire, up, planned(bodies, way, upper_ring=up)


def gate_solids(lattice, above=False):
    return [s for s in lattice.solids if s.feeds is not None and s.above is above]


def test_every_link_has_its_gates_and_nothing_stops_the_job(done):
    bodies, _, _, up, lattice = done
    assert codes(lattice.findings, "stop") == []
    assert codes(lattice.findings, "warn") == []
    names = [b.name for b in bodies]
    assert [s.feeds for s in gate_solids(lattice)] == names
    assert [s.feeds for s in gate_solids(lattice, above=True)] == (names if up else [])


def test_struts_are_told_from_the_feed_to_the_body_with_the_roles_of_the_report(done):
    _, _, _, up, lattice = done
    roles = {s.role for s in lattice.struts}
    assert roles == {"ring", "spoke", "trunk", "brace", "gate"} | ({"upper", "post"} if up else set())
    for solid in lattice.solids:
        if solid.role == "ring" or solid.role == "upper":
            continue
        for one, other in zip(solid.struts, solid.struts[1:], strict=False):
            assert one.end == other.start
            assert one.d_end_mm == other.d_start_mm
    for strut in lattice.struts:
        assert (strut.feeds is not None) == (strut.role == "gate")
        assert all(type(x) is float for x in (*strut.start, *strut.end, strut.d_start_mm, strut.d_end_mm))


def test_each_solid_is_closed_looks_outward_and_stands_on_or_above_the_plate(done):
    *_, lattice = done
    for solid in lattice.solids:
        found = facts(solid.mesh)
        assert found.closed
        assert not found.inside_out
        assert found.shells == 1
        low = solid.mesh.points[:, 2].min()
        if solid.role in ("ring", "spoke", "trunk"):
            assert low == lattice.plate_z_mm
        else:
            assert low > lattice.plate_z_mm


def test_each_solid_lies_inside_the_round_rods_it_is_told_as(done):
    *_, lattice = done
    for solid in lattice.solids:
        away = np.full(len(solid.mesh.points), np.inf)
        for s in solid.struts:
            a, way = np.array(s.start), np.subtract(s.end, s.start)
            t = np.clip((solid.mesh.points - a) @ way / (way @ way), 0, 1)
            r = s.d_start_mm / 2 + t * (s.d_end_mm - s.d_start_mm) / 2
            away = np.minimum(away, np.linalg.norm(solid.mesh.points - a - t[:, None] * way, axis=1) - r)
        # At a mitre of 45 degrees a corner stands out by 1 / cos 22.5 degrees of the radius.
        assert away.max() <= 0.13 * max(s.d_start_mm for s in solid.struts) / 2


def test_tips_end_inside_the_wire_and_show_on_no_side_of_it(done):
    """The whole rim of the tip's end lies inside the wire, its middle at least 0.15 mm: against the centreline."""
    bodies, _, _, _, lattice = done
    body = {b.name: b for b in bodies}
    checked = 0
    for strut in lattice.struts:
        if strut.feeds is None or body[strut.feeds].wire is None:
            continue
        b = body[strut.feeds]
        line = b.pose.apply(b.wire.centreline)
        fine = np.concatenate([line + u * (np.roll(line, -1, axis=0) - line) for u in np.linspace(0, 1, 8)[:-1]])
        way = np.subtract(strut.end, strut.start)
        way /= np.linalg.norm(way)
        side = np.cross(way, [1.0, 0.3, 0.1])
        side /= np.linalg.norm(side)
        angle = np.arange(24) * np.pi / 12
        rim = np.cos(angle)[:, None] * side + np.sin(angle)[:, None] * np.cross(way, side)
        ring = np.array(strut.end) + strut.d_end_mm / 2 * rim
        assert np.linalg.norm(fine - strut.end, axis=1).min() <= b.wire.radius_mm - 0.15
        depth = b.wire.radius_mm - np.linalg.norm(fine[None] - ring[:, None], axis=2).min(axis=1)
        assert depth.min() > 0.03
        assert strut.length_mm <= strut.d_end_mm
        checked += 1
    assert checked or bodies[0].wire is None


def test_gates_are_as_thick_as_their_length_asks_for(done):
    """Up to 4 mm: shaft 0.75 x wire, tip 1 mm; longer: shaft 1.25 x wire, tip 0.75 x wire (common practice)."""
    bodies, _, wire, up, lattice = done
    body = {b.name: b for b in bodies}
    for above in (False, True) if up else (False,):
        ring = next(s for s in lattice.solids if s.role == ("upper" if above else "ring"))
        for solid in gate_solids(lattice, above):
            tip = solid.struts[-1]
            shaft = min(s.d_end_mm for s in solid.struts[:-1])
            points = body[solid.feeds].points()
            clear = np.linalg.norm(points[::3, None] - ring.mesh.points[None, ::3], axis=2).min()
            if above:
                # The hoop dips between gates, so it is measured along them; a third of the tip may be sunk.
                clear = sum(s.length_mm for s in solid.struts) - ring.struts[0].d_start_mm / 2 - tip.d_end_mm / 3
            assert clear > 2.9
            if clear <= 4.0 - 1e-6:
                assert shaft >= 0.75 * wire - 1e-9
                assert tip.d_end_mm >= 1.0
            elif clear > 4.8:
                assert shaft >= 1.25 * wire - 1e-9
                assert tip.d_end_mm >= 0.75 * wire - 1e-9


def test_freezing_runs_towards_the_button(done):
    """Modulus of every step by the tables: round bar d / 4, footed rod area over perimeter of its corners."""
    *_, up, lattice = done

    def least(role, above=None):
        return min(s.modulus_mm for s in lattice.solids if s.role == role and above in (None, s.above))

    def most(role, above=None):
        return max(s.modulus_mm for s in lattice.solids if s.role == role and above in (None, s.above))

    assert most("gate", False) <= least("ring")
    if up:
        assert most("gate", True) <= least("upper") <= least("post") <= least("ring")
    assert 1.2 * most("ring") <= least("spoke") * (1 + 1e-9)
    assert 1.2 * most("spoke") <= least("trunk") * (1 + 1e-9)
    for solid in lattice.solids:
        if solid.role in ("post", "upper"):
            assert solid.modulus_mm == pytest.approx(solid.struts[0].d_start_mm / 4)


def test_what_hangs_in_the_air_leans_steeper_than_the_overhang_limit(done):
    *_, lattice = done
    least = np.sin(np.radians(BENCH.overhang_deg))
    for strut in lattice.struts:
        if strut.role in ("gate", "brace", "post"):
            assert abs(strut.end[2] - strut.start[2]) >= least * strut.length_mm


def test_the_upper_ring_spans_no_more_than_the_bridge_limit_between_posts(done):
    *_, up, lattice = done
    if not up:
        return
    posts = [s for s in lattice.solids if s.role == "post"]
    hoop = next(s for s in lattice.solids if s.role == "upper")
    tops = np.array([p.struts[-1].end for p in posts])
    level = 0.0
    for s in (*hoop.struts, *hoop.struts):
        held = np.linalg.norm(tops - (np.array(s.start) + s.end) / 2, axis=1).min() <= s.length_mm / 2 + 1e-3
        steep = abs(s.end[2] - s.start[2]) >= np.sin(np.radians(BENCH.overhang_deg)) * s.length_mm
        level = 0.0 if held or steep else level + s.length_mm
        assert level <= BENCH.bridge_mm + posts[0].struts[0].d_start_mm


def test_distances_hold_by_an_independent_collision_library(done):
    """Every strut to every body not its own, and gates and posts among each other: python-fcl on the same triangles."""
    fcl = pytest.importorskip("fcl")
    bodies, _, _, _, lattice = done

    def thing(mesh):
        model = fcl.BVHModel()
        model.beginModel(len(mesh.points), len(mesh.triangles))
        model.addSubModel(mesh.points, mesh.triangles)
        model.endModel()
        return fcl.CollisionObject(model)

    def bounds(mesh):
        return np.stack((mesh.points.min(axis=0), mesh.points.max(axis=0)))

    def apart(one, other, by):
        return bool((one[0] > other[1] + by).any() or (other[0] > one[1] + by).any())

    floor = BENCH.strut_web_mm
    metal = [(b.name, b.placed()) for b in bodies]
    struts = [(s, thing(s.mesh), bounds(s.mesh)) for s in lattice.solids]
    measured = 0
    for name, mesh in metal:
        one, box = thing(mesh), bounds(mesh)
        for solid, other, other_box in struts:
            if solid.feeds == name or apart(box, other_box, floor):
                continue
            measured += 1
            assert fcl.distance(one, other) >= floor - 1e-6
    free = [s for s in struts if s[0].role in ("gate", "post")]
    for k, (one, a, box) in enumerate(free):
        for other, b, other_box in free[k + 1 :]:
            if apart(box, other_box, floor):
                continue
            ends = [one.struts[0].start, one.struts[-1].end, other.struts[0].start, other.struts[-1].end]
            if min(np.linalg.norm(np.subtract(p, q)) for p in ends[:2] for q in ends[2:]) < 0.1:
                continue  # One node.
            assert fcl.distance(a, b) >= floor - 1e-6
    assert measured or len(bodies) < 9


def test_all_feed_metal_hangs_together_by_an_independent_collision_library(done):
    fcl = pytest.importorskip("fcl")
    *_, lattice = done
    things = []
    for number, solid in enumerate(lattice.solids):
        model = fcl.BVHModel()
        model.beginModel(len(solid.mesh.points), len(solid.mesh.triangles))
        model.addSubModel(solid.mesh.points, solid.mesh.triangles)
        model.endModel()
        things.append((number, fcl.CollisionObject(model)))
    reached, waiting = {0}, [0]
    while waiting:
        here = things[waiting.pop()][1]
        for number, other in things:
            if number not in reached and fcl.collide(here, other):
                reached.add(number)
                waiting.append(number)
    assert len(reached) == len(things)


@pytest.mark.parametrize("name", ["curb", "trace", "wave"])
def test_the_job_begins_nowhere_in_mid_air(name):
    """Layer by layer, bodies and struts overlapping as they are before they are joined."""
    way = {"curb": ring_way(7, 6.8), "trace": ring_way(8, 7.4), "wave": curve_way(WAVE[:6])}[name]
    sizes = {"wire": 2.0, "length": 11.0, "width": 8.0} if name == "trace" else {}
    bodies = chain(way, "trace" if name == "trace" else "curb", **sizes)
    lattice = planned(bodies, way, upper_ring=True)
    parts = [*bodies, *(Body(s.role, s.mesh) for s in lattice.solids)]
    layers = finish(slice_layers(parts, BENCH.layer_mm, plate_mm=lattice.plate_z_mm))
    assert layers.islands == ()
    alone = finish(slice_layers(bodies, BENCH.layer_mm, plate_mm=lattice.plate_z_mm))
    assert len(alone.islands) >= len(bodies)  # The same check does see what the gates hold up.


def test_the_same_input_gives_the_same_lattice_to_the_last_bit():
    bodies, way, _ = job("trace ring")
    one, other = planned(bodies, way, upper_ring=True), planned(bodies, way, upper_ring=True)
    assert one.struts == other.struts
    assert one.findings == other.findings
    assert all(np.array_equal(a.mesh.points, b.mesh.points) for a, b in zip(one.solids, other.solids, strict=True))


def test_a_moved_and_turned_chain_gets_the_same_lattice_moved_and_turned():
    bodies, way, _ = job("curb ring")
    turn = np.array([[0.6, -0.8, 0], [0.8, 0.6, 0], [0, 0, 1.0]])
    shift = np.array([40.0, -7.0, 12.5])
    moved = tuple(replace(b, pose=Pose(turn @ b.pose.rotation, turn @ b.pose.origin + shift)) for b in bodies)
    other = type(way)(way.origins @ turn.T + shift, turn @ way.rotations, way.closed)
    one, two = planned(bodies, way, upper_ring=True), planned(moved, other, upper_ring=True)
    assert two.plate_z_mm == pytest.approx(one.plate_z_mm + 12.5)
    starts = np.array([s.start for s in one.struts]) @ turn.T + shift
    assert np.array([s.start for s in two.struts]) == pytest.approx(starts, abs=1e-6)


def test_a_lattice_is_lifted_with_its_plate_and_findings():
    bodies, way, _ = job("curb line")
    lattice = planned(bodies, way, upper_ring=True)
    lifted = lattice.moved(np.array([1.0, 2.0, -lattice.plate_z_mm]))
    assert lifted.plate_z_mm == 0.0
    assert min(s.mesh.points[:, 2].min() for s in lifted.solids) == 0.0
    assert lifted.struts[0].start == pytest.approx(np.add(lattice.struts[0].start, (1.0, 2.0, -lattice.plate_z_mm)))
    assert lifted.volume_mm3 == pytest.approx(lattice.volume_mm3)
    assert [f.at for f in lifted.findings] != [f.at for f in lattice.findings]


def test_the_makers_sizes_are_kept():
    bodies, way, _ = job("curb ring")
    lattice = planned(bodies, way, tip_mm=1.0, gate_mm=2.4, ring_mm=4.0, gate_length_mm=3.5)
    assert codes(lattice.findings) == []
    for solid in gate_solids(lattice):
        assert solid.struts[0].d_start_mm == 2.4
        assert solid.struts[-1].d_end_mm == 1.0
        top = lattice.plate_z_mm + next(s for s in lattice.solids if s.role == "ring").mesh.points[:, 2].max()
        low = next(b for b in bodies if b.name == solid.feeds).points()[:, 2].min()
        assert low - top + lattice.plate_z_mm == pytest.approx(3.5, abs=0.05)


@pytest.mark.parametrize(
    ("sizes", "code", "words"),
    [
        ({"ring_mm": 2.0}, "modulus", "feed.ring_mm"),
        ({"gate_mm": 1.2}, "modulus", "feed.gate_mm"),
        ({"tip_mm": 3.0}, "modulus", "feed.tip_mm"),
        ({"tip_mm": 0.5}, "modulus", "feed.tip_mm"),
        ({"gate_length_mm": 1.5}, "saw-room", "feed.gate_length_mm"),
    ],
)
def test_sizes_of_the_maker_that_break_a_rule_are_warned_of_with_what_would_do(sizes, code, words):
    bodies, way, _ = job("curb ring")
    found = [f for f in planned(bodies, way, **sizes).findings if words in f.text]
    assert [(f.code, f.severity) for f in found] == [(code, "warn")]
    assert found[0].limit is not None


def test_the_ring_size_that_would_do_does():
    bodies, way, _ = job("curb ring")
    warned = next(f for f in planned(bodies, way, ring_mm=2.0).findings if f.code == "modulus")
    would = float(warned.text.split("; ")[1].split(" mm")[0])
    assert codes(planned(bodies, way, ring_mm=would + 0.01).findings) == []


def test_a_thin_wire_gets_the_widest_tip_it_hides_and_a_note():
    way = ring_way(16, 3.6)
    bodies = chain(way, wire=1.1, length=6.3, width=5.0)
    lattice = planned(bodies, way)
    assert [(f.code, f.severity) for f in lattice.findings if "tips are" in f.text] == [("modulus", "note")]
    assert max(s.d_end_mm for s in lattice.struts if s.feeds) <= 0.84 + 1e-9


def test_a_link_held_on_one_flank_gets_a_thicker_tip_or_where_the_tip_is_written_a_second_gate():
    """A trace link leans: the film bends its gate at the far side; the same tip on a curb is steady."""
    bodies, way, wire = job("trace ring")

    def held(spec, things=(bodies, way)):
        return finish(plan_lattice(*things, BENCH, spec, gap_mm=0.3))

    def gates(lattice):
        return [s for s in lattice.struts if s.feeds]

    free, thin = held(FeedSpec()), held(FeedSpec(tip_mm=1.0))
    assert codes(free.findings, "warn") == []
    assert len(gates(free)) == len(bodies) < len(gates(thin))
    assert min(s.d_end_mm for s in gates(free)) > max(1.0, wire / 2)
    assert {s.d_end_mm for s in gates(thin)} == {1.0}
    curb = held(FeedSpec(tip_mm=1.0), job("curb ring")[:2])
    assert len(gates(curb)) == 16
    assert codes(curb.findings) == []


def test_a_link_longer_than_the_feed_distance_gets_further_gates_or_is_told_of():
    bodies, way, _ = job("curb ring")
    short = replace(BENCH, feed_distance_mm=9.0)
    once = planned(bodies, way)
    found = [f for f in finish(check_lattice(bodies, once, short, wire_mm=WIRE)) if f.code == "feed-far"]
    assert [(f.severity, len(f.bodies), f.limit) for f in found] == [("warn", 16, 9.0)]
    more = planned(bodies, way, short)
    left = [f for f in more.findings if f.code == "feed-far"]
    assert len([s for s in more.struts if s.feeds]) > 16
    assert not left or left[0].value < found[0].value - 1.0
    a = (12.2 - 2.2) / 2, (9.7 - 2.2) / 2
    # Half the girth of the plain ellipse; the twist makes it a little longer (Ramanujan's formula, from memory).
    girth = np.pi * (3 * sum(a) - np.sqrt((3 * a[0] + a[1]) * (a[0] + 3 * a[1])))
    assert girth / 2 < found[0].value < 1.1 * girth / 2
    assert codes(planned(bodies, way, short, upper_ring=True).findings, "warn") == []


def block(name, low, high):
    corners = np.array([[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)], dtype=float)
    faces = [
        [0, 1, 3],
        [0, 3, 2],
        [4, 6, 7],
        [4, 7, 5],
        [0, 4, 5],
        [0, 5, 1],
        [2, 3, 7],
        [2, 7, 6],
        [0, 2, 6],
        [0, 6, 4],
    ]
    faces += [[1, 5, 7], [1, 7, 3]]
    return Body(name, Mesh(np.array(low) + corners * np.subtract(high, low), np.array(faces, dtype=np.int64)))


def test_a_link_that_no_gate_reaches_is_a_stop_that_names_it_and_what_is_in_the_way():
    way = straight_way(3, 6.8)
    links = chain(way)
    slab = block("slab", (-8.0, -30.0, -9.0), (22.0, 30.0, -7.0))
    blocked = curve_way(np.concatenate((way.origins, [[24.0, 0.0, 0.0]])))
    lattice = planned((*links, slab), blocked)
    stopped = {f.bodies[0] for f in lattice.findings if f.code == "strut-unrouted"}
    assert stopped == {"link 1", "link 2", "link 3"}
    assert {f.bodies[0] for f in lattice.findings if f.code == "no-gate"} == stopped
    text = next(f.text for f in lattice.findings if f.code == "strut-unrouted" and f.bodies == ("link 2",))
    assert "slab is in the way" in text
    assert "0.6 mm" in text
    assert [s.feeds for s in gate_solids(lattice)] == ["slab"]


def test_a_stranger_right_under_a_link_is_passed_by_a_bent_gate_or_by_another_anchor_point():
    way = straight_way(5, 6.8)
    links = chain(way)
    bar = block("bar", (13.0, -1.0, -7.5), (14.2, 1.0, -6.3))
    lattice = planned((*links, bar), curve_way(np.concatenate((way.origins, [[34.0, 0.0, 0.0]]))))
    third = next(s for s in gate_solids(lattice) if s.feeds == "link 3")
    assert codes([f for f in lattice.findings if "link 3" in f.bodies], "stop") == []
    plain = next(s for s in gate_solids(planned(links, way)) if s.feeds == "link 3")
    assert len(third.struts) > len(plain.struts) or third.struts[-1].end != pytest.approx(plain.struts[-1].end)


def test_a_pool_of_strangers_beside_the_chain_leaves_the_upper_ring_out_and_says_so():
    way = straight_way(4, 6.8)
    walls = (
        block("left", (-12.0, 2.6, -12.0), (40.0, 60.0, 14.0)),
        block("right", (-12.0, -60.0, -12.0), (40.0, -2.6, 14.0)),
    )
    bodies = (*chain(way), *walls)
    lattice = planned(bodies, curve_way(np.concatenate((way.origins, [[27.2, 0, 0], [34.0, 0, 0]]))), upper_ring=True)
    assert any(f.severity == "stop" and f.text.startswith("upper ring: no post") for f in lattice.findings)
    assert not [s for s in lattice.solids if s.role in ("upper", "post") or s.above]


def test_one_link_and_two_links_can_be_fed():
    for count in (1, 2):
        way = straight_way(count, 6.8) if count > 1 else curve_way([[0.0, 0, 0], [5.0, 0, 0]])
        way = type(way)(way.origins[:count], way.rotations[:count], False)
        lattice = planned(chain(way), way, upper_ring=True)
        assert codes(lattice.findings, "stop") == []
        assert len(gate_solids(lattice)) == count


def test_a_ring_too_small_for_spokes_gets_a_disc_under_the_tops_of_its_ring():
    way = ring_way(8, 3.6)
    lattice = planned(chain(way, wire=1.1, length=6.3, width=5.0), way)
    assert codes(lattice.findings, "stop") == []
    assert "spoke" not in {s.role for s in lattice.solids}
    tops = {s.role: s.mesh.points[:, 2].max() for s in lattice.solids if s.role in ("trunk", "ring")}
    assert tops["trunk"] < tops["ring"]


def test_an_open_curve_at_many_heights_has_gates_of_many_lengths_on_one_plate():
    bodies, way, wire = job("curb wave")
    lattice = planned(bodies, way)
    lengths = [sum(s.length_mm for s in g.struts) for g in gate_solids(lattice)]
    assert max(lengths) - min(lengths) > 2.0
    thick = [g.struts[0].d_start_mm for g in gate_solids(lattice)]
    assert max(thick) >= 1.25 * wire - 1e-9


def test_a_closed_curve_that_is_no_circle_gets_its_hub_inside():
    a = np.arange(20) * 2 * np.pi / 20
    r = 32 + 9 * np.cos(2 * a)
    way = curve_way(np.stack((r * np.cos(a), r * np.sin(a), 2 * np.cos(a)), axis=1), closed=True)
    lattice = planned(chain(way), way)
    assert codes(lattice.findings, "stop") == []
    hub = next(s for s in lattice.struts if s.role == "trunk")
    assert np.linalg.norm(hub.start[:2]) < 5
    assert len([s for s in lattice.solids if s.role == "spoke"]) >= 3


def test_a_chain_that_climbs_upright_cannot_stand_on_a_ring():
    way = curve_way([[0.0, 0, 0], [0.3, 0, 6.8], [0.6, 0, 13.6]])
    with pytest.raises(CannotBuild, match="link 1 and link 2"):
        planned(chain(straight_way(3, 6.8)), way)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"tip_mm": 0.0}, "feed.tip_mm"),
        ({"ring_mm": float("nan")}, "feed.ring_mm"),
        ({"gate_length_mm": -4.0}, "feed.gate_length_mm"),
        ({"base_ring": False}, "feed.base_ring"),
    ],
)
def test_impossible_sizes_are_refused_by_their_names(change, words):
    bodies, way, _ = job("curb line")
    with pytest.raises(BadInput, match=words):
        planned(bodies, way, **change)


def test_bodies_and_path_that_do_not_belong_together_are_refused():
    bodies, way, _ = job("curb line")
    with pytest.raises(BadInput, match="7 places for 6 bodies"):
        planned(bodies[:6], way)
    with pytest.raises(BadInput, match="no bodies"):
        planned((), way)
    with pytest.raises(BadInput, match="'link 1'"):
        planned((*bodies[:6], bodies[0]), way)
    with pytest.raises(BadInput, match="wire"):
        finish(plan_lattice(bodies, way, BENCH, FeedSpec(), wire_mm=0.0))


def test_a_wide_torus_is_held_at_its_lowest_place_and_a_level_one_anywhere():
    """An upright ring has one lowest place; a ring lying level is one island, held by one gate."""
    t = np.arange(120) * 2 * np.pi / 120
    upright = tube(np.stack((8 * np.cos(t), 0 * t, 8 * np.sin(t)), axis=1), 1.0)
    way = curve_way([[0.0, 0, 0], [5.0, 0, 0]])
    way = type(way)(way.origins[:1], way.rotations[:1], False)
    lattice = planned((Body("ring", upright),), way)
    assert codes(lattice.findings, "stop") == []
    tip = next(s for s in lattice.struts if s.feeds)
    assert tip.end[0] == pytest.approx(0.0, abs=0.3)
    assert -9.0 < tip.end[2] < -8.0


def test_sixty_links_with_two_rings_have_a_gate_below_and_above_each():
    way = ring_way(60, 6.8)
    bodies = chain(way, samples=96)
    lattice = planned(bodies, way, load_profile(), upper_ring=True)
    assert len(gate_solids(lattice)) == 60


def test_progress_rises_from_nought_to_one():
    bodies, way, _ = job("curb line")
    shares = []
    finish(plan_lattice(bodies, way, BENCH, FeedSpec(upper_ring=True)), shares.append)
    assert all(0.0 <= s <= 1.0 for s in shares)
    assert len(shares) > 20


@pytest.mark.parametrize("links", [12, 18, 26, 27])
def test_the_post_at_the_end_of_a_runner_keeps_its_floor_from_the_one_before(links):
    """Of 26 links the last two posts once stood 0.58 mm apart."""
    spec = ChainSpec("trace", 2.26, 12.58, 9.64, 0.36)
    made = finish(build_chain(spec, LayoutSpec("straight", links=links)))
    lattice = finish(plan_lattice(made.bodies, made.path, BENCH, FeedSpec(upper_ring=True), wire_mm=2.26))
    assert codes(lattice.findings, "stop") == []


def doubled(apart):
    """A row that turns round and comes back ``apart`` mm above itself."""
    below, over = straight_way(8, 6.8), straight_way(8, 6.8)
    turn = curve_way([[55.0, 10.0, 4.0], [55.0, 22.0, 8.0], [45.0, 30.0, 12.0]])
    places = np.concatenate((below.origins, turn.origins, over.origins[::-1] + np.array([0.0, 0.0, apart])))
    return Way(places, np.concatenate((below.rotations, turn.rotations, over.rotations)), closed=False)


def test_a_row_above_itself_is_fed_from_columns_where_there_is_room():
    way = doubled(25.0)
    lattice = planned(chain(way), way)
    assert codes(lattice.findings, "stop") == []
    assert {s.feeds for s in gate_solids(lattice)} == {f"link {k + 1}" for k in range(len(way.origins))}


def test_links_that_another_turn_shades_share_one_stop_that_names_them_all():
    way = doubled(9.0)
    lattice = planned(chain(way), way)
    shaded = [f for f in lattice.findings if f.code == "strut-unrouted" and "lies over itself" in f.text]
    assert len(shaded) == 1
    assert "spiral" in shaded[0].text
    fed = {s.feeds for s in gate_solids(lattice)}
    unfed = {f"link {k + 1}" for k in range(len(way.origins))} - fed
    assert len(unfed) > 3
    assert set(shaded[0].bodies) <= unfed
    bare = [name for f in lattice.findings if f.code == "no-gate" for name in f.bodies]
    assert sorted(bare) == sorted(unfed)
