"""Run a process under a time limit and end all it started with it: Blender can hang at its exit."""

import os
import signal
import subprocess
from collections.abc import Sequence

import _setup

TIMED_OUT = 124


def run_limited(command: Sequence[str], limit_s: float) -> int:
    """Run a command in the project's folder; returns its exit code, TIMED_OUT when it had to be ended."""
    environment = {**os.environ, "PYTHONDONTWRITEBYTECODE": "1"}
    process = subprocess.Popen(
        command, cwd=_setup.ROOT, stdin=subprocess.DEVNULL, env=environment, start_new_session=os.name != "nt"
    )
    try:
        return process.wait(limit_s)
    except subprocess.TimeoutExpired:
        return TIMED_OUT
    finally:
        _end(process)


def _end(process: "subprocess.Popen[bytes]") -> None:
    """End what is left of a process and of all it started."""
    if os.name == "nt":
        process.kill()
    else:
        try:
            os.killpg(process.pid, signal.SIGKILL)
        except ProcessLookupError:
            return
    process.wait()
