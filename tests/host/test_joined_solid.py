"""The joined job against the parts it was joined from, by libraries that had no hand in it.

Level sections of the whole are held against the sections of bodies and struts united in the plane by shapely (GEOS);
what hangs together is asked of scipy and trimesh; points near the surface are asked of the solid angle they see; and
handles are counted by inclusion and exclusion over the parts and what they have in common.
"""

from itertools import combinations

import numpy as np
import pytest
from lattices import BENCH, chain, straight_way

from addon.host.boolean import boolean
from addon.rules.base.progress import finish
from addon.rules.chain.build import build_chain
from addon.rules.chain.spec import ChainSpec, LayoutSpec
from addon.rules.feed.join import join
from addon.rules.feed.plan import plan_lattice
from addon.rules.feed.spec import FeedSpec
from addon.rules.solid.mesh import merged

shapely = pytest.importorskip("shapely")
trimesh = pytest.importorskip("trimesh")
sparse = pytest.importorskip("scipy.sparse")

HEIGHTS, POINTS = 20, 20_000
# The solver works in single precision: a surface may lie this far off.
OFF_MM = 2e-5


def trace_ring():
    made = finish(build_chain(ChainSpec("trace", 2.0, 12.0, 8.6, 0.4, chord_mm=0.08), LayoutSpec("ring", links=12)))
    return made.bodies, made.path, 2.0


def row_of_unknown_meshes():
    way = straight_way(4, 6.8)
    return chain(way, samples=48, drawn=False), way, 2.2


@pytest.fixture(scope="module", params=[trace_ring, row_of_unknown_meshes], ids=lambda make: make.__name__)
def job(request):
    bodies, path, wire = request.param()
    lattice = finish(plan_lattice(bodies, path, BENCH, FeedSpec(upper_ring=True), wire_mm=wire))
    solid = finish(join(bodies, lattice, boolean))
    assert solid.findings == ()
    return [*(b.placed() for b in bodies), *(s.mesh for s in lattice.solids)], solid


def loops_at(mesh, z):
    """The closed lines along which a mesh is cut level, followed from edge to edge by the corners' numbers."""
    t = mesh.triangles
    above = mesh.points[t, 2] > z
    cut = above.any(axis=1) & ~above.all(axis=1)
    t, above = t[cut], above[cut]
    after = np.roll(t, -1, axis=1)
    rises = ~above & np.roll(above, -1, axis=1)
    falls = above & ~np.roll(above, -1, axis=1)
    ends = [np.sort(np.stack((t[side], after[side]), axis=1), axis=1) for side in (rises, falls)]
    low, high = mesh.points[ends[0][:, 0]], mesh.points[ends[0][:, 1]]
    share = (z - low[:, 2]) / (high[:, 2] - low[:, 2])
    places = (low + share[:, None] * (high - low))[:, :2]
    names = [(e[:, 0] * len(mesh.points) + e[:, 1]).tolist() for e in ends]
    row = {name: k for k, name in enumerate(names[0])}
    assert len(row) == len(names[0])
    left, loops = set(range(len(names[0]))), []
    while left:
        k = first = left.pop()
        loop = [k]
        while (k := row[names[1][k]]) != first:
            left.remove(k)
            loop.append(k)
        loops.append(places[loop])
    return loops


def section(mesh, z):
    """What is metal in a level plane: inside an odd number of closed lines."""
    area = shapely.Polygon()
    for loop in loops_at(mesh, z):
        area = area.symmetric_difference(shapely.make_valid(shapely.Polygon(loop)))
    return area


