"""Struts as a frame of beams: how places on it move and turn under forces and moments.

Straight round beams after Euler and Bernoulli, 3-D, with their stretch and twist, joined stiffly; what stands on the
base is held fast there. Worked by flexibilities: a column that stands free is a row of cantilevers, and a tie between
two places takes from the compliance what it carries (Woodbury's identity). That gives what assembled 12 x 12 stiffness
matrices give (J. S. Przemieniecki, Theory of Matrix Structural Analysis, 1968, chapter 5; from memory).
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from ..solid.mesh import FloatArray, IntArray
from .steadiness import RESIN_MPA

# Poisson's ratio of a cast resin: a guess from memory, glassy polymers lie between 0.35 and 0.4.
POISSON = 0.35
LEAST_MM = 1e-6


@dataclass(frozen=True, slots=True, eq=False)
class Frame:
    """Places (n, 3) on a frame and its compliance (6 n, 6 n): they move in mm along x, y, z and turn in radians.

    Column 6 k + i is what all places do under a force of 1 N (i < 3) or a moment of 1 N mm at place k.
    """

    places: FloatArray
    compliance: FloatArray

    def tied(self, a: int, b: int, d_mm: float) -> "Frame":
        """Give the frame with a round tie of diameter ``d_mm`` between two of its places."""
        compliance = self.compliance.copy()
        tie_in(compliance, self.places, a, b, d_mm)
        return Frame(self.places, compliance)

    def at(self, places: IntArray) -> FloatArray:
        """Give the compliance (6 k, 6 k) among some of the places (k,)."""
        rows = (6 * places[:, None] + np.arange(6)).ravel()
        return np.asarray(self.compliance[np.ix_(rows, rows)])


def tie_in(compliance: FloatArray, places: FloatArray, a: int, b: int, d_mm: float) -> None:
    """Change a compliance in place to that with a round tie between two places."""
    strain, own = stretched(compliance, places, a, b, d_mm)
    # What hangs together with neither end is left as it is.
    held = np.flatnonzero(strain.any(axis=0))
    compliance[np.ix_(held, held)] -= strain[:, held].T @ np.linalg.solve(own, strain[:, held])


def stretched(compliance: FloatArray, places: FloatArray, a: int, b: int, d_mm: float) -> tuple[FloatArray, FloatArray]:
    """Give what loads at all places would do to a tie between two of them, (6, 6 n), and what resists it, (6, 6).

    The first is how its far end leaves the place that it would have if it followed its near end stiffly; the second
    adds to that of the frame the compliance of the tie.
    """
    rows = slice(6 * a, 6 * a + 6), slice(6 * b, 6 * b + 6)
    carry = carried(places[b] - places[a])
    strain = compliance[rows[1]] - carry @ compliance[rows[0]]
    own = strain[:, rows[1]] - strain[:, rows[0]] @ carry.T + cantilever(places[b] - places[a], d_mm)
    return strain, own


def standing_free(line: FloatArray, d_mm: FloatArray, walked_mm: FloatArray) -> Frame:
    """Give a column along points (k + 1, 3) with diameters (k,), held fast at the first, at lengths walked (n,)."""
    knots = np.concatenate(([0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))))
    every = np.unique(np.concatenate((knots, walked_mm)))
    every = every[np.concatenate(([True], np.diff(every) > LEAST_MM))]
    points = np.stack([np.interp(every, knots, x) for x in line.T], axis=1)
    piece = np.clip(np.searchsorted(knots, (every[1:] + every[:-1]) / 2) - 1, 0, len(d_mm) - 1)
    # Every piece's compliance is told at the column's foot; up to a place they add up.
    summed = np.zeros((len(every), 6, 6))
    for k, (start, end) in enumerate(pairwise(points)):
        back = carried(line[0] - end)
        summed[k + 1] = summed[k] + back @ cantilever(end - start, float(d_mm[piece[k]])) @ back.T
    row = np.abs(every[None] - walked_mm[:, None]).argmin(axis=1)
    places = np.stack([np.interp(walked_mm, knots, x) for x in line.T], axis=1)
    carry = np.array([carried(p - line[0]) for p in places]).reshape(-1, 6, 6)
    lower = summed[np.minimum(row[:, None], row[None])]
    blocks = carry[:, None] @ lower @ carry[None].swapaxes(2, 3)
    n = len(walked_mm)
    return Frame(places, blocks.swapaxes(1, 2).reshape(6 * n, 6 * n))


def cantilever(way: FloatArray, d_mm: float) -> FloatArray:
    """Give the compliance (6, 6) of the end of a round cantilever along ``way`` (3,).

    Under a force F L^3 / 3 E I and F L^2 / 2 E I, under a moment M L^2 / 2 E I and M L / E I (Euler and Bernoulli).
    """
    length = float(np.linalg.norm(way))
    ahead = way / length
    stiff = RESIN_MPA * np.pi * d_mm**4 / 64
    axial = np.outer(ahead, ahead)
    across = np.eye(3) - axial
    found = np.empty((6, 6))
    found[:3, :3] = length**3 / (3 * stiff) * across + length / (RESIN_MPA * np.pi * d_mm**2 / 4) * axial
    found[3:, 3:] = length / stiff * (across + (1 + POISSON) * axial)
    found[3:, :3] = length**2 / (2 * stiff) * crossing(ahead)
    found[:3, 3:] = found[3:, :3].T
    return found


def carried(way: FloatArray) -> FloatArray:
    """Give the matrix (6, 6) from how a place moves and turns to how one does that is stiffly ``way`` (3,) from it."""
    found = np.eye(6)
    found[:3, 3:] = -crossing(way)
    return found


def crossing(vector: FloatArray) -> FloatArray:
    """Give the matrix (3, 3) that takes the cross product with a vector from the left."""
    x, y, z = vector
    return np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
