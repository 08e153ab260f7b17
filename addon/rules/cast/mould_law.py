"""What the mould takes from the metal: thick mould by the curved semi-infinite law, webs as finite stores.

Thick mould whose face is held a rise d over the flask takes, per area, k d [2 sqrt(t / (pi alpha)) + B t / (2 r)] in a
time t: a long cylinder of radius r in the form of C. Adams and H. Taylor, Trans. AFS 65, 1957, as in `chvorinov`, with
`mould_around.BEND` for B. What it has taken already is its clock: t is worked out from it at the present rise. So a
history that starts late or changes is followed too, and nothing but the heat has to be kept. Heat does not come back
from thick mould to metal that has grown cooler. The interface coefficient stands before it in series.

A store starts by the same law and ends at the last mode of a slab with an insulated middle, pi^2/4 k over its depth,
counted from its mean temperature (Carslaw and Jaeger, Conduction of Heat in Solids, 3.4). From the store the heat goes
on to a cell. Of a step the mean flux counts, not the one at its begin or end, so that steps may be coarse. Stores are
solved together with the metal: `pull` gives what they add to the metal's equations, `advance` what becomes of them.
"""

import math
from dataclasses import dataclass, replace

import numpy as np

from ..solid.mesh import FloatArray
from .mould_around import Surroundings, summed
from .mould_cells import CELL_S, damping, passed_on

# Heat, as `Surroundings` measures it, rise, K, and share of surface that are taken in place of none.
_NO_HEAT = 1e-12
_NO_RISE = 1e-3
_NO_SHARE = 1e-9
_EARLY = math.pi**2 / 8.0 - 1.0


@dataclass(frozen=True, slots=True, eq=False)
class MouldState:
    """What the mould holds over the flask's temperature; start with `at_rest`.

    ``taken_j`` (n, b) by the thick mould around each element, ``given_j`` (n, b) what of it the cells know of.
    ``store_j`` (w, b) in the stores, in the order of ``Surroundings.webs.patch``; ``passed_j`` (w, b) on its way from
    them to the cells. ``cell_k`` (c, b). ``waiting_s`` (b,): time that the cells have not lived through yet.
    ``gone_j`` (b,): left the cells for the far mould.
    """

    taken_j: FloatArray
    given_j: FloatArray
    store_j: FloatArray
    passed_j: FloatArray
    cell_k: FloatArray
    waiting_s: FloatArray
    gone_j: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Pull:
    """What the mould takes in a step of ``seconds`` (b,): W = ``conductance`` * degC - ``source``, both (n, b).

    The metal's temperature is that at the end of the step: add ``conductance`` to the diagonal of its equations and
    ``source`` to the right side. The rest is for `advance`.
    """

    seconds: FloatArray
    conductance: FloatArray
    source: FloatArray
    thick: FloatArray
    webs: FloatArray
    level_k: FloatArray
    keeping: FloatArray
    passing: FloatArray


def at_rest(around: Surroundings) -> MouldState:
    """Give a mould that is at the flask's temperature throughout."""
    n, w, c = np.zeros_like(around.thick_film), np.zeros_like(around.web_film), np.zeros_like(around.cells.capacity)
    none = np.zeros(len(around.flask_c))
    return MouldState(n, n, w, w, c, none, none)


def held_j(around: Surroundings, state: MouldState) -> FloatArray:
    """Give all the heat (b,) the mould has taken since `at_rest`, the far mould included."""
    on_its_way = state.taken_j.sum(axis=0) - state.given_j.sum(axis=0) + state.passed_j.sum(axis=0)
    in_cells = (state.cell_k * around.cells.capacity).sum(axis=0)
    return np.asarray(on_its_way + state.store_j.sum(axis=0) + in_cells + state.gone_j)


def store_rise_k(around: Surroundings, state: MouldState, wetted: FloatArray | None = None) -> FloatArray:
    """Give how much hotter each store (w, b) is in the mean than the flask was."""
    capacity = (
        around.capacity if wetted is None else around.capacity * np.maximum(wetted, _NO_SHARE)[around.webs.element]
    )
    return state.store_j / capacity


