"""The whole job as Blender's solver joins it, checked by other means than that solver.

A hundred thousand random points lie in the solid exactly when they lie in a part, by counting how often a line straight
up leaves and enters; and the areas of level sections, cut by trimesh and measured by Green's theorem, integrate to
the volume.
"""

from dataclasses import replace

import numpy as np
import pytest
from lattices import BENCH, chain, planned, ring_way, straight_way

from addon.host.boolean import boolean
from addon.rules.base.progress import finish
from addon.rules.feed.join import join
from addon.rules.inspect.layers import slice_layers
from addon.rules.solid.measure import bounds_mm, volume_mm3
from addon.rules.solid.mesh import Body, Mesh, merged

POINTS = 100_000
CELLS = 160


def windings(mesh, at):
    """Count signed crossings of the line straight up from each place (k, 3): how many closed shells hold it.

    Triangles are sorted into the cells of a grid seen from above; a place is tested against those of its own cell.
    """
    corners = mesh.corners()
    low, high = corners.min(axis=(0, 1))[:2] - 1e-3, corners.max(axis=(0, 1))[:2] + 1e-3
    size = (high - low) / CELLS
    first = np.floor((corners[:, :, :2].min(axis=1) - low) / size).astype(int)
    last = np.floor((corners[:, :, :2].max(axis=1) - low) / size).astype(int)
    span = last - first + 1
    count = span[:, 0] * span[:, 1]
    triangle = np.repeat(np.arange(len(corners)), count)
    step = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    x = first[triangle, 0] + step % span[triangle, 0]
    y = first[triangle, 1] + step // span[triangle, 0]
    order = np.argsort(x * CELLS + y, kind="stable")
    cell, triangle = (x * CELLS + y)[order], triangle[order]
    result = np.zeros(len(at), dtype=int)
    inside = ((at[:, :2] >= low) & (at[:, :2] < high)).all(axis=1)
    place = np.flatnonzero(inside)
    here = np.floor((at[place, :2] - low) / size).astype(int) @ [CELLS, 1]
    begin, end = np.searchsorted(cell, here, "left"), np.searchsorted(cell, here, "right")
    for k in range(0, len(place), 20_000):
        rows = slice(k, k + 20_000)
        n = end[rows] - begin[rows]
        p = np.repeat(place[rows], n)
        t = triangle[np.arange(n.sum()) + np.repeat(begin[rows] - (np.cumsum(n) - n), n)]
        a, b, c = corners[t, 0] - at[p], corners[t, 1] - at[p], corners[t, 2] - at[p]

        def cross(u, v):
            return u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]

        wa, wb, wc = cross(b, c), cross(c, a), cross(a, b)
        area = wa + wb + wc
        over = ((wa > 0) & (wb > 0) & (wc > 0)) | ((wa < 0) & (wb < 0) & (wc < 0))
        height = wa * a[:, 2] + wb * b[:, 2] + wc * c[:, 2]
        above = over & (height * np.sign(area) > 0)
        np.add.at(result, p[above], np.sign(area[above]).astype(int))
    return result


@pytest.fixture(scope="module", params=["ring", "line"])
def job(request):
    way = ring_way(9, 6.8) if request.param == "ring" else straight_way(4, 6.8)
    bodies = chain(way, samples=64)
    lattice = planned(bodies, way, upper_ring=True)
    shift = np.array([0.0, 0.0, -lattice.plate_z_mm])
    bodies, lattice = tuple(b.moved(shift) for b in bodies), lattice.moved(shift)
    return bodies, lattice, finish(join(bodies, lattice, boolean))


def test_it_is_one_closed_solid_that_adds_up(job):
    bodies, _, solid = job
    assert solid.findings == ()
    assert solid.shells == 1
    assert abs(solid.residue) <= 1e-6
    assert solid.bodies_volume_mm3 == pytest.approx(sum(volume_mm3(b.mesh) for b in bodies), rel=1e-12)
    assert solid.mesh.points[:, 2].min() == 0.0


