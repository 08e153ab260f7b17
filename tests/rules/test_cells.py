"""Solids of boxes: closed, of the volume and genus the cells have, and refused where the surface would pinch."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis.extra.numpy import arrays

from addon.rules.base.errors import BadInput
from addon.rules.solid.cells import boxes_mesh, cells_mesh
from addon.rules.solid.measure import area_mm2, volume_mm3
from addon.rules.solid.topology import facts

LINES = ((0.0, 1.0, 3.0, 3.5), (-2.0, -1.5, 0.25, 1.0), (0.1, 0.2, 4.0, 9.0))


def sizes(lines=LINES):
    return np.einsum("i,j,k->ijk", *(np.diff(line) for line in lines))


def bare_area(filled, lines=LINES):
    """The area of all faces between a filled and a bare cell, counted one by one."""
    padded = np.pad(filled, 1)
    total = 0.0
    for axis in range(3):
        bare = np.diff(padded.astype(int), axis=axis) != 0
        cut = [slice(1, -1)] * 3
        cut[axis] = slice(None)
        u, v = (np.diff(lines[a]) for a in range(3) if a != axis)
        total += (np.moveaxis(bare[tuple(cut)], axis, 0) * np.outer(u, v)).sum()
    return total


def joined(cells):
    """Whether cells hang together face to face."""
    left = set(cells)
    reached = {left.pop()} if left else set()
    while near := {c for c in left if any(sum(abs(p - q) for p, q in zip(c, d, strict=True)) == 1 for d in reached)}:
        left -= near
        reached |= near
    return not left


def pinched(filled):
    """The plain way: about every edge and corner both the filled and the bare cells must hang together."""
    padded = np.pad(filled, 1)
    shapes = [(2, 2, 2), (1, 2, 2), (2, 1, 2), (2, 2, 1)]
    for shape in shapes:
        for at in np.ndindex(*(n - s + 1 for n, s in zip(padded.shape, shape, strict=True))):
            part = padded[tuple(slice(a, a + s) for a, s in zip(at, shape, strict=True))]
            if not (joined(map(tuple, np.argwhere(part))) and joined(map(tuple, np.argwhere(~part)))):
                return True
    return False


def test_all_there_is_of_eight_cells():
    for bits in range(256):
        filled = np.zeros((3, 3, 3), dtype=bool)
        filled[:2, 1:, :2] = np.array([bits >> k & 1 for k in range(8)], dtype=bool).reshape(2, 2, 2)
        is_clean_or_refused(filled)


@given(arrays(bool, (3, 3, 3)))
@settings(max_examples=60, deadline=None)
def test_any_cells_are_a_clean_solid_or_refused(filled):
    is_clean_or_refused(filled)


def is_clean_or_refused(filled):
    if pinched(filled) or not filled.any():
        with pytest.raises(BadInput, match="meet only" if filled.any() else "none is filled"):
            cells_mesh(*LINES, filled)
        return
    solid = cells_mesh(*LINES, filled)
    found = facts(solid)
    assert found.closed
    assert not found.inside_out
    assert found.non_manifold_edges == found.zero_area == found.doubled_faces == 0
    assert volume_mm3(solid) == pytest.approx(sizes()[filled].sum(), rel=1e-12)
    assert area_mm2(solid) == pytest.approx(bare_area(filled), rel=1e-12)
    # One point to each corner of the surface: Euler's formula with the shells and handles that were found.
    edges = len(solid.triangles) * 3 // 2
    assert len(solid.points) - edges + len(solid.triangles) == 2 * found.shells - 2 * found.genus


def test_what_does_not_pinch_is_not_refused():
    """Cells across an edge, or a corner, are fine as soon as a third joins them."""
    filled = np.zeros((2, 2, 2), dtype=bool)
    filled[0, 0, 0] = filled[1, 1, 0] = True
    two = [(0.0, 1.0, 2.0)] * 3
    with pytest.raises(BadInput, match=r"only along an edge, near \(1, 1, 0\)"):
        cells_mesh(*two, filled)
    filled[0, 1, 0] = True
    assert facts(cells_mesh(*two, filled)).closed
    filled[:] = False
    filled[0, 0, 0] = filled[1, 1, 1] = True
    with pytest.raises(BadInput, match=r"only at a corner, near \(1, 1, 1\)"):
        cells_mesh(*two, filled)
    with pytest.raises(BadInput, match="only at a corner"):
        cells_mesh(*[(0.0, 1.0, 2.0, 3.0, 4.0)] * 3, ~np.pad(filled, 1))
    filled[1, 0, 0] = filled[1, 1, 0] = True
    assert volume_mm3(cells_mesh(*two, filled)) == pytest.approx(4.0)


@pytest.mark.parametrize(
    ("lines", "filled", "words"),
    [
        (((0.0, 1.0), (0.0, 1.0), (1.0, 1.0)), np.ones((1, 1, 1)), "lines in z do not rise"),
        (((0.0, np.nan), (0.0, 1.0), (0.0, 1.0)), np.ones((1, 1, 1)), "lines in x do not rise"),
        (((0.0, 1.0), (0.0,), (0.0, 1.0)), np.ones((1, 1, 1)), "lines in y do not rise"),
        (((0.0, 1.0),) * 3, np.ones((1, 2, 1)), r"filled is \(1, 2, 1\).*\(1, 1, 1\) cells"),
        (((0.0, 1.0),) * 3, np.zeros((1, 1, 1)), "none is filled"),
    ],
)
def test_what_is_no_grid_is_said(lines, filled, words):
    with pytest.raises(BadInput, match=words):
        cells_mesh(*lines, filled)


def test_boxes_keep_their_sides_and_carved_ones_give_way():
    a = 0.1 + 0.2
    block = ((0.0, a), (0.0, 2.0), (0.0, 1.0))
    other = ((a, 5.0), (0.0, 1.0), (0.0, 1.0))
    groove = ((a + 0.004, 4.0), (0.2, 0.8), (0.5, 1.0))
    solid = boxes_mesh([block, other], [groove], snap_mm=0.01)
    assert set(solid.points[:, 0]) == {0.0, a, 4.0, 5.0}
    assert volume_mm3(solid) == pytest.approx(a * 2 + (5.0 - a) - (4.0 - a) * 0.6 * 0.5, rel=1e-12)
    exact = boxes_mesh([block, other], [groove])
    assert a + 0.004 in set(exact.points[:, 0])
    assert volume_mm3(boxes_mesh([block, block])) == pytest.approx(a * 2, rel=1e-12)


def test_carved_sides_that_differ_by_rounding_leave_no_sliver():
    block = ((0.0, 3.0), (0.0, 3.0), (0.0, 3.0))
    one = ((1.0, 2.0), (1.0, 2.0), (1.0, 3.0))
    other = ((2.0 + 1e-12, 2.5), (1.0, 2.0), (1.0, 3.0))
    solid = boxes_mesh([block], [one, other])
    assert len(set(solid.points[:, 0])) == 5
    assert facts(solid).closed


@pytest.mark.parametrize(
    ("added", "carved", "words"),
    [
        ([], [], "no box"),
        ([((1.0, 1.0), (0.0, 1.0), (0.0, 1.0))], [], "has no size"),
        ([((0.0, 1.0), (0.0, 1.0), (0.0, 1.0))], [((0.5, 0.5 + 1e-7), (0.0, 1.0), (0.0, 1.0))], "has no size"),
        ([((0.0, np.nan), (0.0, 1.0), (0.0, 1.0))], [], "has no size"),
    ],
)
def test_what_is_no_box_is_said(added, carved, words):
    with pytest.raises(BadInput, match=words):
        boxes_mesh(added, carved)
