"""OBJ files: polygons over one list of points, with names, without a unit.

After version 3.0 of the format (from memory). Read are ``v``, ``f``, ``o`` and ``g``; normals, texture places,
materials, smoothing, loose points and lines are passed over. Free-form surfaces are refused.
"""

import codecs
import re
from pathlib import Path

import numpy as np
import numpy.typing as npt

from ..base.errors import BadInput
from ..solid.mesh import FloatArray, IntArray
from ..solid.weld import components
from .atomic import writing
from .doors import check_unit, checked, no_number, read_text, refuse_many
from .named import Named, clean_name
from .polygons import triangulate

_CORNER_EXTRAS = re.compile(rb"/[^\s]*")
_LONGEST_WORD = 64


def read(path: Path, unit_mm: float = 1.0) -> tuple[Named, ...]:
    """Read an OBJ file whose coordinates are in units of ``unit_mm`` mm; polygons become triangles.

    Each ``o`` is an object. In a file without any each ``g`` is one, groups that share a point together, as they are
    parts of one surface. Faces before the first name have none. Raises BadInput for a damaged, empty or far too large
    file.
    """
    check_unit(path, unit_mm)
    data = read_text(path, "save it as binary STL or 3MF").removeprefix(codecs.BOM_UTF8)
    lines = re.sub(rb"\\\r?\n", b" ", data).splitlines()
    words = [line.split(None, 1) for line in lines]
    head = np.array([w[0][:8] if w else b"" for w in words], dtype="S8")
    if np.isin(head, [b"surf", b"curv", b"curv2", b"cstype"]).any():
        raise BadInput(f"{path}: holds free-form surfaces; export it again as a polygon mesh")
    point_lines, face_lines = np.flatnonzero(head == b"v"), np.flatnonzero(head == b"f")
    if not len(point_lines) or not len(face_lines):
        raise BadInput(f"{path}: holds no faces; export a mesh with faces as OBJ")
    points = _points(path, words, point_lines) * unit_mm
    names, label = _labels(words, head, face_lines)
    triangles, face = _faces(path, words, points, face_lines, np.searchsorted(point_lines, face_lines))
    label = label[face]
    if not (head == b"o").any():
        label = _joined(label, triangles, len(names), len(points))
    named = []
    for number in _in_order(label):
        used, place = np.unique(triangles[label == number], return_inverse=True)
        where = f"{path}: {names[number]}" if names[number] else str(path)
        named.append(Named(names[number], checked(points[used], place.reshape(-1, 3), where)))
    return tuple(named)


def write(path: Path, objects: tuple[Named, ...]) -> None:
    """Write objects as OBJ in mm, each under its name, coordinates exact as decimals.

    The same objects give the same bytes. Of several, one without a name is written as "body" and its place in the row.
    Raises BadInput when there is nothing to write or the file cannot be written.
    """
    if not objects:
        raise BadInput(f"{path}: there is nothing to write; name at least one body")
    before = 1
    with writing(path) as file:
        file.write(b"# millimetres, written by Linkwright\n")
        for place, named in enumerate(objects, start=1):
            name = clean_name(named.name) or (f"body {place}" if len(objects) > 1 else "")
            points, triangles = named.mesh.points, named.mesh.triangles + before
            text = f"o {name}\n" if name else ""
            text += ("v %r %r %r\n" * len(points)) % tuple(points.ravel().tolist())
            text += ("f %d %d %d\n" * len(triangles)) % tuple(triangles.ravel().tolist())
            file.write(text.encode())
            before += len(points)


