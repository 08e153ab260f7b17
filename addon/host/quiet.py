"""Keep Blender's own chatter off the two output streams, which belong to the caller's results."""

import contextlib
import os
import sys
from collections.abc import Iterator


@contextlib.contextmanager
def quiet() -> Iterator[None]:
    """Send whatever Blender prints inside the block to nowhere; Python's own streams are put back as they were.

    Blender's C code writes to the file descriptors themselves, so these are turned aside, not `sys.stdout`.
    """
    for stream in (sys.stdout, sys.stderr):
        if stream is not None:
            stream.flush()
    try:
        kept = os.dup(1), os.dup(2)
    except OSError:
        # A windowed program on some systems has no such descriptors: there is nothing to keep clean.
        yield
        return
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 1)
        os.dup2(nowhere, 2)
        yield
    finally:
        for stream in (sys.stdout, sys.stderr):
            if stream is not None:
                stream.flush()
        os.dup2(kept[0], 1)
        os.dup2(kept[1], 2)
        for descriptor in (*kept, nowhere):
            os.close(descriptor)
