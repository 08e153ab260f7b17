"""The thinnest metal of a closed mesh: the diameter of the smallest ball inside it that touches two opposite sides.

Two places p and q of the surface face each other through the metal when the line between them leaves both surfaces
within `LEAN_DEG` of square. The ball that touches the surface at p and passes through q has the diameter |d|^2 / (n.d),
with d from p to q and n the inward normal at p: the plain distance between parallel sides, the diameter of a round wire
from whatever two places it is taken. Small triangles are measured from middle to middle. Where a triangle is large
beside the distance, the nearest places of the two are taken instead, with the normals that the smooth surface has there
where the faces round a corner turn little; if those places do not face each other both triangles are split. So a box of
twelve triangles is measured as exactly as a fine one, and a coarse round wire as a round one.
"""

import math
from dataclasses import dataclass

import numpy as np

from ..base.progress import Steps, finish, part
from .hierarchy import CHILDREN, PAIR, block_size, levels_for, neighbours_first
from .mesh import FloatArray, IntArray, Mesh
from .surface import Surface, nearest_on, surface_of
from .triangle_pairs import closest_points

# A place thinner by less than this share is not looked for.
TOLERANCE = 1e-3
# How far off square a line through the metal may leave a side. Two sides that meet at a smaller angle than the rest of
# twice this (70 degrees) run out to a sharp edge; a square corner has no thickness of its own.
LEAN_DEG = 35.0
_SQUARE = math.cos(math.radians(LEAN_DEG))
_OPPOSITE = math.cos(math.radians(180.0 - 2.0 * LEAN_DEG))
# A triangle is large when it reaches farther than this share of the distance measured.
LARGE = 0.6
# A corner's faces belong to one smooth surface where their mean leans less than this from each: a round wire of five
# sides or more does, a square one does not.
_SMOOTH = math.cos(math.radians(40.0))
# Triangles are split no further than this share of the thinnest metal known, and mm.
SPLIT_SHARE, SPLIT_MM = 0.5, 0.02
# Thinnest an edge's triangles may be for the angle between them to mean anything, mm.
SLIVER_MM = 0.01
_ROUNDS = 12
# Splitting ends where it would make more triangles than this, or than twice those that are there.
_MOST = 30_000
_COARSEST = 32
_SLICE = 2048
_MEASURED = 4096
_VERIFIED = 1024
# Metal reaches at least so far round the middle of a line through it, as a share of half its length.
_FREE = 0.5
_SAMPLES, _TARGETS = 128, 4096


@dataclass(frozen=True, slots=True, eq=False)
class Wall:
    """The thinnest metal: ``thickness_mm`` between ``point_a`` and ``point_b`` (3,), in the mesh's own coordinates.

    ``sharp``: the metal runs out to an edge, both points lie on it and the thickness is 0.
    """

    thickness_mm: float
    point_a: FloatArray
    point_b: FloatArray
    sharp: bool


@dataclass(frozen=True, slots=True, eq=False)
class _Level:
    """Blocks of one size: ``centre`` (k, 3), ``radius`` (k,) round whole triangles, mean ``normal`` (k, 3).

    ``spread`` (k,): the largest angle of a triangle's normal from it, radians.
    """

    centre: FloatArray
    radius: FloatArray
    normal: FloatArray
    spread: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class _Faces:
    """Triangles in the order of their blocks, the last one repeated to fill up the last block.

    ``corners`` (t, 3, 3), unit ``normal`` (t, 3), that of the smooth surface at the corners ``smooth`` (t, 3, 3),
    ``middle`` (t, 3), ``reach`` (t,) of the corners from it; ``levels``, finest first.
    """

    corners: FloatArray
    normal: FloatArray
    smooth: FloatArray
    middle: FloatArray
    reach: FloatArray
    levels: tuple[_Level, ...]


class _Best:
    """The thinnest place so far, and the triangles that must be split to know better."""

    def __init__(self, surface: Surface, size_mm: float) -> None:
        self.surface = surface
        self.mm = size_mm
        self.points: tuple[FloatArray, FloatArray] | None = None
        self.split: list[IntArray] = []

    def offer(self, thickness: FloatArray, p: FloatArray, q: FloatArray) -> IntArray:
        """Take the thinnest of some places (n,) with metal all round the middle of the line between them.

        Gives the numbers of thinner ones that run along the surface, as at the corner of a box.
        """
        order = np.flatnonzero(thickness < self.mm * (1.0 - TOLERANCE))
        order = order[np.argsort(thickness[order], kind="stable")]
        for start in range(0, len(order), _VERIFIED):
            some = order[start : start + _VERIFIED]
            half = 0.5 * np.linalg.norm(q[some] - p[some], axis=1)
            met = finish(nearest_on(self.surface, 0.5 * (p[some] + q[some]), _FREE * half))
            whole = np.flatnonzero(met.triangle < 0)
            if len(whole):
                chosen = some[whole[0]]
                self.mm, self.points = float(thickness[chosen]), (p[chosen], q[chosen])
                return order[: start + int(whole[0])]
        return order