def test_trimesh_finds_it_watertight_and_in_one_piece(job):
    trimesh = pytest.importorskip("trimesh")
    _, _, solid = job
    mesh = trimesh.Trimesh(solid.mesh.points, solid.mesh.triangles, process=False)
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    assert mesh.body_count == 1
    assert mesh.volume == pytest.approx(solid.volume_mm3, rel=1e-9)
    assert mesh.euler_number == 2 - 2 * solid.genus


def test_a_hundred_thousand_points_lie_in_the_solid_exactly_when_they_lie_in_a_part(job):
    bodies, lattice, solid = job
    parts = merged([b.placed() for b in bodies] + [s.mesh for s in lattice.solids])
    low, high = bounds_mm(solid.mesh.points)
    random = np.random.default_rng(20)
    anywhere = random.uniform(low - 0.5, high + 0.5, (POINTS // 2, 3))
    # The other half near the surface, where a wrong union would show.
    corners = parts.corners()
    area = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1)
    row = random.choice(len(corners), POINTS - POINTS // 2, p=area / area.sum())
    weight = random.dirichlet((1, 1, 1), len(row))
    near = np.einsum("kw,kwx->kx", weight, corners[row]) + random.normal(scale=0.3, size=(len(row), 3))
    at = np.concatenate((anywhere, near))
    inside = windings(solid.mesh, at)
    assert set(np.unique(inside)) == {0, 1}
    assert np.array_equal(inside == 1, windings(parts, at) > 0)
    assert 0.2 * POINTS < inside.sum() < 0.8 * POINTS


def test_with_the_lattice_taken_away_the_same_points_find_exactly_the_bodies(job):
    """Points of the solid that are in no body are in the lattice; taking struts less bodies away leaves the bodies."""
    bodies, lattice, solid = job
    metal, struts = merged([b.placed() for b in bodies]), merged([s.mesh for s in lattice.solids])
    random = np.random.default_rng(21)
    low, high = bounds_mm(metal.points)
    at = random.uniform(low, high, (POINTS // 2, 3))
    whole, body, strut = windings(solid.mesh, at) > 0, windings(metal, at) > 0, windings(struts, at) > 0
    assert np.array_equal(whole & ~(strut & ~body), body)
    assert (body & strut).sum() > 0  # Tips are sunk in: there the bodies keep their metal.


def test_the_areas_of_its_sections_integrate_to_its_volume(job):
    """Level cuts by trimesh; their area is half the sum of x1 y2 - x2 y1 round their edges (Green's theorem)."""
    trimesh = pytest.importorskip("trimesh")
    _, _, solid = job
    mesh = trimesh.Trimesh(solid.mesh.points, solid.mesh.triangles, process=False)
    height, count = float(solid.mesh.points[:, 2].max()), 300
    total = 0.0
    for z in (np.arange(count) + 0.5) * height / count:
        lines, face = trimesh.intersections.mesh_plane(mesh, [0, 0, 1], [0, 0, z], return_faces=True)
        a, b = lines[:, 0, :2], lines[:, 1, :2]
        out = mesh.face_normals[face][:, :2]
        # Metal on the left of every edge.
        left = (a[:, 1] - b[:, 1]) * out[:, 0] + (b[:, 0] - a[:, 0]) * out[:, 1]
        area = np.abs((a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]) / 2)
        turned = np.sign(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]) * np.where(left < 0, 1, -1)
        total += float((area * turned).sum()) * height / count
    assert total == pytest.approx(solid.volume_mm3, rel=2e-3)


def test_the_joined_job_begins_nowhere_in_mid_air(job):
    _, _, solid = job
    layers = finish(slice_layers([Body("job", solid.mesh)], BENCH.layer_mm))
    assert layers.islands == ()


def test_an_open_strut_stops_the_job_by_name_and_leaves_nothing(job):
    bodies, lattice, _ = job
    at = next(k for k, s in enumerate(lattice.solids) if s.role == "spoke")
    broken = lattice.solids[at]
    mesh = Mesh(broken.mesh.points, broken.mesh.triangles[1:])
    opened = replace(lattice, solids=(*lattice.solids[:at], replace(broken, mesh=mesh), *lattice.solids[at + 1 :]))
    solid = finish(join(bodies, opened, boolean))
    assert solid.mesh is None
    assert [(f.code, f.severity) for f in solid.findings] == [("solid", "stop")]
    assert "spokes" in solid.findings[0].text
