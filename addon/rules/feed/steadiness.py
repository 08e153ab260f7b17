"""How far a link moves while it is printed: the gates under it as short columns, the film pulling at each fresh layer.

A plain estimate, meant to rank and to warn, not to prove: every layer is pulled by the peel pressure over its own area,
at its own middle; what misses the gates' axis bends them (cantilevers after Euler and Bernoulli: slope M L / E I), and
the link above turns as a rigid piece.
"""

from dataclasses import dataclass
from math import pi

import numpy as np

from ..solid.mesh import FloatArray

# Young's modulus of a castable resin as it comes out of the printer, in MPa: a guess from memory; data sheets of such
# resins speak of a few hundred to over a thousand after curing.
RESIN_MPA = 500.0
LAYERS = 24


@dataclass(frozen=True, slots=True, eq=False)
class Column:
    """A gate as a column: where it enters (3,), lengths and diameters in mm of its shaft and of its neck."""

    top: FloatArray
    shaft_length_mm: float
    shaft_mm: float
    neck_length_mm: float
    neck_mm: float


def sway_mm(line: FloatArray, radius_mm: float, columns: list[Column], pressure_kpa: float) -> float:
    """Estimate the largest movement in mm of a link while its layers are peeled from the film.

    ``line`` (n, 3) is its closed centreline, z up; ``columns`` the gates that hold it from below.
    """
    if not columns:
        return float("inf")
    step = np.roll(line, -1, axis=0) - line
    middle = line + step / 2
    metal = np.linalg.norm(step, axis=1) * pi * radius_mm**2
    low, high = middle[:, 2].min() - radius_mm, middle[:, 2].max() + radius_mm
    layer = np.clip(((middle[:, 2] - low) / (high - low) * LAYERS).astype(np.int64), 0, LAYERS - 1)
    thick = max((high - low) / LAYERS, 2 * radius_mm)
    tops = np.array([c.top for c in columns])
    base = tops.mean(axis=0)
    # Each column's turn per moment, worked as neck and shaft in a row; columns side by side share the load.
    turn = np.array([_turn(c) for c in columns])
    stretch = np.array([_stretch(c) for c in columns])
    spread = ((tops[:, :2] - base[:2]) ** 2).sum(axis=1)
    stiffness = (1 / turn).sum() + (spread / stretch).sum()
    worst = 0.0
    for k in range(LAYERS):
        rows = layer == k
        if not rows.any():
            continue
        force = pressure_kpa * 1e-3 * metal[rows].sum() / thick
        at = np.average(middle[rows], axis=0, weights=metal[rows])
        tilt = force * float(np.linalg.norm(at[:2] - base[:2])) / stiffness
        arm = np.linalg.norm(middle[rows] - base, axis=1).max()
        worst = max(worst, tilt * float(arm) + force / float((1 / stretch).sum()))
    return worst


def _turn(c: Column) -> float:
    return c.neck_length_mm / (RESIN_MPA * _second_moment(c.neck_mm)) + c.shaft_length_mm / (
        RESIN_MPA * _second_moment(c.shaft_mm)
    )


def _stretch(c: Column) -> float:
    return c.neck_length_mm / (RESIN_MPA * pi * c.neck_mm**2 / 4) + c.shaft_length_mm / (
        RESIN_MPA * pi * c.shaft_mm**2 / 4
    )


def _second_moment(d_mm: float) -> float:
    """Give the second moment of area of a round section, pi d^4 / 64, in mm4 (Euler-Bernoulli beams)."""
    return pi * d_mm**4 / 64
