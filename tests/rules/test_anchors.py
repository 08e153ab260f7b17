"""Anchor points: every start of the print is held, the rest lies where a gate may stand, best first."""

import manifold3d
import numpy as np
import pytest
import trimesh
from lattices import BENCH, chain, ring_way, straight_way

from addon.rules.base.errors import BadInput
from addon.rules.base.progress import finish
from addon.rules.feed.anchors import all_anchors, anchors
from addon.rules.feed.keep_out import BARRED_TIPS, MARGIN_MM
from addon.rules.feed.kept_findings import anchor_findings, kept_out_gates
from addon.rules.feed.plan import plan_lattice
from addon.rules.feed.spec import FeedSpec, GatePlace
from addon.rules.inspect.layers import slice_layers
from addon.rules.solid.mesh import Body, Pose, mesh

# As long gates have it: three quarters of the wire of 2.2 mm.
TIP = 0.75 * 2.2
UPRIGHT, MIRROR = np.ones(3), np.array([1.0, 1.0, -1.0])


def box(low, high):
    return manifold3d.Manifold.cube(list(np.subtract(high, low))).translate(list(low))


def solid(name, made):
    got = made.to_mesh()
    return Body(name, mesh(np.array(got.vert_properties[:, :3], dtype=float), np.array(got.tri_verts)))


def gallows():
    """A post, an arm at its top, and a piece that hangs from the arm's end at half the height."""
    return solid("gallows", box((0, 0, 0), (2, 2, 10)) + box((0, 0, 8), (8, 2, 10)) + box((6, 0, 5), (8, 2, 10)))


def cup():
    """A cup has a lowest place inside it, too, but there metal lies below."""
    return solid("cup", box((0, 0, 0), (6, 6, 5)) - box((1, 1, 1.5), (5, 5, 6)))


def table():
    """Four legs, each a little shorter than the one before."""
    legs = [box((x, y, z), (x + 1.2, y + 1.2, 6)) for x, y, z in ((0, 0, 0), (6, 0, 0.3), (0, 6, 0.6), (6, 6, 3))]
    return solid("table", legs[0] + legs[1] + legs[2] + legs[3] + box((0, 0, 6), (7.2, 7.2, 7)))


def tilted(body, axis, degrees):
    return Body(body.name, body.mesh, Pose(trimesh.transformations.rotation_matrix(np.radians(degrees), axis)[:3, :3],
                                           np.array([3.0, -2.0, 7.0])), body.wire)  # fmt: skip


CURB, MESH = (chain(ring_way(12, 6.8), drawn=drawn)[1] for drawn in (True, False))
BODIES = {
    "curb upright": CURB,
    "curb flat": tilted(CURB, [0.0, 0, 1], 30),
    "curb leaning": tilted(CURB, [1.0, 0.3, 0], 50),
    "curb on end": tilted(CURB, [0.0, 1, 0.1], 80),
    "foreign curb": MESH,
    "foreign curb flat": tilted(MESH, [0.0, 0, 1], 30),
    "gallows": gallows(),
    "gallows leaning": tilted(gallows(), [1.0, 0.4, 0.2], 25),
    "cup": cup(),
    "table": table(),
}


@pytest.mark.parametrize("turned", [UPRIGHT, MIRROR], ids=["below", "above"])
@pytest.mark.parametrize("name", BODIES)
def test_what_begins_in_mid_air_when_it_is_sliced_is_what_is_held(name, turned):
    """Against the layers of the print check: a body hung over the plate is cut, every island has one hold."""
    body = BODIES[name]
    seen = Body(name, mesh(body.points() * turned, body.mesh.triangles[:, :: 1 if turned[2] > 0 else -1]))
    low = float(seen.points()[:, 2].min())
    islands = np.array([i.at for i in finish(slice_layers([seen], 0.05, plate_mm=low - 0.52)).islands])
    found = anchors(body, turned)
    assert found.holds == len(islands)
    spots = np.column_stack((found.points[:, :2], found.lowest))[: found.holds]
    away = np.linalg.norm(spots[:, None] - islands[None], axis=2)
    assert sorted(away.argmin(axis=1)) == list(range(len(islands)))
    # A tip goes in beside a sharp corner, not through it.
    assert np.abs(spots[:, 2] - islands[away.argmin(axis=1), 2]).max() <= (0.3 if "leaning" in name else 0.1)


