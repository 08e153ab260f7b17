"""Wires and struts as short pieces: the strokes a picture is drawn from."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..feed.lattice import Strut
from ..solid.mesh import Body, FloatArray

MOST_PIECES = 3000  # of a picture, so that two pictures stay well under 1 MB
FINE_PER_LINK = 48
JOINED_MM = 0.01


@dataclass(frozen=True, slots=True, eq=False)
class Strokes:
    """Pieces of round rod: ``points`` (n, 3, 3) mm run along each piece, ``width_mm`` (n,) its thickness.

    ``square`` (n,) bool: the piece ends a rod that nothing carries on, and is cut off straight. ``kind`` names what
    the pieces belong to: chain or lattice.
    """

    points: FloatArray
    width_mm: FloatArray
    square: np.ndarray[tuple[int], np.dtype[np.bool_]]
    kind: str


def wire_strokes(bodies: Sequence[Body]) -> Strokes:
    """Cut the closed centrelines of bodies we drew into pieces; bodies without a wire are left out."""
    wires = [(b, b.wire) for b in bodies if b.wire is not None]
    per_link = int(np.clip(2 * (MOST_PIECES // max(len(wires), 1)), 12, FINE_PER_LINK)) // 2 * 2
    points, widths = [np.zeros((0, 3, 3))], [np.zeros(0)]
    middle = np.arange(1, per_link, 2)
    for body, wire in wires:
        line = body.pose.apply(_evenly(wire.centreline, per_link))
        points.append(line[(middle[:, None] + np.arange(-1, 2)) % per_link])
        widths.append(np.full(len(middle), 2.0 * wire.radius_mm))
    width = np.concatenate(widths)
    return Strokes(np.concatenate(points), width, np.zeros(len(width), dtype=np.bool_), "chain")


def strut_strokes(struts: Sequence[Strut]) -> Strokes:
    """Cut struts into pieces about as long as they are thick, tapered ones step by step."""
    if not struts:
        return Strokes(np.zeros((0, 3, 3)), np.zeros(0), np.zeros(0, dtype=np.bool_), "lattice")
    start = np.array([s.start for s in struts], dtype=np.float64)
    end = np.array([s.end for s in struts], dtype=np.float64)
    d0 = np.array([s.d_start_mm for s in struts], dtype=np.float64)
    d1 = np.array([s.d_end_mm for s in struts], dtype=np.float64)
    free = ~_joined(start, end)
    length = np.linalg.norm(end - start, axis=1)
    most = max(2, MOST_PIECES // len(struts))
    count = np.clip(np.ceil(length / np.maximum(np.maximum(d0, d1), 0.5)), 1 + free.any(axis=1), most).astype(np.int64)
    owner = np.repeat(np.arange(len(struts)), count)
    place = np.arange(len(owner)) - np.repeat(np.cumsum(count) - count, count)
    share = 1.0 / count[owner]
    steps = (place * share)[:, None] + share[:, None] * np.array([0.0, 0.5, 1.0])
    points = start[owner][:, None, :] + steps[:, :, None] * (end - start)[owner][:, None, :]
    widths = d0[owner] + (d1 - d0)[owner] * steps[:, 1]
    square = (free[owner, 0] & (place == 0)) | (free[owner, 1] & (place == count[owner] - 1))
    return Strokes(points, widths, square, "lattice")


def _joined(start: FloatArray, end: FloatArray) -> np.ndarray[tuple[int, int], np.dtype[np.bool_]]:
    """Tell which ends (n, 2) of struts meet the end of another."""
    both = np.round(np.concatenate([start, end]) / JOINED_MM).astype(np.int64)
    _, owner, count = np.unique(both, axis=0, return_inverse=True, return_counts=True)
    meets = count[owner.reshape(-1)] > 1
    return np.stack([meets[: len(start)], meets[len(start) :]], axis=1)


def _evenly(closed: FloatArray, count: int) -> FloatArray:
    """Give ``count`` points evenly along a closed polyline (n, 3)."""
    loop = np.vstack([closed, closed[:1]])
    run = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(loop, axis=0), axis=1))])
    at = np.linspace(0.0, run[-1], count, endpoint=False)
    return np.stack([np.interp(at, run, loop[:, k]) for k in range(3)], axis=1)
