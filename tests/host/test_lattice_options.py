"""One job with everything asked for: upper ring, printed trunk, break-off necks, fillets. It joins and it prints."""

from dataclasses import replace

import numpy as np
import pytest
from lattices import BENCH, Way, chain, codes, planned, straight_way

from addon.host.boolean import boolean
from addon.rules.base.progress import finish
from addon.rules.feed.join import join
from addon.rules.inspect.print_check import print_check
from addon.rules.solid.mesh import Body


@pytest.fixture(scope="module")
def job():
    both = straight_way(2, 6.8)
    way = Way(both.origins[:1], both.rotations[:1], closed=False)
    bodies = chain(way, samples=48)
    lattice = planned(bodies, way, upper_ring=True, trunk="printed", cut="nipper", fillet_mm=0.5)
    shift = np.array([0.0, 0.0, -lattice.plate_z_mm])
    bodies, lattice = tuple(b.moved(shift) for b in bodies), lattice.moved(shift)
    return lattice, finish(join(bodies, lattice, boolean))


def test_everything_asked_for_joins_to_one_closed_solid_that_adds_up(job):
    lattice, solid = job
    assert codes(lattice.findings, "stop") == []
    assert all(s.neck_mm is not None for s in lattice.solids if s.feeds is not None)
    assert len(lattice.apart) == 1
    assert solid.findings == ()
    assert solid.shells == 1
    assert abs(solid.residue) <= 1e-6
    assert solid.mesh.points[:, 2].min() == 0.0


def test_it_prints_without_a_stop_and_holds_back_neither_resin_nor_air_nor_metal(job):
    _, solid = job
    coarse = replace(BENCH, layer_mm=0.1)
    check = finish(print_check([Body("job", solid.mesh)], coarse, directions=0, plate_mm=0.0))
    assert codes(check.findings, "stop") == []
    assert (check.suction, check.drip, check.traps) == ((), (), ())
    assert check.layers.islands == ()
