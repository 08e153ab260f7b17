"""Scores of places: every figure against a closed form or a plain count, and the words that tell them."""

from dataclasses import replace

import manifold3d
import numpy as np
import pytest
from lattices import chain, planned, ring_way, straight_way

from addon.rules.feed.anchors import places_of
from addon.rules.feed.around import CUT_MM, FAR_MM, WAYS, clouds, joints, saw_room, to_joints
from addon.rules.feed.explain import explain, gate_scores
from addon.rules.feed.lattice import LatticeSolid, Strut, place
from addon.rules.feed.score import WEIGHTS, Score, scored, setting
from addon.rules.feed.spec import FeedSpec, GatePlace
from addon.rules.solid.mesh import Body, Mesh, Pose, Wire, mesh

UPRIGHT, MIRROR = np.ones(3), np.array([1.0, 1.0, -1.0])
TINY = Mesh(np.zeros((3, 3)), np.array([[0, 1, 2]]))


def block(name, low, high):
    made = manifold3d.Manifold.cube(list(np.subtract(high, low))).translate(list(low)).to_mesh()
    return Body(name, mesh(np.array(made.vert_properties[:, :3], dtype=float), np.array(made.tri_verts)))


def circle(name, radius, wire, pose):
    t = np.arange(96) * 2 * np.pi / 96
    line = radius * np.stack((np.cos(t), np.sin(t), 0 * t), axis=1)
    return Body(name, Mesh(line, np.array([[0, 32, 64]])), pose, Wire(line, wire / 2))


def linked(shift=0.0):
    """Two round links, square to each other: the second goes through the first, gap 2 R - c - d between their wires."""
    stood = np.array([[1.0, 0, 0], [0, 0, -1], [0, 1, 0]])
    one = circle("one", 5.0, 2.0, Pose(np.eye(3), np.zeros(3)))
    return (one, circle("two", 5.0, 2.0, Pose(stood, np.array([7.5 + shift, 0, 0]))))


def test_neighbours_rub_where_two_circles_are_nearest():
    """Circles of radius R in planes square to each other, c apart: nearest at (R, 0, 0) and (c - R, 0, 0)."""
    bodies = linked()
    found = joints(bodies, clouds(bodies))
    near, who = to_joints(found, np.array([0, 1]), np.array([[4.0, 0, 0], [3.5, 0, 0]]))
    assert near == pytest.approx([0.0, 0.0], abs=0.15)
    assert who.tolist() == [1, 0]
    far, _ = to_joints(found, np.array([0]), np.array([[-6.0, 0, 0]]))
    # The zone reaches round to where the gap is 0.4 mm more, no further than 3 mm aside here.
    assert 9.5 <= far[0] <= 10.1
    loose = linked(-2.0)
    assert len(joints(loose, clouds(loose)).places) == 0


def test_pairs_that_stand_alike_rub_alike():
    bodies = chain(ring_way(12, 6.8))
    found = joints(bodies, clouds(bodies))
    for k in range(12):
        rows = slice(found.first[k], found.first[k + 1])
        assert set(found.other[rows]) == {(k - 1) % 12, (k + 1) % 12}
        local = (found.places[rows] - bodies[k].pose.origin) @ bodies[k].pose.rotation
        first = (found.places[: found.first[1]] - bodies[0].pose.origin) @ bodies[0].pose.rotation
        away = np.linalg.norm(local[:, None] - first[None], axis=2)
        assert away.min(axis=1).max() < 1e-6
        # On the surface of the wire, half a wire from its centreline.
        line = bodies[k].wire.centreline
        assert np.linalg.norm(local[:, None] - line[None], axis=2).min(axis=1) == pytest.approx(1.1, abs=0.1)


