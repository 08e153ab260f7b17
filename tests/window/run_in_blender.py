"""Inside Blender: install the zip, play a job by mouse, write what came of it, quit.

blender --factory-startup --enable-event-simulate --python run_in_blender.py -- JOB ZIP FOLDER RESULT.json [PICTURES]
"""

import json
import sys
import traceback
from itertools import chain
from pathlib import Path

import bpy

sys.path.insert(0, str(Path(__file__).parent))


def main(job, zip_path, folder, result, pictures=None):
    """Play the steps of a job from a timer that lives on when files are opened."""
    import camera
    import german
    import hand as hands
    import switches
    import whole_job

    bpy.context.preferences.view.show_splash = False
    bpy.ops.extensions.package_install_files(filepath=zip_path, repo="user_default", enable_on_install=True)
    hand = hands.Hand(camera.Camera(pictures) if pictures else None)
    jobs = {"whole_job": whole_job.steps(hand, folder), "switches": switches.steps(hand, folder)}
    steps = chain(jobs[job], german.steps(hand)) if job == "switches" else jobs[job]

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
