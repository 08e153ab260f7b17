"""The three-dimensional heat solve (heat_3d.py) by itself: against exact solutions, and its pinned results as written.

Plate: F. Neumann, about 1860 (Carslaw and Jaeger, Conduction of Heat in Solids, 1959, 11.2). Thick insulating mould
round a plane and a ball: C. Schwarz 1931 and Adams and Taylor 1957, exact for both where the metal stays at its
melting point. Round a cylinder: Carslaw and Jaeger 13.5 (12), the flux into a region outside a cylinder held at one
temperature, integrated here over time. Interface alone: heat to lose over h times area times temperature difference.
"""

import json
from dataclasses import replace

import heat_3d as solve
import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.spatial import cKDTree
from scipy.special import j0, y0

from addon.rules.cast.chvorinov import MouldHeat, curved_mould_time_s, heat_ratio, stefan_root, stefan_time_s

MELTS_C, FLASK_C, RADIUS_MM = 999.0, 550.0, solve.WIRE_MM / 2
# Freezes within 1 K, as the exact solutions ask; the heat beside the latent heat is 0.2 % and counted.
PURE = solve.Metal(8.77, MELTS_C - 1.0, MELTS_C, 190.0, 0.377, 0.377, 71.0)
# The same as warm inside as at its face, where the exact solution asks for that too.
EVEN = replace(PURE, conductivity=5000.0)
MOULD = solve.Sand(0.4, 1.23, None)
THICK = MouldHeat(0.4, 1230.0, 1000.0)
# Given off until 99 % is solid, in kJ/kg.
GIVEN_KJ_KG = 0.99 * (190.0 + 0.377)
RESULTS = solve.pinned()


def shells(curvature, inside=20, size_mm=RADIUS_MM):
    mould = np.cumsum(0.01 * 1.02 ** np.arange(180))
    return solve.radial_grid(np.concatenate((np.linspace(0, size_mm, inside + 1), size_mm + mould)), size_mm, curvature)


def frozen(grid, done):
    """Seconds to 99 % solid, the mean of all metal: over the 1 K the little that its middle is warmer counts."""
    cast = grid.body != solve.MOULD
    return np.average(done.solid_s[cast], weights=grid.store_mm3[cast])


def exact_wire_s():
    """When a cylinder held at its melting point has given off its heat to the mould around it."""
    # Share of the mould within the wire's own outline that would be heated through; u is exp(-v) below 1.
    asked = 1.0 / (2.0 * heat_ratio(THICK, MELTS_C - FLASK_C, 8770.0, GIVEN_KJ_KG))

    def given(tau):
        def rate(u):
            return -np.expm1(-tau * u * u) / (u**3 * (j0(u) ** 2 + y0(u) ** 2))

        low = quad(lambda v: rate(np.exp(-v)) * np.exp(-v), 0, 15)[0]
        # Beyond, Y0 is its logarithm and the exponential its first term.
        low += tau * np.pi / 2 * (np.pi / 2 - np.arctan(2 / np.pi * (15 + np.log(2) - np.euler_gamma)))
        return 4 / np.pi**2 * (low + quad(rate, 1, 60, limit=200)[0] + np.pi / 120)

    tau = brentq(lambda tau: given(tau) - asked, 0.01, 20.0)
    return tau * (RADIUS_MM * 1e-3) ** 2 / THICK.diffusivity_m2_s


def exact_mould_s(modulus_mm, curvature):
    ratio = heat_ratio(THICK, MELTS_C - FLASK_C, 8770.0, GIVEN_KJ_KG)
    return curved_mould_time_s(modulus_mm, ratio, THICK, curvature)


def test_a_plate_whose_faces_are_held_cold_freezes_as_neumann_says():
    grid = solve.radial_grid(np.append(np.linspace(0, 2.0, 161), 2.0001), 2.0, 0)
    cold = solve.Sand(1e4, 1e-6, None)
    done = solve.freeze(grid, PURE, cold, MELTS_C, FLASK_C, first_s=1e-5, step_share=0.01)
    root = stefan_root(0.377 * (MELTS_C - 0.5 - FLASK_C) / 190.0)
    # Over the 1 K the front is jerky from cell to cell: the middle of it in the last cell.
    assert np.nanmax(done.half_s) == pytest.approx(stefan_time_s(2e-3, root, 71.0 / (8770.0 * 377.0)), rel=0.01)


