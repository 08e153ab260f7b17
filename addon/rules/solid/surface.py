"""The place of a mesh's surface nearest to a point, for many points at once: exact, in the mesh's own coordinates.

The surface is kept as blocks of neighbouring triangles, each inside a disc (see `hierarchy`), and every triangle also
as its plane and the three planes through its edges that stand upright on it. Every point first goes straight down to
the triangles that look nearest and measures them; then only blocks whose disc comes nearer than that are opened, and of
their triangles only those are measured whose planes allow a smaller distance. Discs and planes are compared in single
precision and give way by more than it errs; measured is in float64. So the answer is exact whatever the bounds are
worth; they decide only how long it takes.
"""

import math
from dataclasses import dataclass

import numpy as np

from ..base.errors import BadInput
from ..base.progress import Steps, part
from .feet import feet
from .hierarchy import CHILDREN, PAIR, RADIUS, THICK, block_size, blocks, levels_for, neighbours_first
from .mesh import FloatArray, IntArray, Mesh
from .point_bounds import SLACK, disc_squares, plane_squares, triangle_planes
from .rough_bounds import Float32Array
from .triangle_pairs import dot

# Coarsest blocks at most: every point is compared with all of them.
COARSEST = 32
# Points searched together: what they are compared with then fits a core's own cache.
TOGETHER = 2048
# Pairs of point and block opened, and of point and triangle measured, at a time.
MOST = 16_384
MEASURED = 4096
# Triangles given planes at a time.
_TRIANGLES = 65_536
# A double errs by this share of a coordinate.
_DOUBLE = 1e-15
# Points so many times the mesh's size away are measured without bounds; and what keeps a block out of every search.
FAR = 1e12
VOID = np.float32(-1e15)
# Squares below this are lost in single precision.
_TINY = 1e-30


@dataclass(frozen=True, slots=True, eq=False)
class Surface:
    """A mesh made ready for `nearest_on`: once for a mesh, however often it is asked.

    ``corners`` (3, 3, t): corner, coordinate, triangle, in the order of the blocks, the last one repeated up to whole
    blocks; ``numbers`` (t,): which triangle of the mesh it is; ``low`` and ``high`` (3,): the box of the triangles.
    What is in single precision is seen from the ``middle`` (3,) of the box in units of its size ``unit_mm``: ``discs``
    (8, blocks) per level, finest first, as in `hierarchy`; ``planes`` (4, 4, t): the triangle's own and those through
    its edges, each a unit normal and its height, all 0 for slivers. ``slack``: what may be wrong with them.
    """

    corners: FloatArray
    numbers: IntArray
    low: FloatArray
    high: FloatArray
    middle: FloatArray
    unit_mm: float
    discs: tuple[Float32Array, ...]
    planes: Float32Array
    slack: float


@dataclass(frozen=True, slots=True, eq=False)
class NearestOn:
    """The nearest place of a surface for every point.

    ``distance_mm`` (n,), infinite where nothing is near enough; ``triangle`` (n,) its number in the mesh, there -1;
    ``foot`` (n, 3) the place itself in mm, there nan.
    """

    distance_mm: FloatArray
    triangle: IntArray
    foot: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class _Search:
    """Points on their way: ``at`` (3, n) in mm, ``seen`` (3, n) as the bounds see them, ``slack`` (n,) for planes.

    What is found so far: ``square`` (n,) of the distance in mm2, ``rough`` (n,) the same in the surface's units and
    rounded up, ``triangle`` (n,) or -1.
    """

    surface: Surface
    at: FloatArray
    seen: Float32Array
    slack: Float32Array
    square: FloatArray
    rough: Float32Array
    triangle: IntArray

    def lower(self, point: IntArray, square: FloatArray, triangle: IntArray) -> None:
        """Write down what was measured, where it is nearer than what is known."""
        better = np.flatnonzero(square < self.square[point])
        point, square = point[better], square[better]
        np.minimum.at(self.square, point, square)
        won = np.flatnonzero(square == self.square[point])
        at = point[won]
        self.triangle[at] = triangle[better[won]]
        self.rough[at] = _rounded_up(self.square[at], self.surface.unit_mm)