def heights(corners, at):
    """Where a level-headed line through (x, y) meets a closed mesh, by barycentric coordinates seen from above."""
    a, b, c = (corners[:, k, :2] - at for k in range(3))

    def twice(p, q):
        return p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0]

    u, v, w = twice(b, c), twice(c, a), twice(a, b)
    hit = ((u > 0) & (v > 0) & (w > 0)) | ((u < 0) & (v < 0) & (w < 0))
    weight = np.stack((u, v, w), axis=1)[hit]
    return np.sort((weight / weight.sum(axis=1, keepdims=True) * corners[hit, :, 2]).sum(axis=1))


@pytest.mark.parametrize("name", BODIES)
def test_points_lie_in_the_middle_of_the_metal(name):
    """A line straight up through an anchor goes in at its lowest place and comes out as far above it."""
    body = BODIES[name]
    found = anchors(body, UPRIGHT)
    corners = body.placed().corners()
    assert len(found.points) > found.holds
    for point, half, lowest in zip(found.points, found.half_mm, found.lowest, strict=True):
        if body.wire is not None:
            line = body.pose.apply(body.wire.centreline)
            assert np.linalg.norm(line - point, axis=1).min() < 1e-9
            assert half == body.wire.radius_mm
            assert point[2] - 2 * half <= lowest <= point[2]
            continue
        z = heights(corners, point[:2] + np.array([1.3e-7, 0.7e-7]))
        within = np.searchsorted(z, point[2])
        assert within % 2
        assert z[within - 1 : within + 1] == pytest.approx([point[2] - half, point[2] + half], abs=1e-4)
        assert lowest == pytest.approx(point[2] - half)


def test_second_starts_find_places_all_along_the_wire():
    """No level place of the centreline is farther from an anchor than a sixth of the way round."""
    for body in (CURB, BODIES["curb flat"], MESH):
        found = anchors(body, UPRIGHT)
        line = body.pose.apply(CURB.wire.centreline)
        ahead = np.roll(line, -1, axis=0) - np.roll(line, 1, axis=0)
        level = np.abs(ahead[:, 2]) < 0.6 * np.linalg.norm(ahead, axis=1)
        whole = np.linalg.norm(np.roll(line, -1, axis=0) - line, axis=1).sum()
        away = np.linalg.norm(line[level][:, None] - found.points[None], axis=2).min(axis=1)
        assert away.max() < whole / 6
        others = found.points[found.holds :]
        apart = np.linalg.norm(others[:, None] - others[None], axis=2) + 99 * np.eye(len(others))
        assert apart.min() > 1.0


@pytest.mark.parametrize("drawn", [True, False])
def test_alike_links_get_alike_places_in_the_order_of_their_scores(drawn):
    bodies = chain(ring_way(12, 6.8), drawn=drawn)
    for turned in (UPRIGHT, MIRROR):
        found = finish(all_anchors(bodies, FeedSpec(), turned))
        first = None
        for k, (body, one) in enumerate(zip(bodies, found, strict=True)):
            assert (np.diff(one.score[one.holds :]) <= 1e-9).all()
            assert not one.in_joint.any()
            assert not one.closed
            local = (one.points * turned - body.pose.origin) @ body.pose.rotation
            first = local if first is None else first
            assert np.abs(local - first).max() < 1e-9
            if k == 7:
                assert anchors(body, turned).points[0] == pytest.approx(one.points[0], abs=1e-9 if drawn else 0.05)


def test_the_same_places_from_above_as_from_below_a_body_turned_over():
    over = np.diag([1.0, -1.0, -1.0])
    for body in (CURB, gallows()):
        turned = Body("over", body.mesh, Pose(over @ body.pose.rotation, over @ body.pose.origin), body.wire)
        above, below = anchors(body, MIRROR), anchors(turned, UPRIGHT)
        spots = above.points[: above.holds] * [1.0, -1.0, 1.0]
        away = np.linalg.norm(spots[:, None] - below.points[None, : below.holds], axis=2)
        assert above.holds == below.holds
        assert away.min(axis=1).max() < 0.3


def entered(body, found):
    """Where gates enter, in the link's own coordinates."""
    level = np.sqrt(1.0 - found.along[:, 2:] ** 2)
    return (found.points - found.half_mm[:, None] / level * [0, 0, 1] - body.pose.origin) @ body.pose.rotation


