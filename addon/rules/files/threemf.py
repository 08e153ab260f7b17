"""3MF files: meshes with names and a unit, in a zip package.

The 3MF Consortium's Core Specification 1.x over the Open Packaging Conventions (ECMA-376 part 2); section numbers in
this folder are the Core Specification's, from memory. Read are meshes, components and build items, with the parts of
the Production extension; written is one mesh per object, each placed once.
"""

import zipfile
from collections.abc import Iterator
from pathlib import Path
from xml.sax.saxutils import quoteattr

import numpy as np

from ..base.errors import BadInput
from ..solid.mesh import FloatArray, IntArray, Mesh
from .atomic import writing
from .doors import MAX_TRIANGLES, checked, opened
from .named import Named, clean_name
from .threemf_model import CORE, MODEL_RELATION, Model, Object, Placement
from .threemf_package import Package

_DEEPEST = 64
_MOST_PLACED = 100_000

_CONTENT_TYPES = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/>'
    "</Types>\n"
)
_RELATIONS = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
    f'<Relationship Target="/3D/3dmodel.model" Id="rel0" Type="{MODEL_RELATION}"/>'
    "</Relationships>\n"
)
# The first moment a zip can hold: the same meshes give the same bytes on any day.
_MOMENT = (1980, 1, 1, 0, 0, 0)
_ROWS_AT_ONCE = 50_000


def write(path: Path, objects: tuple[Named, ...]) -> None:
    """Write objects as 3MF in millimetres, each with its name and a build item, coordinates exact as decimals.

    The same objects give the same bytes. Points without a triangle and triangles with two equal corners, which the
    format forbids, are left out. Raises BadInput when there is nothing to write or the file cannot be written.
    """
    if not objects:
        raise BadInput(f"{path}: there is nothing to write; name at least one body")
    with writing(path) as file, zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as package:
        for name, text in (("[Content_Types].xml", _CONTENT_TYPES), ("_rels/.rels", _RELATIONS)):
            with package.open(_entry(name), "w") as part:
                part.write(text.encode())
        with package.open(_entry("3D/3dmodel.model"), "w", force_zip64=True) as part:
            for text in _model(objects):
                part.write(text.encode())


def read(path: Path) -> tuple[Named, ...]:
    """Read a 3MF file: everything on its build plate, in mm, transforms applied.

    One object for each placed mesh, named by the mesh's object, else by the nearest named object that holds it.
    Mirroring transforms turn their triangles, so that faces keep looking outward. Raises BadInput for a damaged,
    empty, far too large or encrypted file, a document type declaration, and extensions that would change the shape.
    """
    with opened(path) as (file, _), Package(path, file) as package:
        models = package.models()
        root = models[package.root]
        if not root.items:
            raise BadInput(f"{path}: nothing is placed in its build; export it again with its objects on the plate")
        placed = list(_placed(path, models, package.root))
        return tuple(
            Named(clean_name(name), _in_mm(path, models[part].objects[number], transform, root.unit_mm))
            for name, part, number, transform in placed
        )


def _entry(name: str) -> zipfile.ZipInfo:
    entry = zipfile.ZipInfo(name, _MOMENT)
    entry.compress_type = zipfile.ZIP_DEFLATED
    entry.create_system = 3
    entry.external_attr = 0o644 << 16
    return entry


def _model(objects: tuple[Named, ...]) -> Iterator[str]:
    yield (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<model unit="millimeter" xml:lang="en-US" xmlns="{CORE}">\n'
        '<metadata name="Application">Linkwright</metadata>\n<resources>\n'
    )
    for number, named in enumerate(objects, start=1):
        name = clean_name(named.name)
        yield f'<object id="{number}" type="model"{f" name={quoteattr(name)}" if name else ""}>\n<mesh>\n<vertices>\n'
        triangles = named.mesh.triangles
        a, b, c = triangles.T
        used, place = np.unique(triangles[(a != b) & (b != c) & (c != a)], return_inverse=True)
        if not len(used):
            raise BadInput(
                f"{name or f'body {number}'}: has no triangle with three corners; nothing of it can be written"
            )
        yield from _rows('<vertex x="%r" y="%r" z="%r"/>\n', named.mesh.points[used])
        yield "</vertices>\n<triangles>\n"
        yield from _rows('<triangle v1="%d" v2="%d" v3="%d"/>\n', place.reshape(-1, 3))
        yield "</triangles>\n</mesh>\n</object>\n"
    yield "</resources>\n<build>\n"
    yield "".join(f'<item objectid="{number}"/>\n' for number in range(1, len(objects) + 1))
    yield "</build>\n</model>\n"