def surface_of(mesh: Mesh) -> Steps[Surface]:
    """Make a mesh ready for `nearest_on`. Triangles without area count as the segments or points that they are."""
    points = np.ascontiguousarray(mesh.points.T)
    places = np.zeros((3, len(mesh.triangles)))
    for corner in mesh.triangles.T:
        places += points.take(corner, axis=1)
        yield 0.0
    order = yield from part(neighbours_first(places), 0.0, 0.4)
    levels = levels_for(len(order), COARSEST)
    missing = -len(order) % block_size(levels - 1)
    real = np.ones(len(order) + missing, dtype=np.bool_)
    real[len(order) :] = False
    numbers = np.concatenate((order, np.full(missing, order[-1])))
    corners = np.empty((3, 3, len(numbers)))
    for corner in range(3):
        corners[corner] = points.take(mesh.triangles[:, corner].take(numbers), axis=1)
        yield 0.4
    low, high = corners.min(axis=(0, 2)), corners.max(axis=(0, 2))
    middle = (low + high) / 2
    unit = float((high - low).max()) or 1.0
    yield 0.4
    seen = np.empty_like(corners)
    for corner in range(3):
        np.subtract(corners[corner], middle[:, None], out=seen[corner])
        seen[corner] /= unit
        yield 0.4
    tree = yield from part(blocks(seen, real, levels), 0.4, 0.8)
    yield 0.8
    slack = SLACK + _DOUBLE * float(np.abs(middle).max()) / unit
    discs = []
    for level in tree.discs:
        disc = level.astype(np.float32)
        disc[THICK : RADIUS + 1] += np.float32(slack)
        np.maximum(disc[THICK], VOID, out=disc[THICK])
        discs.append(disc)
        yield 0.8
    planes = np.empty((4, 4, len(numbers)), dtype=np.float32)
    for start in range(0, len(numbers), _TRIANGLES):
        planes[..., start : start + _TRIANGLES] = triangle_planes(seen[..., start : start + _TRIANGLES])
        yield 0.8 + 0.2 * start / len(numbers)
    return Surface(corners, numbers, low, high, middle, unit, tuple(discs), planes, slack)


def nearest_on(surface: Surface, points: FloatArray, within_mm: float | FloatArray = math.inf) -> Steps[NearestOn]:
    """Find the nearest place of a surface for every point (n, 3), if nearer than ``within_mm``, one or (n,).

    Points in the mesh's own coordinates, mm. Of several places equally near it tells any one. Raises BadInput for
    points that are not (n, 3) or not finite, and for a range that is not a number.
    """
    given = np.asarray(points, dtype=np.float64)
    within = np.asarray(within_mm, dtype=np.float64)
    if given.ndim != 2 or given.shape[1] != 3 or not np.isfinite(given).all():
        raise BadInput(f"points: must be (n, 3) finite numbers, are {given.shape}; leave out those that are not")
    if np.isnan(within).any() or within.shape not in ((), (len(given),)):
        raise BadInput("range of points: must be one number or one for each point; give inf where there is none")
    square = np.broadcast_to(np.maximum(within, 0.0) ** 2, len(given))
    triangle = np.full(len(given), -1, dtype=np.int64)
    distance = np.full(len(given), np.inf)
    foot = np.full((len(given), 3), np.nan)
    apart = np.maximum(np.maximum(surface.low - given, given - surface.high), 0.0)
    near = np.flatnonzero(dot(apart.T, apart.T) < square)
    for start in range(0, len(near), TOGETHER):
        here = near[start : start + TOGETHER]
        search = _begun(surface, np.ascontiguousarray(given[here].T), square[here])
        yield from part(_search(search), start / len(near), min(1.0, (start + TOGETHER) / len(near)))
        met = np.flatnonzero(search.triangle >= 0)
        of = search.triangle[met]
        exact, on = feet(surface.corners.take(of, axis=2), search.at[:, met])
        triangle[here[met]] = surface.numbers[of]
        distance[here[met]] = np.sqrt(exact)
        foot[here[met]] = on.T
    return NearestOn(distance, triangle, foot)


def _begun(surface: Surface, at: FloatArray, square: FloatArray) -> _Search:
    seen = (at - surface.middle[:, None]) / surface.unit_mm
    far = np.abs(seen).max(axis=0)
    seen[:, far > FAR] = 0.0
    far[far > FAR] = 0.0
    none = np.full(len(square), -1, dtype=np.int64)
    rough = _rounded_up(square, surface.unit_mm)
    slack = (surface.slack * (1.0 + far)).astype(np.float32)
    return _Search(surface, at, seen.astype(np.float32), slack, square.copy(), rough, none)


def _rounded_up(square: FloatArray, unit_mm: float) -> Float32Array:
    """Give squared distances as the bounds see them: infinite where the point is too far away to be seen."""
    seen = square * (1.0 + SLACK) / unit_mm / unit_mm + _TINY
    seen[seen > (FAR / 2) ** 2] = np.inf
    rough: Float32Array = seen.astype(np.float32)
    return rough


def _search(search: _Search) -> Steps[None]:
    """Find the nearest triangle of every point."""
    discs = search.surface.discs
    top = len(discs) - 1
    count = discs[top].shape[1]
    bound, guess = disc_squares(discs[top][:, :, None], search.seen[:, None])
    hopeful = np.flatnonzero(bound.min(axis=0) < search.rough)
    _dive(search, top, hopeful, guess[:, hopeful].argmin(axis=0))
    at = np.flatnonzero((bound < search.rough).T)
    point, block = np.divmod(at, count)
    yield 0.2
    yield from part(_descend(search, top, point, block, bound[block, point]), 0.2, 1.0)


