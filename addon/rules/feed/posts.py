"""Posts: what carries the upper ring and brings its metal from the base ring.

They are chosen by count first, since each is cut and ground; of as many posts, those with room for their fillets, the
least metal and the flattest ring; dips are no deeper than their spans ask for.
"""

from dataclasses import replace
from itertools import pairwise

import numpy as np

from ..base.progress import Steps
from ..solid.mesh import FloatArray, IntArray
from .lattice import LatticeSolid, Strut, place
from .post_places import LEAST_DIP, Setting, Spots, find_spots, hoop_fits, passes, post_lines, stands
from .rods import rod
from .sections import ROUND
from .skeletons import rod_gap
from .upper import BOTTOM, Carried, along

# What a span over the limit costs, in posts per mm: no post is saved by one.
OVER = 1e4
# Choices are made anew at most so often when posts come too near to each other.
ROUNDS = 12


def stand_posts(setting: Setting, feet_mm: FloatArray, heads_mm: FloatArray) -> Steps[Carried]:
    """Choose the fewest posts that keep every span under the bridge limit and every strut web its floor.

    ``feet_mm`` (g,) are where gates stand on the base ring, ``heads_mm`` (g,) where the gates of the same bodies hang
    from the upper ring: a post grows from the same node as a gate, or between two, and ends likewise. Without any post
    when none finds a way past the chain.
    """
    spots = yield from find_spots(setting, feet_mm, heads_mm)
    chosen = _clear_choice(spots, setting)
    return _levelled(chosen, setting)


def post_solid(line: FloatArray, d_mm: float) -> LatticeSolid:
    """Draw one post along its line (4, 3)."""
    struts = tuple(Strut("post", place(a), place(b), d_mm, d_mm) for a, b in pairwise(line))
    return LatticeSolid("post", rod(line, np.full(len(line), d_mm)), struts, ROUND.modulus_mm(d_mm))


def fewest(
    at: FloatArray, run: FloatArray, worth: FloatArray, *, reach_mm: float, apart_mm: float, round_mm: float | None
) -> IntArray:
    """Choose the fewest places out of ``at`` (n,), rising, so that no span is too long; give their rows, rising.

    Two neighbours are at least ``apart_mm`` apart, and at most ``reach_mm`` and both their ``run`` (n,); more only
    where no place is found, and then the least of it. Of equal choices the least sum of ``worth`` (n,), which is from 0
    to 1, and of the squares of what spans need of their runs. ``round_mm`` is the length once round a closed course;
    on an open one (None) the first place is taken, and the last.
    """
    n = len(at)
    if n < 2:
        return np.arange(n)
    turn = 0
    if round_mm is not None:
        # One of the places within the first reach is always taken: fewest of them stand after the widest gap.
        turn = int(np.diff(np.concatenate((at[-1:] - round_mm, at))).argmax())
        at = np.concatenate((at[turn:], at[:turn] + round_mm))
    run, worth = np.roll(run, -turn), np.roll(worth, -turn)
    most = reach_mm + 2 * float(run.max())
    starts = 1 if round_mm is None else int(np.searchsorted(at, at[0] + most, side="right"))
    if round_mm is not None:
        at, run, worth = (np.concatenate((x, x[:starts] + more)) for x, more in ((at, round_mm), (run, 0), (worth, 0)))
    best = np.full((len(at), starts), np.inf)
    before = np.full((len(at), starts), -1, dtype=np.int64)
    best[np.arange(starts), np.arange(starts)] = 0.0
    for k in range(1, len(at)):
        last = int(np.searchsorted(at, at[k] - apart_mm, side="right"))
        if last == 0:
            continue
        first = min(int(np.searchsorted(at, at[k] - most)), last - 1)
        span = at[k] - at[first:last] - reach_mm
        over = np.maximum(span - run[first:last] - run[k], 0.0)
        need = np.clip(span / most, 0.0, 1.0)
        cost = OVER * over + 1.0 + (worth[k] + need**2) / (2 * n)
        way = best[first:last] + cost[:, None]
        pick = way.argmin(axis=0)
        value = way[pick, np.arange(starts)]
        better = value < best[k]
        best[k, better], before[k, better] = value[better], first + pick[better]
    ends = np.array([n - 1]) if round_mm is None else n + np.arange(starts)
    total = best[ends, np.arange(starts)]
    start = int(total.argmin())
    if not np.isfinite(total[start]):
        return (np.array([turn % n]) if round_mm is not None else np.array([0])).astype(np.int64)
    row = [] if round_mm is not None else [n - 1]
    k = int(before[ends[start], start])
    while k >= 0:
        row.append(k)
        k = int(before[k, start])
    return np.sort((np.array(row, dtype=np.int64) + turn) % n)


