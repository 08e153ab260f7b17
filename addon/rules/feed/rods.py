"""Closed meshes of struts: a section swept along a line of points, its thickness free at every point."""

import numpy as np

from ..solid.mesh import FloatArray, IntArray, Mesh
from .sections import ROUND, Section

UP = np.array([0.0, 0.0, 1.0])


def rod(points: FloatArray, d_mm: FloatArray) -> Mesh:
    """Sweep a circle along an open line of points (k, 3) with diameters (k,), mitred at the bends, flat at both ends.

    Between two points the piece is the straight round cone between their circles. No bend may turn by 90 degrees or
    more, and no two neighbouring points may be the same.
    """
    ahead = _unit(np.diff(points, axis=0))
    before = np.concatenate((ahead[:1], ahead))
    after = np.concatenate((ahead, ahead[-1:]))
    mitre = _unit(before + after)
    side = _square(ahead[0])
    outline = ROUND.outline(float(d_mm.max()))
    rings = []
    for k, point in enumerate(points):
        up = np.cross(before[k], side)
        circle = d_mm[k] / 2 * (outline[:, :1] * side + outline[:, 1:] * up)
        slide = circle @ mitre[k] / (before[k] @ mitre[k])
        rings.append(point + circle - slide[:, None] * before[k])
        side = _carried(side, before[k], after[k])
    return skin(np.array(rings), closed=False)


def lying(
    points: FloatArray,
    d_mm: FloatArray,
    section: Section,
    *,
    plate_z_mm: float,
    closed: bool,
    wider_mm: FloatArray | float = 0.0,
) -> Mesh:
    """Sweep a footed section along a line (k, 2) drawn on the plate, with diameters (k,); the foot lies in the plate.

    Sections stand upright, mitred in plan. The axis of a piece lies ``section.foot * d / 2`` above the plate. By
    ``wider_mm`` (k,) the halves of a section are moved apart to either side: it grows no higher, its flanks no flatter.
    """
    side, stretch = _plan_sides(points, closed=closed)
    outline = section.outline(float(d_mm.max()))
    r = d_mm[:, None] / 2
    # A corner on the axis belongs to neither half.
    half = np.sign(np.round(outline[:, 0], 9)) * np.broadcast_to(wider_mm, len(points))[:, None]
    across = (stretch[:, None] * (r * outline[:, 0] + half))[..., None] * side[:, None, :]
    rings = np.empty((len(points), len(outline), 3))
    rings[..., :2] = points[:, None, :] + across
    # Written so that the foot comes out at the plate to the last bit.
    rings[..., 2] = plate_z_mm + r * (section.foot + outline[:, 1])
    return skin(rings, closed=closed)


def hoop(points: FloatArray, d_mm: float, *, closed: bool) -> Mesh:
    """Sweep a circle along a line (k, 3) that is nowhere near upright, closed into a ring if asked."""
    step = np.diff(np.concatenate((points, points[:1])) if closed else points, axis=0)
    ahead = _unit(step)
    before = np.roll(ahead, 1, axis=0) if closed else np.concatenate((ahead[:1], ahead))
    after = ahead if closed else np.concatenate((ahead, ahead[-1:]))
    mitre = _unit(before + after)
    side = _unit(np.cross(UP, before))
    up = np.cross(before, side)
    outline = ROUND.outline(d_mm)
    circle = d_mm / 2 * (outline[None, :, :1] * side[:, None] + outline[None, :, 1:] * up[:, None])
    slide = (circle * mitre[:, None]).sum(axis=2) / (before * mitre).sum(axis=1)[:, None]
    return skin(points[:, None] + circle - slide[..., None] * before[:, None], closed=closed)


def drum(middle: FloatArray, d_mm: float, *, plate_z_mm: float, height_mm: float) -> Mesh:
    """Make an upright round of diameter ``d_mm`` that stands on the plate at ``middle`` (2,)."""
    outline = ROUND.outline(d_mm) * (d_mm / 2)
    rings = np.empty((2, len(outline), 3))
    rings[..., :2] = middle + outline
    rings[0, :, 2] = plate_z_mm
    rings[1, :, 2] = plate_z_mm + height_mm
    return skin(rings, closed=False)


def _plan_sides(points: FloatArray, *, closed: bool) -> tuple[FloatArray, FloatArray]:
    """Give the left-hand side (k, 2) of a line in plan at each point, and how far a mitre stretches it (k,)."""
    step = np.diff(np.concatenate((points, points[:1])) if closed else points, axis=0)
    ahead = _unit(step)
    before = np.roll(ahead, 1, axis=0) if closed else np.concatenate((ahead[:1], ahead))
    after = ahead if closed else np.concatenate((ahead, ahead[-1:]))
    along = _unit(before + after)
    side = np.stack((-along[:, 1], along[:, 0]), axis=1)
    return side, 1.0 / (before * along).sum(axis=1)


def skin(rings: FloatArray, *, closed: bool) -> Mesh:
    """Join rings of corners (k, m, 3), each counter-clockwise about the way, into a closed mesh.

    ``closed`` joins the last ring to the first; else both are capped, and must be flat.
    """
    k, m = rings.shape[:2]
    first = np.arange(k if closed else k - 1)[:, None]
    here, there = first * m, (first + 1) % k * m
    now = np.arange(m)[None, :]
    then = np.roll(now, -1, axis=1)
    a, b, c, d = here + now, here + then, there + then, there + now
    sides = np.stack((a, b, c, a, c, d), axis=-1).reshape(-1, 3)
    parts: list[IntArray] = [sides]
    if not closed:
        fan = np.arange(1, m - 1)
        parts.append(np.stack((np.zeros_like(fan), fan + 1, fan), axis=1))
        parts.append(np.stack((np.zeros_like(fan), fan, fan + 1), axis=1) + (k - 1) * m)
    triangles = np.concatenate(parts).astype(np.int64)
    return Mesh(np.ascontiguousarray(rings.reshape(-1, 3)), triangles)


def _unit(vectors: FloatArray) -> FloatArray:
    return np.asarray(vectors / np.linalg.norm(vectors, axis=-1, keepdims=True))


def _square(direction: FloatArray) -> FloatArray:
    axis = np.zeros(3)
    axis[np.abs(direction).argmin()] = 1.0
    return _unit(np.cross(direction, axis))


def _carried(side: FloatArray, before: FloatArray, after: FloatArray) -> FloatArray:
    """Turn a vector square to ``before`` by the least turn that carries ``before`` to ``after``."""
    return np.asarray(side - (side @ after) / (1.0 + before @ after) * (before + after))
