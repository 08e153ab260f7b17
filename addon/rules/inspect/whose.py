"""Whose a place is: of the parts that one solid was joined from, the one that lies nearest."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from ..base.progress import Steps, part
from ..solid.distance import gaps
from ..solid.measure import bounds_mm
from ..solid.mesh import Body, IntArray, Mesh, Pose

# Parts farther from a place than this are not asked, mm: what a place lies on touches it, what it lies in is not thick.
NEAR_MM = 3.0
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
