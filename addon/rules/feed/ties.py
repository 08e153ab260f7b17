"""Ties between columns: rods that make slender columns stand as a frame while the links on them are printed.

The links are gone through from the lowest up; while one moves too far, the tie is set that helps it and those above it
most: between two columns, level or slanted, whole below the layer it is set for. A level tie is a short bridge, a
slanted one steeper than the overhang limit. It ends on the columns' axes, thinner than they are.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..base.profile import Profile
from ..base.progress import Steps, part
from ..solid.candidates import BoolArray
from ..solid.mesh import Body, FloatArray, IntArray
from .frame import Frame, cantilever, carried, tie_in
from .lattice import NODE_MM, Lattice, LatticeSolid, Strut, place
from .leaning import Leaning, Moved, Pulled, Seat, leaning, moved, pulled
from .rods import rod
from .sections import ROUND
from .skeletons import Rods, Skeletons, between, boxes_meet, clearances
from .steadiness import STEADY_SHARE, sliced
from .tries import SPARE_DEG

# Ties are as thick as these shares of their columns: less than a column, so that none is tangent to it.
THICKEST, THINNEST = 0.8, 0.5
# Heights are tried in steps of this.
STEP_MM = 2.0
# Slanted ties rise so many degrees more than the flattest that prints.
STEEPER_DEG = (0.5, 15.0)
# Columns further apart than this many times the bridge limit are not tied.
APART = 1.6
# A tie's clear span is this share of the bridge limit at most.
SPAN = 0.95
# A tie is worth its metal if it takes this share of its limit from what links move, all together.
WORTH = 0.05
# No link asks for more ties than this.
MOST = 4
# Struts that grow from one node part by this angle at least.
PARTED_DEG = 40.0
SPARE_MM = 0.02


@dataclass(frozen=True, slots=True, eq=False)
class _Tries:
    """Ties that have room: places of the frame at both ends (c,), diameter (c,), height of their tops (c,)."""

    a: IntArray
    b: IntArray
    d_mm: FloatArray
    top_mm: FloatArray

    def take(self, rows: IntArray) -> "_Tries":
        return _Tries(self.a[rows], self.b[rows], self.d_mm[rows], self.top_mm[rows])


@dataclass(frozen=True, slots=True, eq=False)
class _Standing:
    """Straight pieces of all struts: ends (p, 3), radius (p,), the number of the solid (p,)."""

    starts: FloatArray
    ends: FloatArray
    radius_mm: FloatArray
    of: IntArray


def with_ties(
    bodies: Sequence[Body], lines: Skeletons, lattice: Lattice, profile: Profile, gap_mm: float
) -> Steps[Lattice]:
    """Give a lattice with ties between its columns, as few as make the links on them steady, or as far as they help.

    ``lines`` are the skeletons of the bodies; ``gap_mm`` the printed gap, of which a link may move a share.
    """
    grid = _grid(lattice)
    bare = leaning(lattice, grid) if grid else None
    if bare is None:
        yield 1.0
        return lattice
    slices = yield from part(sliced(bodies), 0.0, 0.1)
    links = {
        body.name: pulled(one, profile.peel_pressure_kpa)
        for body, one in zip(bodies, slices, strict=True)
        if body.name in bare.seats
    }
    yield 0.2
    found = _with_room(lattice, bare, lines, profile, len(bare.tall_mm) - sum(len(up) for up in grid.values()))
    bare, found = _only(bare, found)
    yield 0.4
    ties = yield from part(_chosen(bare, links, found, STEADY_SHARE * gap_mm, profile.strut_web_mm), 0.4, 1.0)
    return replace(lattice, solids=(*lattice.solids, *ties))


def _only(bare: Leaning, tries: _Tries) -> tuple[Leaning, _Tries]:
    """Leave out the places of the frame that nothing stands at and no tie ends at."""
    seats = [seat.on[seat.on >= 0] for seat in bare.seats.values()]
    used = np.unique(np.concatenate((*seats, tries.a, tries.b)))
    number = np.full(len(bare.tall_mm), -1)
    number[used] = np.arange(len(used))
    frame = Frame(bare.frame.places[used], bare.frame.at(used))
    moved_to = {name: replace(s, on=np.where(s.on >= 0, number[s.on], -1)) for name, s in bare.seats.items()}
    return (
        Leaning(frame, bare.whose[used], bare.tall_mm[used], (), moved_to),
        replace(tries, a=number[tries.a], b=number[tries.b]),
    )


def tie_solid(start: FloatArray, end: FloatArray, d_mm: float) -> LatticeSolid:
    """Draw one tie from axis to axis (3,)."""
    line = np.array([start, end])
    return LatticeSolid(
        "post",
        rod(line, np.full(2, d_mm)),
        (Strut("post", place(start), place(end), d_mm, d_mm),),
        ROUND.modulus_mm(d_mm),
    )


def _grid(lattice: Lattice) -> dict[int, FloatArray]:
    """Give by its number each upright column's lengths at which ties may end: at the feet of gates, and in steps."""
    gates = np.array([s.struts[0].start for s in lattice.solids if s.feeds is not None and not s.above]).reshape(-1, 3)
    grid = {}
    for k, solid in enumerate(lattice.solids):
        if solid.role != "post":
            continue
        line, radius = solid.rod()
        way = line[-1] - line[-2]
        if np.hypot(way[0], way[1]) > 1e-6 or not (np.hypot(*(gates - line[-1])[:, :2].T) <= 1e-6).any():
            continue
        knee = float(np.linalg.norm(np.diff(line[:-1], axis=0), axis=1).sum())
        thick = float(radius[-1])
        low, high = line[-2, 2] + thick, line[-1, 2] - THINNEST * thick
        # The same heights on all columns, so that ties can be level.
        steps = np.arange(np.ceil(low / STEP_MM), np.floor(high / STEP_MM) + 1) * STEP_MM
        own = gates[np.hypot(*(gates - line[-1])[:, :2].T) <= 1e-6, 2]
        z = np.unique(np.concatenate((steps, own[(own >= low) & (own <= high)])))
        if len(z):
            grid[k] = knee + z - line[-2, 2]
    return grid


