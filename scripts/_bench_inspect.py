"""`bench.py inspect`: all gaps of a ring of links, beside python-fcl on the same triangles and the same pairs.

Each time is the best of several runs, ours and the library's in turn, so that both meet the same load.
"""

import argparse
import itertools
import os
import platform
import sys
import time
from importlib.metadata import version
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import fcl
import numpy as np

from addon.rules.base.progress import finish
from addon.rules.solid.distance import gaps, pair_gap, prepare
from tests.gap_shapes import distinct_ring, oval_link, shared_ring

PITCH_MM = 7.4
RANGE_MM = 1.5
# Of an independent library, for 100 links of 96 by 24 quads.
KNOWN_GAP_MM = 0.327866901
GROWTH = (125, 250, 500, 1000)


def run(arguments):
    """Print the table; returns the exit code, 1 when a gap is not the library's."""
    parser = argparse.ArgumentParser(prog="bench.py inspect", description=__doc__.splitlines()[0])
    parser.add_argument("--links", type=int, default=100, help="links of the ring, even (default %(default)s)")
    parser.add_argument("--runs", type=int, default=5, help="runs of which the best counts (default %(default)s)")
    parser.add_argument("--no-growth", action="store_true", help="leave out the growth series")
    options = parser.parse_args(arguments)

    link = oval_link()
    print(
        f"ring of {options.links} links, {len(link.triangles)} triangles each, pitch {PITCH_MM} mm, range {RANGE_MM} mm"
    )
    right = True
    print(
        f"{'':10} {'ours s':>8} {'FCL build s':>12} {'FCL query s':>12} {'FCL total s':>12} {'ours / FCL':>11}"
        "  worst difference mm"
    )
    for name, ring in (("distinct", distinct_ring), ("shared", shared_ring)):
        right &= _beside(name, ring(link, options.links, PITCH_MM), options.runs)
    _one_pair(link, options.runs)
    if not options.no_growth:
        _growth()
    print(
        f"Python {platform.python_version()}, numpy {np.__version__}, python-fcl {version('python-fcl')}, "
        f"{os.cpu_count()} cores, {platform.machine()}"
    )
    return 0 if right else 1


def _beside(name, bodies, runs):
    """One row of the table; returns whether all gaps agree."""
    own, build, query = [], [], []
    for _ in range(runs):
        start = time.perf_counter()
        found = finish(gaps(bodies, range_mm=RANGE_MM))
        own.append(time.perf_counter() - start)
        start = time.perf_counter()
        solids = _models(bodies)
        build.append(time.perf_counter() - start)
        start = time.perf_counter()
        theirs = [
            fcl.distance(solids[a], solids[b], fcl.DistanceRequest(), fcl.DistanceResult())
            for a, b in zip(found.a.tolist(), found.b.tolist(), strict=True)
        ]
        query.append(time.perf_counter() - start)
    total = min(b + q for b, q in zip(build, query, strict=True))
    worst = float(np.abs(found.gap_mm - theirs).max())
    print(
        f"{name:10} {min(own):8.3f} {min(build):12.3f} {min(query):12.3f} {total:12.3f} {min(own) / total:11.2f}"
        f"  {worst:.1e} at {len(theirs)} pairs, smallest gap {found.gap_mm.min():.9f}"
    )
    return worst < 1e-6 and len(theirs) == len(bodies)


def _models(bodies):
    """The library's bodies; one model for a mesh, however often it is posed."""
    models = {}
    solids = []
    for body in bodies:
        made = models.get(id(body.mesh))
        if made is None:
            made = models[id(body.mesh)] = fcl.BVHModel()
            made.beginModel(len(body.mesh.points), len(body.mesh.triangles))
            made.addSubModel(body.mesh.points, body.mesh.triangles)
            made.endModel()
        solids.append(fcl.CollisionObject(made, fcl.Transform(body.pose.rotation, body.pose.origin)))
    return solids


def _one_pair(link, runs):
    bodies = shared_ring(link, 100, PITCH_MM)
    ready = prepare(link)
    times = []
    for first, second in itertools.pairwise(bodies[: 4 * runs + 1]):
        start = time.perf_counter()
        pair_gap(ready, first.pose, ready, second.pose)
        times.append(time.perf_counter() - start)
    print(f"one pair, prepared and posed: {1000 * min(times):.1f} ms")


def _growth():
    link = oval_link(25, 20)
    print(f"growth, links of {len(link.triangles)} triangles:")
    print(f"{'links':>10} {'distinct s':>11} {'ms a link':>10} {'shared s':>9} {'peak memory MB':>15}")
    for count in GROWTH:
        times = []
        for ring in (distinct_ring, shared_ring):
            bodies = ring(link, count, PITCH_MM)
            start = time.perf_counter()
            finish(gaps(bodies, range_mm=RANGE_MM))
            times.append(time.perf_counter() - start)
        print(f"{count:10} {times[0]:11.3f} {1000 * times[0] / count:10.2f} {times[1]:9.3f} {_peak_mb():>15}")


def _peak_mb():
    """The most memory this process has held, where the system tells."""
    try:
        import resource
    except ImportError:
        return "not told"
    unit = 1 if sys.platform == "darwin" else 1024
    return str(round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit / 1e6))
