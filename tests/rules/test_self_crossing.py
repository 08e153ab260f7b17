"""Where a mesh crosses itself: counted against exact rational arithmetic, and never where it only touches."""

from fractions import Fraction
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from addon.rules.base.progress import finish
from addon.rules.chain.clasp_sizes import clasp_for
from addon.rules.chain.families import draw
from addon.rules.chain.spec import CLASPS, FAMILIES, ChainSpec
from addon.rules.chain.sweep import meshes_of
from addon.rules.inspect.gauge import gauge
from addon.rules.solid import box_tree, self_crossing
from addon.rules.solid.mesh import Mesh, merged, mesh
from addon.rules.solid.self_crossing import self_crossings
from tests.gap_shapes import ball, oval_link, split, turn_about
from tests.mesh_shapes import box, flipped, frame_block, moved, soup, tetrahedron, torus

TURN = turn_about((1.0, 2.0, 3.0), 0.7)


def crossing(solid):
    return finish(self_crossings(solid))


def count(solid):
    return crossing(solid).count


def turned(solid):
    return mesh(solid.points @ TURN.T + [3.0, -2.0, 5.0], solid.triangles)


def single(solid):
    """As a file in single precision holds it."""
    return mesh(solid.points.astype(np.float32), solid.triangles)


def every_way(solid):
    return [solid, turned(solid), single(turned(solid)), soup(solid), flipped(solid)]


def tube(stations, side=1.0):
    """A square tube along x, closed, with a line of points at every station."""
    half = side / 2
    ring = np.array([(-half, -half), (half, -half), (half, half), (-half, half)])
    points = [(x, y, z) for x in stations for y, z in ring]
    faces = [(0, 3, 2), (0, 2, 1)]
    for i in range(len(stations) - 1):
        for k in range(4):
            a, b, c, d = 4 * i + k, 4 * i + (k + 1) % 4, 4 * i + 4 + (k + 1) % 4, 4 * i + 4 + k
            faces += [(a, b, c), (a, c, d)]
    last = 4 * (len(stations) - 1)
    return mesh(points, [*faces, (last, last + 1, last + 2), (last, last + 2, last + 3)])


# What passes through itself, and in how many pairs of triangles; None where that depends on how quads are split.
CROSSING = {
    "two boxes, corner in corner": (merged([box(2.0), moved(box(2.0), (1, 1, 1))]), None),
    "two bars crossed, no corner in the other": (
        merged([box((4, 1, 1), (-2, -0.5, -0.5)), box((1, 4, 1), (-0.5, -2, -0.1))]),
        None,
    ),
    "two balls": (merged([ball(1.0, 3), moved(ball(1.0, 3), (1.5, 0, 0))]), None),
    "boxes side by side, shifted: faces overlap": (merged([box(2.0), moved(box(2.0), (2, 0.5, 0.3))]), None),
    "a wire thicker than its ring": (torus(1.0, 1.2), None),
    "two triangles, one edge through the other": (
        mesh([(0, 0, 0), (4, 0, 0), (0, 4, 0), (1, 1, -1), (1, 1, 1), (9, 9, 1)], [(0, 1, 2), (3, 4, 5)]),
        1,
    ),
    "a corner in common and pierced": (
        mesh([(0, 0, 0), (4, 0, 0), (0, 4, 0), (1, 1, 1), (3, 3, -5)], [(0, 1, 2), (0, 3, 4)]),
        1,
    ),
    "an edge in common and folded back": (
        mesh([(0, 0, 0), (4, 0, 0), (0, 4, 0), (1, 1, 0)], [(0, 1, 2), (0, 1, 3)]),
        1,
    ),
    "a corner in common and laid on": (
        mesh([(0, 0, 0), (4, 0, 0), (0, 4, 0), (3, 1, 0), (1, 3, 0)], [(0, 1, 2), (0, 3, 4)]),
        1,
    ),
}

TOUCHING = {
    "a link": oval_link(48, 12),
    "boxes at a corner": merged([box(2.0), moved(box(2.0), (2, 2, 2))]),
    "boxes at a whole edge": merged([box(2.0), moved(box(2.0), (2, 2, 0))]),
    "boxes at part of an edge": merged([box(2.0), moved(box(2.0), (2, 2, 1))]),
    "a ridge on a face": merged(
        [tetrahedron((0, 0, 0), (2, 0, 0), (1, 1, 1), (1, -1, 1)), box((5, 5, 5), (-1.5, -2.5, -5))]
    ),
    "a tip on a face": merged(
        [tetrahedron((0, 0, 0), (1, 0, 1), (0, 1, 1), (-1, -1, 1)), box((5, 5, 5), (-2.5, -2.5, -5))]
    ),
    "two ridges crosswise": merged(
        [
            tetrahedron((-1, 0, 0), (1, 0, 0), (0, 1, 1), (0, -1, 1)),
            tetrahedron((0, -1, 0), (0, 1, 0), (1, 0, -1), (-1, 0, -1)),
        ]
    ),
    "a flat frame of many triangles": split(frame_block(2)),
    "triangles of no area": mesh(
        [*box(2.0).points, (1.0, 0, 0)], [*box(2.0).triangles, (0, 8, 4), (0, 0, 7), (1, 1, 1)]
    ),
}


