"""Gaps between links as smooth tubes: the exact smallest distance of two centrelines, less the wire.

Fast enough to steer by while a slider moves. The meshes of `sweep` lie inside these tubes, so no mesh gap is
smaller than the gap found here.
"""

from dataclasses import dataclass

import numpy as np

from ..solid.mesh import FloatArray, IntArray
from .link import SAMPLES, Link, even_parameters

CHUNK = 192
NEWTON_STEPS = 12
LONGEST_STEP = 2 * np.pi / SAMPLES
SETTLED = 1e-6


@dataclass(frozen=True, slots=True, eq=False)
class PairGaps:
    """``gap_mm`` (m,) between tube surfaces, negative where they overlap; ``towards`` (m, 3) unit vectors.

    ``towards`` points from the nearest place on the first centreline to the one on the second, in the frame of the
    first link: it is how the gap grows when the second link is moved.
    """

    gap_mm: FloatArray
    towards: FloatArray


def tube_gaps(a: Link, b: Link, rotation: FloatArray, shift: FloatArray) -> PairGaps:
    """Measure the gap between link ``a`` and m copies of ``b`` placed by ``rotation`` (m, 3, 3), ``shift`` (m, 3) mm.

    A look over 64 x 64 samples gives the lowest few valleys, Newton steps on the closed form their exact bottoms. Of
    links that are no round wire this is an estimate: what a round wire of their thickness would have.
    """
    parts = [
        _chunk(a, b, rotation[first : first + CHUNK], shift[first : first + CHUNK])
        for first in range(0, len(shift), CHUNK)
    ]
    if not parts:
        return PairGaps(np.zeros(0), np.zeros((0, 3)))
    return PairGaps(np.concatenate([p.gap_mm for p in parts]), np.concatenate([p.towards for p in parts]))


def _chunk(a: Link, b: Link, rotation: FloatArray, shift: FloatArray) -> PairGaps:
    pair, s, t = _valleys(a, b, rotation, shift)
    turned = np.ascontiguousarray(rotation.transpose(0, 2, 1))
    best = np.full(len(pair), np.inf)
    away = np.zeros((len(pair), 3))
    active = np.arange(len(pair))
    for step in range(NEWTON_STEPS + 1):
        on = pair[active]
        p, p1, p2, q, q1, q2 = _both(a, b, s[active], t[active], turned[on])
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
    return PairGaps(distance - (a.wire_mm + b.wire_mm) / 2, away[lowest] / np.maximum(distance, 1e-300)[:, None])


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


def _valleys(a: Link, b: Link, rotation: FloatArray, shift: FloatArray) -> tuple[IntArray, FloatArray, FloatArray]:
    """Give the lowest valleys of the sampled distance as pair number and the two parameters, each (k,).

    A true bottom lies within half a sample of each parameter, so a valley whose sampled distance exceeds the lowest
    one by more than a whole sample's length cannot hold it and is left out.
    """
    c, d, m = a.samples, b.samples, len(shift)
    q = (d @ rotation.transpose(0, 2, 1) + shift[:, None]).reshape(-1, 3)
    left, right = np.ones((len(c), 5)), np.ones((len(q), 5))
    left[:, :3], left[:, 3] = -2 * c, _dot(c, c)
    right[:, :3], right[:, 4] = q, _dot(q, q)
    squared = (left @ right.T).reshape(len(c), m, len(d))
    nearest = squared.argmin(axis=2)
    profile = np.sqrt(np.maximum(np.take_along_axis(squared, nearest[..., None], axis=2)[..., 0], 0.0))
    valley = (profile <= np.roll(profile, 1, axis=0)) & (profile < np.roll(profile, -1, axis=0))
    valley &= profile <= profile.min(axis=0) + 0.55 * (_longest_step(c) + _longest_step(d))
    valley[profile.argmin(axis=0), np.arange(m)] = True  # A level valley has no lowest sample of its own.
    first, pair = np.nonzero(valley)
    s, t = even_parameters(len(c)), even_parameters(len(d))
    return pair, s[first], t[nearest[first, pair]]


def _longest_step(samples: FloatArray) -> float:
    """Give the longest distance of neighbouring samples."""
    return float(np.sqrt(((samples - np.roll(samples, 1, axis=0)) ** 2).sum(axis=1).max()))


def _dot(u: FloatArray, v: FloatArray) -> FloatArray:
    return np.asarray(np.einsum("...i,...i->...", u, v))
