"""The order of freezing: whether every place can draw metal from the button until it is solid itself."""

import heapq
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..solid.mesh import FloatArray, IntArray
from .network import Network

# Times that lie nearer together than this share are not told apart: so well the network resolves them (our judgement).
APART = 0.02


@dataclass(frozen=True, slots=True, eq=False)
class Feeding:
    """How the n elements of one case are fed while they freeze.

    ``open_s`` (n,): how long the best way from the button stays open, that is until its first element is solid; inf for
    the root, 0 for metal without a way, nan where there is no metal. ``neck`` (n,): that element, -1 for none.
    ``cut_off`` (n,) bool: solid only after its way has closed. ``first``: the element whose neck closes first of these,
    None where all are fed; ``order_ok`` says the same. ``hot_spots``: of every owner the element that is solid last
    among those cut off, if it is later than all its neighbours: there the metal shrinks porous.
    """

    open_s: FloatArray
    neck: IntArray
    cut_off: npt.NDArray[np.bool_]
    first: int | None
    hot_spots: tuple[int, ...]

    @property
    def order_ok(self) -> bool:
        """Tell whether every element is fed until it is solid."""
        return self.first is None


def feeding(network: Network, solid_s: FloatArray, section_mm2: FloatArray | None = None) -> Feeding:
    """Follow the best way from the root to every element: the one whose first element to be solid is so latest.

    ``solid_s`` (n,) of one case, nan where there is no metal; ``section_mm2`` (m,) of the joints in that case, those
    without are closed. Ways are found as in a spanning tree of widest paths (M. Pollack, Oper. Res. 8, 1960).
    """
    section = network.section_mm2 if section_mm2 is None else section_mm2
    is_metal = ~np.isnan(solid_s)
    usable = (section > 0.0) & is_metal[network.joints].all(axis=1)
    joints = network.joints[usable]
    open_s, neck = _widest(len(solid_s), joints, np.where(is_metal, solid_s, 0.0), network.root)
    open_s = np.where(is_metal, open_s, np.nan)
    cut_off = is_metal & (open_s < (1.0 - APART) * solid_s)
    lost = np.flatnonzero(cut_off)
    first = int(lost[np.argmin(open_s[lost])]) if len(lost) else None
    return Feeding(open_s, neck, cut_off, first, _hot_spots(network, joints, solid_s, cut_off))


def _widest(count: int, joints: IntArray, solid_s: FloatArray, root: int) -> tuple[FloatArray, IntArray]:
    """Give for every element how long its best way stays open and the element that closes it; 0, -1 without a way."""
    around: list[list[int]] = [[] for _ in range(count)]
    for a, b in joints.tolist():
        around[a].append(b)
        around[b].append(a)
    solid = solid_s.tolist()
    open_s, neck = np.zeros(count), np.full(count, -1, dtype=np.int64)
    done = [False] * count
    # The way that stays open longest goes first, equal ones by number: the same in every run.
    heap = [(-np.inf, root, -1)]
    while heap:
        minus, v, by = heapq.heappop(heap)
        if done[v]:
            continue
        done[v] = True
        open_s[v], neck[v] = -minus, by
        beyond, closer = (-minus, by) if -minus <= solid[v] else (solid[v], v)
        for u in around[v]:
            if not done[u]:
                heapq.heappush(heap, (-beyond, u, closer))
    return open_s, neck


def _hot_spots(
    network: Network, joints: IntArray, solid_s: FloatArray, cut_off: npt.NDArray[np.bool_]
) -> tuple[int, ...]:
    """Give of every owner the last element among those cut off, where it is solid after all its neighbours."""
    latest = np.full(len(solid_s), -np.inf)
    for a, b in (joints.T, joints.T[::-1]):
        np.maximum.at(latest, a, solid_s[b])
    found = np.flatnonzero(cut_off & (solid_s > latest))
    order = found[np.lexsort((found, -solid_s[found], network.owner[found]))]
    _, first = np.unique(network.owner[order], return_index=True)
    return tuple(sorted(order[first].tolist()))