@pytest.mark.parametrize("name", CROSSING)
def test_what_crosses_itself_is_found_however_it_is_turned_and_stored(name):
    solid, expected = CROSSING[name]
    for one in every_way(solid):
        found = crossing(one)
        assert found.count > 0
        assert expected is None or found.count == expected
        # The place told lies on two faces: apart from those that meet there, nothing is as near.
        assert np.sort(distances(one, found.at))[1] < 3e-6 * np.ptp(one.points)


def distances(solid, at):
    from trimesh.triangles import closest_point

    corners = solid.corners()
    return np.linalg.norm(closest_point(corners, np.tile(at, (len(corners), 1))) - at, axis=1)


@pytest.mark.parametrize("name", TOUCHING)
def test_what_only_touches_itself_does_not_cross(name):
    for one in every_way(TOUCHING[name]):
        found = crossing(one)
        assert (found.count, found.at) == (0, None)


def test_doubled_faces_are_no_crossing():
    assert count(merged([box(2.0), box(2.0)])) == 0
    assert count(merged([box(2.0), moved(box(2.0), (2, 0, 0))])) == 0


# Surfaces that pass each other exactly along lines of their own triangles: no two triangles pierce each other.
WALL = box((3.0, 5.0, 5.0), (2.0, -2.5, -2.5))


def roof(angles, x):
    """Two sheets that meet in an edge along x, from x[0] to x[1], at these angles about it."""
    points = [(x[0], 0, 0), (x[1], 0, 0), *((sum(x) / 2, np.cos(a), np.sin(a)) for a in np.radians(angles))]
    return mesh(points, [(0, 1, 2), (1, 0, 3)])


def test_a_tube_that_enters_a_wall_at_a_line_of_its_own_points_crosses_it():
    for solid in every_way(merged([tube([0.0, 2.0, 4.0]), WALL])):
        assert count(solid) == 8  # two triangles at each of its four edges there


def test_a_tube_that_ends_at_a_wall_lies_on_it():
    assert count(merged([tube([0.0, 2.0]), WALL])) > 0


@pytest.mark.parametrize(("one", "other", "crosses"), [
    ((0, 90), (45, 180), True),
    ((0, 180), (90, 270), True),
    ((0, 90), (45, 60), False),
    ((0, 90), (120, 300), False),
    ((0, 180), (20, 160), False),
])  # fmt: skip
def test_roofs_along_one_line_cross_when_their_sheets_take_turns(one, other, crosses):
    for solid in every_way(merged([roof(one, (0.0, 3.0)), roof(other, (1.0, 4.0))])):
        assert (count(solid) > 0) == crosses


def exact(a, b):
    """Whether two triangles of whole numbers have more in common than a rational plane through their rim can part.

    Their insides meet across both planes, or they overlap in one plane; all in fractions.
    """
    a, b = ([[Fraction(int(x)) for x in p] for p in t] for t in (a, b))

    def sub(p, q):
        return [x - y for x, y in zip(p, q, strict=True)]

    def dot(p, q):
        return sum(x * y for x, y in zip(p, q, strict=True))

    def cross(p, q):
        return [p[1] * q[2] - p[2] * q[1], p[2] * q[0] - p[0] * q[2], p[0] * q[1] - p[1] * q[0]]

    na, nb = (cross(sub(t[1], t[0]), sub(t[2], t[0])) for t in (a, b))
    if not any(na) or not any(nb):
        return False
    ha, hb = [dot(nb, sub(p, b[0])) for p in a], [dot(na, sub(p, a[0])) for p in b]
    if not any(ha):
        if {tuple(p) for p in a} == {tuple(p) for p in b}:
            return False
        left = a
        for p, q in zip(b, b[1:] + b[:1], strict=True):
            inward = cross(nb, sub(q, p))
            cut = []
            for k, corner in enumerate(left):
                after = left[(k + 1) % len(left)]
                h, g = dot(inward, sub(corner, p)), dot(inward, sub(after, p))
                if h >= 0:
                    cut.append(corner)
                if h * g < 0:
                    cut.append([x + h / (h - g) * (y - x) for x, y in zip(corner, after, strict=True)])
            left = cut
            if not left:
                return False
        return any(any(cross(sub(p, left[0]), sub(q, left[0]))) for p, q in combinations(left, 2))
    if min(ha) >= 0 or max(ha) <= 0 or min(hb) >= 0 or max(hb) <= 0:
        return False
    line = cross(na, nb)
    spans = []
    for t, h in ((a, ha), (b, hb)):
        met = [dot(line, t[k]) for k in range(3) if h[k] == 0]
        for i, j in combinations(range(3), 2):
            if h[i] * h[j] < 0:
                met.append(dot(line, t[i]) + h[i] / (h[i] - h[j]) * (dot(line, t[j]) - dot(line, t[i])))
        spans.append((min(met), max(met)))
    return max(spans[0][0], spans[1][0]) < min(spans[0][1], spans[1][1])


