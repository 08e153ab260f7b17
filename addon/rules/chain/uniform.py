"""Evenly bent chains: every repeat of the pattern alike, from straight to a ring.

Whichever joint's pitch is sought, the poses of all pairs of links follow from it: a turn that stays, and a shift that
grows evenly with the pitch.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from ..solid.mesh import FloatArray, IntArray
from .link import SAMPLES, even_parameters
from .measure import Measure
from .pattern import Pattern
from .turning import bend, roll

BoolArray = npt.NDArray[np.bool_]

# The links that come before a joint and after it can meet, and on a ring of few links those one further.
FEW = 12
# Where the roll of the repeats does not come round sooner, so many of its values stand for all.
MOST_PHASES = 24
ROUND = 1e-9
# Two pairs whose gaps agree at these shares of the way, to so many places, are mirror images.
PROBES, ALIKE = np.array([0.413, 0.731]), 7


@dataclass(frozen=True, slots=True, eq=False)
class Even:
    """A pattern laid evenly, and how its gaps are measured.

    ``over_face`` tells which way a level ring bends the chain: over the face (width upright) or edgewise (laid flat).
    ``start`` the roll of the first repeat, in radians.
    """

    pattern: Pattern
    measure: Measure
    over_face: bool
    start: float

    @property
    def types(self) -> int:
        """Give the number of joint types."""
        return len(self.pattern.joints)

    @property
    def counts(self) -> FloatArray:
        """Give how many joints of each type (t,) a repeat has."""
        types = [place.joint for place in self.pattern.places if place.joint is not None]
        return np.bincount(types, minlength=self.types).astype(np.float64)

    @property
    def whole(self) -> float:
        """Give the roll that carries a repeat into itself, in radians."""
        return float(np.pi if self.pattern.symmetric else 2 * np.pi)


def even_of(pattern: Pattern, measure: Measure, face: str) -> Even:
    """Lay a pattern out with its face outward or flat."""
    start = 0.0 if face == "flat" else float(np.radians(pattern.upright_deg))
    return Even(pattern, measure, over_face=face != "flat", start=start)


@dataclass(frozen=True, slots=True, eq=False)
class Cases:
    """All pairs of links whose distance hangs on the pitch of one type of joint: c pairs on k chains.

    ``a``, ``b`` (c,) their kinds; ``turn`` (c, k, 3, 3) and ``still`` (c, k, 3) + ``move`` (c, k, 3) times the pitch
    give the pose of the second in the frame of the first; ``meets`` (c, k) tells the pairs that chain has. ``linked``
    (c,) those that pass through each other; ``bodies`` (c, 2) their numbers in the pattern, ``phase`` (c, k) the roll
    of the repeat they begin in. ``least_mm``, ``most_mm`` (k,) pitches between which linked pairs can be linked.
    ``kinds_from`` (k,) is added to the kinds on each chain: not 0 where chains of links of their own stand together.
    """

    measure: Measure
    a: IntArray
    b: IntArray
    turn: FloatArray
    still: FloatArray
    move: FloatArray
    meets: BoolArray
    linked: BoolArray
    bodies: IntArray
    phase: FloatArray
    least_mm: FloatArray
    most_mm: FloatArray
    kinds_from: IntArray

    @property
    def ratio(self) -> FloatArray:
        """Give how far each pair moves against each other for each mm of pitch, (c, k)."""
        return np.asarray(np.sqrt((self.move**2).sum(axis=2)))

    def where(self, chosen: BoolArray) -> "Cases":
        """Leave out some pairs (c, k) of some chains."""
        return replace(self, meets=self.meets & chosen)

    def of(self, rows: IntArray) -> "Cases":
        """Give the cases of some of the chains, by number."""
        return replace(
            self,
            turn=self.turn[:, rows],
            still=self.still[:, rows],
            move=self.move[:, rows],
            meets=self.meets[:, rows],
            phase=self.phase[:, rows],
            least_mm=self.least_mm[rows],
            most_mm=self.most_mm[rows],
            kinds_from=self.kinds_from[rows],
        )

    def only(self, which: IntArray) -> "Cases":
        """Give some of the cases, by number."""
        return replace(
            self,
            a=self.a[which],
            b=self.b[which],
            turn=self.turn[which],
            still=self.still[which],
            move=self.move[which],
            meets=self.meets[which],
            linked=self.linked[which],
            bodies=self.bodies[which],
            phase=self.phase[which],
        )


@dataclass(frozen=True, slots=True)
class Tightest:
    """The pair with the smallest gap ``gap_mm``: two bodies of a pattern written on, by number, and their ``phase``."""

    gap_mm: float
    first: int
    second: int
    phase: float


@dataclass(frozen=True, slots=True, eq=False)
class UniformGaps:
    """Of k chains at g pitches: the smallest ``gap_mm`` (k, g), its ``slope`` against pitch, and its ``case`` (k, g).

    ``margin_mm`` (k, g): how far the pitch may change either way before any gap can have fallen to ``floor_mm``,
    negative where one lies below it; ``margin_slope`` its change with pitch.
    """

    gap_mm: FloatArray
    slope: FloatArray
    margin_mm: FloatArray
    margin_slope: FloatArray
    case: IntArray


def cases_of(even: Even, kind: int, bends: FloatArray, pitches: FloatArray, repeats: FloatArray | None = None) -> Cases:
    """Collect the pairs whose distance hangs on joint type ``kind``, and on no later one.

    ``bends`` (k, t) radians at each type of joint, ``pitches`` (k, t) mm of the earlier types. ``repeats`` (k,) of
    closed chains, over which the turn left over is spread.
    """
    places = even.pattern.places
    phases, counts, turns = phases_of(even, bends, repeats)
    lines = [line for line in _lines(even.pattern) if line.types and max(line.types) == kind]
    k, c = len(bends), len(lines)
    turn, still, move = (
        np.empty((c, len(phases), k, 3, 3)),
        np.empty((c, len(phases), k, 3)),
        np.empty((c, len(phases), k, 3)),
    )
    meets = np.empty((c, len(phases), k), dtype=bool)
    most = np.full(k, np.inf)
    for n, line in enumerate(lines):
        before, after = places[line.first % len(places)], places[line.second % len(places)]
        angle, constant, moved = np.zeros(k), np.zeros((k, 3)), np.zeros((k, 3))
        for joint in line.types:
            ahead = bend(angle + bends[:, joint] / 2, over_face=even.over_face)[..., 0]
            if joint == kind:
                moved += ahead
            else:
                constant += ahead * pitches[:, joint, None]
            angle = angle + bends[:, joint]
        around = bend(angle, over_face=even.over_face)
        constant += around @ np.array([0.0, after.y_mm, after.z_mm]) - np.array([0.0, before.y_mm, before.z_mm])
        back = roll(-(even.start + phases + np.radians(before.roll_deg)))
        on = even.start + phases + np.radians(after.roll_deg) + turns * (line.second // len(places))
        turn[n] = back @ around @ roll(on)
        still[n] = np.einsum("pkij,kj->pki", back, constant)
        move[n] = np.einsum("pkij,kj->pki", back, moved)
        # On a ring of n stations, station n - j is station -j once more; on a gentle bend the furthest is out of reach.
        steps = len(line.types)
        stations = 2 * np.pi * steps / np.maximum(np.abs(angle), 1e-9)
        meets[n] = (stations > 2 * steps - 0.5) & ((steps < line.furthest) | (stations < FEW))
        meets[n] &= np.arange(len(phases))[:, None] < counts
        if line.linked:
            parted = _parting(even.pattern, before.kind, after.kind) - constant[:, 0]
            most = np.minimum(most, parted / line.types.count(kind))
    pairs = np.array([(places[p.first % len(places)].kind, places[p.second % len(places)].kind) for p in lines])
    pairs = pairs.reshape(-1, 2).astype(np.int64)
    most = np.where(np.isfinite(most), most, even.pattern.link.length_mm)
    first = np.arange(len(phases)) == 0
    flat = (c * len(phases), k)
    return Cases(
        even.measure,
        np.repeat(pairs[:, 0], len(phases)),
        np.repeat(pairs[:, 1], len(phases)),
        turn.reshape(*flat, 3, 3),
        still.reshape(*flat, 3),
        move.reshape(*flat, 3),
        meets.reshape(flat),
        np.concatenate([first & line.linked for line in lines]) if lines else np.zeros(0, dtype=bool),
        np.repeat(np.array([(p.first, p.second) for p in lines], dtype=np.int64).reshape(-1, 2), len(phases), axis=0),
        np.tile(phases, (c, 1)),
        0.3 * most,
        most,
        np.zeros(k, dtype=np.int64),
    )


def together(cases: Sequence[Cases], measure: Measure) -> Cases | None:
    """Join cases of patterns alike but for the sizes of their links; None where their pairs are not the same ones.

    ``measure``: of the links of all of them, in order.
    """
    first = cases[0]
    if any(len(one.a) != len(first.a) or (one.bodies != first.bodies).any() for one in cases):
        return None
    links = len(measure.links) // len(cases)
    whole = {
        key: np.concatenate([getattr(one, key) for one in cases], axis=1)
        for key in ("turn", "still", "move", "meets", "phase")
    }
    sizes = {key: np.concatenate([getattr(one, key) for one in cases]) for key in ("least_mm", "most_mm")}
    offset = np.repeat(np.arange(len(cases)) * links, [len(one.most_mm) for one in cases])
    return replace(first, measure=measure, kinds_from=offset, **whole, **sizes)


def uniform_gaps(
    cases: Cases, pitches: FloatArray, *, floor_mm: FloatArray | float = 0.0, guide: bool = False
) -> UniformGaps:
    """Measure k chains at ``pitches`` (k, g) mm, or only estimate them by the ``guide`` of their centrelines.

    A change of pitch turns nothing and moves a link by its ``move`` times that change, so no gap can change by more:
    that gives the margin. ``floor_mm`` is a number or (k, 1).
    """
    return smallest(cases, *case_gaps(cases, pitches, guide=guide), floor_mm=floor_mm)


def smallest(cases: Cases, gap: FloatArray, towards: FloatArray, *, floor_mm: FloatArray | float = 0.0) -> UniformGaps:
    """Find the smallest of all pairs' gaps (c, k, g), which grow ``towards`` (c, k, g, 3); as `uniform_gaps`."""
    slope = np.einsum("ckgi,cki->ckg", towards, cases.move)
    ratio = np.maximum(cases.ratio, 1e-12)[..., None]
    margin = (gap - np.broadcast_to(floor_mm, gap.shape[1:])) / ratio
    least, first = gap.argmin(axis=0)[None], margin.argmin(axis=0)[None]

    def at(table: FloatArray, which: IntArray) -> FloatArray:
        return np.asarray(np.take_along_axis(table, which, axis=0)[0])

    return UniformGaps(at(gap, least), at(slope, least), at(margin, first), at(slope / ratio, first), least[0])


