"""Exact level cross-sections of closed meshes: loops, their areas, and what lies inside what.

Every cut triangle gives one piece of outline, and the next piece lies in the triangle across the edge it leaves by: no
points are matched by place. A point at the very height of a cut counts as above it, so the section is that of a plane
just below: every section is closed loops, whatever lies level. Metal is on the left of every piece.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..base.errors import BadInput
from ..base.progress import Steps, finish, part
from .edges import BoolArray, pairing_edges
from .mesh import Body, FloatArray, IntArray, Mesh
from .weld import welding

# Entries of an expanded table worked on at a time.
CHUNK = 1 << 19
# Pieces of outline made at a time: they stay near the processor.
BLOCK = 1 << 17


@dataclass(frozen=True, slots=True, eq=False)
class Surface:
    """A closed surface ready to be cut: ``mesh`` with points made one, ``mate`` (3 m,) half-edge across each half-edge.

    ``source`` (m,): the triangle of the mesh it was made from.
    """

    mesh: Mesh
    mate: IntArray
    source: IntArray


def surface(mesh: Mesh, *, where: str = "mesh") -> Surface:
    """Make a mesh ready to be cut. Raises BadInput naming ``where`` when it is open or its faces disagree."""
    return finish(making_surface(mesh, where=where))


def making_surface(mesh: Mesh, *, where: str = "mesh") -> Steps[Surface]:
    """Do as `surface`, a step at a time."""
    joined = yield from part(welding(mesh.points, mesh.triangles), 0.0, 0.3)
    t = joined.triangles
    source = np.flatnonzero((t[:, 0] != t[:, 1]) & (t[:, 1] != t[:, 2]) & (t[:, 2] != t[:, 0]))
    if len(source) == 0:
        raise BadInput(f"{where}: all its triangles are without area, so it has no cross-sections; delete it")
    pairing = yield from part(pairing_edges(joined.points, t[source]), 0.3, 1.0)
    if (pairing.mate < 0).any():
        raise BadInput(f"{where}: the surface is open, so it has no cross-sections; fill the holes")
    if pairing.turned.any():
        raise BadInput(f"{where}: its faces disagree which side is out; recalculate the normals to the outside")
    return Surface(Mesh(joined.points, t[source]), pairing.mate, source)


@dataclass(frozen=True, slots=True, eq=False)
class Sections:
    """Level sections of a surface, as s pieces of outline in k loops, sorted by layer and then by loop.

    ``heights`` (l,) mm. Of each piece: ``start`` (s, 2) mm where it begins, ``following`` (s,) the piece that goes on
    from its end, ``loop`` (s,), ``triangle`` (s,) of the mesh given to `surface`. Of each loop: ``layer`` (k,),
    ``area_mm2`` (k,) positive when it goes round metal and negative round a hole, ``low`` and ``high`` (k, 2) its
    bounds, ``begin`` (k + 1,) its run of pieces.
    """

    heights: FloatArray
    start: FloatArray
    following: IntArray
    loop: IntArray
    triangle: IntArray
    layer: IntArray
    area_mm2: FloatArray
    low: FloatArray
    high: FloatArray
    begin: IntArray

    def end(self) -> FloatArray:
        """Give where every piece ends, (s, 2)."""
        return self.start[self.following]

    def outlines(self) -> tuple[FloatArray, ...]:
        """Give every loop as a closed polygon (n, 2), in order; the last point joins the first."""
        return _polygons(self.start, self.following, self.loop, self.begin)

    def outlines_at(self, layer: int) -> tuple[FloatArray, ...]:
        """Give the loops of one layer as `outlines` does."""
        first, last = np.searchsorted(self.layer, [layer, layer + 1])
        begin = self.begin[first : last + 1]
        here = slice(int(begin[0]), int(begin[-1]))
        return _polygons(self.start[here], self.following[here] - begin[0], self.loop[here] - first, begin - begin[0])


def _polygons(start: FloatArray, following: IntArray, loop: IntArray, begin: IntArray) -> tuple[FloatArray, ...]:
    """Give loops as polygons: pieces that begin at ``start`` (s, 2), sorted by ``loop`` (s,), ``begin`` (k + 1,)."""
    if len(start) == 0:
        return ()
    last = np.zeros(len(following), dtype=bool)
    last[np.flatnonzero(np.isin(following, begin[:-1]))] = True
    ahead = np.where(last, np.arange(len(last)), following)
    left = (~last).astype(np.int64)
    while left[ahead].any():
        left += left[ahead]
        ahead = ahead[ahead]
    order = np.lexsort((-left, loop))
    return tuple(np.split(start[order], begin[1:-1]))


def surface_of_all(bodies: Sequence[Body]) -> Steps[tuple[Surface, IntArray]]:
    """Make bodies ready to be cut as one surface; give it, and the number of the body of each of their triangles.

    A mesh that copies share is made ready once. Raises BadInput naming the body that is open or uneven.
    """
    known: dict[int, Surface] = {}
    points, corners, mates, sources = [], [], [], []
    count = triangles = half_edges = 0
    for number, body in enumerate(bodies):
        if id(body.mesh) not in known:
            making = making_surface(body.mesh, where=body.name)
            known[id(body.mesh)] = yield from part(making, number / len(bodies), (number + 0.9) / len(bodies))
        one = known[id(body.mesh)]
        points.append(body.pose.apply(one.mesh.points))
        corners.append(one.mesh.triangles + count)
        mates.append(one.mate + half_edges)
        sources.append(one.source + triangles)
        count += len(one.mesh.points)
        half_edges += len(one.mate)
        triangles += len(body.mesh.triangles)
        yield (number + 1) / len(bodies)
    every = Mesh(np.concatenate(points), np.concatenate(corners))
    owner = np.repeat(np.arange(len(bodies)), [len(body.mesh.triangles) for body in bodies])
    return Surface(every, np.concatenate(mates), np.concatenate(sources)), owner


def sections(of: Surface, heights: FloatArray) -> Sections:
    """Cut a surface at ``heights`` (l,), rising, mm."""
    return finish(cutting(of, heights))


def cutting(of: Surface, heights: FloatArray) -> Steps[Sections]:
    """Cut a surface like `sections`, a few layers at a time."""
    corner_z = of.mesh.points[:, 2][of.mesh.triangles.T]
    first = np.searchsorted(heights, corner_z.min(axis=0), side="right")
    last = np.searchsorted(heights, corner_z.max(axis=0), side="right")
    crossed = np.flatnonzero(last > first)
    cuts = np.cumsum(np.bincount(first[crossed], minlength=len(heights) + 1))
    cuts -= np.cumsum(np.bincount(last[crossed], minlength=len(heights) + 1))
    yield 0.0
    blocks = [_empty()]
    for some in chunks(cuts[:-1], BLOCK):
        blocks.append(_block(of, heights, crossed, first, last, some))
        yield some.stop / len(heights)
    found = _joined(heights, blocks)
    yield 1.0
    return found


@dataclass(frozen=True, slots=True, eq=False)
class _Block:
    """The sections of a run of layers, numbered from 0; the fields are those of `Sections`."""

    start: FloatArray
    following: IntArray
    loop: IntArray
    triangle: IntArray
    layer: IntArray
    area_mm2: FloatArray
    low: FloatArray
    high: FloatArray


def _empty() -> _Block:
    none, flat = np.zeros(0, dtype=np.int64), np.zeros((0, 2))
    return _Block(flat, none, none, none, none, np.zeros(0), flat, flat)


def _block(of: Surface, heights: FloatArray, crossed: IntArray, first: IntArray, last: IntArray, some: slice) -> _Block:
    """Cut the triangles ``crossed`` at the heights ``some``; triangle t from ``first[t]`` to before ``last[t]``."""
    begin = np.clip(first[crossed], some.start, some.stop)
    count = np.clip(last[crossed], some.start, some.stop) - begin
    here = np.flatnonzero(count)
    offset = np.zeros(len(first), dtype=np.int64)
    # Piece of triangle t at layer l: offset[t] + l.
    offset[crossed[here]] = np.cumsum(count[here]) - count[here] - begin[here]
    triangle, layer = expanded(crossed[here], begin[here], count[here])
    x, y, z = of.mesh.points.T[:, of.mesh.triangles[triangle].T]
    height = heights[layer]
    above = z >= height
    # Of three corners one or two are above: the outline enters by the half-edge that goes down and leaves by the other.
    enters = np.where(above[0] & ~above[1], 0, np.where(above[1] & ~above[2], 1, 2))
    leaves = np.where(~above[0] & above[1], 0, np.where(~above[1] & above[2], 1, 2))
    following = offset[of.mate[3 * triangle + leaves] // 3] + layer
    piece = np.arange(len(triangle))
    tail, head = enters, np.where(enters == 2, 0, enters + 1)
    share = (height - z[head, piece]) / (z[tail, piece] - z[head, piece])
    start = np.stack([v[head, piece] + (v[tail, piece] - v[head, piece]) * share for v in (x, y)], axis=1)
    return _sorted(start, following, layer, of.source[triangle])


def _sorted(start: FloatArray, following: IntArray, layer: IntArray, triangle: IntArray) -> _Block:
    """Give the loops numbers, bring their pieces together, and measure them."""
    if len(start) == 0:
        return _empty()
    root = _lowest_in_ring(following)
    order = np.argsort(layer * len(root) + root, kind="stable")
    place = np.empty_like(order)
    place[order] = np.arange(len(order))
    start, following, root = start[order], place[following[order]], root[order]
    fresh = np.concatenate([[True], root[1:] != root[:-1]])
    firsts = np.flatnonzero(fresh)
    loop = np.cumsum(fresh) - 1
    # From a point of the loop itself: far from the origin, a small area would be the difference of huge ones.
    x, y = (start - start[firsts][loop]).T
    twice = x * y[following] - y * x[following]
    return _Block(
        start,
        following,
        loop,
        triangle[order],
        layer[order[firsts]],
        np.add.reduceat(twice, firsts) / 2.0,
        np.minimum.reduceat(start, firsts),
        np.maximum.reduceat(start, firsts),
    )


def _joined(heights: FloatArray, blocks: list[_Block]) -> Sections:
    pieces = np.cumsum([0] + [len(block.loop) for block in blocks[:-1]])
    loops = np.cumsum([0] + [len(block.layer) for block in blocks[:-1]])
    loop = np.concatenate([block.loop + shift for block, shift in zip(blocks, loops, strict=True)])
    count = int(loops[-1]) + len(blocks[-1].layer)
    return Sections(
        heights,
        np.concatenate([block.start for block in blocks]),
        np.concatenate([block.following + shift for block, shift in zip(blocks, pieces, strict=True)]),
        loop,
        np.concatenate([block.triangle for block in blocks]),
        np.concatenate([block.layer for block in blocks]),
        np.concatenate([block.area_mm2 for block in blocks]),
        np.concatenate([block.low for block in blocks]),
        np.concatenate([block.high for block in blocks]),
        np.searchsorted(loop, np.arange(count + 1)),
    )


def _lowest_in_ring(following: IntArray) -> IntArray:
    """Give the lowest number on each number's ring, by pointer doubling."""
    lowest = np.arange(len(following))
    while True:
        lower = np.minimum(lowest, lowest[following])
        if np.array_equal(lower, lowest):
            return lowest
        lowest, following = lower, following[following]


