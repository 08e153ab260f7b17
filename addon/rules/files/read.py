"""Any mesh file into bodies with names that stay the same."""

from collections.abc import Callable, Iterable
from pathlib import Path

from ..base.errors import BadInput
from ..solid.mesh import Body
from ..solid.topology import bodies_of
from . import obj, stl, threemf
from .doors import opened
from .named import Named, unique_names

__all__ = ["SUFFIXES", "Named", "named_bodies", "read_bodies"]

SUFFIXES = (".stl", ".obj", ".3mf", ".blend")
_WITH_UNIT = {".3mf": "3MF", ".blend": "Blender"}


def read_bodies(
    path: Path,
    unit_mm: float | None = None,
    read_blend: Callable[[Path], tuple[Named, ...]] | None = None,
) -> tuple[Body, ...]:
    """Read the bodies of a file, by its suffix: every connected solid of every object is a body of its own.

    ``unit_mm`` is the length of the file's unit, for STL and OBJ, which carry none (None: 1 mm). ``read_blend`` reads a
    .blend file, where Blender is at hand. An object of one body gives it its name, one of k bodies "Name 1" to
    "Name k", one without a name "body 1", "body 2" and on through the file; a name taken already gets the next number
    that is free. Raises BadInput, naming the file, for whatever is wrong with it.
    """
    suffix = path.suffix.lower()
    if suffix not in SUFFIXES:
        raise BadInput(f"{path}: cannot tell what this file is; name one that ends in {', '.join(SUFFIXES)}")
    if unit_mm is not None and suffix in _WITH_UNIT:
        raise BadInput(f"{path}: a {_WITH_UNIT[suffix]} file carries its own unit; leave the unit away")
    unit = 1.0 if unit_mm is None else unit_mm
    if suffix == ".stl":
        objects = stl.read(path, unit)
    elif suffix == ".obj":
        objects = obj.read(path, unit)
    elif suffix == ".3mf":
        objects = threemf.read(path)
    else:
        with opened(path):
            pass
        if read_blend is None:
            raise BadInput(f"{path}: only Blender reads .blend files; run this from Blender, or export STL, OBJ or 3MF")
        objects = read_blend(path)
    return named_bodies(objects)


def named_bodies(objects: Iterable[Named]) -> tuple[Body, ...]:
    """Take named meshes apart into bodies with names that differ, as `read_bodies` does."""
    wanted, meshes = [], []
    nameless = 0
    for named in objects:
        parts = bodies_of(named.mesh)
        for number, part in enumerate(parts, start=1):
            if not named.name:
                nameless += 1
                wanted.append(f"body {nameless}")
            else:
                wanted.append(f"{named.name} {number}" if len(parts) > 1 else named.name)
            meshes.append(part)
    return tuple(Body(name, part) for name, part in zip(unique_names(wanted), meshes, strict=True))