small = st.integers(-2, 2)
triangle = st.tuples(*[st.tuples(small, small, small)] * 3)


@settings(max_examples=100, deadline=None)
@given(st.lists(triangle, min_size=2, max_size=4))
def test_pairs_of_triangles_cross_as_fractions_say(triangles):
    corners = np.array(triangles, dtype=float)
    # Passing along an edge is a matter of the whole mesh: only pairs that do it by themselves are asked for here.
    pairs = list(combinations(range(len(corners)), 2))
    for i, j in pairs:
        two = mesh(corners[[i, j]].reshape(-1, 3), np.arange(6).reshape(2, 3))
        expected = int(exact(triangles[i], triangles[j]))
        assert count(two) == expected
        assert count(turned(two)) == expected


@settings(max_examples=12, deadline=None)
@given(st.integers(0, 10**6))
def test_neither_order_nor_numbering_nor_direction_changes_the_count(seed):
    rng = np.random.default_rng(seed)
    solid = merged([ball(1.0, 2), mesh(ball(0.8, 2).points + rng.normal(size=3) * 0.6, ball(0.8, 2).triangles)])
    new = rng.permutation(len(solid.points))
    mixed = mesh(solid.points[np.argsort(new)], new[solid.triangles][rng.permutation(len(solid.triangles))])
    assert count(mixed) == count(solid) == count(flipped(solid)) == count(turned(solid))


def test_every_two_triangles_are_looked_at_whatever_the_size_of_a_batch(monkeypatch):
    solid = merged([ball(1.0, 2), moved(ball(1.0, 2), (0.7, 0.2, 0.1))])
    whole = crossing(solid)
    monkeypatch.setattr(box_tree, "_PAIRS", 7)
    monkeypatch.setattr(box_tree, "_TRIANGLES", 11)
    monkeypatch.setattr(self_crossing, "_TOGETHER", 5)
    parts = crossing(solid)
    assert parts.count == whole.count > 20
    assert np.array_equal(parts.at, whole.at)
    tree = finish(box_tree.box_tree(solid))
    seen = {tuple(sorted(pair)) for batch in box_tree.overlapping(tree) for pair in zip(batch.a, batch.b, strict=True)}
    low, high = tree.corners.min(axis=0), tree.corners.max(axis=0)
    meet = ((low[:, :, None] <= high[:, None]) & (high[:, :, None] >= low[:, None])).all(axis=0)
    assert seen == {(i, j) for i, j in zip(*np.nonzero(meet), strict=True) if i < j}


def test_counting_a_heap_of_triangles_ends(monkeypatch):
    monkeypatch.setattr(self_crossing, "MOST", 50)
    heap = np.random.default_rng(3).normal(size=(400, 3, 3))
    assert count(mesh(heap.reshape(-1, 3), np.arange(1200).reshape(-1, 3))) == 50


SIZES = {
    "curb": {}, "trace": {}, "belcher": {}, "figaro": {}, "anchor": {}, "box": {}, "rope": {}, "weave": {},
    "heavy curb": {"facet_mm": 0.3}, "curb of two strands": {"strands": 2},
    "curb of a rectangle": {"section": "rectangle", "wire_width_mm": 1.2}, "trace of a D": {"section": "D"},
}  # fmt: skip


def links_of(name):
    family = next(word for word in name.split() if word in FAMILIES)
    sizes = {"weave": (1.2, 9.0, 9.0), "rope": (1.2, 7.5, 7.5)}.get(family, (2.2, 12.2, 9.7))
    return list(draw(ChainSpec(family, *sizes, 0.15, **SIZES[name])).links)


def never_crosses(links):
    for made, _ in meshes_of(links, 0.1):
        for solid in (made, turned(made), single(made), single(turned(made))):
            assert count(solid) == 0


@pytest.mark.parametrize("name", SIZES)
def test_no_link_of_our_own_crosses_itself(name):
    never_crosses(links_of(name))


@pytest.mark.parametrize("clasp", CLASPS)
@pytest.mark.parametrize("name", ["curb", "trace", "box", "heavy curb", "weave"])
def test_no_closure_of_our_own_crosses_itself(name, clasp):
    links = links_of(name)
    made = clasp_for(clasp, links[0], links[-1], 0.4)
    never_crosses([made.first.link, made.last.link])


def test_the_gauge_whose_faces_lie_in_one_plane_all_over_does_not_cross_itself():
    for body in gauge()[:2]:
        assert count(body.mesh) == count(Mesh(body.mesh.points @ TURN.T, body.mesh.triangles)) == 0
