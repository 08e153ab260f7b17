"""Lengths of whole chains: worn with every joint drawn to contact, as printed, and pushed together."""

from dataclasses import dataclass

import numpy as np

from ..solid.mesh import FloatArray
from .fit import reach, reached, widest, widest_about, widest_near
from .link import even_parameters
from .meshed import beside, look
from .pattern import Pattern
from .row import Row
from .seen import Seen
from .turning import roll
from .uniform import Even, Tightest, cases_of, distinct, phases_of
from .uniform import beside as stood_beside

LOOK = 1024
# Rings of several types of joint: rounds in which pitches and bends settle on each other.
ROUNDS = 5
# A chain with more rolls than this is slow to fit.
FEW_PHASES = 4
SETTLED_MM, NEAR_MM = 1e-4, 0.01
RADIUS_STEPS = 60


@dataclass(frozen=True, slots=True, eq=False)
class Bent:
    """k evenly bent chains: pitches (k, t) of the widest gap ``gap_mm`` (k,), and of first contact from there.

    ``kept_mm`` (2, t) the least and most pitches of the main one that keep the wanted gap. NaN where no pitch is free.
    ``seen`` by type what meshes showed of the main one, where they were looked at, and ``tightest`` its pairs.
    """

    best_mm: FloatArray
    gap_mm: FloatArray
    pulled_mm: FloatArray
    pushed_mm: FloatArray
    kept_mm: FloatArray
    tightest: tuple[Tightest | None, ...]
    seen: tuple[Seen, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Rings:
    """Closed rings of ``repeats`` (k,): bends (k, t) and pitches of the widest gap, and inside lengths (k,) in mm.

    ``worn_mm`` with every joint drawn to contact, ``printed_mm`` at the widest gap, ``pushed_mm`` pushed together; NaN
    where no pitch is free.
    """

    repeats: FloatArray
    bends: FloatArray
    at: Bent
    worn_mm: FloatArray
    printed_mm: FloatArray
    pushed_mm: FloatArray


def bent(
    even: Even,
    bends: FloatArray,
    repeats: FloatArray | None = None,
    *,
    gap_mm: float = 0.0,
    main: int = 0,
    seen: tuple[Seen, ...] = (),
    near: FloatArray | None = None,
) -> Bent:
    """Fit chains bent by ``bends`` (k, t) radians at their joints; ``repeats`` (k,) of closed ones.

    ``near`` pitches (t,) to look about first.

    Of the ``main`` one the pitches that keep a wanted gap are found, too. Of links that are no round wire only that one
    is measured, and the others follow from it; ``seen`` of chains bent nearly alike saves measuring.
    """
    k, t = bends.shape
    best, pulled, pushed = np.full((3, k, t), np.nan)
    kept = np.full((2, t), np.nan)
    gap = np.full(k, stood_beside(even))
    shown: list[Seen] = []
    pairs: list[Tightest | None] = [None] * t
    for kind in range(t):
        cases = distinct(cases_of(even, kind, bends, best, repeats))
        if even.measure.solids is None:
            best[:, kind], height = widest_about(cases, main) if near is None else widest_near(cases, float(near[kind]))
            rows = np.concatenate((np.tile(np.arange(k), 2), (main, main)))
            toward = np.concatenate((np.repeat((1.0, -1.0), k), (-1.0, 1.0)))
            floor = np.concatenate((np.zeros(2 * k), (gap_mm, gap_mm)))
            ends = reach(cases.of(rows), best[rows, kind], toward, floor)
            pulled[:, kind], pushed[:, kind], kept[:, kind] = ends[:k], ends[k : 2 * k], ends[2 * k :]
        else:
            found, showed = look(cases.of(np.array([main])), gap_mm, seen[kind] if seen else None)
            kept[:, kind] = found.low_mm, found.high_mm
            each = [found if row == main else one for row, one in enumerate(beside(cases, found, showed))]
            best[:, kind], height = (np.array([getattr(one, key) for one in each]) for key in ("best_mm", "gap_mm"))
            pulled[:, kind], pushed[:, kind] = (
                np.array([getattr(one, key) for one in each]) for key in ("pulled_mm", "pushed_mm")
            )
            shown.append(showed)
            pairs[kind] = found.tightest
        gap = np.minimum(gap, height)
    return Bent(best, gap, pulled, pushed, kept, tuple(pairs), tuple(shown))


def widest_gap(even: Even, counts: FloatArray, repeats: FloatArray | None = None) -> FloatArray:
    """Give the widest smallest gap (k,) of rings of ``counts`` (k, t) joints of each type; infinite: straight."""
    if even.types == 1 or not np.isfinite(counts).all():
        return _widest(even, 2 * np.pi / counts, repeats)[1]
    straight = _widest(even, np.zeros((1, even.types)), None)[0]
    best = _widest(even, ring_bends(counts, np.repeat(straight, len(counts), axis=0)), repeats, near=straight[0])[0]
    return _widest(even, ring_bends(counts, best), repeats, near=straight[0])[1]


def _widest(
    even: Even, bends: FloatArray, repeats: FloatArray | None, near: FloatArray | None = None
) -> tuple[FloatArray, FloatArray]:
    """Find the pitches (k, t) of the widest smallest gap, and that (k,); ``near`` pitches (t,) to look about first."""
    best, gap = np.full(bends.shape, np.nan), np.full(len(bends), stood_beside(even))
    for kind in range(even.types):
        cases = cases_of(even, kind, bends, best, repeats)
        cases = distinct(cases) if near is None else cases
        if even.measure.solids is not None:
            each = [look(cases.of(np.array([row])), 0.0)[0] for row in range(len(bends))]
            best[:, kind] = [one.best_mm for one in each]
            height = np.array([one.gap_mm for one in each])
        elif near is None:
            best[:, kind], height = widest(cases)
        else:
            best[:, kind], height = widest_near(cases, float(near[kind]))
        gap = np.minimum(gap, height)
    return best, gap


def rings(
    even: Even,
    repeats: FloatArray,
    *,
    gap_mm: float = 0.0,
    main: int = 0,
    seen: tuple[Seen, ...] = (),
    near: FloatArray | None = None,
) -> Rings:
    """Fit closed rings of ``repeats`` (k,) of the pattern; ``gap_mm``, ``main``, ``seen`` and ``near`` as in `bent`.

    With more than one type of joint the bends of the ``main`` ring settle on its pitches; the others take theirs from
    them.
    """
    repeats = np.asarray(repeats, dtype=np.float64)
    counts = repeats[:, None] * even.counts
    bends = 2 * np.pi / counts
    if even.types > 1:
        if near is None:
            near = _widest(even, np.zeros((1, even.types)), None)[0][0]
            bends = ring_bends(counts, np.tile(near, (len(repeats), 1)))
            near = _widest(even, bends[main : main + 1], repeats[main : main + 1], near=near)[0][0]
        bends = ring_bends(counts, np.tile(near, (len(repeats), 1)))
    at = _sparsely_bent(even, bends, repeats, gap_mm, main, seen, near)
    for _ in range(ROUNDS if even.types > 1 else 0):
        if near is None or not (np.abs(at.best_mm[main] - near) > SETTLED_MM).any():
            break
        near = at.best_mm[main]
        bends = ring_bends(counts, np.tile(near, (len(repeats), 1)))
        at = _sparsely_bent(even, bends, repeats, gap_mm, main, at.seen, near)
    if even.types > 1 and even.measure.solids is None:
        pulled, pushed = _at_contact(
            even, counts[main], repeats[main], at.best_mm[main], at.pulled_mm[main], at.pushed_mm[main]
        )
        at.pulled_mm[main], at.pushed_mm[main] = pulled, pushed
    worn, printed, pushed = (inner_length(even, repeats, p) for p in (at.pulled_mm, at.best_mm, at.pushed_mm))
    return Rings(repeats, bends, at, worn, printed, pushed)


def _sparsely_bent(
    even: Even,
    bends: FloatArray,
    repeats: FloatArray,
    gap_mm: float,
    main: int,
    seen: tuple[Seen, ...],
    near: FloatArray | None,
) -> Bent:
    """Fit rings as `bent` does; where that is slow only the outer ones and the main one, the rest between."""
    last = len(repeats) - 1
    some = np.unique((0, main, last))
    slow = even.types > 1 or even.measure.solids is not None or len(phases_of(even, bends, repeats)[0]) > FEW_PHASES
    if not slow or last < len(some):
        return bent(even, bends, repeats, gap_mm=gap_mm, main=main, seen=seen, near=near)
    place = int(np.flatnonzero(some == main)[0])
    at = bent(even, bends[some], repeats[some], gap_mm=gap_mm, main=place, seen=seen, near=near)
    x = 1 / repeats
    weight = np.ones((len(repeats), len(some)))
    for i, one in enumerate(some):
        for other in np.delete(some, i):
            weight[:, i] *= (x - x[other]) / (x[one] - x[other])
    best, pulled, pushed = (weight @ table for table in (at.best_mm, at.pulled_mm, at.pushed_mm))
    whole = Bent(best, weight @ at.gap_mm, pulled, pushed, at.kept_mm, at.tightest, at.seen)
    known = np.isfinite(at.pulled_mm).all() and np.isfinite(at.pushed_mm).all() and (at.gap_mm > 0).all()
    return whole if known else bent(even, bends, repeats, gap_mm=gap_mm, main=main, seen=at.seen, near=near)


def _at_contact(
    even: Even, counts: FloatArray, repeats: float, best: FloatArray, pulled: FloatArray, pushed: FloatArray
) -> FloatArray:
    """Give the pitches (2, t) of either contact on the rings they make themselves, not on that of the widest gap."""
    pitch, free = np.stack((pulled, pushed)), np.stack((best, best))
    toward, touch = np.array([1.0, -1.0]), np.zeros(2)
    for _ in range(ROUNDS):
        if not np.isfinite(pitch).all():
            break
        bends = ring_bends(np.stack((counts, counts)), pitch)
        before, pitch = pitch, pitch.copy()
        for kind in range(even.types):
            cases = cases_of(even, kind, bends, free, np.full(2, repeats))
            # From a little before the last contact, or from the widest gap where metal already meets there.
            near = reached(cases, before[:, kind] - NEAR_MM * toward, toward, touch)
            pitch[:, kind] = near if np.isfinite(near).all() else reach(cases, free[:, kind], toward, touch)
        if not (np.abs(pitch - before) > SETTLED_MM).any():
            break
    return pitch


def ring_radius_of(counts: FloatArray, pitches: FloatArray) -> FloatArray:
    """Give the radius (k,) through the stations of rings of ``counts`` (k, t) chords of ``pitches`` (k, t).

    Newton steps on the sum of the chords' angles, convex in the radius, from the inside; one type in closed form.
    """
    if pitches.shape[1] == 1:
        return np.asarray(pitches[:, 0] / (2 * np.sin(np.pi / counts[:, 0])))
    half = pitches / 2
    radius = np.maximum((counts * pitches).sum(axis=1) / (2 * np.pi), 1.0005 * half.max(axis=1))
    for _ in range(RADIUS_STEPS):
        share = half / radius[:, None]
        over = (counts * np.arcsin(np.minimum(share, 1.0))).sum(axis=1) - np.pi
        fall = (counts * share / np.sqrt(np.maximum(1 - share**2, 1e-12))).sum(axis=1) / radius
        step = over / fall
        radius = np.maximum(radius + step, 1.0005 * half.max(axis=1))
        if not (np.abs(step) > 1e-13 * radius).any():
            break
    return np.asarray(radius)


def ring_bends(counts: FloatArray, pitches: FloatArray) -> FloatArray:
    """Give the bends (k, t) of joints of ``pitches`` (k, t) that close once round, in radians."""
    if pitches.shape[1] == 1:
        return np.asarray(2 * np.pi / counts)
    half = pitches / (2 * ring_radius_of(counts, pitches)[:, None])
    return np.asarray(2 * np.arcsin(np.minimum(half, 1.0)))


def inner_length(even: Even, repeats: FloatArray, pitches: FloatArray) -> FloatArray:
    """Give the inside length (k,) of closed rings at ``pitches`` (k, t): 2 pi times the metal's least radius."""
    counts = np.asarray(repeats)[:, None] * even.counts
    phases = phases_of(even, 2 * np.pi / counts, repeats)[0]
    return np.asarray(2 * np.pi * innermost(even, ring_radius_of(counts, pitches), phases))


def innermost(even: Even, radius: FloatArray, phases: FloatArray) -> FloatArray:
    """Give the least distance (k,) of the metal from the axis of rings of ``radius`` (k,), rolled by ``phases`` (p, k).

    Of round wire by its centreline, of other links by the edges of their meshes.
    """
    least = np.full(len(radius), np.inf)
    for place in dict.fromkeys(even.pattern.places):
        link = even.pattern.links[place.kind]
        solids = even.measure.solids
        rolls, back = np.unique(even.start + phases + np.radians(place.roll_deg), return_inverse=True)
        turns = roll(rolls)[:, 2 if even.over_face else 1]
        sign, aside = (1.0, place.z_mm) if even.over_face else (-1.0, -place.y_mm)
        each = np.empty((len(rolls), len(radius)))
        if solids is None or link.plain:
            line = link.curve(even_parameters(LOOK))[0]
            for row, turn in zip(each, turns, strict=True):
                outward = radius[:, None] + sign * (line @ turn) + aside
                row[:] = _bottom(np.hypot(outward, line[:, 0])) - link.wire_mm / 2
        else:
            corners = np.moveaxis(solids[place.kind].corners, 1, -1)
            for row, turn in zip(each, turns, strict=True):
                row[:] = _least_of_edges(corners[..., 0], sign * (corners @ turn) + aside, radius)
        back = back.reshape(phases.shape)
        own = each[back, np.arange(len(radius))[None] if phases.shape[1] > 1 else slice(None)]
        least = np.minimum(least, own.min(axis=0).reshape(-1))
    return least


def depth(even: Even) -> float:
    """Give how far in mm the metal of a straight chain reaches inward from the chain's axis."""
    far = np.array([1e6])
    bends = np.full((1, even.types), 1e-6)
    return float(far[0] - innermost(even, far, phases_of(even, bends, None)[0])[0])


def hanging(pattern: Pattern, row: Row, pitches: FloatArray) -> float:
    """Give the length in mm between the outer ends of a straight row at ``pitches`` (t,) of its types of joint."""
    joint = row.joint if not row.closed else row.joint[:-1]
    at = np.concatenate(([0.0], np.cumsum(np.asarray(pitches)[joint])))[row.station]
    back, ahead = overhangs(pattern)
    return float((at + ahead[row.kind]).max() - (at - back[row.kind]).min())


def overhangs(pattern: Pattern) -> tuple[FloatArray, FloatArray]:
    """Give how far in mm each kind of link (n,) reaches behind its station and ahead of it."""
    own = [link.own.points[:, 0] if link.own is not None else None for link in pattern.links]
    half = [link.length_mm / 2 for link in pattern.links]
    back = [h if x is None else -float(x.min()) for x, h in zip(own, half, strict=True)]
    ahead = [h if x is None else float(x.max()) for x, h in zip(own, half, strict=True)]
    return np.array(back), np.array(ahead)


def _least_of_edges(x: FloatArray, out: FloatArray, radius: FloatArray) -> FloatArray:
    """Give the least distance (k,) from the axis of triangles' edges: ``x``, ``out`` (3, n) beyond ``radius`` (k,)."""
    least = np.full(len(radius), np.inf)
    for first, second in ((0, 1), (1, 2), (2, 0)):
        along_x, along_out = x[second] - x[first], out[second] - out[first]
        squared = np.maximum(along_x**2 + along_out**2, 1e-300)
        for i, r in enumerate(radius):
            start = out[first] + r
            t = np.clip(-(x[first] * along_x + start * along_out) / squared, 0.0, 1.0)
            away = (x[first] + t * along_x) ** 2 + (start + t * along_out) ** 2
            least[i] = min(least[i], float(np.sqrt(away.min()))) if np.isfinite(r) else np.nan
    return least


def _bottom(values: FloatArray) -> FloatArray:
    """Give the lowest value of each closed row (k, n), through a parabola over the lowest sample and its neighbours."""
    low = values.argmin(axis=1)
    rows, n = np.arange(len(values)), values.shape[1]
    before, here, after = values[rows, low - 1], values[rows, low], values[rows, (low + 1) % n]
    bowl = before - 2 * here + after
    safe = np.where(bowl > 1e-15, bowl, 1.0)
    return np.asarray(here - np.where(bowl > 1e-15, (after - before) ** 2 / (8 * safe), 0.0))
