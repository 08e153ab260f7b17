"""`bench.py inspect`: all gaps of a ring of links, beside python-fcl on the same triangles and the same pairs.

Each time is the best of several runs, ours and the library's in turn, so that both meet the same load. Then what a
whole inspection takes and its parts one by one, for links with meshes of their own and for copies of one mesh.
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
from _memory import peak_mb

from addon.rules.base.profile import load_profile
from addon.rules.base.progress import finish
from addon.rules.inspect.gap_field import gap_field
from addon.rules.inspect.gap_findings import Limits
from addon.rules.inspect.inspection import inspect
from addon.rules.inspect.joint_map import joint_map
from addon.rules.inspect.webs import webs
from addon.rules.solid.congruent import copies_of, on_first_meshes
from addon.rules.solid.distance import gaps, pair_gap, prepare
from addon.rules.solid.self_crossing import self_crossings
from addon.rules.solid.slit import narrowest_slit
from addon.rules.solid.topology import finding_facts
from addon.rules.solid.wall import thinnest_wall
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
    parser.add_argument("--no-parts", action="store_true", help="leave out the whole inspection and its parts")
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
    if not options.no_parts:
        _parts(link, options.links)
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


def _parts(link, count):
    """What a whole inspection takes, and each of its parts by itself with what it needs at hand."""
    rings = (distinct_ring(link, count, PITCH_MM), shared_ring(link, count, PITCH_MM))
    print(f"{'inspection':16} {'distinct s':>11} {'shared s':>9} {'longest step s':>15}")
    distinct, copies = (_parts_of(bodies) for bodies in rings)
    for name in distinct:
        (own, own_step), (shared, shared_step) = distinct[name], copies[name]
        print(f"{name:16} {own:11.3f} {shared:9.3f} {max(own_step, shared_step):15.3f}")


def _parts_of(bodies):
    """Seconds and the longest single step of every part, by its name."""
    profile = load_profile("bench")
    meshes = list({id(body.mesh): body.mesh for body in bodies}.values())
    copies = finish(copies_of(bodies))
    firsts = list({id(copy.first): copy.first for copy in copies}.values())
    limits = Limits(profile)
    sound = np.ones(len(bodies), dtype=bool)
    table = finish(gaps(bodies, range_mm=RANGE_MM))
    parts = {
        "whole": lambda: inspect(bodies, profile, range_mm=RANGE_MM),
        "gaps": lambda: gaps(bodies, range_mm=RANGE_MM),
        "joint map": lambda: joint_map(bodies, sound, table, RANGE_MM),
        "copies": lambda: copies_of(bodies),
        "topology": lambda: _one_by_one(finding_facts, meshes),
        "self-crossing": lambda: _one_by_one(self_crossings, meshes),
        "walls": lambda: _one_by_one(thinnest_wall, firsts),
        "slits": lambda: _one_by_one(lambda mesh: narrowest_slit(mesh, limits.slit_mm()), firsts),
        "webs": lambda: webs(on_first_meshes(bodies, copies), table, limits, thickest_mm=RANGE_MM),
        "local gaps": lambda: gap_field(bodies, range_mm=RANGE_MM, table=table),
    }
    return {name: _timed(steps()) for name, steps in parts.items()}


def _one_by_one(rule, meshes):
    for mesh in meshes:
        yield from rule(mesh)


def _timed(steps):
    """Seconds in all, and of the longest stretch between two shares told."""
    start = last = time.perf_counter()
    longest = 0.0
    for _ in steps:
        now = time.perf_counter()
        longest, last = max(longest, now - last), now
    end = time.perf_counter()
    return end - start, max(longest, end - last)


def _growth():
    link = oval_link(25, 20)
    profile = load_profile("bench")
    print(f"growth, links of {len(link.triangles)} triangles, seconds:")
    print(f"{'':10} {'gaps alone':>21} {'whole inspection':>21}")
    print(f"{'links':>10}" + 2 * f" {'distinct':>10} {'shared':>10}" + f" {'ms a link':>10} {'peak MB':>8}")
    for count in GROWTH:
        rings = [ring(link, count, PITCH_MM) for ring in (distinct_ring, shared_ring)]
        alone = [_timed(gaps(bodies, range_mm=RANGE_MM))[0] for bodies in rings]
        whole = [_timed(inspect(bodies, profile, range_mm=RANGE_MM))[0] for bodies in rings]
        print(
            f"{count:10} {alone[0]:10.3f} {alone[1]:10.3f} {whole[0]:10.3f} {whole[1]:10.3f} "
            f"{1000 * whole[0] / count:10.2f} {peak_mb() or 'not told':>8}"
        )
