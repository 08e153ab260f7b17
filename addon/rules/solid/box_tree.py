"""Which triangles of one mesh may meet each other: pairs whose boxes overlap, a batch at a time.

Triangles stand in the order of `hierarchy.neighbours_first`, four to a block, four blocks to a larger one. Pairs of
blocks are opened from the coarsest down, depth first and so many at a time, so that memory stays small however many
pairs there are.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from ..base.progress import Steps, part
from .hierarchy import CHILDREN, neighbours_first
from .mesh import FloatArray, IntArray, Mesh

# Coarsest blocks at most: every two of them are looked at.
_COARSEST = 32
# Pairs of blocks opened at a time, and triangles boxed at a time.
_PAIRS = 8192
_TRIANGLES = 65_536


@dataclass(frozen=True, slots=True, eq=False)
class BoxTree:
    """The triangles of a mesh in blocks of neighbours.

    ``corners`` (3, 3, t) mm: corner, coordinate, triangle, seen from ``middle`` (3,), the middle of the mesh's box;
    ``numbers`` (t,): which triangle of the mesh it is; ``reach_mm``: the farthest coordinate from the middle.
    ``boxes``: per level, single triangles first, (4, 6, blocks / 4): place in its family, then least and greatest
    coordinates, then the family. Families are filled up with boxes that overlap nothing.
    """

    corners: FloatArray
    numbers: IntArray
    middle: FloatArray
    reach_mm: float
    boxes: tuple[FloatArray, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Batch:
    """Pairs of triangles ``a`` and ``b`` (k,) by their place in the tree, and the ``share`` of the work done."""

    share: float
    a: IntArray
    b: IntArray


def box_tree(mesh: Mesh) -> Steps[BoxTree]:
    """Sort the triangles of a mesh into blocks."""
    low, high = mesh.points.min(axis=0), mesh.points.max(axis=0)
    middle = low + (high - low) / 2
    seen = np.ascontiguousarray((mesh.points - middle).T)
    places = np.zeros((3, len(mesh.triangles)))
    for corner in mesh.triangles.T:
        places += seen.take(corner, axis=1)
        yield 0.0
    order = yield from part(neighbours_first(places), 0.0, 0.6)
    corners = np.empty((3, 3, len(order)))
    box = np.empty((6, len(order)))
    for start in range(0, len(order), _TRIANGLES):
        some = slice(start, start + _TRIANGLES)
        corners[..., some] = seen.take(mesh.triangles.take(order[some], axis=0).T, axis=1).swapaxes(0, 1)
        box[:3, some], box[3:, some] = corners[..., some].min(axis=0), corners[..., some].max(axis=0)
        yield 0.6 + 0.3 * start / len(order)
    boxes = []
    while True:
        family = _families(box)
        boxes.append(family)
        if family.shape[2] <= _COARSEST // CHILDREN:
            break
        box = np.concatenate((family[:, :3].min(axis=0), family[:, 3:].max(axis=0)))
        yield 0.95
    return BoxTree(corners, order, middle, float(np.abs(seen).max()), tuple(boxes))


def _families(box: FloatArray) -> FloatArray:
    missing = -box.shape[1] % CHILDREN
    void = np.repeat([[np.inf], [-np.inf]], 3, axis=0)
    filled = np.concatenate((box, np.repeat(void, missing, axis=1)), axis=1)
    return np.ascontiguousarray(np.moveaxis(filled.reshape(6, -1, CHILDREN), 2, 0))


def overlapping(tree: BoxTree) -> Iterator[Batch]:
    """Give every pair of triangles whose boxes overlap or touch, once, in batches; some batches are empty."""
    families = tree.boxes[-1].shape[2]
    a, b = np.triu_indices(families)
    yield from _opened(tree, len(tree.boxes) - 1, a.astype(np.int64), b.astype(np.int64), 0.0, 1.0)


def _opened(tree: BoxTree, level: int, a: IntArray, b: IntArray, begin: float, end: float) -> Iterator[Batch]:
    """Open pairs of families of a level, a <= b: their members' pairs, and at the last level the triangles'."""
    boxes = tree.boxes[level]
    for start in range(0, len(a), _PAIRS):
        of_a, of_b = a[start : start + _PAIRS], b[start : start + _PAIRS]
        one, two = boxes.take(of_a, axis=2)[:, None], boxes.take(of_b, axis=2)[None]
        meet = one[:, :, 0] <= two[:, :, 3]
        for row in (1, 2):
            meet &= one[:, :, row] <= two[:, :, row + 3]
        for row in range(3):
            meet &= two[:, :, row] <= one[:, :, row + 3]
        # Within one family every pair would come twice, and every triangle once with itself.
        meet &= ~(np.tri(CHILDREN, k=-1 if level else 0, dtype=np.bool_)[:, :, None] & (of_a == of_b))
        i, j, pair = np.nonzero(meet)
        child_a, child_b = of_a[pair] * CHILDREN + i, of_b[pair] * CHILDREN + j
        share = begin + (end - begin) * start / len(a)
        if level == 0:
            yield Batch(share, child_a, child_b)
        else:
            until = begin + (end - begin) * min(1.0, (start + _PAIRS) / len(a))
            yield from _opened(tree, level - 1, child_a, child_b, share, until)
            yield Batch(until, child_a[:0], child_b[:0])
