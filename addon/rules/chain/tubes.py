"""Gaps between links as smooth tubes: the exact smallest distance of two centrelines, less the wire.

Fast enough to steer by while a slider moves. The meshes of `sweep` lie inside these tubes, so no mesh gap is
smaller than the gap found here.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from ..solid.mesh import FloatArray, IntArray
from .link import SAMPLES, Link, even_parameters

CHUNK = 192
NEWTON_STEPS = 12
LONGEST_STEP = 2 * np.pi / SAMPLES
SETTLED = 1e-5
# Pieces of the polynomials that stand for the curves of many links: within 1e-7 mm of every family's.
PIECES = 128

# Parameters on both centrelines and which poses they belong to, (n,) each, to p, p', p'' and q, q', q'', (n, 3).
Both = Callable[[FloatArray, FloatArray, IntArray], tuple[FloatArray, ...]]


@dataclass(frozen=True, slots=True, eq=False)
class PairGaps:
    """``gap_mm`` (m,) between tube surfaces, negative where they overlap; ``towards`` (m, 3) unit vectors.

    ``towards`` points from the nearest place on the first centreline to the one on the second, in the frame of the
    first link: it is how the gap grows when the second link is moved.
    """

    gap_mm: FloatArray
    towards: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Loops:
    """The centrelines of k links as tables, to measure unlike ones together.

    ``pieces`` (k, 128, 6, 3) polynomials of the fifth degree through position and both derivatives, ``samples``
    (k, 64, 3), ``wire_mm`` (k,), ``step_mm`` (k,) the longest distance of neighbouring samples.
    """

    pieces: FloatArray
    samples: FloatArray
    wire_mm: FloatArray
    step_mm: FloatArray


def loops_of(links: Sequence[Link]) -> Loops:
    """Tabulate the centrelines of some links."""
    step, t = 2 * np.pi / PIECES, even_parameters(PIECES)
    drawn = [link.curve(t) for link in links]
    p, v, w = (np.stack([each[i] for each in drawn]) * step**i for i in range(3))
    d, v1, w1 = np.roll(p, -1, axis=1) - p, np.roll(v, -1, axis=1), np.roll(w, -1, axis=1)
    pieces = np.stack(
        (
            p,
            v,
            w / 2,
            10 * d - 6 * v - 4 * v1 - 1.5 * w + 0.5 * w1,
            -15 * d + 8 * v + 7 * v1 + 1.5 * w - w1,
            6 * d - 3 * v - 3 * v1 - 0.5 * w + 0.5 * w1,
        ),
        axis=2,
    )
    samples = np.stack([link.samples for link in links])
    return Loops(
        pieces,
        samples,
        np.array([link.wire_mm for link in links]),
        np.array([_longest_step(one) for one in samples]),
    )


def tube_gaps(a: Link, b: Link, rotation: FloatArray, shift: FloatArray) -> PairGaps:
    """Measure the gap between link ``a`` and m copies of ``b`` placed by ``rotation`` (m, 3, 3), ``shift`` (m, 3) mm.

    A look over 64 x 64 samples gives the lowest few valleys, Newton steps on the closed form their exact bottoms. Of
    links that are no round wire this is an estimate: what a round wire of their thickness would have.
    """
    slack = 0.55 * (_longest_step(a.samples) + _longest_step(b.samples))
    wire = (a.wire_mm + b.wire_mm) / 2

    def chunk(rotation: FloatArray, shift: FloatArray) -> PairGaps:
        turned = np.ascontiguousarray(rotation.transpose(0, 2, 1))
        q = (b.samples @ turned + shift[:, None]).reshape(-1, 3)
        left, right = _sides(a.samples, q)
        squared = (left @ right.T).reshape(len(left), len(shift), -1)

        def both(s: FloatArray, t: FloatArray, on: IntArray) -> tuple[FloatArray, ...]:
            return _both(a, b, s, t, turned[on])

        return _bottoms(_valleys(squared, slack), both, shift, wire)

    return _in_chunks(chunk, rotation, shift)


def unlike_tube_gaps(loops: Loops, a: IntArray, b: IntArray, rotation: FloatArray, shift: FloatArray) -> PairGaps:
    """Measure the same between links ``a`` and ``b`` (m,) of a table, each pair at its own pose."""

    def chunk(a: IntArray, b: IntArray, rotation: FloatArray, shift: FloatArray) -> PairGaps:
        turned = np.ascontiguousarray(rotation.transpose(0, 2, 1))
        left, right = _sides(loops.samples[a], loops.samples[b] @ turned + shift[:, None])
        squared = (left @ right.transpose(0, 2, 1)).transpose(1, 0, 2)
        slack = 0.55 * (loops.step_mm[a] + loops.step_mm[b])

        def both(s: FloatArray, t: FloatArray, on: IntArray) -> tuple[FloatArray, ...]:
            n = len(s)
            point, first, second = _along(loops, np.concatenate((a[on], b[on])), np.concatenate((s, t)))
            there = np.stack((point[n:], first[n:], second[n:]), axis=1) @ turned[on]
            return point[:n], first[:n], second[:n], there[:, 0], there[:, 1], there[:, 2]

        return _bottoms(_valleys(squared, slack), both, shift, (loops.wire_mm[a] + loops.wire_mm[b]) / 2)

    return _in_chunks(chunk, a, b, rotation, shift)


def _in_chunks(measured: Callable[..., PairGaps], *arrays: FloatArray | IntArray) -> PairGaps:
    parts = [
        measured(*(array[first : first + CHUNK] for array in arrays)) for first in range(0, len(arrays[-1]), CHUNK)
    ]
    if not parts:
        return PairGaps(np.zeros(0), np.zeros((0, 3)))
    return PairGaps(np.concatenate([p.gap_mm for p in parts]), np.concatenate([p.towards for p in parts]))


def _along(loops: Loops, kind: IntArray, t: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Give position and both derivatives (n, 3) of links ``kind`` (n,) at parameters t (n,)."""
    scaled = t * (PIECES / (2 * np.pi))
    whole = np.floor(scaled)
    u = (scaled - whole)[:, None]
    c0, c1, c2, c3, c4, c5 = loops.pieces[kind, whole.astype(np.int64) % PIECES].transpose(1, 0, 2)
    point = ((((c5 * u + c4) * u + c3) * u + c2) * u + c1) * u + c0
    first = (((5 * c5 * u + 4 * c4) * u + 3 * c3) * u + 2 * c2) * u + c1
    second = ((20 * c5 * u + 12 * c4) * u + 6 * c3) * u + 2 * c2
    per = PIECES / (2 * np.pi)
    return point, first * per, second * per**2