def pull(
    around: Surroundings,
    state: MouldState,
    metal_c: FloatArray,
    seconds: float | FloatArray,
    wetted: FloatArray | None = None,
) -> Pull:
    """Give what the mould takes in a step of ``seconds``, one or (b,), from metal at ``metal_c`` (n, b) at its begin.

    ``wetted`` (n, b): the share of each element's surface that metal touches; None where all of it is.
    """
    seconds = np.full(len(around.flask_c), seconds)
    rise = np.maximum(metal_c - around.flask_c, _NO_RISE)
    share = None if wetted is None else np.maximum(wetted, _NO_SHARE)
    taken, film = state.taken_j * around.thick_gauge, around.thick_film
    if share is not None:
        taken, film = taken / share, film * share
    taken /= rise
    _, thick = _into_mould(taken, around.bend, _one(seconds * around.clock))
    thick /= thick + 1.0
    thick *= film
    webs, level_k, keeping, passing = _stores(around, state, rise, seconds, share)
    all_of = thick.copy()
    source = thick * around.flask_c
    if len(webs):
        sums = summed(webs, around.webs.element_first)
        all_of[around.webs.of_element] += sums
        source[around.webs.of_element] += sums * around.flask_c + summed(webs * level_k, around.webs.element_first)
    if wetted is not None:
        dry = wetted < _NO_SHARE
        all_of, source, thick = (np.where(dry, 0.0, x) for x in (all_of, source, thick))
        webs = np.where(dry[around.webs.element], 0.0, webs)
    return Pull(seconds, all_of, source, thick, webs, level_k, keeping, passing)


