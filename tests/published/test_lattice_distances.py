"""Struts against bodies and struts against struts, measured by python-fcl on the exact meshes.

The Flexible Collision Library is a general collision library: bounding-volume trees over the same triangles, nothing of
ours. Which struts belong together is told by it as well: those that collide.
"""

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from lattices import BENCH, chain, curve_way, planned, ring_way

from addon.rules.base.progress import finish
from addon.rules.chain.build import build_chain
from addon.rules.chain.spec import ChainSpec, LayoutSpec
from addon.rules.feed.distances import distance_findings
from addon.rules.feed.lattice import LatticeSolid, Strut
from addon.rules.feed.plan import plan_lattice
from addon.rules.feed.rods import rod
from addon.rules.feed.spec import FeedSpec

fcl = pytest.importorskip("fcl")

# Every distance under this is compared: far more than any floor.
FAR_MM = 2.5
JOINTS = {
    frozenset(pair)
    for pair in (
        ("ring", "gate"),
        ("ring", "post"),
        ("ring", "spoke"),
        ("trunk", "spoke"),
        ("spoke", "gate"),
        ("spoke", "post"),
        ("upper", "gate"),
        ("upper", "post"),
        ("gate", "post"),
    )
}


def curb_ring():
    way = ring_way(12, 6.8)
    return chain(way), way, 2.2


def trace_ring():
    made = finish(build_chain(ChainSpec("trace", 2.0, 12.0, 8.6, 0.4, chord_mm=0.08), LayoutSpec("ring", links=12)))
    return made.bodies, made.path, 2.0


def bent_row():
    way = curve_way([[x, 4 * np.sin(x / 9), 0.0] for x in np.arange(6) * 6.8])
    return chain(way), way, 2.2


def unknown_meshes():
    way = ring_way(10, 6.8)
    return chain(way, drawn=False, samples=64), way, 2.2


JOBS = [(curb_ring, True), (trace_ring, True), (bent_row, True), (unknown_meshes, False)]


@pytest.fixture(scope="module", params=JOBS, ids=lambda job: job[0].__name__)
def job(request):
    make, upper = request.param
    bodies, path, wire = make()
    return bodies, finish(plan_lattice(bodies, path, BENCH, FeedSpec(upper_ring=upper), wire_mm=wire))


def model(mesh, rotation=None, origin=None):
    made = fcl.BVHModel()
    made.beginModel(len(mesh.points), len(mesh.triangles))
    made.addSubModel(np.ascontiguousarray(mesh.points), np.ascontiguousarray(mesh.triangles))
    made.endModel()
    if rotation is None:
        return fcl.CollisionObject(made)
    return fcl.CollisionObject(made, fcl.Transform(np.ascontiguousarray(rotation), origin))


def measured(a, b):
    """Distance and the two nearest places; 0 where the surfaces meet."""
    if fcl.collide(a, b, fcl.CollisionRequest(), fcl.CollisionResult()):
        return 0.0, None
    result = fcl.DistanceResult()
    gap = fcl.distance(a, b, fcl.DistanceRequest(enable_nearest_points=True), result)
    return gap, result.nearest_points


def all_distances(bodies, lattice):
    """Everything under ``FAR_MM`` by the outside library: (body or None, strut, strut, distance, place)."""
    solids = lattice.solids
    corners = [(s.mesh.points.min(axis=0), s.mesh.points.max(axis=0)) for s in solids]
    limbs = [model(s.mesh) for s in solids]
    links = [model(b.mesh, b.pose.rotation, b.pose.origin) for b in bodies]
    rows = []
    for body, link in zip(bodies, links, strict=True):
        points = body.points()
        low, high = points.min(axis=0) - FAR_MM, points.max(axis=0) + FAR_MM
        for solid, limb, (least, most) in zip(solids, limbs, corners, strict=True):
            if (least <= high).all() and (most >= low).all():
                gap, places = measured(link, limb)
                if gap < FAR_MM:
                    rows.append((body, solid, None, gap, places))
    for (one, a, (low_a, high_a)), (other, b, (low_b, high_b)) in combinations(
        zip(solids, limbs, corners, strict=True), 2
    ):
        if (low_a - FAR_MM <= high_b).all() and (low_b - FAR_MM <= high_a).all():
            gap, places = measured(a, b)
            if gap < FAR_MM:
                rows.append((None, one, other, gap, places))
    return rows