def case_gaps(cases: Cases, pitches: FloatArray, *, guide: bool = False) -> tuple[FloatArray, FloatArray]:
    """Measure every pair at ``pitches`` (k, g): gaps (c, k, g), infinite where there is none, and towards (..., 3)."""
    k, g = pitches.shape
    gap, towards = np.full((len(cases.a), k, g), np.inf), np.zeros((len(cases.a), k, g, 3))
    line, row = np.nonzero(cases.meets)
    if len(line):
        shift = cases.still[line, row][:, None] + pitches[row][..., None] * cases.move[line, row][:, None]
        a, b = (np.repeat(each[line] + cases.kinds_from[row], g) for each in (cases.a, cases.b))
        turn = np.repeat(cases.turn[line, row], g, axis=0)
        found = cases.measure.pair_gaps(a, b, turn, shift.reshape(-1, 3), guide=guide)
        gap[line, row] = found.gap_mm.reshape(-1, g)
        towards[line, row] = found.towards.reshape(-1, g, 3)
    return gap, towards


def distinct(cases: Cases) -> Cases:
    """Leave out pairs of the same two links that are mirror images of others: a few gaps of their wires tell them.

    An own link may differ from its mirror image where its centreline does not show it: of those none is left out.
    """
    if any(link.own is not None for link in cases.measure.links) or len(cases.a) < 2:
        return cases
    some = cases.of(np.array([len(cases.most_mm) // 2]))
    gap = case_gaps(some, some.least_mm[:, None] + (some.most_mm - some.least_mm)[:, None] * PROBES, guide=True)[0]
    ends = np.sort(np.stack((cases.a, cases.b), axis=1), axis=1)
    key = np.concatenate((ends, cases.meets, np.where(np.isfinite(gap), gap, -1.0).reshape(len(ends), -1)), axis=1)
    first = np.unique(key.round(ALIKE), axis=0, return_index=True)[1]
    return cases.only(np.sort(first))


def are_linked(cases: Cases, pitches: FloatArray) -> BoolArray:
    """Tell of k free chains at ``pitches`` (k,) whether all links pass through those they should: Gauss's integral.

    On closed smooth curves that keep a wire apart the plain sum over samples converges faster than any power of their
    spacing.
    """
    t = even_parameters(SAMPLES)
    linked = np.ones(len(pitches), dtype=bool)
    for offset in np.unique(cases.kinds_from).tolist():
        rows = np.flatnonzero(cases.kinds_from == offset)
        for line in np.flatnonzero(cases.linked):
            p, p1, _ = cases.measure.links[cases.a[line] + offset].curve(t)
            q, q1, _ = cases.measure.links[cases.b[line] + offset].curve(t)
            turned = cases.turn[line, rows].transpose(0, 2, 1)
            q = q @ turned + (cases.still[line, rows] + pitches[rows, None] * cases.move[line, rows])[:, None]
            q1 = q1 @ turned
            # (p' x q') (q - p) = p' (q' x q) - (p x p') q', and |q - p|^2, as products of tables of either curve.
            triple = p1 @ _cross(q1, q).transpose(0, 2, 1) - _cross(p, p1) @ q1.transpose(0, 2, 1)
            squared = -2 * p @ q.transpose(0, 2, 1)
            squared += (p**2).sum(axis=-1)[:, None] + (q**2).sum(axis=-1)[:, None]
            total = (triple / (squared * np.sqrt(squared))).sum(axis=(1, 2)) * (t[1] ** 2 / (4 * np.pi))
            linked[rows] &= np.abs(total) > 0.5
    return linked


def tightest(
    even: Even,
    bends: FloatArray,
    pitches: FloatArray,
    links: int,
    known: Sequence[Tightest | None],
    *,
    closed: bool,
) -> tuple[int, int]:
    """Name the two links with the smallest gap in a chain of ``links``, bent by (t,) at pitches (t,).

    ``known`` the pair of each type of joint, measured where it is None. The first such pair along the chain; where the
    chain is too short for it, its first linked pair.
    """
    n = len(even.pattern.places)
    repeats = np.array([links / n]) if closed else None
    turn = phases_of(even, bends[None], repeats)[2][0]
    begun = np.arange(-(-links // n))
    least, pair = np.inf, even.pattern.linked[0]
    pair = pair[0], sum(pair)
    for kind, one in enumerate(known):
        found = one or _tightest_of(cases_of(even, kind, bends[None], pitches[None], repeats), pitches[kind])
        off = (begun * turn - found.phase) / even.whole
        ahead = n * int(np.abs(off - np.round(off)).round(9).argmin())
        first, second = found.first + ahead, found.second + ahead
        if found.gap_mm < least and (closed or second < links):
            least, pair = found.gap_mm, (first, second)
    first, second = (body % links for body in pair)
    return min(first, second), max(first, second)


def _tightest_of(cases: Cases, pitch_mm: float) -> Tightest:
    found = uniform_gaps(cases, np.array([[pitch_mm]]))
    case = int(found.case[0, 0])
    first, second = cases.bodies[case].tolist()
    return Tightest(float(found.gap_mm[0, 0]), first, second, float(cases.phase[case, 0]))


def beside(even: Even) -> float:
    """Give the smallest gap in mm of links that stand at the same station; infinite where there are none."""
    places = even.pattern.places
    least = np.inf
    for line in _lines(even.pattern):
        if line.types:
            continue
        before, after = places[line.first % len(places)], places[line.second % len(places)]
        shift = np.array([[0.0, after.y_mm - before.y_mm, after.z_mm - before.z_mm]])
        back, on = roll(np.radians([-before.roll_deg])), roll(np.radians([after.roll_deg]))
        found = even.measure.gaps(before.kind, after.kind, back @ on, np.einsum("nij,nj->ni", back, shift))
        least = min(least, float(found.gap_mm[0]))
    return least


@dataclass(frozen=True, slots=True)
class _Line:
    """Two bodies of a pattern written on, by number, and the types of the joints between their stations."""

    first: int
    second: int
    types: tuple[int, ...]
    linked: bool
    furthest: int


def _lines(pattern: Pattern) -> list[_Line]:
    """Give the pairs that can meet, each kind of pair once."""
    places = pattern.places
    n = len(places)

    def between(first: int, second: int) -> tuple[int, ...]:
        joints = (places[body % n].joint for body in range(first, second))
        return tuple(joint for joint in joints if joint is not None)

    furthest = 2 * max((len(between(at, at + on)) for at, on in pattern.linked), default=1) + 1
    found: dict[object, _Line] = {}
    for first in range(n):
        second = first + 1
        while len(types := between(first, second)) <= furthest:
            linked = (first, second - first) in pattern.linked
            line = _Line(first, second, types, linked, furthest)
            a, b = places[first], places[second % n]
            rolls = a.roll_deg, b.roll_deg + pattern.turn_deg * (second // n)
            found.setdefault((a.kind, b.kind, types, rolls, a.y_mm, a.z_mm, b.y_mm, b.z_mm, linked), line)
            second += 1
    return list(found.values())


def phases_of(even: Even, bends: FloatArray, repeats: FloatArray | None) -> tuple[FloatArray, IntArray, FloatArray]:
    """Give the rolls at which repeats begin (p, k), how many of them count (k,), and the turn of a repeat (k,)."""
    pattern, whole = even.pattern, even.whole
    turns = np.full(len(bends), np.radians(pattern.turn_deg))
    if repeats is not None:
        turns = whole * np.round(turns * repeats / whole) / repeats
    tried = np.arange(1, MOST_PHASES + 1)
    share = turns[:, None] / whole * tried
    comes_round = np.abs(share - np.round(share)) < ROUND
    counts = np.where(comes_round.any(axis=1), comes_round.argmax(axis=1) + 1, MOST_PHASES)
    # On a straight chain only the turn from one link to the next matters.
    aside = any(place.y_mm or place.z_mm for place in pattern.places)
    counts = np.where((np.abs(bends).max(axis=1) > 0) | aside, counts, 1)
    return (np.arange(counts.max())[:, None] % counts) * (whole / counts), counts, turns


def _parting(pattern: Pattern, a: int, b: int) -> float:
    """Give the distance at which the ends of two straight neighbours' centrelines cross and they come apart."""
    return float(pattern.links[a].samples[:, 0].max() - pattern.links[b].samples[:, 0].min())


def _cross(a: FloatArray, b: FloatArray) -> FloatArray:
    (x, y, z), (u, v, w) = np.moveaxis(a, -1, 0), np.moveaxis(b, -1, 0)
    return np.stack((y * w - z * v, z * u - x * w, x * v - y * u), axis=-1)
