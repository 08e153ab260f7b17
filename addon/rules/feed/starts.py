"""Where printing begins: the places of a body that have nothing under them when their layer is printed.

Such a place is a lowest one of its own: a valley of the wire, a dent in the underside of a mesh, from which one must
climb before lower metal is reached. A layer begins there in mid-air unless it is held.
"""

import numpy as np

from ..solid.mesh import FloatArray, IntArray
from ..solid.weld import components

# Shallower than this a lowest place is none of its own: about two layers, and the facets of a wire.
PROMINENCE_MM = 0.1
# Undersides this much higher than the lowest count as level with it.
LEVEL_MM = 0.02
# Starts nearer to each other than this are held by the same tip, the thinnest being 1 mm across.
ONE_TIP_MM = 0.5


def valleys(height: FloatArray) -> IntArray:
    """Find the lowest places of a closed row of heights (n,): the middle of each valley, deepest first.

    A valley counts when one must climb PROMINENCE_MM out of it before reaching lower ground.
    """
    start = int(height.argmax())
    h = np.roll(height, -start)
    found: list[tuple[float, int]] = []
    for low in np.flatnonzero((h < np.roll(h, 1)) & (h <= np.roll(h, -1))):
        before = np.flatnonzero(h[:low] <= h[low])
        after = np.flatnonzero(h[low:] < h[low])
        walls = []
        if len(before):
            walls.append(h[before[-1] : low].max())
        if len(after):
            walls.append(h[low : low + after[0]].max())
        if not walls or min(walls) - h[low] >= PROMINENCE_MM:
            up = np.flatnonzero(h[low:] > h[low] + LEVEL_MM)
            down = np.flatnonzero(h[: low + 1][::-1] > h[low] + LEVEL_MM)
            right = low + (up[0] if len(up) else len(h) - low)
            left = low - (down[0] if len(down) else low + 1)
            found.append((float(h[low]), (left + right) // 2))
    if not found:  # The whole row is level.
        found = [(float(h[0]), 0)]
    found.sort()
    return np.array([(where + start) % len(h) for _, where in found], dtype=np.int64)


def dents(points: FloatArray, triangles: IntArray) -> list[FloatArray]:
    """Find the starts of a closed mesh at any height, lowest first: the corners of each, level with one another (k, 3).

    A dent is a level group of corners that looks down, has no lower neighbour, and hangs together with no lower one by
    metal less than PROMINENCE_MM above it.
    """
    edges = np.concatenate((triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]))
    edges = edges[edges[:, 0] < edges[:, 1]]
    z = points[:, 2]
    rise = z[edges[:, 1]] - z[edges[:, 0]]
    level = np.abs(rise) <= LEVEL_MM / 10
    group = components(len(points), edges[level, 0], edges[level, 1])
    # Within a group an edge may rise by more than a step: between the far corners of a face that leans a little.
    climbs = ~level & (group[edges[:, 0]] != group[edges[:, 1]])
    upper = np.where(rise > 0.0, edges[:, 1], edges[:, 0])[climbs]
    lowest = np.zeros(len(points), dtype=bool)
    lowest[np.unique(group[triangles])] = True
    lowest[group[upper]] = False
    tops = np.full(len(points), -np.inf)
    np.maximum.at(tops, group, z)
    candidates = np.flatnonzero(lowest)
    candidates = candidates[np.lexsort((candidates, np.round(tops[candidates], 6)))]
    down = np.zeros(len(points))
    area = np.cross(*np.moveaxis(points[triangles[:, 1:]] - points[triangles[:, :1]], 1, 0))[:, 2]
    np.add.at(down, group[triangles], np.repeat(area[:, None], 3, axis=1))
    top = z[edges].max(axis=1)
    found: list[FloatArray] = []
    for rank, g in enumerate(candidates):
        if down[g] >= 0.0:
            continue
        near = edges[top < tops[g] + PROMINENCE_MM]
        hangs = components(len(points), near[:, 0], near[:, 1])
        spot = points[group == g]
        if (hangs[candidates[:rank]] == hangs[g]).any() or any(_same(spot, other) for other in found):
            continue
        found.append(spot)
    return found


def _same(one: FloatArray, other: FloatArray) -> bool:
    return bool(np.linalg.norm(one.mean(axis=0) - other.mean(axis=0)) < ONE_TIP_MM)