def share_an_end(one, other):
    """Whether two struts have an end at one place: a post and a gate grow from one foot on a ring."""
    ends = [(s.struts[0].start, s.struts[-1].end) for s in (one, other)]
    return min(np.linalg.norm(np.subtract(a, b)) for a in ends[0] for b in ends[1]) < 0.1


def at_a_node(one, other, places):
    """Whether two struts that do not meet are nearest where a spoke runs into the ring: feet beside it grow there."""
    spoke = next((s for s in (one, other) if s.role == "spoke"), None)
    if spoke is None or one.role == other.role:
        return False
    end = spoke.struts[-1]
    return np.linalg.norm(np.mean(places, axis=0) - end.end) < end.d_start_mm


def test_every_strut_keeps_the_web_floor_from_every_stranger_and_every_other_strut(job):
    bodies, lattice = job
    rows = all_distances(bodies, lattice)
    entered, joints, apart = 0, 0, 0
    for body, one, other, gap, places in rows:
        if body is not None:
            if one.feeds == body.name:
                assert gap == 0.0
                entered += 1
            else:
                assert gap >= BENCH.strut_web_mm
                apart += 1
        elif gap == 0.0:
            kinds = frozenset((one.role, other.role))
            assert kinds in JOINTS
            assert kinds != {"gate", "post"} or share_an_end(one, other)
            joints += 1
        elif not at_a_node(one, other, places):
            assert gap >= BENCH.strut_web_mm
            apart += 1
    assert entered == sum(s.feeds is not None for s in lattice.solids) >= len(bodies)
    assert joints >= entered
    assert apart > 0


def test_the_check_tells_the_same_distances_as_the_outside_library(job):
    """With the floor set high, every distance under it is a finding: as many as the library's, and the same ones."""
    bodies, lattice = job
    profile = replace(BENCH, strut_web_mm=FAR_MM, strut_web_aim_mm=FAR_MM)
    ours = np.sort([f.value for f in finish(distance_findings(bodies, lattice, profile))])
    rows = all_distances(bodies, lattice)
    to_bodies = [gap for body, one, _, gap, _ in rows if body is not None and one.feeds != body.name]
    struts = [(one, other, gap, at) for body, one, other, gap, at in rows if body is None and gap > 0.0]
    free = [gap for one, other, gap, at in struts if not at_a_node(one, other, at)]
    theirs = np.sort([*to_bodies, *free])
    assert len(theirs) > len(bodies) / 2
    np.testing.assert_allclose(ours, theirs, atol=1e-6, rtol=0)


@pytest.mark.parametrize("away", [0.0, 0.25, 0.9])
def test_a_strut_put_beside_a_link_reads_the_librarys_distance(away):
    """A slanted rod is led past the first link's outer face; what the check reads is what the library measures."""
    way = ring_way(10, 6.8)
    bodies = chain(way, samples=64)
    lattice = planned(bodies, way)
    body = bodies[0]
    out = body.pose.rotation[:, 2]
    reach = ((body.points() - body.pose.origin) @ out).max() + 0.8 + away
    start = body.pose.origin + reach * out - [0, 0, 3.0]
    end = body.pose.origin + (reach + 0.4) * out + [0, 0, 3.0]
    strut = Strut("brace", tuple(start), tuple(end), 1.6, 1.6)
    beside = LatticeSolid("brace", rod(np.array([start, end]), np.full(2, 1.6)), (strut,), 0.4)
    profile = replace(BENCH, strut_web_mm=FAR_MM, strut_web_aim_mm=FAR_MM)
    found = finish(distance_findings(bodies, replace(lattice, solids=(beside,)), profile))
    wanted = {}
    for other in bodies:
        gap, _ = measured(model(other.mesh, other.pose.rotation, other.pose.origin), model(beside.mesh))
        if gap < FAR_MM:
            wanted[other.name] = gap
    assert {f.bodies[0]: f.value for f in found} == pytest.approx(wanted, abs=1e-6)
    assert "link 1" in wanted
