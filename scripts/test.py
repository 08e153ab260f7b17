"""Test everything: `python3 scripts/test.py [--all] [--window] [-k EXPR] [PATH ...]`; `--help` tells more."""

import sys

import _setup


def main():
    """Run the checks in the Python of the environment; returns the exit code."""
    from _test_run import run

    return run(sys.argv[1:])


if __name__ == "__main__":
    _setup.enter(tests=True)
    sys.exit(main())
