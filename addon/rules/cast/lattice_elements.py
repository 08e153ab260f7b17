"""The elements of the lattice's solids: straight pieces cut up along their axes where these lie free."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from ..feed.lattice import LatticeSolid
from ..solid.mesh import FloatArray
from .part import Part, in_row

# Elements are up to this share of their diameter longer than it.
SHORTER = 0.25
# A stretch of shaft or tip that is shorter makes no element of its own, as a share of the least diameter.
LEAST = 0.15


@dataclass(frozen=True, slots=True, eq=False)
class Axis:
    """The axis of a solid: ``points`` (k, 3), ``d_mm`` (k,), the way to each ``arc_mm`` (k,), and whether it is closed.

    ``root_mm`` is the way to where a gate's tip begins, inf where there is none. ``fullness`` is area over diameter
    squared of its section, the solid's own on the average.
    """

    points: FloatArray
    d_mm: FloatArray
    arc_mm: FloatArray
    closed: bool
    root_mm: float
    fullness: float

    def at(self, walked: FloatArray) -> FloatArray:
        """Give the places (n, 3) after so much way (n,)."""
        return np.stack([np.interp(walked, self.arc_mm, self.points[:, k]) for k in range(3)], axis=1)

    def section_mm2(self, walked: FloatArray) -> FloatArray:
        """Give the section after so much way (n,)."""
        return np.asarray(self.fullness * np.interp(walked, self.arc_mm, self.d_mm) ** 2)


def axis_of(solid: LatticeSolid, volume_mm3: float) -> Axis:
    """Give the axis of a solid of some volume: a gate's drawn line, else its straight pieces one after the other."""
    first, last = solid.struts[0], solid.struts[-1]
    closed = len(solid.struts) > 2 and first.start == last.end
    root = np.inf
    if solid.line:
        points = np.array(solid.line)
        d = np.array([first.d_start_mm] * (len(points) - 2) + [last.d_end_mm] * 2)
    else:
        points = np.array([s.start for s in solid.struts] + [last.end])
        d = np.array([s.d_start_mm for s in solid.struts] + [last.d_end_mm])
    step = np.sqrt((np.diff(points, axis=0) ** 2).sum(axis=1))
    arc = np.append(0.0, np.cumsum(step))
    if solid.line:
        root = float(arc[-3])
    filled = float((step * (d[1:] ** 2 + d[1:] * d[:-1] + d[:-1] ** 2)).sum()) / 3
    fullness = min(volume_mm3 / max(filled, 1e-9), np.pi / 4)
    return Axis(points, d, arc, closed, root, fullness)


def lattice_part(solid: LatticeSolid, axis: Axis, free_mm: tuple[float, float]) -> Part:
    """Cut a solid into elements about as long as thick, over the stretch of its axis that lies free."""
    begin, end = free_mm
    spare = LEAST * float(axis.d_mm.min())
    stops = [begin, axis.root_mm, end] if begin + spare < axis.root_mm < end - spare else [begin, end]
    cuts = [begin]
    for a, b in pairwise(stops):
        thick = float(np.interp((a + b) / 2, axis.arc_mm, axis.d_mm))
        count = max(3 if axis.closed else 1, int(np.ceil((b - a) / thick - SHORTER)))
        cuts.extend(np.linspace(a, b, count + 1)[1:].tolist())
    where = np.array(cuts)
    middle, length = (where[:-1] + where[1:]) / 2, np.diff(where)
    joints = in_row(len(middle), closed=axis.closed)
    widest = float(axis.d_mm.max())
    d = np.interp(middle, axis.arc_mm, axis.d_mm)
    inner = axis.section_mm2(where[1:])[: len(joints)]
    tip = middle > axis.root_mm
    ends, end_mm2 = axis.points[[0, -1]], axis.section_mm2(axis.arc_mm[[0, -1]])
    if solid.neck_mm is not None:
        neck = np.pi / 4 * solid.neck_mm**2
        end_mm2 = np.array([end_mm2[0], min(end_mm2[1], neck)])
    if axis.closed:
        ends, end_mm2 = ends[:0], end_mm2[:0]
    return Part(
        axis.at(middle),
        np.maximum(length, 1e-3),
        4 * solid.modulus_mm * d / widest,
        axis.section_mm2(middle),
        tip,
        joints,
        inner,
        ends,
        end_mm2,
    )


def drum_part(solid: LatticeSolid) -> Part:
    """Make one element of a hub: metal spreads in it every way."""
    strut = solid.struts[0]
    low, high = np.array(strut.start), np.array(solid.struts[-1].end)
    return Part(
        ((low + high) / 2)[None],
        np.array([max(float(np.linalg.norm(high - low)), 1e-3)]),
        np.array([4 * solid.modulus_mm]),
        np.array([np.pi / 4 * strut.d_start_mm**2]),
        np.zeros(1, dtype=bool),
        np.zeros((0, 2), dtype=np.int64),
        np.zeros(0),
        np.zeros((0, 3)),
        np.zeros(0),
    )
