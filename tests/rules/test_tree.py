"""Small sets of bodies on a hub with branches: the tree on the plate, what it carries, and what cannot be done."""

from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lattices import BENCH, codes, link
from mesh_shapes import cubes, flipped, torus
from scipy.sparse.csgraph import minimum_spanning_tree
from scipy.spatial.distance import cdist

from addon.rules.base.errors import BadInput
from addon.rules.base.progress import finish
from addon.rules.feed.branches import HUB, Rod, Tree, branches, grown, hub_places, same_places, tightest
from addon.rules.feed.lattice import Lattice
from addon.rules.feed.sections import footed
from addon.rules.feed.spec import FeedSpec
from addon.rules.feed.tree import plan_set
from addon.rules.files import stl
from addon.rules.solid.mesh import Body, Pose, mesh
from addon.verbs import main
from addon.verbs.host import HostTools

UPRIGHT = np.array([[1.0, 0, 0], [0, 0, -1], [0, 1, 0]])
places = st.lists(st.tuples(st.integers(0, 60), st.integers(0, 60)), min_size=1, max_size=14, unique=True)


def stood(name, shape, at, turn=UPRIGHT):
    return Body(name, shape, Pose(turn, np.array(at, dtype=float)))


def drawn(count, pitch=15.0):
    shape, wire = link("trace")
    return tuple(
        Body(f"link {k + 1}", shape, Pose(UPRIGHT, np.array([k * pitch, 0.0, 0.0])), wire) for k in range(count)
    )


def grid(across, up, pitch, shape):
    return tuple(
        stood(f"charm {across * y + x + 1}", shape, (pitch * x, pitch * y, 0.0))
        for y in range(up)
        for x in range(across)
    )


def table():
    """A plate on four legs, welded: printing it begins at four places."""
    filled = np.zeros((13, 13, 6), dtype=bool)
    filled[:, :, 4:] = True
    for x in (0, 11):
        for y in (0, 11):
            filled[x : x + 2, y : y + 2, :4] = True
    loose = cubes(filled)
    points, welded = np.unique(np.round(loose.points, 6), axis=0, return_inverse=True)
    return mesh(points, welded.reshape(-1)[loose.triangles])


EARRING, BEAD, CHARM = torus(6.0, 1.0, 32, 10), torus(3.0, 1.2, 24, 10), torus(4.0, 1.0, 24, 10)
BAND, HOOP = torus(7.0, 2.0, 32, 10), torus(3.5, 0.6, 24, 10)
SETS = {
    "a single link": drawn(1),
    "three loose links": drawn(3),
    "a pair of earrings": (stood("left", EARRING, (0, 0, 0)), stood("right", EARRING, (80, 0, 0))),
    "twelve charms": grid(4, 3, 16.0, CHARM),
    "a table": (stood("table", table(), (0, 0, 0), np.eye(3)),),
    "different heights": tuple(stood(f"bead {k}", BEAD, (13.0 * k, 4.0 * (k % 2), 5.0 * k)) for k in range(4)),
    "thick and thin": (*drawn(1), stood("band", BAND, (30, 0, 0)), stood("hoop", HOOP, (14, 20, 3))),
}
HOLDS = {"a table": 4}


@pytest.fixture(scope="module")
def planned() -> dict[str, Lattice]:
    return {name: finish(plan_set(bodies, BENCH, FeedSpec())) for name, bodies in SETS.items()}


def of(lattice, role):
    return [s for s in lattice.solids if s.role == role]


def gates(lattice):
    return [s for s in lattice.struts if s.feeds is not None]


@pytest.mark.parametrize("name", SETS)
def test_every_body_is_fed_and_the_lattice_is_sound(name: str, planned: dict[str, Lattice]) -> None:
    """`check_lattice` is tested by itself, on lattices broken on purpose; its findings are part of the plan's."""
    lattice, bodies = planned[name], SETS[name]
    assert codes(lattice.findings, "stop") == []
    assert {g.feeds for g in gates(lattice)} == {b.name for b in bodies}
    assert len(gates(lattice)) >= HOLDS.get(name, len(bodies))
    assert len(of(lattice, "trunk")) == 1
    lowest = min(s.mesh.points[:, 2].min() for s in lattice.solids)
    assert lowest == lattice.plate_z_mm
    for role in ("ring", "spoke", "trunk"):
        assert all(s.mesh.points[:, 2].min() == lattice.plate_z_mm for s in of(lattice, role))
    assert min(b.points()[:, 2].min() for b in bodies) > lattice.plate_z_mm + 3.0


