"""Gates as they are drawn: break-off necks right outside the link, printable, told of; and gates drawn in for room."""

from dataclasses import replace

import numpy as np
import pytest
from lattices import BENCH, chain, codes, planned, ring_way, straight_way

from addon.rules.feed.drawn import gate_solid, narrowed_findings
from addon.rules.feed.freezing import quick_rule_findings
from addon.rules.feed.gates import Gate
from addon.rules.feed.lattice import Lattice
from addon.rules.feed.sizes import choose_sizes, written_size_findings
from addon.rules.feed.spec import FeedSpec
from addon.rules.feed.steadiness import column_of
from addon.rules.solid.mesh import Body, Mesh
from addon.rules.solid.topology import facts

LINK = Body("link 1", Mesh(np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int64)))
S, T, NECK = 2.42, 1.4, 1.12


def gate(shaft=S, tip=T, *, bent=False, up=1.0):
    """A gate whose link's surface lies 6 mm from its foot, as the planner lays it, the tip piece 0.98 tips long."""
    knee = np.array([1.5, 0.0, 3.0]) if bent else np.array([0.0, 0.0, 3.0])
    way = np.array([0.0, 0.0, 6.0]) - knee
    way /= np.linalg.norm(way)
    surface = np.array([0.0, 0.0, 6.0])
    end = surface + 0.35 * way
    points = np.array([[0.0, 0.0, 0.0], knee, end - 0.98 * tip * way, surface, end]) * [1.0, 1.0, up]
    return Gate(0, points, shaft, tip, 5.0, 2.0, 0.0, 1 if bent else 0)


def sizes(cut="nipper", overhang=30.0):
    profile = replace(BENCH, overhang_deg=overhang)
    return choose_sizes(FeedSpec(cut=cut), profile, wire_mm=2.2)


def profile_of(solid, start, way):
    """Heights along the axis from ``start`` and radii of all points of a mesh."""
    away = solid.mesh.points - start
    along = away @ way
    return along, np.linalg.norm(away - along[:, None] * way, axis=1)


@pytest.mark.parametrize("bent", [False, True])
@pytest.mark.parametrize("up", [1.0, -1.0])
@pytest.mark.parametrize("overhang", [30.0, 55.0])
def test_a_neck_lies_right_outside_the_link_between_two_cones_that_print(bent, up, overhang):
    one = gate(bent=bent, up=up)
    solid = gate_solid(one, (LINK,), up < 0, sizes(overhang=overhang))
    found = facts(solid.mesh)
    assert found.closed
    assert not found.inside_out
    assert (found.shells, found.genus, found.zero_area) == (1, 0, 0)
    # Two thirds of the tip's section: our judgement.
    assert solid.neck_mm == pytest.approx(NECK)
    surface = one.points[3]
    way = (one.points[4] - surface) / np.linalg.norm(one.points[4] - surface)
    along, radius = profile_of(solid, surface, way)
    thin = np.isclose(radius, solid.neck_mm / 2)
    # The straight part ends this near to the metal: what the nipper leaves is that high.
    assert -0.4 < along[thin].max() <= -0.15 + 1e-9
    assert radius[along > -2.0].min() == pytest.approx(solid.neck_mm / 2)
    assert radius[np.isclose(along, 0.0)] == pytest.approx(T / 2)
    corners = solid.mesh.corners()
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    # Against the gate's own axis no face of a cone is flatter than prints.
    middle = (corners.mean(axis=1) - surface) @ way
    cone = (np.abs(normal @ way) < 0.999) & (middle > -3.0)
    assert np.degrees(np.arccos(np.abs(normal[cone] @ way))).min() >= overhang


def test_struts_still_hold_a_gate_with_a_neck_and_tell_its_tip_and_root():
    solid = gate_solid(gate(bent=True), (LINK,), False, sizes())
    shaft, last, tip = solid.struts
    assert shaft.end == last.start
    assert last.end == tip.start
    assert (last.d_end_mm, tip.d_start_mm, tip.d_end_mm, tip.feeds) == (S, S, T, "link 1")
    a, way = np.array(tip.start), np.subtract(tip.end, tip.start)
    t = (solid.mesh.points - a) @ way / (way @ way)
    mine = t > 1e-6
    away = np.linalg.norm(solid.mesh.points - a - t[:, None] * way, axis=1)
    assert (away[mine] <= (S + t[mine] * (T - S)) / 2 + 1e-9).all()


