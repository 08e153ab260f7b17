"""The union that makes chain and lattice one solid: right volume, closed, nothing left behind, refusals seen."""

import math

import bpy
import numpy as np
import pytest

import addon.host.boolean as boolean_module
from addon.host.boolean import boolean
from addon.host.slits import close_slits
from addon.rules.base.errors import BadInput
from addon.rules.solid import edges
from addon.rules.solid.mesh import Mesh, merged, mesh


def edges_pair_of(solid):
    return edges.edges_pair(solid.triangles)


def box(low, high):
    corners = np.array([[(low, high)[(i >> k) & 1][k] for k in range(3)] for i in range(8)], dtype=np.float64)
    quads = [(0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2), (1, 3, 7, 5)]
    triangles = [t for a, b, c, d in quads for t in ((a, b, c), (a, c, d))]
    return mesh(corners, triangles)


def torus(major, minor, n=48, m=24):
    u, v = np.meshgrid(np.arange(n) * 2 * math.pi / n, np.arange(m) * 2 * math.pi / m, indexing="ij")
    points = np.stack(
        [(major + minor * np.cos(v)) * np.cos(u), (major + minor * np.cos(v)) * np.sin(u), minor * np.sin(v)], axis=-1
    )
    i, j = np.meshgrid(np.arange(n), np.arange(m), indexing="ij")
    a, b = i * m + j, (i + 1) % n * m + j
    c, d = (i + 1) % n * m + (j + 1) % m, i * m + (j + 1) % m
    triangles = np.stack([np.stack([a, b, c], -1), np.stack([a, c, d], -1)], axis=2).reshape(-1, 3)
    return mesh(points.reshape(-1, 3), triangles)


def volume(solid: Mesh) -> float:
    a, b, c = np.moveaxis(solid.corners(), 1, 0)
    return float((a * np.cross(b, c)).sum() / 6.0)


def _moved(solid, x):
    return Mesh(solid.points + np.array([x, 0.0, 0.0]), solid.triangles)


def counts():
    return {
        p.identifier: len(getattr(bpy.data, p.identifier)) for p in bpy.data.bl_rna.properties if p.type == "COLLECTION"
    }


A = box((0, 0, 0), (10, 10, 10))
B = box((6, 2, 2), (14, 8, 8))


@pytest.mark.parametrize(
    ("op", "wanted"), [("union", 1000 + 288 - 144), ("difference", 1000 - 144), ("intersect", 144)]
)
def test_boxes_have_their_exact_volume(op, wanted):
    before = counts()
    result = boolean(op, A, B)
    assert volume(result) == pytest.approx(wanted, rel=1e-6)
    assert edges_pair_of(result)
    assert result.points.dtype == np.float64
    assert counts() == before


@pytest.mark.parametrize("along", range(3))
def test_slabs_stacked_along_any_axis_come_out_where_they_were(along):
    """Slabs 4 x 6 x 1 on a 1 x 1 pole: the solver is turned aside from the stack, and what it gives is turned back."""

    def laid(solid):
        return Mesh(np.roll(solid.points, along + 1, axis=1), solid.triangles)

    slabs = laid(merged([box((0, 0, 3 * k), (4, 6, 3 * k + 1)) for k in range(5)]))
    pole = laid(box((1, 1, -1), (2, 2, 15)))
    assert boolean_module._freest_axis(slabs, pole) != along
    cases = (
        ("union", 5 * 24 + 16 - 5, [(0, 0, -1), (4, 6, 15)]),
        ("difference", 5 * 24 - 5, [(0, 0, 0), (4, 6, 13)]),
        ("intersect", 5, [(1, 1, 0), (2, 2, 13)]),
    )
    for op, wanted, bounds in cases:
        result = boolean(op, slabs, pole)
        assert volume(result) == pytest.approx(wanted, rel=1e-6)
        assert edges_pair_of(result)
        low, high = np.roll(bounds, along + 1, axis=1)
        np.testing.assert_allclose(result.points.min(axis=0), low, atol=1e-5)
        np.testing.assert_allclose(result.points.max(axis=0), high, atol=1e-5)


def test_many_shells_of_rings_on_a_bar():
    rings = merged([_moved(torus(8, 1.5), 12.0 * k) for k in (0, 2, 4)])
    bar = box((-10, 7, -1), (60, 9, 1))
    inside = volume(boolean("intersect", rings, bar))
    union = boolean("union", rings, bar)
    assert edges_pair_of(union)
    assert volume(union) == pytest.approx(volume(rings) + volume(bar) - inside, rel=1e-6)
    again = boolean("union", rings, bar)
    np.testing.assert_array_equal(union.points, again.points)


