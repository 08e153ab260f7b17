"""The zip that is shipped, installed into an empty user folder; register() as Blender calls it, and when it fails."""

import json
import os
import re
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
HERE = Path(__file__).resolve().parent
LIMIT_S = 120
NOISE = re.compile(r"warn|error|traceback|exception|failed|not freed|leak", re.IGNORECASE)


@pytest.fixture(scope="module")
def shipped(tmp_path_factory):
    """The zip as scripts/build.py makes it: built and validated by Blender's own tool."""
    folder = tmp_path_factory.mktemp("zip")
    code = "import sys; sys.path.insert(0, sys.argv[1]); from _extension import build; print(build(sys.argv[2]))"
    built = subprocess.run(
        [sys.executable, "-c", code, str(ROOT / "scripts"), str(folder)],
        capture_output=True,
        text=True,
        timeout=LIMIT_S,
    )
    assert built.returncode == 0, built.stderr
    return Path(built.stdout.strip())


@pytest.fixture(scope="module")
def journey(shipped, tmp_path_factory):
    """What install_journey.py saw, what Blender printed meanwhile, and whether it came to its end."""
    folder = tmp_path_factory.mktemp("user")
    out = folder / "seen.json"
    command = [sys.executable, str(HERE / "install_journey.py"), str(shipped), str(out)]
    environment = {**os.environ, "BLENDER_USER_RESOURCES": str(folder / "resources")}
    with subprocess.Popen(
        command, env=environment, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, cwd=folder
    ) as process:
        try:
            printed, _ = process.communicate(timeout=LIMIT_S)
        except subprocess.TimeoutExpired:
            process.kill()
            printed, _ = process.communicate()
    assert out.exists(), printed
    return json.loads(out.read_text(encoding="utf-8")), printed, process.returncode


def test_the_zip_holds_the_extension_and_nothing_else(shipped):
    with zipfile.ZipFile(shipped) as archive:
        names = archive.namelist()
    assert {"blender_manifest.toml", "LICENSE", "__init__.py", "data/profiles.toml"} <= set(names)
    assert {name.split("/")[0] for name in names} == {
        "blender_manifest.toml", "LICENSE", "__init__.py", "rules", "verbs", "host", "data", "samples", "help"
    }  # fmt: skip
    samples = {path.name for path in (ROOT / "sample_scenes").iterdir() if path.suffix in (".toml", ".stl")}
    assert {name.split("/")[1] for name in names if name.startswith("samples/")} == samples
    assert not [name for name in names if "__pycache__" in name or name.endswith(".pyc")]


def test_installed_and_enabled_it_has_its_operators_and_runs_a_job(journey):
    seen, _, _ = journey
    assert seen["enabled"] == [True, True]
    assert {"add_chain", "inspect", "add_lattice", "export"} <= set(seen["operators"])
    assert seen["added"], "the search for traces must see what an enabled extension adds"
    assert seen["job"] == seen["job again"] == seen["job after update"] == ["FINISHED", "FINISHED"]


def test_disabled_it_leaves_nothing_and_can_be_enabled_again(journey):
    seen, _, _ = journey
    assert seen["left"] == []
    assert seen["left again"] == []
    assert seen["enabled after update"] == [True, True]


def test_it_writes_nothing_into_its_own_folder(journey, shipped):
    seen, _, _ = journey
    with zipfile.ZipFile(shipped) as archive:
        wanted = {name.split("/")[0] for name in archive.namelist()}
    own = "extensions/user_default/linkwright/"
    tops = {name.removeprefix(own).split("/")[0] for name in seen["files"]}
    assert tops - {"__pycache__"} == wanted


def test_no_warning_on_the_console(journey):
    _, printed, _ = journey
    assert [line for line in printed.splitlines() if NOISE.search(line)] == []


def test_blender_ends_cleanly_after_it(journey):
    """Blender 4.5 hangs or crashes at its exit when a callback is left registered."""
    _, _, code = journey
    assert code == 0


# A failure ends the process at once: Blender 4.5 would hang at its exit with what is then still registered.
FAIL_AT_ONCE = """
import os, sys, traceback
sys.excepthook = lambda *error: (traceback.print_exception(*error), os._exit(1))
"""

RESTRICTED = """
sys.path[:0] = sys.argv[1:3]
import bpy
from traces import traces

class Bare:
    # What Blender leaves of its context while extensions are registered.
    def __init__(self, **have): self.__dict__.update(have)
    def __getattr__(self, name): raise AttributeError(f"restricted: {name}")

import addon
before = traces("addon")
context, data = bpy.context, bpy.data
bpy.context = Bare(preferences=context.preferences, window_manager=context.window_manager)
bpy.data = Bare()
try:
    addon.register()
finally:
    bpy.context, bpy.data = context, data
assert traces("addon") > before
addon.unregister()
assert traces("addon") == before, sorted(traces("addon") ^ before)
print("good")
"""

FAILING = """
sys.path[:0] = sys.argv[1:3]
import bpy
from traces import traces

import addon
whole = bpy.utils.register_class
before = traces("addon")
count = 0
def counting(cls):
    global count
    count += 1
    whole(cls)
bpy.utils.register_class = counting
addon.register()
addon.unregister()
assert traces("addon") == before, sorted(traces("addon") ^ before)
assert count > 3
for which in range(1, count + 1):
    left = which
    def failing(cls):
        global left
        left -= 1
        if left == 0:
            raise RuntimeError("no room for one more class")
        whole(cls)
    bpy.utils.register_class = failing
    try:
        addon.register()
    except RuntimeError as error:
        assert "no room" in str(error)
    else:
        raise AssertionError(f"register() swallowed the failure of step {which}")
    assert traces("addon") == before, (which, sorted(traces("addon") ^ before))
bpy.utils.register_class = whole
addon.register()
addon.unregister()
assert traces("addon") == before
print("good")
"""


@pytest.mark.parametrize("script", [RESTRICTED, FAILING], ids=["restricted context", "a step that fails"])
def test_register_is_all_or_nothing_and_needs_no_scene(script):
    """Each in a process of its own, whose clean exit on 4.5 shows that no callback stayed registered."""
    done = subprocess.run(
        [sys.executable, "-c", FAIL_AT_ONCE + script, str(ROOT), str(HERE)],
        capture_output=True,
        text=True,
        timeout=LIMIT_S,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stdout.strip().endswith("good")
    assert [line for line in done.stderr.splitlines() if NOISE.search(line)] == []
