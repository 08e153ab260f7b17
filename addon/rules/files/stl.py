"""STL files: triangles without names or unit. Binary and text are read, binary is written.

Binary layout: 80 bytes of header, the count as uint32, then 50 bytes a triangle: normal and three corners as float32,
two bytes of attributes, all little-endian (Burns, Automated Fabrication, 1993, section 6.5; from memory).
"""

import re
from pathlib import Path
from typing import BinaryIO

import numpy as np

from ..base.errors import BadInput
from ..solid.measure import normals
from ..solid.mesh import FloatArray, Mesh
from ..solid.weld import weld
from .atomic import writing
from .doors import check_unit, checked, no_number, opened, read_text, refuse_many
from .named import Named, clean_name

_FACET = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
_HEADER = b"Binary STL in millimetres, written by Linkwright".ljust(80)
_HEAD = len(_HEADER) + 4

# One facet as words, None for its numbers.
_WORDS: tuple[bytes | None, ...] = (
    b"facet", b"normal", None, None, None, b"outer", b"loop",
    b"vertex", None, None, None, b"vertex", None, None, None, b"vertex", None, None, None,
    b"endloop", b"endfacet",
)  # fmt: skip
_KEYWORDS = [i for i, word in enumerate(_WORDS) if word is not None]
_NUMBERS = [i for i, word in enumerate(_WORDS) if word is None][3:]
_EXPECTED = np.array([_WORDS[i] for i in _KEYWORDS])
_FACET_END = re.compile(rb"endfacet", re.IGNORECASE)
_BYTES_AT_ONCE = 8_000_000
_LONGEST_WORD = 64


def read(path: Path, unit_mm: float = 1.0) -> tuple[Named, ...]:
    """Read an STL file whose coordinates are in units of ``unit_mm`` mm. Equal corners become one point.

    A binary file gives one object without a name, a text file one for each of its solids. A file is binary when its
    size fits its count, whatever its header says. Raises BadInput for a damaged, empty or far too large file.
    """
    check_unit(path, unit_mm)
    with opened(path) as (file, size):
        start = file.read(_HEAD)
        count = int.from_bytes(start[80:84], "little") if len(start) == _HEAD else -1
        fits = size == _HEAD + _FACET.itemsize * count
        if fits or not start.lstrip(b"\xef\xbb\xbf \t\r\n").lower().startswith(b"solid") or b"\0" in start:
            return (Named("", _mesh(_read_binary(path, file, size, count), unit_mm, str(path))),)
    return _read_text(path, unit_mm)


def write(path: Path, mesh: Mesh) -> None:
    """Write a mesh as binary STL in mm, float32. The same mesh gives the same bytes.

    The facet normals are those of the rounded corners, unit length; 0 0 0 where a triangle has no area. Raises
    BadInput when the file cannot be written, or a coordinate is too large for float32.
    """
    with np.errstate(over="ignore"):
        corners = mesh.corners().astype("<f4")
    if not np.isfinite(corners).all():
        raise BadInput(f"{path}: a coordinate is too large for an STL file; move the mesh nearer to the origin")
    facets = np.zeros(len(corners), dtype=_FACET)
    facets["corners"] = corners
    normal = normals(corners.astype(np.float64))
    length = np.linalg.norm(normal, axis=1, keepdims=True)
    facets["normal"] = np.divide(normal, length, out=np.zeros_like(normal), where=length > 0)
    with writing(path) as file:
        file.write(_HEADER + len(facets).to_bytes(4, "little"))
        file.write(facets.tobytes())


def _mesh(corners: FloatArray, unit_mm: float, where: str) -> Mesh:
    """Weld loose corners (m, 3, 3) into a checked mesh."""
    wrong = np.flatnonzero(~np.isfinite(corners).all(axis=(1, 2)))
    if len(wrong):
        count = f"{len(wrong):,} of its {len(corners):,} facets have" if len(wrong) > 1 else "a facet has"
        raise BadInput(
            f"{where}: {count} a coordinate that is not a number, first facet {wrong[0] + 1}; repair the mesh and "
            "export it again"
        )
    loose = checked(corners.reshape(-1, 3) * unit_mm, np.arange(3 * len(corners)).reshape(-1, 3), where)
    welded = weld(loose.points, loose.triangles)
    return checked(welded.points, welded.triangles, where)