def turns(of: Sections, points: FloatArray, point: IntArray, loop: IntArray) -> IntArray:
    """Count how often loops go round points: for pairs (p,) of a row of ``points`` (n, 2) and a loop, (p,) whole.

    Counter-clockwise turns count up. A point on the outline itself is given to one side.
    """
    found = np.zeros(len(point), dtype=np.int64)
    x, y = points[point].T
    inside = (of.low[loop, 0] <= x) & (x <= of.high[loop, 0]) & (of.low[loop, 1] <= y) & (y <= of.high[loop, 1])
    pairs = np.flatnonzero(inside)
    pieces = of.begin[loop[pairs] + 1] - of.begin[loop[pairs]]
    for some in chunks(pieces):
        pair, piece = expanded(pairs[some], of.begin[loop[pairs[some]]], pieces[some])
        x0, y0 = of.start[piece].T
        x1, y1 = of.start[of.following[piece]].T
        px, py = x[pair], y[pair]
        rises = (y0 <= py) & (py < y1)
        falls = (y1 <= py) & (py < y0)
        side = (x1 - x0) * (py - y0) - (px - x0) * (y1 - y0)
        step = (rises & (side > 0)).astype(np.int64) - (falls & (side < 0))
        found += np.bincount(pair, weights=step, minlength=len(point)).astype(np.int64)
    return found