@pytest.mark.parametrize("name", SETS)
def test_metal_grows_towards_the_button(name: str, planned: dict[str, Lattice]) -> None:
    """Gate <= branch, branch x 1.2 <= spoke, spoke x 1.2 <= hub: the order of the quick rules (common practice)."""
    lattice = planned[name]
    gate, ring, spoke, hub = ([s.modulus_mm for s in of(lattice, role)] for role in ("gate", "ring", "spoke", "trunk"))
    assert max(gate) <= max(ring) + 1e-9
    assert 1.2 * max(ring) <= min(spoke) + 1e-9
    assert 1.2 * max(spoke) <= hub[0] + 1e-9
    tips = sum(np.pi / 4 * g.d_end_mm**2 for g in gates(lattice))
    section = footed(BENCH.overhang_deg)
    assert sum(section.area_mm2(s.struts[0].d_start_mm) for s in of(lattice, "spoke")) >= tips


def test_gates_stand_straight_under_the_places_they_hold(planned: dict[str, Lattice]) -> None:
    for solid in of(planned["twelve charms"], "gate"):
        foot, end = solid.struts[0].start, solid.struts[-1].end
        assert np.hypot(end[0] - foot[0], end[1] - foot[1]) < 0.1


def test_a_pair_far_apart_shares_a_hub_halfway(planned: dict[str, Lattice]) -> None:
    lattice = planned["a pair of earrings"]
    (hub,) = of(lattice, "trunk")
    assert hub.struts[0].start[:2] == pytest.approx((40.0, 0.0), abs=0.5)
    assert len(of(lattice, "spoke")) == 2


def test_the_same_bodies_give_the_same_lattice_wherever_they_stand() -> None:
    bodies = SETS["thick and thin"]
    first, again = (finish(plan_set(bodies, BENCH, FeedSpec())) for _ in range(2))
    assert first.struts == again.struts
    shift = np.array([12.0, -7.0, 3.0])
    there = finish(plan_set([b.moved(shift) for b in bodies], BENCH, FeedSpec()))
    for one, other in zip(first.struts, there.struts, strict=True):
        assert np.allclose(np.add(one.start, shift), other.start, atol=1e-4)


def test_a_thin_body_keeps_its_own_gate_beside_a_thick_one(planned: dict[str, Lattice]) -> None:
    lattice = planned["thick and thin"]
    shaft = {s.feeds: s.struts[0].d_start_mm for s in of(lattice, "gate")}
    assert shaft["hoop"] < 1.6 < 3.0 < shaft["band"]


def test_what_the_maker_wrote_is_kept_and_judged() -> None:
    lattice = finish(plan_set(drawn(2), BENCH, FeedSpec(ring_mm=3.0, gate_length_mm=5.0, fillet_mm=0.3)))
    assert {s.d_start_mm for s in lattice.struts if s.role == "ring"} == {3.0}
    high = min(b.points()[:, 2].min() for b in drawn(2))
    axis = footed(BENCH.overhang_deg).foot * 1.5
    assert high - lattice.plate_z_mm - axis - 1.5 == pytest.approx(5.0, abs=0.1)


def test_a_body_right_over_another_is_told_of() -> None:
    ball = torus(2.0, 1.6, 24, 12)
    lattice = finish(plan_set((stood("low", ball, (0, 0, 0)), stood("high", ball, (0, 0, 14))), BENCH, FeedSpec()))
    (stop, bare) = [f for f in lattice.findings if f.severity == "stop"][:2]
    assert (stop.code, bare.code) == ("strut-unrouted", "no-gate")
    assert stop.bodies == bare.bodies == ("high",)
    assert "low is in the way" in stop.text


def test_bodies_too_close_for_a_thick_branch_are_told_of() -> None:
    close = grid(4, 2, 7.0, torus(2.0, 1.0, 20, 8))
    lattice = finish(plan_set(close, BENCH, FeedSpec(ring_mm=12.0)))
    told = [f for f in lattice.findings if f.severity == "stop" and f.code == "strut-unrouted"]
    assert told
    assert "0.6 mm" in told[0].text


def test_branches_are_measured_where_they_lie_apart() -> None:
    feet = np.array([[0.0, 0.0], [20.0, 0.0], [10.0, 17.0]])
    level = Rod(feet[:2], 4.0, frozenset((0, 1)))
    beside = Rod(feet[:2] + np.array([0.0, 10.0]), 5.0, frozenset())
    assert tightest([level, beside], feet, 0.6) == pytest.approx((10.0 - 4.5 - 0.6,) * 2)
    across = Rod(np.array([[10.0, -5.0], [10.0, 5.0]]), 5.0, frozenset())
    assert max(tightest([level, across], feet, 0.6)) < -4.0
    leaving = Rod(feet[[0, 2]], 4.0, frozenset((0, 2)))
    corner, apart = tightest([level, leaving], feet, 0.6)
    assert corner > 0.0
    assert apart == np.inf
    flat = Rod(np.array([[0.0, 0.0], [20.0, 5.0]]), 4.0, frozenset((0, 2)))
    assert tightest([level, flat], feet, 0.6)[0] < 0.0