def test_level_sections_are_those_of_the_parts_united_in_the_plane(job):
    parts, solid = job
    random = np.random.default_rng(61)
    low, high = solid.mesh.points[:, 2].min(), solid.mesh.points[:, 2].max()
    asked = inside = 0
    for z in random.uniform(low, high, HEIGHTS):
        whole = section(solid.mesh, z)
        apart = [p for p in parts if p.points[:, 2].min() < z < p.points[:, 2].max()]
        united = shapely.union_all([section(p, z) for p in apart])
        assert whole.area > 0
        assert whole.area == pytest.approx(united.area, abs=OFF_MM * united.length)
        assert whole.symmetric_difference(united).area < OFF_MM * united.length
        # Random points, half of them within some hundredths of the lines.
        count = POINTS // HEIGHTS
        box = np.array(united.bounds)
        near = shapely.get_coordinates(united.boundary.segmentize(0.2))
        near = near[random.integers(len(near), size=count // 2)] + random.normal(scale=0.05, size=(count // 2, 2))
        at = np.concatenate((random.uniform(box[:2] - 0.5, box[2:] + 0.5, (count - count // 2, 2)), near))
        told = shapely.distance(united.boundary, shapely.points(at)) > OFF_MM
        found = shapely.contains_xy(whole, at)
        assert np.array_equal(found[told], shapely.contains_xy(united, at)[told])
        asked, inside = asked + told.sum(), inside + found.sum()
    assert asked > 0.99 * POINTS
    assert 0.2 * POINTS < inside < 0.8 * POINTS


def turns(mesh, at):
    """How many times a closed mesh goes round each place: the solid angles of its triangles over 4 pi.

    Van Oosterom, Strackee, The solid angle of a plane triangle, IEEE Trans. Biomed. Eng. 30 (1983) 125 (from memory).
    """
    found = []
    for place in at:
        a, b, c = np.moveaxis(mesh.corners() - place, 1, 0)
        la, lb, lc = (np.linalg.norm(x, axis=1) for x in (a, b, c))
        up = np.einsum("ij,ij->i", a, np.cross(b, c))
        down = la * lb * lc + (a * b).sum(axis=1) * lc + (b * c).sum(axis=1) * la + (c * a).sum(axis=1) * lb
        found.append(np.arctan2(up, down).sum() / (2 * np.pi))
    return np.array(found)


def test_points_near_the_surface_see_the_solid_all_round_exactly_when_they_see_a_part(job):
    parts, solid = job
    random = np.random.default_rng(62)
    heap = merged(parts)
    corners = heap.corners()
    rows = random.integers(len(corners), size=24)
    at = np.einsum("kw,kwx->kx", random.dirichlet((1, 1, 1), 24), corners[rows]) + random.normal(
        scale=0.1, size=(24, 3)
    )
    whole, of_parts = turns(solid.mesh, at), turns(heap, at)
    np.testing.assert_allclose(whole, np.round(whole), atol=1e-3)
    assert np.array_equal(np.round(whole) == 1, np.round(of_parts) >= 1)
    assert set(np.round(whole)) == {0, 1}


def test_it_hangs_together_by_edges_and_by_faces(job):
    """Connected components of the corners by scipy, of the faces by trimesh; every edge has two faces."""
    _, solid = job
    t = solid.mesh.triangles
    ends = np.stack((t, np.roll(t, -1, axis=1)), axis=-1).reshape(-1, 2)
    count = len(solid.mesh.points)
    graph = sparse.coo_matrix((np.ones(len(ends)), (ends[:, 0], ends[:, 1])), shape=(count, count))
    assert sparse.csgraph.connected_components(graph, directed=False)[0] == 1
    mesh = trimesh.Trimesh(solid.mesh.points, t, process=False)
    (piece,) = mesh.split(only_watertight=True)
    assert piece.volume == pytest.approx(solid.volume_mm3, rel=1e-9)
    edges, faces = np.unique(np.sort(ends, axis=1), axis=0, return_counts=True)
    assert (faces == 2).all()
    assert count - len(edges) + len(t) == 2 - 2 * solid.genus


def test_its_handles_are_those_of_the_parts_and_of_what_they_share(job):
    """The Euler number of a union: that of the parts, less that of what two share, plus what three share, and so on.

    A closed solid has half the Euler number of its surface. What parts share is made by manifold3d, of a few small
    parts at a time and by intersection: the joined solid came from unions.
    """
    manifold3d = pytest.importorskip("manifold3d")
    parts, solid = job
    made = [manifold3d.Manifold(manifold3d.Mesh64(p.points, p.triangles.astype(np.uint64))) for p in parts]
    boxes = [(p.points.min(axis=0), p.points.max(axis=0)) for p in parts]

    def euler(shape):
        return sum(1 - piece.genus() for piece in shape.decompose())

    total, sign = sum(euler(m) for m in made), 1
    shared = {(k,): m for k, m in enumerate(made)}
    while shared:
        sign = -sign
        wider = {}
        for who, shape in shared.items():
            for k in range(who[-1] + 1, len(parts)):
                meet = all((boxes[k][0] <= boxes[j][1]).all() and (boxes[j][0] <= boxes[k][1]).all() for j in who)
                if meet and all((*few, k) in shared for few in combinations(who, len(who) - 1) if few):
                    common = shape ^ made[k]
                    if common.volume() > 1e-9:
                        wider[(*who, k)] = common
        total += sign * sum(euler(shape) for shape in wider.values())
        shared = wider
    assert total == 1 - solid.genus
    assert solid.genus > len(parts) / 4