def _points(path: Path, words: list[list[bytes]], lines: IntArray) -> FloatArray:
    """Give the points (n, 3): the first three numbers of each ``v``, a weight or colour after them passed over."""
    rows = [words[i][1].split()[:3] if len(words[i]) > 1 else [] for i in lines]
    for line, row in zip(lines, rows, strict=True):
        if len(row) < 3 or max(map(len, row)) > _LONGEST_WORD:
            raise BadInput(f"{path}: line {line + 1} is a point without three numbers; export the file again")
    try:
        points = np.array(rows).astype(np.float64)
    except ValueError as error:
        raise BadInput(f"{path}: a coordinate of a point {no_number(error)}") from None
    wrong = np.flatnonzero(~(np.abs(points) < 1e100).all(axis=1))
    if len(wrong):
        raise BadInput(f"{path}: line {lines[wrong[0]] + 1} is a point without three real numbers; export it again")
    return points


def _faces(
    path: Path, words: list[list[bytes]], points: FloatArray, lines: IntArray, before: IntArray
) -> tuple[IntArray, IntArray]:
    """Give triangles (m, 3) by point number and the face (m,) each is of, in the order of the file.

    ``before`` is the number of points above each face: negative numbers count back from there.
    """
    rows = [_CORNER_EXTRAS.sub(b"", words[i][1]).split() if len(words[i]) > 1 else [] for i in lines]
    corners = np.array([len(row) for row in rows])
    if corners.min() < 3:
        line = int(lines[corners.argmin()]) + 1
        raise BadInput(f"{path}: line {line} is a face with fewer than three corners; export the file again")
    refuse_many(path, int(corners.sum() - 2 * len(corners)))
    try:
        number = np.array([int(word) for row in rows for word in row])
    except (ValueError, OverflowError) as error:
        raise BadInput(f"{path}: a face names a point that is no whole number ({error}); export it again") from None
    back = np.repeat(before, corners)
    number = np.where(number < 0, back + number, number - 1)
    wrong = np.flatnonzero((number < 0) | (number >= len(points)))
    if len(wrong):
        line = int(np.repeat(lines, corners)[wrong[0]]) + 1
        raise BadInput(f"{path}: line {line} names a point that is not in the file; it is damaged, export it again")
    begin = np.cumsum(corners) - corners
    parts, faces = [], []
    for count in np.unique(corners):
        face = np.flatnonzero(corners == count)
        polygons = number[begin[face][:, None] + np.arange(count)]
        try:
            cut = triangulate(points, polygons)
        except ValueError as error:
            raise BadInput(f"{path}: {error}; export it again as triangles") from None
        parts.append(cut.reshape(-1, 3))
        faces.append(np.repeat(face, count - 2))
    face = np.concatenate(faces)
    order = np.argsort(face, kind="stable")
    return np.concatenate(parts)[order], face[order]


def _labels(words: list[list[bytes]], head: npt.NDArray[np.bytes_], face_lines: IntArray) -> tuple[list[str], IntArray]:
    """Give the names there are and the number of each face's name: that of the last ``o`` above it, else ``g``."""
    kind = b"o" if (head == b"o").any() else b"g"
    lines = np.flatnonzero(head == kind)
    given = ["", *(clean_name(words[i][1].decode("utf-8", "replace")) if len(words[i]) > 1 else "" for i in lines)]
    names = list(dict.fromkeys(given))
    number = {name: i for i, name in enumerate(names)}
    which = np.array([number[name] for name in given])
    return names, which[np.searchsorted(lines, face_lines)]


def _joined(label: IntArray, triangles: IntArray, names: int, points: int) -> IntArray:
    """Join labels that share a point, under the one that comes first in the file."""
    first = np.full(points, -1)
    corner_label = np.repeat(label, 3)
    first[triangles.ravel()[::-1]] = corner_label[::-1]
    rank = np.empty(names, dtype=np.int64)
    order = _in_order(label)
    order = np.concatenate([order, np.setdiff1d(np.arange(names), order)])
    rank[order] = np.arange(names)
    root = components(names, rank[corner_label], rank[first[triangles.ravel()]])
    result: IntArray = order[root[rank[label]]]
    return result


def _in_order(label: IntArray) -> IntArray:
    """Give the labels there are, in the order of their first appearance."""
    there, first = np.unique(label, return_index=True)
    result: IntArray = there[np.argsort(first)]
    return result