@pytest.mark.parametrize(
    ("bodies", "said"), [((), "no bodies"), ((*drawn(1), *drawn(1)), "two bodies are called 'link 1'")]
)
def test_sets_that_cannot_be_fed_are_refused(bodies: tuple[Body, ...], said: str) -> None:
    with pytest.raises(BadInput, match=said):
        finish(plan_set(bodies, BENCH, FeedSpec()))


@settings(max_examples=20)
@given(places, st.tuples(st.integers(-20, 80), st.integers(-20, 80)))
def test_without_the_way_gone_the_tree_is_the_shortest_one(feet: list[tuple[int, int]], hub: tuple[int, int]) -> None:
    """Against scipy's minimum spanning tree."""
    points, at = np.array(feet, dtype=float), np.array([hub], dtype=float) + 0.5
    parent, _ = grown(at, points, 0.0)
    ends = np.where((parent[0] == HUB)[:, None], at, points[np.maximum(parent[0], 0)])
    nodes = np.concatenate((at, points))
    shortest = minimum_spanning_tree(cdist(nodes, nodes)).sum()
    assert np.linalg.norm(points - ends, axis=1).sum() == pytest.approx(shortest, rel=1e-9)


@settings(max_examples=20)
@given(places, st.sampled_from((0.0, 0.25, 0.5)))
def test_branches_pass_every_place_and_go_each_way_once(feet: list[tuple[int, int]], gone: float) -> None:
    points = np.array(feet, dtype=float)
    at = np.array([[-15.0, 7.5]])
    parent, _ = grown(at, points, gone)
    tree = Tree(at[0], points, tuple(parent[0].tolist()))
    laid = branches(tree)
    ways = [frozenset(pair) for one in laid for pair in pairwise(one.places)]
    wanted = [frozenset((k, p)) for k, p in enumerate(tree.parent) if p != HUB]
    assert sorted(map(sorted, ways)) == sorted(map(sorted, wanted))
    assert {k for one in laid for k in one.places} == set(range(len(points)))
    roots = [k for k, p in enumerate(tree.parent) if p == HUB]
    assert sorted(one.root for one in laid if one.depth == 0) == roots
    loads = tree.loads([1.0] * len(points))
    assert sum(loads[k] for k in roots) == len(points)
    for one in laid:
        assert np.allclose(one.course.at(one.at_mm)[:, :2], points[list(one.places)], atol=1e-6)


def test_a_hub_keeps_its_room_and_lies_between_its_places() -> None:
    feet, which = same_places(np.array([[0.0, 0], [30, 0], [30, 30], [0, 30], [0.2, 0.1]]))
    assert (len(feet), which) == (4, (0, 1, 2, 3, 0))
    best = finish(hub_places(feet, 8.0, 0.5))[0]
    assert np.linalg.norm(feet - best.hub, axis=1).min() >= 8.0
    assert ((best.hub > 0.0) & (best.hub < 30.0)).all()


def refusing(*_: object) -> None:
    raise AssertionError("nothing is joined or written")


@pytest.mark.parametrize(
    ("files", "said"),
    [
        (("job.toml", "ring.stl"), "do not go together"),
        (("job.toml", "other.toml"), "one job file at a time"),
        (("job.toml", "--unit", "cm"), "--unit"),
        (("open.stl",), "body 1: is open"),
        (("wrong.stl",), "body 1: is inside out"),
        (("ring.stl", "--profile", "none"), "no profile 'none'"),
    ],
)
def test_files_that_cannot_be_fed_are_refused_in_a_line(
    files: tuple[str, ...], said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    ring = torus(4.0, 1.0, 24, 8)
    stl.write(tmp_path / "ring.stl", ring)
    stl.write(tmp_path / "open.stl", mesh(ring.points, ring.triangles[1:]))
    stl.write(tmp_path / "wrong.stl", flipped(ring))
    words = [str(tmp_path / one) if "." in one else one for one in files]
    out = tmp_path / "out.stl"
    assert main(["feed", *words, "-o", str(out)], HostTools(refusing, refusing, refusing)) == 2
    told = capsys.readouterr()
    assert said in told.err
    assert told.err.count("\n") == 1
    assert not out.exists()
