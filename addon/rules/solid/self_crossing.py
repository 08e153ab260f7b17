"""Where the surface of one mesh passes through itself or lies on itself."""

from dataclasses import dataclass

import numpy as np

from ..base.progress import Steps, part
from .box_tree import box_tree, overlapping
from .mesh import FloatArray, Mesh
from .passing import EdgeTouches, edge_touches, passes
from .triangle_overlap import Planes, meetings, planes_of, shared_place

__all__ = ["MOST", "SelfCrossing", "self_crossings"]

# Nobody needs the count of a heap of triangles.
MOST = 100_000
# What reaches no deeper than this share of the mesh's size only touches: single precision, in which most files are
# written, moves points by a fifth of it.
SLACK = 1e-6
# Double precision errs by this share of a coordinate, also after a turn.
_DOUBLE = 1e-14
# Pairs of triangles looked at together, and triangles given planes.
_TOGETHER = 16_384


@dataclass(frozen=True, slots=True, eq=False)
class SelfCrossing:
    """How often a mesh crosses itself.

    ``count``: pairs of its triangles that pierce each other or overlap in one plane; counting ends at `MOST`. ``at``
    (3,): the middle of where the deepest of them meet, in the mesh's own coordinates; None where none does.
    """

    count: int
    at: FloatArray | None


def self_crossings(mesh: Mesh) -> Steps[SelfCrossing]:
    """Find the pairs of triangles of a mesh that cross each other, and where they cross deepest.

    Triangles that share a corner or an edge cross where they meet anywhere beyond it: an edge that pierces, a fold
    laid back on itself. Touching without passing is no crossing, be it at a point, along an edge, or by no more than
    `SLACK`. Triangles without area and doubled ones (all three places the same) are left out: `topology.facts` tells
    of them.
    """
    tree = yield from part(box_tree(mesh), 0.0, 0.2)
    planes = yield from part(_planes(tree.corners), 0.2, 0.25)
    slack = SLACK * tree.reach_mm + _DOUBLE * float(np.abs(tree.middle).max())
    count, deepest = 0, 0.0
    where: tuple[int, int] | None = None
    touches: list[EdgeTouches] = []
    for batch in overlapping(tree):
        for start in range(0, len(batch.a), _TOGETHER):
            some = slice(start, start + _TOGETHER)
            met = meetings(tree.corners, planes, batch.a[some], batch.b[some], slack)
            count += int(np.count_nonzero(met.depth_mm))
            if count and met.depth_mm.max(initial=0.0) > deepest:
                best = int(met.depth_mm.argmax())
                deepest, where = float(met.depth_mm[best]), (int(met.a[best]), int(met.b[best]))
            touches += edge_touches(tree.corners, planes, met, slack)
            yield 0.25 + 0.7 * batch.share
        if count >= MOST:
            break
        yield 0.25 + 0.7 * batch.share
    passed = passes(tree.corners, touches)
    if where is None and len(passed):
        where = (int(passed[0, 0]), int(passed[0, 1]))
    yield 1.0
    if where is None:
        return SelfCrossing(0, None)
    at = shared_place(tree.corners[..., where[0]], tree.corners[..., where[1]], slack)
    return SelfCrossing(min(MOST, count + len(passed)), tree.middle + at)


def _planes(corners: FloatArray) -> Steps[Planes]:
    normal, height = np.empty(corners.shape[1:]), np.empty(corners.shape[2])
    for start in range(0, len(height), _TOGETHER):
        some = slice(start, start + _TOGETHER)
        made = planes_of(corners[..., some])
        normal[:, some], height[some] = made.normal, made.height
        yield start / len(height)
    return Planes(normal, height)
