"""Columns: the turns of a coil above each other are all fed, from columns that stand beside them."""

import numpy as np
import pytest
from lattices import BENCH, codes, curve_way

from addon.rules.base.progress import finish
from addon.rules.chain.build import build_chain
from addon.rules.chain.spec import ChainSpec, LayoutSpec
from addon.rules.feed.course import plan_course
from addon.rules.feed.frame import standing_free
from addon.rules.feed.lattice import Lattice
from addon.rules.feed.leaning import Pulled, Seat, leaning, leaning_findings, moved
from addon.rules.feed.plan import plan_lattice
from addon.rules.feed.skeletons import between
from addon.rules.feed.spec import FeedSpec, PinnedGate
from addon.rules.feed.steadiness import RESIN_MPA
from addon.rules.solid.mesh import Body, Mesh

WIRE = 2.2
APART = 5.0


@pytest.fixture(scope="module")
def coil():
    return finish(build_chain(ChainSpec("curb", WIRE, 12.2, 9.7, 0.4), LayoutSpec("coil", links=31)))


def fed(chain, **options):
    return finish(plan_lattice(chain.bodies, chain.path, BENCH, FeedSpec(**options), wire_mm=WIRE))


@pytest.fixture(scope="module")
def lattice(coil):
    return fed(coil)


def points(count):
    mesh = Mesh(np.eye(3), np.array([[0, 1, 2]]))
    return tuple(Body(f"link {k}", mesh) for k in range(count))


def test_every_link_of_a_coil_is_fed_and_nothing_stops_it(coil, lattice):
    assert codes(lattice.findings, "stop") == []
    assert {s.feeds for s in lattice.struts if s.feeds} == {b.name for b in coil.bodies}
    posts = [s for s in lattice.solids if s.role == "post"]
    columns = [s for s in posts if len(s.struts) > 1]
    assert 0 < len(columns) < len(coil.bodies)


def test_gates_of_upper_turns_grow_from_the_axes_of_columns(coil, lattice):
    course = plan_course(coil.bodies, coil.path, apart_mm=APART)
    upper = {coil.bodies[k].name for k in np.flatnonzero(course.over)}
    pieces = [s for one in lattice.solids if one.role == "post" for s in one.struts]
    start, end = np.array([s.start for s in pieces]), np.array([s.end for s in pieces])
    for gate in (s for s in lattice.solids if s.feeds in upper):
        foot = np.broadcast_to(np.array(gate.struts[0].start), start.shape)
        assert between(foot, foot, start, end).min() < 1e-6
        # Slanted, but steeper than prints.
        for strut in gate.struts:
            rise = np.subtract(strut.end, strut.start)
            assert np.degrees(np.arcsin(rise[2] / np.linalg.norm(rise))) > BENCH.overhang_deg


def test_columns_are_no_thinner_than_their_gates_and_no_thicker_than_the_ring_feeds(lattice):
    # A tie between two columns, one straight piece, feeds nothing.
    feeding = [s for s in lattice.solids if s.role != "post" or len(s.struts) > 1]
    modulus = {role: [s.modulus_mm for s in feeding if s.role == role] for role in ("gate", "post", "ring")}
    assert max(modulus["gate"]) <= min(modulus["post"]) + 1e-9
    assert max(modulus["post"]) <= min(modulus["ring"]) + 1e-9


def test_an_upper_ring_over_a_coil_is_left_out_and_said(coil):
    lattice = fed(coil, upper_ring=True)
    assert codes(lattice.findings, "stop") == []
    assert [f.code for f in lattice.findings if "upper ring: the chain lies over itself" in f.text] == [
        "strut-unrouted"
    ]
    assert [s for s in lattice.solids if s.role == "upper"] == []


def test_the_course_under_a_coil_is_its_first_turn_closed(coil):
    course = plan_course(coil.bodies, coil.path, apart_mm=APART)
    radius = np.hypot(*coil.path.origins[:, :2].T).mean()
    assert course.closed
    assert course.crosses
    # The chords of a spline through places on a circle: close to its girth.
    assert course.length_mm == pytest.approx(2 * np.pi * radius, rel=0.01)
    first = int(np.argmax(course.over))
    assert course.over[first:].all()
    turn = np.abs(np.diff(np.unwrap(np.arctan2(*coil.path.origins[[0, 1], 1::-1].T))))[0]
    assert first == pytest.approx(2 * np.pi / turn, abs=2)
    assert (course.at_mm >= 0.0).all()
    assert (course.at_mm <= course.length_mm).all()


def test_a_chain_beside_itself_is_not_over_itself():
    spiral = np.array([[(20 + 1.2 * a) * np.cos(a), (20 + 1.2 * a) * np.sin(a), 0.0] for a in np.arange(0, 20, 0.3)])
    course = plan_course(points(len(spiral)), curve_way(spiral), apart_mm=APART)
    assert not course.over.any()
    assert not course.crosses


