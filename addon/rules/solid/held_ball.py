"""Balls blown up inside the metal from places of its surface, until the metal holds them.

A ball begins without size at a place, touching the surface there, and grows. Its middle always moves the way that
lets it grow fastest: square away from one side, then along the middle between two, then along the line that keeps
three at a distance. It is held where it would have to travel farther than 1 / `RATE` for every mm that it grows: there
it sits between sides that face each other. (The way is the flow of the distance to the surface, and ``rate`` the length
of its generalised gradient, the shortest vector in the hull of the directions from the places touched to the middle:
F. Chazal, D. Cohen-Steiner, A. Lieutier, A Sampling Theory for Compact Sets in Euclidean Space, Discrete and
Computational Geometry 41, 2009, 461-479, section 3; from memory.)

A ball moves in straight lines from one touch to the next. Every touch is found exactly: a ball that would reach through
the surface is taken back until it only touches the place where it reached through most.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import numpy.typing as npt

from ..base.progress import Steps, part
from .mesh import FloatArray, IntArray
from .surface import Surface, nearest_on

BoolArray = npt.NDArray[np.bool_]

# Growth per way travelled below which a ball is held: two flat sides hold it that lean less than 23 degrees to each
# other. Our judgement: a draft or a taper is measured at its thin end, the edges of a D are not its thickness.
RATE = 0.2
# A ball whose middle is so many radii from where it began no longer reaches that place: the metal there runs out in an
# edge under 51 degrees or in a tip, and the ball stops. The corner of a cube asks for 1.73, the edge of a bar with
# three equal sides for 2, the corner at its end for 2.24. Our judgement.
LEFT_BEHIND = 2.3
# A ball may reach through the surface by such a share of its radius, and of the size of the mesh: by no more than
# rounding, or by so much that it need not stop at every facet of a smooth side.
EXACT, ROUGH = 1e-9, 1e-4
_ROUNDING = 1e-14
_NO_ROOM = 1e-9
# A place is still touched while the surface is no farther off than this share of the radius.
_TOUCHES = 1e-4
_TOGETHER = 4096
_MOVES, _TOUCH_STEPS = 60, 40
_MOST = 4


@dataclass(frozen=True, slots=True, eq=False)
class HeldBalls:
    """What became of n balls.

    ``radius`` (n,) mm, infinite where it reached the size asked for; ``rate`` (n,) of growth where it is held;
    ``points`` (n, 2, 3): the two places it touches that face each other most.
    """

    radius: FloatArray
    rate: FloatArray
    points: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class _Balls:
    """Balls on their way: ``middle`` (k, 3), ``radius`` (k,), ``begun`` (k, 3).

    What they touch, up to four places each: ``touch`` (k, 4, 3), ``away`` (k, 4, 3) the unit direction from there to
    the middle, ``real`` (k, 4) whether there is one.
    """

    middle: FloatArray
    radius: FloatArray
    begun: FloatArray
    touch: FloatArray
    away: FloatArray
    real: BoolArray

    def some(self, which: IntArray | BoolArray) -> "_Balls":
        return _Balls(
            self.middle[which],
            self.radius[which],
            self.begun[which],
            self.touch[which],
            self.away[which],
            self.real[which],
        )


def held_balls(
    surface: Surface, begin: FloatArray, inward: FloatArray, largest_mm: float, *, through: float = EXACT
) -> Steps[HeldBalls]:
    """Blow up a ball at every place ``begin`` (n, 3) of a closed surface, square to it along ``inward`` (n, 3), unit.

    None grows larger than the radius ``largest_mm``. ``through``: how far they may reach through, as a share.
    """
    parts = []
    for start in range(0, len(begin), _TOGETHER):
        here = slice(start, start + _TOGETHER)
        growing = _grown(surface, begin[here], inward[here], largest_mm, through)
        parts.append((yield from part(growing, start / len(begin), min(1.0, (start + _TOGETHER) / len(begin)))))
    if not parts:
        return HeldBalls(np.zeros(0), np.zeros(0), np.zeros((0, 2, 3)))
    return HeldBalls(
        np.concatenate([p.radius for p in parts]),
        np.concatenate([p.rate for p in parts]),
        np.concatenate([p.points for p in parts]),
    )


def _grown(
    surface: Surface, begin: FloatArray, inward: FloatArray, largest_mm: float, through: float
) -> Steps[HeldBalls]:
    n = len(begin)
    radius, rate_held, points = np.full(n, np.inf), np.zeros(n), np.repeat(begin[:, None], 2, axis=1)
    balls = _Balls(
        begin,
        np.zeros(n),
        begin,
        np.zeros((n, _MOST, 3)),
        np.zeros((n, _MOST, 3)),
        np.zeros((n, _MOST), dtype=np.bool_),
    )
    balls.touch[:, 0], balls.away[:, 0], balls.real[:, 0] = begin, inward, True
    on_way = np.arange(n)
    for move in range(_MOVES):
        growth, held_by = shortest_in_hull(balls.away, balls.real)
        rate = np.sqrt((growth * growth).sum(axis=1))
        held = rate <= RATE
        stopped = on_way[held]
        radius[stopped], rate_held[stopped] = balls.radius[held], rate[held]
        points[stopped] = _facing(balls.some(held))
        going = ~held
        on_way, balls, growth, rate, held_by = (
            on_way[going], balls.some(going), growth[going], rate[going], held_by[going],
        )  # fmt: skip
        if len(on_way) == 0:
            break
        way = growth / rate[:, None]
        to_largest = (largest_mm - balls.radius) / rate
        # The first balls of a place hold each other; later ones must not jump over what stands beside their way.
        farthest = to_largest if move == 0 else np.minimum(to_largest, balls.radius)
        share = min(0.9, move / 12)
        moving = _moved(surface, balls, way, rate, farthest, through)
        moved, touched, at, away = yield from part(moving, share, share)

        # Left behind on the way: the ball is as large as it was when it still reached the place where it began.
        left = _left_after(balls, way, rate)
        behind = (left < moved) & (balls.radius + left * rate > _NO_ROOM * surface.unit_mm)
        stopped = on_way[behind]
        radius[stopped] = (balls.radius + left * rate)[behind]
        rate_held[stopped], points[stopped] = rate[behind], _facing(balls.some(behind))

        going = (touched | (moved < to_largest)) & ~behind
        # A direction out of which the surface leaves no room for a ball: the place is no side of the metal.
        going &= moved * rate + balls.radius > _NO_ROOM * surface.unit_mm
        on_way, way, rate, held_by = on_way[going], way[going], rate[going], held_by[going]
        moved, touched, at, away = moved[going], touched[going], at[going], away[going]
        if len(on_way) == 0:
            break
        balls = balls.some(going)
        middle = balls.middle + moved[:, None] * way
        balls = _Balls(middle, balls.radius + moved * rate, balls.begun, balls.touch, balls.away, balls.real & held_by)
        touching = _touching(surface, balls, touched, at, away, first=move == 0)
        balls = yield from part(touching, share, share)
        yield share
    return HeldBalls(radius, rate_held, points)


def _moved(
    surface: Surface, balls: _Balls, way: FloatArray, rate: FloatArray, farthest: FloatArray, through: float
) -> Steps[tuple[FloatArray, BoolArray, FloatArray, FloatArray]]:
    """Find how far every ball moves until it touches the surface anew.

    Gives the way (k,), whether it touches, where (k, 3) and the direction (k, 3) from there to the middle.
    """
    moved, touched = farthest.copy(), np.zeros(len(way), dtype=np.bool_)
    at, away = np.zeros_like(way), np.zeros_like(way)
    corners, size = surface.corners, surface.unit_mm
    rank = np.empty(len(surface.numbers), dtype=np.int64)
    rank[surface.numbers] = np.arange(len(rank))
    open_ = np.arange(len(way))
    for _ in range(_TOUCH_STEPS):
        here = balls.middle[open_] + moved[open_, None] * way[open_]
        large = balls.radius[open_] + moved[open_] * rate[open_]
        met = yield from nearest_on(surface, here, np.maximum(large * (1.0 - through) - _ROUNDING * size, 0.0))
        yield 0.0
        hit = met.triangle >= 0
        open_ = open_[hit]
        if len(open_) == 0:
            break
        foot, triangle = met.foot[hit], rank[met.triangle[hit]]
        c, r, v, g = balls.middle[open_], balls.radius[open_], way[open_], rate[open_]

        # As far as the ball touches the place itself.
        w = foot - c
        b, rest = (v * w).sum(axis=1) + r * g, np.maximum((w * w).sum(axis=1) - r * r, 0.0)
        root = np.sqrt(np.maximum(b * b - (1.0 - g * g) * rest, 0.0))
        divisor = b + root
        to_place = rest / np.where(divisor > 0.0, divisor, 1.0)

        # As far as it touches the plane of the triangle, if it does so inside the triangle.
        a0, a1, a2 = (corners[k].T[triangle] for k in range(3))
        out = np.cross(a1 - a0, a2 - a0)
        area = np.sqrt((out * out).sum(axis=1))
        normal = -out / np.where(area > 0.0, area, 1.0)[:, None]
        nears = g - (v * normal).sum(axis=1)
        height = ((c - a0) * normal).sum(axis=1)
        to_plane = np.maximum(height - r, 0.0) / np.where(nears > 0.0, nears, 1.0)
        below = c + to_plane[:, None] * v - (r + to_plane * g)[:, None] * normal
        flat = (
            (area > 0.0) & (nears > 0.0) & (to_plane <= to_place * (1.0 + EXACT)) & _inside(below, a0, a1, a2, normal)
        )

        now = np.where(flat, to_plane, to_place)
        place = np.where(flat[:, None], below, foot)
        moved[open_] = np.minimum(now, moved[open_])
        touched[open_] = True
        at[open_] = place
        out = c + moved[open_, None] * v - place
        length = np.sqrt((out * out).sum(axis=1))
        away[open_] = np.where(flat[:, None], normal, out / np.where(length > 0.0, length, 1.0)[:, None])
    return moved, touched, at, away


def _inside(place: FloatArray, a: FloatArray, b: FloatArray, c: FloatArray, inward: FloatArray) -> BoolArray:
    """Tell which places (k, 3) of their planes lie inside their triangles."""
    inside = np.ones(len(place), dtype=np.bool_)
    for begin, end in ((a, b), (b, c), (c, a)):
        edge, spoke = end - begin, place - begin
        slack = EXACT * (edge * edge).sum(axis=1)
        inside &= (np.cross(edge, spoke) * inward).sum(axis=1) <= slack
    return inside


def _left_after(balls: _Balls, way: FloatArray, rate: FloatArray) -> FloatArray:
    """Give the way (k,) after which a ball is so many radii from where it began; infinite where never."""
    w = balls.middle - balls.begun
    k = LEFT_BEHIND
    a = 1.0 - (k * rate) ** 2
    b = (w * way).sum(axis=1) - k * k * balls.radius * rate
    c = np.minimum((w * w).sum(axis=1) - (k * balls.radius) ** 2, 0.0)
    root = b * b - a * c
    square = np.sqrt(np.maximum(root, 0.0))
    # The least s >= 0 with a s^2 + 2 b s + c = 0, where c <= 0.
    after: FloatArray = np.where(
        a > 0.0,
        np.where(b > 0.0, -c / np.where(b + square > 0.0, b + square, 1.0), (square - b) / np.where(a > 0.0, a, 1.0)),
        np.where((root >= 0.0) & (b > 0.0), -c / np.where(b + square > 0.0, b + square, 1.0), np.inf),
    )
    return after


def _touching(
    surface: Surface, balls: _Balls, anew: BoolArray, at: FloatArray, away: FloatArray, *, first: bool
) -> Steps[_Balls]:
    """Bring what balls touch up to date: places that still are touched where the ball is now, then the new one."""
    touch, direction, real = balls.touch.copy(), balls.away.copy(), balls.real.copy()
    if not first:
        ball, nth = np.nonzero(real)
        large = balls.radius[ball]
        sought = balls.middle[ball] - large[:, None] * direction[ball, nth]
        met = yield from nearest_on(surface, sought, _TOUCHES * large + _ROUNDING * surface.unit_mm)
        out = balls.middle[ball] - np.where(np.isnan(met.foot), 0.0, met.foot)
        length = np.sqrt((out * out).sum(axis=1))
        stays = (met.triangle >= 0) & (length <= large * (1.0 + _TOUCHES))
        real[ball, nth] = stays
        touch[ball[stays], nth[stays]] = met.foot[stays]
        direction[ball[stays], nth[stays]] = out[stays] / length[stays, None]
    row = np.flatnonzero(anew)
    free = (~real[row]).argmax(axis=1)
    touch[row, free], direction[row, free], real[row, free] = at[row], away[row], True
    return _Balls(balls.middle, balls.radius, balls.begun, touch, direction, real)


def _facing(balls: _Balls) -> FloatArray:
    """Give the two places touched (k, 2, 3) that face each other most."""
    cosine = np.einsum("kia,kja->kij", balls.away, balls.away)
    cosine[~(balls.real[:, :, None] & balls.real[:, None])] = 2.0
    i, j = np.divmod(cosine.reshape(len(cosine), _MOST * _MOST).argmin(axis=1), _MOST)
    row = np.arange(len(cosine))
    return np.stack((balls.touch[row, i], balls.touch[row, j]), axis=1)


def shortest_in_hull(vectors: FloatArray, real: BoolArray) -> tuple[FloatArray, BoolArray]:
    """Give the shortest vector (k, 3) in the hull of up to four unit vectors (k, 4, 3), and which of them it needs.

    ``real`` (k, 4) tells which there are, one at least. Every corner, edge, face and inside of the hull is tried.
    """
    k = len(vectors)
    row = np.arange(k)
    first = real.argmax(axis=1)
    best, square = vectors[row, first].copy(), np.ones(k)
    needs = np.zeros((k, _MOST), dtype=np.bool_)
    needs[row, first] = True

    def offer(which: Sequence[int], share: FloatArray, valid: BoolArray) -> None:
        valid = valid & real[:, which].all(axis=1)
        found = (share[:, :, None] * vectors[:, which]).sum(axis=1)
        length = (found * found).sum(axis=1)
        better = np.flatnonzero(valid & (length < square - 1e-12))
        best[better], square[better] = found[better], length[better]
        needs[better] = False
        needs[better[:, None], which] = True

    half = np.full((k, 2), 0.5)
    for pair in combinations(range(_MOST), 2):
        offer(list(pair), half, np.ones(k, dtype=np.bool_))
    if (real.sum(axis=1) > 2).any():
        for three in combinations(range(_MOST), 3):
            u, v, w = (vectors[:, i] for i in three)
            uv, vw, wu = ((x * y).sum(axis=1) for x, y in ((u, v), (v, w), (w, u)))
            # The rows of the adjoint of the Gram matrix, summed: shares of the foot of the origin in their plane.
            share = np.stack(
                (
                    1.0 - vw * vw + (vw * wu - uv) + (uv * vw - wu),
                    1.0 - wu * wu + (vw * wu - uv) + (wu * uv - vw),
                    1.0 - uv * uv + (uv * vw - wu) + (wu * uv - vw),
                ),
                axis=1,
            )
            total = share.sum(axis=1)
            usable = total > 1e-9
            share /= np.where(usable, total, 1.0)[:, None]
            offer(list(three), share, usable & (share >= 0.0).all(axis=1))
    if real.all(axis=1).any():
        a, b, c, d = (vectors[:, i] for i in range(_MOST))
        share = np.stack((_triple(b, c, d), -_triple(a, c, d), _triple(a, b, d), -_triple(a, b, c)), axis=1)
        total = share.sum(axis=1)
        usable = np.abs(total) > 1e-9
        share /= np.where(usable, total, 1.0)[:, None]
        offer(list(range(_MOST)), share, usable & (share >= 0.0).all(axis=1))
    return best, needs


def _triple(a: FloatArray, b: FloatArray, c: FloatArray) -> FloatArray:
    product: FloatArray = (a * np.cross(b, c)).sum(axis=1)
    return product
