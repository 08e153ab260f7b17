"""`bench.py cast`: network, filling, freezing and levers of rings with two feed rings, beside scipy's sparse solver.

Every number of links runs in a process of its own, so that its peak of memory is its own. The levers are those of a
job that fails: thin gates and rings, a cool flask, poured by its own weight. Scipy solves the heat of one step of the
same network.
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

import numpy as np
import scipy.sparse
import scipy.sparse.linalg
from _memory import peak_mb

from addon.rules.base.profile import load_profile
from addon.rules.base.progress import finish
from addon.rules.cast.assembly import cast_network
from addon.rules.cast.cases import sized
from addon.rules.cast.elimination import elimination, solve
from addon.rules.cast.fill import fill
from addon.rules.cast.flask import USUAL_MARGINS
from addon.rules.cast.forecast import forecast
from addon.rules.cast.freeze import freeze
from addon.rules.cast.materials import load_materials
from addon.rules.cast.metal_heat import metal_of
from addon.rules.cast.pour import Pour, case, reach_mm
from addon.rules.cast.spec import CastSpec
from addon.rules.cast.temperatures import choose_investment, choose_temperatures
from addon.rules.chain.build import build_chain
from addon.rules.chain.spec import ChainSpec, LayoutSpec
from addon.rules.feed.plan import plan_lattice
from addon.rules.feed.spec import FeedSpec

SPEC = ChainSpec("curb", 2.2, 12.2, 9.7, 0.4)
TRUNK_MM, BUTTON_PER_MM3 = 8.0, 0.25
GOOD = (FeedSpec(upper_ring=True), CastSpec())
BAD = (
    FeedSpec(gate_mm=1.0, tip_mm=0.7, ring_mm=2.6, upper_ring=True),
    CastSpec(alloy="sterling-silver", head="gravity", metal_c=940.0, flask_c=350.0),
)
AGREE = 1e-9


@dataclass(frozen=True)
class Row:
    """What one ring took, in seconds: wall clock and, in ``processor_s``, processor time in the same order."""

    links: int
    elements: int
    cells: int
    wall_s: tuple[float, ...]
    processor_s: tuple[float, ...]
    verdicts: str
    levers: int
    solve_ms: float
    scipy_ms: float
    off: float
    imbalance: float
    mb: int | None


STAGES = ("network", "fill", "freeze", "forecast", "levers")


def run(arguments):
    """Print the table; returns the exit code, 1 when the solvers differ or heat is lost."""
    parser = argparse.ArgumentParser(prog="bench.py cast", description=__doc__.splitlines()[0])
    parser.add_argument("--links", type=int, nargs="*", default=[60, 500], help="links of the rings, 20 or more")
    options = parser.parse_args(arguments)
    print(f"{SPEC.family} rings of {SPEC.wire_mm:g} mm wire, base ring and upper ring; times in seconds")
    print("forecast: fill and freeze in the usual, the cold and the warm case; levers: of a job that fails, all told")
    heads = "".join(f"{stage:>10}" for stage in STAGES)
    print(f"{'links':>6} {'elements':>9} {'cells':>7}{heads} {'solve ms':>9} {'scipy ms':>9} {'off':>7} {'MB':>6}")
    rows = []
    with multiprocessing.get_context("spawn").Pool(1, maxtasksperchild=1) as pool:
        for row in pool.imap(_measured, options.links, chunksize=1):
            rows.append(row)
            times = "".join(f"{s:10.2f}" for s in row.wall_s)
            print(
                f"{row.links:6} {row.elements:9} {row.cells:7}{times} {row.solve_ms:9.2f} {row.scipy_ms:9.2f} "
                f"{row.off:7.0e} {row.mb if row.mb is not None else 'none':>6}",
                flush=True,
            )
    for row in rows:
        parts = ", ".join(f"{name} {s:.2f}" for name, s in zip(STAGES, row.processor_s, strict=True))
        print(f"{row.links} links, processor seconds: {parts}")
        print(f"{row.links} links: {row.verdicts}; {row.levers} levers tried; heat off by {row.imbalance:.0e}")
    print(
        f"Python {platform.python_version()}, numpy {np.__version__}, scipy {version('scipy')}, "
        f"{os.cpu_count()} cores, {platform.machine()}"
    )
    return 0 if all(row.off < AGREE and row.imbalance < 1e-3 for row in rows) else 1


def _measured(links):
    """Measure one ring, then the levers of one that fails."""
    materials, wall, processor = load_materials(), [], []
    chain = finish(build_chain(SPEC, LayoutSpec("ring", links=links)))
    lattice, pour = _poured(chain, *GOOD, materials)
    network, mould = _timed(lambda: _network(chain, lattice, pour), wall, processor)
    usual, plan = case(pour, len(network.at)), elimination(len(network.at), network.joints)
    filled = _timed(lambda: finish(fill(network, mould, usual)), wall, processor)
    frozen = _timed(
        lambda: finish(freeze(network, mould, usual, start_c=filled.metal_c, filled=filled.filled, state=filled.state)),
        wall,
        processor,
    )
    found = _timed(lambda: finish(forecast(network, mould, pour, with_levers=False)), wall, processor)
    thin, cool = _poured(chain, *BAD, materials)
    bad = _network(chain, thin, cool)
    failed = _timed(lambda: finish(forecast(*bad, cool)), wall, processor)
    ours, theirs, off = _beside_scipy(network, usual, plan)
    count = ", ".join(f"{n} {word}" for word, n in found.count.items())
    imbalance = max(float(np.abs(frozen.imbalance).max()), float(np.abs(filled.heat_imbalance).max()))
    return Row(
        links, len(network.at), len(mould.cell_mm3), tuple(wall), tuple(processor), count, len(failed.levers),
        ours, theirs, off, imbalance, peak_mb(),
    )  # fmt: skip


def _poured(chain, feed, cast, materials):
    """Plan the lattice of a chain and how it is poured."""
    lattice = finish(plan_lattice(chain.bodies, chain.path, load_profile(), feed, wire_mm=SPEC.wire_mm))
    alloy = materials.alloy(cast.alloy)
    investment = choose_investment(cast, alloy, materials)
    temperatures = choose_temperatures(cast, alloy, investment, SPEC.wire_mm)
    return lattice, Pour(alloy, investment, temperatures, cast.head, USUAL_MARGINS)


def _network(chain, lattice, pour):
    volume = lattice.volume_mm3
    return finish(
        cast_network(
            chain.bodies, lattice, trunk_d_mm=TRUNK_MM, trunk_mm=USUAL_MARGINS.trunk_mm,
            button_mm3=BUTTON_PER_MM3 * volume, cone_mm=USUAL_MARGINS.cone_mm, reach_mm=reach_mm(pour.investment),
        )
    )  # fmt: skip


def _beside_scipy(network, usual, plan):
    """Solve one step of conduction by ours and by scipy: milliseconds of both and how far apart they are."""
    metal = metal_of(network, sized(network, usual), usual, plan=plan)
    diagonal = metal.leaving + metal.mass_g * usual.heat_liquid_j_g_k / 0.01
    right = diagonal * 900.0 + np.random.default_rng(1).normal(size=diagonal.shape)
    a, b = network.joints.T
    n = len(diagonal)
    rows, columns = np.concatenate((np.arange(n), a, b)), np.concatenate((np.arange(n), b, a))
    values = np.concatenate((diagonal[:, 0], -metal.passing[:, 0], -metal.passing[:, 0]))
    matrix = scipy.sparse.csc_matrix((values, (rows, columns)), shape=(n, n))
    ours = min(_seconds(lambda: solve(plan, diagonal, -metal.passing, -metal.passing, right)) for _ in range(5))
    theirs = min(_seconds(lambda: scipy.sparse.linalg.spsolve(matrix, right[:, 0])) for _ in range(5))
    found = solve(plan, diagonal, -metal.passing, -metal.passing, right)[:, 0]
    wanted = scipy.sparse.linalg.spsolve(matrix, right[:, 0])
    return 1e3 * ours, 1e3 * theirs, float(np.abs(found - wanted).max() / np.abs(wanted).max())


def _seconds(work):
    begin = time.perf_counter()
    work()
    return time.perf_counter() - begin


def _timed(work, wall, processor):
    begin, busy = time.perf_counter(), time.process_time()
    result = work()
    wall.append(time.perf_counter() - begin)
    processor.append(time.process_time() - busy)
    return result