def _with_room(lattice: Lattice, bare: Leaning, lines: Skeletons, profile: Profile, first: int) -> _Tries:
    """Find all ties between places of the frame from ``first`` on that print and have room."""
    places, whose = bare.frame.places[first:], bare.whose[first:]
    thick = np.array([2 * lattice.solids[k].rod()[1].min() for k in whose])
    plan = np.linalg.norm(places[:, None, :2] - places[None, :, :2], axis=2)
    rise = places[None, :, 2] - places[:, None, 2]
    other = (whose[:, None] != whose[None]) & (plan <= APART * profile.bridge_mm)
    flattest = min(85.0, profile.overhang_deg + SPARE_DEG)
    level = (np.abs(rise) < 1e-9) & (plan - (thick[:, None] + thick[None]) / 2 <= SPAN * profile.bridge_mm)
    level &= whose[:, None] < whose[None]
    slanted = np.zeros_like(level)
    for steeper in STEEPER_DEG:
        wanted = plan * np.tan(np.radians(flattest + steeper))
        # The next height up that is steep enough.
        slanted |= (rise >= wanted) & (rise < wanted + STEP_MM)
    a, b = np.nonzero(other & (level | slanted))
    full = np.minimum(thick[a], thick[b])
    starts, ends = places[a], places[b]
    reach = profile.strut_web_aim_mm + full.max(initial=0.0)
    axes = Rods(np.stack((starts, ends), axis=1), np.zeros((len(a), 1)))
    room, _ = clearances(axes, np.full(len(a), -1), lines, reach_mm=reach)
    room = np.minimum(room, _from_struts(lattice, starts, ends, whose[a], whose[b], reach))
    floor, aim = profile.strut_web_mm + SPARE_MM, profile.strut_web_aim_mm
    d = np.clip(2 * (room - aim), THINNEST * full, THICKEST * full)
    good = np.flatnonzero(room - d / 2 >= floor)
    top = np.maximum(starts[:, 2], ends[:, 2]) + d / 2
    return _Tries(a + first, b + first, d, top).take(good)


