"""Can one body be drawn away from another along a straight line? Proven, or not proven; never guessed.

Moving A along d meets B exactly when some line along d holds a point of B ahead of a point of A. So look along d at
both and keep, for each cell of a grid over the view, bounds on how far each reaches: A's nearest and B's farthest.
Every triangle counts in every cell it touches, with bounds that hold over the whole cell, so "clear" is a proof. Cells
that cannot be told are cut finer; a point where B is seen ahead of A proves the way blocked and ends the search.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..solid.mesh import FloatArray, IntArray, Mesh

BoolArray = npt.NDArray[np.bool_]

# Cells across the view at each round; the last is 2.4 um on a 10 mm view.
GRIDS = (16, 64, 256, 1024, 4096)
# Rounds stop, unproven, when this many triangle-and-cell entries are still open.
MOST_ENTRIES = 400_000
# Rounding of projected coordinates of a body some 100 mm off, with a wide margin.
PAD_MM = 1e-7
# A triangle steeper than 1 / STEEP has no depth as a function of the view: its whole reach counts in every cell.
STEEP = 1e-4


def axes() -> FloatArray:
    """Give the 13 lines of the 26 directions: (13, 3) unit vectors to faces, edges and corners of a cube."""
    steps = np.array([(x, y, z) for x in (-1, 0, 1) for y in (-1, 0, 1) for z in (-1, 0, 1) if (x, y, z) > (0, 0, 0)])
    return np.asarray(steps / np.linalg.norm(steps, axis=1, keepdims=True))


def frame(direction: FloatArray) -> FloatArray:
    """Give (3, 3) rows: two axes across a unit direction, then the direction itself."""
    across = np.cross(direction, np.eye(3)[int(np.argmin(np.abs(direction)))])
    across /= np.linalg.norm(across)
    return np.stack([across, np.cross(direction, across), direction])


def clears(moving: Mesh, still: Mesh, direction: FloatArray) -> bool:
    """Tell whether a body, moved straight along ``direction`` without end, is proven never to meet another.

    Both are closed surfaces in the world that do not touch, mm; ``direction`` (3,) is a unit vector. False means
    blocked or not proven.
    """
    to_view = frame(direction)
    points_a, points_b = to_view @ moving.points.T, to_view @ still.points.T
    low = np.maximum(points_a.min(axis=1), points_b.min(axis=1))[:2] - PAD_MM
    high = np.minimum(points_a.max(axis=1), points_b.max(axis=1))[:2] + PAD_MM
    if (low > high).any() or points_a[2].min() > points_b[2].max() + PAD_MM:
        return True
    a, b = points_a[:, moving.triangles.T], points_b[:, still.triangles.T]
    # What of A lies ahead of all that is left of B in view cannot be blocked, and the other way about.
    a, b = _in_view(a, low, high), _in_view(b, low, high)
    if a.shape[2] and b.shape[2]:
        a, b = a[..., a[2].min(axis=0) <= b[2].max() + PAD_MM], b[..., b[2].max(axis=0) >= a[2].min() - PAD_MM]
    if a.shape[2] == 0 or b.shape[2] == 0:
        return True
    return _clear_by_cells(_view(a), _view(b), low, high)


def _in_view(corners: FloatArray, low: FloatArray, high: FloatArray) -> FloatArray:
    flat = corners[:2]
    return corners[..., ((flat.max(axis=1) >= low[:, None]) & (flat.min(axis=1) <= high[:, None])).all(axis=0)]


@dataclass(frozen=True, slots=True, eq=False)
class _View:
    """Triangles seen along a direction, by coordinate (across, up, depth) first and triangle last.

    ``corners`` (3, 3, m): coordinate, corner, triangle; ``low`` and ``high`` (3, m) their bounds; ``slope`` (2, m)
    of the depth; ``steep`` (m,) where there is none; ``turn`` (m,) +1 counter-clockwise, -1 clockwise.
    """

    corners: FloatArray
    low: FloatArray
    high: FloatArray
    slope: FloatArray
    steep: BoolArray
    turn: FloatArray


def _view(corners: FloatArray) -> _View:
    (x1, y1, z1), (x2, y2, z2) = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    across, up, turn = y1 * z2 - z1 * y2, z1 * x2 - x1 * z2, x1 * y2 - y1 * x2
    steep = np.abs(turn) <= STEEP * np.maximum(np.abs(across), np.abs(up))
    slope = np.where(steep, 0.0, -np.stack([across, up]) / np.where(steep, 1.0, turn))
    return _View(corners, corners.min(axis=1), corners.max(axis=1), slope, steep, np.sign(turn))


@dataclass(frozen=True, slots=True, eq=False)
class _Entries:
    """Triangles in cells: which triangle (e,), which cell (2, e), and whether it covers the cell's middle (e,)."""

    triangle: IntArray
    cell: IntArray
    covers: BoolArray

    def where(self, keep: BoolArray) -> "_Entries":
        return _Entries(self.triangle[keep], self.cell[:, keep], self.covers[keep])

    def __len__(self) -> int:
        return len(self.triangle)


