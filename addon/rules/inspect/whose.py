"""Whose a place or a face is, of the parts that one solid was joined from."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from ..base.progress import Steps, part
from ..solid.distance import gaps
from ..solid.measure import bounds_mm
from ..solid.mesh import Body, IntArray, Mesh, Pose

# Parts farther from a place than this are not asked, mm: what a place lies on touches it, what it lies in is not thick.
NEAR_MM = 3.0
# Corners nearer than this are the same one, mm: far over what single precision moves, far under any edge.
SAME_MM = 1e-3
# Pairs of a place and a part measured at a time.
_PAIRS = 4096


def nearest_part(places: npt.ArrayLike, parts: Sequence[Body]) -> Steps[IntArray]:
    """Give the number of the part whose surface is nearest to each of ``places`` (n, 3) mm; -1 where none is near."""
    at = np.asarray(places, dtype=np.float64).reshape(-1, 3)
    ends = np.array([bounds_mm(body.points()) for body in parts]).reshape(-1, 2, 3)
    yield 0.1
    near = (at[:, None] >= ends[:, 0] - NEAR_MM).all(axis=2) & (at[:, None] <= ends[:, 1] + NEAR_MM).all(axis=2)
    asked = np.argwhere(near)
    point = Mesh(np.zeros((1, 3)), np.zeros((1, 3), dtype=np.int64))
    bodies = [*parts, *(Body("", point, Pose(np.eye(3), place)) for place in at)]
    whose, least = np.full(len(at), -1), np.full(len(at), np.inf)
    for begin in range(0, len(asked), _PAIRS):
        some = asked[begin : begin + _PAIRS, ::-1] + [0, len(parts)]
        share = 0.1 + 0.9 * np.array([begin, begin + len(some)]) / len(asked)
        table = yield from part(gaps(bodies, range_mm=NEAR_MM, pairs=some), *share.tolist())
        for part_number, place, gap in zip(table.a, table.b - len(parts), table.gap_mm, strict=True):
            if gap < least[place]:
                whose[place], least[place] = part_number, gap
    return whose


def faces_from(joined: Mesh, parts: Sequence[Body]) -> Steps[IntArray]:
    """Give the number of the part that each face (t,) of a solid joined of ``parts`` came from; -1 where none is near.

    Joining leaves corners where they were and makes new ones only where surfaces cross, so that any old corner tells
    of its faces; what has new ones only is asked for the part nearest to its middle.
    """
    old = np.concatenate([body.points() for body in parts])
    low = np.minimum(old.min(axis=0), joined.points.min(axis=0))
    size = np.ceil((np.maximum(old.max(axis=0), joined.points.max(axis=0)) - low) / SAME_MM).astype(np.int64) + 2
    steps = np.array([size[1] * size[2], size[2], 1])
    known, now = (np.round((points - low) / SAME_MM).astype(np.int64) @ steps for points in (old, joined.points))
    order = np.argsort(known, kind="stable")
    whose = np.repeat(np.arange(len(parts)), [len(body.mesh.points) for body in parts])[order]
    place = np.minimum(np.searchsorted(known[order], now), len(known) - 1)
    of_points = np.where(known[order][place] == now, whose[place], -1)
    found = of_points[joined.triangles].max(axis=1)
    new = np.flatnonzero(found < 0)
    if len(new):
        found[new] = yield from nearest_part(joined.points[joined.triangles[new]].mean(axis=1), parts)
    return np.asarray(found)
