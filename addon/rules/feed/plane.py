"""Lines drawn on the plate: how far apart they are, what they enclose, and where inside there is most room."""

import numpy as np
import numpy.typing as npt

from ..solid.mesh import FloatArray
from .skeletons import between

GRID = 33
MOST_POINTS = 400
# The centre of the area is kept while it has at least this share of the room of the roomiest place.
CENTRED = 0.6


def flat_gap(a0: FloatArray, a1: FloatArray, b0: FloatArray, b1: FloatArray) -> FloatArray:
    """Give the distances between straight pieces a0-a1 (n, 2) and b0-b1 (m, 2), (n, m)."""
    shape = (len(a0), len(b0), 3)

    def raised(points: FloatArray, axis: int) -> FloatArray:
        return np.broadcast_to(np.expand_dims(np.column_stack((points, np.zeros(len(points)))), axis), shape)

    return between(raised(a0, 1), raised(a1, 1), raised(b0, 0), raised(b1, 0))


def roomiest(ring: FloatArray) -> tuple[FloatArray, float]:
    """Find a place (2,) inside a closed line (k, 2) with room all round, and how far the line is from it.

    The centre of the area if that has room, else the roomiest place of a grid.
    """
    after = np.roll(ring, -1, axis=0)
    cross = ring[:, 0] * after[:, 1] - ring[:, 1] * after[:, 0]
    low, high = ring.min(axis=0), ring.max(axis=0)
    area = float(cross.sum())
    centre = ((ring + after) * cross[:, None]).sum(axis=0) / (3 * area) if area else (low + high) / 2
    x, y = np.linspace(low[0], high[0], GRID), np.linspace(low[1], high[1], GRID)
    grid = np.concatenate((centre[None], np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)))
    thin = ring[:: max(1, len(ring) // MOST_POINTS)]
    room = np.linalg.norm(grid[:, None] - thin[None], axis=2).min(axis=1)
    room = np.where(inside(grid, ring), room, -1.0)
    best = int(room.argmax())
    pick = 0 if room[0] >= CENTRED * room[best] else best
    return np.asarray(grid[pick]), float(room[pick])


def inside(points: FloatArray, ring: FloatArray) -> npt.NDArray[np.bool_]:
    """Tell which points (n, 2) lie inside a closed line (k, 2): by how often a level ray meets it."""
    a, b = ring[None], np.roll(ring, -1, axis=0)[None]
    y = points[:, None, 1]
    spans = (a[..., 1] > y) != (b[..., 1] > y)
    rise = np.where(spans, b[..., 1] - a[..., 1], 1.0)
    x = a[..., 0] + (y - a[..., 1]) / rise * (b[..., 0] - a[..., 0])
    return np.asarray((spans & (points[:, None, 0] < x)).sum(axis=1) % 2 == 1)


def turns_left(ring: FloatArray) -> bool:
    """Tell whether a closed line (k, 2) or (k, 3) runs anticlockwise seen from above."""
    x, y = ring[:, 0], ring[:, 1]
    return bool((x * np.roll(y, -1) - y * np.roll(x, -1)).sum() > 0)