def test_no_gate_enters_marked_faces():
    """Against trimesh's distance to the marked triangles: half a tip and the margin, on every link of that mesh."""
    bodies = chain(ring_way(12, 6.8))
    free = finish(all_anchors(bodies, FeedSpec(), UPRIGHT))
    corners = bodies[0].mesh.corners()
    start = entered(bodies[0], free[0])[0]
    marked = np.flatnonzero(np.linalg.norm(corners.mean(axis=1) - start, axis=1) < 1.2)
    found = finish(all_anchors(bodies, FeedSpec(keep_out=tuple(marked.tolist())), UPRIGHT))
    for body, one in zip(bodies, found, strict=True):
        assert one.holds == 1
        assert one.kept_out[0]
        assert not one.closed
        for at in entered(body, one):
            near = trimesh.triangles.closest_point(corners[marked], np.broadcast_to(at, (len(marked), 3)))
            assert np.linalg.norm(near - at, axis=1).min() >= TIP / 2 + MARGIN_MM - 1e-9
    told = anchor_findings(bodies, found, UPRIGHT)
    assert [(f.code, f.severity, len(f.bodies)) for f in told] == [("island", "warn", 12)]
    spec = FeedSpec(keep_out=tuple(marked.tolist()))
    way = ring_way(12, 6.8)
    assert kept_out_gates(bodies, finish(plan_lattice(bodies, way, BENCH, spec)), spec) == []
    wrong = kept_out_gates(bodies, finish(plan_lattice(bodies, way, BENCH, FeedSpec())), spec)
    assert [(f.code, f.severity) for f in wrong] == [("strut-near", "stop")] * 12
    assert max(f.value for f in wrong) < -0.5
    assert anchor_findings(bodies, free, UPRIGHT) == []


def test_a_barred_place_bars_one_link_from_one_side():
    bodies = chain(straight_way(5, 6.8))
    free = finish(all_anchors(bodies, FeedSpec(), UPRIGHT))
    spot = entered(bodies[2], free[2])[3]
    spec = FeedSpec(barred=(GatePlace("link 3", tuple(spot.tolist())),))
    found = finish(all_anchors(bodies, spec, UPRIGHT))
    assert np.linalg.norm(entered(bodies[2], found[2]) - spot, axis=1).min() >= BARRED_TIPS * TIP - 1e-9
    assert not found[2].kept_out.any()
    assert np.array_equal(found[1].points, free[1].points)
    above = finish(all_anchors(bodies, spec, MIRROR))
    assert np.array_equal(above[2].points, finish(all_anchors(bodies, FeedSpec(), MIRROR))[2].points)


def test_a_link_closed_all_over_is_told_of():
    bodies = chain(straight_way(3, 6.8), drawn=False)
    spec = FeedSpec(keep_out=tuple(range(len(bodies[0].mesh.triangles))))
    found = finish(all_anchors(bodies, spec, UPRIGHT))
    assert all(one.closed for one in found)
    told = anchor_findings(bodies, found, UPRIGHT)
    assert [(f.code, f.severity, f.bodies) for f in told] == [("no-gate", "stop", ("link 1", "link 2", "link 3"))]
    above = anchor_findings(bodies, finish(all_anchors(bodies, spec, MIRROR)), MIRROR)
    assert [(f.code, f.severity) for f in above] == [("strut-unrouted", "warn")]


def test_triangles_the_link_does_not_have_are_refused():
    bodies = chain(straight_way(3, 6.8))
    with pytest.raises(BadInput, match=r"keep_out.*no triangle 99999"):
        finish(all_anchors(bodies, FeedSpec(keep_out=(99999,)), UPRIGHT))


def test_a_hanging_piece_gets_its_own_gate():
    """Planned as a whole: the piece that begins at half the height is held by a gate of its own."""
    one, way = gallows(), straight_way(3, 14.0)
    bodies = [Body(f"gallows {k}", one.mesh, Pose(np.eye(3), at - [4.0, 1, 0])) for k, at in enumerate(way.origins)]
    lattice = finish(plan_lattice(bodies, way, BENCH, FeedSpec(), wire_mm=1.6))
    for body in bodies:
        ends = [s.end[2] for s in lattice.struts if s.feeds == body.name]
        assert sorted(np.floor(ends).tolist()) == [0, 5]
