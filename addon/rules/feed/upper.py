"""The upper ring: a hoop above the chain, and the posts that carry it and bring its metal from the base ring.

A post leans out from the base ring, stands upright beside the chain, and leans back in to the upper ring; every lean is
steeper than the overhang limit. Between neighbouring posts the hoop's underside spans less than the bridge limit.
"""

from itertools import pairwise

import numpy as np

from ..base.profile import Profile
from ..base.progress import Steps
from ..solid.mesh import FloatArray, IntArray
from .course import Course
from .lattice import LatticeSolid, Strut, place
from .plane import turns_left
from .rods import hoop, rod
from .sections import ROUND
from .sizes import Sizes
from .skeletons import Rods, Skeletons, clearances
from .standing import Standing

LEANS_DEG = (45.0, 0.0)
SPARE_DEG = 5.0
# Posts are tried at the feet of gates and between them, at these shares of the way from one to the next.
BETWEEN = (0.0, 0.42, 0.5, 0.58)
# A post whose foot lies this near to a gate's grows from the same node.
NODE_MM = 0.1
# Where a leaning post meets the hoop, its metal holds up this share of its diameter of the hoop's lowest line.
HELD = 0.6
WIDER_MM = (0.0, 1.5, 3.0)


def upper_hoop(course: Course, sizes: Sizes) -> LatticeSolid:
    """Draw the upper ring along its course."""
    line, _ = course.sampled(over_mm=0.0)
    ends = np.roll(line, -1, axis=0) if course.closed else line[1:]
    d = sizes.upper_ring_mm
    struts = tuple(Strut("upper", place(a), place(b), d, d) for a, b in zip(line, ends, strict=False))
    return LatticeSolid("upper", hoop(line, d, closed=course.closed), struts, ROUND.modulus_mm(d), above=True)


def post_solid(line: FloatArray, d_mm: float) -> LatticeSolid:
    """Draw one post along its line (4, 3)."""
    struts = tuple(Strut("post", place(a), place(b), d_mm, d_mm) for a, b in pairwise(line))
    return LatticeSolid("post", rod(line, np.full(len(line), d_mm)), struts, ROUND.modulus_mm(d_mm))


def stand_posts(
    base: Course,
    base_z_mm: float,
    upper: Course,
    feet_mm: FloatArray,
    heads_mm: FloatArray,
    sizes: Sizes,
    profile: Profile,
    lines: Skeletons,
    standing: Standing,
) -> Steps[FloatArray]:
    """Choose the fewest posts that keep every span under the bridge limit and every strut web its floor.

    ``feet_mm`` (g,) are where gates stand on the base ring, ``heads_mm`` (g,) where the gates of the same bodies hang
    from the upper ring: a post grows from the same node as a gate, or between two, and ends likewise.
    Gives the lines of the posts, (k, 4, 3), foot first; none when no post fits at all.
    """
    walked, heads = _places(base, upper, feet_mm, heads_mm)
    found: dict[int, FloatArray] = {}
    tries = [(wider, lean, side) for wider in WIDER_MM for side in (1.0, -1.0) for lean in LEANS_DEG]
    for number, (wider, lean, side) in enumerate(tries):
        missing = np.array([k for k in range(len(walked)) if k not in found], dtype=np.int64)
        spanned = _widest(walked, sorted(found), base) <= _reach(sizes, profile)
        if not len(missing) or (number > 0 and spanned):
            break
        yield number / len(tries)
        tried = _lines(
            base, base_z_mm, upper, walked[missing], heads[missing], (side, lean, wider), sizes, profile, lines
        )
        good = np.isfinite(tried).all(axis=(1, 2))
        rods = Rods(tried[good], np.full((int(good.sum()), 3), sizes.post_mm / 2))
        gap, _ = clearances(rods, np.full(len(rods), -1), lines, reach_mm=profile.strut_web_aim_mm + 0.5)
        for k, line, radii, free in zip(missing[good], rods.points, rods.radii, gap, strict=True):
            web = standing.gap(line, radii, profile.strut_web_mm + 1e-9, node_mm=NODE_MM)
            if min(free, web) >= profile.strut_web_mm:
                found[int(k)] = line
    rows = sorted(found)
    if not rows:
        return np.zeros((0, 4, 3))
    chosen = _fewest(walked[rows], base, _reach(sizes, profile), sizes.post_mm + profile.strut_web_aim_mm)
    return np.array([found[rows[k]] for k in chosen])