def _from_struts(
    lattice: Lattice, starts: FloatArray, ends: FloatArray, one: IntArray, other: IntArray, reach_mm: float
) -> FloatArray:
    """Give how far the axes of ties (c, 3) are from all struts but their columns, and those that share a node, (c,)."""
    pieces = [(k, s) for k, solid in enumerate(lattice.solids) for s in solid.struts]
    of = np.array([k for k, _ in pieces])
    p, q = np.array([s.start for _, s in pieces]), np.array([s.end for _, s in pieces])
    r = np.array([max(s.d_start_mm, s.d_end_mm) / 2 for _, s in pieces])
    foot = np.array([solid.struts[0].start for solid in lattice.solids])
    spread = r[:, None] + reach_mm
    tie, piece = boxes_meet(
        np.minimum(starts, ends), np.maximum(starts, ends), np.minimum(p, q) - spread, np.maximum(p, q) + spread
    )
    apart = (of[piece] != one[tie]) & (of[piece] != other[tie])
    way = ends - starts
    for end, ahead in ((starts, way), (ends, -way)):
        node = np.linalg.norm(foot[of[piece]] - end[tie], axis=1) <= NODE_MM
        apart &= ~(node & _parts(ahead[tie], (q - p)[piece]))
    tie, piece = tie[apart], piece[apart]
    gap = between(starts[tie], ends[tie], p[piece], q[piece]) - r[piece]
    found = np.full(len(starts), reach_mm)
    np.minimum.at(found, tie, gap)
    return found


def _chosen(
    bare: Leaning, links: Mapping[str, Pulled], tries: _Tries, limit_mm: float, web_mm: float
) -> Steps[list[LatticeSolid]]:
    """Choose ties link by link from the lowest up, each time the one that helps this and the higher ones most."""
    frame, ties = Frame(bare.frame.places, bare.frame.compliance.copy()), []
    left = tries
    order = sorted(bare.seats, key=lambda name: (links[name].middles[:, 2].min(), name))
    # The layer under which a link moves most stays about the same whatever ties there are.
    one = {n: _layer(links[n], moved(seat, _under(frame, seat), links[n])) for n, seat in bare.seats.items()}
    for number, name in enumerate(order):
        seat = bare.seats[name]
        for _ in range(MOST):
            yield number / len(order)
            now = moved(seat, _under(frame, seat), links[name])
            worst = int(now.most_mm.argmax())
            height = float(links[name].middles[worst, 2])
            if now.most_mm[worst] <= limit_mm or not len(left.a):
                break
            mine = bare.whose[seat.on[seat.on >= 0]]
            reach = np.isin(bare.whose[left.a], mine) | np.isin(bare.whose[left.b], mine)
            near = np.flatnonzero(reach & (left.top_mm <= height))
            gain = _gains(frame, bare, {n: one[n] for n in order[number:]}, left.take(near), limit_mm)
            if gain.max(initial=0.0) < WORTH:
                break
            tie = left.take(near[[int(gain.argmax())]])
            a, b, d = int(tie.a[0]), int(tie.b[0]), float(tie.d_mm[0])
            tie_in(frame.compliance, frame.places, a, b, d)
            ties.append(tie_solid(frame.places[a], frame.places[b], d))
            left = left.take(np.flatnonzero(_apart(frame, left, tie, web_mm + SPARE_MM)))
    return ties


