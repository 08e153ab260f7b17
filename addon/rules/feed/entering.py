"""How a tip enters the metal: where along its axis it must end to be sunk all round and show nowhere."""

import numpy as np
import numpy.typing as npt

from ..solid.mesh import FloatArray
from .piercing import pierced_side_by_side

# The axis ends this deep, the rim of the tip this deep, in the smooth wire; facets and bends take some of it.
AXIS_SUNK_MM = 0.2
RIM_SUNK_MM = 0.12
# In a bend, facets included, the rim keeps at least this depth.
BENT_MM = 0.05
# At least this much of the tip piece shows outside the metal.
LEAST_SHOWN_MM = 0.25
# Flatter than this against the wire's own direction a tip does not enter.
LEAST_ENTRY = 0.5
SPOKES = 16


def into_wire(
    direction: FloatArray, along: FloatArray, radius_mm: FloatArray, tip_mm: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Find where tips of diameter ``tip_mm`` (c,) end and where they meet the surface: mm before the centreline, (c,).

    The axes run along unit vectors ``direction`` (c, 3) through the centrelines of wires of ``radius_mm`` (c,) that run
    along unit vectors ``along`` (c, 3). NaN where a tip cannot enter: too wide for the wire, or too flat to it. The
    wire is taken for straight over the width of the tip.
    """
    square = np.linalg.norm(np.cross(direction, along), axis=1)
    lean = np.sqrt(np.maximum(0.0, 1.0 - square**2))
    steep = np.maximum(square, 1e-9)
    angle = np.arange(SPOKES) * (2 * np.pi / SPOKES)
    r_tip = tip_mm[:, None] / 2
    across, down = r_tip * np.cos(angle), r_tip * np.abs(np.sin(angle)) * lean[:, None]
    room = (radius_mm[:, None] - RIM_SUNK_MM) ** 2 - across**2
    rim = (np.sqrt(np.maximum(room, 0.0)) - down) / steep[:, None]
    end = np.minimum(rim.min(axis=1), (radius_mm - AXIS_SUNK_MM) / steep)
    fits = (room >= 0.0).all(axis=1) & (end >= 0.0) & (square >= LEAST_ENTRY)
    return np.where(fits, end, np.nan), radius_mm / steep


def inside_bend(
    end: FloatArray, direction: FloatArray, tip_mm: FloatArray, line: FloatArray, radius_mm: float
) -> npt.NDArray[np.bool_]:
    """Tell which tips (c,) that end at places (c, 3) along unit vectors (c, 3) stay inside a bent wire all round.

    ``line`` (n, 3) is the wire's centreline, closely sampled. `into_wire` takes a wire for straight; in a bend the rim
    of a wide tip may come out of it.
    """
    axis = np.zeros_like(direction)
    axis[np.arange(len(axis)), np.abs(direction).argmin(axis=1)] = 1.0
    side = np.cross(direction, axis)
    side /= np.linalg.norm(side, axis=1, keepdims=True)
    up = np.cross(direction, side)
    angle = np.arange(SPOKES // 2) * (4 * np.pi / SPOKES)
    rim = np.cos(angle)[:, None] * side[:, None] + np.sin(angle)[:, None] * up[:, None]
    places = end[:, None] + tip_mm[:, None, None] / 2 * rim
    square = (places**2).sum(axis=2)[..., None] + (line**2).sum(axis=1) - 2 * places @ line.T
    away = np.sqrt(np.maximum(square.min(axis=2), 0.0))
    return np.asarray((away <= radius_mm - BENT_MM).all(axis=1))


def into_mesh(
    corners: FloatArray, middle: FloatArray, direction: FloatArray, tip_mm: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Do the same for axes through the middle (c, 3) of metal given by triangles (m, 3, 3), distances (c,) before it.

    Lines are shot along the axis and around the rim of the tip; all must be inside the metal where the tip ends.
    """
    centre = corners.mean(axis=1)
    size = np.linalg.norm(corners - centre[:, None], axis=2).max(axis=1)
    asked, which = np.unique(np.column_stack((middle, direction, tip_mm)), axis=0, return_inverse=True)
    found = np.empty((len(asked), 2))
    for k, row in enumerate(asked):
        goal, ahead, tip = row[:3], row[3:6], float(row[6])
        away = centre - goal
        along = away @ ahead
        aside = np.sqrt(np.maximum((away * away).sum(axis=1) - along * along, 0.0))
        near = aside <= size + tip / 2 + 1e-6
        found[k] = _entered(corners[near], goal, ahead, tip)
    end, surface = found[which.reshape(-1)].T
    return end, surface


def _entered(corners: FloatArray, middle: FloatArray, direction: FloatArray, tip_mm: float) -> tuple[float, float]:
    axis = np.zeros(3)
    axis[np.abs(direction).argmin()] = 1.0
    side = np.cross(direction, axis)
    side /= np.linalg.norm(side)
    up = np.cross(direction, side)
    angle = np.arange(SPOKES) * (2 * np.pi / SPOKES)
    # So wide that the lines go round the whole rim.
    rim = tip_mm / 2 / np.cos(np.pi / SPOKES) * (np.cos(angle)[:, None] * side + np.sin(angle)[:, None] * up)
    reach = float(np.linalg.norm(corners.reshape(-1, 3) - middle, axis=1).max(initial=0.0)) + 1.0
    starts = middle - reach * direction + np.concatenate((np.zeros((1, 3)), rim))
    inner, surface = -np.inf, np.nan
    outer = np.inf
    for number, met in enumerate(pierced_side_by_side(corners, starts, direction)):
        cuts = met - reach
        entered = np.flatnonzero(cuts[::2] < 0.0)
        if not len(entered) or len(cuts) < 2 * entered[-1] + 2:
            return np.nan, np.nan
        first, last = cuts[2 * entered[-1]], cuts[2 * entered[-1] + 1]
        if number == 0:
            surface = -float(first)
            if entered[-1] > 0:
                return np.nan, np.nan  # The axis goes through other metal of the same body first.
        inner = max(inner, first + (AXIS_SUNK_MM if number == 0 else RIM_SUNK_MM))
        outer = min(outer, last - RIM_SUNK_MM)
    return (-float(inner), surface) if inner <= outer else (np.nan, np.nan)
