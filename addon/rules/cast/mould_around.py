"""The mould around the metal, worked out in every case: surfaces, what lies before them, and what it can take."""

import math
from dataclasses import dataclass

import numpy as np

from ..solid.mesh import FloatArray, IntArray
from .cases import Cases, Sized
from .mould_cells import CELL_S, Exchange, damping, exchange
from .network import Mould

# What the bend of a rod adds to a plane's flux, as a share of k / (2 r). Adams and Taylor (1957) have 1, which is exact
# for short times but takes 4 % too much heat at alpha t = r^2 and 11 % at 5 r^2. With this the heat is within 2 % of
# the exact solution for the region round a cylinder up to there (Carslaw and Jaeger, Conduction of Heat in Solids,
# 13.5); the figure is ours.
BEND = 0.84
# Mould opens outward only where no metal stands in its way: between rods beside each other it does not, and from afar a
# chain is one rod as long as itself, not as its wire. This power of the share of an element's surface that faces no
# metal is left of the bend of thick mould: about what the length of a curb chain is over that of its wire. Ours; judged
# by 3-D solves of curb chain of 1.4, 2.2 and 2.8 mm, trace and belcher of 2.2 mm, and curb on gates and a ring (that of
# 2.2 mm is tests/published/heat_3d.py): links are half solid within 5 % of them, gates 10 % early; the last metal is
# solid up to 16 % early in chains, 19 % on gates. With the square, which we had, it was 7, 13, 22 and 24 %.
OPENING = 3.0
# Area, mm2, taken in place of none.
_NO_AREA = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class Patches:
    """Patches of one kind, sorted by the element they belong to.

    ``patch`` (w,) numbers in `Mould`; ``element`` (w,). ``of_element`` (e,) and ``element_first`` (e,): where each
    element's begin. ``cell`` (w,) it passes its heat to.
    """

    patch: IntArray
    element: IntArray
    of_element: IntArray
    element_first: IntArray
    cell: IntArray


@dataclass(frozen=True, slots=True, eq=False)
class Surroundings:
    """The mould in every case: W, mm, K, J. ``flask_c`` and ``pour_c`` (b,).

    Heat and time are measured by the interface h: ``gauge`` h / (k rho c area) makes J over K of rise plain numbers,
    ``clock`` (b,) h^2 / (pi k rho c) seconds. ``bend`` is what the bend adds over h, ``film`` W/K what the interface
    lets through. Thick patches are taken together by element: ``bend``, ``thick_gauge``, ``thick_film`` (n, b), and
    ``thick_share`` each one's part of it. ``webs`` are patches before a store, all (w, b): ``web_bend``,
    ``web_gauge``, ``web_film``; ``pace`` film over capacity, 1/s; ``last`` the store's last mode over h; ``capacity``
    J/K; ``passing`` W/K to the cell, ``passing_short`` the same damped for short steps, see ``crowd`` (c, b): all that
    its stores pass to a cell over its capacity, 1/s. ``by_cell`` sorts webs and, after them, thick patches by their
    cell; those of ``of_cell`` begin at ``cell_first``.
    """

    flask_c: FloatArray
    pour_c: FloatArray
    clock: FloatArray
    bend: FloatArray
    thick: Patches
    thick_gauge: FloatArray
    thick_film: FloatArray
    thick_share: FloatArray
    webs: Patches
    web_bend: FloatArray
    web_gauge: FloatArray
    web_film: FloatArray
    pace: FloatArray
    last: FloatArray
    capacity: FloatArray
    passing: FloatArray
    passing_short: FloatArray
    crowd: FloatArray
    by_cell: IntArray
    of_cell: IntArray
    cell_first: IntArray
    cells: Exchange


