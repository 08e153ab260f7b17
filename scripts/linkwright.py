"""The command line: `python3 scripts/linkwright.py VERB ...`; `--help` lists the verbs.

Exit code 0: nothing stops the job; 1: a finding stops it; 2: the input cannot be used.
"""

import os
import sys

import _setup


def main():
    """Run one verb in this process, which is the Python of the environment; returns its exit code."""
    sys.path.append(_setup.ROOT)
    from _borrowed import host_tools

    from addon.verbs import main as run

    code = run(sys.argv[1:], host_tools())
    sys.stdout.flush()
    return code


if __name__ == "__main__":
    _setup.enter(blender=False)
    try:
        code = main()
    except KeyboardInterrupt:
        code = 130
    except BrokenPipeError:
        # The reader has gone; what is still buffered must not raise again at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        code = 141
    sys.exit(code)
