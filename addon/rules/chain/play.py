"""Free play: how far a joint slides, bends and twists before metal meets metal, on the meshes as they are built.

The joint's frame has its origin midway between the two link centres, x along the chain, z normal to the face. From the
straight chain at its pitch one motion is made at a time, both ways, to the first contact of the two links: slide along
x, bend about y (over the face), bend about z (edgewise), twist about x; and each bend again at the slide that allows
most of it.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from ..base.progress import Steps, part
from ..solid.mesh import FloatArray, IntArray
from .chain import Chain
from .motion import Metal, Motions, best_slide, first_contact, metal_of
from .tightest import forward, least_radii, types_between
from .turning import bend, roll

FINE_MM = 0.005
FINE_RAD = float(np.radians(0.05))
# A chain made for a bend may touch where it lies straight; then the nearest slide that frees a joint is its start.
STARTS_MM = np.arange(1, 101) * 0.02
FREE_MM = 0.01
# Joints of one kind can stand at different rolls against the face: so many of those are moved, and the least counts.
ROLLS = 2
ALIKE_DEG = 0.05
# The motions: slide, twist, bend over the face, bend edgewise.
SLIDE, TWIST, OVER, EDGE = range(4)
WAYS = np.array([SLIDE, SLIDE, TWIST, TWIST, OVER, OVER, EDGE, EDGE])
SIGNS = np.array([1.0, -1.0] * 4)
BENDS = slice(4, 8)


@dataclass(frozen=True, slots=True)
class JointPlay:
    """How far one kind of joint moves to first contact; ``of`` names the two bodies it was measured on.

    ``slide_mm`` (out, in), further apart counted positive. ``bend_y_deg`` over the face, ``bend_z_deg`` edgewise and
    ``twist_deg``: (low, high); a positive bend turns z towards x, or x towards y. ``best_bend_...``: each bend at the
    slide that allows most of it, ``best_slide_...``: that slide, for low and for high. Infinite where nothing is met
    within half a turn.
    """

    name: str
    of: tuple[str, str]
    slide_mm: tuple[float, float]
    bend_y_deg: tuple[float, float]
    bend_z_deg: tuple[float, float]
    twist_deg: tuple[float, float]
    best_bend_y_deg: tuple[float, float]
    best_bend_z_deg: tuple[float, float]
    best_slide_y_mm: tuple[float, float]
    best_slide_z_mm: tuple[float, float]


@dataclass(frozen=True, slots=True)
class FreePlay:
    """How the joints of a chain move: ``joints`` has one of every kind there is.

    ``least_radius_mm`` (over the face, edgewise): the circle through the link centres of the tightest even curve the
    chain can lie on, neighbours' neighbours counted, all joints slid alike to where most is allowed; to the worse side
    where they differ. Infinite where no bend is free.
    """

    joints: tuple[JointPlay, ...]
    least_radius_mm: tuple[float, float]


@dataclass(frozen=True, slots=True, eq=False)
class _Joint:
    """Two linked bodies of the straight chain, seen from midway between their centres.

    ``kinds`` of both; ``turns`` (2, 3, 3) their rolls, ``places`` (2, 3) their centres; ``radius`` (3,) how far the
    metal of the second reaches from each axis through the middle.
    """

    kinds: tuple[int, int]
    turns: FloatArray
    places: FloatArray
    radius: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class _Kind:
    """A kind of joint: its name, two bodies that have it, and the joint at the rolls it stands at."""

    name: str
    bodies: tuple[int, int]
    joints: tuple[_Joint, ...]


def free_play(chain: Chain) -> Steps[FreePlay]:
    """Move every kind of joint of a chain, and bend the whole chain evenly, until metal meets metal."""
    numbers, first = np.unique(chain.row.kind, return_index=True)
    meshes = {int(kind): chain.bodies[body].mesh for kind, body in zip(numbers, first, strict=True)}
    metal = metal_of(chain.pattern.links, meshes)
    kinds = list(_kinds(chain))
    moved = []
    for i, kind in enumerate(kinds):
        moved.append((yield from part(_moved(chain, metal, kind), 0.8 * i / len(kinds), 0.8 * (i + 1) / len(kinds))))
    return FreePlay(tuple(moved), (yield from part(least_radii(chain, metal), 0.8, 1.0)))


def _moved(chain: Chain, metal: Metal, kind: _Kind) -> Steps[JointPlay]:
    """Move one kind of joint every way."""
    start, gap = _free_slide(metal, kind)
    ends = yield from part(first_contact(_motions(metal, kind, WAYS, SIGNS, np.full(8, start))), 0.0, 0.4)
    slide = start + ends[:2] * SIGNS[:2]
    ways, signs, bends = WAYS[BENDS], SIGNS[BENDS], ends[BENDS]

    def gaps(rows: IntArray, slides: FloatArray, angles: FloatArray) -> FloatArray:
        return _motions(metal, kind, ways[rows], signs[rows], slides).least(angles)

    out, back = (float(way) if np.isfinite(way) else start for way in slide)
    looked = best_slide(gaps, np.full(4, back), np.full(4, out), np.minimum(bends, np.pi), np.full(4, gap), np.pi)
    best_at = yield from part(looked, 0.4, 0.6)
    best = yield from part(first_contact(_motions(metal, kind, ways, signs, best_at)), 0.6, 1.0)
    best_at = np.where(best > bends, best_at, start)
    angles = np.degrees(np.concatenate((ends[2:], np.maximum(best, bends))))
    twist, over, edge, best_over, best_edge = ((-float(low), float(high)) for high, low in angles.reshape(-1, 2))
    slid_over, slid_edge = ((float(low), float(high)) for high, low in best_at.reshape(-1, 2))
    a, b = (chain.bodies[body].name for body in kind.bodies)
    slide_mm = (float(slide[0]), float(slide[1]))
    return JointPlay(kind.name, (a, b), slide_mm, over, edge, twist, best_over, best_edge, slid_over, slid_edge)


def _free_slide(metal: Metal, kind: _Kind) -> tuple[float, float]:
    """Give the slide nearest to the pitch that frees the straight joint (0 if none does) and the gap there, mm."""
    slides = np.concatenate(([0.0], np.stack((STARTS_MM, -STARTS_MM), axis=1).reshape(-1)))
    for some in (slides[:1], slides[1:]):
        still = np.zeros(len(some))
        gap = _motions(metal, kind, np.full(len(some), SLIDE), still, some).least(still)
        free = np.flatnonzero(gap > FREE_MM)
        if len(free):
            return float(some[free[0]]), float(gap[free[0]])
    return 0.0, 0.0


def _motions(metal: Metal, kind: _Kind, ways: IntArray, signs: FloatArray, slides: FloatArray) -> Motions:
    """Make m motions of a kind of joint, each at every roll it stands at; a motion's rolls are one group."""
    joints = kind.joints
    m, rolls = len(ways), len(joints)
    which, group = np.tile(np.arange(rolls), m), np.repeat(np.arange(m), rolls)
    way, sign, slide = ways[group], signs[group], slides[group]
    turns, places = np.array([j.turns for j in joints])[which], np.array([j.places for j in joints])[which]
    back = turns[:, 0].transpose(0, 2, 1)
    radius = np.array([j.radius for j in joints])[which]
    sliding = way == SLIDE
    axis = np.where(sliding, 0, way - 1)
    speed = np.where(sliding, 1.0, radius[np.arange(len(way)), axis] + np.abs(slide) / 2)

    def posed(rows: IntArray, gone: FloatArray) -> tuple[IntArray, IntArray, FloatArray, FloatArray]:
        angle = np.where(sliding[rows], 0.0, sign[rows] * gone)
        apart = slide[rows] + np.where(sliding[rows], sign[rows] * gone, 0.0)
        turn = np.empty((len(rows), 3, 3))
        for number, turned in ((TWIST, roll(angle)), (OVER, bend(angle, over_face=True))):
            turn[way[rows] == number] = turned[way[rows] == number]
        rest = (way[rows] == EDGE) | sliding[rows]
        turn[rest] = bend(angle[rest], over_face=False)
        half = apart[:, None] / 2 * [1.0, 0.0, 0.0]
        place = np.einsum("nij,nj->ni", turn, places[rows, 1] + half) - (places[rows, 0] - half)
        shift = np.einsum("nij,nj->ni", back[rows], place)
        ends = np.broadcast_to(joints[0].kinds, (len(rows), 2))
        return ends[:, 0], ends[:, 1], back[rows] @ turn @ turns[rows, 1], shift

    def gaps(rows: IntArray, gone: FloatArray) -> FloatArray:
        return metal.gaps(*posed(rows, gone))

    def least(gone: FloatArray) -> FloatArray:
        return metal.least_gaps(*posed(np.arange(len(group)), gone[group]), group)

    limit = np.where(sliding, 2 * np.abs(places[:, :, 0]).sum(axis=1) + 1.0, np.pi)
    return Motions(gaps, least, speed, limit, np.where(sliding, FINE_MM, FINE_RAD), group)


