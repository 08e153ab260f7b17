"""`bench.py chain`: rule time of live drafts (fit, meshes, poses) and of exact builds, best of several runs."""

import argparse
import platform
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import numpy as np

from addon.rules.base.progress import finish
from addon.rules.chain.build import build_chain, draft_chain
from addon.rules.chain.spec import ChainSpec, LayoutSpec


def run(arguments):
    """Print the table; returns the exit code."""
    parser = argparse.ArgumentParser(prog="bench.py chain", description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=5, help="runs of which the best counts (default %(default)s)")
    options = parser.parse_args(arguments)
    print(f"{'':26} {'links':>6} {'draft ms':>9} {'build s':>9}")
    for family in ("curb", "trace"):
        spec = ChainSpec(family, 2.2, 12.2, 9.7, 0.3)
        for links in (60, 500, 1000):
            _row(f"{family} ring", spec, LayoutSpec("ring", links=links), options.runs)
        for links in (60, 500):
            points = wavy(links * 1.1)
            _row(f"{family} closed curve, unlike", spec, LayoutSpec("curve", points=points, cyclic=True), options.runs)
    print(f"Python {platform.python_version()}, numpy {np.__version__}, {platform.machine()}")
    return 0


def wavy(radius):
    """Give a closed wavy curve around a circle of this radius, mm: no two joints are alike."""
    t = np.linspace(0.0, 2 * np.pi, 240, endpoint=False)
    r = radius + 0.03 * radius * np.cos(3 * t)
    return tuple(map(tuple, np.stack((r * np.cos(t), r * np.sin(t), 1.5 * np.sin(2 * t)), axis=1).tolist()))


def _row(name, spec, layout, runs):
    draft = best(lambda: draft_chain(spec, layout), runs)
    built = best(lambda: finish(build_chain(spec, layout)), 2)
    print(f"{name:26} {draft_chain(spec, layout).links:6} {1000 * draft:9.1f} {built:9.3f}", flush=True)


def best(work, runs):
    """Give the shortest wall time of several runs, s."""
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)
