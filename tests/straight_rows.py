"""Straight rows of links for the tests of weaves: poses, gaps as smooth tubes, and linking numbers of centrelines."""

import numpy as np

from addon.rules.chain.link import even_parameters
from addon.rules.chain.pattern import Pattern
from addon.rules.chain.row import Row, row_of
from addon.rules.chain.tubes import tube_gaps
from addon.rules.chain.turning import roll
from addon.rules.solid.linking import linking_numbers
from addon.rules.solid.mesh import FloatArray, IntArray


def stand_straight(pattern: Pattern, bodies: int, pitch_mm: float) -> tuple[Row, FloatArray, FloatArray]:
    """A row along x, its stations one pitch apart: the row, rotations (n, 3, 3), origins (n, 3)."""
    row = row_of(pattern, bodies, closed=False, face="flat")
    origins = np.column_stack((row.station * pitch_mm, row.aside_mm))
    return row, roll(row.roll), origins


def pair_gaps(pattern: Pattern, bodies: int, pitch_mm: float, pairs: IntArray) -> FloatArray:
    """Gaps (p,) of pairs (p, 2) of bodies, as smooth tubes; negative where they overlap."""
    row, rotations, origins = stand_straight(pattern, bodies, pitch_mm)
    a, b = pairs.T
    back = rotations[a].transpose(0, 2, 1)
    turn, shift = back @ rotations[b], np.einsum("pij,pj->pi", back, origins[b] - origins[a])
    gap = np.empty(len(pairs))
    for kinds in np.unique(row.kind[pairs], axis=0):
        mine = (row.kind[pairs] == kinds).all(axis=1)
        first, second = (pattern.links[kind] for kind in kinds)
        gap[mine] = tube_gaps(first, second, turn[mine], shift[mine]).gap_mm
    return gap


def widest_gap(pattern: Pattern, bodies: int, pitches: FloatArray) -> tuple[float, float]:
    """The widest smallest gap over the pitches, and its pitch."""
    pairs = all_pairs(bodies)
    gap = [float(pair_gaps(pattern, bodies, pitch, pairs).min()) for pitch in pitches]
    return max(gap), float(pitches[int(np.argmax(gap))])


def linked_pairs(pattern: Pattern, bodies: int, pitch_mm: float, steps: int = 96) -> set[tuple[int, int]]:
    """The pairs of bodies whose centrelines link once, either way; any other number but 0 fails."""
    row, rotations, origins = stand_straight(pattern, bodies, pitch_mm)
    lines = [
        pattern.links[kind].curve(even_parameters(steps))[0] @ turn.T + origin
        for kind, turn, origin in zip(row.kind, rotations, origins, strict=True)
    ]
    pairs = all_pairs(bodies)
    number = np.abs(linking_numbers(lines, pairs[:, 0], pairs[:, 1]))
    assert np.abs(number - np.round(number)).max() < 1e-9
    assert set(np.round(number)) <= {0.0, 1.0}
    return {(int(a), int(b)) for a, b in pairs[number > 0.5]}


def all_pairs(bodies: int) -> IntArray:
    return np.stack(np.triu_indices(bodies, 1), axis=1)