@pytest.mark.parametrize("drawn", [True, False])
def test_saw_room_is_the_distance_to_what_stands_at_the_height_of_the_cut(drawn):
    """A wall 2.5 mm to the right: 2.5 / cos towards it, nothing to the left; a wall above the cut is not in the way."""
    if drawn:
        t = np.arange(400) * 2 * np.pi / 400
        line = np.stack((3.5 + 0 * t, 40 * np.cos(t), 40 * np.sin(t) - 40.0), axis=1)
        wall = Body("wall", Mesh(line, np.array([[0, 130, 260]])), wire=Wire(line, 1.0))
    else:
        wall = block("wall", (2.5, -30, -10), (4, 30, 10))
    place = np.array([[0.0, 0, CUT_MM]])
    free = saw_room(clouds((wall,)), place, np.zeros(1))[0]
    angle = np.arange(WAYS) * 2 * np.pi / WAYS
    assert free[0] == pytest.approx(2.5, abs=0.3)
    assert (free[np.cos(angle) < -0.1] == FAR_MM).all()
    if not drawn:
        ahead = np.cos(angle) > 0.7
        assert np.abs(free - 2.5 / np.cos(angle))[ahead].max() < 0.6
        assert (saw_room(clouds((wall,)), place + np.array([0, 0, 12.0]), np.zeros(1)) == FAR_MM).all()
    turned = saw_room(clouds((wall,)), place, np.full(1, np.pi / 2))[0]
    assert turned[-WAYS // 4] == pytest.approx(free[0], abs=1e-9)


def test_thickness_is_the_ball_the_metal_holds():
    """A step: 3 mm at one end, 1 mm at the other; and a round wire everywhere the same."""
    thick, thin = (manifold3d.Manifold.cube([8, 8, h]).translate([x, 0, 0]) for x, h in ((0, 3), (8, 1)))
    made = (thick + thin).to_mesh()
    body = Body("step", mesh(np.array(made.vert_properties[:, :3], dtype=float), np.array(made.tri_verts)))
    places, thickest = places_of(body, 0, UPRIGHT)
    x = places.surface[:, 0]
    assert thickest == pytest.approx(3.0, abs=1e-3)
    inner = (np.abs(places.surface[:, 1] - 4) < 2.4) & (x > 1.6)
    assert places.thick_mm[inner & (x < 6.4)] == pytest.approx(3.0, abs=1e-3)
    assert places.thick_mm[inner & (x > 8.6) & (x < 15)] == pytest.approx(1.0, abs=1e-3)
    assert (places.flat[inner & (x < 14)] > 0.99).all()
    link = chain(ring_way(12, 6.8))[0]
    around, thickest = places_of(link, 0, UPRIGHT)
    assert thickest == link.wire.radius_mm * 2
    assert (around.thick_mm == thickest).all()
    assert (around.flat == 0.0).all()


def test_the_total_is_the_weighted_mean_and_nothing_where_gates_are_kept_out():
    bodies = chain(ring_way(12, 6.8))
    at = setting(bodies, FeedSpec(), UPRIGHT)
    places, thickest = places_of(bodies[3], 3, UPRIGHT)
    found = scored(places, at, np.full(12, thickest))
    for row in range(len(places.body)):
        one = found.one(row, at)
        figures = [getattr(one, name) for name in (*WEIGHTS, "keep_out")]
        assert all(0.0 <= f <= 1.0 for f in figures)
        mean = sum(w * getattr(one, n) for n, w in WEIGHTS.items()) / sum(WEIGHTS.values())
        assert one.total == pytest.approx(mean)
        assert one.starts == (row == 0)
        normal = places.facing[row]
        out = bodies[3].pose.origin / np.linalg.norm(bodies[3].pose.origin)
        assert one.shows == pytest.approx(normal @ out, abs=0.05)
    low = places.surface[:, 2] - places.surface[:, 2].min()
    height = np.ptp(bodies[3].points()[:, 2])
    assert found.figures["low"] == pytest.approx(1 - low / height, abs=0.02)
    spot = (places.surface[0] - bodies[3].pose.origin) @ bodies[3].pose.rotation
    barred = setting(bodies, FeedSpec(barred=(GatePlace("link 4", place(spot)),)), UPRIGHT)
    again = scored(places, barred, np.full(12, thickest))
    assert again.total[0] == 0.0
    assert again.figures["keep_out"][0] == 0.0
    assert again.room_mm[0] < 0.0
    far = again.room_mm > 2.0
    assert far.any()
    assert again.total[far] == pytest.approx(found.total[far])


GOOD = Score(
    body="link 3", thickness=1.0, holding=1.0, low=1.0, face=0.5, saw=1.0, contact=1.0, keep_out=1.0, total=0.9,
    thick_mm=2.2, thickest_mm=2.2, above_low_mm=0.0, starts=True, flat=0.0, shows=0.0, saw_mm=4.4,
    saw_from="from outside", joint_mm=1.3, rubs="link 4", room_mm=np.inf,
)  # fmt: skip


@pytest.mark.parametrize(
    ("change", "line"),
    [
        ({}, "metal 2.2 mm thick"),
        ({"thick_mm": 1.0}, "metal 1.0 mm thick, 2.2 mm at its thickest"),
        ({}, "holds the start of link 3"),
        ({"above_low_mm": 3.0}, "holds a start of link 3, 3.0 mm above its lowest place"),
        ({"starts": False, "above_low_mm": 3.0}, "3.0 mm above the lowest place: feeds and steadies, "
         "holds no start of the print"),
        ({}, "a round edge, filed to shape"),
        ({"flat": 0.9}, "a flat face, files clean"),
        ({"flat": 0.9, "shows": 0.9}, "a flat face that looks outward: what is left of the stub shows"),
        ({"shows": -0.9}, "looks inward, hidden when worn"),
        ({}, "a saw gets in from outside: 4.4 mm free"),
        ({"saw_mm": FAR_MM}, "a saw gets in from outside: 6.0 mm or more free"),
        ({"saw_mm": 1.9}, "tight for a saw: 1.9 mm free from outside, 3 mm are wanted"),
        ({}, "1.3 mm from where link 4 rubs"),
        ({"joint_mm": -0.2}, "inside the joint: link 4 rubs here, so the stub must be filed flush"),
        ({"joint_mm": np.inf, "rubs": None}, "away from every joint"),
        ({"room_mm": -0.1}, "where you want no gate: it is kept out"),
        ({"room_mm": 0.6}, "0.6 mm clear of what you keep out"),
        ({}, "score 0.90 of 1"),
    ],
)  # fmt: skip
def test_words(change, line):
    assert line in replace(GOOD, **change).words()


def straight_up(body):
    """A gate led by hand straight up to the lowest place of a body."""
    p = body.points()
    low = p[p[:, 2] < p[:, 2].min() + 0.02].mean(axis=0) + np.array([1e-4, 0, 0])
    return by_hand(body.name, low - np.array([0, 0, 1.5]), low + np.array([0, 0, 0.4]))


@pytest.mark.parametrize("drawn", [True, False])
def test_gates_are_explained(drawn):
    """Planned ones from both sides on drawn links; on meshes of other origin, ones led by hand."""
    way = ring_way(12, 6.8)
    bodies = chain(way, drawn=drawn)
    if drawn:
        gates = [s for s in planned(bodies, way, upper_ring=True).solids if s.feeds is not None][::5]
    else:
        gates = [straight_up(bodies[k]) for k in (0, 5)]
    for gate, one in zip(gates, gate_scores(bodies, gates, FeedSpec()), strict=True):
        words = explain(bodies, gate, FeedSpec())
        assert words == one.words()
        assert f"holds the start of {gate.feeds}" in words
        assert one.thick_mm == pytest.approx(2.2, abs=0.15)
        assert one.joint_mm > 0.0
        assert one.total > 0.8


def by_hand(name, start, end):
    tip = Strut("gate", place(np.array(start)), place(np.array(end)), 1.5, 1.0, feeds=name)
    return LatticeSolid("gate", TINY, (tip,), 0.25)


def test_a_gate_by_hand_in_a_joint_says_so_and_one_that_misses_does_too():
    bodies = chain(straight_way(3, 6.8))
    found = joints(bodies, clouds(bodies))
    rub = found.places[found.first[1]]
    line = bodies[1].pose.apply(bodies[1].wire.centreline)
    middle = line[np.linalg.norm(line - rub, axis=1).argmin()]
    out = (rub - middle) / np.linalg.norm(rub - middle)
    words = explain(bodies, by_hand("link 2", middle + 2.0 * out, middle + 0.5 * out), FeedSpec())
    assert any(w.startswith("inside the joint: link ") for w in words)
    miss = by_hand("link 2", middle + 3.0 * out, middle + 2.0 * out)
    assert explain(bodies, miss, FeedSpec()) == ("this gate does not end in the metal of link 2",)
