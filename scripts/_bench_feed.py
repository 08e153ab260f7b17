"""`bench.py feed`: lattices with two rings and the joined solids, beside python-fcl and manifold3d on the same meshes.

Every number of links runs in a process of its own, so that its peak of memory is its own. The plan holds its own check;
the check is also timed by itself. The solid is joined by Blender where it is installed.
"""

import argparse
import multiprocessing
import os
import platform
import sys
import time
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import fcl
import manifold3d
import numpy as np
from _borrowed import host_tools
from _memory import peak_mb

from addon.rules.base.profile import load_profile
from addon.rules.base.progress import finish
from addon.rules.chain.build import build_chain
from addon.rules.chain.spec import ChainSpec, LayoutSpec
from addon.rules.feed.join import join
from addon.rules.feed.plan import plan_lattice
from addon.rules.feed.soundness import check_lattice
from addon.rules.feed.spec import FeedSpec
from addon.rules.solid.distance import gaps
from addon.rules.solid.mesh import Body

SPEC = ChainSpec("curb", 2.2, 12.2, 9.7, 0.4)
# Of two computations of one volume, as a share: the solver works in single precision.
AGREE = 1e-6
NEAR_MM = 1e-6


@dataclass(frozen=True)
class Row:
    """What one ring took: seconds, and the most memory in MB that had been held when a stage was done."""

    links: int
    struts: int
    stops: int
    plan_s: float
    check_s: float
    plan_mb: int | None
    solid_s: float | None
    solid_mb: int | None
    volume_off: float | None
    union_s: float
    pairs: int
    ours_s: float
    theirs_s: float
    gap_off_mm: float
    processor_s: tuple[float, ...]


def run(arguments):
    """Print the table; returns the exit code, 1 when a distance or a volume is not the libraries'."""
    parser = argparse.ArgumentParser(prog="bench.py feed", description=__doc__.splitlines()[0])
    parser.add_argument("--links", type=int, nargs="*", default=[60, 250, 500], help="links of the rings, 20 or more")
    options = parser.parse_args(arguments)
    print(f"{SPEC.family} rings of {SPEC.wire_mm:g} mm wire, base ring and upper ring; times in seconds")
    print(
        f"{'':>6} {'':>7} {'lattice':>17} {'peak':>7} {'joined solid':>26} {'peak':>7} {'distances of struts':>34}\n"
        f"{'links':>6} {'struts':>7} {'plan':>8} {'check':>8} {'MB':>7} "
        f"{'Blender':>8} {'manifold':>8} {'volumes':>8} {'MB':>7} {'pairs':>7} {'ours':>8} {'FCL':>8} {'off mm':>8}"
    )
    rows = []
    with multiprocessing.get_context("spawn").Pool(1, maxtasksperchild=1) as pool:
        for row in pool.imap(_measured, options.links, chunksize=1):
            rows.append(row)
            print(
                f"{row.links:6} {row.struts:7} {row.plan_s:8.2f} {row.check_s:8.2f} {_told(row.plan_mb):>7} "
                f"{_told(row.solid_s):>8} {row.union_s:8.2f} {_told(row.volume_off, '.0e'):>8} "
                f"{_told(row.solid_mb):>7} {row.pairs:7} {row.ours_s:8.2f} {row.theirs_s:8.2f} {row.gap_off_mm:8.0e}",
                flush=True,
            )
    for row in rows:
        parts = zip(("plan", "check", "solid"), row.processor_s, strict=False)
        print(f"{row.links} links, processor seconds: " + ", ".join(f"{name} {s:.2f}" for name, s in parts))
    if len(rows) > 1:
        _growth(min(rows, key=lambda row: row.links), max(rows, key=lambda row: row.links))
    print(
        f"Python {platform.python_version()}, numpy {np.__version__}, python-fcl {version('python-fcl')}, "
        f"manifold3d {version('manifold3d')}, {os.cpu_count()} cores, {platform.machine()}"
    )
    right = all(row.gap_off_mm < NEAR_MM and (row.volume_off or 0.0) < AGREE and not row.stops for row in rows)
    return 0 if right else 1


def _growth(least, most):
    parts = [("plan", least.plan_s, most.plan_s), ("check", least.check_s, most.check_s)]
    if least.solid_s is not None and most.solid_s is not None:
        parts.append(("solid", least.solid_s, most.solid_s))
    told = ", ".join(f"{name} x {b / a:.1f}" for name, a, b in parts)
    print(f"from {least.links} to {most.links} links, x {most.links / least.links:.1f}: {told}")


def _told(figure, form=None):
    if figure is None:
        return "none"
    return format(figure, form or ("d" if isinstance(figure, int) else ".2f"))


