"""Overhangs: undersides past the angle that carries itself, how far they reach out, and the bridges among them.

A patch is what hangs together of a body's faces past the angle. It is held where the surface goes on downwards from its
edge, where it stands on the plate, and where the layer below it has metal under it. From there its reach is measured,
seen from above: a place with support on opposite sides is part of a bridge, whose span goes from one to the other; at a
free edge ends a ledge.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..base.errors import BadInput
from ..base.progress import Steps, part
from ..solid.measure import normals
from ..solid.mesh import Body, FloatArray, IntArray
from ..solid.section import Surface, chunks, expanded, making_surface
from ..solid.weld import hanging_together
from .body_findings import as_point
from .finding import Finding
from .layers import Layers
from .regions import Regions

BoolArray = npt.NDArray[np.bool_]
Point = tuple[float, float, float]

# How far a ledge may reach out over nothing: a service bureau's rule for resin says under 1 mm.
LEDGE_MM = 1.0
# Places looked at on an underside are this far apart: to it, spans and reaches are true where other bodies hold them,
# and nearer than that where their own edges do. Our judgement.
SAMPLE_MM = 0.2
# No more places than this; a larger job is looked at with places farther apart.
MOST_SAMPLES = 200_000
# At a free edge, supports hold both sides when the directions to them are more than 120 degrees apart (its cosine): two
# walls that meet at a right angle do not, and nor does what lies next along them, beyond a reach of 1.3 mm.
OPPOSITE = -0.5
# A place rests on metal that goes on by this much all round it, mm: the very edge of a support carries nothing, and
# whether a place falls on it is chance.
EDGE_MM = 1e-6
# Cells on either side that a place is compared with, to tell whether it is the farthest out.
ROUND = 2
# Faces, and pairs of a place and a support, worked on between two looks at the clock.
_FACES = 1 << 16
_PAIRS = 1 << 18


@dataclass(frozen=True, slots=True)
class Overhang:
    """A connected underside past the self-supporting angle.

    ``at`` a place on it; ``area_mm2`` of its faces that have nothing under them; ``angle_deg`` of its most level face,
    from the horizontal. ``span_mm`` the longest bridge in it, from support to support, ``span_at`` its middle;
    ``reach_mm`` the longest ledge, from its support to its free end, ``reach_at`` that end: 0 mm at ``at`` where it has
    none. ``begins``: it starts in mid-air, which is told of as an island.
    """

    body: str
    at: Point
    area_mm2: float
    angle_deg: float
    span_mm: float
    span_at: Point
    reach_mm: float
    reach_at: Point
    begins: bool


@dataclass(frozen=True, slots=True, eq=False)
class _Undersides:
    """The f faces past the angle, in p patches, and e edges where patches are held.

    ``corners`` (f, 3, 3), ``area`` (f,), ``angle_deg`` (f,), ``patch`` (f,), ``body`` (p,). Edges of patches where they
    are held, ``held`` (e, 2, 3), and free ones, ``free`` (r, 2, 3), with ``held_patch`` (e,) and ``free_patch`` (r,).
    """

    corners: FloatArray
    area: FloatArray
    angle_deg: FloatArray
    patch: IntArray
    body: IntArray
    held: FloatArray
    held_patch: IntArray
    free: FloatArray
    free_patch: IntArray


@dataclass(frozen=True, slots=True, eq=False)
class _Places:
    """Places on undersides: ``at`` (n, 3) and ``patch`` (n,).

    ``rests`` (n,): the layer below has metal there, or the plate. ``begins`` (n,): a region begins there in mid-air.
    """

    at: FloatArray
    patch: IntArray
    rests: BoolArray
    begins: BoolArray


def overhangs(bodies: Sequence[Body], layers: Layers, overhang_deg: float) -> Steps[tuple[Overhang, ...]]:
    """Find the undersides of bodies that are nearer to level than ``overhang_deg``, from the largest down.

    ``layers`` of these bodies, from `slice_layers`. What lies in the first layer stands on the plate. Spans and reaches
    are true to `SAMPLE_MM`. Raises BadInput for an angle that is none, or open bodies.
    """
    if not 0.0 <= overhang_deg < 90.0:
        raise BadInput(f"overhang_deg: {overhang_deg:g} is no slope; give 0 to 89 degrees from the horizontal")
    under = yield from part(_undersides(bodies, float(layers.heights_mm[0]), overhang_deg), 0.0, 0.6)
    if len(under.body) == 0:
        return ()
    step = max(SAMPLE_MM, float(np.sqrt(_level_area(under.corners).sum() / MOST_SAMPLES)))
    at, patch = yield from part(_sampled(under, step), 0.6, 0.7)
    rests, begins = yield from part(_layer_below(layers, at), 0.7, 0.85)
    places = _Places(at, patch, rests, begins)
    return (yield from part(_measured(bodies, under, places, step), 0.85, 1.0))


def overhang_findings(found: Sequence[Overhang], overhang_deg: float, bridge_mm: float) -> tuple[Finding, ...]:
    """Say which undersides a print does not carry: bridges that are too long, and ledges that reach out too far.

    What begins in mid-air has neither, it is left to `island_findings`; bridges up to ``bridge_mm`` and ledges up to
    `LEDGE_MM` hold.
    """
    told = []
    for one in found:
        size = f"{one.area_mm2:.3g} mm2 of underside {one.angle_deg:.0f} degrees from level"
        if one.span_mm > bridge_mm:
            told.append(
                Finding(
                    "bridge", "warn", (one.body,),
                    f"{one.body}: spans {one.span_mm:.2f} mm over nothing at {one.span_at[2]:.2f} mm ({size}), the "
                    f"limit is {bridge_mm:g}; it sags or tears. Put a strut under its middle, or arch it.",
                    one.span_at, one.span_mm, bridge_mm,
                )
            )  # fmt: skip
        if one.reach_mm > LEDGE_MM:
            told.append(
                Finding(
                    "overhang", "warn", (one.body,),
                    f"{one.body}: reaches out {one.reach_mm:.2f} mm over nothing at {one.reach_at[2]:.2f} mm, {size}; "
                    f"below {overhang_deg:g} degrees it does not carry itself beyond {LEDGE_MM:g} mm. Put a strut "
                    "under its free end, or tilt the job.",
                    one.reach_at, one.angle_deg, overhang_deg,
                )
            )  # fmt: skip
    return tuple(told)


def _undersides(bodies: Sequence[Body], first_mm: float, overhang_deg: float) -> Steps[_Undersides]:
    """Find the patches; faces wholly below ``first_mm`` lie on the plate."""
    known: dict[int, Surface] = {}
    found: list[_Undersides] = [_nothing()]
    patches = 0
    for number, body in enumerate(bodies):
        begin, end = number / len(bodies), (number + 1) / len(bodies)
        if id(body.mesh) not in known:
            making = making_surface(body.mesh, where=body.name)
            known[id(body.mesh)] = yield from part(making, begin, (begin + end) / 2)
        one = yield from part(_of_body(known[id(body.mesh)], body, first_mm, overhang_deg), (begin + end) / 2, end)
        names, patch = np.unique(one.patch, return_inverse=True)
        found.append(
            _Undersides(
                one.corners, one.area, one.angle_deg, patches + patch.reshape(-1), np.full(len(names), number),
                one.held, patches + np.searchsorted(names, one.held_patch),
                one.free, patches + np.searchsorted(names, one.free_patch),
            )
        )  # fmt: skip
        patches += len(names)
        yield end
    return _Undersides(*(np.concatenate([getattr(one, key) for one in found]) for key in _Undersides.__slots__))


def _nothing() -> _Undersides:
    none, whole = np.zeros(0), np.zeros(0, dtype=np.int64)
    edges = np.zeros((0, 2, 3))
    return _Undersides(np.zeros((0, 3, 3)), none, none, whole, whole, edges, whole, edges, whole)


def _of_body(surface: Surface, body: Body, first_mm: float, overhang_deg: float) -> Steps[_Undersides]:
    """Find the patches of one body, each named by a number of its own."""
    points, triangles = body.pose.apply(surface.mesh.points), surface.mesh.triangles
    under = np.zeros(len(triangles), dtype=bool)
    plate = np.zeros(len(triangles), dtype=bool)
    area, angle = np.zeros(len(triangles)), np.zeros(len(triangles))
    for begin in range(0, len(triangles), _FACES):
        here = slice(begin, begin + _FACES)
        corners = points[triangles[here]]
        normal = normals(corners)
        length = np.sqrt((normal * normal).sum(axis=1))
        flat = np.hypot(normal[:, 0], normal[:, 1])
        area[here], angle[here] = length / 2.0, np.degrees(np.arctan2(flat, -normal[:, 2]))
        plate[here] = corners[:, :, 2].max(axis=1) <= first_mm
        # Faces at the angle itself carry themselves, whatever the rounding.
        under[here] = (angle[here] < overhang_deg - 1e-6) & (length > 0.0) & ~plate[here]
        yield 0.3 * begin / len(triangles)
    faces = np.flatnonzero(under)
    half_edges = (3 * faces[:, None] + np.arange(3)).ravel()
    mates = surface.mate[half_edges]
    joined = under[mates // 3]
    place = np.cumsum(under) - 1
    patch = yield from part(
        hanging_together(len(faces), place[half_edges[joined] // 3], place[mates[joined] // 3]), 0.3, 0.8
    )
    edge, mate = half_edges[~joined], mates[~joined]
    of_edge = patch[place[edge // 3]]
    tail, head = triangles.ravel()[edge], triangles.ravel()[_next(edge)]
    across = triangles.ravel()[_next(_next(mate))]
    # A steeper face that goes down carries the edge; not where it only dips into the patch again.
    own = np.unique(triangles[faces] + len(points) * patch[:, None])
    dips = np.isin(across + len(points) * of_edge, own)
    lower = points[across, 2] < np.minimum(points[tail, 2], points[head, 2])
    held = plate[mate // 3] | (lower & ~dips)
    ends = np.stack([points[tail], points[head]], axis=1)
    yield 0.9
    return _Undersides(
        points[triangles[faces]], area[faces], angle[faces], patch, np.zeros(0, dtype=np.int64),
        ends[held], of_edge[held], ends[~held], of_edge[~held],
    )  # fmt: skip


def _next(half_edge: IntArray) -> IntArray:
    result: IntArray = half_edge + np.where(half_edge % 3 == 2, -2, 1)
    return result


def _level_area(corners: FloatArray) -> FloatArray:
    """Give the area of triangles (f, 3, 3) seen from above."""
    a, b = corners[:, 1, :2] - corners[:, 0, :2], corners[:, 2, :2] - corners[:, 0, :2]
    area: FloatArray = np.abs(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]) / 2.0
    return area


def _sampled(under: _Undersides, step: float) -> Steps[tuple[FloatArray, IntArray]]:
    """Give the places of faces on a grid seen from above, (n, 3), and the patch of each; of a patch one a cell."""
    low = np.ceil(under.corners[:, :, :2].min(axis=1) / step - 0.5).astype(np.int64)
    size = np.floor(under.corners[:, :, :2].max(axis=1) / step - 0.5).astype(np.int64) - low + 1
    count = np.maximum(size, 0).prod(axis=1)
    places, patches = [np.zeros((0, 3))], [np.zeros(0, dtype=np.int64)]
    for some in chunks(count, _PAIRS):
        faces = np.arange(len(count))[some]
        face, cell = expanded(faces, np.zeros(len(faces), dtype=np.int64), count[some])
        xy = (low[face] + np.stack([cell // size[face, 1], cell % size[face, 1]], axis=1) + 0.5) * step
        a, b, c = (under.corners[face, k] for k in range(3))
        u, v, w = b[:, :2] - a[:, :2], c[:, :2] - a[:, :2], xy - a[:, :2]
        whole = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
        to_b = (w[:, 0] * v[:, 1] - w[:, 1] * v[:, 0]) / whole
        to_c = (u[:, 0] * w[:, 1] - u[:, 1] * w[:, 0]) / whole
        inside = np.flatnonzero((to_b >= 0.0) & (to_c >= 0.0) & (to_b + to_c <= 1.0))
        z = a[:, 2] + to_b * (b[:, 2] - a[:, 2]) + to_c * (c[:, 2] - a[:, 2])
        places.append(np.column_stack([xy[inside], z[inside]]))
        patches.append(under.patch[face[inside]])
        yield some.stop / len(count)
    at, patch = np.concatenate(places), np.concatenate(patches)
    cells = np.column_stack([patch, np.floor(at[:, :2] / step).astype(np.int64)])
    once = np.unique(cells, axis=0, return_index=True)[1]
    return at[once], patch[once]


def _layer_below(layers: Layers, at: FloatArray) -> Steps[tuple[BoolArray, BoolArray]]:
    """Tell of places (n, 3) under faces which rest on the layer below, or the plate, and which begin in mid-air.

    A place is solid from the first layer that is cut above it.
    """
    solid_from = np.searchsorted(layers.heights_mm, at[:, 2], side="right")
    rests = solid_from == 0
    below = yield from part(_in_region(layers.regions, at[:, :2], solid_from - 1, None), 0.0, 0.5)
    for number, aside in enumerate(EDGE_MM * (2.0 * np.argwhere(np.ones((2, 2))) - 1.0)):
        left = np.flatnonzero(below)
        asking = _in_region(layers.regions, at[left, :2] + aside, solid_from[left] - 1, None)
        below[left] = yield from part(asking, 0.5 + 0.1 * number, 0.6 + 0.1 * number)
    starts = {(island.layer, island.at[0], island.at[1]) for island in layers.islands}
    found = layers.regions
    named = zip(found.layer.tolist(), found.inner[:, 0].tolist(), found.inner[:, 1].tolist(), strict=True)
    island = np.array([key in starts for key in named], dtype=bool)
    begins = yield from part(_in_region(found, at[:, :2], solid_from, island), 0.9, 1.0)
    return rests | below, begins


def _in_region(found: Regions, xy: FloatArray, layer: IntArray, among: BoolArray | None) -> Steps[BoolArray]:
    """Tell which places (n, 2) lie in a region of their layer (n,), if need be ``among`` some (r,) only."""
    number = np.arange(len(found.layer)) if among is None else np.flatnonzero(among)
    begin = np.searchsorted(found.layer[number], layer)
    count = np.searchsorted(found.layer[number], layer, side="right") - begin
    inside = np.zeros(len(xy), dtype=bool)
    for some in chunks(count, _PAIRS):
        row, place = expanded(np.arange(len(xy))[some], begin[some], count[some])
        region = number[place]
        near = ((found.low[region] <= xy[row]) & (xy[row] <= found.high[region])).all(axis=1)
        row, region = row[near], region[near]
        pieces = found.of.begin[found.loops[found.begin[region]] + 1] - found.of.begin[found.loops[found.begin[region]]]
        for few in chunks(pieces, _PAIRS):
            inside[row[few][found.holds(region[few], xy[row[few]])]] = True
            yield some.start / len(xy)
        yield some.stop / len(xy)
    return inside


def _measured(bodies: Sequence[Body], under: _Undersides, places: _Places, step: float) -> Steps[tuple[Overhang, ...]]:
    count = len(under.body)
    begins = np.bincount(places.patch[places.begins], minlength=count) > 0
    rim, rim_patch = _along(under.free, under.free_patch, step)
    # Supports: the held edges, and every place that rests on something.
    resting = places.at[places.rests]
    support = np.concatenate([under.held, np.stack([resting, resting], axis=1)])[:, :, :2]
    of_support = np.concatenate([under.held_patch, places.patch[places.rests]])
    by_patch = np.argsort(of_support, kind="stable")
    support, of_support = support[by_patch], of_support[by_patch]
    first = np.searchsorted(of_support, np.arange(count + 1))
    asked = ~places.rests
    at = np.concatenate([places.at[asked], rim])
    patch = np.concatenate([places.patch[asked], rim_patch])
    hangs = np.flatnonzero(~begins[patch] & (first[patch + 1] > first[patch]))
    at, patch = at[hangs], patch[hangs]
    yield 0.1
    near, across = yield from part(_supports(at, patch, support, first, step), 0.1, 0.7)
    keys = _key(patch, at, step)
    peak = near >= _most_around(keys, near) - 0.25 * step
    yield 0.75
    edge = np.isin(_around(keys, 1), _key(rim_patch, rim, step)).any(axis=1)
    yield 0.8
    held = _most_around(keys, (across > 0.0).astype(np.float64)) > 0.0
    reach = np.where(peak & edge & ~held, near, 0.0)
    # Away from free edges, the farthest place of all has supports on every side of it.
    inner = np.flatnonzero(peak & ~edge)
    inner = inner[np.lexsort((near[inner], patch[inner]))]
    inner = inner[np.append(patch[inner][1:] != patch[inner][:-1], True)[: len(inner)]]
    yield from part(_centred(at, near, across, inner, patch, support, first, step), 0.8, 0.95)
    span = across.copy()
    span[inner] = np.where(span[inner] > 0.0, span[inner], 2.0 * near[inner])
    area = np.bincount(under.patch, weights=under.area, minlength=count)
    looked = np.bincount(places.patch, minlength=count)
    area *= 1.0 - np.bincount(places.patch[places.rests], minlength=count) / np.maximum(looked, 1)
    level = np.full(count, np.inf)
    np.minimum.at(level, under.patch, under.angle_deg)
    by_size = np.argsort(under.area, kind="stable")
    middle = np.zeros((count, 3))
    middle[under.patch[by_size]] = under.corners[by_size].mean(axis=1)
    longest, span_at = _worst(span, patch, at, middle)
    farthest, reach_at = _worst(reach, patch, at, middle)
    return tuple(
        Overhang(
            bodies[int(under.body[number])].name,
            as_point(middle[number]),
            float(area[number]),
            float(level[number]),
            float(longest[number]),
            as_point(span_at[number]),
            float(farthest[number]),
            as_point(reach_at[number]),
            bool(begins[number]),
        )
        for number in np.argsort(-area, kind="stable")
        if area[number] > 0.0
    )


def _worst(worth: FloatArray, patch: IntArray, at: FloatArray, otherwise: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Give each patch's largest ``worth`` (n,) and where it is, (p, 3); 0 at ``otherwise`` (p, 3) where it has none."""
    most, place = np.zeros(len(otherwise)), otherwise.copy()
    order = np.argsort(worth, kind="stable")
    order = order[worth[order] > 0.0]
    most[patch[order]], place[patch[order]] = worth[order], at[order]
    return most, place


