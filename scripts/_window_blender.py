"""Find a Blender whose window can be driven: on PATH, or where LINKWRIGHT_BLENDER says; and drive it."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
NAMED = "LINKWRIGHT_BLENDER"
# Each job has a Blender of its own: its limit, and the size of its window.
JOBS = {"whole_job": (850, (1400, 900)), "switches": (600, (1280, 800))}


def find():
    """Give the program and an empty text, or None and the reason why no window can be driven."""
    named = os.environ.get(NAMED, "")
    program = shutil.which(named or "blender")
    if program is None:
        return None, f"{NAMED} names no program: {named}" if named else f"no Blender on PATH, and {NAMED} names none"
    if sys.platform not in ("win32", "darwin") and not (os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")):
        return None, "there is no display"
    return program, ""


def play(program, work, job, pictures=None):
    """Build the extension, install it in a Blender without settings of its own, and play a job in its window.

    What is written stands in the folder ``work``; pictures go to a folder where one is given. Gives the result's path.
    """
    from _extension import build

    work = Path(work)
    zip_path = build(work / "dist")
    out = work / "out"
    out.mkdir()
    result = work / "result.json"
    limit_s, size = JOBS[job]
    command = [
        program, "--factory-startup", "--enable-event-simulate", "--window-geometry", "0", "0", *map(str, size),
        "--python", str(ROOT / "tests" / "window" / "run_in_blender.py"), "--", job, str(zip_path), str(out),
        str(result),
    ]  # fmt: skip
    if pictures is not None:
        command.append(str(pictures))
    environment = {**os.environ, "BLENDER_USER_RESOURCES": str(work / "user")}
    subprocess.run(command, check=True, timeout=limit_s, env=environment)
    return result
