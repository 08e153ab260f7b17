"""Run a process under a time limit and end all it started with it: Blender can hang at its exit."""

import os
import signal
import subprocess
import threading
import time
from collections.abc import Sequence
from typing import IO

import _setup

TIMED_OUT = 124
# How often a process is looked at for being called off, s.
LOOK_S = 0.5


def run_limited(
    command: Sequence[str],
    limit_s: float,
    *,
    output: IO[bytes] | None = None,
    threads: int | None = None,
    off: threading.Event | None = None,
) -> int:
    """Run a command in the project's folder; returns its exit code, TIMED_OUT when it had to be ended.

    All it says goes to ``output``, where given; numpy gets so many ``threads``; ``off`` calls it off when set.
    """
    environment = {**os.environ, "PYTHONDONTWRITEBYTECODE": "1"}
    if threads is not None:
        environment.update(dict.fromkeys(("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"), str(threads)))
    process = subprocess.Popen(
        command,
        cwd=_setup.ROOT,
        stdin=subprocess.DEVNULL,
        stdout=output,
        stderr=None if output is None else subprocess.STDOUT,
        env=environment,
        start_new_session=os.name != "nt",
    )
    until = time.monotonic() + limit_s
    try:
        while not (off is not None and off.is_set()):
            left = until - time.monotonic()
            try:
                return process.wait(max(0.0, min(left, LOOK_S)))
            except subprocess.TimeoutExpired:
                if left <= 0.0:
                    break
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
