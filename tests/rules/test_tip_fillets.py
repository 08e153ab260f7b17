"""Fillets at tips: the round of a ball that touches tip and wire, sunk into the wire, clear of what is not its own."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lattices import BENCH, chain, codes, outside_boolean, planned, ring_way

from addon.rules.base.progress import finish
from addon.rules.feed.cutting import cutting_list
from addon.rules.feed.drawn import gate_solid
from addon.rules.feed.entering import into_wire
from addon.rules.feed.fillets import with_fillets
from addon.rules.feed.freezing import thin_gates
from addon.rules.feed.gates import Gate
from addon.rules.feed.join import join
from addon.rules.feed.lattice import Lattice
from addon.rules.feed.sizes import choose_sizes
from addon.rules.feed.spec import FeedSpec
from addon.rules.feed.steadiness import column_of
from addon.rules.feed.tip_fillets import with_tip_fillets
from addon.rules.inspect.layers import slice_layers
from addon.rules.inspect.overhang import overhangs
from addon.rules.solid.measure import volume_mm3
from addon.rules.solid.mesh import Body, Mesh, Pose, Wire
from addon.rules.solid.topology import facts

WEB = BENCH.strut_web_mm
LONG = 30.0


def straight_wire(r=1.1, samples=60, y=0.0, name="link 1"):
    """A long loop of wire; its lower limb runs along x at height 0, the other lies far above. The mesh is its hull."""
    x = np.linspace(-LONG, LONG, samples)
    low = np.stack((x, 0 * x + y, 0 * x), axis=1)
    line = np.concatenate((low, low[::-1] - [0, 0, -20.0]))
    angle = np.arange(96) * 2 * np.pi / 96
    ring = np.stack((0 * angle, np.cos(angle), np.sin(angle)), axis=1) * r + [0, y, 0]
    points = np.concatenate((ring - [LONG, 0, 0], ring - [-LONG, 0, 0]))
    k, n = np.arange(96), np.roll(np.arange(96), -1)
    sides = np.concatenate((np.stack((k, n, 96 + n), axis=1), np.stack((k, 96 + n, 96 + k), axis=1)))
    fan = np.arange(1, 95)
    caps = (np.stack((0 * fan, fan + 1, fan), axis=1), np.stack((0 * fan, fan, fan + 1), axis=1) + 96)
    triangles = np.concatenate((sides, *caps)).astype(np.int64)
    return Body(name, Mesh(points, triangles[:, ::-1]), wire=Wire(line, r))


def rising(r=1.1, tip=1.65, shaft=2.75, lean=0.0, along=0.0, cut="saw"):
    """A gate from 6 mm below into the wire, leaning across it and along it."""
    way = np.array([along, lean, 1.0])
    way /= np.linalg.norm(way)
    end, surface = into_wire(way[None], np.array([[1.0, 0, 0]]), np.array([r]), np.array([tip]))
    root = end[0] + 0.98 * tip
    points = np.array([-6.0 / way[2] * way, -4.0 / way[2] * way, -root * way, -surface[0] * way, -end[0] * way])
    gate = Gate(0, points, shaft, tip, 4.0, 9.0, 0.0, 0)
    return gate_solid(
        gate, (straight_wire(r),), above=False, sizes=choose_sizes(FeedSpec(cut=cut), BENCH, wire_mm=2 * r)
    )


def filleted(solid, *bodies, f=0.3, **spec):
    return filleted_all((solid,), bodies, f, **spec)


def filleted_all(solids, bodies, f, **spec):
    made = finish(with_tip_fillets(Lattice(tuple(solids), -9.0), bodies, FeedSpec(fillet_mm=f, **spec), WEB))
    return made.solids[0], made.findings


def test_along_and_across_the_wire_it_is_the_circle_that_touches_both():
    """A straight tip: along the wire the ball's middle lies at (t + f, -r - f), across on the circle of r + f."""
    r, t, f = 1.1, 0.8, 0.3
    one, found = filleted(rising(r, 2 * t, 2 * t), straight_wire(r), f=f)
    assert found == ()
    p = one.mesh.points
    for axis, other, high in ((0, 1, r + f), (1, 0, np.sqrt((r + f) ** 2 - (t + f) ** 2))):
        plane = p[(np.abs(p[:, other]) < 1e-6) & (p[:, axis] > 0) & (p[:, 2] > -2.0)][:, [axis, 2]]
        away = np.linalg.norm(plane - [t + f, -high], axis=1)
        # Where it leaves the tip, and four steps up to where it meets the wire.
        assert np.isclose(away, f, atol=1e-6).sum() == 5


