"""The stud of an anchor link: a round bar across its middle, grown together with both long sides.

A patch of quads is taken out of the inside of each side. Between the hole's edge and the circle in which bar and wire
meet, rings of quads lie on the wire, a collar; from circle to circle the bar. All of it lies inside the true wire and
the true bar.
"""

import numpy as np

from ..base.errors import Bug
from ..solid.bridge import bridge
from ..solid.mesh import FloatArray, IntArray, Mesh
from .centreline import distance_from
from .link import Curve, Link, even_parameters

# The edge of the hole keeps this share of the wire's half thickness away from the bar.
APART = 0.08
DRAW_IN_PASSES = 10
# What they leave, by the deepest corner.
LEFT = 0.02
SETTLED_MM = 1e-7
# Rings of the collar to a step of the swept wire: their quads are skew, and a long diagonal lies deep.
FINE = 2.0
NEWTON_STEPS = 4


def studded(link: Link, points: FloatArray, triangles: IntArray) -> Mesh:
    """Put the stud into a swept flat link: ``points`` (n, m, 3) of its stations, and its ``triangles``.

    n and m are whole fours, the stations' parameters even; corner 0 looks out of the loop, so that corner m / 2 lies
    inside it, and corner m / 4 along z. The bar runs along y through the link's centre.
    """
    assert link.stud_mm is not None
    n, m = points.shape[:2]
    wide, high = _reach(points, link.stud_mm / 2, APART * link.wire_mm / 2)
    across, up = _walk(wide, high)
    patches = []
    for middle in (n // 4, 3 * n // 4):
        quads = (middle + np.arange(-wide, wide))[:, None] * m + m // 2 + np.arange(-high, high)
        patches.append((2 * quads[..., None] + np.arange(2)).ravel())
    # On the +y side x runs against the stations. The other side is its mirror image.
    station, corner = n // 4 - across, m // 2 - up
    places = np.stack((station / n, corner / m), axis=1) * (2 * np.pi)
    here = _collar(link, points[station, corner], places, (2 * np.pi / n, 2 * np.pi / m))
    there = here * [1.0, -1.0, 1.0]
    length = float(here[-1, :, 1].min() - there[-1, :, 1].max())
    pieces = max(1, round(length / link.stud_mm))
    share = np.arange(1, pieces)[:, None, None] / pieces
    bar = here[-1] + share * (there[-1] - here[-1])
    rings = np.concatenate((here, bar, there[::-1]))
    return bridge(Mesh(points.reshape(-1, 3), triangles), patches[0], patches[1], rings)


def _reach(points: FloatArray, radius: float, apart: float) -> tuple[int, int]:
    """Count the stations to either side and the corners up and down that the hole needs for a bar of this radius."""
    n, m = points.shape[:2]
    inside = np.abs(points[n // 4 : n // 2, m // 2, 0])
    rise = points[n // 4, m // 2 - np.arange(m // 4 + 1), 2]
    wide, high = int(np.argmax(inside >= radius + apart)), int(np.argmax(rise >= radius + apart))
    if not (wide and high):
        raise Bug(f"no room for a bar of radius {radius} on a wire of {rise[-1]}")
    return wide, high


def _walk(wide: int, high: int) -> tuple[IntArray, IntArray]:
    """Walk round the edge of a hole from the middle of its +x side towards +z: steps in x and in z from its middle."""
    up = np.concatenate((np.arange(high), np.full(2 * wide, high), np.arange(high, -high, -1)))
    up = np.concatenate((up, np.full(2 * wide, -high), np.arange(-high, 0)))
    across = np.concatenate((np.full(high, wide), np.arange(wide, -wide, -1), np.full(2 * high, -wide)))
    across = np.concatenate((across, np.arange(-wide, wide), np.full(high, wide)))
    return across, up


def _collar(link: Link, edge: FloatArray, places: FloatArray, cell: tuple[float, float]) -> FloatArray:
    """Lay rings (q, n, 3) on the wire from inside the edge (n, 3) of a hole to the circle where the bar begins.

    ``places`` (n, 2): the edge's parameters along the centreline and around the wire, ``cell`` the steps in both from
    corner to corner of the swept wire, which the rings keep to.
    """
    assert link.stud_mm is not None
    r, turn = link.wire_mm / 2, even_parameters(len(edge))
    x, z = link.stud_mm / 2 * np.cos(turn), link.stud_mm / 2 * np.sin(turn)
    meeting = _meeting(link.curve, x, z, places[:, 0], np.full(len(edge), r))
    count = max(1, int(np.ceil(FINE * (np.abs(meeting - places) / cell).max())))
    share = np.arange(1, count + 1)[:, None, None] / count
    drawn = np.zeros((count, len(edge)))
    for _ in range(DRAW_IN_PASSES):
        at = places + share * (meeting - places)
        rings = _on_wire(link.curve, at, r - drawn)
        lines = np.concatenate((edge[None], rings))
        out = _standing_out(link, lines, np.concatenate((places[None], at))[..., 0])
        if out.max() < SETTLED_MM:
            break
        drawn += out
        meeting = _meeting(link.curve, x, z, meeting[:, 0], r - drawn[-1])
    drawn += LEFT * drawn.max() + SETTLED_MM
    meeting = _meeting(link.curve, x, z, meeting[:, 0], r - drawn[-1])
    return _on_wire(link.curve, places + share * (meeting - places), r - drawn)


def _on_wire(curve: Curve, at: FloatArray, radius: FloatArray) -> FloatArray:
    """Give the points (..., 3) at parameters (..., 2) along a flat loop and around its wire, of a radius (...)."""
    centre, first, _ = curve(at[..., 0])
    speed = np.sqrt((first**2).sum(axis=-1))
    out = np.stack((first[..., 1] / speed, -first[..., 0] / speed), axis=-1)
    across = radius * np.cos(at[..., 1])
    point = centre.copy()
    point[..., :2] += across[..., None] * out
    point[..., 2] += radius * np.sin(at[..., 1])
    return point


def _meeting(curve: Curve, x: FloatArray, z: FloatArray, near: FloatArray, radius: FloatArray) -> FloatArray:
    """Find the parameters (n, 2) of the places on the inside of a flat loop's wire at x, z (n,), from ``near`` (n,).

    Newton steps along the loop: a place across it moves (1 + k across) times as fast as the centreline, k its bend.
    """
    around = np.pi - np.arcsin(z / radius)
    across = radius * np.cos(around)
    t = near
    for _ in range(NEWTON_STEPS):
        centre, first, second = curve(t)
        speed = np.sqrt((first**2).sum(axis=-1))
        bend = (first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0]) / speed**3
        off = centre[:, 0] + across * first[:, 1] / speed - x
        t = t - off / (first[:, 0] * (1 + bend * across))
    return np.stack((t, around), axis=1)


def _standing_out(link: Link, lines: FloatArray, near: FloatArray) -> FloatArray:
    """Measure how far edges between lines (q + 1, n, 3) of corners stand out of the wire, as a share of each (q, n).

    ``near`` (q + 1, n): the corners' parameters along the loop. The first line stays as it is: an edge that begins on
    it is left to its other end, which takes twice as much.
    """

    def out(rows: slice, to: slice, turn: int) -> FloatArray:
        middle = (lines[rows] + np.roll(lines[to], turn, axis=1)) / 2
        t = (near[rows] + np.roll(near[to], turn, axis=1)) / 2
        return np.maximum(distance_from(link.curve, middle, t) - link.wire_mm / 2, 0.0)

    inner, outer = slice(1, None), slice(0, -1)
    around = out(inner, inner, -1)
    share = np.maximum(around, np.roll(around, 1, axis=1))
    # The quads of one collar are split the one way, those of the other the other way.
    for turn in (0, -1, 1):
        across = out(outer, inner, turn)
        across[0] *= 2
        share = np.maximum(share, np.roll(across, -turn, axis=1))
        share[:-1] = np.maximum(share[:-1], across[1:])
    return np.asarray(share)