def _stores(
    around: Surroundings, state: MouldState, rise: FloatArray, seconds: FloatArray, share: FloatArray | None
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Fold the stores into the metal's equations: conductance, level, what the stores keep, what they pass; (w, b)."""
    film, capacity, passing = around.web_film, around.capacity, _passing(around, seconds)
    taken = state.store_j * around.web_gauge
    if share is not None:
        each = share[around.webs.element]
        film, capacity, passing = film * each, capacity * each, passing * each
        taken /= each
    metal_k = rise[around.webs.element]
    taken /= metal_k
    face, into = _into_mould(taken, around.web_bend, _one(seconds * around.clock))
    level_k = state.store_j / capacity
    # How full the store is at the end of the step, as a share of what its face would fill it with.
    face *= metal_k
    full = np.divide(level_k, face, out=face)
    filling = np.multiply(around.pace, _one(seconds), out=metal_k)
    filling *= into
    full += filling
    np.minimum(full, 0.5, out=full)
    into /= np.subtract(1.0, full, out=full)
    np.maximum(into, around.last, out=into)
    into /= np.add(into, 1.0, out=full)
    into *= film
    keeping = capacity / _one(seconds)
    level_k *= keeping
    level_k += passing * state.cell_k[around.webs.cell]
    beyond = keeping + passing
    level_k /= beyond
    both = into / beyond
    both += 1.0
    return np.divide(into, both, out=both), level_k, keeping, passing


def advance(around: Surroundings, state: MouldState, step: Pull, metal_c: FloatArray) -> MouldState:
    """Give the mould at the end of a step; ``metal_c`` (n, b) are the temperatures the metal's equations gave."""
    rise = metal_c - around.flask_c
    seconds = _one(step.seconds)
    flow = rise[around.webs.element]
    flow -= step.level_k
    flow *= step.webs
    # The store ends above the level it would have had without the metal.
    on = flow / (step.keeping + step.passing)
    on += step.level_k
    on -= state.cell_k[around.webs.cell]
    on *= step.passing
    on *= seconds
    flow *= seconds
    flow -= on
    flow += state.store_j
    state = replace(
        state,
        taken_j=state.taken_j + step.thick * rise * seconds,
        store_j=flow,
        passed_j=np.add(on, state.passed_j, out=on),
        waiting_s=state.waiting_s + step.seconds,
    )
    return _spread(around, state) if state.waiting_s.max() >= CELL_S else state


def _spread(around: Surroundings, state: MouldState) -> MouldState:
    """Give the cells what has come for them, and let them pass it on."""
    thick, capacity = around.thick, around.cells.capacity[around.of_cell]
    fresh = (state.taken_j - state.given_j)[thick.element]
    fresh *= around.thick_share
    arriving = summed(np.concatenate([state.passed_j, fresh])[around.by_cell], around.cell_first)
    arriving /= capacity
    # Thick mould knows nothing of its cell: what would make the cell hotter than the metal goes past it.
    hottest = around.pour_c - around.flask_c
    risen = state.cell_k[around.of_cell] + arriving
    over = np.maximum(risen - hottest, 0.0)
    rise = state.cell_k.copy()
    rise[around.of_cell] = risen - over
    rise, gone = passed_on(around.cells, rise, state.waiting_s)
    gone = gone + (over * capacity).sum(axis=0)
    return replace(
        state,
        given_j=state.taken_j,
        passed_j=np.zeros_like(state.passed_j),
        cell_k=rise,
        waiting_s=np.zeros_like(state.waiting_s),
        gone_j=state.gone_j + gone,
    )


def _into_mould(taken: FloatArray, bend: FloatArray, step: FloatArray | float) -> tuple[FloatArray, FloatArray]:
    """Give the rise of the mould's face over the metal's, and the mean flux over the step per rise of the face over h.

    Heat and time as `Surroundings` measures them: x = ``taken`` Q h / (k rho c d) of metal that has risen by d; the
    ``step``; ``bend`` B k / (2 r h). Behind the interface the face rises by y d, and what crosses, h d (1 - y), is
    h d 2 y^2 g / (pi x) besides what the bend adds. With g = 1 + (pi^2/8 - 1) / (1 + x) it keeps within 0.5 % of the
    exact h d exp(H^2) erfc(H) of a plane (Carslaw and Jaeger, Conduction of Heat in Solids, 2.7, where
    x = exp(H^2) erfc(H) - 1 + 2 H / sqrt(pi)); the form of g is ours, right for short and for long times.
    """
    # Reusing arrays in place of making new ones is most of the speed here.
    x = np.maximum(taken, _NO_HEAT, out=taken)
    late: FloatArray = x + 1.0
    np.divide(_EARLY, late, out=late)
    late += 1.0
    late /= x
    first = bend + 1.0
    face: FloatArray = late * (8.0 / math.pi)
    face += first * first
    np.sqrt(face, out=face)
    face += first
    np.divide(2.0, face, out=face)
    # The clock: root is the square root of the time that a plane or bent face at this rise would have needed.
    late *= face
    root = np.divide(1.0, late, out=late)
    flux = np.multiply(root, bend, out=first)
    flux *= math.pi
    flux += 1.0
    np.sqrt(flux, out=flux)
    flux += 1.0
    root /= flux
    np.multiply(root, root, out=flux)
    flux += step
    np.sqrt(flux, out=flux)
    flux += root
    np.divide(2.0 / math.pi, flux, out=flux)
    flux += bend
    return face, flux


def _one(figures: FloatArray) -> FloatArray | float:
    """Give one figure for all cases where they are alike: that is quicker to reckon with."""
    return float(figures[0]) if (figures == figures[0]).all() else figures


def _passing(around: Surroundings, seconds: FloatArray) -> FloatArray:
    """Give the conductance from stores to cells, damped where a cell could overshoot before it is asked again."""
    is_short = seconds <= CELL_S
    if is_short.all():
        return around.passing_short
    damped = around.passing * damping(around.crowd * (seconds + CELL_S))[around.webs.cell]
    return damped if not is_short.any() else np.where(is_short, around.passing_short, damped)