def test_a_short_bridge_over_itself_is_still_one_course():
    """A loop that passes once over its own beginning, 12 mm higher."""
    angle = np.linspace(-0.3, 2 * np.pi + 0.3, 40)
    loop = np.stack((40 * np.cos(angle), 40 * np.sin(2 * angle), 12 * np.exp(-((angle - 4.7) ** 2) * 3)), axis=1)
    course = plan_course(points(len(loop)), curve_way(loop), apart_mm=APART)
    assert course.crosses
    assert not course.over.any()


def test_a_link_on_a_stiff_gate_moves_with_its_column():
    """Tip slope M L / E I and shift M L^2 / 2 E I of a cantilever under an end moment (Roark)."""
    length, d, lever, force = 30.0, 4.0, 6.0, 0.1
    foot = np.array([0.0, 0.0, length])
    column = standing_free(np.array([[0.0, 0.0, 0.0], foot]), np.array([d]), np.array([length]))
    seat = Seat(np.array([0]), foot[None], foot[None], np.zeros((1, 6, 6)))
    layer = Pulled(np.array([force]), np.array([[lever, 0.0, length]]), np.array([[[lever, 0.0, length]]]))
    now = moved(seat, column.compliance, layer)
    stiff = RESIN_MPA * np.pi * d**4 / 64
    moment = force * lever
    wanted = [
        -moment * length**2 / (2 * stiff),
        0.0,
        moment * length / stiff * lever + force * length / (RESIN_MPA * np.pi * d**2 / 4),
    ]
    assert now.way_mm[0] == pytest.approx(wanted, abs=1e-12)
    assert now.most_mm[0] == pytest.approx(np.linalg.norm(wanted))


def test_two_columns_side_by_side_halve_a_lift():
    """Springs side by side: a pull at the middle between two alike columns moves the link by half of F L / A E."""
    length, d, apart, force = 30.0, 4.0, 12.0, 0.1
    free = standing_free(np.array([[0.0, 0.0, 0.0], [0.0, 0.0, length]]), np.array([d]), np.array([length])).compliance
    feet = np.array([[0.0, 0.0, length], [apart, 0.0, length]])
    seat = Seat(np.array([0, 1]), feet, feet, np.zeros((2, 6, 6)))
    middle = feet.mean(axis=0)
    layer = Pulled(np.array([force]), middle[None], middle[None, None])
    now = moved(seat, np.kron(np.eye(2), free), layer)
    assert now.way_mm[0] == pytest.approx([0.0, 0.0, force * length / (RESIN_MPA * np.pi * d**2 / 4) / 2], abs=1e-12)


def test_a_slender_column_is_said(coil, lattice):
    """Without ties, and with gates from one side alone, columns are too slender for most links."""
    first = set()
    solids = []
    for solid in lattice.solids:
        tie = solid.role == "post" and len(solid.struts) == 1
        if not tie and (solid.feeds is None or solid.feeds not in first):
            solids.append(solid)
            first.add(solid.feeds)
    bare = Lattice(tuple(solids), lattice.plate_z_mm)
    (said,) = finish(leaning_findings(coil.bodies, bare, BENCH, 0.4))
    upper = {coil.bodies[k].name for k in np.flatnonzero(plan_course(coil.bodies, coil.path, apart_mm=APART).over)}
    assert (said.code, said.severity) == ("unsteady", "warn")
    assert said.value > said.limit == pytest.approx(0.1)
    assert set(said.bodies) <= upper == set(leaning(lattice).seats)
    assert len(said.bodies) > len(upper) / 2


def test_gates_from_columns_hold_the_lowest_place_of_their_link(coil, lattice):
    """What is printed first of a link lies inside its tip, so that no link begins in mid-air."""
    bodies = {b.name: b for b in coil.bodies}
    for name in leaning(lattice).seats:
        places = bodies[name].points()
        lowest = places[places[:, 2].argmin()]
        away = []
        for gate in (s for s in lattice.solids if s.feeds == name):
            tip = gate.struts[-1]
            start, end = np.array(tip.start), np.array(tip.end)
            away.append(float(between(lowest, lowest, start, end)) - tip.d_end_mm / 2)
        assert min(away) < 0.0


def test_a_pinned_gate_of_an_upper_turn_keeps_its_place(coil):
    """Its column is planned with it: the gate enters where it did, and hangs on a column."""
    before = fed(coil)
    body = coil.bodies[-2]
    gate = next(s for s in before.solids if s.feeds == body.name)
    line = (np.array(gate.line) - body.pose.origin) @ body.pose.rotation
    pin = PinnedGate(body.name, False, tuple(tuple(p) for p in line.tolist()), 2.4, 1.1)
    after = fed(coil, pinned=(pin,))
    assert codes(after.findings, "stop") == []
    kept = [s for s in after.solids if s.feeds == body.name]
    assert len(kept) == 1
    assert np.linalg.norm(np.subtract(kept[0].line[-1], gate.line[-1])) < WIRE
