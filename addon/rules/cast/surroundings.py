"""The mould around the metal: its surface as patches, the webs before them, and the cells behind."""

from dataclasses import dataclass, replace

import numpy as np

from ..solid.mesh import FloatArray, IntArray
from .looking_out import View
from .mould_grid import mould_grid
from .network import Mould
from .occupied import Cells, Occupied
from .surface_points import way_of

# Size of the mould's cells over the wire; there are no more than about so many.
CELL, MOST_CELLS = 0.7, 16000


@dataclass(frozen=True, slots=True, eq=False)
class Skin:
    """p pieces of the metal's surface: middle and outward ``normal`` (p, 3), area, owner and element (p,)."""

    at: FloatArray
    normal: FloatArray
    area_mm2: FloatArray
    owner: IntArray
    element: IntArray


def mould_of(
    skin: Skin, view: View, bore_mm: FloatArray, grid: Occupied, cells: Cells, *, wire_mm: float, reach_mm: float
) -> Mould:
    """Gather pieces of surface that mould touches to patches: one for each element, what it faces, and way it looks.

    ``bore_mm`` (n,) of the elements. A web's store is the mould up to its middle, or half a cell where that is less.
    """
    out = np.flatnonzero(~view.covered)
    size = _cell_mm(skin.at[out[::3]], wire_mm)
    gap, facing, area, element = view.gap_mm[out], view.facing[out], skin.area_mm2[out], skin.element[out]
    web = facing >= 0
    deep = np.minimum(gap / 2, size / 2)
    normal = skin.normal[out]
    key = (element * (int(facing.max(initial=-1)) + 2) + facing + 1) * 6 + way_of(normal)
    order = np.argsort(key)
    first = np.flatnonzero(np.diff(key[order], prepend=-1))
    top = order[first]
    is_web = web[top]
    sums = np.column_stack((np.ones(len(out)), deep, np.where(web, gap, 0.0), skin.at[out] + deep[:, None] * normal))
    sums = np.add.reduceat((sums * area[:, None])[order], first, axis=0)
    area_of = sums[:, 0]
    store_of = np.where(is_web, sums[:, 1], 0.0)
    gap_of = np.where(is_web, sums[:, 2] / area_of, np.inf)
    places = sums[:, 3:] / area_of[:, None]
    coarse = mould_grid(places, store_of, cells.at[cells.kept], grid.h_mm, size, reach_mm)
    bore = bore_mm[element[top]]
    narrow = np.pi**2 * store_of / bore**2
    wide = area_of / (size / 2)
    return Mould(
        element=element[top],
        area_mm2=area_of,
        gap_mm=gap_of,
        facing=facing[top],
        store_mm3=store_of,
        passing_mm=np.where(is_web, np.where(gap_of < size, narrow, wide), 0.0),
        cell=coarse.cell,
        radius_mm=bore_mm / 2,
        reach_mm=reach_mm,
        cell_mm3=coarse.cell_mm3,
        cell_joints=coarse.joints,
        cell_passing_mm=coarse.passing_mm,
        outward_mm=coarse.outward_mm,
        cell_at=coarse.at,
    )


def _cell_mm(at: FloatArray, wire_mm: float) -> float:
    """Choose how large cells are: by the wire, larger where there would be too many."""
    size = CELL * wire_mm
    for _ in range(8):
        box = np.floor((at - at.min(axis=0)) / size).astype(np.int64)
        span = box.max(axis=0) + 1
        seen = np.zeros(int(span.prod()), dtype=bool)
        seen[(box[:, 0] * span[1] + box[:, 1]) * span[2] + box[:, 2]] = True
        if 2 * np.count_nonzero(seen) <= MOST_CELLS:
            break
        size *= 1.25
    return size


def with_button(mould: Mould, area_mm2: float, bore_mm: float, at: FloatArray) -> Mould:
    """Add the mould around the button, the last element: thick, with a cell of its own at (3,)."""
    element, cell = len(mould.radius_mm), len(mould.cell_mm3)
    return replace(
        mould,
        element=np.append(mould.element, element),
        area_mm2=np.append(mould.area_mm2, area_mm2),
        gap_mm=np.append(mould.gap_mm, np.inf),
        facing=np.append(mould.facing, -1),
        store_mm3=np.append(mould.store_mm3, 0.0),
        passing_mm=np.append(mould.passing_mm, 0.0),
        cell=np.append(mould.cell, cell),
        radius_mm=np.append(mould.radius_mm, bore_mm / 2),
        cell_mm3=np.append(mould.cell_mm3, area_mm2 * mould.reach_mm),
        outward_mm=np.append(mould.outward_mm, area_mm2 / (mould.reach_mm / 2)),
        cell_at=np.concatenate((mould.cell_at, at[None])),
    )
