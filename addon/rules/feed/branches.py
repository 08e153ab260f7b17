"""A tree of branches on the plate: from a hub to every place that gates stand on, by short ways that do not meet.

The tree grows from the hub like the shortest tree of Prim (1957), with part of the way already gone counted in (Alpert,
Hu, Huang, Kahng, Karger, Prim-Dijkstra tradeoffs for improved performance-driven routing tree design, IEEE
Transactions on Computer-Aided Design 14 (1995) 890; both from memory): more of it makes ways to the hub short, less of
it makes branches short. Without it branches never cross, and those that meet are 60 degrees or more apart.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise

import numpy as np

from ..base.progress import Steps
from ..solid.mesh import FloatArray, IntArray
from .course import Course, through
from .sections import CHORD_MM

# How much of the way already gone counts, in the order tried; the last one never crosses.
WAYS_GONE = (0.5, 0.25, 0.0)
# Up to this turn two branches are one that bends.
MOST_TURN_DEG = 50.0
# Places nearer to each other than this, seen from above, are one.
SAME_MM = 0.5
# A branch under a single place reaches this far to both sides.
STUB_MM = 2.0
# Branches are drawn this share of their thickness beyond the last place they serve.
OVER = 0.5
# A hub is looked for on grids of this many places to a side, each finer round the best of the one before.
GRIDS = (17, 7, 7, 7)
# So many hubs with the same number of spokes are given.
OF_A_KIND = 2
# They count as one when they differ by no more than this share of what their branches cost.
ALIKE = 0.01
# So many trees are grown together.
AT_ONCE = 64
# Hubs with room round them are tried beside those with the shortest branches: a mm of room for so many mm of branch.
ROOMY = 4.0
# The longest way counts this much beside the length of all branches, when the place of the hub is chosen.
LONGEST = 0.5
FINEST_MM, COARSEST_MM = 0.5, 4.0
# Points at which lines are measured.
POINTS_MM = 0.6
# Where two rods meet they are not measured up to this share of both their thickness and the web from the node.
LEFT = 0.7
HUB = -1


@dataclass(frozen=True, slots=True, eq=False)
class Tree:
    """A hub at ``hub`` (2,) and places ``feet`` (n, 2), each hanging on ``parent`` (n,): a place, or HUB."""

    hub: FloatArray
    feet: FloatArray
    parent: tuple[int, ...]

    def loads(self, carried: Sequence[float]) -> tuple[float, ...]:
        """Add up what hangs on each place, its own ``carried`` (n,) and all beyond it."""
        load = list(carried)
        for k in sorted(range(len(load)), key=self._steps, reverse=True):
            if self.parent[k] != HUB:
                load[self.parent[k]] += load[k]
        return tuple(load)

    def _steps(self, k: int) -> int:
        steps = 0
        while self.parent[k] != HUB:
            k, steps = self.parent[k], steps + 1
        return steps


@dataclass(frozen=True, slots=True, eq=False)
class Branch:
    """One branch: the ``places`` it passes in order, its course, where they lie on it, and its ``depth``.

    ``over`` tells for both ends whether it is drawn beyond them. Depth 0 hangs on the hub by a spoke that ends at its
    place ``root``; others begin on a branch of one less.
    """

    places: tuple[int, ...]
    course: Course
    at_mm: FloatArray
    depth: int
    root: int
    over: tuple[bool, bool]

    def drawn(self, d_mm: float) -> FloatArray:
        """Give the line (k, 2) of a branch this thick, on the plate."""
        before, after = (OVER * d_mm if over else 0.0 for over in self.over)
        course = self.course
        bend = float(course.bends(np.linspace(0.0, course.length_mm, 64)).max())
        step = float(np.clip(np.sqrt(8 * CHORD_MM / max(bend, 1e-9)), FINEST_MM, COARSEST_MM))
        count = 2 if bend < 1e-6 else max(2, int(np.ceil((course.length_mm + before + after) / step)) + 1)
        return course.at(np.linspace(-before, course.length_mm + after, count))[:, :2]


@dataclass(frozen=True, slots=True, eq=False)
class _Choice:
    """A place for the hub: what its branches cost, how far it is from the middle, and the room round it, all mm."""

    cost_mm: float
    aside_mm: float
    free_mm: float
    tree: Tree

    def rank(self, roomy: float) -> tuple[float, float, float, float]:
        """Order places, the best first: a mm of room makes up for ``roomy`` mm of branch."""
        x, y = np.round(self.tree.hub, 3).tolist()
        return (self.cost_mm - roomy * self.free_mm, self.aside_mm, x, y)


def same_places(points: FloatArray) -> tuple[FloatArray, tuple[int, ...]]:
    """Make one of places (m, 2) that are nearer than `SAME_MM`: those that are left (n, 2), and which each became."""
    kept: list[FloatArray] = []
    which: list[int] = []
    for point in points:
        near = [k for k, other in enumerate(kept) if np.linalg.norm(point - other) < SAME_MM]
        if not near:
            kept.append(point)
        which.append(near[0] if near else len(kept) - 1)
    return np.array(kept), tuple(which)


def grown(hubs: FloatArray, feet: FloatArray, gone: float) -> tuple[IntArray, FloatArray]:
    """Grow a tree from each of h hubs (h, 2), always to the foot that is reached by the least.

    ``gone`` of the way so far counts. Give the parents (h, n), HUB for the hub itself, and the ways to the hub (h, n).
    """
    apart = np.linalg.norm(feet[:, None] - feet[None], axis=2)
    reach = np.linalg.norm(hubs[:, None] - feet[None], axis=2)
    walked, parent, left = reach.copy(), np.full(reach.shape, HUB), np.ones(reach.shape, dtype=bool)
    rows = np.arange(len(hubs))
    for _ in range(len(feet)):
        k = np.where(left, reach, np.inf).argmin(axis=1)
        left[rows, k] = False
        way = walked[rows, k][:, None]
        key = gone * way + apart[k]
        better = left & (key < reach - 1e-9)
        reach = np.where(better, key, reach)
        walked = np.where(better, way + apart[k], walked)
        parent = np.where(better, k[:, None], parent)
    return parent, walked


def hub_places(feet: FloatArray, room_mm: float, gone: float) -> Steps[list[Tree]]:
    """Look for the hub: trees whose hub keeps ``room_mm`` from every foot, best first, no two hubs close together.

    The best has the shortest branches, its longest way to the hub counted in; of equals the one nearest the middle.
    """
    low, high = feet.min(axis=0) - 1.5 * room_mm, feet.max(axis=0) + 1.5 * room_mm
    middle = (low + high) / 2
    centre, half = middle, (high - low) / 2
    known: list[_Choice] = []
    for grid in GRIDS:
        xy = np.stack(np.meshgrid(np.linspace(-1, 1, grid), np.linspace(-1, 1, grid)), axis=-1).reshape(-1, 2)
        places = centre + half * xy
        free = np.linalg.norm(places[:, None] - feet[None], axis=2).min(axis=1) >= room_mm
        places = places[free]
        for begin in range(0, len(places), AT_ONCE):
            few = places[begin : begin + AT_ONCE]
            parent, walked = grown(few, feet, gone)
            before = np.where(parent == HUB, 0.0, np.take_along_axis(walked, np.maximum(parent, 0), axis=1))
            cost = (walked - before).sum(axis=1) + LONGEST * walked.max(axis=1)
            aside = np.linalg.norm(few - middle, axis=1)
            apart = np.linalg.norm(few[:, None] - feet[None], axis=2)
            figures = zip(few, parent.tolist(), cost.tolist(), aside.tolist(), apart.min(axis=1).tolist(), strict=True)
            known += [_Choice(round(c, 2), round(a, 3), f, Tree(hub, feet, tuple(p))) for hub, p, c, a, f in figures]
            yield 0.5
        if not known:
            return []
        centre, half = min(known, key=lambda one: one.rank(0.0)).tree.hub, half * (3.0 / grid)
    found: list[_Choice] = []
    for roomy in (0.0, ROOMY):
        kinds: dict[int, list[float]] = {}
        for one in sorted(known, key=lambda one: one.rank(roomy)):
            # Hubs that mirror each other succeed or fail together.
            alike = kinds.setdefault(one.tree.parent.count(HUB), [])
            score = one.rank(roomy)[0]
            if len(alike) < OF_A_KIND and all(abs(score - other) > ALIKE * one.cost_mm for other in alike):
                alike.append(score)
                found.append(one)
    return [one.tree for one in sorted(found, key=lambda one: one.rank(0.0))]


def branches(tree: Tree) -> tuple[Branch, ...]:
    """Take a tree apart into branches, those on the hub first: what goes on nearly straight is one branch."""
    beyond: list[list[int]] = [[] for _ in tree.feet]
    for k, p in enumerate(tree.parent):
        if p != HUB:
            beyond[p].append(k)
            beyond[k].append(p)
    goes_on = [_pairs(tree.feet, k, around) for k, around in enumerate(beyond)]
    found: list[Branch] = []
    taken: set[frozenset[int]] = set()
    waiting = [(root, root, 0) for root, p in enumerate(tree.parent) if p == HUB]
    while waiting:
        here, root, depth = waiting.pop(0)
        new: list[tuple[int, ...]] = []
        for other in beyond[here]:
            if frozenset((here, other)) not in taken:
                line = _walked(here, other, goes_on)
                back = goes_on[here].get(other)
                if back is not None and frozenset((here, back)) not in taken:
                    line = (*reversed(_walked(here, back, goes_on)), *line[1:])
                taken |= {frozenset(pair) for pair in pairwise(line)}
                new.append(line)
        if depth == 0 and not beyond[here]:
            found.append(_stub(tree, here))
        # The first of a root's branches carries the others; elsewhere a branch is there to begin on.
        for number, line in enumerate(new):
            first = depth == 0 and number == 0
            level = 0 if first else max(1, depth)
            found.append(_branch(tree, line, level, root, here, first=first))
            waiting += [(k, root, level + 1) for k in line if k != here]
    return tuple(sorted(found, key=lambda b: b.depth))


def _pairs(feet: FloatArray, k: int, around: list[int]) -> dict[int, int]:
    """Tell which neighbours of a place are one branch through it, straightest first."""
    ahead = {n: (feet[n] - feet[k]) / np.linalg.norm(feet[n] - feet[k]) for n in around}
    turns = sorted((float(np.degrees(np.arccos(np.clip(-ahead[a] @ ahead[b], -1, 1)))), a, b)
                   for a, b in combinations(around, 2))  # fmt: skip
    found: dict[int, int] = {}
    for turn, a, b in turns:
        if turn <= MOST_TURN_DEG and a not in found and b not in found:
            found[a], found[b] = b, a
    return found


def _walked(here: int, other: int, goes_on: list[dict[int, int]]) -> tuple[int, ...]:
    line = [here, other]
    while (ahead := goes_on[line[-1]].get(line[-2])) is not None:
        line.append(ahead)
    return tuple(line)


def _branch(tree: Tree, line: tuple[int, ...], depth: int, root: int, here: int, *, first: bool) -> Branch:
    places = np.column_stack((tree.feet[list(line)], np.zeros(len(line))))
    course = through(places, closed=False)
    ends = (line[0] != here or first, line[-1] != here or first)
    return Branch(line, course, course.at_mm, depth, root, ends)


def _stub(tree: Tree, k: int) -> Branch:
    """Lay a short branch under a place by itself, square to its spoke."""
    way = tree.feet[k] - tree.hub
    side = np.array([-way[1], way[0]]) / np.linalg.norm(way)
    ends = np.array([tree.feet[k] - STUB_MM * side, tree.feet[k] + STUB_MM * side])
    course = through(np.column_stack((ends, np.zeros(2))), closed=False)
    return Branch((k,), course, np.array([STUB_MM]), 0, k, (True, True))


@dataclass(frozen=True, slots=True, eq=False)
class Rod:
    """A line (k, 2) on the plate with a thickness, and the places at which it may meet others."""

    line: FloatArray
    d_mm: float
    nodes: frozenset[int]


def tightest(rods: Sequence[Rod], feet: FloatArray, web_mm: float) -> tuple[float, float]:
    """Give by how much the investment between rods exceeds ``web_mm``: of all, of those that do not meet; mm.

    Rods that share a node are measured where they have left it: straight ones that part by 50 degrees or more do so in
    time. Lines are measured from point to point, `POINTS_MM` apart.
    """
    cut = [_points(rod.line) for rod in rods]
    owner = np.repeat(np.arange(len(rods)), [len(one) for one in cut])
    points = np.concatenate(cut)
    d = np.array([rod.d_mm for rod in rods])[owner]
    gap = np.linalg.norm(points[:, None] - points[None], axis=2) - (d[:, None] + d[None]) / 2 - web_mm
    gap[owner[:, None] == owner[None]] = np.inf
    met = np.zeros((len(rods), len(rods)), dtype=bool)
    for a, b in combinations(range(len(rods)), 2):
        for node in rods[a].nodes & rods[b].nodes:
            met[a, b] = met[b, a] = True
            near = np.linalg.norm(points - feet[node], axis=1) < LEFT * (rods[a].d_mm + rods[b].d_mm) + web_mm
            for one, other in ((a, b), (b, a)):
                rows, columns = np.flatnonzero(near & (owner == one)), np.flatnonzero(owner == other)
                gap[np.ix_(rows, columns)] = np.inf
                gap[np.ix_(columns, rows)] = np.inf
    apart = gap[~met[owner][:, owner]]
    return float(gap.min(initial=np.inf)), float(apart.min(initial=np.inf))


def nearest_mm(line: FloatArray, place: FloatArray) -> float:
    """Give the distance of a place (2,) from a line (k, 2)."""
    return float(np.linalg.norm(_points(line) - place, axis=1).min())


def _points(line: FloatArray) -> FloatArray:
    """Give points (m, 2) along a line (k, 2)."""
    walked = np.concatenate(([0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))))
    fine = np.linspace(0.0, walked[-1], max(2, int(walked[-1] / POINTS_MM) + 1))
    return np.stack([np.interp(fine, walked, line[:, k]) for k in (0, 1)], axis=1)
