"""Triangle to triangle: exact against a twin that solves every pair of features by least squares."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from addon.rules.solid.triangle_pairs import closest_points, squared_gaps

FACES = [f for n in (1, 2, 3) for f in itertools.combinations(range(3), n)]


def twin(a, b):
    """Smallest distance by trying every corner, edge and face of one against every one of the other."""
    best = np.inf
    for fa, fb in itertools.product(FACES, FACES):
        p, q = a[list(fa)], b[list(fb)]
        system = np.concatenate((p[1:] - p[0], q[0] - q[1:])).T
        s = np.linalg.lstsq(system, q[0] - p[0], rcond=None)[0] if system.size else np.zeros(0)
        weights_a, weights_b = s[: len(fa) - 1], s[len(fa) - 1 :]
        if min([0.0, *s]) < -1e-12 or weights_a.sum() > 1 + 1e-12 or weights_b.sum() > 1 + 1e-12:
            continue
        on_a = p[0] + weights_a @ (p[1:] - p[0])
        on_b = q[0] + weights_b @ (q[1:] - q[0])
        best = min(best, float(np.linalg.norm(on_a - on_b)))
    return best


def measured(a, b):
    gap, on_a, on_b = closest_points(np.array([a], dtype=float), np.array([b], dtype=float))
    return float(gap[0]), on_a[0], on_b[0]


def within(point, triangle, slack=1e-12):
    """Whether a point is a mix of the corners, with no negative share."""
    corners = np.vstack((np.asarray(triangle, dtype=float).T, np.ones(3)))
    for keep in FACES:
        shares, *_ = np.linalg.lstsq(corners[:, list(keep)], np.append(point, 1.0), rcond=None)
        rest = corners[:, list(keep)] @ shares - np.append(point, 1.0)
        if shares.min() >= -1e-9 and np.abs(rest).max() <= slack:
            return True
    return False


FLOOR = [(0, 0, 0), (4, 0, 0), (0, 4, 0)]

KNOWN = {
    "corner over face": (FLOOR, [(1, 1, 0.25), (1, 1, 3), (2, 1, 3)], 0.25),
    "corner to corner": (FLOOR, [(-3, -4, 0), (-5, -4, 0), (-3, -6, 1)], 5.0),
    "corner to edge": (FLOOR, [(2, -0.5, 0), (1, -3, 1), (3, -3, -1)], 0.5),
    "crossing edges": (FLOOR, [(2, -1, 0.5), (2, 1, 0.5), (2, 0, 4)], 0.5),
    "edges one over the other": ([(0, 0, 0), (2, 0, 0), (1, 0, -3)], [(1, -1, 0.7), (1, 1, 0.7), (1, 0, 4)], 0.7),
    "parallel edges": ([(0, 0, 0), (2, 0, 0), (1, -1, 0)], [(0.5, 1, 0), (1.5, 1, 0), (1, 2, 0)], 1.0),
    "parallel faces": (FLOOR, [(0, 0, 0.125), (4, 0, 0.125), (0, 4, 0.125)], 0.125),
    "coplanar apart": (FLOOR, [(6, 0, 0), (8, 0, 0), (6, 2, 0)], 2.0),
    "coplanar, one inside": (FLOOR, [(1, 1, 0), (1.5, 1, 0), (1, 1.5, 0)], 0.0),
    "coplanar, overlapping": (FLOOR, [(1, -1, 0), (1, 1, 0), (2, -1, 0)], 0.0),
    "the same": (FLOOR, FLOOR, 0.0),
    "crossing": (FLOOR, [(1, 1, -1), (1, 1, 1), (1.5, 1.5, 1)], 0.0),
    "touching at one corner": (FLOOR, [(1, 1, 0), (1, 1, 3), (2, 1, 3)], 0.0),
    "sharing an edge": (FLOOR, [(0, 0, 0), (4, 0, 0), (2, -1, 2)], 0.0),
    "segment over a face": (FLOOR, [(1, 1, 2), (1, 1, 0.5), (1, 1, 1)], 0.5),
    "segment through a face": (FLOOR, [(1, 1, -2), (1, 1, 0.5), (1, 1, 0)], 0.0),
    "point over a face": (FLOOR, [(1, 1, 2)] * 3, 2.0),
    "two points": ([(0, 0, 0)] * 3, [(2, 3, 6)] * 3, 7.0),
    "two segments": ([(0, 0, 0), (2, 0, 0), (1, 0, 0)], [(1, -1, 1), (1, 1, 1), (1, 0.5, 1)], 1.0),
    "needle": ([(0, 0, 0), (1000, 0, 0), (500, 1e-9, 0)], [(400, 3, -1), (400, 3, 1), (400, 5, 0)], 3.0 - 0.8e-9),
}


@pytest.mark.parametrize("name", KNOWN)
def test_known_distances_both_ways_round(name):
    a, b, expected = KNOWN[name]
    for first, second in ((a, b), (b, a)):
        gap, on_first, on_second = measured(first, second)
        assert gap == pytest.approx(expected, abs=1e-12)
        assert np.linalg.norm(on_first - on_second) == pytest.approx(gap, abs=1e-12)
        assert within(on_first, first)
        assert within(on_second, second)


def test_random_pairs_agree_with_the_twin():
    rng = np.random.default_rng(7)
    a = rng.normal(size=(250, 3, 3))
    b = rng.normal(size=(250, 3, 3)) + rng.normal(size=(250, 1, 3)) * 2.0
    gap, on_a, on_b = closest_points(a, b)
    assert (gap < 1e-12).any()
    assert (gap > 1.0).any()
    np.testing.assert_allclose(gap, [twin(x, y) for x, y in zip(a, b, strict=True)], atol=1e-9)
    np.testing.assert_allclose(np.linalg.norm(on_a - on_b, axis=1), gap, atol=1e-12)
    for i in range(len(a)):
        assert within(on_a[i], a[i])
        assert within(on_b[i], b[i])


def test_the_two_kernels_are_one():
    """The fast one that only measures and the one that also points give the same figure, whatever the batch."""
    rng = np.random.default_rng(8)
    a, b = rng.normal(size=(5000, 3, 3)), rng.normal(size=(5000, 3, 3)) + 1.0
    squares = squared_gaps(np.ascontiguousarray(np.moveaxis(a, 0, -1)), np.ascontiguousarray(np.moveaxis(b, 0, -1)))
    np.testing.assert_array_equal(np.sqrt(squares), closest_points(a, b)[0])


@pytest.mark.parametrize("angle", [1e-1, 1e-3, 1e-5, 1e-7, 1e-8, 1e-9, 0.0])
def test_nearly_parallel_edges_that_cross_read_zero(angle):
    """Edges that cross at a tiny angle: the determinant has no digits left, the answer must keep all of them."""
    along = np.array([np.cos(angle), np.sin(angle), 0.0])
    place = np.array([0.3, 0.0, 0.0])
    a = [(-1, 0, 0), (1, 0, 0), (0, 0, -1)]
    b = [place - 0.7 * along, place + 0.6 * along, place + np.array([0, 0, 1])]
    assert measured(a, b)[0] < 1e-15


@given(
    arrays(np.float64, (2, 3, 3), elements=st.floats(-8, 8, width=16)),
    st.tuples(*[st.integers(0, 2)] * 2),
)
@settings(max_examples=150, deadline=None, derandomize=True)
def test_half_float_corners_bring_degenerate_pairs(corners, roll):
    """Short numbers make equal corners, shared planes and triangles without area all the time."""
    a, b = corners
    gap = measured(a, b)[0]
    assert gap == pytest.approx(twin(a, b), abs=1e-7)
    other = measured(np.roll(b, roll[1], axis=0), np.roll(a, roll[0], axis=0)[::-1])[0]
    assert other == pytest.approx(gap, abs=1e-12)
