"""Uniformly bent chains: every joint alike, from straight to a ring. All poses follow from pitch and bend."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..solid.mesh import FloatArray
from .link import SAMPLES, Link, even_parameters
from .tubes import tube_gaps

# A link can meet the next one, the one after, and on a ring of few links the third.
FURTHEST = 3
FEW = 12


@dataclass(frozen=True, slots=True, eq=False)
class Lay:
    """How one link stands in its chain: ``rolls`` (even, odd) about the chain axis in radians, ``over_face``.

    ``over_face`` tells which way a level ring bends the chain: over the face (width upright) or edgewise (laid flat).
    """

    rolls: tuple[float, float]
    over_face: bool

    @property
    def heads(self) -> tuple[int, ...]:
        """Give the links a pair can begin with: one where all are alike, an even and an odd one else."""
        return (0,) if self.rolls[0] == self.rolls[1] else (0, 1)


def lay_of(link: Link, face: str) -> Lay:
    """Give the stand of a family's links: turned ones are rolled to either side of the upright, or laid in turn."""
    turn = float(np.radians(link.turn_deg))
    if face == "flat":
        return Lay((0.0, turn), over_face=False)
    return Lay((turn / 2, -turn / 2), over_face=True)


def roll(angle: FloatArray) -> FloatArray:
    """Give rotations about x, (..., 3, 3), of angles (...) in radians."""
    return _about(angle, 1, 2)


def bend(angle: FloatArray, *, over_face: bool) -> FloatArray:
    """Give rotations (..., 3, 3) that carry a link's frame to the next of a ring: about y over the face, else about z.

    A ring has its face outward, or its inside on the +y side when it lies flat.
    """
    return _about(angle, 2, 0) if over_face else _about(angle, 0, 1)


@dataclass(frozen=True, slots=True, eq=False)
class UniformGaps:
    """Of k bends at g pitches: the smallest ``gap_mm`` (k, g) and its ``slope`` against pitch (k, g).

    ``margin_mm`` (k, g): how far the pitch may change either way before any gap can have fallen to ``floor_mm``,
    negative where one lies below it; ``margin_slope`` its change with pitch.
    """

    gap_mm: FloatArray
    slope: FloatArray
    margin_mm: FloatArray
    margin_slope: FloatArray


def uniform_gaps(
    link: Link, lay: Lay, bends: FloatArray, pitches: FloatArray, *, floor_mm: FloatArray | float = 0.0
) -> UniformGaps:
    """Measure chains bent by ``bends`` (k,) radians a joint at ``pitches`` (k, g) mm, as smooth tubes.

    A change of pitch moves link j by the chord ratio times that change and turns nothing, so no gap can change by
    more: that gives the margin. ``floor_mm`` is a number or (k, 1).
    """
    k, g = pitches.shape
    whole = 2 * np.pi / np.maximum(np.abs(bends), 1e-9)
    cases = []
    for step in range(1, FURTHEST + 1):
        # On a ring of n links, link n - j is link -j once more; on a gentle bend the third link is out of reach.
        meets = np.flatnonzero((whole > 2 * step - 0.5) & ((step < FURTHEST) | (whole < FEW)))
        if len(meets):
            cases += [(meets, *_step(lay, bends[meets], head, step)) for head in lay.heads]
    rows, turns, moves = (np.concatenate(part) for part in zip(*cases, strict=True))
    shift = (pitches[rows][..., None] * moves[:, None, :]).reshape(-1, 3)
    found = tube_gaps(link, np.repeat(turns, g, axis=0), shift)
    gap = found.gap_mm.reshape(-1, g)
    slope = np.einsum("kgi,ki->kg", found.towards.reshape(-1, g, 3), moves)
    ratio = np.sqrt((moves**2).sum(axis=1))[:, None]
    margin = (gap - np.broadcast_to(floor_mm, (k, g))[rows]) / ratio
    # One line for every case, one row for every bend; a case a bend does not know stays out of the way.
    table = np.full((4, len(cases), k, g), np.inf)
    line = np.repeat(np.arange(len(cases)), [len(case[0]) for case in cases])
    for entry, values in zip(table, (gap, slope, margin, slope / ratio), strict=True):
        entry[line, rows] = values
    least, first = table[0].argmin(axis=0)[None], table[2].argmin(axis=0)[None]
    gap, slope = (np.take_along_axis(entry, least, axis=0)[0] for entry in table[:2])
    margin, margin_slope = (np.take_along_axis(entry, first, axis=0)[0] for entry in table[2:])
    return UniformGaps(gap, slope, margin, margin_slope)


def are_linked(link: Link, lay: Lay, bends: FloatArray, pitches: FloatArray) -> npt.NDArray[np.bool_]:
    """Tell for k free joints whether neighbours pass through each other: Gauss's integral over the samples.

    On closed smooth curves that keep a wire apart the plain sum converges faster than any power of the spacing.
    """
    turn, move = _step(lay, bends, 0, 1)
    t = even_parameters(SAMPLES)
    p, p1, _ = link.curve(t)
    q = p @ turn.transpose(0, 2, 1) + (pitches[:, None] * move)[:, None]
    q1 = p1 @ turn.transpose(0, 2, 1)
    between = q[:, None] - p[:, None]
    triple = (np.cross(p1[:, None], q1[:, None]) * between).sum(axis=-1)
    total = (triple / (between**2).sum(axis=-1) ** 1.5).sum(axis=(1, 2)) * (t[1] ** 2 / (4 * np.pi))
    return np.asarray(np.abs(total) > 0.5)


def _step(lay: Lay, bends: FloatArray, head: int, step: int) -> tuple[FloatArray, FloatArray]:
    """Give turn (k, 3, 3) and move per mm of pitch (k, 3) from link ``head`` to the one ``step`` further on."""
    half = bends / 2
    chord = (np.ones_like(half), 2 * np.cos(half), 4 * np.cos(half) ** 2 - 1)[step - 1]
    ahead = bend(step * half, over_face=lay.over_face)[..., 0] * chord[:, None]
    before = roll(np.array(-lay.rolls[head]))
    after = roll(np.array(lay.rolls[(head + step) % 2]))
    return before @ bend(step * bends, over_face=lay.over_face) @ after, ahead @ before.T


def _about(angle: FloatArray, first: int, second: int) -> FloatArray:
    """Rotate axis ``first`` towards axis ``second``."""
    angle = np.asarray(angle, dtype=np.float64)
    turn = np.zeros((*angle.shape, 3, 3))
    turn[..., range(3), range(3)] = 1.0
    c, s = np.cos(angle), np.sin(angle)
    turn[..., first, first] = c
    turn[..., second, second] = c
    turn[..., second, first] = s
    turn[..., first, second] = -s
    return turn
