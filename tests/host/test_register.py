"""Registering is all or nothing, works in the cut-down context of start-up, and leaves nothing behind."""

import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import bpy
import pytest

import addon
from addon.host import assembly

ROOT = Path(__file__).resolve().parents[2]


def standing():
    """Give everything of Blender's that a registration could leave something in."""
    lists = {name: getattr(bpy.app.handlers, name) for name in dir(bpy.app.handlers)}
    handlers = {name: len(value) for name, value in lists.items() if isinstance(value, list)}
    names = frozenset(name for name in dir(bpy.types))
    ours = {
        owner.__name__: [name for name in dir(owner) if name.startswith("linkwright")]
        for owner in (bpy.types.Object, bpy.types.Scene, bpy.types.WindowManager, bpy.types.Collection)
    }
    menu = len(getattr(bpy.types.VIEW3D_MT_add.draw, "_draw_funcs", ()))
    return handlers, names, ours, menu


@pytest.fixture
def unregistered():
    addon.unregister()
    yield
    if not assembly.assembled():
        addon.register()


@pytest.mark.usefixtures("unregistered")
def test_twice_over_nothing_is_left():
    before = standing()
    for _ in range(2):
        addon.register()
        assert hasattr(bpy.types, "LINKWRIGHT_PT_chain")
        assert standing() != before
        addon.unregister()
        assert standing() == before
        assert not [name for name in dir(bpy.types) if name.startswith("LINKWRIGHT")]
    with pytest.raises((AttributeError, RuntimeError)):
        bpy.ops.linkwright.add_chain()


@pytest.mark.usefixtures("unregistered")
def test_failing_half_way_takes_everything_back(monkeypatch):
    before = standing()

    def fail():
        raise OSError("no commands today")

    monkeypatch.setattr(assembly.command, "register_command", fail)
    with pytest.raises(OSError, match="no commands today"):
        addon.register()
    assert standing() == before
    assert not assembly.assembled()


@pytest.mark.usefixtures("unregistered")
def test_registering_needs_neither_scene_nor_data(monkeypatch):
    """At start-up Blender hides both; what touches them would fail only on users' machines."""
    context = SimpleNamespace(preferences=bpy.context.preferences, window_manager=bpy.context.window_manager)
    with monkeypatch.context() as cut:
        cut.setattr(bpy, "context", context)
        cut.setattr(bpy, "data", SimpleNamespace())
        addon.register()
        addon.unregister()


def test_registering_twice_says_so():
    with pytest.raises(RuntimeError, match="registered already"):
        addon.register()


@pytest.mark.usefixtures("unregistered")
def test_without_numpy_one_clear_sentence(monkeypatch):
    monkeypatch.setitem(sys.modules, "numpy", None)
    with pytest.raises(RuntimeError, match=r"needs numpy.*install"):
        addon.register()


def test_a_process_that_registers_and_ends_exits_cleanly():
    """On 4.5 any callback left registered hangs or crashes the process at exit."""
    code = "import bpy, addon; addon.register(); bpy.ops.linkwright.add_chain(); addon.unregister(); print('done')"
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, timeout=60, check=False
    )
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.strip().endswith("done")
