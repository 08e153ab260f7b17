"""Which struts join: one ends inside the rod of the other. And what hangs together through such joints."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from ..solid.mesh import IntArray
from .lattice import LatticeSolid
from .skeletons import boxes_meet


def joined_pairs(solids: Sequence[LatticeSolid]) -> IntArray:
    """Give the pairs (p, 2) of solids of which one has an end of a piece inside a rod of the other, a < b, sorted."""
    owner = np.array([k for k, s in enumerate(solids) for _ in s.struts], dtype=np.int64)
    if not len(owner):
        return np.zeros((0, 2), dtype=np.int64)
    start = np.array([strut.start for s in solids for strut in s.struts])
    end = np.array([strut.end for s in solids for strut in s.struts])
    thick = np.array([(strut.d_start_mm, strut.d_end_mm) for s in solids for strut in s.struts]) / 2
    spread = thick.max(axis=1)[:, None]
    low, high = np.minimum(start, end) - spread, np.maximum(start, end) + spread
    places, of = np.concatenate((start, end)), np.concatenate((owner, owner))
    p, k = boxes_meet(places, places, low, high)
    other = of[p] != owner[k]
    p, k = p[other], k[other]
    way = end[k] - start[k]
    offset = places[p] - start[k]
    t = np.clip((offset * way).sum(axis=1) / np.maximum((way * way).sum(axis=1), 1e-300), 0.0, 1.0)
    away = np.linalg.norm(offset - t[:, None] * way, axis=1)
    inside = away < (1 - t) * thick[k, 0] + t * thick[k, 1]
    pairs = np.sort(np.stack((of[p[inside]], owner[k[inside]]), axis=1), axis=1)
    return np.asarray(np.unique(pairs, axis=0).reshape(-1, 2))


def reached(count: int, pairs: IntArray, roots: Sequence[int]) -> npt.NDArray[np.bool_]:
    """Tell which of ``count`` solids hang together with a root through joined pairs (p, 2), (count,) bool."""
    neighbours: list[list[int]] = [[] for _ in range(count)]
    for a, b in pairs.tolist():
        neighbours[a].append(b)
        neighbours[b].append(a)
    seen = np.zeros(count, dtype=bool)
    seen[list(roots)] = True
    waiting = list(roots)
    while waiting:
        for other in neighbours[waiting.pop()]:
            if not seen[other]:
                seen[other] = True
                waiting.append(other)
    return seen
