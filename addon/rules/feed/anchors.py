"""Anchor points: the places of a body where a gate may enter it from below, best first.

A gate must hold every place where printing a body begins: every lowest place of its own, higher ones too if they do not
hang together with a lower one when their layer is printed. From above, turn the body over.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..solid.mesh import Body, FloatArray, IntArray
from ..solid.weld import components
from .facets import under_places
from .piercing import pierced

# Dents shallower than this are no lowest place of their own: about two layers, and the facets of a wire.
PROMINENCE_MM = 0.1
# Undersides this much higher than the lowest count as level with it.
LEVEL_MM = 0.02
# Wire directions nearer to upright than this are not entered from below.
STEEPEST = 0.87
MOST_OTHERS = 10
# On a mesh not ours, dents count in the lower quarter of it; places nearer than a share of its size are one.
LOWER, NEAR = 0.25, 0.15
UP = np.array([0.0, 0.0, 1.0])


@dataclass(frozen=True, slots=True, eq=False)
class Anchors:
    """Places on one body, best first: ``points`` (k, 3) in the middle of the metal, ``along`` (k, 3) the wire there.

    ``lowest`` (k,) how high the underside is; ``arc_mm`` (k,) how far along the wire. ``along`` is zero on a mesh that
    we did not draw; ``half_mm`` (k,) is half the thickness of the metal seen from below. ``hold`` tells how many of
    the first places each hold an island of their own.
    """

    points: FloatArray
    along: FloatArray
    lowest: FloatArray
    half_mm: FloatArray
    arc_mm: FloatArray
    holds: int


def anchors(body: Body, turned: FloatArray) -> Anchors:
    """Find the anchor points of a body; ``turned`` (3,) is (1, 1, 1), or (1, 1, -1) to enter it from above."""
    if body.wire is None:
        return _on_mesh(body, turned)
    line = body.pose.apply(body.wire.centreline) * turned
    r = body.wire.radius_mm
    step = np.roll(line, -1, axis=0) - line
    length = np.linalg.norm(step, axis=1)
    along = np.roll(line, -1, axis=0) - np.roll(line, 1, axis=0)
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    level = np.sqrt(np.maximum(0.0, 1.0 - along[:, 2] ** 2))
    lowest = line[:, 2] - r * level
    arc = np.concatenate(([0.0], np.cumsum(length)[:-1]))
    holds = _valleys(lowest)
    others = _spread(lowest, arc, float(length.sum()), holds, np.abs(along[:, 2]) < STEEPEST, spacing=r)
    rows = np.concatenate((holds, others)).astype(np.int64)
    return Anchors(line[rows], along[rows], lowest[rows], np.full(len(rows), r), arc[rows], len(holds))


def _valleys(height: FloatArray) -> IntArray:
    """Find the lowest places of a closed row of heights: the middle of each valley, deepest first.

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


def _spread(
    lowest: FloatArray, arc: FloatArray, whole: float, taken: IntArray, usable: npt.NDArray[np.bool_], *, spacing: float
) -> IntArray:
    """Choose further places by rising underside, each ``spacing`` mm from those before along the wire."""
    chosen: list[int] = []
    for k in np.lexsort((arc, lowest)):
        if len(chosen) == MOST_OTHERS:
            break
        away = np.abs(arc[np.array([*taken, *chosen], dtype=np.int64)] - arc[k])
        if usable[k] and np.minimum(away, whole - away).min() >= spacing:
            chosen.append(int(k))
    return np.array(chosen, dtype=np.int64)


def _on_mesh(body: Body, turned: FloatArray) -> Anchors:
    """Find anchor points under a mesh of other origin.

    First its lowest places, each in the middle of what lies level with it; then others, low ones first, spread out.
    """
    points = body.points() * turned
    t = body.mesh.triangles if turned[2] > 0 else body.mesh.triangles[:, ::-1]
    corners = points[t]
    under = under_places(points, t)
    under = under[np.lexsort((under[:, 1], under[:, 0], np.round(under[:, 2], 6)))]
    size = float((points.max(axis=0) - points.min(axis=0)).max())
    wanted: list[FloatArray] = []
    for dent in _dents(points, t):
        low, high = dent.min(axis=0) - LEVEL_MM, dent.max(axis=0) + LEVEL_MM
        level = under[((under >= low) & (under <= high)).all(axis=1)]
        spots = level if len(level) else dent
        spot = spots[np.linalg.norm(spots - spots.mean(axis=0), axis=1).argmin()]
        if not any(_near(spot[None], other, NEAR * size)[0] for other in wanted):
            wanted.append(spot)
    holds = len(wanted)
    for spot in under:
        if len(wanted) >= holds + MOST_OTHERS:
            break
        if not any(_near(spot[None], other, NEAR / 2 * size)[0] for other in wanted):
            wanted.append(spot)
    rows: list[tuple[FloatArray, float, bool]] = []
    for number, spot in enumerate(wanted):
        start = spot - UP
        # A little towards the middle, so that the line upwards meets faces and not just a corner or an edge.
        start[:2] += 1e-4 * (points.mean(axis=0)[:2] - start[:2])
        cuts = pierced(corners, start, UP)
        if len(cuts) >= 2:
            rows.append((start + (cuts[0] + cuts[1]) / 2 * UP, (cuts[1] - cuts[0]) / 2, number < holds))
    if not rows:
        rows = [(points.mean(axis=0), 0.0, True)]
    p, half = np.array([row[0] for row in rows]), np.array([row[1] for row in rows])
    held = max(1, sum(row[2] for row in rows))
    return Anchors(p, np.zeros_like(p), p[:, 2] - half, half, np.zeros(len(p)), held)


def _dents(points: FloatArray, triangles: IntArray) -> list[FloatArray]:
    """Find level groups of corners, (k, 3) each, with no lower neighbour, in a body's lower quarter: lowest first."""
    pairs = np.concatenate((triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]))
    z = points[:, 2]
    level = np.abs(z[pairs[:, 0]] - z[pairs[:, 1]]) <= LEVEL_MM / 10
    group = components(len(points), pairs[level, 0], pairs[level, 1])
    both = np.concatenate((pairs[~level], pairs[~level][:, ::-1]))
    open_below = np.zeros(len(points), dtype=bool)
    np.logical_or.at(open_below, group[both[:, 0]], z[both[:, 1]] < z[both[:, 0]])
    used = np.unique(triangles)
    found = [g for g in np.unique(group[used]) if not open_below[g] and z[g] <= z.min() + LOWER * np.ptp(z)]
    found.sort(key=lambda g: (round(float(z[g]), 6), int(g)))
    return [points[group == g] for g in found]


def _near(places: FloatArray, at: FloatArray, reach_mm: float) -> npt.NDArray[np.bool_]:
    return np.asarray(np.linalg.norm(places[:, :2] - at[:2], axis=1) <= reach_mm)
