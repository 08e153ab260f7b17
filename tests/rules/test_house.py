"""The house: the rules import on bare Python with numpy, the rooms import one way, the package keeps to itself."""

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from import_rooms import faults, modules, room

ROOT = Path(__file__).resolve().parents[2]

# walk_packages does not count the two packages it starts from.
MODULES = sum(len(list((ROOT / "addon" / top).rglob("*.py"))) - 1 for top in ("rules", "verbs"))

IMPORT_ALL = """
import importlib, pkgutil, sys
barred = ("bpy", "bmesh", "mathutils", "gpu", "gpu_extras", "blf", "bl_ui", "bpy_extras")
sys.modules.update(dict.fromkeys(barred))
sys.path[:0] = sys.argv[1:]
import addon
count = 0
for top in ("addon.rules", "addon.verbs"):
    package = importlib.import_module(top)
    for module in pkgutil.walk_packages(package.__path__, top + "."):
        importlib.import_module(module.name)
        count += 1
assert not any(name == "addon.host" or name.startswith("addon.host.") for name in sys.modules), "host came along"
print(count)
"""


def _import_all(*switches, paths):
    command = [sys.executable, *switches, "-W", "error", "-c", IMPORT_ALL, *map(str, paths)]
    return subprocess.run(command, capture_output=True, text=True, timeout=60, cwd=ROOT.parent)


def test_rules_and_verbs_import_where_blender_cannot_be_imported():
    done = _import_all(paths=[ROOT])
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    assert int(done.stdout) == MODULES


@pytest.mark.skipif(sys.platform == "win32", reason="makes symbolic links")
def test_rules_and_verbs_need_nothing_but_python_and_numpy(tmp_path):
    """An isolated interpreter (-I: no environment variables, no user's folder; -S: no installed packages at all).

    numpy is the one package the rules may use, so it alone is laid where this interpreter finds it.
    """
    site = Path(np.__file__).parents[1]
    for name in ("numpy", "numpy.libs"):
        if (site / name).exists():
            (tmp_path / name).symlink_to(site / name)
    done = _import_all("-I", "-S", paths=[tmp_path, ROOT])
    assert done.returncode == 0, done.stderr
    assert int(done.stdout) == MODULES


def test_the_bare_interpreter_really_has_no_blender():
    """The two tests above would pass for a rule that imports bpy if the barring did not work."""
    done = subprocess.run(
        [sys.executable, "-c", IMPORT_ALL.replace("import addon\n", "import bpy\n"), str(ROOT)],
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert done.returncode == 1
    assert "ModuleNotFoundError" in done.stderr


def test_rooms_import_one_way_and_the_package_keeps_to_itself():
    assert faults(ROOT / "addon") == []


def test_every_module_stands_in_a_room():
    for path in modules(ROOT / "addon"):
        parts = path.relative_to(ROOT / "addon").with_suffix("").parts
        assert room(parts) or parts in (("__init__",), ("rules", "__init__")), path


@pytest.mark.parametrize(
    ("module", "text", "expected"),
    [
        (
            "rules/solid/a.py",
            "from ..chain import b",
            "rules/solid/a.py:1: the room solid imports rules.chain.b, a room above it",
        ),
        ("rules/solid/a.py", "from ..chain.b import x", "the room solid imports rules.chain.b, a room above it"),
        (
            "rules/solid/a.py",
            "def f():\n    from ...host import b",
            "a.py:2: the room solid imports host.b, a room above it",
        ),
        ("rules/solid/__init__.py", "from ..chain.b import x", "the room solid imports rules.chain.b, a room above it"),
        ("rules/solid/a.py", "from .. import chain", "the room solid imports rules.chain, a room above it"),
        ("verbs/a.py", "from ..host.b import x", "the room verbs imports host.b, a room above it"),
        ("verbs/a.py", "from .. import __package__ as base", "which is no room"),
        ("rules/solid/a.py", "from ....other import x", "imports from outside the package"),
        ("rules/solid/a.py", "import bpy", "imports bpy outside host"),
        ("rules/solid/a.py", "import mathutils.geometry", "imports mathutils.geometry outside host"),
        ("verbs/a.py", "from bpy.types import Mesh", "imports bpy.types outside host"),
        ("rules/solid/a.py", "import scipy", "which Blender does not bring along"),
        ("host/a.py", "from addon.rules.chain import b", "by an absolute name"),
        ("host/a.py", "import sys\nsys.path.append('x')", "touches sys.path"),
        ("host/a.py", "from sys import path", "touches sys.path"),
        ("host/a.py", "print('hello')", "prints"),
        ("host/a.py", "import importlib\nimportlib.import_module('x')", "imports by a name"),
        ("__init__.py", "from .host import register", "when the package is imported"),
    ],
)
def test_the_checker_finds_each_kind_of_fault(tmp_path, module, text, expected):
    _small_package(tmp_path)
    (tmp_path / module).write_text(text, encoding="utf-8")
    assert len(faults(tmp_path)) == 1
    assert expected in faults(tmp_path)[0]


@pytest.mark.parametrize(
    ("module", "text"),
    [
        ("rules/chain/a.py", "from ..solid.b import x\nfrom ..base import b\nfrom . import b as c"),
        ("verbs/a.py", "import json\nimport numpy as np\nfrom ..rules.files.b import x"),
        (
            "host/a.py",
            "import bpy\nfrom .. import __package__ as base\nfrom ..verbs.b import x\nfrom ..rules.base.b import y",
        ),
        ("__init__.py", "def register():\n    from .host import register as inner\n    inner()"),
    ],
)
def test_the_checker_lets_good_imports_pass(tmp_path, module, text):
    _small_package(tmp_path)
    (tmp_path / module).write_text(text, encoding="utf-8")
    assert faults(tmp_path) == []


def _small_package(folder):
    for inner in ("rules/base", "rules/solid", "rules/chain", "rules/files", "verbs", "host"):
        (folder / inner).mkdir(parents=True)
        (folder / inner / "__init__.py").touch()
        (folder / inner / "b.py").touch()
    (folder / "rules" / "__init__.py").touch()
    (folder / "__init__.py").touch()
