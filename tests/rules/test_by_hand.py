"""What the maker did by hand: pinned gates stay, wanted ones are led there, barred places stay free, others go."""

from dataclasses import replace

import numpy as np
import pytest
from lattices import BENCH, Way, chain, codes, curve_way, ring_way

from addon.rules.base.progress import finish
from addon.rules.feed.plan import plan_lattice
from addon.rules.feed.spec import FeedSpec, GatePlace, PinnedGate
from addon.rules.solid.mesh import Pose

WAY = ring_way(16, 6.8)
BODIES = chain(WAY)


def plan(spec=FeedSpec(), bodies=BODIES, way=WAY):  # noqa: B008
    return finish(plan_lattice(bodies, way, BENCH, spec, wire_mm=2.2))


def gates(lattice, name, *, above=False):
    return [s for s in lattice.solids if s.feeds == name and s.above is above]


def body(name, bodies=BODIES):
    return next(b for b in bodies if b.name == name)


def local(points, of):
    return (np.asarray(points) - of.pose.origin) @ of.pose.rotation


def pin(solid, of):
    line = tuple(tuple(p) for p in local(solid.line, of).tolist())
    return PinnedGate(of.name, solid.above, line, solid.struts[0].d_start_mm, solid.struts[-1].d_end_mm)


@pytest.fixture(scope="module")
def usual():
    return plan(FeedSpec(upper_ring=True))


@pytest.mark.parametrize("above", [False, True])
def test_a_pinned_gate_stays_as_it_is_while_all_else_is_planned_anew(usual, above):
    before = gates(usual, "link 3", above=above)[0]
    spec = FeedSpec(upper_ring=True, tip_mm=1.4, ring_mm=3.6, pinned=(pin(before, body("link 3")),))
    after = plan(spec)
    kept = gates(after, "link 3", above=above)
    assert len(kept) == 1
    # The foot goes with its ring, which is thicker here; all above the knee stays to the last digit.
    assert np.abs(np.subtract(kept[0].line, before.line))[2:].max() < 1e-9
    assert kept[0].struts[-1].d_end_mm == before.struts[-1].d_end_mm
    others = [s for s in after.struts if s.feeds not in (None, "link 3")]
    assert {s.d_end_mm for s in others} == {1.4}
    assert codes(after.findings, "stop") == []


def test_pinned_and_replanned_with_nothing_changed_gives_the_same_lattice(usual):
    pins = tuple(
        pin(g, body(n)) for n in ("link 3", "link 9") for up in (False, True) for g in gates(usual, n, above=up)
    )
    after = plan(FeedSpec(upper_ring=True, pinned=pins))
    for name in ("link 3", "link 9", "link 10"):
        for up in (False, True):
            a, b = gates(usual, name, above=up), gates(after, name, above=up)
            assert len(a) == len(b) == 1
            assert np.abs(a[0].mesh.points - b[0].mesh.points).max() < 1e-9


def test_a_pin_goes_where_its_link_goes(usual):
    before = gates(usual, "link 3")[0]
    angle = np.radians(33)
    about = np.array([[np.cos(angle), -np.sin(angle), 0], [np.sin(angle), np.cos(angle), 0], [0, 0, 1.0]])
    shift = np.array([50.0, -20.0, 7.0])
    moved = [replace(b, pose=Pose(about @ b.pose.rotation, about @ b.pose.origin + shift)) for b in BODIES]
    way = Way(WAY.origins @ about.T + shift, about @ WAY.rotations, closed=True)
    after = plan(FeedSpec(upper_ring=True, pinned=(pin(before, body("link 3")),)), moved, way)
    wanted = np.array(before.line) @ about.T + shift
    assert np.abs(np.array(gates(after, "link 3")[0].line) - wanted)[2:].max() < 1e-9


def test_a_pinned_gate_too_near_a_stranger_is_kept_and_told_of(usual):
    before = gates(usual, "link 3")[0]
    # Lead it up between the links where no gate fits: its tip into link 3, its shaft through link 4.
    line = np.array(before.line)
    line[:3] += 0.55 * (gates(usual, "link 4")[0].line[0] - line[0])
    pinned = pin(replace(before, line=tuple(tuple(p) for p in line.tolist())), body("link 3"))
    after = plan(FeedSpec(pinned=(replace(pinned, shaft_mm=4.5),)))
    assert len(gates(after, "link 3")) == 1
    near = [f for f in after.findings if f.code == "strut-near" and f.severity == "stop"]
    assert any("link 3" in f.bodies for f in near)


