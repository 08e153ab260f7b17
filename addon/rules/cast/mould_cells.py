"""The coarse cells of the mould: what webs and link insides pass to them, they pass to each other and outward.

Explicit, and what leaves one cell is what its neighbour gets. Where a step is so long that a cell would pass on more
than it holds, its conductances are damped: so every cell stays between its neighbours however long the step.
"""

from dataclasses import dataclass

import numpy as np

from ..solid.mesh import FloatArray, IntArray
from .cases import Cases
from .network import Mould

# Cells that are a millimetre wide or more follow within seconds; they wait until so much time has come together.
CELL_S = 0.1
# In a step a cell passes on at most this share of what it holds more than its neighbours; beyond it would swing.
PASSED_SHARE = 0.6
# Steps are cut so that a typical cell is not damped, but not into more than these.
SUBSTEPS = 3
# The diffusivity that this is judged by, the upper end of burnt-out investment, so that it is the same in every case.
FAST_MM2_S = 0.5
# A cell that stores have used up keeps this share of the mean, so that heat still finds its way through.
LEAST_SHARE = 0.1


@dataclass(frozen=True, slots=True, eq=False)
class Exchange:
    """The cells' capacities J/K (c, b), and the conductances W/K of their joints.

    ``beside`` (d, c): the neighbours of each cell, itself where it has fewer than others; ``passing`` (d, c, b) to
    them, 0 to itself. ``outward`` (c, b) to the far mould. ``rate`` (c, b): all that leaves a cell over its capacity,
    1/s; ``typical``: the same for all cells together, at `FAST_MM2_S`.
    """

    capacity: FloatArray
    beside: IntArray
    passing: FloatArray
    outward: FloatArray
    rate: FloatArray
    typical: float


def exchange(mould: Mould, cases: Cases) -> Exchange:
    """Work out the cells' capacities and conductances in every case."""
    conductivity = cases.mould_w_m_k * 1e-3
    count = len(mould.cell_mm3)
    volume = np.maximum(mould.cell_mm3, LEAST_SHARE * mould.cell_mm3.mean()) if count else mould.cell_mm3
    capacity = volume[:, None] * cases.mould_j_cm3_k * 1e-3
    a, b = mould.cell_joints.reshape(-1, 2).T
    own, other = np.concatenate([a, b]), np.concatenate([b, a])
    order = np.argsort(own, kind="stable")
    own, other = own[order], other[order]
    many = np.bincount(own, minlength=count)
    place = np.arange(len(own)) - (np.cumsum(many) - many)[own]
    beside = np.tile(np.arange(count), (int(many.max(initial=0)), 1))
    beside[place, own] = other
    lengths = np.zeros(beside.shape)
    lengths[place, own] = np.tile(mould.cell_passing_mm, 2)[order]
    leaving = mould.outward_mm + lengths.sum(axis=0)
    total = float(volume.sum())
    return Exchange(
        capacity=capacity,
        beside=beside,
        passing=lengths[:, :, None] * conductivity,
        outward=mould.outward_mm[:, None] * conductivity,
        rate=leaving[:, None] * conductivity / capacity,
        typical=FAST_MM2_S * float(leaving.sum()) / total if total > 0.0 else 0.0,
    )


def damping(x: FloatArray) -> FloatArray:
    """Give the share of its conductances that a cell can use; with all of them it would pass on ``x`` of its heat."""
    return np.asarray(PASSED_SHARE / np.maximum(x, PASSED_SHARE))


def passed_on(cells: Exchange, rise_k: FloatArray, seconds: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Let the cells exchange heat for ``seconds`` (b,): their rise over the flask (c, b), and J gone far off (b,)."""
    if not len(rise_k):
        return rise_k, np.zeros(rise_k.shape[1])
    parts = min(SUBSTEPS, 1 + int(seconds.max() * cells.typical / PASSED_SHARE))
    dt = seconds / parts
    damped = damping(cells.rate * dt)
    outward = cells.outward * damped
    all_free = bool((damped == 1.0).all())
    share = dt / cells.capacity
    gone = np.zeros(rise_k.shape[1])
    rise, change, flow, less = rise_k.copy(), np.empty_like(rise_k), np.empty_like(rise_k), np.empty_like(rise_k)
    for _ in range(parts):
        np.multiply(outward, rise, out=change)
        gone += change.sum(axis=0) * dt
        np.negative(change, out=change)
        for beside, conductance in zip(cells.beside, cells.passing, strict=True):
            np.take(rise, beside, axis=0, out=flow, mode="clip")
            flow -= rise
            flow *= conductance
            if not all_free:
                # The slower of two cells that meet sets what flows between them, so that both reckon with the same.
                np.take(damped, beside, axis=0, out=less, mode="clip")
                np.minimum(less, damped, out=less)
                flow *= less
            change += flow
        change *= share
        rise += change
    return rise, gone
