"""The shells of a mesh: its faces joined across paired edges, and which shell bounds whose metal."""

from dataclasses import dataclass

import numpy as np

from ..base.progress import Steps, part
from .cavities import by_shell, owners, shell_bounds
from .edges import BoolArray, Pairing, pairing_edges
from .measure import six_volumes
from .mesh import FloatArray, IntArray, Mesh
from .weld import hanging_together, numbering_rows, welding

# Triangles measured at a time.
_TRIANGLES = 1 << 16


@dataclass(frozen=True, slots=True, eq=False)
class Shells:
    """A mesh welded, its m triangles joined into s shells, numbered by their first triangle.

    Set aside when edges are paired, and kept with the shell they lie on: triangles with two corners at one place (two
    of their sides pair with each other), and doubled faces that bound nothing by themselves.

    ``mesh`` the welded mesh; ``shell`` (m,) the shell of every triangle; ``kept`` (c,) the triangles not set aside,
    whose edges ``pairing`` pairs; ``sheet`` (m, 3) the node of every corner, where corners are one node if their
    triangles hang together around the point, so that a point shared by two sheets is two nodes; ``again`` (m,) the
    triangle lies on the same three points as an earlier one, turned either way.

    Per shell: ``closed`` every edge has its mate; ``turned`` edges whose two faces run the same way; ``volume`` mm3,
    signed; ``genus``, -1 where the shell is open or has turned edges; ``owner`` the shell whose body it belongs to:
    for a cavity the outward shell directly around it, else itself.
    """

    mesh: Mesh
    shell: IntArray
    kept: IntArray
    pairing: Pairing
    sheet: IntArray
    again: BoolArray
    closed: BoolArray
    turned: IntArray
    volume: FloatArray
    genus: IntArray
    owner: IntArray

    def inside_out(self) -> BoolArray:
        """Tell which shells (s,) have a face that looks inward: turned edges, or negative volume and no owner."""
        alone = self.owner == np.arange(len(self.owner))
        result: BoolArray = (self.turned > 0) | (self.closed & (self.volume < 0) & alone)
        return result


