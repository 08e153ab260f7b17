"""Fillets at rings: the round of a ball that rolls in the corner, sunk into the ring, no larger than the web allows."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lattices import BENCH, chain, codes, planned, ring_way

from addon.rules.feed.fillets import SUNK_MM, with_fillets
from addon.rules.feed.lattice import LatticeSolid, Strut
from addon.rules.feed.rods import hoop, rod
from addon.rules.feed.skeletons import between
from addon.rules.solid.measure import volume_mm3
from addon.rules.solid.topology import facts

R, S, F = 1.76, 1.21, 0.5
WEB = BENCH.strut_web_mm


def ring(radius=R):
    """A straight piece of ring along x, its axis at height 0."""
    line = np.array([[-20.0, 0, 0], [20.0, 0, 0]])
    strut = Strut("ring", (-20.0, 0.0, 0.0), (20.0, 0.0, 0.0), 2 * radius, 2 * radius)
    return LatticeSolid("ring", hoop(line, 2 * radius, closed=False), (strut,), radius / 2)


def standing(x=0.0, lean=0.0, r=S, role="gate", turned=False):
    """A rod with its foot (or, turned, its head) on the ring's axis at ``x``; it leans along the ring and across."""
    foot, top = np.array([x, 0.0, 0.0]), np.array([x + 3 * lean, 4 * lean, 6.0])
    ends = (top, foot) if turned else (foot, top)
    struts = (Strut("brace" if role == "gate" else role, tuple(ends[0]), tuple(ends[1]), 2 * r, 2 * r),)
    return LatticeSolid(role, rod(np.array(ends), np.full(2, 2 * r)), struts, r / 2)


def filleted(*solids, fillet=F, base=None):
    made, found = with_fillets((ring() if base is None else base, *solids), fillet, WEB)
    return made[1:], found


def assert_solid(mesh):
    found = facts(mesh)
    assert found.closed
    assert not found.inside_out
    assert (found.shells, found.genus, found.zero_area) == (1, 0, 0)


def test_along_and_across_the_ring_it_is_the_circle_that_touches_both():
    """Along the ring the ball's middle lies at (r + f, R + f), across it on the circle of R + f about the axis."""
    (one,), found = filleted(standing())
    assert found == ()
    assert_solid(one.mesh)
    p = one.mesh.points
    for axis, other, high in ((0, 1, R + F), (1, 0, np.sqrt((R + F) ** 2 - (S + F) ** 2))):
        arc = p[(np.abs(p[:, other]) < 1e-9) & (p[:, axis] > 0) & (p[:, 2] > 0.1) & (p[:, 2] < 5)][:, [axis, 2]]
        away = np.linalg.norm(arc - [S + F, high], axis=1)
        on = np.isclose(away, F, atol=1e-9)
        # Four steps up to where it leaves along the rod, and a foot sunk straight into the ring.
        assert on.sum() == 4
        assert arc[on][:, 1].max() == pytest.approx(high)
        assert away[~on] == pytest.approx([F + SUNK_MM])


@settings(derandomize=True, deadline=None, max_examples=20)
@given(
    st.floats(0.6, 1.76), st.floats(0.1, 1.2), st.floats(-0.8, 0.8), st.booleans(), st.sampled_from(["gate", "post"])
)
def test_it_is_sound_covers_the_rod_and_stays_in_the_struts_that_hold_it(r, f, lean, turned, role):
    plain = standing(lean=lean, r=r, role=role, turned=turned)
    (one,), _ = filleted(plain, fillet=f)
    assert_solid(one.mesh)
    if one is plain:
        return
    assert volume_mm3(one.mesh) > volume_mm3(plain.mesh)
    for a, b in zip(one.struts, one.struts[1:], strict=False):
        assert (a.end, a.d_end_mm) == (b.start, b.d_start_mm)
    assert (one.struts[0].start, one.struts[-1].end) == (plain.struts[0].start, plain.struts[0].end)
    away = np.full(len(one.mesh.points), np.inf)
    for s in one.struts:
        a, way = np.array(s.start), np.subtract(s.end, s.start)
        t = np.clip((one.mesh.points - a) @ way / (way @ way), 0, 1)
        half = (s.d_start_mm + t * (s.d_end_mm - s.d_start_mm)) / 2
        away = np.minimum(away, np.linalg.norm(one.mesh.points - a - t[:, None] * way, axis=1) - half)
    assert away.max() < 1e-6
    # All of it but the rod lies within a ball of the corner, and the foot within the ring.
    axis = np.broadcast_to([-20.0, 0, 0], one.mesh.points.shape), np.broadcast_to([20.0, 0, 0], one.mesh.points.shape)
    from_ring = between(one.mesh.points, one.mesh.points, *axis)
    start, end = np.array(plain.struts[0].start), np.array(plain.struts[0].end)
    axis = np.broadcast_to(start, one.mesh.points.shape), np.broadcast_to(end, one.mesh.points.shape)
    beside = between(one.mesh.points, one.mesh.points, *axis) > r + 1e-6
    assert from_ring[beside].max() < max(R, 1.04 * r) + f
    assert from_ring[beside].min() >= R - SUNK_MM - 1e-6


