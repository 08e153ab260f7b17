"""`bench.py chain`: every link family: live drafts, exact builds, growth with the links, memory, free play."""

import argparse
import math
import platform
import subprocess
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import numpy as np

from addon.rules.base.progress import finish
from addon.rules.chain.build import build_chain, draft_chain
from addon.rules.chain.families import draw
from addon.rules.chain.own import own_sizes
from addon.rules.chain.play import free_play
from addon.rules.chain.spec import ChainSpec, LayoutSpec
from addon.rules.chain.sweep import meshes_of

SPECS = {
    "curb": ChainSpec("curb", 2.2, 12.2, 9.7, 0.3),
    "curb, heavy": ChainSpec("curb", 2.2, 12.2, 9.7, 0.3, facet_mm=0.4),
    "trace": ChainSpec("trace", 2.2, 12.2, 9.7, 0.3),
    "belcher, D": ChainSpec("belcher", 1.8, 12.2, 9.7, 0.3, section="D", wire_width_mm=2.6),
    "figaro": ChainSpec("figaro", 2.0, 12.2, 9.7, 0.3),
    "anchor": ChainSpec("anchor", 2.0, 17.0, 11.0, 0.3),
    "box": ChainSpec("box", 1.8, 12.2, 12.2, 0.3),
    "rope": ChainSpec("rope", 1.8, 16.0, 16.0, 0.3),
    "weave": ChainSpec("weave", 1.8, 14.0, 14.0, 0.3),
    "tapered curb": ChainSpec(
        "curb", 1.8, 10.0, 8.0, 0.3, end_wire_mm=2.4, end_link_length_mm=13.3, end_link_width_mm=10.6
    ),
}
COUNTS = (60, 500, 1000)
STRIDE = 12
# What the rules are asked to keep on two cores.
WANTED_MS = {60: 50.0, 500: 300.0}
HEAD = f"{'':28} {'links':>6} {'draft ms':>9} {'wanted':>7} {'build s':>8} {'grows as':>9} {'MB':>6}"


def run(arguments):
    """Print the table; returns the exit code."""
    parser = argparse.ArgumentParser(prog="bench.py chain", description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=5, help="runs of which the best counts (default %(default)s)")
    parser.add_argument("--only", metavar="WORD", default="", help="only the rows whose name holds this word")
    parser.add_argument("--peak", metavar="NAME", help="build 1,000 links of this row and print the peak memory in MB")
    options = parser.parse_args(arguments)
    if options.peak is not None:
        return _peak(options.peak)
    print("rings of each family; 'grows as' is the power of the number of links, drafts and builds, from 60 to 1,000")
    print(HEAD)
    for name, spec in _specs().items():
        if options.only in name:
            _family(name, spec, options.runs)
    print("\nlayouts, curb")
    print(HEAD)
    for name, layout in _layouts().items():
        if options.only in name:
            for count in COUNTS:
                _row(name, SPECS["curb"], layout(count), options.runs)
    print("\nfree play")
    for name, spec in _specs().items():
        if options.only in name:
            _play(name, spec)
    print(f"Python {platform.python_version()}, numpy {np.__version__}, {platform.machine()}")
    return 0


def _specs():
    """Give the rows: every family, and an own link that is a trace link's mesh."""
    mesh = meshes_of(draw(SPECS["trace"]).links, 0.02)[0][0]
    wire, length, width = own_sizes(mesh, (1.0, 0.0, 0.0))
    own = ChainSpec("mesh", wire, length, width, 0.3, turn_deg=90.0, axis=(1.0, 0.0, 0.0), own=mesh)
    return {**SPECS, "own link": own}


def _layouts():
    """Give layouts as functions of the number of links."""
    return {
        "straight": lambda n: LayoutSpec("straight", links=n),
        "spiral": lambda n: LayoutSpec("spiral", links=n),
        "coil": lambda n: LayoutSpec("coil", links=n),
        "serpentine": lambda n: LayoutSpec("serpentine", links=n),
        "closed curve, unlike joints": lambda n: LayoutSpec("curve", points=wavy(n * 1.1), cyclic=True),
    }


def wavy(radius):
    """Give a closed wavy curve around a circle of this radius, mm: no two joints are alike."""
    t = np.linspace(0.0, 2 * np.pi, 240, endpoint=False)
    r = radius + 0.03 * radius * np.cos(3 * t)
    return tuple(map(tuple, np.stack((r * np.cos(t), r * np.sin(t), 1.5 * np.sin(2 * t)), axis=1).tolist()))


def _family(name, spec, runs):
    """Print the rows of one family, the last with its growth and memory."""
    times = []
    for count in COUNTS:
        links = _closing(count)
        layout = LayoutSpec("ring", links=links)
        draft, built = _times(spec, layout, runs)
        times.append((links, draft, built))
        growth = ""
        memory = ""
        if count == COUNTS[-1]:
            growth = " ".join(f"{_power(times[0], times[-1], at):.2f}" for at in (1, 2))
            memory = _memory(name)
        _print(name, links, draft, built, WANTED_MS.get(count), growth, memory)


def _closing(count):
    """Give a number of links that closes whatever the repeat of the family, as near above as may be."""
    return math.ceil(count / STRIDE) * STRIDE


def _row(name, spec, layout, runs):
    draft, built = _times(spec, layout, runs)
    links = draft_chain(spec, layout).links
    _print(name, links, draft, built, WANTED_MS.get(layout.links), "", "")


def _print(name, links, draft, built, wanted, growth, memory):
    aim = "" if wanted is None else f"{wanted:.0f}"
    print(f"{name:28} {links:6} {1000 * draft:9.1f} {aim:>7} {built:8.3f} {growth:>9} {memory:>6}", flush=True)


def _times(spec, layout, runs):
    draft = best(lambda: draft_chain(spec, layout), runs)
    return draft, best(lambda: finish(build_chain(spec, layout)), 1)


def _power(first, last, at):
    return math.log(last[at] / first[at]) / math.log(last[0] / first[0])


def _play(name, spec):
    chain = finish(build_chain(spec, LayoutSpec("straight", links=12)))
    start = time.perf_counter()
    play = finish(free_play(chain))
    took = time.perf_counter() - start
    print(
        f"{name:28} {len(play.joints):3} kinds of joint {took:8.2f} s, {took / len(play.joints):.2f} s a kind",
        flush=True,
    )


def _memory(name):
    """Give the peak memory in MB of building 1,000 links in a Python of its own, or nothing where that is not told."""
    command = [sys.executable, str(Path(__file__).with_name("bench.py")), "chain", "--peak", name]
    done = subprocess.run(command, capture_output=True, text=True)
    return done.stdout.strip() if done.returncode == 0 else ""


def _peak(name):
    """Build 1,008 links and print the most memory this process ever held, where the system tells (Linux)."""
    status = Path("/proc/self/status")
    if not status.is_file():
        return 1
    finish(build_chain(_specs()[name], LayoutSpec("ring", links=_closing(COUNTS[-1]))))
    # Not ru_maxrss: it begins with what the process that started this one held.
    held = dict(line.split(":", 1) for line in status.read_text().splitlines())["VmHWM"]
    print(f"{int(held.split()[0]) / 1024:.0f}")
    return 0


def best(work, runs):
    """Give the shortest wall time of several runs, s."""
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)