@pytest.mark.parametrize("curvature", [0, 2])
def test_plate_and_ball_in_thick_mould_freeze_as_the_closed_forms_say(curvature):
    grid = shells(curvature)
    done = solve.freeze(grid, EVEN, MOULD, MELTS_C, FLASK_C, step_share=0.01)
    modulus = RADIUS_MM / (curvature + 1)
    assert frozen(grid, done) == pytest.approx(exact_mould_s(modulus, curvature), rel=0.005)
    assert done.imbalance < 1e-4


def test_a_wire_in_shells_freezes_as_the_integral_says():
    grid = shells(1)
    done = solve.freeze(grid, EVEN, MOULD, MELTS_C, FLASK_C, step_share=0.01)
    assert frozen(grid, done) == pytest.approx(exact_wire_s(), rel=0.005)
    # The quick rule has two terms of the same flux; the third, left out, takes off.
    assert 0.93 * exact_wire_s() < exact_mould_s(RADIUS_MM / 2, 1) < exact_wire_s()


@pytest.mark.parametrize(("step", "within"), [(0.3, 0.05), (0.2, 0.02)])
def test_a_wire_of_voxels_freezes_as_the_integral_says(step, within):
    grid = solve.voxels("wire", step).grid
    done = solve.freeze(grid, EVEN, MOULD, MELTS_C, FLASK_C)
    assert frozen(grid, done) == pytest.approx(exact_wire_s(), rel=within)


@pytest.fixture(scope="module")
def ball():
    return solve.voxels("ball", 0.3)


def test_a_ball_of_voxels_freezes_as_the_closed_form_says_and_alike_on_all_sides(ball):
    done = solve.freeze(ball.grid, EVEN, MOULD, MELTS_C, FLASK_C, step_share=0.03)
    assert frozen(ball.grid, done) == pytest.approx(exact_mould_s(RADIUS_MM / 3, 2), rel=0.03)
    assert done.imbalance < 1e-4
    shape = [len(m) for m in ball.middles]
    half = done.half_s.reshape(shape)
    for axis in range(3):
        np.testing.assert_allclose(np.flip(half, axis), half, rtol=1e-4)


@pytest.mark.parametrize("shape", ["ball", "wire"])
def test_where_the_interface_rules_the_true_area_counts(shape, ball):
    """Mould that swallows all heat, so that the interface alone holds it back."""
    grid = ball.grid if shape == "ball" else solve.voxels("wire", 0.3).grid
    done = solve.freeze(grid, EVEN, solve.Sand(1e3, 1e5, 500.0), MELTS_C, FLASK_C, first_s=0.01, step_share=0.1)
    modulus_m = RADIUS_MM * 1e-3 / (3 if shape == "ball" else 2)
    expected = 8770.0 * GIVEN_KJ_KG * 1e3 * modulus_m / (500.0 * (MELTS_C - 0.5 - FLASK_C))
    assert frozen(grid, done) == pytest.approx(expected, rel=0.005)


def test_rays_find_the_link_that_lies_round_its_centreline():
    points, mesh, line, _ = solve.generated()
    x, y, z = (
        np.arange(low, high, 0.31) + 1e-4 for low, high in zip(points.min(0) - 0.5, points.max(0) + 0.5, strict=True)
    )
    inside = solve.inside_columns(points, mesh.triangles, x, y, z)
    places = np.stack(np.meshgrid(x, y, z, indexing="ij"), axis=-1)
    away = cKDTree(solve.densely(line)).query(places)[0] - RADIUS_MM
    clear = np.abs(away) > 0.05
    assert inside.any()
    np.testing.assert_array_equal(inside[clear], away[clear] < 0)


