"""All metal of a job as balls, for the tools that must pass it: along wires and struts, and over meshes of others.

Balls along a rod stand so close that their hull lies at most 3 % of the radius inside it.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..solid.mesh import Body, FloatArray, IntArray, Mesh
from .cut_tools import FAR_MM, KEEP_MM, BoolArray, Metal
from .facets import facet_lines
from .lattice import LatticeSolid

# Balls stand this share of their radius apart; points on meshes so far apart, and no closer than the cell.
SPACING, LEAST_SPACING_MM = 0.5, 0.1
MESH_SPACING_MM, CELL_MM = 0.25, 0.2
# When metal is gone: never, with the posts, with the upper ring.
STAYS, POSTS, UPPER = 0, 1, 2


@dataclass(frozen=True, slots=True, eq=False)
class Balls:
    """Balls of all metal: ``points`` (n, 3), ``radius`` (n,), whose (n,), and when it goes (n,): STAYS, POSTS, UPPER.

    The first ``bodies`` owners are bodies, the solids of the lattice follow.
    """

    points: FloatArray
    radius: FloatArray
    owner: IntArray
    goes: IntArray
    bodies: int

    def seen(self, at: FloatArray, frame: FloatArray, there: BoolArray) -> Metal:
        """See from a cut at ``at`` (3,), rows of ``frame`` (3, 3) across, across and ahead, what is ``there`` (n,)."""
        away = self.points - at
        rows = np.flatnonzero(there & (np.einsum("ij,ij->i", away, away) < FAR_MM**2))
        local = away[rows] @ frame.T
        keep = np.where(self.owner[rows] < self.bodies, KEEP_MM, 0.0)
        return Metal(local[:, :2], local[:, 2], self.radius[rows], keep, self.owner[rows])


def balls(bodies: Sequence[Body], solids: Sequence[LatticeSolid], cut_mm: dict[int, tuple[float, float]]) -> Balls:
    """Lay balls through all metal.

    ``cut_mm`` tells for posts, by their number among the solids, between which lengths along them they are cut out;
    what lies before stays on the base ring as a stump, what lies after goes with the upper ring.
    """
    known: dict[int, FloatArray] = {}
    points, radii, goes = [], [], []
    for body in bodies:
        if body.wire is not None:
            line = body.pose.apply(body.wire.centreline)
            r = np.full(len(line), body.wire.radius_mm)
            p, radius, _ = _along(line, np.roll(line, -1, axis=0), r, r)
        else:
            p = body.pose.apply(_over(body.mesh, known))
            radius = np.zeros(len(p))
        points.append(p)
        radii.append(radius)
        goes.append(np.full(len(p), STAYS))
    for number, solid in enumerate(solids):
        stays = np.full(1, UPPER if solid.above else STAYS)
        if solid.role == "trunk":
            # A hub is a flat drum, no rod.
            p = _over(solid.mesh, known)
            radius, leaves = np.zeros(len(p)), np.broadcast_to(stays, len(p))
        else:
            start, end = np.array([s.start for s in solid.struts]), np.array([s.end for s in solid.struts])
            d = np.array([(s.d_start_mm, s.d_end_mm) for s in solid.struts]) / 2
            p, radius, walked = _along(start, end, d[:, 0], d[:, 1])
            leaves = np.broadcast_to(stays, len(p))
            if number in cut_mm:
                low, high = cut_mm[number]
                leaves = np.where(walked <= low - radius, STAYS, np.where(walked < high + radius, POSTS, UPPER))
        points.append(p)
        radii.append(radius)
        goes.append(leaves)
    owner = np.repeat(np.arange(len(points)), [len(p) for p in points])
    if not points:
        return Balls(np.zeros((0, 3)), np.zeros(0), owner, owner, 0)
    return Balls(np.concatenate(points), np.concatenate(radii), owner, np.concatenate(goes), len(bodies))


def _along(
    start: FloatArray, end: FloatArray, r_start: FloatArray, r_end: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Set balls along pieces (m, 3) whose radii (m,) change evenly: their middles, radii, and the length walked."""
    length = np.linalg.norm(end - start, axis=1)
    space = np.maximum(SPACING * np.minimum(r_start, r_end), LEAST_SPACING_MM)
    count = np.ceil(length / space).astype(np.int64) + 1
    row = np.repeat(np.arange(len(start)), count)
    step = np.arange(len(row)) - np.repeat(np.cumsum(count) - count, count)
    t = step / np.maximum(count[row] - 1, 1)
    walked = (np.cumsum(length) - length)[row] + t * length[row]
    points = start[row] + t[:, None] * (end - start)[row]
    return points, r_start[row] + t * (r_end - r_start)[row], walked


def _over(mesh: Mesh, known: dict[int, FloatArray]) -> FloatArray:
    """Set points along the edges and facets of a mesh, at most one to a cell; copies of a link share them."""
    if id(mesh) not in known:
        start, end = facet_lines(mesh.points, mesh.triangles)
        space = np.full(len(start), MESH_SPACING_MM / SPACING)
        points, _, _ = _along(start, end, space, space)
        _, first = np.unique(np.round(points / CELL_MM).astype(np.int64), axis=0, return_index=True)
        known[id(mesh)] = points[np.sort(first)]
    return known[id(mesh)]