@pytest.mark.parametrize("apart", [2 * S + WEB + 0.5, 2 * S + WEB + 2 * F + 0.1, 2 * S + WEB + 0.05])
def test_neighbours_keep_the_web_and_what_is_smaller_is_told(apart):
    """The distance of the two meshes by the flexible collision library."""
    fcl = pytest.importorskip("fcl")
    solids, found = filleted(standing(0.0), standing(apart))
    models = []
    for solid in solids:
        model = fcl.BVHModel()
        model.beginModel(len(solid.mesh.points), len(solid.mesh.triangles))
        model.addSubModel(solid.mesh.points, solid.mesh.triangles)
        model.endModel()
        models.append(fcl.CollisionObject(model, fcl.Transform()))
    gap = fcl.distance(*models, fcl.DistanceRequest(), fcl.DistanceResult())
    drawn = min(F, (apart - 2 * S - WEB) / 2)
    if drawn < 0.1:
        assert gap == pytest.approx(apart - 2 * S, abs=1e-6)
    else:
        assert WEB - 1e-6 <= gap <= apart - 2 * S - 1.8 * drawn
    if drawn == F:
        assert found == ()
        return
    (note,) = found
    assert (note.code, note.severity, note.limit) == ("strut-near", "note", F)
    assert note.value == pytest.approx(drawn if drawn >= 0.1 else 0.0, abs=1e-6)
    assert "2 of 2 fillets" in note.text


def test_a_rod_thicker_than_its_ring_and_one_that_stands_on_none_stay_as_they_are():
    thick, loose = standing(r=R + 0.2), replace(standing(), role="spoke")
    for solid in (thick, loose, standing(x=40.0)):
        (same,), found = filleted(solid)
        assert same is solid
        assert found == ()
    (same,), found = with_fillets((loose,), F, WEB)
    assert same is loose
    (same,), found = filleted(standing(), fillet=0.0)
    assert len(same.struts) == 1


@pytest.fixture(scope="module")
def done():
    way = ring_way(10, 6.8)
    bodies = chain(way, samples=32)
    return tuple(planned(bodies, way, upper_ring=True, fillet_mm=f) for f in (0.0, 0.5))


def test_a_whole_job_with_fillets_keeps_its_distances_and_gains_metal(done):
    plain, round_ = done
    assert codes(round_.findings, "stop") == codes(plain.findings, "stop") == []
    assert codes(round_.findings, "warn") == codes(plain.findings, "warn")
    for solid in round_.solids:
        assert facts(solid.mesh).closed
        assert not facts(solid.mesh).inside_out
    assert round_.volume_mm3 > plain.volume_mm3 * 1.01
    gates = [s for s in round_.solids if s.feeds is not None]
    # Shaft and cone: three pieces more for the fillet at the ring, two more for the one at the tip.
    assert all(len(s.struts) == 6 for s in gates if not s.above)


def test_spokes_widen_by_the_fillet_at_both_ends_and_keep_their_height(done):
    plain, round_ = done
    for before, after in zip(*([s for s in one.solids if s.role == "spoke"] for one in done), strict=True):
        d, wide = before.struts[0].d_start_mm, [s.d_start_mm for s in after.struts]
        assert max(wide) == pytest.approx(d + 2 * 0.5)
        assert min(wide) == pytest.approx(d)
        assert wide[0] == wide.pop(0) == max(d + 1.0, *wide)
        assert after.mesh.points[:, 2].max() == pytest.approx(before.mesh.points[:, 2].max())
        assert volume_mm3(after.mesh) > volume_mm3(before.mesh)
    assert plain.plate_z_mm == round_.plate_z_mm