def _measured(links):
    """Measure one ring, from the plan to the solid, then the same by the libraries."""
    profile = load_profile()
    chain = finish(build_chain(SPEC, LayoutSpec("ring", links=links)))
    bodies, processor = chain.bodies, []
    plan_s, lattice = _timed(
        lambda: finish(plan_lattice(bodies, chain.path, profile, FeedSpec(upper_ring=True), wire_mm=SPEC.wire_mm)),
        processor,
    )
    plan_mb = peak_mb()
    check_s, found = _timed(lambda: finish(check_lattice(bodies, lattice, profile, wire_mm=SPEC.wire_mm)), processor)
    stops = sum(f.severity == "stop" for f in (*found, *lattice.findings))

    tools, solid, solid_s, solid_mb = host_tools(), None, None, None
    if tools is not None:
        # Blender takes a second to load, which is none of the solid's.
        finish(join(bodies[:1], lattice, tools.boolean))
        solid_s, solid = _timed(lambda: finish(join(bodies, lattice, tools.boolean)), processor)
        stops += sum(f.severity == "stop" for f in solid.findings)
        solid_mb = peak_mb()

    parts = [*(b.placed() for b in bodies), *(s.mesh for s in lattice.solids)]
    union_s, volume = _timed(lambda: _united_mm3(parts))
    off = None if solid is None or solid.mesh is None else abs(solid.volume_mm3 / volume - 1.0)

    things = (*bodies, *(Body(s.role, s.mesh) for s in lattice.solids))
    reach = profile.strut_web_aim_mm
    pairs, theirs = _distances(things, _near_pairs(things, len(bodies), reach))
    pairs = pairs[np.array(theirs) < reach]
    theirs_s, (_, theirs) = _timed(lambda: _distances(things, pairs))
    ours_s, table = _timed(lambda: finish(gaps(things, range_mm=reach, pairs=pairs)))
    wanted = {(a, b): gap for (a, b), gap in zip(pairs.tolist(), theirs, strict=True)}
    told = {(int(a), int(b)): gap for a, b, gap in zip(table.a, table.b, table.gap_mm, strict=True)}
    worst = max((abs(told.get(pair, np.inf) - gap) for pair, gap in wanted.items()), default=0.0)
    return Row(
        links, len(lattice.struts), stops, plan_s, check_s, plan_mb, solid_s, solid_mb, off, union_s,
        len(pairs), ours_s, theirs_s, float(worst), tuple(processor),
    )  # fmt: skip


def _timed(work, processor=None):
    """Seconds by the clock, and what came out; seconds of the processors go into a list if one is given."""
    start, worked = time.perf_counter(), time.process_time()
    done = work()
    if processor is not None:
        processor.append(time.process_time() - worked)
    return time.perf_counter() - start, done


def _united_mm3(parts):
    """Volume of all parts united by the solid library."""
    solids = [manifold3d.Manifold(manifold3d.Mesh64(p.points, p.triangles.astype(np.uint64))) for p in parts]
    return manifold3d.Manifold.batch_boolean(solids, manifold3d.OpType.Add).volume()


def _near_pairs(things, bodies, reach_mm):
    """Every strut with all that its bounds come near to, (p, 2)."""
    points = [thing.points() for thing in things]
    low, high = (np.array([f(p) for p in points]) for f in (lambda p: p.min(axis=0), lambda p: p.max(axis=0)))
    found = []
    for k in range(bodies, len(things)):
        near = ((low[:k] - reach_mm <= high[k]) & (low[k] - reach_mm <= high[:k])).all(axis=1)
        found += [(a, k) for a in np.flatnonzero(near).tolist()]
    return np.array(found, dtype=np.int64)


def _distances(things, pairs):
    """The pairs (p, 2) that do not meet and their distances (p,), by the collision library, its models included."""
    models = {}
    solids = []
    for thing in things:
        made = models.get(id(thing.mesh))
        if made is None:
            made = models[id(thing.mesh)] = fcl.BVHModel()
            made.beginModel(len(thing.mesh.points), len(thing.mesh.triangles))
            made.addSubModel(thing.mesh.points, thing.mesh.triangles)
            made.endModel()
        solids.append(fcl.CollisionObject(made, fcl.Transform(thing.pose.rotation, thing.pose.origin)))
    apart = [
        (a, b)
        for a, b in pairs.tolist()
        if not fcl.collide(solids[a], solids[b], fcl.CollisionRequest(), fcl.CollisionResult())
    ]
    return np.array(apart, dtype=np.int64).reshape(-1, 2), [
        fcl.distance(solids[a], solids[b], fcl.DistanceRequest(), fcl.DistanceResult()) for a, b in apart
    ]
