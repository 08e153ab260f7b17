"""The XML of a 3MF file: one model part taken apart into objects and placements, and the package's relations.

A document type declaration is refused, so no entity is ever expanded.
"""

import posixpath
from array import array
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import IO, NoReturn
from urllib.parse import unquote
from xml.parsers import expat

import numpy as np

from ..base.errors import BadInput
from ..solid.mesh import FloatArray

CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
MODEL_RELATION = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"
_RELATION = "http://schemas.openxmlformats.org/package/2006/relationships Relationship"
_PATH = "http://schemas.microsoft.com/3dmanufacturing/production/2015/06 path"

# Extensions a file may require and still be read: parts, colours and named groups leave the triangles as they are.
_HARMLESS = {
    CORE,
    "http://schemas.microsoft.com/3dmanufacturing/production/2015/06",
    "http://schemas.microsoft.com/3dmanufacturing/material/2015/02",
    "http://schemas.microsoft.com/3dmanufacturing/trianglesets/2021/07",
}
# Shapes of extensions that are no triangles.
_OTHER_SHAPES = {"beamlattice", "booleanshape", "displacementmesh", "levelset"}

# Section 2.2: the units, in mm.
UNITS_MM = {"micron": 0.001, "millimeter": 1.0, "centimeter": 10.0, "inch": 25.4, "foot": 304.8, "meter": 1000.0}

_VERTEX, _TRIANGLE = f"{CORE} vertex", f"{CORE} triangle"


@dataclass(frozen=True, slots=True, eq=False)
class Placement:
    """One object placed: its number, its part (None: the same), and its transform (4, 3) on rows x, y, z, 1."""

    number: int
    part: str | None
    transform: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Object:
    """One object of a part: coordinates in a row, in the file's unit, and triangles in a row; or components."""

    number: int
    name: str
    points: "array[float]" = field(default_factory=lambda: array("d"))
    triangles: "array[int]" = field(default_factory=lambda: array("q"))
    components: list[Placement] = field(default_factory=list)


@dataclass(frozen=True, slots=True, eq=False)
class Model:
    """One model part: ``unit_mm``, its objects by number, and what its build places, in the order of the file."""

    unit_mm: float
    objects: dict[int, Object]
    items: tuple[Placement, ...]

    def other_parts(self) -> set[str]:
        """Name the model parts this one places objects of."""
        placements = [*self.items, *(c for o in self.objects.values() for c in o.components)]
        return {p.part for p in placements if p.part is not None}


def part_key(name: str) -> str:
    """Give a part's name as the package compares names: from the root, without case or escapes."""
    return posixpath.normpath("/" + unquote(name).replace("\\", "/").lstrip("/")).lower()


def parse_relations(xml: IO[bytes], where: str) -> str:
    """Give the name of the package's main model part. Raises BadInput when it names none."""
    found: list[str] = []

    def start(tag: str, attributes: dict[str, str]) -> None:
        if tag == _RELATION and attributes.get("Type") == MODEL_RELATION and attributes.get("Target"):
            found.append(attributes["Target"])

    _parse(xml, where, start, lambda _tag: None, lambda _prefix, _uri: None)
    if not found:
        raise BadInput(f"{where}: names no 3D model, so the file is no 3MF package; export it again as 3MF")
    return found[0]


def parse_model(xml: IO[bytes], where: str) -> Model:
    """Take one model part apart. Raises BadInput, naming ``where``, for anything that is not a 3MF model."""
    parts = _ModelParts(where)
    _parse(xml, where, parts.start, parts.end, parts.prefix)
    if parts.unit_mm is None:
        raise BadInput(f"{where}: holds no 3MF model; export it again as 3MF")
    return Model(parts.unit_mm, parts.objects, tuple(parts.items))