def _clear_choice(spots: Spots, setting: Setting) -> Spots:
    """Choose posts that keep the floor from each other, and from other turns of the hoop, as far as may be."""
    left = np.arange(len(spots.heads))
    chosen = left[:0]
    for _ in range(ROUNDS):
        some = spots.take(left)
        length = np.linalg.norm(np.diff(some.lines, axis=1), axis=2).sum(axis=1)
        worth = length / length.max(initial=1.0)
        chosen = left[
            fewest(
                some.heads,
                some.deep / some.slope,
                worth if setting.fillet_mm <= 0.0 else (worth + some.tight) / 2,
                reach_mm=setting.reach_mm,
                apart_mm=setting.apart_mm,
                round_mm=setting.upper.length_mm if setting.upper.closed else None,
            )
        ]
        tight = chosen[_too_near(spots.take(chosen), setting)]
        if not len(tight):
            break
        left = np.setdiff1d(left, tight)
    return spots.take(chosen)


def _too_near(chosen: Spots, setting: Setting) -> IntArray:
    """Find the posts to give up, since one before, or another turn of the hoop, is too near; none twice round."""
    floor, r = setting.profile.strut_web_mm, setting.sizes.post_mm / 2
    whole, upper = setting.upper.length_mm, setting.upper
    even = np.linspace(0.0, whole, max(2, int(whole / 2.0)))
    hoop, middle = np.array(upper.at(even)), (even[:-1] + even[1:]) / 2
    near = 2 * upper.pitch_mm + setting.reach_mm
    given: list[int] = []
    for k, line in enumerate(chosen.lines):
        low, high = line.min(axis=0) - 2 * r - floor, line.max(axis=0) + 2 * r + floor
        kept = [j for j in range(k) if j not in given]
        boxes = chosen.lines[kept]
        meet = ((boxes.min(axis=1) <= high) & (boxes.max(axis=1) >= low)).all(axis=1)
        posts = rod_gap(line, np.full(3, r), boxes[meet], np.full((int(meet.sum()), 3), r))
        far = np.abs(along(upper, chosen.heads[k], middle)) > near
        far &= ((hoop[:-1] <= high) | (hoop[1:] <= high)).all(axis=1) & ((hoop[:-1] >= low) | (hoop[1:] >= low)).all(
            axis=1
        )
        pieces = np.stack((hoop[:-1], hoop[1:]), axis=1)[far]
        turns = rod_gap(line, np.full(3, r), pieces, np.full((len(pieces), 1), setting.sizes.upper_ring_mm / 2))
        if min(posts.min(initial=np.inf), turns.min(initial=np.inf)) < floor:
            given.append(k)
    return np.array(given, dtype=np.int64)


def _levelled(chosen: Spots, setting: Setting) -> Carried:
    """Make dips no deeper than the spans beside them ask for: each gives of its run what it has in proportion."""
    n, r, upper = len(chosen.heads), setting.sizes.upper_ring_mm / 2, setting.upper
    run = chosen.deep / chosen.slope
    after = np.roll(np.arange(n), -1)
    span = chosen.heads[after] - chosen.heads
    if upper.closed and n:
        span[-1] += upper.length_mm
    need = np.maximum(span - setting.reach_mm, 0.0)
    share = np.minimum(need / np.maximum(run + run[after], 1e-9), 1.0)
    share = np.maximum(share, np.roll(share, 1)) if n else share
    wanted = np.minimum(np.where(share > 0.0, np.maximum(share * chosen.deep, LEAST_DIP * r), 0.0), chosen.deep)
    # A higher head passes the chain higher up; where it does not fit there, the dip stays as it was found.
    some = replace(chosen, deep=wanted)
    line = post_lines(setting, some)
    fits = passes(setting, line) & hoop_fits(setting, some)
    for k in np.flatnonzero(fits & (wanted < chosen.deep)):
        fits[k] = stands(setting, line[k], float(wanted[k]))
    return Carried(
        upper,
        np.where(fits[:, None, None], line, chosen.lines),
        chosen.heads,
        np.where(fits, wanted, chosen.deep),
        chosen.slope,
        BOTTOM * r,
    )
