"""Which pairs of many bodies can come near each other at all, and which of them are the same question twice."""

import numpy as np
import numpy.typing as npt

from ..base.progress import Steps
from .mesh import FloatArray, IntArray

BoolArray = npt.NDArray[np.bool_]

# Pairs of boxes looked at together.
_PAIRS = 1 << 17
# Two relative poses closer than this (a share of the bodies' size) are one; the gap differs by about as much.
SAME = 1e-12


def near_boxes(low: FloatArray, high: FloatArray, within_mm: float) -> Steps[IntArray]:
    """Give all pairs (p, 2), a < b, of boxes (n, 3) whose distance is below ``within_mm`` or that overlap."""
    if len(low) < 2:
        return np.zeros((0, 2), dtype=np.int64)
    along = int((high.max(axis=0) - low.min(axis=0)).argmax())
    order = np.argsort(low[:, along], kind="stable")
    starts = low[order, along]
    last = np.searchsorted(starts, high[order, along] + within_mm, side="right")
    counts = np.maximum(last - np.arange(len(order)) - 1, 0)
    ends = np.cumsum(counts)
    pairs = []
    begin = 0
    while begin < len(order):
        taken = ends[begin - 1] if begin else 0
        end = max(begin + 1, int(np.searchsorted(ends, taken + _PAIRS, side="right")))
        first = np.repeat(np.arange(begin, end), counts[begin:end])
        second = (
            np.arange(len(first))
            - np.repeat(ends[begin:end] - counts[begin:end] - taken, counts[begin:end])
            + first
            + 1
        )
        both = np.sort(np.stack((order[first], order[second]), axis=1), axis=1)
        pairs.append(both[boxes_near(low, high, both, within_mm)])
        begin = end
        yield begin / len(order)
    found = np.concatenate(pairs)
    ordered: IntArray = found[np.lexsort((found[:, 1], found[:, 0]))]
    return ordered


def boxes_near(low: FloatArray, high: FloatArray, pairs: IntArray, within_mm: float) -> BoolArray:
    """Tell for every pair (p, 2) whether its boxes overlap or are nearer than ``within_mm``."""
    a, b = pairs[:, 0], pairs[:, 1]
    apart = np.maximum(np.maximum(low[a] - high[b], low[b] - high[a]), 0.0)
    square = (apart * apart).sum(axis=1)
    near: BoolArray = (square == 0.0) | (square < within_mm * within_mm)
    return near


def same_questions(
    meshes: IntArray,
    rotations: FloatArray,
    origins: FloatArray,
    reach_mm: FloatArray,
    pairs: IntArray,
    *,
    same: float = SAME,
) -> tuple[IntArray, IntArray, BoolArray]:
    """Sort pairs by what they ask: the same two meshes in the same relative pose have the same gap.

    ``meshes`` (n,) the number of each body's mesh, ``rotations`` (n, 3, 3), ``origins`` (n, 3), ``reach_mm`` (n,) the
    mesh's farthest coordinate; ``pairs`` (p, 2). Returns for every question one pair that asks it, (q,); for every pair
    its question, (p,), and whether it asks it with a and b exchanged, (p,). A body whose rotation is not one to
    rounding shares its answer with nobody. ``same``: how near poses are that count as one, as a share of the size.
    """
    a, b = pairs[:, 0], pairs[:, 1]
    there, size = _relative_pose(meshes, rotations, origins, reach_mm, same, a, b)
    back, _ = _relative_pose(meshes, rotations, origins, reach_mm, same, b, a)
    differs = there != back
    column = differs.argmax(axis=1)
    row = np.arange(len(pairs))
    turned = there[row, column] > back[row, column]
    asked = np.where(turned[:, None], back, there)
    stretch = np.abs(np.swapaxes(rotations, 1, 2) @ rotations - np.eye(3)).max(axis=(1, 2))
    alone = (np.maximum(stretch[a], stretch[b]) > SAME) | (np.abs(origins[a] - origins[b]).max(axis=1) > 1e3 * size)
    own = np.where(alone, row, -1)
    turned &= ~alone
    _, first, question = np.unique(np.column_stack((asked, own)), axis=0, return_index=True, return_inverse=True)
    question = question.reshape(-1)
    return first.astype(np.int64), question.astype(np.int64), turned != turned[first[question]]


def _relative_pose(
    meshes: IntArray,
    rotations: FloatArray,
    origins: FloatArray,
    reach_mm: FloatArray,
    same: float,
    a: IntArray,
    b: IntArray,
) -> tuple[IntArray, FloatArray]:
    """Where b stands as seen from a, in whole steps too small to matter, with the numbers of the two meshes."""
    back = np.swapaxes(rotations[a], 1, 2)
    turn = (back @ rotations[b]).reshape(len(a), 9)
    shift = (back @ (origins[b] - origins[a])[:, :, None])[:, :, 0]
    size = np.maximum(np.maximum(reach_mm[a], reach_mm[b]), 1e-300)
    steps = np.concatenate((turn, np.clip(shift / size[:, None], -1e5, 1e5)), axis=1) / same
    return np.column_stack((meshes[a], meshes[b], np.rint(steps).astype(np.int64))), size
