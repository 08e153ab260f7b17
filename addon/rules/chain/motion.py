"""How far bodies move until metal first meets metal, for many motions at once, no contact jumped.

A motion is one number from 0 on, and no point of the moving body travels faster than a known speed. A step is kept
when it is no longer than the gaps at its two ends together allow, so that no contact can lie in it (conservative
advancement: B. Mirtich, Impulse-based dynamic simulation of rigid body systems, 1996, here looking from both ends).
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from ..base.progress import Steps
from ..solid.mesh import FloatArray, IntArray, Mesh
from ..solid.posed import Posable, posable, posed_gaps
from .link import SAMPLES, Link, even_parameters
from .tubes import tube_gaps

# Nearer than this is contact.
CONTACT_MM = 0.0002
# Gaps this wide are taken from centrelines and girths: quicker, and never more than those of the meshes.
WIDE_MM = 0.03
# Share of the step that two gaps and the closing speed seen so far would just allow.
SHARE = 0.9

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
# Numbers of bends (n,), slides (n,) in mm and bends (n,) in radians to gaps (n,) in mm.
SlidGaps = Callable[[IntArray, FloatArray, FloatArray], FloatArray]


@dataclass(frozen=True, slots=True, eq=False)
class Metal:
    """The kinds of links of a chain as they are built: ``links``, and by number their ``solids`` and ``girth_mm``.

    The girth is the farthest any metal of the mesh lies from the centreline: half the wire where that is round.
    """

    links: tuple[Link, ...]
    solids: dict[int, Posable]
    girth_mm: dict[int, float]

    def gaps(self, a: IntArray, b: IntArray, rotation: FloatArray, shift: FloatArray) -> FloatArray:
        """Measure the gaps (n,) of kinds ``a`` at rest and ``b`` (n,) at poses (n, 3, 3), (n, 3); 0 where they cross.

        On the meshes; but a gap of more than `WIDE_MM` may read less than it is, down to that.
        """
        gap = np.empty(len(a))
        for first, second in sorted(set(zip(a.tolist(), b.tolist(), strict=True))):
            mine = np.flatnonzero((a == first) & (b == second))
            one, other = self.links[first], self.links[second]
            apart = tube_gaps(one, other, rotation[mine], shift[mine]).gap_mm + (one.wire_mm + other.wire_mm) / 2
            gap[mine] = apart - self.girth_mm[first] - self.girth_mm[second]
            near = mine[gap[mine] < WIDE_MM]
            gap[near] = posed_gaps(self.solids[first], self.solids[second], rotation[near], shift[near])[0]
        return gap


def metal_of(links: tuple[Link, ...], meshes: Mapping[int, Mesh]) -> Metal:
    """Make kinds of links ready to be moved: those of ``links`` whose mesh is given by number."""
    girth = {k: links[k].wire_mm / 2 if links[k].plain else _girth(links[k], mesh) for k, mesh in meshes.items()}
    return Metal(links, {k: posable(mesh) for k, mesh in meshes.items()}, girth)


def _girth(link: Link, mesh: Mesh) -> float:
    """Give how far a mesh reaches from the centreline at most, or a little more.

    From one place on the centreline no point of a triangle is further than its furthest corner.
    """
    line = link.curve(even_parameters(4 * SAMPLES))[0]
    corners = mesh.corners()
    nearest = ((line**2).sum(axis=1) - 2 * corners.mean(axis=1) @ line.T).argmin(axis=1)
    return float(np.sqrt(((corners - line[nearest][:, None]) ** 2).sum(axis=2).max()))


@dataclass(frozen=True, slots=True, eq=False)
class Motions:
    """Motions to be made, n of them. ``speed`` (n,) mm per unit: no point moves faster. ``limit`` (n,) where each ends.

    ``fine`` (n,): how exactly contact is found. Of motions of one ``group`` (n,) only the shortest way is wanted.
    """

    gaps: Gaps
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
        speed, fine = motions.speed[active], motions.fine[active]
        here, known = gap[active], blocked[active] - at[active]
        step = np.where(
            wary[active], here / np.maximum(speed, 1e-12), 2 * SHARE * here / np.maximum(speed + closing[active], 1e-12)
        )
        step = np.minimum(np.maximum(step, fine), np.maximum(known / 2, fine))
        step = np.minimum(step, motions.limit[active] - at[active])
        ahead = motions.gaps(active, at[active] + step)
        meets = ahead <= CONTACT_MM
        proven = ~meets & ((here + ahead >= speed * step) | (step <= fine))
        hits, goes_on = active[meets], active[proven]
        blocked[hits] = np.minimum(blocked[hits], at[hits] + step[meets])
        closing[goes_on] = np.clip((here - ahead)[proven] / step[proven], 0.0, speed[proven])
        at[goes_on] += step[proven]
        gap[goes_on] = ahead[proven]
        wary[active] = ~meets & ~proven
        met = hits[step[meets] <= motions.fine[hits]]
        np.minimum.at(ends, motions.group[met], at[met])
        active = active[~(meets & (step <= fine))]
        yield float(np.minimum(at, motions.limit).sum()) / total


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
