"""The gauge against outside libraries: free travel by python-fcl, layers by trimesh and shapely.

python-fcl: the Flexible Collision Library. The spread of readings is checked against scipy's statistics, the mean
against scipy's least squares.
"""

import numpy as np
import pytest

from addon.rules.base.profile import load_profile
from addon.rules.inspect.calibration import Reading, calibrate
from addon.rules.inspect.gauge import GAPS_MM, gauge

fcl = pytest.importorskip("fcl")
trimesh = pytest.importorskip("trimesh")
shapely = pytest.importorskip("shapely")
optimize = pytest.importorskip("scipy.optimize")

HAIR = 1e-6
# In front of and behind a link 1.5 mm, and the link: the longest stretch that is printed over nothing.
SPAN_MM = 5.4


def model(body):
    points = body.points()
    made = fcl.BVHModel()
    made.beginModel(len(body.mesh.triangles), len(points))
    made.addSubModel(points, body.mesh.triangles)
    made.endModel()
    return made


def meets(frame, link, shift):
    other = fcl.CollisionObject(link, fcl.Transform(np.asarray(shift, dtype=float)))
    return fcl.collide(fcl.CollisionObject(frame), other, fcl.CollisionRequest(), fcl.CollisionResult()) > 0


@pytest.mark.parametrize("gaps", [GAPS_MM, (0.05, 1.0, 0.125)])
def test_each_link_travels_its_gap_and_no_further(gaps):
    """To either side and down; forwards, backwards and up it has more room than any gap, and then it is held."""
    frame, *links = gauge(gaps)
    solid = model(frame)
    for body, gap in zip(links, gaps, strict=True):
        link = model(body)
        for way in ((1, 0, 0), (-1, 0, 0), (0, 0, -1)):
            assert not meets(solid, link, np.array(way) * (gap - HAIR)), (body.name, way)
            assert meets(solid, link, np.array(way) * (gap + HAIR)), (body.name, way)
        for way in ((0, 1, 0), (0, -1, 0), (0, 0, 1)):
            assert not meets(solid, link, np.array(way) * (1.5 - HAIR)), (body.name, way)
            assert meets(solid, link, np.array(way) * (1.5 + HAIR)), (body.name, way)


def test_no_layer_reaches_far_over_nothing():
    """What a layer adds outside the one below is held from both sides of a span, as a bridge, or stands out a hair."""
    bridge = load_profile("bench").bridge_mm
    assert bridge > SPAN_MM
    bodies = [trimesh.Trimesh(b.points(), b.mesh.triangles, process=False) for b in gauge((0.15, 0.3, 0.6))]
    top = max(body.bounds[1, 2] for body in bodies)
    heights = np.arange(0.025, top, 0.05)
    for body in bodies:
        below = None
        for z in heights[heights < body.bounds[1, 2]]:
            line = body.section(plane_origin=(0, 0, z), plane_normal=(0, 0, 1))
            here = shapely.Polygon()
            for ring in line.discrete:
                here = here.symmetric_difference(shapely.Polygon(ring[:, :2]))
            assert here.area > 0.5
            if below is not None:
                for piece in [p for p in shapely.get_parts(here.difference(below)) if not p.is_empty]:
                    assert piece.distance(below) < 1e-6, "begins in mid-air"
                    assert below.buffer(SPAN_MM / 2 + 1e-3).covers(piece), z
            below = here


def test_the_solids_are_watertight_and_of_one_volume():
    for body in gauge():
        solid = trimesh.Trimesh(body.points(), body.mesh.triangles, process=False)
        assert solid.is_watertight
        assert solid.is_winding_consistent
        assert solid.volume > 0
        assert solid.body_count == 1


def test_figures_agree_with_a_least_squares_solver():
    noise = np.random.default_rng(4)
    rows = [(gap, level) for gap in GAPS_MM[3:] for level in (False, True)]
    growth = {False: 2 * 0.045, True: 0.085}
    readings = [Reading(gap, gap * 1.02 - growth[level] + 0.01 * noise.normal(), level) for gap, level in rows]

    def off(unknown):
        return [r.gap_mm * 1.02 - (unknown[1] if r.level else 2 * unknown[0]) - r.measured_mm for r in readings]

    solved = optimize.least_squares(off, (0.0, 0.0), xtol=1e-15, ftol=1e-15, gtol=1e-15).x
    found = calibrate(readings, scale=1.02)
    assert (found.bleed.mm, found.over_cure.mm) == pytest.approx(tuple(solved), abs=1e-9)
    upright = [(r.gap_mm * 1.02 - r.measured_mm) / 2 for r in readings if not r.level]
    assert found.bleed.spread_mm == pytest.approx(pytest.importorskip("scipy.stats").tstd(upright), rel=1e-12)