def _whole(view: _View) -> _Entries:
    count = len(view.steep)
    return _Entries(np.arange(count), np.zeros((2, count), dtype=np.int64), np.zeros(count, dtype=bool))


def _clear_by_cells(a: _View, b: _View, low: FloatArray, high: FloatArray) -> bool:
    """Cut the view into ever finer cells until it is clear, blocked at some point, or too fine to go on."""
    open_a, open_b = _whole(a), _whole(b)
    coarser = 1
    for grid in GRIDS:
        size = np.maximum(high - low, 1e-9) / grid
        open_a = _finer(a, open_a, grid // coarser, low, size)
        open_b = _finer(b, open_b, grid // coarser, low, size)
        keys = np.array([grid, 1]) @ np.concatenate([open_a.cell, open_b.cell], axis=1)
        cells, place = np.unique(keys, return_inverse=True)
        at_a, at_b = np.split(place.reshape(-1), [len(open_a)])
        nearest, seen_a = _depths(a, open_a, low, size, upper=False)
        farthest, seen_b = _depths(b, open_b, low, size, upper=True)
        if (_most(seen_b, at_b, len(cells)) > _least(seen_a, at_a, len(cells)) + PAD_MM).any():
            return False
        open_a = open_a.where(nearest <= _most(farthest, at_b, len(cells))[at_a] + PAD_MM)
        open_b = open_b.where(farthest >= _least(nearest, at_a, len(cells))[at_b] - PAD_MM)
        if len(open_a) == 0 or len(open_b) == 0:
            return True
        if len(open_a) + len(open_b) > MOST_ENTRIES:
            return False
        coarser = grid
    return False


def _least(values: FloatArray, place: IntArray, count: int) -> FloatArray:
    least = np.full(count, np.inf)
    np.minimum.at(least, place, values)
    return least


def _most(values: FloatArray, place: IntArray, count: int) -> FloatArray:
    return -_least(-values, place, count)


def _finer(view: _View, coarse: _Entries, cut: int, low: FloatArray, size: FloatArray) -> _Entries:
    """Cut each entry's cell ``cut`` by ``cut`` and keep the small cells its triangle may touch."""
    scale = 1.0 / size[:, None]
    first = np.floor((view.low[:2, coarse.triangle] - PAD_MM - low[:, None]) * scale).astype(np.int64)
    last = np.floor((view.high[:2, coarse.triangle] + PAD_MM - low[:, None]) * scale).astype(np.int64)
    first = np.maximum(first, coarse.cell * cut)
    wide, tall = np.maximum(np.minimum(last, coarse.cell * cut + cut - 1) - first + 1, 0)
    total = wide * tall
    entry = np.repeat(np.arange(len(total)), total)
    inner = np.arange(len(entry)) - np.repeat(np.cumsum(total) - total, total)
    cell = first[:, entry] + np.stack([inner // tall[entry], inner % tall[entry]])
    triangle = coarse.triangle[entry]
    # How far the cell's middle lies inside each side, and how far the cell reaches from its middle towards that side.
    middle = low[:, None] + (cell + 0.5) * size[:, None]
    x, y = view.corners[:2][:, :, triangle]
    side_x, side_y = np.roll(x, -1, axis=0) - x, np.roll(y, -1, axis=0) - y
    inside = view.turn[triangle] * (side_x * (middle[1] - y) - side_y * (middle[0] - x))
    reach = np.abs(side_x) * (0.5 * size[1] + PAD_MM) + np.abs(side_y) * (0.5 * size[0] + PAD_MM)
    steep = view.steep[triangle]
    touches = (inside >= -reach).all(axis=0) | steep
    covers = (inside > 0).all(axis=0) & ~steep
    return _Entries(triangle, cell, covers).where(touches)


def _depths(
    view: _View, entries: _Entries, low: FloatArray, size: FloatArray, *, upper: bool
) -> tuple[FloatArray, FloatArray]:
    """Bound each triangle's depth over its cell from one side; and give its depth at the cell's middle.

    Where a triangle does not cover the middle, its depth there is infinite, on the side that blocks nothing.
    """
    sign = 1.0 if upper else -1.0
    middle = low[:, None] + (entries.cell + 0.5) * size[:, None]
    slope = view.slope[:, entries.triangle]
    x, y, z = view.corners[:, 0, entries.triangle]
    at_middle = z + slope[0] * (middle[0] - x) + slope[1] * (middle[1] - y)
    sway = 0.5 * (np.abs(slope[0]) * size[0] + np.abs(slope[1]) * size[1]) + PAD_MM
    sway = np.where(view.steep[entries.triangle], np.inf, sway)
    whole = (view.high if upper else view.low)[2, entries.triangle]
    bound = sign * np.minimum(sign * whole, sign * at_middle + sway)
    return bound, np.where(entries.covers, at_middle, -sign * np.inf)