def test_areas_and_metal_of_the_gated_link_are_those_of_a_solid_library():
    manifold3d = pytest.importorskip("manifold3d")
    points, mesh, line, pitch = solve.generated()
    link = manifold3d.Manifold(manifold3d.Mesh64(points, mesh.triangles.astype(np.uint64)))
    up = [(0.0, solve.RING_Z_MM), (solve.GATE_MM / 2, solve.RING_Z_MM), (solve.GATE_MM / 2, solve.TIP_FROM_Z_MM),
          (solve.TIP_MM / 2, solve.TIP_TO_Z_MM), (0.0, solve.TIP_TO_Z_MM)]  # fmt: skip
    gate = manifold3d.CrossSection([up]).revolve(256)
    ring = manifold3d.Manifold.cylinder(pitch, solve.RING_MM / 2, solve.RING_MM / 2, 256, True)
    ring = ring.rotate((0, 90, 0)).translate((0, 0, solve.RING_Z_MM))
    caps = 2 * np.pi / 4 * solve.RING_MM**2
    areas = solve.rod_areas(points, mesh.triangles, line, pitch)
    assert sum(areas) == pytest.approx((link + gate + ring).surface_area() - caps, rel=0.002)
    grid = solve.voxels("gated", 0.4).grid
    for body, solid in ((solve.LINK, link), (solve.GATE, gate - link - ring), (solve.RING, ring)):
        assert grid.store_mm3[grid.body == body].sum() == pytest.approx(solid.volume(), rel=0.015)
        assert grid.touch_mm2[touching(grid, body)].sum() == pytest.approx(areas[body], rel=1e-6)


def touching(grid, body):
    i, j = grid.body[grid.i], grid.body[grid.j]
    return ((i == body) & (j == solve.MOULD)) | ((j == body) & (i == solve.MOULD))


# The pinned results


def test_every_case_is_pinned_with_the_figures_it_depends_on_today():
    """When this fails, a figure of a table or the generator's chain has changed: run heat_3d.py again."""
    assert list(RESULTS) == [case.name for case in solve.CASES]
    for case in solve.CASES:
        asked = json.loads(json.dumps(solve.inputs(case)))
        assert RESULTS[case.name]["inputs"] == asked
        assert RESULTS[case.name]["checksum"] == solve.digest(asked)
    assert solve.written(RESULTS) == solve.PINNED.read_text(encoding="utf-8")


def test_the_script_still_gives_what_is_pinned():
    case = next(c for c in solve.CASES if c.shape == "wire" and c.step_mm == 0.3)
    fresh, kept = solve.run(case)["bodies"]["link"], RESULTS[case.name]["bodies"]["link"]
    for key in ("half_solid_s", "solid_99_s", "last_solid_s"):
        assert fresh[key] == pytest.approx(kept[key], rel=1e-3)


@pytest.mark.parametrize("case", solve.CASES, ids=lambda c: c.name)
def test_pinned_results_keep_their_heat_and_are_alike_where_the_chain_is(case):
    result = RESULTS[case.name]
    assert result["imbalance"] < 1e-4
    if case.shape == "wire":
        # Without the interface the steps of the voxels stand bare in the first steep layer of mould.
        within = 0.02 if case.interface else 0.06
        for key, fine in result["in_shells"].items():
            assert result["bodies"]["link"][key] == pytest.approx(fine, rel=within)
    else:
        times = np.array([[p["half_solid_s"], p["solid_99_s"]] for p in result["round_the_link"]])
        # Half a turn about the width (z) brings a link, and a link with its gate, back on itself.
        turned = [(solve.PLACES // 2 - k) % solve.PLACES for k in range(solve.PLACES)]
        np.testing.assert_allclose(times[turned], times, rtol=0.015)
        if case.shape != "gated":
            np.testing.assert_allclose(np.roll(times, solve.PLACES // 2, axis=0), times, rtol=0.015)


def pour_of(case):
    return case.alloy, case.superheat_k, case.flask_c


def link_s(shape, pour=solve.POURS[1], key="half_solid_s", **rest):
    return RESULTS[solve.Case(shape, *pour, **rest).name]["bodies"]["link"][key]


@pytest.mark.parametrize("key", ["half_solid_s", "solid_99_s"])
@pytest.mark.parametrize("shape", solve.SHAPES)
def test_a_finer_step_changes_little(shape, key):
    steps = [c.step_mm for c in solve.CASES if (c.shape, c.interface) == (shape, True) and pour_of(c) == solve.POURS[1]]
    times = [link_s(shape, key=key, step_mm=step) for step in steps]
    assert len(times) >= 2
    assert max(times) < 1.02 * min(times)


@pytest.mark.parametrize("pour", solve.POURS, ids=str)
def test_a_link_freezes_later_in_a_chain_and_later_still_over_its_ring(pour):
    alone, chain, gated = (link_s(shape, pour) for shape in ("alone", "chain", "gated"))
    assert 1.3 * alone < chain < gated
    bodies = RESULTS[solve.Case("gated", *pour).name]["bodies"]
    order = [bodies[name]["half_solid_s"] for name in ("link", "gate", "ring")]
    assert order == sorted(order)