def _dive(search: _Search, level: int, point: IntArray, block: IntArray) -> None:
    """Follow one block of every point, the most promising child each time, and measure the triangles at the end."""
    seen = np.repeat(search.seen[:, point], CHILDREN, axis=1)
    while level > 0:
        level -= 1
        _, guess = disc_squares(_parts(search.surface.discs[level], block, CHILDREN), seen)
        block = block * CHILDREN + guess.reshape(-1, CHILDREN).argmin(axis=1)
    bound = _of_planes(search, point, block)
    _measure(search, point, block * PAIR + bound.reshape(-1, PAIR).argmin(axis=1))


def _descend(search: _Search, level: int, point: IntArray, block: IntArray, bound: Float32Array) -> Steps[None]:
    """Open pairs of point and block until only measured triangles are left. They run in the order of the points."""
    for start in range(0, len(point), MOST):
        here, opened = point[start : start + MOST], block[start : start + MOST]
        end = min(1.0, (start + MOST) / len(point))
        if level == 0:
            _finish(search, here, opened, bound[start : start + MOST])
        else:
            discs = _parts(search.surface.discs[level - 1], opened, CHILDREN)
            nearer, guess = disc_squares(discs, np.repeat(search.seen.take(here, axis=1), CHILDREN, axis=1))
            here, children = np.repeat(here, CHILDREN), _split(opened, CHILDREN)
            kept = np.flatnonzero(nearer < search.rough[here])
            if len(kept) == 0:
                continue
            # A wrong turn higher up has left the distance too large: worth mending before the many finest blocks.
            if level == 1:
                chosen = kept[_lowest(here[kept], guess[kept])]
                _dive(search, level - 1, here[chosen], children[chosen])
                kept = kept[nearer[kept] < search.rough[here[kept]]]
            opening = _descend(search, level - 1, here[kept], children[kept], nearer[kept])
            yield from part(opening, start / len(point), end)
        yield end


def _finish(search: _Search, point: IntArray, block: IntArray, of_block: Float32Array) -> None:
    """Measure the triangles of finest blocks as far as their planes allow: of every point the most promising first."""
    bound = _of_planes(search, point, block)
    np.maximum(bound, np.repeat(of_block, PAIR), out=bound)
    point, triangle = np.repeat(point, PAIR), _split(block, PAIR)
    kept = np.flatnonzero(bound < search.rough[point])
    if len(kept) == 0:
        return
    point, triangle, bound = point[kept], triangle[kept], bound[kept]
    first = _lowest(point, bound)
    _measure(search, point[first], triangle[first])
    bound[first] = np.inf
    rest = np.flatnonzero(bound < search.rough[point])
    for start in range(0, len(rest), MEASURED):
        some = rest[start : start + MEASURED]
        _measure(search, point[some], triangle[some])


def _lowest(point: IntArray, value: Float32Array) -> IntArray:
    """Give the place of the lowest value of every point; equal points stand side by side."""
    begin = np.flatnonzero(np.concatenate(([True], point[1:] != point[:-1])))
    lowest = np.minimum.reduceat(value, begin)
    at = np.flatnonzero(value == np.repeat(lowest, np.diff(np.append(begin, len(point)))))
    one: IntArray = at[np.append(True, point[at[1:]] != point[at[:-1]])]
    return one


def _measure(search: _Search, point: IntArray, triangle: IntArray) -> None:
    square, _ = feet(search.surface.corners.take(triangle, axis=2), search.at.take(point, axis=1))
    search.lower(point, square, triangle)


def _split(block: IntArray, parts: int) -> IntArray:
    """Give the numbers of the parts of blocks (n,), side by side: (parts * n,)."""
    begin = block * parts
    numbers = np.empty((len(block), parts), dtype=np.int64)
    for column in range(parts):
        np.add(begin, column, out=numbers[:, column])
    return numbers.reshape(-1)


def _parts(values: Float32Array, block: IntArray, parts: int) -> Float32Array:
    """Pick from values (..., k) those of the parts of blocks (n,), side by side: (..., parts * n)."""
    rows = values.shape[:-1]
    picked: Float32Array = values.reshape(*rows, -1, parts).take(block, axis=len(rows)).reshape(*rows, -1)
    return picked


def _of_planes(search: _Search, point: IntArray, block: IntArray) -> Float32Array:
    """Bound the squared distance of points (n,) from the triangles of finest blocks (n,), side by side: (2 * n,)."""
    planes = _parts(search.surface.planes, block, PAIR)
    seen = np.repeat(search.seen.take(point, axis=1), PAIR, axis=1)
    return plane_squares(planes, seen, np.repeat(search.slack[point], PAIR))
