"""Show the whole job on a sample scene: `python3 scripts/demo.py [FOLDER]`; writes to out/demo unless told."""

import os
import sys

import _setup

LIMIT_S = 300


def main():
    """Play the job in a process of its own; returns its exit code."""
    from _limited import TIMED_OUT, run_limited

    if len(sys.argv) > 2 or sys.argv[1:2] in (["-h"], ["--help"]):
        _setup.fail("use: python3 scripts/demo.py [FOLDER]")
    folder = os.path.abspath(sys.argv[1]) if len(sys.argv) > 1 else os.path.join(_setup.ROOT, "out", "demo")
    code = run_limited([sys.executable, os.path.join(_setup.SCRIPTS, "_demo_job.py"), folder], LIMIT_S)
    if code == TIMED_OUT:
        _setup.fail("the demo was not done after {0} s and was ended".format(LIMIT_S))
    return code


if __name__ == "__main__":
    _setup.enter()
    try:
        code = main()
    except KeyboardInterrupt:
        code = 130
    sys.exit(code)
