"""How far bodies move until metal first meets metal, for many motions at once, no contact jumped.

A motion is one number from 0 on, and no point of the moving body travels faster than a known speed. A step is kept
when it is no longer than the gaps at its two ends together allow, so that no contact can lie in it (conservative
advancement: B. Mirtich, Impulse-based dynamic simulation of rigid body systems, 1996, here looking from both ends).
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..base.progress import Steps
from ..solid.mesh import FloatArray, IntArray, Mesh
from ..solid.posed import Posable, posable, posed_bounds
from .link import SAMPLES, Link, even_parameters
from .tubes import tube_gaps

# Nearer than this is contact.
CONTACT_MM = 0.0002
# Gaps this wide are taken from centrelines and girths: quicker, and never more than those of the meshes.
WIDE_MM = 0.005
# Those of meshes may read less than they are, down to this share: much quicker, and the way to contact little longer.
LOOSE = 0.7
# The same of the distance of surface and centreline, which along round wire is everywhere nearly the same.
CORE = 0.98
# Share of the step that two gaps and the closing speed seen so far would just allow.
SHARE = 0.9
# Steps looked at together: what the later ones start from is foretold, what counts is proven.
AHEAD = 3
# Two places a step apart are a little more or less than the step.
ROUNDING = 1 + 1e-9

# On the way to the best slide: places looked at together, how often, how much nearer to each other every time, and what
# share of the bend is taken that the widest gap seems to leave.
PLACES = 7
CLIMBS = 12
CLOSER = 0.7
CLIMB = 0.9
LEAST_RAD = float(np.radians(0.1))
MOST_CLIMB_RAD = float(np.radians(15.0))

# Numbers of motions (n,) and how far each has gone (n,) to gaps (n,) in mm, 0 or less where they cross.
Gaps = Callable[[IntArray, FloatArray], FloatArray]
# How far each motion of a group has gone (groups,) to the least gap of the group (groups,) in mm.
LeastGaps = Callable[[FloatArray], FloatArray]
# Numbers of bends (n,), slides (n,) in mm and bends (n,) in radians to gaps (n,) in mm.
SlidGaps = Callable[[IntArray, FloatArray, FloatArray], FloatArray]


@dataclass(frozen=True, slots=True, eq=False)
class Metal:
    """The kinds of links of a chain as they are built.

    ``links``, and by number their ``solids``, ``girth_mm`` and ``core_mm``. The girth is the farthest any metal of the
    mesh lies from the centreline: half the wire where that is round. The core is the nearest its surface comes to the
    centreline: all within is metal.
    """

    links: tuple[Link, ...]
    solids: dict[int, Posable]
    girth_mm: dict[int, float]
    core_mm: dict[int, float]

    def gaps(self, a: IntArray, b: IntArray, rotation: FloatArray, shift: FloatArray) -> FloatArray:
        """Measure the gaps (n,) of kinds ``a`` at rest and ``b`` (n,) at poses (n, 3, 3), (n, 3); 0 where they cross.

        On the meshes; but a gap may read less than it is: down to its share `LOOSE`, or to `WIDE_MM`.
        """
        gap, near = self._rough(a, b, rotation, shift)
        self._measure(gap, near, a, b, rotation, shift)
        return gap

    def least_gaps(
        self, a: IntArray, b: IntArray, rotation: FloatArray, shift: FloatArray, group: IntArray
    ) -> FloatArray:
        """Measure the least gap of every ``group`` (n,), numbers from 0 on, as `gaps` does: (groups,).

        Those whose centrelines show them as tightest first, the others of a group only where they may be tighter.
        """
        gap, near = self._rough(a, b, rotation, shift)
        least = np.full(int(group.max(initial=-1)) + 1, np.inf)
        open_gaps = np.ones(len(gap), dtype=np.bool_)
        open_gaps[near] = False
        np.minimum.at(least, group[open_gaps], gap[open_gaps])
        near = near[np.lexsort((gap[near], group[near]))]
        while len(near := near[np.maximum(gap[near], 0.0) < least[group[near]]]):
            first = np.unique(group[near], return_index=True)[1]
            self._measure(gap, near[first], a, b, rotation, shift)
            np.minimum.at(least, group[near[first]], gap[near[first]])
            near = np.delete(near, first)
        return least

    def _rough(self, a: IntArray, b: IntArray, rotation: FloatArray, shift: FloatArray) -> tuple[FloatArray, IntArray]:
        """Bound gaps from below by centrelines, 0 where cores cross; tell which are to be measured on the meshes."""
        gap, near = np.empty(len(a)), np.zeros(len(a), dtype=np.bool_)
        for first, second, mine in _by_kinds(a, b):
            one, other = self.links[first], self.links[second]
            apart = tube_gaps(one, other, rotation[mine], shift[mine]).gap_mm + (one.wire_mm + other.wire_mm) / 2
            crossing = apart < self.core_mm[first] + self.core_mm[second]
            gap[mine] = np.where(crossing, 0.0, apart - self.girth_mm[first] - self.girth_mm[second])
            near[mine] = ~crossing & (gap[mine] < WIDE_MM)
        return gap, np.flatnonzero(near)

    def _measure(
        self, gap: FloatArray, rows: IntArray, a: IntArray, b: IntArray, rotation: FloatArray, shift: FloatArray
    ) -> None:
        """Measure the gaps of some rows on the meshes and write them into ``gap``."""
        for first, second, mine in _by_kinds(a[rows], b[rows]):
            which = rows[mine]
            gap[which] = posed_bounds(self.solids[first], self.solids[second], rotation[which], shift[which], LOOSE)


def _by_kinds(a: IntArray, b: IntArray) -> Iterator[tuple[int, int, IntArray]]:
    """Give the kinds that meet, and the rows in which they do."""
    for first, second in sorted(set(zip(a.tolist(), b.tolist(), strict=True))):
        yield first, second, np.flatnonzero((a == first) & (b == second))


def metal_of(links: tuple[Link, ...], meshes: Mapping[int, Mesh]) -> Metal:
    """Make kinds of links ready to be moved: those of ``links`` whose mesh is given by number."""
    girth = {k: links[k].wire_mm / 2 if links[k].plain else _girth(links[k], mesh) for k, mesh in meshes.items()}
    solids = {k: posable(mesh) for k, mesh in meshes.items()}
    return Metal(links, solids, girth, {k: _core(links[k], solid) for k, solid in solids.items()})


def _girth(link: Link, mesh: Mesh) -> float:
    """Give how far a mesh reaches from the centreline at most, or a little more.

    From one place on the centreline no point of a triangle is further than its furthest corner.
    """
    line = link.curve(even_parameters(4 * SAMPLES))[0]
    corners = mesh.corners()
    nearest = ((line**2).sum(axis=1) - 2 * corners.mean(axis=1) @ line.T).argmin(axis=1)
    return float(np.sqrt(((corners - line[nearest][:, None]) ** 2).sum(axis=2).max()))


def _core(link: Link, solid: Posable) -> float:
    """Give how far a surface keeps from the centreline at least, or a little less; 0 where that may leave the metal.

    Measured from chords of the centreline, taken as triangles without area. A curve whose radius is no less than its
    chord bulges from it by no more than an eighth of that.
    """
    if link.own is not None:
        return 0.0
    line = link.curve(even_parameters(16 * SAMPLES))[0]
    ends = np.arange(len(line))
    following = np.roll(ends, -1)
    chords = posable(Mesh(line, np.stack((ends, following, following), axis=1)))
    gap = float(posed_bounds(solid, chords, np.eye(3)[None], np.zeros((1, 3)), CORE)[0])
    return max(gap - float(np.sqrt(((line[following] - line) ** 2).sum(axis=1).max())) / 8, 0.0)


@dataclass(frozen=True, slots=True, eq=False)
class Motions:
    """Motions to be made, n of them. ``speed`` (n,) mm per unit: no point moves faster. ``limit`` (n,) where each ends.

    ``fine`` (n,): how exactly contact is found. Of motions of one ``group`` (n,) only the shortest way is wanted.
    ``least`` tells the least gap of every group at once.
    """

    gaps: Gaps
    least: LeastGaps
    speed: FloatArray
    limit: FloatArray
    fine: FloatArray
    group: IntArray


def first_contact(motions: Motions) -> Steps[FloatArray]:
    """Find how far each group of motions goes to its first contact: (groups,), infinite where none is met.

    0 where they are in contact from the start. What is given is free; contact lies less than ``fine`` beyond.
    """
    n, groups = len(motions.speed), int(motions.group.max(initial=-1)) + 1
    ends = np.full(groups, np.inf)
    at, blocked = np.zeros(n), np.full(n, np.inf)
    gap = motions.gaps(np.arange(n), at)
    closing = motions.speed / 2
    wary = np.zeros(n, dtype=np.bool_)
    np.minimum.at(ends, motions.group[gap <= CONTACT_MM], 0.0)
    active = np.flatnonzero(gap > CONTACT_MM)
    total = max(float(motions.limit.sum()), 1e-300)
    while True:
        goes = (at[active] < motions.limit[active]) & (at[active] < ends[motions.group[active]])
        active = active[goes]
        if not len(active):
            return ends
        planned = _planned(motions, active, at, gap, closing, blocked, wary)
        found = motions.gaps(np.repeat(active, AHEAD), planned.reshape(-1)).reshape(-1, AHEAD)
        places = np.concatenate((at[active, None], planned), axis=1)
        gaps = np.concatenate((gap[active, None], found), axis=1)
        step = np.diff(places, axis=1)
        speed, fine = motions.speed[active, None], motions.fine[active, None] * ROUNDING
        meets = found <= CONTACT_MM
        proven = ~meets & ((gaps[:, :-1] + found >= speed * step) | (step <= fine))
        done = np.logical_and.accumulate(proven, axis=1).sum(axis=1)
        rows, last = np.arange(len(active)), np.minimum(done, AHEAD - 1)
        first_met = np.where(meets, planned, np.inf).min(axis=1)
        blocked[active] = np.minimum(blocked[active], first_met)
        went = done > 0
        fall = (gaps[rows, done - 1] - gaps[rows, done]) / np.maximum(step[rows, done - 1], 1e-300)
        closing[active] = np.where(went, np.clip(fall, 0.0, speed[:, 0]), closing[active])
        at[active], gap[active] = places[rows, done], gaps[rows, done]
        stopped = done < AHEAD
        wary[active] = stopped & ~meets[rows, last]
        met = stopped & meets[rows, last] & (step[rows, last] <= fine[:, 0])
        np.minimum.at(ends, motions.group[active[met]], at[active[met]])
        active = active[~met]
        yield float(np.minimum(at, motions.limit).sum()) / total


def _planned(
    motions: Motions,
    active: IntArray,
    at: FloatArray,
    gap: FloatArray,
    closing: FloatArray,
    blocked: FloatArray,
    wary: npt.NDArray[np.bool_],
) -> FloatArray:
    """Plan the next places (active, AHEAD) of motions, as if their gaps went on closing as fast as before."""
    place, here, limit = at[active], gap[active], motions.limit[active]
    speed, fine = np.maximum(motions.speed[active], 1e-12), motions.fine[active]
    falls, short = closing[active], wary[active]
    planned = np.empty((len(active), AHEAD))
    for ahead in range(AHEAD):
        step = np.where(short, here / speed, 2 * SHARE * here / (speed + falls))
        step = np.minimum(np.maximum(step, fine), np.maximum((blocked[active] - place) / 2, fine))
        place = np.minimum(place + step, limit)
        here = np.maximum(here - falls * step, 0.0)
        planned[:, ahead] = place
    return planned


def best_slide(
    gaps: SlidGaps, low_mm: FloatArray, high_mm: FloatArray, bend: FloatArray, gap_mm: FloatArray, most: float
) -> Steps[FloatArray]:
    """Find the slide (r,) between ``low_mm`` and ``high_mm`` (r,) at which each of r bends goes furthest.

    ``bend`` (r,) radians can be had somewhere between, ``gap_mm`` (r,) is what the unbent joint has, ``most`` the bend
    beyond which nothing is looked for. Climbs the ridge of the widest gap: at every bend some slides round the best so
    far are looked at, and from how the widest gap falls follows the next bend.
    """
    rows = np.arange(len(bend))
    slide, half = (low_mm + high_mm) / 2, (high_mm - low_mm) / 2
    free, widest = bend.copy(), np.zeros(len(bend))
    closing = gap_mm / np.maximum(bend, LEAST_RAD)
    trial, beyond = bend.copy(), np.full(len(bend), np.inf)
    for climb in range(CLIMBS):
        # The very ends are places of contact, so they are left out.
        places = slide[:, None] + half[:, None] * ((np.arange(PLACES) - PLACES // 2) * (2 / PLACES))
        places = np.clip(places, low_mm[:, None], high_mm[:, None])
        every = np.repeat(rows, PLACES)
        found = gaps(every, places.reshape(-1), trial[every]).reshape(-1, PLACES)
        top = found.argmax(axis=1)
        gap = found[rows, top]
        good = gap > CONTACT_MM
        further = good & (climb > 0)
        fall = (widest - gap) / np.maximum(trial - free, 1e-12)
        closing = np.where(further & (fall > 0), fall, closing)
        slide = np.where(good, places[rows, top], slide)
        free, widest = np.where(good, trial, free), np.where(good, gap, widest)
        beyond = np.where(good, beyond, np.minimum(beyond, trial))
        hoped = free + np.clip(CLIMB * widest / np.maximum(closing, 1e-12), LEAST_RAD, MOST_CLIMB_RAD)
        trial = np.minimum(np.minimum(hoped, (free + beyond) / 2), most)
        half *= CLOSER
        yield (climb + 1) / CLIMBS
    return slide
