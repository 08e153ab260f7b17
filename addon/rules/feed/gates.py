"""Routes of gates: from a feed ring to anchor points, straight first, then with one bend, then to another point.

Same input, same routes: candidates are made and tried in one fixed order, links in the order of the chain.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..base.progress import Steps
from ..solid.mesh import FloatArray, IntArray
from .standing import Standing
from .tries import Ground, Hold, Tries, Ways, ways

STRUT, ENTERS_NOWHERE = -1, -2
# Of a gate that may be left out, this many ways are held against struts that stand.
MOST_BRIEF = 12


@dataclass(frozen=True, slots=True, eq=False)
class Gate:
    """A routed gate: its points (5, 3): foot, knee, root of the tip, surface, sunk end; diameters of shaft and tip.

    ``clear_mm`` its length between ring and metal, ``gap_mm`` its distance to the nearest stranger, ``arc_mm`` where
    it enters along the wire, ``level`` which kind of route it took.
    """

    body: int
    points: FloatArray
    shaft_mm: float
    tip_mm: float
    clear_mm: float
    gap_mm: float
    arc_mm: float
    level: int

    @property
    def radii(self) -> FloatArray:
        """Give the radius of the rod that holds each of the four pieces, (4,)."""
        s, t = self.shaft_mm / 2, self.tip_mm / 2
        return np.array([s, s, s, t])


@dataclass(frozen=True, slots=True, eq=False)
class Refusal:
    """A place that no gate reaches: the widest free distance that was found (negative: metal in the way), and to whom.

    ``blocker`` is the index of the body in the way, STRUT for another strut, ENTERS_NOWHERE when no direction enters
    the metal.
    """

    hold: Hold
    gap_mm: float
    blocker: int


def route(
    holds: Sequence[Hold], ground: Ground, standing: Standing, *, briefly: bool = False
) -> Steps[tuple[list[Gate], list[Refusal]]]:
    """Route a gate to every hold, clear of ``standing``, to which the new gates are added.

    ``briefly`` tries fewer ways, for gates that may be left out.
    """
    aim_mm, floor_mm = ground.aim_mm, ground.floor_mm
    made: dict[int, Gate] = {}
    reasons: dict[int, tuple[float, int]] = {}
    waiting = list(range(len(holds)))
    # Each round: which kinds of route, how much of the full shaft, and the clearance it must keep.
    full: tuple[tuple[tuple[int, ...], float, float], ...] = (
        ((0,), 1.0, aim_mm),
        ((0, 1), 1.0, aim_mm),
        ((0, 1), 1.0, floor_mm),
        ((0, 1), 0.85, aim_mm),
        ((0, 1), 0.0, floor_mm),
        ((2,), 1.0, aim_mm),
        ((2,), 0.0, floor_mm),
    )
    rounds = (((0, 1), 1.0, aim_mm), ((0, 1), 0.0, floor_mm)) if briefly else full
    most = MOST_BRIEF if briefly else None
    known: dict[tuple[int, ...], Ways] = {}
    numbers: dict[tuple[int, ...], dict[int, int]] = {}
    for number, (levels, share, least) in enumerate(rounds):
        if not waiting:
            break
        yield number / len(rounds)
        if levels not in known:
            numbers[levels] = {k: row for row, k in enumerate(waiting)}
            known[levels] = ways([holds[k] for k in waiting], ground, levels)
        tries = known[levels].at(share)
        left = []
        for k in waiting:
            rows = np.flatnonzero(tries.hold == numbers[levels][k])
            gate = _first_fit(tries, rows, holds[k], standing, (least, floor_mm), most)
            if gate is None:
                left.append(k)
                reasons[k] = _reason(tries, rows, reasons.get(k))
                continue
            made[k] = gate
            standing.add(gate.points, gate.radii)
        waiting = left
    gates = [made[k] for k in sorted(made)]
    refusals = [Refusal(holds[k], *reasons[k]) for k in waiting]
    return gates, refusals


def _first_fit(
    tries: Tries, rows: IntArray, hold: Hold, standing: Standing, keep_mm: tuple[float, float], most: int | None
) -> Gate | None:
    """Take the first way that keeps the first distance from bodies and the second from struts, of the ``most`` best."""
    least, floor_mm = keep_mm
    good = rows[tries.gap_mm[rows] >= least]
    for row in good[np.lexsort((tries.rank[good], tries.level[good]))][:most]:
        points, radii = tries.rods.points[row], tries.rods.radii[row]
        if standing.gap(points, radii, floor_mm) >= floor_mm:
            return Gate(
                hold.body,
                points,
                float(tries.shaft_mm[row]),
                float(tries.tip_mm[row]),
                float(tries.clear_mm[row]),
                float(tries.gap_mm[row]),
                float(tries.arc_mm[row]),
                int(tries.level[row]),
            )
    return None


def _reason(tries: Tries, rows: IntArray, before: tuple[float, int] | None) -> tuple[float, int]:
    if not len(rows):
        return before if before is not None else (float("nan"), ENTERS_NOWHERE)
    best = rows[tries.gap_mm[rows].argmax()]
    gap, who = float(tries.gap_mm[best]), int(tries.who[best])
    if before is not None and before[1] != ENTERS_NOWHERE and before[0] >= gap:
        return before
    return gap, who
