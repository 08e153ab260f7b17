"""How far links move that stand on columns: columns and ties as a frame of beams, gates on it, the film pulling.

A plain estimate like that of `steadiness`: each layer of a link is pulled by the peel pressure over its own area, at
its own middle, and the link moves as a rigid piece on its gates, which bend and lean with the frame under them
(`frame`). Of the ties only those count that are printed whole below the layer. That columns hold each other through
links printed before is left out.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ..base.profile import Profile
from ..base.progress import Steps, part
from ..inspect.finding import Finding
from ..solid.mesh import Body, FloatArray, IntArray
from .frame import Frame, carried, standing_free, tie_in
from .lattice import Lattice, LatticeSolid, Place
from .steadiness import STEADY_SHARE, Sliced, column_of, columns_of, sliced

ON_AXIS_MM = 1e-3
# No more than this share of a gate's first piece counts as buried in its column.
BURIED = 0.8
UP = np.array([0.0, 0.0, 1.0])


@dataclass(frozen=True, slots=True, eq=False)
class Tie:
    """A tie between two places of a frame, by their numbers; ``top_mm`` the height where its print ends."""

    a: int
    b: int
    d_mm: float
    top_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class Seat:
    """The m gates that hold a link: where they stand in the frame, where they end, and how they give by themselves.

    ``on`` (m,) numbers of places, -1 for a gate on the base ring; ``feet``, ``tops`` (m, 3); ``own`` (m, 6, 6) the
    compliance of each gate's end, its foot held fast.
    """

    on: IntArray
    feet: FloatArray
    tops: FloatArray
    own: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Leaning:
    """The columns of a lattice as they stand free, and what joins them.

    ``whose`` (n,) is the number of the solid that is the column of each place, ``tall_mm`` (n,) how far up it the place
    lies. Ties lie in the order of their tops. ``seats`` go by the name of the link; those with no gate on a column are
    left out.
    """

    frame: Frame
    whose: IntArray
    tall_mm: FloatArray
    ties: tuple[Tie, ...]
    seats: Mapping[str, Seat]


@dataclass(frozen=True, slots=True, eq=False)
class Pulled:
    """The L layers of a link where it stands: ``force_n`` (L,), ``middles`` (L, 3), ``outlines`` (L, k, 3)."""

    force_n: FloatArray
    middles: FloatArray
    outlines: FloatArray

    def take(self, rows: IntArray) -> "Pulled":
        """Give some of the layers."""
        return Pulled(self.force_n[rows], self.middles[rows], self.outlines[rows])


def pulled(body: Sliced, pressure_kpa: float) -> Pulled:
    """Put the layers of a link where it stands, each with the pull of the film on it."""
    most = max((len(one.outline) for one in body.layers), default=1)
    outlines = np.array([one.outline[np.arange(most) % len(one.outline)] for one in body.layers]).reshape(-1, most, 3)
    return Pulled(
        np.array([pressure_kpa * 1e-3 * one.area_mm2 for one in body.layers]),
        np.array([one.middle for one in body.layers]).reshape(-1, 3) @ body.turn.T + body.shift,
        outlines @ body.turn.T + body.shift,
    )


def leaning(lattice: Lattice, further: Mapping[int, FloatArray] | None = None) -> Leaning | None:
    """Read the columns of a lattice, their ties, and the gates of the links on them; None where there are none.

    ``further`` gives by the number of a solid that is a column more lengths along it (k,), which become places of the
    frame behind all others.
    """
    posts = {k: s for k, s in enumerate(lattice.solids) if s.role == "post"}
    ends = {k: [_site(at, posts, k) for at in (s.struts[0].start, s.struts[-1].end)] for k, s in posts.items()}
    ties = {k: (a, b) for k, (a, b) in ends.items() if a is not None and b is not None}
    columns = {k: s for k, s in posts.items() if k not in ties}
    gates = [s for s in lattice.solids if s.feeds is not None and not s.above]
    feet = [_site(s.struts[0].start, columns, -1) for s in gates]
    if not any(feet):
        return None
    sites = [site for site in feet if site is not None]
    on = np.where([site is None for site in feet], -1, np.cumsum([site is not None for site in feet]) - 1)
    tied = []
    for k, (a, b) in ties.items():
        if a[0] in columns and b[0] in columns:
            last = posts[k].struts[-1]
            top = max(posts[k].struts[0].start[2], last.end[2]) + last.d_end_mm / 2
            tied.append(Tie(len(sites), len(sites) + 1, min(last.d_start_mm, last.d_end_mm), top))
            sites += [a, b]
    for k, lengths in (further or {}).items():
        sites += [(k, float(up)) for up in lengths]
    whose, tall = np.array([k for k, _ in sites]), np.array([up for _, up in sites])
    places, compliance = np.empty((len(sites), 3)), np.zeros((6 * len(sites), 6 * len(sites)))
    for k in np.unique(whose).tolist():
        rows = np.flatnonzero(whose == k)
        free = standing_free(*_drawn(columns[k]), tall[rows])
        dofs = (6 * rows[:, None] + np.arange(6)).ravel()
        places[rows], compliance[np.ix_(dofs, dofs)] = free.places, free.compliance
    thick = [0.0 if site is None else columns[site[0]].rod()[1].min() for site in feet]
    in_order = tuple(sorted(tied, key=lambda tie: tie.top_mm))
    return Leaning(Frame(places, compliance), whose, tall, in_order, _seats(gates, on, thick))


def _drawn(solid: LatticeSolid) -> tuple[FloatArray, FloatArray]:
    """Give the axis (k + 1, 3) and the diameter of each piece (k,) at its thinnest."""
    return solid.rod()[0], np.array([min(s.d_start_mm, s.d_end_mm) for s in solid.struts])


def _site(at: Place, columns: Mapping[int, LatticeSolid], but: int) -> tuple[int, float] | None:
    """Find the column on whose axis a place lies above its foot, and how far up it; None where it lies on none."""
    for k, solid in columns.items():
        if k == but:
            continue
        line = solid.rod()[0]
        start, way = line[:-1], np.diff(line, axis=0)
        length = np.linalg.norm(way, axis=1)
        share = np.clip(((np.array(at) - start) * way).sum(axis=1) / length**2, 0.0, 1.0)
        beside = np.linalg.norm(np.array(at) - start - share[:, None] * way, axis=1)
        row = int(beside.argmin())
        up = float(length[:row].sum() + share[row] * length[row])
        if beside[row] <= ON_AXIS_MM and up > ON_AXIS_MM:
            return k, up
    return None


def _seats(gates: Sequence[LatticeSolid], on: IntArray, inside_mm: Sequence[float]) -> dict[str, Seat]:
    """Gather by link the gates that hold it, where one of them at least stands on a column.

    ``inside_mm`` is the radius of the column that each gate begins in, 0 of one on the ring.
    """
    rows: dict[str, list[int]] = {}
    for row, gate in enumerate(gates):
        rows.setdefault(str(gate.feeds), []).append(row)
    found = {}
    for name, mine in rows.items():
        if (on[mine] >= 0).any():
            drawn = [_gate(gates[row], inside_mm[row]) for row in mine]
            feet = np.array([gates[row].struts[0].start for row in mine])
            found[name] = Seat(on[mine], feet, np.array([top for top, _ in drawn]), np.array([own for _, own in drawn]))
    return found


def _gate(gate: LatticeSolid, inside_mm: float) -> tuple[FloatArray, FloatArray]:
    """Give where a gate's neck ends (3,) and its compliance (6, 6), held where it leaves its column."""
    column = column_of(gate)
    points = [np.array(s.start) for s in gate.struts]
    first = np.subtract(gate.struts[0].end, gate.struts[0].start)
    points[0] = points[0] + min(BURIED, inside_mm / max(float(np.hypot(first[0], first[1])), 1e-6)) * first
    tip = gate.struts[-1]
    ahead = np.subtract(tip.end, tip.start) / tip.length_mm
    line = np.array([*points, points[-1] + column.neck_length_mm * ahead])
    d = np.array([min(s.d_start_mm, s.d_end_mm) for s in gate.struts[:-1]] + [column.neck_mm])
    walked = np.array([np.linalg.norm(np.diff(line, axis=0), axis=1).sum()])
    return line[-1], standing_free(line, d, walked).compliance


