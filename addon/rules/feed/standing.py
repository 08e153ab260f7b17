"""Struts that stand already, and how far a new one keeps from them."""

from collections.abc import Iterable, Iterator

import numpy as np

from ..solid.mesh import FloatArray
from .skeletons import rod_gap

PIECES = 4
ROOM = 64


class Standing:
    """Rods laid so far, all cut to the same number of points so that one call measures them all."""

    def __init__(self, rods: Iterable[tuple[FloatArray, FloatArray]] = ()) -> None:
        self._rods: list[tuple[FloatArray, FloatArray]] = []
        self._points, self._radii = np.zeros((ROOM, PIECES + 1, 3)), np.zeros((ROOM, PIECES))
        self._ends = np.zeros((ROOM, 2, 3))
        self._used = 0
        for points, radii in rods:
            self.add(points, radii)

    def add(self, points: FloatArray, radii: FloatArray) -> None:
        """Stand up a rod through points (k + 1, 3) with radii (k,)."""
        self._rods.append((points, radii))
        for begin in range(0, len(radii), PIECES):
            if self._used == len(self._points):
                self._points, self._radii, self._ends = (
                    np.concatenate((a, np.zeros_like(a))) for a in (self._points, self._radii, self._ends)
                )
            line, thick = points[begin : begin + PIECES + 1], radii[begin : begin + PIECES]
            self._points[self._used] = line[-1]
            self._points[self._used, : len(line)] = line
            self._radii[self._used] = thick[-1]
            self._radii[self._used, : len(thick)] = thick
            self._ends[self._used] = points[[0, -1]]
            self._used += 1

    def rods(self) -> Iterator[tuple[FloatArray, FloatArray]]:
        """Give all rods in the order they were laid: points (k + 1, 3) and radii (k,)."""
        return iter(self._rods)

    def gap(self, points: FloatArray, radii: FloatArray, reach_mm: float, *, node_mm: float = -1.0) -> float:
        """Give the smallest distance from a rod to any that stands, or ``reach_mm``.

        Rods with an end within ``node_mm`` of an end of this one share a node with it and do not count.
        """
        if not self._used:
            return reach_mm
        others, thick, ends = (a[: self._used] for a in (self._points, self._radii, self._ends))
        spread = reach_mm + thick.max() + radii.max()
        near = (
            (others.min(axis=1) <= points.max(axis=0) + spread) & (others.max(axis=1) >= points.min(axis=0) - spread)
        ).all(axis=1)
        for end in (points[0], points[-1]):
            near &= (np.linalg.norm(ends - end, axis=2) > node_mm).all(axis=1)
        if not near.any():
            return reach_mm
        return min(reach_mm, float(rod_gap(points, radii, others[near], thick[near]).min()))
