"""A joined solid settled on a fine grid, so that no two of its points are nearer than files can tell apart.

A solver leaves slivers where cuts nearly meet: points a billionth of a millimetre apart. In single precision, or where
a program merges what lies close, they fall together, and triangles without area are left that read as open edges.
"""

import numpy as np

from ..base.progress import Steps, finish, part
from ..solid.edges import BoolArray, edges_pair
from ..solid.measure import finding_volume
from ..solid.mesh import FloatArray, IntArray, Mesh
from ..solid.topology import MeshFacts, finding_facts
from ..solid.weld import components, same_rows, welding

# Steps of the grid tried in turn, as multiples of what single precision can tell apart at the solid's far end.
STEPS = (2.0, 3.0, 5.0, 8.0)
# A print file is scaled before it is written, by at most about this much.
SCALED = 1.1
# How far the volume may change, as a share.
SAME_VOLUME = 1e-6


def settled(solid: Mesh) -> Mesh:
    """Do as `settling` without a plate, in one go, and give the mesh alone."""
    return finish(settling(solid))[0]


def settling(
    solid: Mesh, *, plate_z_mm: float | None = None, off_plate_mm: float = 0.0
) -> Steps[tuple[Mesh, MeshFacts]]:
    """Move points by no more than a grid step, take triangles away that fall together, and tell the facts.

    Gives the solid as it came where no step leaves it as sound as it was: closed, with the same shells, handles and
    volume. Shells no larger than a grid step, which a solver leaves where faces meet, are no metal and no cavity: they
    are taken away first. Points no farther than ``off_plate_mm`` from the plate are put on it before and stay on it, if
    there is one.

    What came out is looked at first. If it is one sound shell and has the Euler number of the solid, the solid had as
    many handles and shells and is not looked at itself: only a move that took away a shell and a handle at once, by a
    grid step and at the same volume, would go unseen. In all other cases both are looked at and compared.
    """
    standing = np.zeros(len(solid.points), dtype=bool)
    if plate_z_mm is not None:
        standing = np.abs(solid.points[:, 2] - plate_z_mm) <= off_plate_mm
    if standing.any():
        solid = Mesh(_on_plate(solid.points.copy(), standing, plate_z_mm), solid.triangles)
    volume = yield from part(finding_volume(solid), 0.0, 0.05)
    before = None if edges_pair(solid.triangles) else (yield from part(finding_facts(solid), 0.05, 0.3))
    finest = float(np.spacing(np.float32(SCALED * np.abs(solid.points).max())))
    for step in finest * np.array(STEPS):
        yield 0.3
        moved = _on_plate(np.round(solid.points / step) * step, standing, plate_z_mm)
        tried = _without_fallen(solid.triangles, (yield from part(welding(moved, solid.triangles), 0.3, 0.4)))
        if not len(tried.triangles):
            continue
        if abs((yield from part(finding_volume(tried), 0.4, 0.42)) - volume) > SAME_VOLUME * abs(volume):
            continue
        found = yield from part(finding_facts(tried), 0.42, 0.8)
        if not _sound(found):
            continue
        if before is None and found.shells == 1 and _twice_euler(tried) == _twice_euler(solid):
            return tried, found
        if before is None:
            before = yield from part(finding_facts(solid), 0.8, 1.0)
            cleared = _without_specks(solid, finest * STEPS[-1])
            if len(cleared.triangles) < len(solid.triangles):
                return (yield from settling(cleared, plate_z_mm=plate_z_mm, off_plate_mm=off_plate_mm))
        if (found.shells, found.genus) == (before.shells, before.genus):
            return tried, found
    if before is None:
        before = yield from part(finding_facts(solid), 0.8, 1.0)
    return solid, before


def _on_plate(points: FloatArray, which: BoolArray, plate_z_mm: float | None) -> FloatArray:
    """Put some of the points (n, 3) on the plate, in place."""
    if plate_z_mm is not None:
        points[which, 2] = plate_z_mm
    return points


def _without_specks(solid: Mesh, size_mm: float) -> Mesh:
    """Leave out what hangs together and is smaller than ``size_mm`` in every direction."""
    a, b, c = solid.triangles.T
    piece = components(len(solid.points), np.concatenate((a, b)), np.concatenate((b, c)))
    low, high = np.full((len(solid.points), 3), np.inf), np.full((len(solid.points), 3), -np.inf)
    np.minimum.at(low, piece, solid.points)
    np.maximum.at(high, piece, solid.points)
    kept = ((high - low).max(axis=1) > size_mm)[piece[a]]
    return Mesh(solid.points, solid.triangles[kept])


def _twice_euler(mesh: Mesh) -> int:
    """Give twice the Euler number of a mesh whose edges pair by the points' numbers: three edges to two triangles."""
    used = np.zeros(len(mesh.points), dtype=bool)
    used[mesh.triangles] = True
    return 2 * int(used.sum()) - len(mesh.triangles)


def _without_fallen(before: IntArray, welded: Mesh) -> Mesh:
    """Leave out triangles with two corners at one place, and pairs on the same three points that face each other.

    ``before`` are the triangles (m, 3) as they were. Only those at a point that several became can have fallen.
    """
    old, new = before.ravel(), welded.triangles.ravel()
    last = np.zeros(len(welded.points), dtype=np.int64)
    last[new] = old
    several = np.zeros(len(welded.points), dtype=bool)
    several[new[last[new] != old]] = True
    rows = np.flatnonzero(several[welded.triangles].any(axis=1))
    a, b, c = welded.triangles[rows].T
    whole = (a != b) & (b != c) & (c != a)
    number, _ = same_rows(np.sort(welded.triangles[rows], axis=1))
    pairs = np.bincount(number, weights=whole)[number] > 1
    kept = np.ones(len(welded.triangles), dtype=bool)
    kept[rows] = whole & ~pairs
    triangles = welded.triangles[kept]
    used = np.zeros(len(welded.points), dtype=bool)
    used[triangles] = True
    return Mesh(welded.points[used], (np.cumsum(used) - 1)[triangles])


def _sound(found: MeshFacts) -> bool:
    return found.closed and not found.inside_out and found.non_manifold_edges == 0 and found.doubled_faces == 0