@settings(derandomize=True, deadline=None, max_examples=20)
@given(
    st.floats(0.7, 1.6), st.floats(0.55, 0.8), st.floats(1.0, 1.7), st.floats(0.1, 0.5), st.floats(-0.4, 0.4),
    st.floats(-0.4, 0.4), st.sampled_from(["saw", "nipper"]),
)  # fmt: skip
def test_it_touches_tip_and_wire_ends_inside_and_stays_in_the_struts_that_hold_it(r, tip, shaft, f, lean, along, cut):
    wire = straight_wire(r)
    plain = rising(r, 2 * r * tip, 2 * r * tip * shaft, lean, along, cut)
    one, found = filleted(plain, wire, f=f)
    if one is plain:
        assert found
        return
    fact = facts(one.mesh)
    assert (fact.closed, fact.inside_out, fact.shells, fact.genus, fact.zero_area) == (True, False, 1, 0, 0)
    assert volume_mm3(one.mesh) > volume_mm3(plain.mesh)
    count = len(plain.mesh.points) // len({round(x, 6) for x in _along(plain, plain.mesh.points)})
    rings = one.mesh.points.reshape(-1, count, 3)
    leaves, arc, foot, end = rings[-7], rings[-6:-2], rings[-2], rings[-1]
    depth = r - np.linalg.norm(one.mesh.points[:, 1:], axis=1).reshape(-1, count)
    # On the wire's skin where it arrives, inside from there on, outside before.
    assert np.abs(depth[-3]).max() < 1e-6
    assert depth[-2].min() >= 0.029
    assert depth[-1].min() > 0.1
    assert depth[-7:-3].max() <= 1e-6
    # Every arc is part of a circle: its points lie at one distance from one middle, a fillet from wire and tip.
    drawn = found[0].value if found else f
    middle = arc[-1] + drawn * _outward(arc[-1])
    for ring in (leaves, *arc):
        assert np.linalg.norm(ring - middle, axis=1) == pytest.approx(np.full(count, drawn), abs=1e-6)
    # A ball that rolls round a tip does not cut into it: all of the outline stays out of the ball.
    outline = _points_on(plain)
    away = np.linalg.norm(middle[:, None] - outline, axis=2).min()
    assert away >= drawn - 0.02
    assert one.struts[-1].feeds == plain.struts[-1].feeds
    assert [s.feeds for s in one.struts[:-1]] == [None] * (len(one.struts) - 1)
    for a, b in zip(one.struts, one.struts[1:], strict=False):
        assert (a.end, a.d_end_mm) == (b.start, b.d_start_mm)
    assert (one.struts[0].start, one.struts[-1].end) == (plain.struts[0].start, plain.struts[-1].end)
    assert _outside(one, np.concatenate((leaves[None], arc)).reshape(-1, 3)) < 0.03
    assert np.array_equal(end, plain.mesh.points.reshape(-1, count, 3)[-1])
    assert foot.shape == end.shape
    # Sizes that rules read off a gate stay those of its shaft and tip.
    assert column_of(one).shaft_mm == column_of(plain).shaft_mm
    assert column_of(one).neck_mm == column_of(plain).neck_mm
    for rows in zip(*(thin_gates(Lattice((s,), -9.0), 2 * r) for s in (one, plain)), strict=True):
        assert [row[2:] for row in rows[0]] == [row[2:] for row in rows[1]]


def _along(solid, points):
    way = np.subtract(solid.line[4], solid.line[3])
    return (points - np.array(solid.line[3])) @ (way / np.linalg.norm(way))


def _outward(points):
    out = points * [0.0, 1.0, 1.0]
    return out / np.linalg.norm(out, axis=1, keepdims=True)


def _points_on(solid):
    """Places on the skin of a gate's mesh near its tip."""
    corners = solid.mesh.corners()
    u, v = np.meshgrid(np.linspace(0, 1, 12), np.linspace(0, 1, 12))
    weight = np.stack((1 - u - v, u, v), axis=-1)[u + v <= 1 + 1e-9]
    found = np.einsum("kw,twx->tkx", weight, corners).reshape(-1, 3)
    return found[_along(solid, found) > -2.5]


def _outside(solid, points):
    away = np.full(len(points), np.inf)
    for s in solid.struts:
        a, way = np.array(s.start), np.subtract(s.end, s.start)
        t = np.clip((points - a) @ way / (way @ way), 0, 1)
        half = (s.d_start_mm + t * (s.d_end_mm - s.d_start_mm)) / 2
        away = np.minimum(away, np.linalg.norm(points - a - t[:, None] * way, axis=1) - half)
    return away.max()