def _apart(frame: Frame, tries: _Tries, tie: _Tries, web_mm: float) -> BoolArray:
    """Tell which ties (c,) keep ``web_mm`` from one (1,), or part from it at one node, (c,)."""
    p, q = frame.places[tie.a], frame.places[tie.b]
    starts, ends = frame.places[tries.a], frame.places[tries.b]
    shape = starts.shape
    away = between(np.broadcast_to(p, shape), np.broadcast_to(q, shape), starts, ends)
    node = np.zeros(len(starts), dtype=bool)
    for one, other in ((tie.a, tie.b), (tie.b, tie.a)):
        for mine, far in ((tries.a, tries.b), (tries.b, tries.a)):
            node |= (mine == one) & _parts(
                frame.places[far] - frame.places[mine], frame.places[other] - frame.places[one]
            )
    return np.asarray((away - (tie.d_mm + tries.d_mm) / 2 >= web_mm) | node)


def _parts(one: FloatArray, other: FloatArray) -> BoolArray:
    """Tell which ways (c, 3) from a node part from others at an angle that leaves the mould no thin wedge, (c,)."""
    along = (one * other).sum(axis=1) / (np.linalg.norm(one, axis=1) * np.linalg.norm(other, axis=1))
    return np.asarray(along <= np.cos(np.radians(PARTED_DEG)))


def _layer(layers: Pulled, now: Moved) -> Pulled:
    """Give the one layer under which a link moves most."""
    return layers.take(np.array([int(now.most_mm.argmax())]))


def _under(frame: Frame, seat: Seat) -> FloatArray:
    return frame.at(seat.on[seat.on >= 0])


def _gains(frame: Frame, bare: Leaning, links: Mapping[str, Pulled], tries: _Tries, limit_mm: float) -> FloatArray:
    """Give what each tie takes from what links move under one layer each, in shares of the limit, summed, (c,)."""
    total = np.zeros(len(tries.a))
    n = len(frame.places)
    blocks = frame.compliance.reshape(n, 6, n, 6)
    way = frame.places[tries.b] - frame.places[tries.a]
    carry = np.array([carried(w) for w in way]).reshape(-1, 6, 6)
    own = np.array([cantilever(w, d) for w, d in zip(way, tries.d_mm, strict=True)]).reshape(-1, 6, 6)
    a, b = tries.a, tries.b
    ab = blocks[a, :, b]
    back = carry.swapaxes(1, 2)
    own = own + blocks[b, :, b] + carry @ blocks[a, :, a] @ back - carry @ ab - ab.swapaxes(1, 2) @ back
    inverse = np.linalg.inv(own)
    for name, layers in links.items():
        seat = bare.seats[name]
        now = moved(seat, _under(frame, seat), layers)
        if now.most_mm[0] <= limit_mm:
            continue
        load, feel = _at_feet(seat, now)
        on = seat.on[seat.on >= 0]
        # How each tie's far end leaves its near one under the loads at the feet, and what that does at the worst place.
        strain = blocks[b[:, None], :, on[None]] - np.einsum("cij,cmjk->cmik", carry, blocks[a[:, None], :, on[None]])
        under = np.einsum("cmik,mk->ci", strain, load)
        felt = np.einsum("cmik,mjk->cji", strain, feel)
        shift = np.einsum("cji,cih,ch->cj", felt, inverse, under)
        after = np.linalg.norm(now.way_mm[0] - shift, axis=1)
        total += (now.most_mm[0] - np.maximum(after, limit_mm)) / limit_mm
    return total


def _at_feet(seat: Seat, now: Moved) -> tuple[FloatArray, FloatArray]:
    """Give the loads (m, 6) at feet on columns under one layer, and how the worst place goes with them (m, 3, 6)."""
    rows = np.flatnonzero(seat.on >= 0)
    carry = np.array([carried(seat.tops[r] - seat.feet[r]) for r in rows])
    load = now.loads[:, 0].reshape(-1, 6)[rows]
    feel = now.feel[0].reshape(3, -1, 6).swapaxes(0, 1)[rows]
    return np.einsum("mij,mi->mj", carry, load), feel @ carry
