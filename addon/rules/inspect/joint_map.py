"""Which bodies are linked: the joint map.

Two bodies are linked when any entry of the matrix of linking numbers between their loops is not zero. The loops of a
mesh lie on its surface and come from its own handles (`solid.loops`), and half of them go the short way round the
metal. Those do no harm: such a loop bounds a disc inside its own body, the other body lies outside that, so its number
with every loop of the other is zero as long as the bodies do not touch. What is left is the linking of the two cores,
and since the loops generate all closed curves of both surfaces, a core that links shows up in some entry whatever the
choice of loops.

Linking number zero is not yet "not linked": a Whitehead link cannot be taken apart either. A pair is called not linked
only when a flat plane parts it or a straight line draws one body away from the other (`freeing`); otherwise it is
undecided. The same for several bodies at once, which can be locked although no two of them are: see `groups`.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..base.progress import Steps, part
from ..solid.distance import GapTable
from ..solid.linking import counting_links, whole
from ..solid.loops import finding_loops, thinned
from ..solid.mesh import Body, FloatArray, IntArray, Mesh
from .extents import extents
from .freeing import PAD_MM, axes, clears
from .groups import locked_groups, units

BoolArray = npt.NDArray[np.bool_]

LINKED, NOT_LINKED, UNDECIDED = 1, 0, -1
# Share of the gap each of two loops may be moved by when it is thinned: together they stay short of it.
SHARE_OF_GAP = 0.45
# Entries of the matrices of linking numbers worked out at a time.
ENTRIES = 1024


@dataclass(frozen=True, slots=True, eq=False)
class JointMap:
    """Every pair of bodies whose hulls may overlap, and how they hang together.

    ``a``, ``b`` (p,) body numbers, a < b, in order; ``alone`` (p,) LINKED, NOT_LINKED or UNDECIDED, the pair judged on
    its own; ``unit`` (n,) number of the linked or fused whole a body belongs to; ``groups``: sets of bodies whose units
    no straight line takes apart. A pair not listed is not linked, unless one of the two is unsound.
    """

    a: IntArray
    b: IntArray
    alone: npt.NDArray[np.int8]
    unit: IntArray
    groups: tuple[tuple[int, ...], ...]

    def states(self) -> dict[tuple[int, int], int]:
        """Give the state of every listed pair: as judged alone, but undecided between two units of one group."""
        state = self.alone.copy()
        for group in self.groups:
            inside = np.isin(self.a, group) & np.isin(self.b, group)
            state[inside & (self.unit[self.a] != self.unit[self.b])] = UNDECIDED
        return {(int(a), int(b)): int(s) for a, b, s in zip(self.a, self.b, state, strict=True)}


def joint_map(bodies: Sequence[Body], sound: BoolArray, table: GapTable, range_mm: float) -> Steps[JointMap]:
    """Find which bodies are linked.

    ``sound`` (n,): closed, wound outward, an even surface; a pair with another kind of body is undecided, and so is a
    pair in ``table`` that touches, or so nearly that rounding decides. ``range_mm``: pairs not in the table are at
    least this far apart.
    """
    reach = yield from part(extents(bodies), 0.0, 0.02)
    pairs = yield from part(reach.overlapping(), 0.02, 0.05)
    gap = _gap_of(pairs, table, range_mm)
    judged = sound[pairs].all(axis=1) & (gap > 2.0 * PAD_MM)
    state = np.full(len(pairs), UNDECIDED, dtype=np.int8)
    yield 0.05
    state[judged] = yield from part(_by_number(bodies, pairs[judged], gap[judged]), 0.05, 0.5)
    placed = {int(number): bodies[int(number)].placed() for number in np.unique(pairs[judged & (state == NOT_LINKED)])}
    loose = np.flatnonzero(judged & (state == NOT_LINKED))
    for done, place in enumerate(loose):
        a, b = (placed[int(number)] for number in pairs[place])
        if not _comes_free(a, b):
            state[place] = UNDECIDED
        yield 0.5 + 0.3 * (done + 1) / len(loose)
    together = pairs[(state == LINKED) | (gap == 0.0)]
    unit = units(len(bodies), together)
    groups = yield from part(locked_groups(bodies, sound, unit, reach), 0.8, 1.0)
    return JointMap(pairs[:, 0], pairs[:, 1], state, unit, groups)


def _gap_of(pairs: IntArray, table: GapTable, range_mm: float) -> FloatArray:
    known = {(int(a), int(b)): float(gap) for a, b, gap in zip(table.a, table.b, table.gap_mm, strict=True)}
    return np.array([known.get((int(a), int(b)), range_mm) for a, b in pairs])


def _by_number(bodies: Sequence[Body], pairs: IntArray, gap: FloatArray) -> Steps[npt.NDArray[np.int8]]:
    """Judge pairs by their linking numbers alone."""
    slack = np.full(len(bodies), np.inf)
    np.minimum.at(slack, pairs.ravel(), np.repeat(gap * SHARE_OF_GAP, 2))
    own: dict[int, tuple[FloatArray, ...]] = {}
    thin: dict[tuple[int, float], tuple[FloatArray, ...]] = {}
    carried: list[FloatArray] = []
    begin, count = np.zeros(len(bodies), dtype=np.int64), np.zeros(len(bodies), dtype=np.int64)
    wanted = np.unique(pairs)
    for done, number in enumerate(wanted):
        body = bodies[number]
        # Steps of the square root of two keep the thinned copies of a shared mesh few.
        tolerance = 2.0 ** (np.floor(2.0 * np.log2(slack[number])) / 2.0)
        shape, key = id(body.mesh), (id(body.mesh), tolerance)
        if shape not in own:
            own[shape] = yield from part(
                finding_loops(body.mesh), 0.5 * done / len(wanted), 0.5 * (done + 1) / len(wanted)
            )
        if key not in thin:
            thin[key] = thinned(own[shape], np.full(len(own[shape]), tolerance))
        begin[number], count[number] = len(carried), len(thin[key])
        carried += [body.pose.apply(loop) for loop in thin[key]]
        yield 0.5 * (done + 1) / len(wanted)
    linked, doubtful = np.zeros(len(pairs), dtype=bool), np.zeros(len(pairs), dtype=bool)
    entries = count[pairs[:, 0]] * count[pairs[:, 1]]
    ends = np.cumsum(entries)
    total = int(ends[-1]) if len(ends) else 0
    for start in range(0, total, ENTRIES):
        entry = np.arange(start, min(start + ENTRIES, total))
        pair = np.searchsorted(ends, entry, side="right")
        entry, pair = entry[~linked[pair]], pair[~linked[pair]]
        inner = entry - (ends - entries)[pair]
        a, b = pairs[pair].T
        first, second = begin[a] + inner // count[b], begin[b] + inner % count[b]
        numbers = counting_links(carried, first, second)
        number, decided = whole(
            (yield from part(numbers, 0.5 + 0.5 * start / total, 0.5 + 0.5 * min(1.0, (start + ENTRIES) / total)))
        )
        doubtful[pair[~decided]] = True
        linked[pair[decided & (number != 0)]] = True
    state = np.full(len(pairs), NOT_LINKED, dtype=np.int8)
    state[doubtful] = UNDECIDED
    state[linked] = LINKED
    return state


def _comes_free(a: Mesh, b: Mesh) -> bool:
    """Tell whether some straight line is proven to draw one body away from the other.

    The 26 directions, the likeliest first, and before them the line between the two middles.
    """
    between = (a.points.min(axis=0) + a.points.max(axis=0) - b.points.min(axis=0) - b.points.max(axis=0)) / 2.0
    lines = axes()
    directions = np.concatenate([lines, -lines])
    directions = directions[np.argsort(-(directions @ between), kind="stable")]
    length = float(np.linalg.norm(between))
    if length > 0.0 and clears(a, b, between / length):
        return True
    return any(clears(a, b, direction) for direction in directions)