def _kinds(chain: Chain) -> Iterator[_Kind]:
    """Give every kind of joint: alike are those of equal links, pitch, roll against each other, and place aside.

    A tapered chain shows its first, middle and last joint.
    """
    row = chain.row
    if chain.spec.tapered and len(row.linked):
        for pair in sorted({0, len(row.linked) // 2, len(row.linked) - 1}):
            a, b = forward(row, *row.linked[pair])
            name = f"{chain.bodies[a].name} to {chain.bodies[b].name}"
            yield _Kind(name, (a, b), (_joint(chain, a, b),))
        return
    whole = 180.0 if chain.pattern.symmetric else 360.0
    found: dict[object, dict[int, tuple[int, int]]] = {}
    for pair in row.linked:
        a, b = forward(row, *pair)
        rolls = np.rint(np.degrees([row.roll[b] - row.roll[a], row.roll[a]]) % whole / ALIKE_DEG).astype(int)
        rolls %= round(whole / ALIKE_DEG)
        aside = tuple(np.round(row.aside_mm[[a, b]], 6).reshape(-1).tolist())
        key = (int(row.kind[a]), int(row.kind[b]), tuple(types_between(row, a, b)), int(rolls[0]), aside)
        found.setdefault(key, {}).setdefault(int(rolls[1]), (a, b))
    names = [_name(chain, next(iter(rolls.values()))) for rolls in found.values()]
    for name, rolls in zip(names, found.values(), strict=True):
        pairs = list(rolls.values())
        chosen = pairs[:: -(-len(pairs) // ROLLS)]
        a, b = pairs[0]
        told = name if names.count(name) == 1 else f"{name} ({chain.bodies[a].name}, {chain.bodies[b].name})"
        yield _Kind(told, (a, b), tuple(_joint(chain, *pair) for pair in chosen))


def _name(chain: Chain, pair: tuple[int, int]) -> str:
    types = types_between(chain.row, *pair)
    name = chain.fits[types[0]].name if types else "side by side"
    return name if len(types) < 2 else f"{name}, {len(types)} on"


def _joint(chain: Chain, a: int, b: int) -> _Joint:
    row = chain.row
    apart = sum(chain.fits[joint].pitch_mm for joint in types_between(row, a, b))
    places = np.array([(0.0, *row.aside_mm[a]), (apart, *row.aside_mm[b])])
    places -= places.mean(axis=0)
    turns = roll(row.roll[[a, b]])
    points = chain.bodies[b].mesh.points @ turns[1].T + places[1]
    square = points**2
    radius = np.sqrt((square.sum(axis=1, keepdims=True) - square).max(axis=0))
    return _Joint((int(row.kind[a]), int(row.kind[b])), turns, places, radius)
