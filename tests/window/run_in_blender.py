"""Inside Blender: install the zip, play the job by mouse, write what came of it, quit.

blender --factory-startup --enable-event-simulate --python tests/window/run_in_blender.py -- ZIP FOLDER RESULT.json
"""

import json
import sys
import traceback
from pathlib import Path

import bpy

sys.path.insert(0, str(Path(__file__).parent))


def main(zip_path, folder, result):
    """Play the steps from a timer that lives on when files are opened."""
    import hand as hands
    import whole_job

    bpy.ops.extensions.package_install_files(filepath=zip_path, repo="user_default", enable_on_install=True)
    hand = hands.Hand()
    steps = whole_job.steps(hand, folder)

    def tick():
        try:
            return next(steps)
        except StopIteration:
            trouble = ""
        except Exception:
            trouble = traceback.format_exc()
        outcome = {"failures": hand.failures, "checks": hand.checks, "trouble": trouble}
        Path(result).write_text(json.dumps(outcome), encoding="utf-8")
        bpy.ops.wm.quit_blender()
        return None

    bpy.app.timers.register(tick, first_interval=1.0, persistent=True)


main(*sys.argv[sys.argv.index("--") + 1 :])