def seated(seat: Seat, compliance: FloatArray) -> FloatArray:
    """Give the compliance (6 m, 6 m) of the ends of a link's gates, from that of their feet on columns (6 k, 6 k)."""
    m = len(seat.on)
    found = np.zeros((6 * m, 6 * m))
    held = np.flatnonzero(seat.on >= 0)
    dofs = (6 * held[:, None] + np.arange(6)).ravel()
    found[np.ix_(dofs, dofs)] = compliance
    for k in range(m):
        rows = slice(6 * k, 6 * k + 6)
        carry = carried(seat.tops[k] - seat.feet[k])
        found[rows] = carry @ found[rows]
        found[:, rows] = found[:, rows] @ carry.T
        found[rows, rows] += seat.own[k]
    return found


@dataclass(frozen=True, slots=True, eq=False)
class Moved:
    """How a link moves under each of L layers: the place of its outline that moves most, by how much (L,), (L, 3) mm.

    ``loads`` (6 m, L) are what its gates' ends then bear, each end's force and moment; ``feel`` (L, 3, 6 m) gives how
    that place moves, from how the ends do.
    """

    most_mm: FloatArray
    way_mm: FloatArray
    loads: FloatArray
    feel: FloatArray


def moved(seat: Seat, compliance: FloatArray, layers: Pulled) -> Moved:
    """Move a link as a rigid piece on its gates, their feet as compliant (6 k, 6 k) as the frame, layer by layer."""
    middle = seat.tops.mean(axis=0)
    stiff = np.linalg.inv(seated(seat, compliance))
    follow = np.concatenate([carried(top - middle) for top in seat.tops])
    gives = np.linalg.inv(follow.T @ stiff @ follow)
    pull = layers.force_n[:, None] * UP
    load = np.concatenate((pull, np.cross(layers.middles - middle, pull)), axis=1).T
    way = gives @ load
    arm = layers.outlines - middle
    shift = way[:3].T[:, None] + np.cross(way[3:].T[:, None], arm)
    far = np.linalg.norm(shift, axis=2)
    row, worst = np.arange(len(far)), far.argmax(axis=1)
    at = layers.outlines[row, worst]
    told = np.array([carried(p - middle)[:3] for p in at]).reshape(-1, 3, 6)
    return Moved(far[row, worst], shift[row, worst], stiff @ follow @ way, told @ gives @ follow.T @ stiff)


