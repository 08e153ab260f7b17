"""Cups and traps: hollows that hold a liquid, or shut in air, because every way out leads over a rim above them.

What is empty is followed layer by layer from below. A hollow of a layer hangs together with those it overlaps in the
next layer; the whole of what is joined up to a height is a pool, and it is held back until it reaches the outside. That
is the flooding of a landscape, told by the lowest pass out of every place.

Which way is up is the caller's: a cup found with ``up`` turned round is one that traps air when it is filled from
below. Layers are all that is seen: a wall thinner upwards than a layer may be missed, and so may an opening that is
lower than a layer, so a volume is right to half a layer over the area at its rim and floor, and the spill height to a
layer.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from ..base.errors import BadInput
from ..base.progress import Steps, part
from ..solid.mesh import Body, FloatArray, IntArray, Pose
from ..solid.section import Sections, box_pairs, cutting, surface_of_all
from ..solid.weld import components
from .body_findings import as_point
from .finding import Finding
from .regions import Regions, may_cross, overlapping, regions

BoolArray = npt.NDArray[np.bool_]
Point = tuple[float, float, float]

# What the pockets are asked for, and how the bodies stand for it. The plate is at z = 0, the side that is poured into.
# print: ``up`` +z, away from the plate, gives what opens towards the film (the print hangs from the plate); -z what
#   stays full as it hangs.
# rinse: ``up`` as it is stood to drain.
# slurry: air is shut in where a pocket opens downwards, so ``up`` is against the way up in the flask: -z, where the
#   flask is filled with the plate side down.
# metal: `metal_traps` with the way up as it is poured: -z, the plate side up.
Use = Literal["print", "rinse", "slurry", "metal"]

UP: Point = (0.0, 0.0, 1.0)
# A smaller pocket drains, or fills, by surface tension and a tap. Our judgement: half a ball of 1.2 mm.
SMALL_MM3 = 0.5
# What a piece of the frame round a layer has for a triangle.
_NONE = -1


@dataclass(frozen=True, slots=True)
class Cup:
    """A pocket that holds what is in it: the body round it, a place at its floor, its volume up to where it spills.

    ``up`` the direction it was found for; ``floor_mm`` and ``spill_mm`` heights along it, ``spill_mm`` None for a
    closed cavity, out of which there is no way at all.
    """

    body: str
    at: Point
    volume_mm3: float
    floor_mm: float
    spill_mm: float | None
    up: Point


def cups(
    bodies: Sequence[Body],
    layer_mm: float,
    up: Point = UP,
    *,
    least_mm3: float = SMALL_MM3,
    fused: Sequence[tuple[int, int]] | None = None,
) -> Steps[tuple[Cup, ...]]:
    """Find the cups and closed cavities of bodies that stand with ``up`` upwards, from the largest down.

    ``fused``: the only pairs of bodies that touch or cross; None when nobody knows. A hollow that bodies shut in only
    together, or into which one reaches through another's wall, counts as open: join such bodies first. The plate closes
    nothing. Raises BadInput for open bodies, a layer height that does not work or is more than the bodies are high, or
    a direction without length.
    """
    stood, turn = _stood(bodies, up)
    heights = _heights(stood, layer_mm)
    of, owner = yield from part(_cut(stood, heights), 0.0, 0.5)
    yield 0.5
    inside_out = yield from part(_emptied(of), 0.5, 0.52)
    body_of_loop = np.append(owner, _NONE)[inside_out.triangle[inside_out.begin[:-1]]]
    found = yield from part(regions(inside_out, may_cross(body_of_loop, len(bodies), fused)), 0.52, 0.7)
    first = body_of_loop[found.loops[found.begin[:-1]]]
    outside = first == _NONE
    pairs = box_pairs(found.layer, found.low, found.high, 1)
    pairs = pairs[~outside[pairs].all(axis=1)]
    yield 0.7
    over = yield from part(overlapping(found, pairs), 0.7, 0.95)
    # What is open below the lowest layer is outside; so is all above the highest, one more node.
    count, layers = len(first), len(heights)
    top = np.flatnonzero(found.layer == layers - 1)
    pool, spills = yield from part(
        _pools(
            np.append(found.layer, layers),
            np.append(outside | (found.layer == 0), True),
            np.concatenate([pairs[over], np.stack([np.full(len(top), count), top], axis=1)]),
        ),
        0.95,
        1.0,
    )
    at = np.column_stack([found.inner * [-1.0, 1.0], heights[found.layer]]) @ turn
    names = [bodies[number].name for number in first]
    return _told(found, pool[:count], spills, names, at, up, least_mm3)


def metal_traps(
    bodies: Sequence[Body],
    layer_mm: float,
    up: Point,
    *,
    least_mm3: float = SMALL_MM3,
    fused: Sequence[tuple[int, int]] | None = None,
) -> Steps[tuple[Cup, ...]]:
    """Find where air stays in the mould while metal rises in it: room of the bodies with its only way out below it.

    The mould is open at the top: where the bodies are highest along ``up``, the flask standing as it is poured. Bodies
    that do not hang together with what is open are left out. A trap is told as a `Cup` of the direction down. Raises
    BadInput like `cups`.
    """
    down = (-up[0], -up[1], -up[2])
    stood, turn = _stood(bodies, down)
    heights = _heights(stood, layer_mm)
    of, owner = yield from part(_cut(stood, heights), 0.0, 0.5)
    body_of_loop = owner[of.triangle[of.begin[:-1]]]
    found = yield from part(regions(of, may_cross(body_of_loop, len(bodies), fused)), 0.5, 0.7)
    pairs = box_pairs(found.layer, found.low, found.high, 1)
    over = yield from part(overlapping(found, pairs), 0.7, 0.98)
    pool, spills = yield from part(_pools(found.layer, found.layer == 0, pairs[over]), 0.98, 1.0)
    at = np.column_stack([found.inner, heights[found.layer]]) @ turn
    names = [bodies[number].name for number in body_of_loop[found.loops[found.begin[:-1]]]]
    told = _told(found, pool, spills, names, at, down, least_mm3)
    return tuple(cup for cup in told if cup.spill_mm is not None)


def cup_findings(found: Sequence[Cup], use: Use, *, least_mm3: float = SMALL_MM3) -> tuple[Finding, ...]:
    """Say what stays in pockets: in ``print``, ``rinse``, when ``slurry`` fills the flask, or ``metal`` the mould.

    Which way the bodies were stood up for each is told at `Use`. For metal, ``found`` is of `metal_traps`. That resin
    left in a pocket or cavity spoils the burnout, and that pockets towards the film act as suction cups, is common
    practice, without a published source.
    """
    return tuple(
        Finding(
            "cup", severity, (cup.body,), f"{cup.body}: {text}", cup.at, cup.volume_mm3,
            0.0 if cup.spill_mm is None else least_mm3,
        )
        for cup in found
        for severity, text in [_words(cup, use)]
    )  # fmt: skip


def _words(cup: Cup, use: Use) -> tuple[str, str]:
    """Give the severity and the text of one pocket."""
    size = f"{cup.volume_mm3:.3g} mm3"
    if cup.spill_mm is None:
        closed = f"a closed cavity of {size}"
        return "stop", {
            "print": f"{closed} prints full of liquid resin, with no way out; it can burst the mould when it burns "
            "out. Fill the cavity, or open it on two sides.",
            "rinse": f"{closed}; no solvent gets in and no resin out. Fill the cavity, or open it on two sides.",
            "slurry": f"{closed}; no investment gets in, so the casting is not what was drawn. Fill the cavity, or "
            "open it to the outside.",
            "metal": f"{closed}; no metal gets in. Join it to the rest.",
        }[use]
    pocket = f"a pocket of {size}, {cup.spill_mm - cup.floor_mm:.2f} mm deep"
    if use == "print" and cup.up[2] > 0.0:
        return "warn", (
            f"{pocket}, opens away from the plate, towards the film: a suction cup while it prints, which pulls the "
            "layer off or leaves it torn. Vent it at its floor, or turn the job so that it drains sideways."
        )
    return {
        "print": (
            "note",
            f"{pocket}, opens towards the plate and stays full of resin while the print hangs; let it drip off before "
            "rinsing, or vent it.",
        ),
        "rinse": (
            "warn",
            f"{pocket}, holds resin and spent solvent as it stands; what stays in cures there and leaves ash. Turn it "
            "over to drain and rinse it twice, with gloves, as the resin maker's data sheet says; or vent it.",
        ),
        "slurry": (
            "warn",
            f"{pocket}, shuts in air as the slurry rises; the metal fills the bubble and a lump stays on the casting. "
            "Vent it at its top, tilt the pattern in the flask, or vacuum the flask while it is filled.",
        ),
        "metal": (
            "note",
            f"{size} of the mould, {cup.spill_mm - cup.floor_mm:.2f} mm high, has its only way out below it; the air "
            "there must leave through the investment, so pour under vacuum, or lead a vent or a second gate to it.",
        ),
    }[use]


def _stood(bodies: Sequence[Body], up: Point) -> tuple[list[Body], FloatArray]:
    """Give the bodies turned so that ``up`` is +z, and the turn (3, 3)."""
    if not bodies:
        raise BadInput("cups: there is no body; give at least one mesh")
    length = math.hypot(*up)
    if not (math.isfinite(length) and length > 0.0):
        raise BadInput(f"cups: the direction {up} has no length; give three numbers, one of them not 0")
    z = np.array(up) / length
    x = np.eye(3)[int(np.argmin(np.abs(z)))]
    x = x - z * (x @ z)
    x /= np.linalg.norm(x)
    turn = np.stack([x, np.cross(z, x), z])
    return [
        Body(body.name, body.mesh, Pose(turn @ body.pose.rotation, turn @ body.pose.origin)) for body in bodies
    ], turn


def _heights(stood: Sequence[Body], layer_mm: float) -> FloatArray:
    if not (math.isfinite(layer_mm) and layer_mm > 0.0):
        raise BadInput(f"cups: a layer height of {layer_mm:g} mm does not work; give a number above 0 mm")
    low = min(float(body.points()[:, 2].min()) for body in stood)
    high = max(float(body.points()[:, 2].max()) for body in stood)
    if layer_mm > high - low:
        raise BadInput(
            f"cups: a layer height of {layer_mm:g} mm is more than the {high - low:.3g} mm the job is high; "
            f"give up to {high - low:.3g}"
        )
    return low + layer_mm * (np.arange(math.ceil((high - low) / layer_mm)) + 0.5)


def _cut(bodies: Sequence[Body], heights: FloatArray) -> Steps[tuple[Sections, IntArray]]:
    """Cut bodies at every height; give the sections, and the body of every triangle they name."""
    every, owner = yield from part(surface_of_all(bodies), 0.0, 0.4)
    of = yield from part(cutting(every, heights), 0.4, 1.0)
    return of, owner


def _emptied(of: Sections) -> Steps[Sections]:
    """Turn sections inside out: what is empty becomes what the outlines go round, inside a frame round each layer.

    Everything is mirrored in x, which turns every loop the other way round; a frame's pieces have no triangle (-1).
    The frame is the first loop of its layer.
    """
    layers = np.arange(len(of.heights))
    loop = np.arange(len(of.layer)) + of.layer + 1
    frame = np.searchsorted(of.layer, layers) + layers
    piece = np.arange(len(of.loop)) + 4 * (of.layer[of.loop] + 1)
    yield 0.1
    begin = np.zeros(len(loop) + len(frame) + 1, dtype=np.int64)
    begin[loop] = of.begin[:-1] + 4 * (of.layer + 1)
    begin[frame] = np.append(of.begin, of.begin[-1])[np.searchsorted(of.layer, layers)] + 4 * layers
    begin[-1] = len(piece) + 4 * len(layers)
    corner = (begin[frame][:, None] + np.arange(4)).ravel()
    low, high = np.zeros(2), np.zeros(2)
    if len(loop):
        low, high = of.low.min(axis=0), of.high.max(axis=0)
    low, high = np.array([-high[0], low[1]]), np.array([-low[0], high[1]])
    # Far enough out that it never meets an outline, and small enough to lose no digits.
    edge = 0.1 * (high - low).max() + 1.0
    low, high = low - edge, high + edge
    square = np.array([low, [high[0], low[1]], high, [low[0], high[1]]])
    mirror = np.array([-1.0, 1.0])

    def laid(where: IntArray, values: npt.NDArray[np.generic], frames: IntArray, value: npt.ArrayLike) -> Any:
        out = np.empty((len(where) + len(frames), *values.shape[1:]), dtype=values.dtype)
        out[where], out[frames] = values, value
        return out

    start = laid(piece, of.start * mirror, corner, np.tile(square, (len(layers), 1)))
    yield 0.4
    following = laid(piece, piece[of.following], corner, np.roll(corner.reshape(-1, 4), -1, axis=1).ravel())
    yield 0.6
    in_loop = laid(piece, loop[of.loop], corner, np.repeat(frame, 4))
    yield 0.8
    return Sections(
        of.heights,
        start,
        following,
        in_loop,
        laid(piece, of.triangle, corner, _NONE),
        laid(loop, of.layer, frame, layers),
        laid(loop, -of.area_mm2, frame, (high - low).prod()),
        laid(loop, np.stack([-of.high[:, 0], of.low[:, 1]], axis=1), frame, low),
        laid(loop, np.stack([-of.low[:, 0], of.high[:, 1]], axis=1), frame, high),
        begin,
    )


def _pools(layer: IntArray, free: BoolArray, pairs: IntArray) -> Steps[tuple[IntArray, IntArray]]:
    """Flood from below: give each node's pool (n,), -1 where it is free, and the layer where each pool spills (k,).

    ``layer`` (n,) rising; ``free`` (n,) has a way out; ``pairs`` (p, 2) of a node and one of the layer below it that
    hang together, by the first. A pool that never spills has -1.
    """
    layers = int(layer[-1]) + 1 if len(layer) else 0
    bounds = np.searchsorted(layer, np.arange(layers + 1))
    links = np.searchsorted(layer[pairs[:, 0]], np.arange(layers + 1))
    # A basin is all that hangs together up to a layer and reaches it: it becomes part of a basin of the next layer, or
    # ends.
    basin, level = np.zeros(len(layer), dtype=np.int64), np.zeros(len(layer), dtype=np.int64)
    became = np.full(len(layer), -1)
    opened = np.zeros(len(layer), dtype=bool)
    count = 0
    for number in range(layers):
        here = slice(bounds[number], bounds[number + 1])
        size = here.stop - here.start
        upper, lower = pairs[links[number] : links[number + 1]].T
        below, place = np.unique(basin[lower], return_inverse=True)
        label = components(size + len(below), upper - here.start, size + place.reshape(-1))
        kinds, kind = np.unique(label, return_inverse=True)
        kind = count + kind.reshape(-1)
        basin[here], became[below] = kind[:size], kind[size:]
        opened[kind[np.concatenate([free[here], opened[below]])]] = True
        level[count : count + len(kinds)] = number
        count += len(kinds)
        yield number / layers
    ahead = np.where((became >= 0) & ~opened[became], became, np.arange(len(became)))
    while not np.array_equal(ahead[ahead], ahead):
        ahead = ahead[ahead]
    held = ~opened[basin]
    fullest, number_of = np.unique(ahead[basin[held]], return_inverse=True)
    pool = np.full(len(layer), -1)
    pool[held] = number_of.reshape(-1)
    return pool, np.where(became[fullest] >= 0, level[became[fullest]], -1)


def _told(
    found: Regions,
    pool: IntArray,
    spills: IntArray,
    names: Sequence[str],
    at: FloatArray,
    up: Point,
    least_mm3: float,
) -> tuple[Cup, ...]:
    """Measure pools: ``names`` (n,) the body of every region, ``at`` (n, 3) a place in it."""
    heights = found.of.heights
    layer_mm = float(heights[1] - heights[0]) if len(heights) > 1 else 0.0
    low = float(heights[0]) - layer_mm / 2.0
    held = np.flatnonzero(pool >= 0)
    volume = np.bincount(pool[held], weights=found.area_mm2[held], minlength=len(spills)) * layer_mm
    told = []
    for number in np.argsort(-volume, kind="stable"):
        if volume[number] < least_mm3:
            break
        here = held[pool[held] == number]
        widest = here[np.argmax(found.area_mm2[here])]
        floor = here[found.layer[here] == found.layer[here[0]]]
        lowest = floor[np.argmax(found.area_mm2[floor])]
        told.append(
            Cup(
                names[widest],
                as_point(at[lowest]),
                float(volume[number]),
                low + layer_mm * int(found.layer[lowest]),
                low + layer_mm * int(spills[number]) if spills[number] >= 0 else None,
                up,
            )
        )
    return tuple(told)