def _along(edges: FloatArray, patch: IntArray, step: float) -> tuple[FloatArray, IntArray]:
    """Give the ends of edges (r, 2, 3) and places between them, no farther apart than ``step`` seen from above."""
    along = edges[:, 1] - edges[:, 0]
    parts = np.maximum(1, np.ceil(np.hypot(along[:, 0], along[:, 1]) / step)).astype(np.int64)
    edge, place = expanded(np.arange(len(edges)), np.zeros(len(edges), dtype=np.int64), parts + 1)
    return edges[edge, 0] + along[edge] * (place / parts[edge])[:, None], patch[edge]


def _supports(
    at: FloatArray, patch: IntArray, support: FloatArray, first: IntArray, slack: float
) -> Steps[tuple[FloatArray, FloatArray]]:
    """Give how far each place (n, 3) is from the nearest support of its patch, and that one from one opposite.

    Seen from above. The latter is 0 where there is none on the other side about as near, to ``slack``. ``support``
    (s, 2, 2) segments, patch p's from ``first[p]`` to before ``first[p + 1]``.
    """
    near, across = np.zeros(len(at)), np.zeros(len(at))
    count = first[patch + 1] - first[patch]
    for some in chunks(count, _PAIRS):
        rows = np.arange(len(at))[some]
        row, place = expanded(rows, first[patch[some]], count[some])
        begin = np.cumsum(count[some]) - count[some]
        p = support[place, 0]
        along = support[place, 1] - p
        from_p = at[row, :2] - p
        square = (along * along).sum(axis=1)
        share = np.clip((from_p * along).sum(axis=1) / np.where(square > 0.0, square, 1.0), 0.0, 1.0)
        to = share[:, None] * along - from_p
        distance = np.hypot(to[:, 0], to[:, 1])
        least = np.minimum.reduceat(distance, begin)
        local = row - rows[0]
        nearest = np.minimum.reduceat(np.where(distance == least[local], np.arange(len(row)), len(row)), begin)
        size = np.where(distance > 0.0, distance, 1.0) * np.where(least > 0.0, least, 1.0)[local]
        cosine = (to * to[nearest][local]).sum(axis=1) / size
        cosine[distance > least[local] + slack] = 1.0
        least_alike = np.minimum.reduceat(cosine, begin)
        # Of those that lie most opposite, the nearest.
        aside = np.where(cosine <= least_alike[local] + 0.02, distance, np.inf)
        least_aside = np.minimum.reduceat(aside, begin)
        other = np.minimum.reduceat(np.where(aside == least_aside[local], np.arange(len(row)), len(row)), begin)
        between = to[other] - to[nearest]
        near[rows] = least
        across[rows] = np.where(least_alike < OPPOSITE, np.hypot(between[:, 0], between[:, 1]), 0.0)
        yield some.stop / len(at)
    return near, across


