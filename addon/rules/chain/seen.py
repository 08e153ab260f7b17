"""What meshes showed of a chain at some pitches, and what can be read off between."""

from dataclasses import dataclass

import numpy as np

from ..solid.mesh import FloatArray, IntArray
from .uniform import BoolArray, Cases


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """What meshes showed of c pairs of an evenly bent chain: ``gap_mm`` (n, c) at ``pitch_mm`` (n,), rising.

    ``off_mm`` (n, c) is how much wider that is than the centrelines show, ``slope`` (n, c) how it grows with the
    pitch. Of pairs that cross it is the most it can be. NaN for a pair not looked at. ``bodies`` (c, 2) as in `Cases`.
    """

    pitch_mm: FloatArray
    gap_mm: FloatArray
    off_mm: FloatArray
    slope: FloatArray
    bodies: IntArray

    @property
    def least_mm(self) -> FloatArray:
        """Give the smallest gap seen at each pitch, (n,)."""
        return np.asarray(np.nan_to_num(self.gap_mm, nan=np.inf).min(axis=1, initial=np.inf))

    def offsets(self, pitches: FloatArray) -> FloatArray:
        """Give how much wider the gaps (c, g) are than centrelines show at pitches (g,), read off between."""
        off = np.zeros((len(self.bodies), len(pitches)))
        known = np.isfinite(self.off_mm)
        for case in np.flatnonzero(known.any(axis=0)):
            off[case] = self._offset(int(case), known[:, case], pitches)
        # A pair whose roll was not looked at is taken for those of the same links that were.
        for case in np.flatnonzero(~known.any(axis=0)):
            alike = (self.bodies == self.bodies[case]).all(axis=1) & known.any(axis=0)
            if alike.any():
                off[case] = off[alike].mean(axis=0)
        return off

    def _offset(self, case: int, known: BoolArray, pitches: FloatArray) -> FloatArray:
        free = known & (self.gap_mm[:, case] > 0)
        pitch, off, slope = self.pitch_mm, self.off_mm[:, case], self.slope[:, case]
        # Crossing meshes tell something only where without them the pair would be thought free.
        crossing = np.flatnonzero(known & ~free)
        if free.any() and len(crossing):
            thought = cubic(pitch[free], off[free], slope[free], pitch[crossing])
            free[crossing[thought > off[crossing]]] = True
        held = free if free.any() else known
        return cubic(pitch[held], off[held], slope[held], pitches)

    def joined_by(self, pitch_mm: FloatArray, gap_mm: FloatArray, off_mm: FloatArray, slope: FloatArray) -> "Seen":
        """Give the same with more pitches (m,), the rest (m, c)."""
        pitch = np.concatenate((self.pitch_mm, pitch_mm))
        order = np.argsort(pitch, kind="stable")
        gap, off, rise = (
            np.concatenate(pair)[order] for pair in ((self.gap_mm, gap_mm), (self.off_mm, off_mm), (self.slope, slope))
        )
        return Seen(pitch[order], gap, off, rise, self.bodies)


def nothing_seen(cases: Cases) -> Seen:
    """Give what is seen of a chain before looking."""
    none = np.zeros((0, len(cases.a)))
    return Seen(np.zeros(0), none, none, none, cases.bodies)


def cubic(places: FloatArray, values: FloatArray, slopes: FloatArray, at: FloatArray) -> FloatArray:
    """Read (g,) off cubics through values and slopes (n,) at rising places (n,); straight on beyond the outer ones."""
    if len(places) == 1:
        return np.asarray(values[0] + slopes[0] * (at - places[0]))
    cell = np.clip(np.searchsorted(places, at) - 1, 0, len(places) - 2)
    width = places[cell + 1] - places[cell]
    t = (at - places[cell]) / width
    inside = np.clip(t, 0.0, 1.0)
    rest = 1 - inside
    found = values[cell] * (1 + 2 * inside) * rest**2 + values[cell + 1] * inside**2 * (3 - 2 * inside)
    found += width * inside * rest * (slopes[cell] * rest - slopes[cell + 1] * inside)
    beyond = np.where(t < 0, slopes[cell] * t, 0.0) + np.where(t > 1, slopes[cell + 1] * (t - 1), 0.0)
    return np.asarray(found + beyond * width)
