"""The elements of bodies that we did not draw: slices by how far their metal lies along the body.

From one end distances run through the metal, round every hole both ways. What lies within one step of distance and
hangs together is a slice: across a wire it is a piece of that wire, in a lump a layer of it. Slices of a closed loop
follow each other both ways round and meet at its far side (a Reeb graph of the distance).
"""

import numpy as np

from ..base.progress import finish
from ..solid.measure import area_mm2, volume_mm3
from ..solid.mesh import FloatArray, IntArray, Mesh
from .nearest_element import Elements
from .occupied import Occupied, occupied
from .part import Part, Shape
from .surface_points import PIECE, given_to, surface_points

# Cells over the body's thickness, and the most cells.
ACROSS, MOST_CELLS = 5.0, 12000
# A slice's depth over the thickness, and the most slices one after the other.
SHARE, MOST_SLICES = 0.7, 30
# A slice with less than this share of the middle one's metal joins the neighbour it touches most; at an end more so.
LEAST, LEAST_END = 0.2, 0.7
# How often distances are evened out: enough for the cells across.
ROUNDS = 12
# Faces of cells that look every way have this much more area than the plane they stand for.
ROUGH = 1.5
# At the rim cells meet by corners only: so much is added to the square root of the faces between two slices.
RIM = 0.5


def thickness_mm(mesh: Mesh) -> float:
    """Give the diameter of the round rod with a mesh's volume over area, mm (Chvorinov's modulus, times 4)."""
    return 4 * abs(volume_mm3(mesh)) / max(area_mm2(mesh), 1e-9)


def foreign_shape(mesh: Mesh, h_mm: float) -> Shape:
    """Cut a body into slices; ``h_mm`` is how finely its surface is looked at.

    Volumes sum up to the mesh's, areas to its area. Sections are those of the faces between slices.
    """
    thick, whole = thickness_mm(mesh), abs(volume_mm3(mesh))
    width = max(thick / ACROSS, (whole / MOST_CELLS) ** (1 / 3))
    none = np.zeros(len(mesh.triangles), dtype=np.int64)
    grid, cells = finish(occupied(mesh.points, mesh.triangles, none, np.zeros(1, dtype=np.int64), width))
    if not len(cells.at):
        return _lump(mesh, h_mm)
    place = np.floor((cells.at - grid.low) / width).astype(np.int64)
    beside, ways = _neighbours(place)
    wanted = SHARE * thick / width
    of = _sliced(beside, ways, _first_slice(beside, ways, _end(cells.at), wanted), wanted)
    of = _merged(of, beside)
    count = int(of.max()) + 1
    many = np.bincount(of, minlength=count)
    at = np.stack([np.bincount(of, cells.at[:, k], minlength=count) for k in range(3)], axis=1) / many[:, None]
    volume: FloatArray = whole * many / many.sum()
    joints, joint_mm2 = _between(of, beside, width)
    surface = given_to(
        mesh.points, mesh.triangles, PIECE * h_mm, lambda p, normal: _whose(p, normal, grid, place, of, at)
    )
    area = np.asarray(np.bincount(surface.of, surface.area_mm2, minlength=count), dtype=np.float64)
    meets = np.bincount(joints.ravel(), minlength=count)
    mean = np.bincount(joints.ravel(), np.repeat(joint_mm2, 2), minlength=count) / np.maximum(meets, 1)
    step = SHARE * thick
    length = np.where(meets > 0, np.clip(volume / np.maximum(mean, 1e-9), 0.3 * step, 3 * step), whole ** (1 / 3))
    part = Part(
        at,
        length,
        4 * _with_neighbours(volume, joints) / np.maximum(_with_neighbours(area, joints), 1e-9),
        volume / length,
        np.zeros(count, dtype=bool),
        joints,
        joint_mm2,
        np.zeros((0, 3)),
        np.zeros(0),
    )
    return Shape(part, volume, surface)


def _with_neighbours(values: FloatArray, joints: IntArray) -> FloatArray:
    """Add to each value those of the slices beside it."""
    a, b = joints.T
    count = len(values)
    return values + np.bincount(a, values[b], minlength=count) + np.bincount(b, values[a], minlength=count)