def test_a_saw_wants_no_neck_and_a_tip_as_thin_as_a_wall_gets_none():
    for cut in ("saw", "disc"):
        solid = gate_solid(gate(), (LINK,), False, sizes(cut))
        assert solid.neck_mm is None
        assert solid.struts[-1].start == tuple(gate().points[2])
    assert gate_solid(gate(tip=BENCH.wall_floor_mm), (LINK,), False, sizes()).neck_mm is None
    spec = FeedSpec(cut="nipper", tip_mm=BENCH.wall_floor_mm)
    told = written_size_findings(spec, choose_sizes(spec, BENCH, wire_mm=2.2))
    assert [f.severity for f in told if "feed.cut" in f.text] == ["note"]
    # Never thinner than the thinnest wall that prints.
    assert gate_solid(gate(tip=1.0), (LINK,), False, sizes()).neck_mm == BENCH.wall_floor_mm


def test_where_the_shaft_is_short_the_neck_is_thicker_or_left_out():
    def above_knee(shaft, room):
        one = gate(shaft=shaft, bent=True)
        points = one.points.copy()
        points[1] = points[3] - room * (points[3] - points[1]) / np.linalg.norm(points[3] - points[1])
        return gate_solid(replace(one, points=points), (LINK,), False, sizes())

    assert above_knee(2.6, 3.0).neck_mm == pytest.approx(NECK)
    # A cone of 45 degrees from 2.6 mm, 0.2 mm of neck, 0.15 mm to the link, in 1.0 mm.
    short = above_knee(2.6, 1.1)
    assert short.neck_mm == pytest.approx(2.6 - 2 * 0.65)
    assert facts(short.mesh).closed
    assert above_knee(3.0, 1.1).neck_mm is None


def test_necks_are_told_of_with_their_sizes_and_soften_the_column_under_a_link():
    solid = gate_solid(gate(), (LINK,), False, sizes())
    found = quick_rule_findings(Lattice((solid,), 0.0), 2.2)
    note = next(f for f in found if "break-off" in f.text)
    assert (note.code, note.severity) == ("modulus", "note")
    for figure in ("1.12 mm", "1.40 mm", "2.42 mm", "64 %"):
        assert figure in note.text
    assert column_of(solid).neck_mm == solid.neck_mm
    assert column_of(gate_solid(gate(), (LINK,), False, sizes("saw"))).neck_mm == T


def test_a_whole_job_with_necks_is_sound():
    way = straight_way(4, 6.8)
    lattice = planned(chain(way, samples=32), way, upper_ring=True, cut="nipper")
    assert codes(lattice.findings, "stop") == codes(lattice.findings, "warn") == []
    necks = [s.neck_mm for s in lattice.solids if s.feeds is not None]
    assert len(necks) == 8
    assert all(n is not None and n >= BENCH.wall_floor_mm for n in necks)
    assert all(s.neck_mm is None for s in lattice.solids if s.feeds is None)


def test_gates_drawn_in_between_links_say_by_how_much_and_what_makes_room():
    way = ring_way(12, 6.8)
    bodies = chain(way, samples=32)
    wished = choose_sizes(FeedSpec(), BENCH, wire_mm=2.2)
    thin = [replace(gate(shaft=wished.gate_mm - less), clear_mm=3.5) for less in (0.0, 0.3, 0.5)]
    (note,) = narrowed_findings(thin, bodies, wished, above=False)
    assert (note.code, note.severity, note.bodies) == ("modulus", "note", ("link 1",))
    assert note.value == pytest.approx(wished.gate_mm - 0.5)
    assert note.limit == pytest.approx(wished.gate_mm)
    assert "2 gates" in note.text
    assert "0.50 mm more between the links" in note.text
    assert narrowed_findings(thin[:1], bodies, wished, above=False) == ()
    # From above a cone too flat to print is no want of room.
    cone = gate(shaft=1.4 + 2 * 0.4, tip=1.4)
    points = cone.points.copy()
    points[2] = points[3] - [0.0, 0.0, 0.4]
    assert narrowed_findings([replace(cone, points=points, clear_mm=3.5)], bodies, wished, above=True) == ()