def _centred(
    at: FloatArray,
    near: FloatArray,
    across: FloatArray,
    rows: IntArray,
    patch: IntArray,
    support: FloatArray,
    first: IntArray,
    step: float,
) -> Steps[None]:
    """Move the places ``rows`` of ``at`` to where they are farthest from any support, and measure them anew."""
    for halved in range(1, 8):
        step /= 2.0
        ways = step * (np.argwhere(np.ones((3, 3))) - 1)
        tried = np.repeat(at[rows], len(ways), axis=0)
        tried[:, :2] += np.tile(ways, (len(rows), 1))
        asking = _supports(tried, np.repeat(patch[rows], len(ways)), support, first, 2.0 * step)
        away, other = yield from part(asking, (halved - 1) / 8, halved / 8)
        best = away.reshape(-1, len(ways)).argmax(axis=1) + len(ways) * np.arange(len(rows))
        at[rows], near[rows], across[rows] = tried[best], away[best], other[best]


def _key(patch: IntArray, at: FloatArray, step: float) -> IntArray:
    """Give the key of the grid cell of each place: for 4 million patches within 100 m of the origin all different."""
    cell = np.floor(at[:, :2] / step).astype(np.int64) + (1 << 20)
    key: IntArray = (patch << 42) + (cell[:, 0] << 21) + cell[:, 1]
    return key


def _around(keys: IntArray, reach: int) -> IntArray:
    """Give the keys of the cells up to ``reach`` cells away in x and in y, (n, k)."""
    offset = np.arange(-reach, reach + 1)
    around: IntArray = keys[:, None] + ((offset[:, None] << 21) + offset).ravel()
    return around


def _most_around(keys: IntArray, values: FloatArray) -> FloatArray:
    """Give the largest of the values (n,) of all places in the cells round each place."""
    names, place = np.unique(keys, return_inverse=True)
    most = np.full(len(names), -np.inf)
    np.maximum.at(most, place.reshape(-1), values)
    around = _around(names, ROUND)
    there = np.minimum(np.searchsorted(names, around), max(0, len(names) - 1))
    best = np.where(names[there] == around, most[there], -np.inf).max(axis=1, initial=-np.inf)
    result: FloatArray = best[place.reshape(-1)]
    return result
