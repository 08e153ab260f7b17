"""Coarse cells of the mould near the metal, and how easily heat passes between them and outward."""

from dataclasses import dataclass

import numpy as np

from ..solid.mesh import FloatArray, IntArray

# A cell keeps at least this share of itself as mould, however full of metal and stores it is.
LEAST = 0.05
# A neighbour without patches of its own belongs to the cells where at least this share of it is mould.
FREE = 0.2


@dataclass(frozen=True, slots=True, eq=False)
class MouldGrid:
    """c cells of ``size_mm``: as in `Mould`; ``cell`` (k,) the cell of each place that was asked for."""

    cell: IntArray
    cell_mm3: FloatArray
    joints: IntArray
    passing_mm: FloatArray
    outward_mm: FloatArray
    at: FloatArray


def mould_grid(
    places: FloatArray, stores_mm3: FloatArray, metal: FloatArray, fine_mm: float, size_mm: float, reach_mm: float
) -> MouldGrid:
    """Lay cells over ``places`` (k, 3), which take ``stores_mm3`` (k,) out of them, and their neighbours.

    ``metal`` (f, 3) are the middles of fine cells of ``fine_mm`` that are metal. Outward the cold mould lies
    ``reach_mm``, two penetration depths, away.
    """
    low = places.min(axis=0) - 2.5 * size_mm
    shape = np.floor((places.max(axis=0) - low) / size_mm).astype(np.int64) + 4
    steps = np.array([shape[1] * shape[2], shape[2], 1])
    inside = ((metal > low) & (metal < low + size_mm * shape)).all(axis=1)
    full = np.bincount(_numbers(metal[inside], low, size_mm, steps), minlength=int(shape.prod()))
    free = 1.0 - full * (fine_mm / size_mm) ** 3
    wanted = _numbers(places, low, size_mm, steps)
    kept = np.zeros(len(free), dtype=bool)
    kept[wanted] = True
    near = np.flatnonzero(kept)
    near = np.unique(np.concatenate([near + s for s in (*steps, *-steps)]))
    kept[near[free[near] > FREE]] = True
    cells = np.flatnonzero(kept)
    number = np.full(len(free), -1, dtype=np.int64)
    number[cells] = np.arange(len(cells))
    stored = np.bincount(number[wanted], stores_mm3, minlength=len(cells))
    volume = np.maximum(free[cells] * size_mm**3 - stored, LEAST * size_mm**3)
    joints, passing = [], []
    outward = np.zeros(len(cells))
    open_face = np.clip(free, LEAST, 1.0)
    for step in steps:
        for way in (step, -step):
            beyond = number[cells + way]
            alone = np.flatnonzero((beyond < 0) & (free[cells + way] > FREE))
            outward[alone] += open_face[cells[alone]] * size_mm**2 / (size_mm / 2 + reach_mm)
        beyond = number[cells + step]
        a = np.flatnonzero(beyond >= 0)
        joints.append(np.stack((a, beyond[a]), axis=1))
        passing.append(np.minimum(open_face[cells[a]], open_face[cells[a] + step]) * size_mm)
    z, y = cells % shape[2], cells // shape[2] % shape[1]
    at = low + size_mm * (np.stack((cells // steps[0], y, z), axis=1) + 0.5)
    return MouldGrid(number[wanted], volume, np.concatenate(joints), np.concatenate(passing), outward, at)


def _numbers(places: FloatArray, low: FloatArray, size_mm: float, steps: IntArray) -> IntArray:
    return np.asarray(np.floor((places - low) / size_mm).astype(np.int64) @ steps)