def test_a_gate_is_led_to_a_wanted_place_beside_the_one_that_holds_the_link():
    way = curve_way(np.stack((np.arange(5) * 9.0, np.zeros(5), np.zeros(5)), axis=1))
    bodies = chain(way)
    of = bodies[2]
    line = of.pose.apply(of.wire.centreline)
    away = np.linalg.norm(line - gates(plan(bodies=bodies, way=way), of.name)[0].line[-1], axis=1)
    beside = line[(away > 3.0) & (away < 4.0)]
    at = beside[beside[:, 2].argmin()]
    after = plan(FeedSpec(wanted=(GatePlace(of.name, tuple(local(at, of).tolist())),)), bodies, way)
    ends = np.array([g.line[-1] for g in gates(after, of.name)])
    assert len(ends) == 2
    assert np.linalg.norm(ends - at, axis=1).min() < 1.2
    assert codes(after.findings, "stop") == []


def test_a_wanted_place_by_the_start_of_the_link_takes_its_gate_over():
    before = gates(plan(), "link 5")[0]
    of = body("link 5")
    along = (np.roll(of.wire.centreline, -1, axis=0) - of.wire.centreline)[:1]
    at = local(before.line[-1], of) + 0.6 * along[0] / np.linalg.norm(along)
    after = plan(FeedSpec(wanted=(GatePlace("link 5", tuple(at.tolist())),)))
    assert len(gates(after, "link 5")) == 1
    assert codes(after.findings, "stop") == []


def test_a_wanted_place_without_a_way_is_told_of_as_the_makers_own():
    of = body("link 5")
    line = of.pose.apply(of.wire.centreline)
    top = line[line[:, 2].argmax()]
    after = plan(FeedSpec(wanted=(GatePlace("link 5", tuple(local(top, of).tolist())),)))
    found = [f for f in after.findings if f.code == "strut-unrouted"]
    assert [f.bodies for f in found] == [("link 5",)]
    assert "the gate you asked for" in found[0].text
    assert len(gates(after, "link 5")) == 1


def test_a_removed_gate_is_gone_and_its_link_told_of(usual):
    of = body("link 7")
    place = GatePlace("link 7", tuple(local(gates(plan(), "link 7")[0].line[-1], of).tolist()))
    after = plan(FeedSpec(removed=(place,)))
    assert gates(after, "link 7") == []
    assert [f.bodies for f in after.findings if f.severity == "stop"] == [("link 7",)]
    assert codes(after.findings, "stop") == ["no-gate"]
    # The same place from above clears the upper gate only.
    up = GatePlace("link 7", tuple(local(gates(usual, "link 7", above=True)[0].line[-1], of).tolist()), above=True)
    after = plan(FeedSpec(upper_ring=True, removed=(up,)))
    assert (len(gates(after, "link 7")), len(gates(after, "link 7", above=True))) == (1, 0)


def test_a_barred_place_gets_no_gate_and_the_link_another():
    of = body("link 7")
    end = np.array(gates(plan(), "link 7")[0].line[-1])
    after = plan(FeedSpec(barred=(GatePlace("link 7", tuple(local(end, of).tolist())),)))
    left = gates(after, "link 7")
    assert left
    assert min(np.linalg.norm(np.array(g.line[-1]) - end) for g in left) > 1.0
    # Only that link is touched.
    assert np.abs(np.subtract(gates(after, "link 12")[0].line, gates(plan(), "link 12")[0].line))[2:].max() < 1e-9


def test_what_was_done_to_links_that_are_gone_changes_nothing(usual):
    gone = GatePlace("link 99", (0.0, 0.0, 0.0))
    stale = replace(pin(gates(usual, "link 3")[0], body("link 3")), body="link 99")
    after = plan(FeedSpec(upper_ring=True, pinned=(stale,), wanted=(gone,), barred=(gone,), removed=(gone,)))
    assert [s.role for s in after.solids] == [s.role for s in usual.solids]
    assert all(np.array_equal(a.mesh.points, b.mesh.points) for a, b in zip(after.solids, usual.solids, strict=True))