@pytest.mark.parametrize("beside", [2.56, 2.65, 6.0])
def test_a_strange_link_beside_it_keeps_the_web_and_what_is_smaller_is_told(beside):
    """The distance by the flexible collision library."""
    fcl = pytest.importorskip("fcl")
    plain, mine = rising(tip=1.65, shaft=1.65), straight_wire()
    # A link that runs across, beside the foot of the fillet on the wire and a little below it.
    low = straight_wire()
    across = np.array([[0.0, -1, 0], [1, 0, 0], [0, 0, 1]])
    stranger = Body("link 2", low.mesh, Pose(across, np.array([beside, 0.0, -1.9])), low.wire)
    one, found = filleted(plain, mine, stranger, f=0.4)
    models = []
    for mesh in (one.mesh, stranger.placed()):
        model = fcl.BVHModel()
        model.beginModel(len(mesh.points), len(mesh.triangles))
        model.addSubModel(mesh.points, mesh.triangles)
        model.endModel()
        models.append(fcl.CollisionObject(model, fcl.Transform()))
    assert fcl.distance(*models, fcl.DistanceRequest(), fcl.DistanceResult()) >= WEB - 1e-6
    if beside == 6.0:
        assert found == ()
        return
    (note,) = found
    assert (note.code, note.severity, note.bodies, note.limit) == ("strut-near", "note", ("link 1",), 0.4)
    assert note.value < 0.4
    assert (one is plain) == (note.value == 0.0)


def test_bodies_without_wire_and_fillets_of_no_size_leave_the_tip_as_it_is():
    plain = rising()
    same, found = filleted(plain, straight_wire(), f=0.0)
    assert same is plain
    assert found == ()
    same, (note,) = filleted(plain, replace(straight_wire(), wire=None))
    assert same is plain
    assert (note.severity, note.bodies) == ("note", ("link 1",))
    assert "sharp corner" in note.text


def test_it_stays_off_what_the_maker_keeps_out():
    wire = straight_wire()
    p = wire.mesh.points[wire.mesh.triangles]
    # A strip along the wire's flank, beside the tip but within reach of its fillet.
    angle = np.degrees(np.arctan2(p[..., 1].mean(axis=1), -p[..., 2].mean(axis=1)))
    strip = tuple(np.flatnonzero((angle > 65) & (angle < 80) & (np.ptp(p[..., 0], axis=1) > 1)).tolist())
    plain = rising(tip=1.5, shaft=1.5)
    free, _ = filleted(plain, wire, f=0.4)
    less, (note,) = filleted(plain, wire, f=0.4, keep_out=strip)
    assert volume_mm3(less.mesh) < volume_mm3(free.mesh)
    assert note.value < 0.4


def test_a_cut_through_a_fillet_is_as_large_as_what_is_sawn():
    """The section of the mesh by a general library."""
    trimesh = pytest.importorskip("trimesh")
    wire = straight_wire()
    plain = rising()
    one, _ = filleted(plain, wire, f=0.5)
    for solid in (plain, one):
        (cut,) = finish(cutting_list((wire,), Lattice((solid,), -9.0))).cuts
        sawn = trimesh.Trimesh(solid.mesh.points, solid.mesh.triangles).section(cut.ahead, cut.at).to_2D()[0].area
        assert cut.area_mm2 == pytest.approx(sawn, rel=0.03)
        if solid is one:
            assert cut.area_mm2 < 0.97 * np.pi * cut.diameter_mm**2 / 4


@cache
def jobs():
    way = ring_way(8, 6.9)
    bodies = chain(way, samples=48)
    return bodies, tuple(planned(bodies, way, upper_ring=True, fillet_mm=f) for f in (0.0, 0.4))


def test_a_whole_job_gets_them_at_every_tip_without_a_finding_more():
    bodies, (plain, round_) = jobs()
    assert codes(round_.findings, "stop") == codes(plain.findings, "stop") == []
    assert codes(round_.findings, "warn") == codes(plain.findings, "warn")
    gates = [s for s in round_.solids if s.feeds is not None]
    assert len(gates) == 16
    assert all([s.role for s in g.struts].count("gate") == 3 for g in gates)
    assert sum(s.feeds is not None for s in round_.struts) == 16
    assert not any("at tips" in f.text for f in round_.findings)
    assert bodies


def test_it_joins_to_one_closed_solid_that_overhangs_less():
    bodies, lattices = jobs()
    area = []
    for lattice in lattices:
        solid = finish(join(bodies, lattice, outside_boolean()))
        assert solid.findings == ()
        assert solid.shells == 1
        assert facts(solid.mesh).closed
        whole = Body("whole", Mesh(solid.mesh.points - [0, 0, lattice.plate_z_mm], solid.mesh.triangles))
        layers = finish(slice_layers([whole], 0.1))
        assert layers.islands == ()
        area.append(sum(o.area_mm2 for o in finish(overhangs([whole], layers, BENCH.overhang_deg))))
    assert area[1] < area[0]


def test_fillets_at_rings_and_at_tips_of_one_gate_do_not_disturb_each_other():
    _, (_, round_) = jobs()
    gate = next(s for s in round_.solids if s.feeds is not None)
    assert facts(gate.mesh).closed
    assert with_fillets((gate,), 0.4, WEB)[0][0] is gate
