"""Gaps of links that stand anywhere: the next two along the chain, and whatever else comes near."""

import numpy as np

from ..base.errors import CannotBuild
from ..solid.mesh import FloatArray, IntArray
from .fit import widest
from .link import Link
from .path import Path
from .tubes import placed_gaps
from .uniform import Lay, roll, uniform_gaps

BLOCK = 512
ANGLES = 33


def rolled(path: Path, lay: Lay) -> FloatArray:
    """Give the rotations (n, 3, 3) of the links themselves: their places turned by the family's own roll."""
    odd = np.arange(len(path.origins)) % 2
    return np.asarray(path.rotations @ roll(np.array(lay.rolls))[odd])


def along_pairs(links: int, *, closed: bool) -> IntArray:
    """Give the pairs (m, 2) of every link with the next and the one after, in order along the chain."""
    k = np.arange(links)
    pairs = np.concatenate([np.stack((k, k + step), axis=1) for step in (1, 2)])
    return np.asarray(pairs % links if closed else pairs[pairs[:, 1] < links])


def stranger_pairs(origins: FloatArray, within_mm: float, *, closed: bool) -> IntArray:
    """Give the pairs (m, 2) further than two apart along the chain whose centres come within a distance."""
    n = len(origins)
    found = []
    for first in range(0, n, BLOCK):
        block = origins[first : first + BLOCK]
        near = ((block[:, None] - origins[None]) ** 2).sum(axis=2) < within_mm**2
        a, b = np.nonzero(near)
        a = a + first
        apart = b - a
        keep = apart > 2
        if closed:
            keep &= apart < n - 2
        found.append(np.stack((a[keep], b[keep]), axis=1))
    return np.concatenate(found)


def smallest_gap(link: Link, lay: Lay, path: Path, pairs: IntArray) -> tuple[float, tuple[int, int]]:
    """Find the smallest gap of given pairs, and between which two links it is."""
    gap = placed_gaps(link, rolled(path, lay), path.origins, pairs).gap_mm
    least = int(gap.argmin())
    return float(gap[least]), (int(pairs[least, 0]), int(pairs[least, 1]))


def bent_too_far(link: Link, lay: Lay, path: Path, pitch_mm: float, at: tuple[int, int], gap_mm: float) -> CannotBuild:
    """Say where a curve bends so tightly that links meet, how tightly, and which radius would do there."""
    n = len(path.origins)
    first = at[0]
    joints = [k for k in (first, first + 1) if path.closed or k < n - 1]
    bends = [_bend(path.rotations[k % n], path.rotations[(k + 1) % n]) for k in joints]
    worst = int(np.argmax([np.linalg.norm(b) for b in bends]))
    a, b = joints[worst] % n, (joints[worst] + 1) % n
    x, y, z = (path.origins[a] + path.origins[b]) / 2
    angle = float(np.linalg.norm(bends[worst][1:]))
    needed = least_radius(
        link, Lay(lay.rolls, over_face=bool(abs(bends[worst][1]) >= abs(bends[worst][2]))), pitch_mm, gap_mm
    )
    return CannotBuild(
        f"layout.points: the curve bends too tightly near ({x:.1f}, {y:.1f}, {z:.1f}), between link {a + 1} and link "
        f"{b + 1}: its radius there is about {pitch_mm / (2 * np.sin(max(angle, 1e-6) / 2)):.1f} mm, and this link "
        f"needs {np.ceil(needed * 10) / 10:.1f} mm or more to keep {gap_mm:g} mm; open that bend or take a smaller link"
    )


def least_radius(link: Link, lay: Lay, pitch_mm: float, gap_mm: float) -> float:
    """Find the radius in mm of the tightest even bend that keeps the gap at a pitch, or at the best one."""
    low, high = 0.0, np.pi / 2
    for _ in range(3):
        angles = np.linspace(low, high, ANGLES)
        gap = uniform_gaps(link, lay, angles, np.full((ANGLES, 1), pitch_mm)).gap_mm[:, 0]
        good = int(np.flatnonzero(np.append(gap < gap_mm, True))[0])
        if good == 0:
            best, widest_gap = widest(link, lay, np.zeros(1))
            if abs(pitch_mm - best[0]) < 1e-9 or widest_gap[0] < gap_mm:
                return float("inf")
            return least_radius(link, lay, float(best[0]), gap_mm)
        low, high = angles[good - 1], angles[min(good, ANGLES - 1)]
    return float(pitch_mm / (2 * np.sin(max(low, 1e-9) / 2)))


def _bend(before: FloatArray, after: FloatArray) -> FloatArray:
    """Give the turn between two frames as axis times angle, in the frame of the first, (3,)."""
    turn = before.T @ after
    axis = np.array([turn[2, 1] - turn[1, 2], turn[0, 2] - turn[2, 0], turn[1, 0] - turn[0, 1]]) / 2
    sine = float(np.linalg.norm(axis))
    angle = float(np.arctan2(sine, (np.trace(turn) - 1) / 2))
    return np.asarray(axis * (angle / sine if sine > 1e-12 else 1.0))