def _rows(form: str, rows: FloatArray | IntArray) -> Iterator[str]:
    """Format the rows of (n, 3), many at a time; ``%r`` gives the shortest decimals that read back the same."""
    for begin in range(0, len(rows), _ROWS_AT_ONCE):
        some = rows[begin : begin + _ROWS_AT_ONCE]
        yield (form * len(some)) % tuple(some.ravel().tolist())


Placed = tuple[str, str, int, FloatArray]


def _placed(path: Path, models: dict[str, Model], root: str) -> Iterator[Placed]:
    """Give name, part, object number and transform (4, 3) of every mesh on the plate, in the order of the file.

    Checks first, without unfolding, that the plate holds no more than can be read: parts that hold parts that hold
    parts multiply.
    """
    sizes: dict[tuple[str, int], tuple[int, int]] = {}

    def find(part: str, at: Placement) -> tuple[str, Object]:
        where = at.part or part
        if where not in models:
            raise BadInput(f"{path}: names the model part {where}, which is not in the file; export it again")
        if at.number not in models[where].objects:
            raise BadInput(f"{path}: names object {at.number}, which is not in {where}; export it again")
        return where, models[where].objects[at.number]

    def measure(part: str, at: Placement, above: tuple[tuple[str, int], ...]) -> tuple[int, int]:
        where, found = find(part, at)
        key = (where, at.number)
        if key in above or len(above) > _DEEPEST:
            raise BadInput(f"{path}: object {at.number} holds itself, or objects nest too deep; export it again")
        if key not in sizes:
            inner = [measure(where, component, (*above, key)) for component in found.components]
            own = len(found.triangles) // 3
            sizes[key] = (own + sum(t for t, _ in inner), bool(own) + sum(m for _, m in inner))
        return sizes[key]

    def unfold(part: str, at: Placement, name: str, outer: FloatArray) -> Iterator[Placed]:
        where, found = find(part, at)
        transform = _then(at.transform, outer)
        name = found.name or name
        if found.triangles:
            yield name, where, at.number, transform
        for component in found.components:
            if sizes[find(where, component)[0], component.number][1]:
                yield from unfold(where, component, name, transform)

    totals = [measure(root, item, ()) for item in models[root].items]
    triangles, meshes = sum(t for t, _ in totals), sum(m for _, m in totals)
    if triangles > MAX_TRIANGLES or meshes > _MOST_PLACED:
        raise BadInput(
            f"{path}: places {meshes:,} meshes with {triangles:,} triangles, more than the {_MOST_PLACED:,} and "
            f"{MAX_TRIANGLES:,} that can be read; split the file"
        )
    if not triangles:
        raise BadInput(f"{path}: holds no triangles; export a mesh with faces")
    for item in models[root].items:
        yield from unfold(root, item, "", np.vstack([np.eye(3), np.zeros(3)]))


def _then(inner: FloatArray, outer: FloatArray) -> FloatArray:
    """Give the transform (4, 3) that applies ``inner``, then ``outer``; points are rows, the last row is the shift."""
    with np.errstate(over="ignore", invalid="ignore"):
        result: FloatArray = inner @ outer[:3]
        result[3] += outer[3]
    return result


def _in_mm(path: Path, found: Object, transform: FloatArray, unit_mm: float) -> Mesh:
    where = f"{path}: object {found.number}" + (f" ({clean_name(found.name)})" if found.name else "")
    # Numbers out of all range become infinite here, and are refused below.
    with np.errstate(over="ignore", invalid="ignore"):
        points = (np.array(found.points).reshape(-1, 3) @ transform[:3] + transform[3]) * unit_mm
        turn = float(np.dot(np.cross(transform[0], transform[1]), transform[2]))
    if not np.isfinite(transform).all() or not np.isfinite(turn) or turn == 0.0:
        raise BadInput(f"{where}: its transform flattens it or is not a number; export it again")
    triangles = np.array(found.triangles).reshape(-1, 3)
    return checked(points, triangles[:, ::-1] if turn < 0 else triangles, where)