def chunks(lengths: IntArray, size: int = CHUNK) -> list[slice]:
    """Cut rows of given lengths into runs of about ``size`` entries, at least a row each."""
    if len(lengths) == 0:
        return []
    runs = np.cumsum(lengths) // size
    cuts = np.flatnonzero(np.diff(runs)) + 1
    ends = [*cuts.tolist(), len(lengths)]
    return [slice(a, b) for a, b in zip([0, *ends[:-1]], ends, strict=True)]


def expanded(names: IntArray, begins: IntArray, lengths: IntArray) -> tuple[IntArray, IntArray]:
    """Repeat each name by its length, beside begin, begin + 1, ...: two arrays of one length."""
    ends = np.cumsum(lengths)
    total = int(ends[-1]) if len(ends) else 0
    return np.repeat(names, lengths), np.arange(total) + np.repeat(begins - ends + lengths, lengths)


def box_pairs(layer: IntArray, low: FloatArray, high: FloatArray, apart: int) -> IntArray:
    """Give the pairs (p, 2) of one box and another ``apart`` layers below it that overlap.

    ``layer`` (k,) rising; ``low`` and ``high`` (k, 2). With ``apart`` 0 every box is paired with itself too.
    """
    begins = np.searchsorted(layer, layer - apart, side="left")
    lengths = np.searchsorted(layer, layer - apart, side="right") - begins
    found = [np.zeros((0, 2), dtype=np.int64)]
    for some in chunks(lengths):
        a, b = expanded(np.arange(len(layer))[some], begins[some], lengths[some])
        meet = (low[a] <= high[b]).all(axis=1) & (low[b] <= high[a]).all(axis=1)
        found.append(np.stack([a[meet], b[meet]], axis=1))
    return np.concatenate(found)


