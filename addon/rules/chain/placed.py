"""Gaps of links that stand anywhere: those near each other in their row, and whatever else comes near."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
import numpy.typing as npt

from ..solid.mesh import FloatArray, IntArray
from .link import Link
from .measure import Measure
from .row import Row

# Of poses of meshes, so many that their centrelines show as tightest are measured: in a draft, and in the exact stage.
FEW, MORE = 24, 64
SAME = 1e-7


@dataclass(frozen=True, slots=True)
class RowGaps:
    """The smallest gap of links near each other in their row, and of links further apart, mm, each with its two bodies.

    ``far_mm`` is infinite where none further apart come nearer than ``near_mm``.
    """

    near_mm: float
    near: tuple[int, int]
    far_mm: float
    far: tuple[int, int]

    @property
    def gap_mm(self) -> float:
        """Give the smallest gap of all."""
        return min(self.near_mm, self.far_mm)

    @property
    def between(self) -> tuple[int, int]:
        """Give the two bodies it lies between."""
        return self.far if self.far_mm < self.near_mm else self.near


def row_gaps(measure: Measure, row: Row, rotations: FloatArray, origins: FloatArray) -> RowGaps:
    """Find the smallest gaps of the bodies of a row that stand at ``rotations`` (n, 3, 3) and ``origins`` (n, 3)."""
    near_mm, near = least_gap(measure, row.kind, rotations, origins, row.linked)
    reach = max(measure.links[kind].reach_mm for kind in np.unique(row.kind))
    pairs = near_pairs(origins, 2 * reach + max(near_mm, 0.0))
    n = len(row.kind)
    pairs = pairs[~np.isin(pairs @ [n, 1], row.linked @ [n, 1])]
    pairs = pairs[may_meet(measure.links, row.kind, rotations, origins, pairs, near_mm)]
    apart = row.station[pairs[:, 1]] - row.station[pairs[:, 0]]
    apart = np.minimum(apart, row.stations - apart) if row.closed else apart
    beside = apart <= near_stations(row)
    beside_mm, pair = least_gap(measure, row.kind, rotations, origins, pairs[beside])
    if beside_mm < near_mm:
        near_mm, near = beside_mm, pair
    far_mm, far = least_gap(measure, row.kind, rotations, origins, pairs[~beside])
    return RowGaps(near_mm, near, far_mm if far_mm < near_mm else np.inf, far)


def near_stations(row: Row) -> int:
    """Give how many stations apart links can meet on a bend; further apart, the chain has come back to itself."""
    apart = np.abs(row.station[row.linked[:, 1]] - row.station[row.linked[:, 0]])
    apart = np.minimum(apart, row.stations - apart) if row.closed else apart
    return 2 * int(apart.max(initial=1)) + 1


def near_in_row(row: Row, firsts: IntArray) -> IntArray:
    """Give the pairs (m, 2) of ``firsts`` with all bodies that stand near them further on in their row."""
    n, near = len(row.kind), near_stations(row)
    station = np.concatenate((row.station, row.station + row.stations)) if row.closed else row.station
    count = np.searchsorted(station, station[firsts] + near, side="right") - 1 - firsts
    a = np.repeat(firsts, count)
    b = a + 1 + np.arange(len(a)) - np.repeat(np.cumsum(count) - count, count)
    pairs = np.sort(np.stack((a, b % n), axis=1), axis=1)
    return np.asarray(np.unique(pairs[pairs[:, 0] < pairs[:, 1]], axis=0))


def least_gap(
    measure: Measure, kinds: IntArray, rotations: FloatArray, origins: FloatArray, pairs: IntArray
) -> tuple[float, tuple[int, int]]:
    """Find the smallest gap of ``pairs`` (m, 2) and the pair that has it; infinite where there are none."""
    if not len(pairs):
        return np.inf, (0, 0)
    most = MORE if measure.exact else FEW
    gap = unlike_gaps(measure, kinds[pairs], *relative(rotations, origins, pairs), most=most)
    least = int(gap.argmin())
    return float(gap[least]), (int(pairs[least, 0]), int(pairs[least, 1]))


def relative(rotations: FloatArray, origins: FloatArray, pairs: IntArray) -> tuple[FloatArray, FloatArray]:
    """Give the pose of the second body of each pair in the frame of the first: (m, 3, 3) and (m, 3)."""
    a, b = pairs.T
    back = rotations[a].transpose(0, 2, 1)
    return back @ rotations[b], np.einsum("mij,mj->mi", back, origins[b] - origins[a])


def unlike_gaps(
    measure: Measure, ends: IntArray, turn: FloatArray, shift: FloatArray, *, most: int | None = None
) -> FloatArray:
    """Measure the gaps (m,) of pairs of kinds (m, 2) at their poses (m, 3, 3), (m, 3), those that repeat only once.

    Of more than ``most`` unlike poses of meshes only those are measured that their centrelines show as tightest; the
    others read infinite.
    """
    poses = np.concatenate((ends, turn.reshape(-1, 9) / SAME, shift / SAME), axis=1).round()
    _, first, of = np.unique(poses, axis=0, return_index=True, return_inverse=True)
    chosen = np.arange(len(first))
    if measure.solids is not None and most is not None and len(first) > most:
        guide = measure.pair_gaps(ends[first, 0], ends[first, 1], turn[first], shift[first], guide=True)
        chosen = np.argsort(guide.gap_mm, kind="stable")[:most]
    gap = np.full(len(first), np.inf)
    taken = first[chosen]
    gap[chosen] = measure.pair_gaps(ends[taken, 0], ends[taken, 1], turn[taken], shift[taken]).gap_mm
    return np.asarray(gap[of.reshape(-1)])


def near_pairs(origins: FloatArray, within_mm: float) -> IntArray:
    """Give the pairs (m, 2), the smaller number first, of places (n, 3) that lie within a distance of each other.

    Places are sorted into cells of that size, so that only the cells around each are looked at.
    """
    cell = np.floor((origins - origins.min(axis=0)) / within_mm).astype(np.int64) + 1
    span = cell.max(axis=0) + 2
    weight = np.array([span[1] * span[2], span[2], 1])
    key = cell @ weight
    order = np.argsort(key, kind="stable")
    ranked = key[order]
    found = []
    for offset in product((-1, 0, 1), repeat=3):
        wanted = key + np.array(offset) @ weight
        first = np.searchsorted(ranked, wanted)
        count = np.searchsorted(ranked, wanted, side="right") - first
        a = np.repeat(np.arange(len(key)), count)
        within = np.arange(len(a)) - np.repeat(np.cumsum(count) - count, count)
        b = order[np.repeat(first, count) + within]
        keep = a < b
        a, b = a[keep], b[keep]
        close = ((origins[a] - origins[b]) ** 2).sum(axis=1) < within_mm**2
        found.append(np.stack((a[close], b[close]), axis=1))
    pairs: IntArray = np.concatenate(found)
    return np.asarray(pairs[np.lexsort((pairs[:, 1], pairs[:, 0]))])


def may_meet(
    links: Sequence[Link],
    kinds: IntArray,
    rotations: FloatArray,
    origins: FloatArray,
    pairs: IntArray,
    within_mm: float,
) -> npt.NDArray[np.bool_]:
    """Tell which pairs (m, 2) no plane keeps further apart than a distance.

    Tried are planes square to the line between their centres and to the axes of both links.
    """
    meet = np.ones(len(pairs), dtype=bool)
    a, b = pairs.T
    between = origins[b] - origins[a]
    looks = [between / np.maximum(np.linalg.norm(between, axis=1), 1e-300)[:, None]]
    looks += [rotations[end][:, :, axis] for end in (a, b) for axis in (2, 1, 0)]
    for look in looks:
        held = np.flatnonzero(meet)
        if not len(held):
            break
        way = look[held]
        along = (way * between[held]).sum(axis=1)
        way = np.where(along < 0, -1.0, 1.0)[:, None] * way
        apart = np.abs(along)
        apart -= _support(links, kinds[a[held]], rotations[a[held]], way)
        apart -= _support(links, kinds[b[held]], rotations[b[held]], -way)
        meet[held[apart > within_mm]] = False
    return meet


def extent_mm(links: Sequence[Link], row: Row, rolls: FloatArray) -> tuple[float, float]:
    """Give the size of a straight chain across: along the y and the z of its stations, in mm.

    ``rolls`` (n, 3, 3): how each body is turned in its station.
    """
    sizes = []
    for axis in (1, 2):
        way = np.zeros((len(row.kind), 3))
        way[:, axis] = 1.0
        high = row.aside_mm[:, axis - 1] + _support(links, row.kind, rolls, way)
        low = row.aside_mm[:, axis - 1] - _support(links, row.kind, rolls, -way)
        sizes.append(float(high.max() - low.min()))
    return sizes[0], sizes[1]


def _support(links: Sequence[Link], kinds: IntArray, rotations: FloatArray, ways: FloatArray) -> FloatArray:
    """Give how far in mm bodies (m,) reach from their centres along unit vectors (m, 3), or a little more."""
    local = np.einsum("mji,mj->mi", rotations, ways)
    reach = np.empty(len(kinds))
    for kind in np.unique(kinds):
        mine = kinds == kind
        points, skin = _hull(links[kind])
        reach[mine] = (points @ local[mine].T).max(axis=0) + skin
    return reach


def _hull(link: Link) -> tuple[FloatArray, float]:
    """Give points (p, 3) and how far from them the metal reaches at most."""
    if link.own is not None:
        return link.own.points, 0.0
    section = link.section
    half = section.thick_mm / 2 if section.kind == "round" else float(np.hypot(section.thick_mm, section.broad_mm)) / 2
    # Between two samples the centreline bulges by no more than an eighth of a turn over their chord.
    chord = float(np.sqrt(((np.roll(link.samples, -1, axis=0) - link.samples) ** 2).sum(axis=1)).max())
    return link.samples, max(half, (link.stud_mm or 0.0) / 2) + chord / 8