def _bottoms(
    valleys: tuple[IntArray, FloatArray, FloatArray], both: Both, shift: FloatArray, wire_mm: FloatArray | float
) -> PairGaps:
    """Go down valleys to their bottoms, and give the lowest one of every pose."""
    pair, s, t = valleys
    best = np.full(len(pair), np.inf)
    away = np.zeros((len(pair), 3))
    active = np.arange(len(pair))
    for step in range(NEWTON_STEPS + 1):
        on = pair[active]
        p, p1, p2, q, q1, q2 = both(s[active], t[active], on)
        d = q + shift[on] - p
        squared = _dot(d, d)
        lower = squared < best[active]
        best[active[lower]] = squared[lower]
        away[active[lower]] = d[lower]
        if step == NEWTON_STEPS:
            break
        ds, dt = _newton(p1, p2, q1, q2, d)
        size = np.maximum(np.abs(ds), np.abs(dt))
        rein = np.minimum(1.0, LONGEST_STEP / np.maximum(size, 1e-300))
        s[active] += ds * rein
        t[active] += dt * rein
        active = active[size > SETTLED]
        if not len(active):
            break
    order = np.lexsort((best, pair))
    lowest = order[np.searchsorted(pair[order], np.arange(len(shift)))]
    distance = np.sqrt(best[lowest])
    return PairGaps(distance - wire_mm, away[lowest] / np.maximum(distance, 1e-300)[:, None])


def _newton(
    p1: FloatArray, p2: FloatArray, q1: FloatArray, q2: FloatArray, d: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Step towards the bottom of |q(t) - p(s)|^2 / 2: Newton where it is bowl-shaped, else down the slope."""
    gs, gt = -_dot(p1, d), _dot(q1, d)
    speed_s, speed_t = _dot(p1, p1), _dot(q1, q1)
    hss, htt, hst = speed_s - _dot(p2, d), speed_t + _dot(q2, d), -_dot(p1, q1)
    det = hss * htt - hst * hst
    bowl = (det > 1e-6 * speed_s * speed_t) & (hss > 0)
    safe = np.where(bowl, det, 1.0)
    ds = np.where(bowl, (hst * gt - htt * gs) / safe, -0.5 * gs / speed_s)
    dt = np.where(bowl, (hst * gs - hss * gt) / safe, -0.5 * gt / speed_t)
    return ds, dt


def _both(a: Link, b: Link, s: FloatArray, t: FloatArray, turned: FloatArray) -> tuple[FloatArray, ...]:
    """Give p, p', p'' of the first centreline at s and the turned q, q', q'' of the second at t, each (n, 3)."""
    n = len(s)
    if a.curve is b.curve:
        both = a.curve(np.concatenate((s, t)))
        here, far = [v[:n] for v in both], [v[n:] for v in both]
    else:
        here, far = list(a.curve(s)), list(b.curve(t))
    there = np.stack(far, axis=1) @ turned
    return here[0], here[1], here[2], there[:, 0], there[:, 1], there[:, 2]


def _sides(p: FloatArray, q: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Give (..., n, 5) of two sets of points (..., n, 3), whose products are their squared distances."""
    left, right = np.ones((*p.shape[:-1], 5)), np.ones((*q.shape[:-1], 5))
    left[..., :3], left[..., 3] = -2 * p, _dot(p, p)
    right[..., :3], right[..., 4] = q, _dot(q, q)
    return left, right


def _valleys(squared: FloatArray, slack_mm: FloatArray | float) -> tuple[IntArray, FloatArray, FloatArray]:
    """Give the lowest valleys of sampled squared distances (n, m, n) as pose number and both parameters, each (k,).

    A true bottom lies within half a sample of each parameter, so a valley whose sampled distance exceeds the lowest
    one by more than a whole sample's length, ``slack_mm``, cannot hold it and is left out.
    """
    m = squared.shape[1]
    nearest = squared.argmin(axis=2)
    profile = np.sqrt(np.maximum(np.take_along_axis(squared, nearest[..., None], axis=2)[..., 0], 0.0))
    valley = (profile <= np.roll(profile, 1, axis=0)) & (profile < np.roll(profile, -1, axis=0))
    valley &= profile <= profile.min(axis=0) + slack_mm
    valley[profile.argmin(axis=0), np.arange(m)] = True  # A level valley has no lowest sample of its own.
    first, pair = np.nonzero(valley)
    s, t = even_parameters(len(squared)), even_parameters(squared.shape[2])
    return pair, s[first], t[nearest[first, pair]]


def _longest_step(samples: FloatArray) -> float:
    """Give the longest distance of neighbouring samples."""
    return float(np.sqrt(((samples - np.roll(samples, 1, axis=0)) ** 2).sum(axis=1).max()))


def _dot(u: FloatArray, v: FloatArray) -> FloatArray:
    return np.asarray(np.einsum("...i,...i->...", u, v))