def crossings(of: Sections, pairs: IntArray, shift: FloatArray) -> IntArray:
    """Find where pairs (p, 2) of loops cross, the first of each moved by ``shift`` (2,) mm; touching is not crossing.

    Gives (c, 3): the row of the pair, the piece of its first loop, the piece of its second.
    """
    low = np.maximum(of.low[pairs[:, 0]] + shift, of.low[pairs[:, 1]])
    high = np.minimum(of.high[pairs[:, 0]] + shift, of.high[pairs[:, 1]])
    found = [np.zeros((0, 3), dtype=np.int64)]
    for some in chunks((of.begin[pairs + 1] - of.begin[pairs]).sum(axis=1)):
        rows = np.arange(len(pairs))[some]
        row, piece = _pieces_within(of, rows, pairs[rows, 0], low, high, shift)
        other_row, other_piece = _pieces_within(of, rows, pairs[rows, 1], low, high, 0.0 * shift)
        begins = np.searchsorted(other_row, row)
        counts = np.searchsorted(other_row, row, side="right") - begins
        for run in chunks(counts):
            at, place = expanded(np.arange(len(row))[run], begins[run], counts[run])
            cross = _pieces_cross(of, piece[at], other_piece[place], shift)
            found.append(np.stack([row[at], piece[at], other_piece[place]], axis=1)[cross])
    return np.concatenate(found)


def _pieces_within(
    of: Sections, rows: IntArray, loop: IntArray, low: FloatArray, high: FloatArray, shift: FloatArray
) -> tuple[IntArray, IntArray]:
    """Give the pieces of each row's loop that reach into its bounds: the rows, and the pieces."""
    row, piece = expanded(rows, of.begin[loop], of.begin[loop + 1] - of.begin[loop])
    p, q = of.start[piece] + shift, of.start[of.following[piece]] + shift
    near = ((np.maximum(p, q) >= low[row]) & (np.minimum(p, q) <= high[row])).all(axis=1)
    return row[near], piece[near]


def _pieces_cross(of: Sections, a: IntArray, b: IntArray, shift: FloatArray) -> BoolArray:
    """Tell which pairs (p,) of pieces cross. Few pass the first half of the test, so only they meet the second."""

    def side(u: FloatArray, v: FloatArray, w: FloatArray) -> FloatArray:
        return np.asarray((v[:, 0] - u[:, 0]) * (w[:, 1] - u[:, 1]) - (v[:, 1] - u[:, 1]) * (w[:, 0] - u[:, 0]))

    p, q = of.start[a] + shift, of.start[of.following[a]] + shift
    r, s = of.start[b], of.start[of.following[b]]
    crossed = np.flatnonzero(side(p, q, r) * side(p, q, s) < 0.0)
    p, q, r, s = p[crossed], q[crossed], r[crossed], s[crossed]
    found = np.zeros(len(a), dtype=np.bool_)
    found[crossed] = side(r, s, p) * side(r, s, q) < 0.0
    return found