def _places(base: Course, upper: Course, feet_mm: FloatArray, heads_mm: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Give the places (n,) along both rings where a post may begin and end."""
    order = np.argsort(feet_mm, kind="stable")
    feet, heads = feet_mm[order], heads_mm[order]
    if base.closed:
        feet = np.append(feet, feet[0] + base.length_mm)
        heads = np.unwrap(np.append(heads, heads[0]), period=upper.length_mm)
        if heads[-1] - heads[0] < 0.5 * upper.length_mm:
            heads[-1] += upper.length_mm
    share = np.array(BETWEEN)
    walked = (feet[:-1, None] + share * np.diff(feet)[:, None]).ravel()
    above = (heads[:-1, None] + share * np.diff(heads)[:, None]).ravel()
    if not base.closed:
        walked, above = np.append(walked, feet[-1]), np.append(above, heads[-1])
    kept = np.concatenate(([True], np.diff(walked) > 1e-6))
    return walked[kept], above[kept]


def _reach(sizes: Sizes, profile: Profile) -> float:
    return profile.bridge_mm + HELD * sizes.post_mm


def _lines(
    base: Course,
    base_z_mm: float,
    upper: Course,
    walked: FloatArray,
    heads: FloatArray,
    way: tuple[float, float, float],
    sizes: Sizes,
    profile: Profile,
    lines: Skeletons,
) -> FloatArray:
    """Draw posts at lengths walked (k,): (k, 4, 3), NaN where the two leans do not fit under the upper ring.

    ``way``: to which side, how steep a lean in degrees (no flatter than prints), and how much further out than needed.
    """
    side, lean_deg, wider_mm = way
    foot = base.at(walked) + np.array([0.0, 0.0, base_z_mm])
    ahead = base.ahead(walked)
    out = side * _outward(base) * np.stack((ahead[:, 1], -ahead[:, 0], np.zeros(len(ahead))), axis=1)
    away = _flank(base, walked, out, lines) + profile.strut_web_aim_mm + sizes.post_mm / 2 + 0.05 + wider_mm
    above = upper.at(heads)
    away = np.maximum(away, 0.5)[:, None]
    slope = np.tan(np.radians(max(lean_deg, min(85.0, profile.overhang_deg + SPARE_DEG))))
    up = np.array([0.0, 0.0, 1.0])
    low = foot + away * out + away * slope * up
    back = above + away * out
    high = back - away * slope * up
    line = np.stack((foot, low, high, above), axis=1)
    fits = high[:, 2] - low[:, 2] > 0.5
    return np.where(fits[:, None, None], line, np.nan)


def _outward(course: Course) -> float:
    """Tell which side of a course looks out of it: 1 if the right-hand side does, else -1."""
    if not course.closed:
        return 1.0
    return 1.0 if turns_left(course.at(np.linspace(0.0, course.length_mm, 200, endpoint=False))) else -1.0


def _flank(course: Course, walked: FloatArray, out: FloatArray, lines: Skeletons) -> FloatArray:
    """Measure how far the metal of the nearest three links stands out of the course to the side ``out``, (k,) mm."""
    n = len(course.at_mm)
    centre, ahead = course.at(course.at_mm), course.ahead(course.at_mm)
    bend = course.bends(course.at_mm)
    nearest = np.abs(walked[:, None] - course.at_mm[None])
    if course.closed:
        nearest = np.minimum(np.mod(nearest, course.length_mm), course.length_mm - np.mod(nearest, course.length_mm))
    link = nearest.argmin(axis=1)
    # One figure per link and side, taken over the link itself; a link's ends lean out of a bent course.
    side = out[:, 0] * ahead[link, 1] - out[:, 1] * ahead[link, 0]
    sign = np.sign(side.sum()) or 1.0
    reach = np.empty(n)
    for k in range(n):
        offset = lines.line(k)[:, :2] - centre[k, :2]
        right = np.array([ahead[k, 1], -ahead[k, 0]]) * sign
        along = offset @ ahead[k, :2]
        reach[k] = (np.abs(bend[k]) * along**2 / 2 + offset @ right).max() + lines.radius_mm[k]
    if course.closed:
        wide = np.maximum(reach, np.maximum(np.roll(reach, 1), np.roll(reach, -1)))
    else:
        padded = np.concatenate((reach[:1], reach, reach[-1:]))
        wide = np.maximum(reach, np.maximum(padded[:-2], padded[2:]))
    return np.asarray(wide[link])


def _widest(walked: FloatArray, chosen: list[int], course: Course) -> float:
    if not chosen:
        return float("inf")
    at = walked[chosen]
    if course.closed:
        return float(np.diff(np.append(at, at[0] + course.length_mm)).max())
    return float(max(np.diff(at).max() if len(at) > 1 else 0.0, at[0], course.length_mm - at[-1]))


def _fewest(at: FloatArray, course: Course, reach_mm: float, apart_mm: float) -> IntArray:
    """Choose few places out of ``at`` (n,), rising: neighbours at most ``reach_mm`` apart where that can be.

    Always the furthest place within reach, and none nearer than ``apart_mm``. On a closed course every start within
    the first reach is tried; least over the reach wins, then the fewest places, then the smallest widest step.
    """
    if not course.closed:
        return np.array(_walk(at, float(at[-1]), reach_mm, apart_mm), dtype=np.int64)
    best: tuple[float, int, float, list[int]] | None = None
    for start in range(int(np.searchsorted(at, at[0] + reach_mm, side="right"))):
        turned = np.concatenate((at[start:], at[:start] + course.length_mm))
        again = float(turned[0]) + course.length_mm
        row = _walk(turned[turned <= again - apart_mm], again, reach_mm, apart_mm)
        widest = float(np.diff(np.append(turned[row], again)).max())
        score = (max(0.0, widest - reach_mm), len(row), widest, sorted((start + k) % len(at) for k in row))
        if best is None or score[:3] < best[:3]:
            best = score
    return np.array(best[3] if best is not None else [], dtype=np.int64)


def _walk(at: FloatArray, stop: float, reach_mm: float, apart_mm: float) -> list[int]:
    """Walk from the first of ``at`` to within reach of ``stop``; with nothing within reach, to the next there is."""
    row = [0]
    while at[row[-1]] + reach_mm < stop:
        later = np.flatnonzero((at > at[row[-1]] + apart_mm) & (at <= at[row[-1]] + reach_mm))
        if not len(later):
            later = np.flatnonzero(at > at[row[-1]] + apart_mm)[:1]
        if not len(later):
            break
        row.append(int(later[-1]))
    last = len(at) - 1
    if at[last] == stop and row[-1] != last:
        if stop - at[row[-1]] <= apart_mm and len(row) > 1:
            # The end's own post wants room: the one before steps back, or gives way.
            room = np.flatnonzero((at > at[row[-2]] + apart_mm) & (at < stop - apart_mm))
            row[-1:] = room[-1:].tolist()
        row.append(last)
    return row
