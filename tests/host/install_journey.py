"""Play a user who installs the zip: run by test_install.py in a process with an empty user folder.

Arguments: the zip, and the file to write what was seen to. Ends with the extension disabled, so that a callback
left behind shows itself as a crash or a hang at the exit of Blender 4.5.
"""

import json
import sys
from pathlib import Path

# Blender's own modules are found only once bpy is there.
import bpy  # isort: skip
import addon_utils  # isort: skip
from traces import traces

PACKAGE = "bl_ext.user_default.linkwright"


def install(zip_path):
    bpy.ops.extensions.package_install_files(filepath=zip_path, repo="user_default", enable_on_install=True)


def job():
    """A job of the usual kind: a chain, and its inspection."""
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    return [*bpy.ops.linkwright.add_chain(), *bpy.ops.linkwright.inspect()]


def main(zip_path, out):
    seen = {}
    before = traces(PACKAGE)
    install(zip_path)
    seen["enabled"] = addon_utils.check(PACKAGE)
    seen["operators"] = sorted(dir(bpy.ops.linkwright))
    seen["files"] = sorted(
        path.relative_to(bpy.utils.resource_path("USER")).as_posix()
        for path in Path(bpy.utils.resource_path("USER")).rglob("linkwright/*")
    )
    seen["added"] = sorted(traces(PACKAGE) - before)
    seen["job"] = job()
    bpy.ops.preferences.addon_disable(module=PACKAGE)
    seen["left"] = sorted(traces(PACKAGE) - before)
    bpy.ops.preferences.addon_enable(module=PACKAGE)
    seen["job again"] = job()
    # The same zip over the enabled extension, as when a newer one is installed.
    install(zip_path)
    seen["enabled after update"] = addon_utils.check(PACKAGE)
    seen["job after update"] = job()
    bpy.ops.preferences.addon_disable(module=PACKAGE)
    seen["left again"] = sorted(traces(PACKAGE) - before)
    out.write_text(json.dumps(seen), encoding="utf-8")


main(sys.argv[1], Path(sys.argv[2]))
