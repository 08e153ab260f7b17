"""A ball that rolls in the corner between a tip and the wire it enters.

In every half-plane through the tip's axis the ball's middle lies as far from the tip's own outline as from the wire's
skin. The outline is a cone and the round tip under it, the wire a round one along its centreline.
"""

from dataclasses import dataclass

import numpy as np

from ..solid.mesh import Body, FloatArray, IntArray
from .lattice import LatticeSolid
from .sections import corners_round
from .skeletons import Skeletons

STEPS = 4
# A fillet goes straight into the wire this deep, as all struts do; less where the tip itself is sunk less.
SUNK_MM, LEAST_SUNK_MM = 0.15, 0.03
# The piece of a tip outside the link keeps this share of itself free of the fillet, so that a neck stays a neck.
KEPT = 0.1
# Samples of the way of the ball's middle along a straight outline, then so many halvings.
SAMPLES, HALVINGS = 14, 24
# A ball that touches tip and wire less than this apart, in radians, leaves nothing to draw.
LEAST_ARC = 0.1
# Of the link's own wire all that lies within this many wires of the tip is the wire that the ball touches.
OWN_WIRES = 2.0


@dataclass(frozen=True, slots=True, eq=False)
class Tip:
    """A tip where it enters: ``rings`` (k, m, 3) of its gate's mesh, the wire's lines near it and its radius.

    From ``at`` (3,), where the axis enters, ``ahead`` (3,) runs on into the metal, and ``out`` (m, 3) square to it. The
    outline has radius ``r_root`` at ``-shown_mm``, and ``r_tip`` from there to ``sunk_mm``, where it ends.
    """

    rings: FloatArray
    at: FloatArray
    ahead: FloatArray
    out: FloatArray
    r_root: float
    r_tip: float
    shown_mm: float
    sunk_mm: float
    start: FloatArray
    end: FloatArray
    wire_mm: float

    def flat(self, points: FloatArray) -> FloatArray:
        """Give how far along the axis and out of it points (..., 3) lie, (..., 2)."""
        away = points - self.at
        x = away @ self.ahead
        return np.stack((x, np.linalg.norm(away - x[..., None] * self.ahead, axis=-1)), axis=-1)

    def solid(self, flat: FloatArray) -> FloatArray:
        """Give the points (..., m, 3) of places (..., m, 2) along and out of the axis, one for each half-plane."""
        return np.asarray(self.at + flat[..., :1] * self.ahead + flat[..., 1:] * self.out)

    def radius(self, x: FloatArray) -> FloatArray:
        """Give the radius of the outline at lengths along the axis."""
        return np.asarray(np.interp(x, [-self.shown_mm, 0.0], [self.r_root, self.r_tip]))


@dataclass(frozen=True, slots=True, eq=False)
class Round:
    """A fillet round a tip: where it leaves the tip (m, 3), its ``arc`` (STEPS, m, 3) to the wire, and its ``foot``."""

    leaves: FloatArray
    arc: FloatArray
    foot: FloatArray


def tip_of(solid: LatticeSolid, body: Body, lines: Skeletons, number: int) -> Tip | None:
    """Look at a gate's tip; None where its body has no wire of ours, or where it is not drawn as gates are."""
    last = solid.struts[-1]
    count = corners_round(max(last.d_start_mm, last.d_end_mm))
    if body.wire is None or len(solid.line) != 5 or len(solid.mesh.points) % count:
        return None
    rings = solid.mesh.points.reshape(-1, count, 3)
    at, sunk = np.array(solid.line[3]), np.array(solid.line[4])
    way = sunk - at
    if len(rings) < 4 or np.abs(rings[-2:].mean(axis=1) - [at, sunk]).max() > 1e-6:
        return None
    ahead = way / np.linalg.norm(way)
    root = rings[-3].mean(axis=0)
    out = rings[-2] - at
    r = lines.radius_mm[number]
    start = lines.line(number)
    end = np.roll(start, -1, axis=0)
    walked = np.concatenate(([0.0], np.cumsum(np.linalg.norm(end - start, axis=1))))
    here = float(walked[int(np.linalg.norm(start - sunk, axis=1).argmin())])
    away = np.abs(walked[:-1] - here)
    near = np.minimum(away, walked[-1] - away) <= OWN_WIRES * 2 * r
    return Tip(
        rings,
        at,
        ahead,
        out / np.linalg.norm(out, axis=1, keepdims=True),
        float(np.linalg.norm(rings[-3, 0] - root)),
        float(np.linalg.norm(out[0])),
        float((at - root) @ ahead),
        float(np.linalg.norm(way)),
        start[near],
        end[near],
        float(r),
    )


