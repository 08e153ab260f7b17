"""`bench.py feed`: plan of a lattice with two rings, and the joined solid where Blender is installed."""

import argparse
import platform
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import numpy as np
from _borrowed import host_tools

from addon.rules.base.profile import load_profile
from addon.rules.base.progress import finish
from addon.rules.chain.build import build_chain
from addon.rules.chain.spec import ChainSpec, LayoutSpec
from addon.rules.feed.join import join
from addon.rules.feed.plan import plan_lattice
from addon.rules.feed.spec import FeedSpec


def run(arguments):
    """Print the table; returns the exit code."""
    parser = argparse.ArgumentParser(prog="bench.py feed", description=__doc__.splitlines()[0])
    parser.add_argument("--links", type=int, nargs="*", default=[60, 250], help="links of the rings")
    options = parser.parse_args(arguments)
    tools = host_tools()
    print(f"{'links':>6} {'struts':>7} {'plan s':>8} {'solid s':>8}")
    for links in options.links:
        chain = finish(build_chain(ChainSpec("curb", 2.2, 12.2, 9.7, 0.4), LayoutSpec("ring", links=links)))
        start = time.perf_counter()
        spec = FeedSpec(upper_ring=True)
        lattice = finish(plan_lattice(chain.bodies, chain.path, load_profile(), spec, wire_mm=2.2))
        planned = time.perf_counter() - start
        solid = "no bpy"
        if tools is not None:
            finish(join(chain.bodies[:1], lattice, tools.boolean)) if links == options.links[0] else None
            start = time.perf_counter()
            made = finish(join(chain.bodies, lattice, tools.boolean))
            solid = f"{time.perf_counter() - start:.2f}" if made.mesh is not None else "failed"
        print(f"{links:6} {len(lattice.struts):7} {planned:8.2f} {solid:>8}", flush=True)
    print(f"Python {platform.python_version()}, numpy {np.__version__}, {platform.machine()}")
    return 0