def _read_binary(path: Path, file: BinaryIO, size: int, count: int) -> FloatArray:
    if count < 0:
        raise BadInput(f"{path}: only {size} bytes, too few for an STL file; export it again")
    room, rest = divmod(size - _HEAD, _FACET.itemsize)
    if count > room:
        raise BadInput(
            f"{path}: cut short, or no STL file: its header promises {count:,} triangles, but only {room:,} follow; "
            "copy or export it again"
        )
    if count < room or rest:
        raise BadInput(
            f"{path}: its header counts {count:,} triangles, but {size - _HEAD:,} bytes follow, room for {room:,}; "
            "it is damaged or no STL file; export it again"
        )
    refuse_many(path, count)
    if count == 0:
        raise BadInput(f"{path}: holds no triangles; export a mesh with faces")
    facets = np.frombuffer(file.read(), dtype=_FACET)
    if len(facets) != count:
        raise BadInput(f"{path}: changed while it was read; try again")
    return facets["corners"].astype(np.float64)


def _read_text(path: Path, unit_mm: float) -> tuple[Named, ...]:
    data = read_text(path, "save it as binary STL")
    if b"\n" not in data:
        data = data.replace(b"\r", b"\n")
    # "solid" and "endsolid" stand at the start of a line; the rest of the line is the name, any words at all.
    heads = list(re.finditer(rb"^[ \t\xef\xbb\xbf]*(end[ \t]*)?solid\b([^\r\n]*)", data, re.MULTILINE | re.IGNORECASE))
    if len(heads) % 2 or any(bool(h[1]) != bool(i % 2) for i, h in enumerate(heads)):
        raise BadInput(f'{path}: cut short: a "solid" has no "endsolid"; copy or export it again')
    if data[heads[-1].end() :].strip():
        raise BadInput(f'{path}: something follows its last "endsolid"; it is damaged; export it again')
    named = []
    for begin, end in zip(heads[::2], heads[1::2], strict=True):
        name = clean_name(begin[2].decode("utf-8", "replace"))
        corners = _text_corners(path, data[begin.end() : end.start()])
        if len(corners):
            named.append(Named(name, _mesh(corners, unit_mm, f"{path}: {name}" if name else str(path))))
    if not named:
        raise BadInput(f"{path}: holds no triangles; export a mesh with faces")
    return tuple(named)


def _text_corners(path: Path, text: bytes) -> FloatArray:
    """Give the corners (m, 3, 3) of one solid's facets, checked word by word, a few megabytes at a time."""
    parts = [np.zeros((0, 3, 3))]
    begin, before = 0, 0
    while begin < len(text):
        cut = _FACET_END.search(text, begin + _BYTES_AT_ONCE)
        end = cut.end() if cut else len(text)
        words = text[begin:end].split()
        begin = end
        if not words:
            continue
        whole = len(words) // len(_WORDS)
        wrong = np.zeros(whole, dtype=bool)
        if max(map(len, words)) > _LONGEST_WORD:
            wrong[:] = True
        elif whole:
            table = np.array(words[: whole * len(_WORDS)]).reshape(whole, len(_WORDS))
            wrong = (np.char.lower(table[:, _KEYWORDS]) != _EXPECTED).any(axis=1)
        if wrong.any() or len(words) % len(_WORDS):
            facet = before + (int(wrong.argmax()) if wrong.any() else whole) + 1
            raise BadInput(
                f"{path}: facet {facet} is not written as a facet with three corners; it is damaged or cut short; "
                "export it again"
            )
        try:
            parts.append(table[:, _NUMBERS].astype(np.float64).reshape(-1, 3, 3))
        except ValueError as error:
            raise BadInput(f"{path}: a corner {no_number(error)}") from None
        before += whole
    return np.concatenate(parts)