def test_apart_stay_apart_and_inside_disappears():
    far = _moved(B, 100.0)
    assert volume(boolean("union", A, far)) == pytest.approx(1288, rel=1e-6)
    assert len(boolean("intersect", A, far).triangles) == 0
    core = box((2, 2, 2), (4, 4, 4))
    assert volume(boolean("union", A, core)) == pytest.approx(1000, rel=1e-6)
    assert volume(boolean("difference", A, core)) == pytest.approx(992, rel=1e-6)


def test_far_from_the_origin_keeps_its_precision():
    shift = np.array([5000.0, -3000.0, 800.0])
    moved = boolean("union", Mesh(A.points + shift, A.triangles), Mesh(B.points + shift, B.triangles))
    near = boolean("union", A, B)
    assert np.abs(np.sort(moved.points - shift, axis=0) - np.sort(near.points, axis=0)).max() < 4e-6


def test_an_open_operand_is_refused():
    lidless = Mesh(B.points, B.triangles[:-2])
    for op in ("union", "difference", "intersect"):
        with pytest.raises(BadInput, match="second solid is open"):
            boolean(op, A, lidless)
        with pytest.raises(BadInput, match="first solid is open"):
            boolean(op, lidless, A)
    with pytest.raises(BadInput, match="no operation"):
        boolean("glue", A, B)


def test_touching_along_an_edge_is_closed_all_the_same():
    """Two blocks share one edge, which four triangles then run: each way twice."""
    points = np.concatenate(
        [A.points, [(20, 10, 0), (20, 20, 0), (10, 20, 0), (20, 10, 10), (20, 20, 10), (10, 20, 10)]]
    )
    low, high = (3, 8, 9, 10), (7, 11, 12, 13)
    quads = [low[::-1], high, *((low[i], low[(i + 1) % 4], high[(i + 1) % 4], high[i]) for i in range(4))]
    more = np.array([t for a, b, c, d in quads for t in ((a, b, c), (a, c, d))])
    pair = Mesh(points, np.concatenate([A.triangles, more]))
    assert volume(pair) == pytest.approx(2000, rel=1e-12)
    assert edges_pair_of(pair)
    bar = box((2, 2, 2), (4, 4, 30))
    assert volume(boolean("union", pair, bar)) == pytest.approx(2000 + 4 * 20, rel=1e-6)
    assert not edges_pair_of(Mesh(points, np.concatenate([A.triangles, more[:, ::-1]])[:-1]))


def test_nothing_is_printed(capfd):
    boolean("union", A, B)
    assert capfd.readouterr() == ("", "")


def test_a_blender_without_the_library_still_joins(monkeypatch):
    """Some packages lack the Manifold library: its solver then gives the first solid back, as it does here."""
    solve = boolean_module._solve

    def without_library(operation, solver, a, b, middle, **options):
        if solver == "MANIFOLD":
            return Mesh((a.points - middle).astype(np.float32).astype(np.float64) + middle, a.triangles)
        return solve(operation, solver, a, b, middle, **options)

    monkeypatch.setattr(boolean_module, "_solve", without_library)
    for op, wanted in (("union", 1144), ("difference", 856), ("intersect", 144)):
        result = boolean(op, A, B)
        assert edges_pair_of(result)
        assert volume(result) == pytest.approx(wanted, rel=1e-6)
    rings = merged([_moved(torus(8, 1.5), 12.0 * k) for k in (0, 2, 4)])
    bar = box((-10, 7, -1), (60, 9, 1))
    union = boolean("union", rings, bar)
    assert edges_pair_of(union)
    inside = volume(boolean("intersect", rings, bar))
    assert volume(union) == pytest.approx(volume(rings) + volume(bar) - inside, rel=1e-6)


def test_slits_of_no_width_are_closed_and_nothing_moves():
    """A cube one of whose triangles is divided at the middle of an edge, the neighbour not."""
    points = np.concatenate([A.points, [(A.points[0] + A.points[1]) / 2]])
    owner = next(k for k, t in enumerate(A.triangles.tolist()) if {0, 1} <= set(t))
    t = A.triangles[owner].tolist()
    while {t[0], t[1]} != {0, 1}:
        t = t[1:] + t[:1]
    split = [(t[0], 8, t[2]), (8, t[1], t[2])]
    slit = Mesh(points, np.concatenate([np.delete(A.triangles, owner, axis=0), np.array(split)]))
    assert not edges_pair_of(slit)
    closed = close_slits(slit)
    assert edges_pair_of(closed)
    assert volume(closed) == pytest.approx(1000, rel=1e-12)
    np.testing.assert_array_equal(closed.points, points)
    a, b, c = np.moveaxis(closed.corners(), 1, 0)
    assert np.linalg.norm(np.cross(b - a, c - a), axis=1).min() > 1.0
    hole = Mesh(A.points, A.triangles[:-1])
    np.testing.assert_array_equal(close_slits(hole).triangles, hole.triangles)