def rolled(tip: Tip, fillet_mm: float) -> Round | None:
    """Roll a ball round a tip; None where it finds no place, or where it would touch too far up the tip."""
    way, normal = _middles(tip, fillet_mm)
    if not len(way):
        return None
    m = len(tip.out)
    reach = tip.wire_mm + fillet_mm

    def off(flat: FloatArray) -> FloatArray:
        points = tip.solid(flat)
        away, _ = to_pieces(points.reshape(-1, 3), tip.start, tip.end, np.zeros(len(tip.start)))
        return np.asarray(away.reshape(points.shape[:-1]) - reach)

    outside = off(np.broadcast_to(way[:, None], (len(way), m, 2)))
    met = outside <= 0.0
    if met[0].any() or not met.any(axis=0).all():
        return None
    last = met.argmax(axis=0)
    low, high = way[last - 1], way[last]
    share, step = np.zeros(m), 0.5
    for _ in range(HALVINGS):
        free = off(low + (share + step)[:, None] * (high - low)) > 0.0
        share += np.where(free, step, 0.0)
        step /= 2
    middle = low + share[:, None] * (high - low)
    square = normal[last - 1] + share[:, None] * (normal[last] - normal[last - 1])
    square /= np.linalg.norm(square, axis=1, keepdims=True)
    centre = tip.solid(middle)
    _, foot = to_pieces(centre, tip.start, tip.end, np.zeros(len(tip.start)))
    down = (foot - centre) / np.linalg.norm(foot - centre, axis=1, keepdims=True)
    back = -(square[:, :1] * tip.ahead + square[:, 1:] * tip.out)
    if (back * down).sum(axis=1).max() > np.cos(LEAST_ARC):
        return None
    arc = centre + fillet_mm * turned(back, down)
    deep = _depth(tip, arc[-1], down)
    if deep.min() < LEAST_SUNK_MM:
        return None
    return Round(centre + fillet_mm * back, arc, arc[-1] + deep[:, None] * down)


def _middles(tip: Tip, fillet_mm: float) -> tuple[FloatArray, FloatArray]:
    """Give the way of the ball's middle along the outline of a tip, (n, 2), and which way the outline faces there.

    None of it where the ball would touch both the shaft and the tip before it came to the wire.
    """
    long = float(np.hypot(tip.shown_mm, tip.r_root - tip.r_tip))
    facing = np.array([tip.r_root - tip.r_tip, tip.shown_mm]) / long
    up = np.array([0.0, 1.0])
    first = np.array([-tip.shown_mm, tip.r_root])
    # In the hollow between a cone and the tip under it the ball touches both, this far up the cone.
    free = 1.0
    if facing[0] > 1e-9:
        free = 1.0 - fillet_mm * (1.0 - facing[1]) / (tip.r_root - tip.r_tip)
    if free <= KEPT:
        return np.zeros((0, 2)), np.zeros((0, 2))
    share = np.linspace(KEPT, free, SAMPLES)[:, None]
    on_cone = first + share * (np.array([0.0, tip.r_tip]) - first)
    ways, normals = [on_cone + fillet_mm * facing], [np.broadcast_to(facing, on_cone.shape)]
    begin = float(ways[0][-1, 0]) if facing[0] > 1e-9 else 0.0
    if facing[0] < -1e-9:
        # Round the edge where a cone that opens towards the wire meets the tip.
        lean = np.linspace(np.arctan2(facing[0], facing[1]), 0.0, SAMPLES)
        round_ = np.stack((np.sin(lean), np.cos(lean)), axis=1)
        ways.append(np.array([0.0, tip.r_tip]) + fillet_mm * round_)
        normals.append(round_)
    along = np.linspace(begin, max(begin, tip.sunk_mm) + tip.wire_mm, SAMPLES)
    ways.append(np.stack((along, np.full(SAMPLES, tip.r_tip + fillet_mm)), axis=1))
    normals.append(np.broadcast_to(up, (SAMPLES, 2)))
    return np.concatenate(ways), np.concatenate(normals)


def _depth(tip: Tip, on_wire: FloatArray, down: FloatArray) -> FloatArray:
    """Give how deep a fillet goes straight into the wire, (m,): not across the end of the tip."""
    from_axis, ahead = tip.flat(on_wire), down @ tip.ahead
    inward = -(down * tip.out).sum(axis=1)
    along = np.where(ahead > 1e-9, (tip.sunk_mm - LEAST_SUNK_MM - from_axis[:, 0]) / np.maximum(ahead, 1e-9), SUNK_MM)
    aside = np.where(inward > 1e-9, (from_axis[:, 1] - tip.r_tip) / np.maximum(inward, 1e-9), SUNK_MM)
    return np.minimum(SUNK_MM, np.maximum(along, 0.9 * aside))


def turned(one: FloatArray, other: FloatArray) -> FloatArray:
    """Turn unit vectors (m, 3) into others in equal steps along great circles: (STEPS, m, 3), the first left out."""
    angle = np.arccos(np.clip((one * other).sum(axis=1), -1.0, 1.0))[:, None]
    t = (np.arange(1, STEPS + 1) / STEPS)[:, None, None]
    flat = np.maximum(np.sin(angle), 1e-6)
    bent = (np.sin((1 - t) * angle) * one + np.sin(t * angle) * other) / flat
    return np.asarray(np.where(angle < 1e-3, other, bent))


def to_pieces(
    points: FloatArray, start: FloatArray, end: FloatArray, radius: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Give how far points (n, 3) lie from the nearest round piece, (n,), and the place on its axis, (n, 3)."""
    way = end - start
    offset = points[:, None] - start
    t = np.clip(np.einsum("nki,ki->nk", offset, way) / np.maximum((way * way).sum(axis=1), 1e-300), 0.0, 1.0)
    square = offset - t[..., None] * way
    away = np.sqrt(np.einsum("nki,nki->nk", square, square)) - radius
    nearest: IntArray = away.argmin(axis=1)
    rows = np.arange(len(points))
    return away[rows, nearest], start[nearest] + t[rows, nearest][:, None] * way[nearest]