def surroundings(mould: Mould, sized: Sized, cases: Cases) -> Surroundings:
    """Work out the mould in every case. What is stretched has more surface; the mould between stays as it is."""
    interface, conductivity = cases.interface_w_m2_k * 1e-6, cases.mould_w_m_k * 1e-3
    heat = cases.mould_j_cm3_k * 1e-3
    gauge = interface / (conductivity * heat)
    count = len(mould.radius_mm)
    whole = np.bincount(mould.element, mould.area_mm2, minlength=count)
    area = (mould.area_mm2 / np.maximum(whole, 1e-300)[mould.element])[:, None] * sized.cooling_mm2[mould.element]
    bend = BEND * conductivity / (2.0 * mould.radius_mm[:, None] * cases.wider * interface)
    is_web = (mould.store_mm3 > 0.0) & (mould.area_mm2 > 0.0)
    thick = _patches(mould, np.flatnonzero(~is_web & (mould.area_mm2 > 0.0)))
    webs = _patches(mould, np.flatnonzero(is_web))
    thick_mm2 = np.zeros((count, cases.count))
    thick_mm2[thick.of_element] = summed(area[thick.patch], thick.element_first)
    unfaced = np.bincount(thick.element, mould.area_mm2[thick.patch], minlength=count) / np.maximum(whole, _NO_AREA)
    web_area = area[webs.patch]
    store = mould.store_mm3[webs.patch][:, None]
    # Around a rod a store widens outward: it holds more than its straight depth tells, but is no harder to heat.
    straight = np.minimum(store / web_area, mould.gap_mm[webs.patch][:, None] / 2.0)
    cells = exchange(mould, cases)
    passing = mould.passing_mm[webs.patch][:, None] * conductivity
    crowd = np.zeros_like(cells.capacity)
    np.add.at(crowd, webs.cell, passing)
    crowd /= cells.capacity
    cell = np.concatenate([webs.cell, thick.cell])
    by_cell = np.argsort(cell, kind="stable")
    of_cell, cell_first = np.unique(cell[by_cell], return_index=True)
    return Surroundings(
        flask_c=cases.flask_c,
        pour_c=cases.pour_c,
        clock=interface * gauge / math.pi,
        bend=bend * unfaced[:, None] ** OPENING,
        thick=thick,
        thick_gauge=gauge / np.maximum(thick_mm2, _NO_AREA),
        thick_film=interface * thick_mm2,
        thick_share=area[thick.patch] / thick_mm2[thick.element],
        webs=webs,
        web_bend=bend[webs.element],
        web_gauge=gauge / web_area,
        web_film=interface * web_area,
        pace=interface * web_area / (store * heat),
        last=_last_mode(interface * straight / conductivity) * conductivity / (straight * interface),
        capacity=store * heat,
        passing=passing,
        passing_short=passing * damping(crowd * 2.0 * CELL_S)[webs.cell],
        crowd=crowd,
        by_cell=by_cell,
        of_cell=of_cell,
        cell_first=cell_first,
        cells=cells,
    )


def _last_mode(biot: FloatArray) -> FloatArray:
    """Give the last mode's flux, times depth over conductivity, per difference of face and mean of a slab.

    pi^2/4 where the face is held, 3 behind an interface that holds up nearly all. Between them, within 0.5 %, for the
    roots of b tan b = Bi (Carslaw and Jaeger, Conduction of Heat in Solids, 3.11); the form is ours.
    """
    return (math.pi**2 / 4.0 * biot + 3.0 * 2.5) / (biot + 2.5)


def _patches(mould: Mould, chosen: IntArray) -> Patches:
    """Sort some of the patches by element and by cell."""
    chosen = chosen[np.argsort(mould.element[chosen], kind="stable")]
    element, cell = mould.element[chosen], mould.cell[chosen]
    of_element, element_first = np.unique(element, return_index=True)
    return Patches(chosen, element, of_element, element_first, cell)


def summed(values: FloatArray, first: IntArray) -> FloatArray:
    """Sum rows (p, b) in runs that begin at ``first`` (s,): (s, b)."""
    return np.asarray(np.add.reduceat(values, first, axis=0)) if len(first) else np.zeros((0, values.shape[1]))
