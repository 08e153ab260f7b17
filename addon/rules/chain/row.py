"""A row of bodies: a pattern written out for a whole chain, and where its bodies stand along a path."""

from dataclasses import dataclass

import numpy as np

from ..solid.mesh import FloatArray, IntArray
from .path import Path
from .pattern import Pattern
from .turning import roll


@dataclass(frozen=True, slots=True, eq=False)
class Row:
    """The n bodies of a chain in order, at s stations.

    ``kind`` (n,) their links, ``roll`` (n,) radians about the chain's axis, ``aside_mm`` (n, 2) across it (y, z of the
    station), ``station`` (n,). ``joint`` the type of each joint from a station to the next: (s,) on a closed chain,
    else (s - 1,). ``linked`` (j, 2) pairs of bodies that pass through each other, the smaller number first.
    """

    kind: IntArray
    roll: FloatArray
    aside_mm: FloatArray
    station: IntArray
    joint: IntArray
    linked: IntArray
    closed: bool

    @property
    def stations(self) -> int:
        """Give the number of stations."""
        return int(self.station[-1]) + 1


def row_of(pattern: Pattern, links: int, *, closed: bool, face: str) -> Row:
    """Write a pattern out for ``links`` bodies. On a closed chain the turn left over is spread evenly over all joints.

    A closed chain needs whole repeats; the caller sees to it.
    """
    places = pattern.places
    k = np.arange(links)
    at, repeat = k % len(places), k // len(places)
    rolls = np.radians([p.roll_deg for p in places])[at]
    turn = np.radians(pattern.turn_deg)
    if closed:
        whole = np.pi if pattern.symmetric else 2 * np.pi
        repeats = links / len(places)
        turn = whole * np.round(turn * repeats / whole) / repeats
    start = 0.0 if face == "flat" else np.radians(pattern.upright_deg)
    steps = np.array([p.joint is not None for p in places], dtype=np.int64)[at]
    station = np.concatenate(([0], np.cumsum(steps[:-1])))
    types = np.array([-1 if p.joint is None else p.joint for p in places], dtype=np.int64)[at]
    joint = types[types >= 0] if closed else types[:-1][types[:-1] >= 0]
    first, step = np.array(pattern.linked, dtype=np.int64).reshape(-1, 2).T
    begun = len(places) * np.arange(-(-links // len(places)))[:, None] + first
    pairs = np.stack((begun, begun + step), axis=-1).reshape(-1, 2)
    pairs = np.sort(pairs % links, axis=1) if closed else pairs[pairs[:, 1] < links]
    pairs = np.unique(pairs, axis=0) if closed else pairs
    return Row(
        kind=np.array([p.kind for p in places], dtype=np.int64)[at],
        roll=start + turn * repeat + rolls,
        aside_mm=np.array([(p.y_mm, p.z_mm) for p in places])[at],
        station=station,
        joint=joint,
        linked=pairs[np.lexsort((pairs[:, 1], pairs[:, 0]))],
        closed=closed,
    )


def stood(row: Row, path: Path) -> tuple[FloatArray, FloatArray]:
    """Stand the bodies at the stations of a path: rotations (n, 3, 3) and origins (n, 3) mm."""
    frames = path.rotations[row.station]
    aside = frames[:, :, 1] * row.aside_mm[:, :1] + frames[:, :, 2] * row.aside_mm[:, 1:]
    return frames @ roll(row.roll), path.origins[row.station] + aside