def _lump(mesh: Mesh, h_mm: float) -> Shape:
    """Take a body too thin for cells as one element."""
    none = np.zeros(len(mesh.triangles), dtype=np.int64)
    surface = surface_points(mesh.points, mesh.triangles, none, PIECE * h_mm)
    volume, thick = np.array([abs(volume_mm3(mesh))]), thickness_mm(mesh)
    size = float(np.ptp(mesh.points, axis=0).max())
    at = mesh.points[mesh.triangles].mean(axis=(0, 1))[None]
    empty = np.zeros(0)
    part = Part(
        at,
        np.array([size]),
        np.array([thick]),
        volume / size,
        np.zeros(1, dtype=bool),
        np.zeros((0, 2), dtype=np.int64),
        empty,
        np.zeros((0, 3)),
        empty,
    )
    return Shape(part, volume, surface)


def _neighbours(place: IntArray) -> tuple[IntArray, FloatArray]:
    """Give the 26 neighbours of cells (c, 3) as (26, c), -1 where there is none, and how far they are in cells (26,).

    The first three are the next ones along x, y and z, the next three those before.
    """
    shape = place.max(axis=0) + 2
    number = np.full(int(np.prod(shape + 1)), -1, dtype=np.int64)
    steps = np.array([(shape[1] + 1) * (shape[2] + 1), shape[2] + 1, 1])
    flat = place @ steps
    number[flat] = np.arange(len(place))
    every = [(x, y, z) for x in (-1, 0, 1) for y in (-1, 0, 1) for z in (-1, 0, 1) if (x, y, z) != (0, 0, 0)]
    every.sort(key=lambda way: (sum(map(abs, way)), sum(way) < 0, way[::-1] != way, -way[0], -way[1], -way[2]))
    axes = [(1, 0, 0), (0, 1, 0), (0, 0, 1)]
    ways = np.array(axes + [way for way in every if way not in axes])
    return number[flat + (ways @ steps)[:, None]], np.linalg.norm(ways, axis=1)


def _end(at: FloatArray) -> int:
    """Give a cell at an end of the body: farthest from its middle."""
    return int(((at - at.mean(axis=0)) ** 2).sum(axis=1).argmax())


def _first_slice(beside: IntArray, ways: FloatArray, end: int, wanted: float) -> IntArray:
    """Give the cells of a slice well away from an end cell, the smallest whole one: across a wire it is a disc."""
    far = _distances(beside, ways, np.array([end]))
    of = _sliced(beside, ways, np.array([end]), wanted)
    many = np.bincount(of)
    mean = np.bincount(of, np.where(np.isfinite(far), far, 0.0)) / many
    inner = np.flatnonzero((mean > 0.3 * mean.max()) & (mean < 0.7 * mean.max()) & (many > 0.7 * np.median(many)))
    if not len(inner):
        return np.array([end])
    return np.flatnonzero(of == inner[many[inner].argmin()])


def _sliced(beside: IntArray, ways: FloatArray, start: IntArray, wanted: float) -> IntArray:
    """Give each cell (c,) the number of its slice by distance from ``start`` cells, themselves one.

    Slices are about ``wanted`` cells deep.
    """
    far = _distances(beside, ways, start)
    reached = np.isfinite(far)
    far = _levelled(np.where(reached, far, 0.0), beside[:6])
    far -= far[start].max()
    # The far sides of a loop meet in one slice, half as deep from either side.
    longest = max(float(far.max()), 1e-9)
    count = max(1, min(MOST_SLICES, round(longest / wanted - 0.5)))
    level = 1 + np.floor(far * ((count + 0.5) / longest)).astype(np.int64)
    level[start] = 0
    return _components(beside, np.where(reached, np.maximum(level, 0), -1))


def _distances(beside: IntArray, ways: FloatArray, start: IntArray) -> FloatArray:
    """Give how far each cell (c,) is from ``start`` through the metal, in cells; inf where no way leads."""
    far = np.full(beside.shape[1] + 1, np.inf)
    far[start] = 0.0
    while True:
        before = far.copy()
        for row, way in zip(beside, ways, strict=True):
            np.minimum(far[:-1], far[row] + way, out=far[:-1])
        if np.array_equal(far, before):
            return far[:-1]