def thinnest_wall(mesh: Mesh) -> Steps[Wall | None]:
    """Find the thinnest metal of a closed mesh that looks outward; None where no two sides face each other."""
    corners = mesh.corners()
    normal, area = _normals(corners)
    sharp = _sharp_edge(mesh, normal, area)
    yield 0.05
    if sharp is not None:
        return Wall(0.0, sharp, sharp, True)
    smooth = _smooth(mesh, corners, normal)
    corners, normal, smooth = (x[area > 0.0] for x in (corners, normal, smooth))
    if len(corners) == 0:
        return None
    yield 0.05
    surface = yield from part(surface_of(mesh), 0.05, 0.15)
    best = _Best(surface, 2.0 * float(np.linalg.norm(surface.high - surface.low)))
    most = max(_MOST, 2 * len(corners))
    narrow = float((surface.high - surface.low).min())
    begin = 0.15
    for turn in range(_ROUNDS):
        known = best.mm
        faces, order = yield from part(_faces(corners, normal, smooth), begin, begin + 0.02)
        _sample(faces, best)
        best.split = []
        yield from part(_search(faces, best), begin + 0.02, begin + 0.07)
        begin += 0.07
        wanted = np.unique(np.concatenate(best.split)) if best.split else np.zeros(0, dtype=np.int64)
        wanted = np.unique(order[wanted])
        reach = np.sqrt(((corners[wanted] - corners[wanted].mean(axis=1)[:, None]) ** 2).sum(axis=2).max(axis=1))
        wanted = wanted[reach > max(SPLIT_MM, SPLIT_SHARE * min(best.mm, narrow))]
        settled = turn > 0 and best.points is not None and best.mm == known
        if len(wanted) == 0 or settled or len(corners) + 3 * len(wanted) > most:
            break
        corners, smooth = _split(corners, wanted), _split(smooth, wanted)
        normal = np.concatenate((np.delete(normal, wanted, axis=0), np.tile(normal[wanted], (4, 1))))
    if best.points is None:
        return None
    return Wall(best.mm, *best.points, False)


def _normals(corners: FloatArray) -> tuple[FloatArray, FloatArray]:
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(normal, axis=1)
    return normal / np.where(length > 0.0, length, 1.0)[:, None], 0.5 * length


