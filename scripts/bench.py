"""Measure speed: `python3 scripts/bench.py SUBJECT`, beside an independent library where there is one.

Subjects: chain (live drafts and exact builds), inspect (the gaps of a chain, beside python-fcl), layers (the print
check, beside manifold3d and trimesh), feed (a lattice, and its solid joined), cast (filling and freezing, beside
scipy) and panel (what Blender's side costs at rest). `SUBJECT --help` tells more.
"""

import importlib
import sys

import _setup

SUBJECTS = ("chain", "inspect", "layers", "feed", "cast", "panel")


def main():
    """Run one benchmark in the Python of the environment; returns the exit code."""
    if len(sys.argv) < 2 or sys.argv[1] not in SUBJECTS:
        print("usage: python3 scripts/bench.py {%s} ..." % ",".join(SUBJECTS))
        return 0 if "--help" in sys.argv[1:] else 2
    return importlib.import_module("_bench_" + sys.argv[1]).run(sys.argv[2:])


if __name__ == "__main__":
    _setup.enter(tests=True, blender=sys.argv[1:2] == ["panel"])
    sys.exit(main())
