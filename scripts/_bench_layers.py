"""`bench.py layers`: the print check of a ring of links, its sections beside manifold3d and trimesh in the same run.

Loops and areas, then regions and islands, of the whole job at so many layers; then pockets, overhangs, slots, the ways
up and, where asked for, the light. Each time is what the process took; `step` is the longest wait between two looks at
the clock, which is how long a window would stand still.
"""

import argparse
import os
import platform
import sys
import time
from importlib.metadata import version
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import manifold3d
import numpy as np
import trimesh

from addon.rules.base.profile import load_profile
from addon.rules.base.progress import finish
from addon.rules.inspect.cups import cups, metal_traps
from addon.rules.inspect.layers import slice_layers
from addon.rules.inspect.light import light_reach
from addon.rules.inspect.overhang import overhangs
from addon.rules.inspect.rinse import rinse_reach
from addon.rules.inspect.way_up import best_way_up, ways
from addon.rules.solid.mesh import merged
from addon.rules.solid.section import cutting, surface_of_all
from tests.gap_shapes import oval_link, shared_ring

PITCH_MM = 7.6


def run(arguments):
    """Print the table; returns the exit code, 1 when an area is not the libraries'."""
    parser = argparse.ArgumentParser(prog="bench.py layers", description=__doc__.splitlines()[0])
    parser.add_argument("--links", type=int, default=60, help="links of the ring, even (default %(default)s)")
    parser.add_argument("--around", type=int, default=160, help="quads along a link (default %(default)s)")
    parser.add_argument("--across", type=int, default=26, help="quads round its wire (default %(default)s)")
    parser.add_argument("--layers", type=int, default=300, help="layers (default %(default)s)")
    parser.add_argument("--light", type=int, default=0, metavar="N", help="also the light from N directions")
    parser.add_argument("--no-beside", action="store_true", help="leave out the other libraries")
    options = parser.parse_args(arguments)

    ring = shared_ring(oval_link(options.around, options.across), options.links, PITCH_MM)
    z = np.concatenate([body.points()[:, 2] for body in ring])
    low, layer = float(z.min()), float(np.ptp(z)) / options.layers
    print(f"{options.links} links, {sum(len(b.mesh.triangles) for b in ring)} triangles, {options.layers} layers")
    heights = low + layer * (np.arange(options.layers) + 0.5)
    sections = _row("loops and areas", _sections(ring, heights))
    layers = _row("with regions and islands", slice_layers(ring, layer, plate_mm=low, fused=()))
    print(f"{'':30} {len(sections.start)} pieces, {len(sections.layer)} loops, {len(layers.islands)} islands")
    right = options.no_beside or _beside(ring, heights, layers.area_mm2, sections)
    profile = load_profile()
    _row("overhangs", overhangs(ring, layers, profile.overhang_deg))
    _row("pockets, one way up", cups(ring, layer, fused=()))
    _row("traps for metal", metal_traps(ring, layer, (0.0, 0.0, -1.0), fused=()))
    _row("slots that hold resin", rinse_reach(ring, fused=()))
    _row(f"{len(ways())} ways up", best_way_up(ring, profile, fused=()))
    if options.light:
        reach = _row(f"light, {options.light} directions", light_reach(ring, directions=options.light, fused=()))
        print(f"{'':30} pixels of {reach.pixel_mm:g} mm, sampling error {reach.sampling_error:.3f}")
    print(
        f"Python {platform.python_version()}, numpy {np.__version__}, manifold3d {version('manifold3d')}, trimesh "
        f"{trimesh.__version__}, {os.cpu_count()} cores, {platform.machine()}"
    )
    return 0 if right else 1


def _sections(ring, heights):
    surface, _ = yield from surface_of_all(ring)
    return (yield from cutting(surface, heights))


def _row(name, steps):
    """Run a rule to its end and print what it took; returns its result."""
    longest, last = 0.0, time.perf_counter()

    def watch(_share):
        nonlocal longest, last
        longest, last = max(longest, time.perf_counter() - last), time.perf_counter()

    start = time.perf_counter()
    found = finish(steps, watch)
    print(f"{name:30} {time.perf_counter() - start:7.2f} s   step {longest:.2f} s")
    return found


def _beside(ring, heights, areas, sections):
    """Print what the other libraries take for the same figures, and how far they lie apart; returns if they agree.

    They know no overlapping bodies, so each takes the links one by one: manifold3d for areas, trimesh for outlines.
    """
    right = True
    pieces = np.linalg.norm(sections.end() - sections.start, axis=1)
    lengths = np.bincount(sections.layer[sections.loop], pieces, len(heights))
    for name, cut, ours in (("manifold3d, areas", _by_manifold, areas), ("trimesh, outlines", _by_trimesh, lengths)):
        start = time.perf_counter()
        theirs = np.sum([cut(body, heights) for body in ring], axis=0)
        took = time.perf_counter() - start
        off = float(np.abs(theirs - ours).max() / ours.max())
        right &= off < 1e-5
        print(f"{name:30} {took:7.2f} s   farthest off {off:.1e} of the largest")
    return right


def _by_manifold(body, heights):
    placed = merged([body.placed()])
    solid = manifold3d.Manifold(manifold3d.Mesh64(placed.points, placed.triangles.astype(np.uint64)))
    return [solid.slice(float(height)).area() for height in heights]


def _by_trimesh(body, heights):
    placed = trimesh.Trimesh(body.points(), body.mesh.triangles, process=False)
    cut = placed.section_multiplane([0.0, 0.0, 0.0], [0.0, 0.0, 1.0], heights)
    return [0.0 if section is None else section.length for section in cut]
