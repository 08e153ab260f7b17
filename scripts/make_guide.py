"""Take the guide's pictures in a real Blender window: `python3 scripts/make_guide.py [FOLDER]`.

The whole job is played by mouse and keyboard, as the window tests do, and the pictures that the guide shows are put
into sample_scenes/pictures/ unless told. It needs a display and a Blender, on PATH or named by LINKWRIGHT_BLENDER.
"""

import json
import shutil
import sys
import tempfile
from pathlib import Path

import _setup

# The pictures the guide shows, of those that the job takes.
SHOWN = ("panel_empty", "panel_chain", "panel_finding", "panel_lattice", "panel_print", "panel_pour")


def main():
    """Play the job and keep its pictures; returns the exit code."""
    import _window_blender

    folder = Path(sys.argv[1] if len(sys.argv) > 1 else Path(_setup.ROOT) / "sample_scenes" / "pictures")
    program, reason = _window_blender.find()
    if program is None:
        _setup.fail("no picture can be taken: {0}".format(reason))
    # Before the minutes that the job takes: a folder that cannot be had is told at once.
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as work:
        pictures = Path(work) / "pictures"
        pictures.mkdir()
        result = json.loads(_window_blender.play(program, work, "whole_job", pictures).read_text(encoding="utf-8"))
        for trouble in result["failures"] + [result["trouble"]]:
            if trouble:
                print(trouble)
        for name in SHOWN:
            taken = pictures / "{0}.png".format(name)
            if taken.exists():
                shutil.copy(taken, folder / taken.name)
                print(folder / taken.name)
    return 1 if result["failures"] or result["trouble"] else 0


if __name__ == "__main__":
    _setup.enter()
    sys.exit(main())