def _sharp_edge(mesh: Mesh, normal: FloatArray, area: FloatArray) -> FloatArray | None:
    """Give the middle of the sharpest edge between two faces that meet at less than the angle told above, or None."""
    _, point = np.unique(mesh.points, axis=0, return_inverse=True)
    ends = point.reshape(-1)[mesh.triangles]
    low = np.minimum(ends, ends[:, (1, 2, 0)]).ravel()
    high = np.maximum(ends, ends[:, (1, 2, 0)]).ravel()
    order = np.lexsort((high, low))
    low, high = low[order], high[order]
    first = np.flatnonzero((low[1:] == low[:-1]) & (high[1:] == high[:-1]))
    a, b = order[first], order[first + 1]
    leans = np.flatnonzero((normal[a // 3] * normal[b // 3]).sum(axis=1) < _OPPOSITE)
    a, b = a[leans], b[leans]
    start, end = mesh.points[mesh.triangles.ravel()[a]], mesh.points[mesh.triangles[:, (1, 2, 0)].ravel()[a]]
    length = np.linalg.norm(end - start, axis=1)
    third = mesh.points[mesh.triangles[:, (2, 0, 1)].ravel()[b]]
    # The other face falls away behind this one: the metal lies between them.
    convex = ((third - start) * normal[a // 3]).sum(axis=1) < 0.0
    height = 2.0 * np.minimum(area[a // 3], area[b // 3]) / np.where(length > 0.0, length, 1.0)
    kept = np.flatnonzero(convex & (height > SLIVER_MM) & (length > SLIVER_MM))
    if len(kept) == 0:
        return None
    angle = (normal[a[kept] // 3] * normal[b[kept] // 3]).sum(axis=1)
    worst = kept[int(angle.argmin())]
    middle: FloatArray = 0.5 * (start[worst] + end[worst])
    return middle


def _smooth(mesh: Mesh, corners: FloatArray, normal: FloatArray) -> FloatArray:
    """Give the unit normal of the smooth surface at every corner (t, 3, 3), the triangle's own where it is not smooth.

    The mean of the faces round a point, each by its angle there (G. Thuermer and C. A. Wuethrich, Computing vertex
    normals from polygonal facets, 1998).
    """
    first, second = corners[:, (1, 2, 0)] - corners, corners[:, (2, 0, 1)] - corners
    lengths = np.linalg.norm(first, axis=2) * np.linalg.norm(second, axis=2)
    cosine = (first * second).sum(axis=2) / np.where(lengths > 0.0, lengths, 1.0)
    angle = np.arccos(np.clip(cosine, -1.0, 1.0))
    at = mesh.triangles.ravel()
    turned = (angle[:, :, None] * normal[:, None]).reshape(-1, 3)
    mean = np.stack([np.bincount(at, turned[:, axis], len(mesh.points)) for axis in range(3)], axis=1)
    length = np.linalg.norm(mean, axis=1)
    mean = mean / np.where(length > 0.0, length, 1.0)[:, None]
    of_corner = mean[mesh.triangles]
    is_smooth = (of_corner * normal[:, None]).sum(axis=2) > _SMOOTH
    found: FloatArray = np.where(is_smooth[:, :, None], of_corner, normal[:, None])
    return found


def _faces(corners: FloatArray, normal: FloatArray, smooth: FloatArray) -> Steps[tuple[_Faces, IntArray]]:
    """Sort triangles into blocks; also gives their numbers before, (t,)."""
    order = yield from part(neighbours_first(np.ascontiguousarray(corners.sum(axis=1).T)), 0.0, 0.5)
    levels = levels_for(len(order), _COARSEST)
    order = np.concatenate((order, np.full(-len(order) % block_size(levels - 1), order[-1])))
    placed, facing = corners[order], normal[order]
    middle = placed.mean(axis=1)
    reach = np.sqrt(((placed - middle[:, None]) ** 2).sum(axis=2).max(axis=1))
    made = []
    for level in range(levels):
        size = block_size(level)
        block = placed.reshape(-1, size * 3, 3)
        centre = 0.5 * (block.min(axis=1) + block.max(axis=1))
        radius = np.sqrt(((block - centre[:, None]) ** 2).sum(axis=2).max(axis=1))
        of_block = facing.reshape(-1, size, 3)
        mean = of_block.sum(axis=1)
        length = np.linalg.norm(mean, axis=1)
        mean = mean / np.where(length > 0.0, length, 1.0)[:, None]
        turn = np.clip((of_block * mean[:, None]).sum(axis=2).min(axis=1), -1.0, 1.0)
        # Where normals cancel out there is no mean, and any direction may occur.
        spread = np.where(length > 1e-9, np.arccos(turn) + 1e-6, math.pi)
        made.append(_Level(centre, radius, mean, spread))
        yield 0.5 + 0.5 * level / levels
    return _Faces(placed, facing, smooth[order], middle, reach, tuple(made)), order


def _sample(faces: _Faces, best: _Best) -> None:
    """Look from some places at many, to know a small thickness before the search."""
    t = len(faces.middle)
    a, b = np.arange(0, t, -(-t // _SAMPLES)), np.arange(0, t, -(-t // _TARGETS))
    d = faces.middle[b] - faces.middle[a][:, None]
    thickness = _thickness(d, faces.normal[a][:, None], faces.normal[b])
    chosen = thickness.argmin(axis=1)
    best.offer(thickness[np.arange(len(a)), chosen], faces.middle[a], faces.middle[b[chosen]])


def _thickness(d: FloatArray, normal_p: FloatArray, normal_q: FloatArray) -> FloatArray:
    """Give the diameter of the ball through both ends of d (..., 3), infinite where they do not face each other."""
    square = (d * d).sum(axis=-1)
    length = np.sqrt(square)
    out_p, out_q = -(d * normal_p).sum(axis=-1), (d * normal_q).sum(axis=-1)
    faces = (np.minimum(out_p, out_q) >= _SQUARE * length) & (length > 0.0)
    mean = 0.5 * (out_p + out_q)
    thickness: FloatArray = np.where(faces, square / np.where(mean > 0.0, mean, 1.0), np.inf)
    return thickness


def _search(faces: _Faces, best: _Best) -> Steps[None]:
    top = len(faces.levels) - 1
    a, b = np.triu_indices(len(faces.levels[top].radius))
    yield from _descend(faces, best, top, *_may(faces.levels[top], a, b, best))


def _may(level: _Level, a: IntArray, b: IntArray, best: _Best) -> tuple[IntArray, IntArray]:
    """Keep the pairs of blocks that may hold thinner metal: near enough, both looking away along the line between."""
    apart = level.centre[b] - level.centre[a]
    length = np.sqrt((apart * apart).sum(axis=1))
    reach = level.radius[a] + level.radius[b]
    near = np.flatnonzero(length - reach < best.mm)
    a, b, apart, length, reach = a[near], b[near], apart[near], length[near], reach[near]
    # A line from one block to the other leaves the line of their middles by so much at most.
    aside = np.where(length > reach, np.arcsin(np.minimum(reach / np.where(length > 0.0, length, 1.0), 1.0)), math.pi)
    kept = np.ones(len(a), dtype=np.bool_)
    for block, way in ((a, -apart), (b, apart)):
        along = (way * level.normal[block]).sum(axis=1) / np.where(length > 0.0, length, 1.0)
        kept &= np.arccos(np.clip(along, -1.0, 1.0)) <= math.radians(LEAN_DEG) + level.spread[block] + aside
    return a[kept], b[kept]


def _descend(faces: _Faces, best: _Best, level: int, a: IntArray, b: IntArray) -> Steps[None]:
    parts = PAIR if level == 0 else CHILDREN
    row, column = (x.ravel() for x in np.meshgrid(np.arange(parts), np.arange(parts), indexing="ij"))
    for start in range(0, len(a), _SLICE):
        here, there = a[start : start + _SLICE], b[start : start + _SLICE]
        if level > 0:
            here, there = _may(faces.levels[level], here, there, best)
        one = (here[:, None] * parts + row).ravel()
        two = (there[:, None] * parts + column).ravel()
        once = one <= two
        share, end = start / len(a), min(1.0, (start + _SLICE) / len(a))
        if level == 0:
            _measure(faces, best, one[once], two[once])
        else:
            some = _may(faces.levels[level - 1], one[once], two[once], best)
            yield from part(_descend(faces, best, level - 1, *some), share, end)
        yield end


def _measure(faces: _Faces, best: _Best, a: IntArray, b: IntArray) -> None:
    """Measure pairs of triangles, and write down which must be split."""
    opposed = np.flatnonzero((faces.normal[a] * faces.normal[b]).sum(axis=1) <= _OPPOSITE)
    a, b = a[opposed], b[opposed]
    d = faces.middle[b] - faces.middle[a]
    length = np.linalg.norm(d, axis=1)
    reach = np.maximum(faces.reach[a], faces.reach[b])
    large = reach > LARGE * length
    small = ~large
    best.offer(
        _thickness(d[small], faces.normal[a[small]], faces.normal[b[small]]),
        faces.middle[a[small]],
        faces.middle[b[small]],
    )
    a, b = a[large], b[large]
    near = length[large] - faces.reach[a] - faces.reach[b] < best.mm
    a, b = a[near], b[near]
    for start in range(0, len(a), _MEASURED):
        one, two = a[start : start + _MEASURED], b[start : start + _MEASURED]
        gap, p, q = closest_points(faces.corners[one], faces.corners[two])
        thickness = _thickness(q - p, _normal_at(faces, one, p), _normal_at(faces, two, q))
        aside = best.offer(thickness, p, q)
        undecided = np.concatenate((aside, np.flatnonzero((gap < best.mm) & np.isinf(thickness))))
        best.split.append(np.concatenate((one[undecided], two[undecided])))


def _normal_at(faces: _Faces, triangle: IntArray, place: FloatArray) -> FloatArray:
    """Give the unit normals of the smooth surface at places (n, 3) on triangles (n,)."""
    a, b, c = faces.corners[triangle].swapaxes(0, 1)
    area = (np.cross(b - a, c - a) * faces.normal[triangle]).sum(axis=1)
    of_b = (np.cross(place - a, c - a) * faces.normal[triangle]).sum(axis=1) / area
    of_c = (np.cross(b - a, place - a) * faces.normal[triangle]).sum(axis=1) / area
    shares = np.stack((1.0 - of_b - of_c, of_b, of_c), axis=1)
    normal = (shares[:, :, None] * faces.smooth[triangle]).sum(axis=1)
    unit: FloatArray = normal / np.linalg.norm(normal, axis=1, keepdims=True)
    return unit


def _split(corners: FloatArray, which: IntArray) -> FloatArray:
    """Split some triangles (t, 3, 3) into four, which come last."""
    a, b, c = corners[which].swapaxes(0, 1)
    ab, bc, ca = 0.5 * (a + b), 0.5 * (b + c), 0.5 * (c + a)
    quarters = [np.stack(four, axis=1) for four in ((a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca))]
    return np.concatenate((np.delete(corners, which, axis=0), *quarters))