def movements_mm(stand: Leaning, links: Mapping[str, Pulled]) -> dict[str, float]:
    """Estimate the largest movement in mm of every link with a gate on a column while its layers are peeled."""
    used = np.unique(
        np.concatenate(
            [*(seat.on[seat.on >= 0] for seat in stand.seats.values()), *([tie.a, tie.b] for tie in stand.ties)]
        ).astype(np.int64)
    )
    number = np.full(len(stand.tall_mm), -1)
    number[used] = np.arange(len(used))
    frame = Frame(stand.frame.places[used], stand.frame.at(used))
    tops = np.array([tie.top_mm for tie in stand.ties])
    worst = dict.fromkeys(stand.seats, 0.0)
    for stage in range(len(tops) + 1):
        if stage:
            tie = stand.ties[stage - 1]
            tie_in(frame.compliance, frame.places, int(number[tie.a]), int(number[tie.b]), tie.d_mm)
        low = tops[stage - 1] if stage else -np.inf
        high = tops[stage] if stage < len(tops) else np.inf
        for name, seat in stand.seats.items():
            z = links[name].middles[:, 2]
            rows = np.flatnonzero((z >= low) & (z < high))
            if len(rows):
                under = frame.at(number[seat.on[seat.on >= 0]])
                most = moved(seat, under, links[name].take(rows)).most_mm
                worst[name] = max(worst[name], float(most.max()))
    return worst


def loose_on_columns(
    bodies: Sequence[Body], lattice: Lattice, profile: Profile, gap_mm: float
) -> Steps[tuple[Leaning, dict[str, float]] | None]:
    """Give the links that move more than a share of the printed gap since their columns give, and how far in mm.

    What a link's gates do alone is told elsewhere. None where there are no columns.
    """
    stand = leaning(lattice)
    if stand is None:
        yield 1.0
        return None
    limit, gates = STEADY_SHARE * gap_mm, columns_of(lattice)
    slices = yield from part(sliced(bodies), 0.0, 0.5)
    held = {body.name: one for body, one in zip(bodies, slices, strict=True) if body.name in stand.seats}
    sways = movements_mm(stand, {name: pulled(one, profile.peel_pressure_kpa) for name, one in held.items()})
    alone = {name: one.sway_mm(gates[name], profile.peel_pressure_kpa) for name, one in held.items()}
    return stand, {name: sway for name, sway in sways.items() if alone[name] <= limit < sway}


def leaning_findings(bodies: Sequence[Body], lattice: Lattice, profile: Profile, gap_mm: float) -> Steps[list[Finding]]:
    """Find the links that move more than a share of the printed gap because their columns are slender."""
    limit = STEADY_SHARE * gap_mm
    found = yield from loose_on_columns(bodies, lattice, profile, gap_mm)
    if found is None or not found[1]:
        return []
    stand, loose = found
    name = max(loose, key=lambda one: loose[one])
    on = stand.seats[name].on
    held = on >= 0
    tall = float(stand.tall_mm[on[held]].max())
    others = f" (and {len(loose) - 1} more, less so)" if len(loose) > 1 else ""
    one_side = sum(len(stand.seats[n].on) == 1 for n in loose)
    where = f"; {one_side} of them are held from one side only, for want of room" if one_side else ""
    return [
        Finding(
            "unsteady",
            "warn",
            tuple(loose),
            f"{name}{others} may sway {loose[name]:.2f} mm while printed (an estimate), a quarter of the gap is "
            f"{limit:.2f} mm: its column bends over {tall:.0f} mm{where}; wind the chain lower and wider with more "
            "room between its turns, write a thicker feed.ring_mm, or lay it out as a spiral",
            value=loose[name],
            limit=limit,
        )
    ]