class _ModelParts:
    """What has been read of a model part so far, filled by the parser's calls."""

    def __init__(self, where: str) -> None:
        self.where = where
        self.unit_mm: float | None = None
        self.objects: dict[int, Object] = {}
        self.items: list[Placement] = []
        self._prefixes: dict[str, str] = {}
        self._object: Object | None = None

    def prefix(self, prefix: str | None, uri: str) -> None:
        self._prefixes[prefix or ""] = uri

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        try:
            if tag == _VERTEX:
                self._open_object().points.extend(
                    (float(attributes["x"]), float(attributes["y"]), float(attributes["z"]))
                )
            elif tag == _TRIANGLE:
                self._open_object().triangles.extend(
                    (int(attributes["v1"]), int(attributes["v2"]), int(attributes["v3"]))
                )
            else:
                self._start_other(tag, attributes)
        except KeyError as error:
            self._refuse(f"{_one(tag)} without {error.args[0].split()[-1]}")
        except (ValueError, OverflowError) as error:
            self._refuse(f"{_one(tag)} with a wrong value ({error})")

    def end(self, tag: str) -> None:
        if tag == f"{CORE} object":
            self._object = None

    def _start_other(self, tag: str, attributes: dict[str, str]) -> None:
        space, _, kind = tag.rpartition(" ")
        if self.unit_mm is None and tag != f"{CORE} model":
            raise BadInput(f"{self.where}: begins with <{kind}>, not with a 3MF model; export it again as 3MF")
        if kind in _OTHER_SHAPES:
            raise BadInput(f"{self.where}: holds a {kind}, which is no triangle mesh; export it again as triangles")
        if space != CORE:
            return
        if kind == "model":
            self._start_model(attributes)
        elif kind == "object":
            number = int(attributes["id"])
            if number in self.objects:
                self._refuse(f"two objects with the id {number}")
            self._object = self.objects[number] = Object(number, attributes.get("name", ""))
        elif kind == "component":
            self._open_object().components.append(_placement(attributes))
        elif kind == "item":
            self.items.append(_placement(attributes))

    def _start_model(self, attributes: dict[str, str]) -> None:
        unit = attributes.get("unit", "millimeter")
        if unit not in UNITS_MM:
            raise BadInput(f"{self.where}: unit {unit!r} is none of 3MF's; it can be {', '.join(UNITS_MM)}")
        self.unit_mm = UNITS_MM[unit]
        for prefix in attributes.get("requiredextensions", "").split():
            extension = self._prefixes.get(prefix, prefix)
            if extension not in _HARMLESS:
                raise BadInput(
                    f"{self.where}: requires the extension {extension}, which is not read here; "
                    "export it again as plain triangles"
                )

    def _open_object(self) -> Object:
        if self._object is None:
            self._refuse("geometry outside every object")
        return self._object

    def _refuse(self, what: str) -> NoReturn:
        inside = f" in object {self._object.number}" if self._object is not None else ""
        raise BadInput(f"{self.where}: {what}{inside}; the file is damaged, export it again")


def _one(tag: str) -> str:
    kind = tag.split()[-1]
    return f"{'an' if kind[0] in 'aeiou' else 'a'} {kind}"


def _placement(attributes: dict[str, str]) -> Placement:
    transform = np.vstack([np.eye(3), np.zeros(3)])
    if "transform" in attributes:
        numbers = [float(word) for word in attributes["transform"].split()]
        if len(numbers) != 12:
            raise ValueError(f"its transform has {len(numbers)} numbers, not 12")
        transform = np.array(numbers).reshape(4, 3)
    path = attributes.get(_PATH)
    return Placement(int(attributes["objectid"]), part_key(path) if path else None, transform)


def _parse(
    xml: IO[bytes],
    where: str,
    start: Callable[[str, dict[str, str]], None],
    end: Callable[[str], None],
    prefix: Callable[[str | None, str], None],
) -> None:
    def refuse(*_: object) -> NoReturn:
        raise BadInput(f"{where}: declares a document type, which 3MF forbids; export it again")

    parser = expat.ParserCreate(namespace_separator=" ")
    parser.StartElementHandler = start
    parser.EndElementHandler = end
    parser.StartNamespaceDeclHandler = prefix
    parser.StartDoctypeDeclHandler = refuse
    try:
        parser.ParseFile(xml)
    except expat.ExpatError as error:
        raise BadInput(f"{where}: not well-formed XML ({error}); copy or export the file again") from None