def _levelled(far: FloatArray, beside: IntArray) -> FloatArray:
    """Even distances (c,) out over the next cells (6, c), so that slices stand square to the metal's sides.

    The shortest way round a bend keeps to its inside: without this its outside would lag behind.
    """
    own = np.arange(len(far))
    beside = np.where(beside >= 0, beside, own)
    for _ in range(ROUNDS):
        far = (far + far[beside].sum(axis=0)) / (len(beside) + 1)
    return far


def _components(beside: IntArray, level: IntArray) -> IntArray:
    """Give each cell (c,) the number of the piece of one level that it hangs together with."""
    label = np.append(np.arange(len(level)), len(level))
    level = np.append(level, -2)
    same = [np.where(level[row] == level[:-1], row, len(level) - 1) for row in beside]
    while True:
        before = label.copy()
        for row in same:
            np.minimum(label[:-1], label[row], out=label[:-1])
        label = label[label]
        if np.array_equal(label, before):
            return np.asarray(np.unique(label[:-1], return_inverse=True)[1])


def _merged(of: IntArray, beside: IntArray) -> IntArray:
    """Give slices with little metal to the neighbour they touch most."""
    many = np.bincount(of)
    a, b, _ = _faces(of, beside)
    pairs = np.unique(a * len(many) + b)
    around = np.bincount(np.concatenate(np.divmod(pairs, len(many))), minlength=len(many))
    small = many < np.where(around < 2, LEAST_END, LEAST) * np.median(many)
    into = np.arange(len(many))
    for k in np.flatnonzero(small):
        others = np.concatenate((b[a == k], a[b == k]))
        others = others[~small[others]]
        if len(others):
            into[k] = np.bincount(others).argmax()
    return np.asarray(np.unique(into[of], return_inverse=True)[1])


def _faces(of: IntArray, beside: IntArray) -> tuple[IntArray, IntArray, IntArray]:
    """Give the faces between cells of different slices: lower slice, higher one, and signed axis (1, 2, 3)."""
    lower, higher, axes = [], [], []
    for axis, row in enumerate(beside[:3]):
        cells = np.flatnonzero(row >= 0)
        one, other = of[cells], of[row[cells]]
        differ = one != other
        one, other = one[differ], other[differ]
        lower.append(np.minimum(one, other))
        higher.append(np.maximum(one, other))
        axes.append(np.where(one < other, axis + 1, -axis - 1))
    return np.concatenate(lower), np.concatenate(higher), np.concatenate(axes)


def _between(of: IntArray, beside: IntArray, width: float) -> tuple[IntArray, FloatArray]:
    """Give the slices that touch (j, 2) and the area (j,) of the plane between them."""
    a, b, axis = _faces(of, beside)
    count = int(of.max()) + 1
    key, which = np.unique(a * count + b, return_inverse=True)
    flat = np.stack(
        [np.bincount(which, np.where(np.abs(axis) == k, np.sign(axis), 0), minlength=len(key)) for k in (1, 2, 3)],
        axis=1,
    )
    faces = np.bincount(which, minlength=len(key))
    cells = np.maximum(np.linalg.norm(flat, axis=1), faces / ROUGH**2)
    area = (cells + RIM * np.sqrt(cells)) * width**2
    return np.stack(np.divmod(key, count), axis=1).reshape(-1, 2), area


def _whose(
    at: FloatArray, normal: FloatArray, grid: Occupied, place: IntArray, of: IntArray, middles: FloatArray
) -> IntArray:
    """Give the slice that each piece of surface (p, 3) belongs to: that of the cell under it."""
    slices = np.full(grid.label.shape, -1, dtype=np.int64)
    rows = grid.row[place[:, 0], place[:, 1]]
    slices[rows, place[:, 2]] = of
    found = np.full(len(at), -1, dtype=np.int64)
    for deep in (0.6, 0.2, 1.0):
        missing = np.flatnonzero(found < 0)
        cell = ((at[missing] - deep * grid.h_mm * normal[missing] - grid.low) / grid.h_mm).astype(np.int64)
        found[missing] = slices[grid.row[cell[:, 0], cell[:, 1]], cell[:, 2]]
    missing = np.flatnonzero(found < 0)
    every = Elements(middles, np.array([0, len(middles)]))
    found[missing] = every.nearest(at[missing], np.zeros(len(missing), dtype=np.int64))
    return found
