"""Solids of boxes: filled cells of a rectilinear grid, their surface one closed mesh with shared points."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from ..base.errors import BadInput
from .mesh import FloatArray, IntArray, Mesh, mesh

Box = tuple[tuple[float, float], tuple[float, float], tuple[float, float]]

BoolArray = npt.NDArray[np.bool_]


def cells_mesh(xs: npt.ArrayLike, ys: npt.ArrayLike, zs: npt.ArrayLike, filled: npt.ArrayLike) -> Mesh:
    """Give the closed surface of filled cells, faces outward: two triangles to each cell face that is bare.

    ``xs`` (a + 1,), ``ys`` (b + 1,), ``zs`` (c + 1,) mm are the grid's lines, each higher than the one before;
    ``filled`` (a, b, c) says which cells hold metal. Raises BadInput for lines that do not rise, shapes that do not
    fit, no filled cell, and cells that touch at an edge or a corner only, where no surface is a clean solid's.
    """
    lines = tuple(np.asarray(line, dtype=np.float64) for line in (xs, ys, zs))
    solid = np.asarray(filled, dtype=bool)
    for name, line in zip("xyz", lines, strict=True):
        if line.ndim != 1 or len(line) < 2 or not np.isfinite(line).all() or (np.diff(line) <= 0.0).any():
            raise BadInput(f"cells: the lines in {name} do not rise; give two or more numbers, each above the last")
    if solid.shape != tuple(len(line) - 1 for line in lines):
        raise BadInput(
            f"cells: filled is {solid.shape}, between the lines lie {tuple(len(line) - 1 for line in lines)} cells"
        )
    if not solid.any():
        raise BadInput("cells: none is filled; fill at least one")
    padded = np.pad(solid, 1)
    _refuse_thin_contact(padded, lines)
    corners = _bare_faces(padded)
    counts = [len(line) for line in lines]
    number = np.ravel_multi_index((corners[..., 0], corners[..., 1], corners[..., 2]), counts)
    used, quads = np.unique(number, return_inverse=True)
    places = np.unravel_index(used, counts)
    points = np.stack([line[at] for line, at in zip(lines, places, strict=True)], axis=1)
    quads = quads.reshape(-1, 4)
    return mesh(points, np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]]), where="cells")


def boxes_mesh(added: Sequence[Box], carved: Sequence[Box] = (), *, snap_mm: float = 1e-6) -> Mesh:
    """Give the closed surface of boxes put together, then of others carved out of them.

    A box is three intervals (low, high) mm. Sides of added boxes stay where they are to the last digit; a side of a
    carved box moves by up to ``snap_mm`` onto one of them, so that no sliver is left between. Raises BadInput as
    `cells_mesh`, and for a box without size or, carved, thinner than twice ``snap_mm``.
    """
    for boxes, least in ((added, 0.0), (carved, 2 * snap_mm)):
        for box in boxes:
            if any(not high - low > least for low, high in box):
                raise BadInput(f"cells: the box {box} has no size; give intervals that rise by more than {least:g} mm")
    if not added:
        raise BadInput("cells: there is no box; give at least one")
    x, y, z = lines = tuple(_lines(added, carved, axis, snap_mm) for axis in range(3))
    solid = np.zeros([len(line) - 1 for line in lines], dtype=bool)
    for boxes, value in ((added, True), (carved, False)):
        for box in boxes:
            solid[tuple(_span(line, side) for line, side in zip(lines, box, strict=True))] = value
    return cells_mesh(x, y, z, solid)


def _lines(added: Sequence[Box], carved: Sequence[Box], axis: int, snap_mm: float) -> FloatArray:
    fixed = np.unique([end for box in added for end in box[axis]])
    others = np.unique([end for box in carved for end in box[axis]])
    others = others[_off(fixed, others) > snap_mm]
    others = others[np.diff(others, prepend=-np.inf) > snap_mm]
    lines: FloatArray = np.unique(np.concatenate([fixed, others]))
    return lines


def _off(lines: FloatArray, ends: FloatArray) -> FloatArray:
    """Give how far every end (n,) lies from the nearest line."""
    after = np.clip(np.searchsorted(lines, ends), 1, len(lines) - 1)
    off: FloatArray = np.minimum(np.abs(ends - lines[after - 1]), np.abs(ends - lines[after]))
    return off


def _span(lines: FloatArray, side: tuple[float, float]) -> slice:
    low, high = (int(np.abs(lines - end).argmin()) for end in side)
    return slice(low, high)


def _bare_faces(padded: BoolArray) -> IntArray:
    """Give the bare faces (q, 4, 3) as grid places of their corners, anticlockwise seen from outside."""
    faces = []
    for axis in range(3):
        u, v = np.eye(3, dtype=np.int64)[[(axis + 1) % 3, (axis + 2) % 3]]
        for sign in (1, -1):
            base = np.argwhere(padded & ~np.roll(padded, -sign, axis=axis)) - 1
            base[:, axis] += sign > 0
            first, second = (u, v) if sign > 0 else (v, u)
            faces.append(np.stack([base, base + first, base + first + second, base + second], axis=1))
    return np.concatenate(faces)


def _refuse_thin_contact(padded: BoolArray, lines: tuple[FloatArray, ...]) -> None:
    """Raise BadInput where two cells meet along an edge, or at a corner, and nothing beside them joins them.

    Of the four cells about an edge neither the filled nor the bare ones may be two across from each other; then of the
    eight about a corner the same holds, and nothing else can pinch the surface.
    """
    for axis in range(3):
        four = [_shifted(padded, axis, i, j) for i, j in ((0, 0), (1, 1), (0, 1), (1, 0))]
        crossed = (four[0] == four[1]) & (four[2] == four[3]) & (four[0] != four[2])
        _refuse(crossed, lines, "along an edge", along=axis)
    eight = {
        (i, j, k): padded[i : i - 1 or None, j : j - 1 or None, k : k - 1 or None]
        for i in (0, 1)
        for j in (0, 1)
        for k in (0, 1)
    }
    count = sum(part.astype(np.int64) for part in eight.values())
    for i, j in ((0, 0), (0, 1), (1, 0), (1, 1)):
        one, other = eight[i, j, 0], eight[1 - i, 1 - j, 1]
        pinched = ((count == 2) & one & other) | ((count == 6) & ~one & ~other)
        _refuse(pinched, lines, "at a corner")


def _shifted(padded: BoolArray, axis: int, i: int, j: int) -> BoolArray:
    """Give the cells on one of the four sides of every edge that runs along ``axis``."""
    cut = [slice(0, -1)] * 3
    cut[(axis + 1) % 3] = slice(i, i - 1 or None)
    cut[(axis + 2) % 3] = slice(j, j - 1 or None)
    return padded[tuple(cut)]


def _refuse(wrong: BoolArray, lines: tuple[FloatArray, ...], how: str, *, along: int | None = None) -> None:
    if not wrong.any():
        return
    place = np.argwhere(wrong)[0]
    if along is not None:
        # Along an edge cells are counted, whose padding comes first; across it the lines between them.
        place[along] -= 1
    at = ", ".join(f"{line[p]:.3g}" for line, p in zip(lines, place, strict=True))
    raise BadInput(f"cells: two of them meet only {how}, near ({at}); fill a cell beside them, or take one away")