def shells_of(mesh: Mesh) -> Steps[Shells]:
    """Join the faces of a mesh into shells by place: equal points count as one, whatever their indices."""
    welded = yield from part(welding(mesh.points, mesh.triangles), 0.0, 0.15)
    points, triangles = welded.points, welded.triangles
    a, b, c = triangles.T
    collapsed = (a == b) | (b == c) | (c == a)
    twin, first = yield from part(numbering_rows(np.sort(triangles, axis=1)), 0.15, 0.3)
    again = (first[twin] != np.arange(len(triangles))) & ~collapsed
    kept = np.flatnonzero(~collapsed)
    pairing, core_shell = yield from part(_joined(points, triangles[kept]), 0.3, 0.6)
    extra = _bound_nothing(pairing, core_shell, twin[kept]) if again.any() else np.zeros(len(kept), dtype=bool)
    yield 0.6
    if extra.any():
        kept = kept[~extra]
        pairing, core_shell = yield from part(_joined(points, triangles[kept]), 0.6, 0.7)
    core = triangles[kept]
    mated = np.flatnonzero(pairing.mate > np.arange(len(pairing.mate)))
    mate = pairing.mate[mated]
    core_sheet = yield from part(_sheets(core, mated, mate), 0.7, 0.8)
    shell, sheet = _with_aside(triangles, kept, core_shell, core_sheet)
    yield 0.8

    shells = np.flatnonzero(shell == np.arange(len(shell)))
    count = len(shells)
    rank = np.zeros(len(shell), dtype=np.int64)
    rank[shells] = np.arange(count)
    shell = rank[shell]
    core_shell = shell[kept]
    open_edges = np.bincount(np.repeat(core_shell, 3)[pairing.mate < 0], minlength=count)
    faces = np.bincount(core_shell, minlength=count)
    closed = (open_edges == 0) & (faces > 0)
    turned = np.bincount(core_shell[mated[pairing.turned[mated]] // 3], minlength=count)
    first_corners = np.flatnonzero(core_sheet == np.arange(3 * len(core)))
    vertices = np.bincount(core_shell[first_corners // 3], minlength=count)
    genus = np.where(closed & (turned == 0), (2 - (vertices - faces // 2)) // 2, -1)
    yield 0.85
    volume = yield from part(_volumes(points, core, core_shell, count), 0.85, 0.95)
    sound = closed & (turned == 0)
    owner = yield from part(owners(points, core, core_shell, volume, sound), 0.95, 1.0)
    return Shells(welded, shell, kept, pairing, sheet, again, closed, turned, volume, genus, owner)


def _joined(points: FloatArray, core: IntArray) -> Steps[tuple[Pairing, IntArray]]:
    """Pair the edges of triangles (c, 3), and give each triangle the first one of its shell (c,)."""
    if not len(core):
        nothing = np.zeros(0, dtype=np.int64)
        return Pairing(nothing, nothing.astype(bool), nothing), nothing
    pairing = yield from part(pairing_edges(points, core), 0.0, 0.8)
    mated = np.flatnonzero(pairing.mate > np.arange(len(pairing.mate)))
    joined = yield from part(hanging_together(len(core), mated // 3, pairing.mate[mated] // 3), 0.8, 1.0)
    return pairing, joined


def _bound_nothing(pairing: Pairing, shell: IntArray, twin: IntArray) -> BoolArray:
    """Tell which triangles (c,) form shells that are open or unevenly wound, and lie on other shells' faces everywhere.

    ``twin`` (c,) numbers the sets of three points. Where two such shells lie on each other, the first stands.
    """
    faulty = np.zeros(len(shell), dtype=bool)
    faulty[shell[np.flatnonzero((pairing.mate < 0) | pairing.turned) // 3]] = True
    lowest = np.full(int(twin.max()) + 1, len(shell))
    highest = np.full(len(lowest), -1)
    np.minimum.at(lowest, twin, shell)
    np.maximum.at(highest, twin, shell)
    in_two = lowest[twin] < highest[twin]
    extra = faulty.copy()
    extra[shell[~in_two]] = False
    sound = np.zeros(len(lowest), dtype=bool)
    sound[twin[~extra[shell]]] = True
    extra[shell[~sound[twin] & (lowest[twin] == shell)]] = False
    result: BoolArray = extra[shell]
    return result


def _sheets(core: IntArray, mated: IntArray, mate: IntArray) -> Steps[IntArray]:
    """Give each corner (3c,) the least corner that hangs together with it around their point."""
    ends = []
    after = _next_corner(mate)
    yield 0.05
    for corner in (mated, _next_corner(mated)):
        yield 0.1
        same = core.ravel()[corner] == core.ravel()[mate]
        ends.append((corner, np.where(same, mate, after)))
        yield 0.1
    a, b = (np.concatenate(side) for side in zip(*ends, strict=True))
    yield 0.2
    return (yield from part(hanging_together(core.size, a, b), 0.2, 1.0))


def _next_corner(half_edge: IntArray) -> IntArray:
    result: IntArray = half_edge + np.where(half_edge % 3 == 2, -2, 1)
    return result


def _with_aside(
    triangles: IntArray, kept: IntArray, core_shell: IntArray, core_sheet: IntArray
) -> tuple[IntArray, IntArray]:
    """Give shell (m,) and corner nodes (m, 3) of all triangles: those set aside join a kept one at their points.

    A triangle set aside joins the shell that has most of its points; without any it is a shell of its own. Shells and
    nodes are still loose numbers: a shell is its first triangle.
    """
    shell = np.arange(len(triangles))
    sheet = 3 * len(kept) + np.arange(triangles.size).reshape(-1, 3)
    shell[kept] = kept[core_shell]
    sheet[kept] = core_sheet.reshape(-1, 3)
    aside = np.setdiff1d(np.arange(len(triangles)), kept, assume_unique=True)
    if not len(aside):
        return shell, sheet

    # Every node at the point of every corner set aside: one row for each meeting.
    node = np.flatnonzero(core_sheet == np.arange(len(core_sheet)))
    node = node[np.argsort(triangles[kept].ravel()[node], kind="stable")]
    node_point = triangles[kept].ravel()[node]
    corner_point = triangles[aside].ravel()
    begin = np.searchsorted(node_point, corner_point)
    meets = np.searchsorted(node_point, corner_point, side="right") - begin
    corner = np.repeat(np.arange(len(corner_point)), meets)
    nth = np.arange(len(corner)) - np.repeat(np.cumsum(meets) - meets, meets)
    met = node[begin[corner] + nth]
    met_shell = shell[kept[met // 3]]

    shared = np.unique(np.stack([corner // 3, met_shell, corner_point[corner]], axis=1), axis=0)
    ties, points_shared = np.unique(shared[:, :2], axis=0, return_counts=True)
    best_first = np.lexsort((ties[:, 1], -points_shared, ties[:, 0]))
    chosen, row = np.unique(ties[best_first, 0], return_index=True)
    shell[aside[chosen]] = ties[best_first[row], 1]

    same = np.flatnonzero(met_shell == shell[aside][corner // 3])[::-1]
    sheet[aside[corner[same] // 3], corner[same] % 3] = met[same]
    return shell, sheet


def _volumes(points: FloatArray, core: IntArray, shell: IntArray, count: int) -> Steps[FloatArray]:
    """Give the signed volume of every shell (s,), each measured from the centre of its own bounds."""
    order, first, faces = yield from part(by_shell(shell, count), 0.0, 0.2)
    low, high = yield from part(shell_bounds(points, core, order, first, faces), 0.2, 0.6)
    centre = (low + high) / 2
    six = np.zeros(count)
    for begin in range(0, len(core), _TRIANGLES):
        of = shell[begin : begin + _TRIANGLES]
        corners = points[core[begin : begin + _TRIANGLES]] - centre[of][:, None]
        six += np.bincount(of, weights=six_volumes(corners), minlength=count)
        yield 0.6 + 0.4 * begin / len(core)
    return six / 6
