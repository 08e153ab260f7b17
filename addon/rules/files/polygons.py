"""Planar polygons cut into triangles, dented ones too."""

import numpy as np

from ..solid.mesh import FloatArray, IntArray

# Nearer to a line than this share of the polygon's extent counts as on it: rounding, far from any outline meant.
_ON_LINE = 1e-10
# Ear clipping takes time with the square of the corners.
MAX_DENTED_CORNERS = 5_000


def triangulate(points: FloatArray, polygons: IntArray) -> IntArray:
    """Cut k polygons of n corners each into triangles, (k, n - 2, 3), keeping their way round.

    ``points`` (p, 3), ``polygons`` (k, n) point numbers, n at least 3. Corners that all turn the same way give a fan;
    others are cut ear by ear (Meisters 1975, American Mathematical Monthly 82, 648-651). A polygon that is not plane
    is cut as its shadow along its mean normal. Raises ValueError for a dented polygon of more than
    `MAX_DENTED_CORNERS` corners.
    """
    corners = polygons.shape[1]
    fan = np.stack([np.zeros(corners - 2, dtype=np.int64), np.arange(1, corners - 1), np.arange(2, corners)], axis=1)
    result: IntArray = polygons[:, fan]
    if corners == 3:
        return result
    flat = _shadows(points[polygons])
    edge = np.roll(flat, -1, axis=1) - flat
    turn = _cross(np.roll(edge, 1, axis=1), edge)
    near = _ON_LINE * np.abs(flat).max(axis=(1, 2))
    length = np.linalg.norm(edge, axis=2)
    straight = turn <= near[:, None] * np.maximum(length, np.roll(length, 1, axis=1))
    for number in np.flatnonzero(straight.any(axis=1)):
        if corners > MAX_DENTED_CORNERS:
            raise ValueError(f"a face of {corners:,} corners is too large to cut into triangles")
        result[number] = polygons[number][_ears(flat[number], float(near[number]))]
    return result


def _shadows(corners: FloatArray) -> FloatArray:
    """Give the polygons (k, n, 3) in the plane across their mean normal (Newell's), (k, n, 2), counter-clockwise."""
    local = corners - corners[:, :1]
    normal = np.cross(local, np.roll(local, -1, axis=1)).sum(axis=1)
    length = np.linalg.norm(normal, axis=1, keepdims=True)
    normal = np.where(length > 0, normal / np.where(length > 0, length, 1.0), [0.0, 0.0, 1.0])
    least = np.eye(3)[np.abs(normal).argmin(axis=1)]
    x = np.cross(least, normal)
    x /= np.linalg.norm(x, axis=1, keepdims=True)
    y = np.cross(normal, x)
    return np.stack([np.einsum("knj,kj->kn", local, x), np.einsum("knj,kj->kn", local, y)], axis=2)


def _cross(a: FloatArray, b: FloatArray) -> FloatArray:
    result: FloatArray = a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0]
    return result


def _ears(flat: FloatArray, near: float) -> IntArray:
    """Cut one counter-clockwise polygon (n, 2) into triangles (n - 2, 3) of its own corner numbers.

    Of the corner's ears, the one with the widest smallest angle goes first, so that straight corners are used up by
    triangles with area where that can be. Where rounding or a crossing outline leaves no ear, the widest turn goes.
    """
    left = np.arange(len(flat))
    score = np.empty(len(flat))
    blocker = np.empty(len(flat), dtype=np.int64)
    stale = left
    triangles = []
    while len(left) > 3:
        for i in stale:
            score[i], blocker[i] = _ear(flat, left, i, near)
        best = int(score.argmax())
        cut = int(left[best])
        triangles.append(left[[best - 1, best, (best + 1) % len(left)]])
        left, score, blocker = (np.delete(values, best) for values in (left, score, blocker))
        # A cut changes its two neighbours, and may free the corners it lay in the way of.
        freed = np.flatnonzero(blocker == cut)
        stale = np.unique(np.append(freed, [(best - 1) % len(left), best % len(left)]))
    triangles.append(left)
    return np.array(triangles)


def _ear(flat: FloatArray, left: IntArray, i: int, near: float) -> tuple[float, int]:
    """Give how good an ear corner i is, its least height over its longest side, and -1; or below 0 and what blocks it.

    A corner less than ``near`` high is straight, a point less than ``near`` outside the triangle is in its way. What
    blocks a corner that turns the wrong way is no other corner, -1.
    """
    corners = flat[left[[i - 1, i, (i + 1) % len(left)]]]
    sides = np.roll(corners, -1, axis=0) - corners
    lengths = np.linalg.norm(sides, axis=1)
    longest = float(lengths.max())
    height = float(_cross(sides[0], sides[1])) / longest if longest > 0 else 0.0
    if height <= near:
        return (height / longest if longest > 0 else 0.0) - 2.0, -1
    others = flat[left]
    heights = _cross(sides[:, None], others - corners[:, None]) / lengths[:, None]
    own = (others[:, None] == corners).all(axis=2).any(axis=1)
    blocking = left[(heights >= -near).all(axis=0) & ~own]
    return (height / longest - 1.0, int(blocking[0])) if len(blocking) else (height / longest, -1)
