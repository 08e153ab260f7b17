"""Read which module imports which, and say where that breaks the rules of the rooms.

The rooms of the code stand in one order; a module may import from its own room and those before it. Used by
test_house.py; also a check of what the extension's package may do at all (relative imports only, no `print`, no
change of the module path).
"""

import ast
import sys
from collections.abc import Iterator
from pathlib import Path

ORDER = ("base", "solid", "chain", "inspect", "feed", "cast", "sheet", "files", "verbs", "host")
BLENDER = {
    "bpy",
    "bmesh",
    "mathutils",
    "gpu",
    "gpu_extras",
    "blf",
    "bl_ui",
    "bl_operators",
    "bpy_extras",
    "addon_utils",
    "bl_math",
    "idprop",
}


def modules(package: Path) -> list[Path]:
    """List the modules of the package; presets are Python files too, but data that Blender runs."""
    return [path for path in sorted(package.rglob("*.py")) if path.relative_to(package).parts[0] != "data"]


def faults(package: Path) -> list[str]:
    """Say what is wrong in the package at `package` (the folder addon/): "file:line: what", empty when all is well."""
    found: list[str] = []
    for path in modules(package):
        tree = ast.parse(path.read_text(encoding="utf-8"), str(path))
        parts = path.relative_to(package).with_suffix("").parts
        here = f"{path.relative_to(package).as_posix()}"
        found += [f"{here}:{line}: {what}" for line, what in _faults_of(tree, parts, package)]
    return found


def room(parts: tuple[str, ...]) -> str:
    """Name the room of a module from its path inside the package: ("rules", "solid", "mesh") is in "solid"."""
    inner = parts[1:] if parts[:1] == ("rules",) else parts
    return inner[0] if inner and inner[0] in ORDER else ""


def _faults_of(tree: ast.Module, parts: tuple[str, ...], package: Path) -> Iterator[tuple[int, str]]:
    own = room(parts)
    for node in ast.walk(tree):
        match node:
            case ast.Import():
                for alias in node.names:
                    yield from ((node.lineno, what) for what in _outside(alias.name, own))
            case ast.ImportFrom(level=0, module=str(name)):
                yield from ((node.lineno, what) for what in _outside(name, own))
                if name == "sys" and any(alias.name == "path" for alias in node.names):
                    yield node.lineno, "touches sys.path"
            case ast.ImportFrom():
                for target in _targets(node, parts, package):
                    yield from ((node.lineno, what) for what in _inside(target, own, parts, node, tree))
            case ast.Attribute(value=ast.Name(id="sys"), attr="path" | "modules" | "meta_path"):
                yield node.lineno, f"touches sys.{node.attr}"
            case ast.Call(func=ast.Name(id="print")):
                yield node.lineno, "prints"
            case ast.Call(func=ast.Name(id="__import__") | ast.Attribute(attr="import_module")):
                yield node.lineno, "imports by a name that cannot be checked"


def _outside(name: str, own: str) -> Iterator[str]:
    top = name.split(".")[0]
    if top in ("addon", "linkwright", "bl_ext"):
        yield f"imports {name} by an absolute name"
    elif top in BLENDER:
        if own != "host":
            yield f"imports {name} outside host"
    elif top != "numpy" and top not in sys.stdlib_module_names:
        yield f"imports {name}, which Blender does not bring along"


def _targets(node: ast.ImportFrom, parts: tuple[str, ...], package: Path) -> Iterator[tuple[str, ...] | None]:
    """The modules a relative import reaches, as paths inside the package; None for one that leaves it."""
    # A package's own __init__ counts as a module of that package, so one level less is cut off than its path has.
    folder = parts[:-1]
    up = node.level - 1
    if up > len(folder):
        yield None
        return
    base = folder[: len(folder) - up] + tuple((node.module or "").split(".") if node.module else ())
    for alias in node.names:
        whole = (*base, alias.name)
        is_module = (package.joinpath(*whole)).with_suffix(".py").exists() or package.joinpath(*whole).is_dir()
        yield whole if is_module else base


def _inside(
    target: tuple[str, ...] | None, own: str, parts: tuple[str, ...], node: ast.ImportFrom, tree: ast.Module
) -> Iterator[str]:
    if target is None:
        yield "imports from outside the package"
        return
    goal = room(target)
    name = ".".join(target) or "the package itself"
    if parts == ("__init__",):
        if node in tree.body:
            yield f"imports {name} when the package is imported, not when it is registered"
    elif own and not goal:
        # Only host may ask the package itself, for its name.
        if own != "host" or target != ():
            yield f"imports {name}, which is no room"
    elif own and ORDER.index(goal) > ORDER.index(own):
        yield f"the room {own} imports {name}, a room above it"
    elif not own and goal:
        yield f"a module of no room imports {name}"
