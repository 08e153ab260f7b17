"""Bracelets of every family and many sizes, from the job file to the lattice, held against a general collision library.

Each is fed without a stop; and whatever the checks of ours say, python-fcl finds on the exact meshes that every link is
entered by its gates, that the links stay apart, that all feed metal hangs together, and that struts keep their web.
"""

from itertools import combinations

import numpy as np
import pytest

from addon.rules.base.progress import finish
from addon.rules.cast.materials import load_materials
from addon.rules.files.job import read_job
from addon.verbs import flow

fcl = pytest.importorskip("fcl")
sparse = pytest.importorskip("scipy.sparse")

# Links whose distances to all struts near them are measured: spread round the chain.
SAMPLE = 8
# family, wire, length, width, gap, layout, links, upper ring
BRACELETS = [
    ("curb", 1.7, 12.2, 9.7, 0.4, "ring", 12, True),
    ("curb", 2.2, 12.2, 9.7, 0.4, "ring", 31, False),
    ("curb", 2.2, 12.2, 9.7, 0.4, "ring", 80, True),
    ("curb", 2.2, 12.2, 9.7, 0.4, "spiral", 120, False),
    ("trace", 2.0, 12.0, 8.6, 0.4, "ring", 12, False),
    ("trace", 2.0, 12.0, 8.6, 0.4, "ring", 24, True),
    ("trace", 2.0, 12.0, 8.6, 0.4, "ring", 80, False),
    ("belcher", 2.0, 10.0, 9.0, 0.45, "ring", 16, False),
    ("belcher", 2.0, 10.0, 9.0, 0.45, "ring", 40, True),
    ("figaro", 1.7, 10.0, 9.0, 0.4, "ring", 24, True),
    ("figaro", 1.7, 10.0, 9.0, 0.4, "ring", 36, False),
    ("anchor", 2.0, 13.0, 9.5, 0.45, "ring", 20, False),
    ("anchor", 2.0, 13.0, 9.5, 0.45, "ring", 24, True),
    ("box", 1.2, 10.0, 10.0, 0.4, "ring", 24, False),
]
JOB = """schema = 1
name = "Tidewater bracelet"
[chain]
family = "{}"
wire_mm = {}
link_length_mm = {}
link_width_mm = {}
gap_mm = {}
[layout]
shape = "{}"
links = {}
[feed]
upper_ring = {}
[cast]
alloy = "tin-bronze"
"""


def model(mesh, pose=None):
    made = fcl.BVHModel()
    made.beginModel(len(mesh.points), len(mesh.triangles))
    made.addSubModel(np.ascontiguousarray(mesh.points), np.ascontiguousarray(mesh.triangles))
    made.endModel()
    if pose is None:
        return fcl.CollisionObject(made)
    return fcl.CollisionObject(made, fcl.Transform(np.ascontiguousarray(pose.rotation), pose.origin))


def meet(a, b):
    return bool(fcl.collide(a, b, fcl.CollisionRequest(), fcl.CollisionResult()))


def apart(a, b):
    return fcl.distance(a, b, fcl.DistanceRequest(), fcl.DistanceResult())


def near(boxes, others, reach=0.0):
    """Pairs of boxes (low, high) that come within reach of each other along every axis."""
    low, high = (np.array([b[k] for b in boxes])[:, None] for k in (0, 1))
    least, most = (np.array([b[k] for b in others])[None] for k in (0, 1))
    return np.argwhere(((low - reach <= most) & (least - reach <= high)).all(axis=2)).tolist()


@pytest.mark.parametrize("bracelet", BRACELETS, ids=lambda b: f"{b[0]} {b[5]} {b[6]}{' upper' if b[7] else ''}")
def test_a_bracelet_is_fed_without_a_stop_and_the_outside_library_agrees(bracelet, tmp_path):
    path = tmp_path / "job.toml"
    path.write_text(JOB.format(*bracelet[:-1], str(bracelet[-1]).lower()))
    job = read_job(path)
    scaled = flow.scaling(job, load_materials())
    made = finish(flow.build(job))
    lattice = finish(flow.lattice_for(job, made, scaled))
    bodies, solids = made.bodies, lattice.solids
    assert len(bodies) == bracelet[6]
    assert [f.text for f in lattice.findings if f.severity == "stop"] == []
    assert {s.feeds for s in lattice.struts if s.feeds is not None} == {b.name for b in bodies}
    assert any(s.role == "upper" for s in solids) == bracelet[7]

    links, limbs = [model(b.mesh, b.pose) for b in bodies], [model(s.mesh) for s in solids]
    body_boxes = [(p.min(axis=0), p.max(axis=0)) for p in (b.points() for b in bodies)]
    strut_boxes = [(s.mesh.points.min(axis=0), s.mesh.points.max(axis=0)) for s in solids]
    lowest = min(low[2] for low, _ in strut_boxes)
    assert lowest == lattice.plate_z_mm == min(lowest, *(low[2] for low, _ in body_boxes))

    # With the lattice taken away every link is free of every other.
    assert not any(meet(links[a], links[b]) for a, b in near(body_boxes, body_boxes) if a < b)
    # Gates enter the link they feed, nothing else does, and what is beside it keeps the web.
    number = {b.name: k for k, b in enumerate(bodies)}
    for k, solid in enumerate(solids):
        if solid.feeds is not None:
            assert meet(limbs[k], links[number[solid.feeds]])
    some = set(np.linspace(0, len(bodies) - 1, SAMPLE).round().astype(int).tolist())
    web = job.profile.strut_web_mm
    for a, b in near(body_boxes, strut_boxes, web):
        if a in some and solids[b].feeds != bodies[a].name:
            assert apart(links[a], limbs[b]) >= web
    # All feed metal is one piece.
    pairs = [(a, b) for a, b in near(strut_boxes, strut_boxes) if a < b and meet(limbs[a], limbs[b])]
    graph = sparse.coo_matrix((np.ones(len(pairs)), tuple(np.array(pairs).T)), shape=(len(solids), len(solids)))
    assert sparse.csgraph.connected_components(graph, directed=False)[0] == 1
    # Gates of one ring keep the web from each other.
    gates = [k for k, s in enumerate(solids) if s.feeds in {bodies[k].name for k in some}]
    for a, b in combinations(gates, 2):
        if solids[a].above == solids[b].above and not meet(limbs[a], limbs[b]):
            assert apart(limbs[a], limbs[b]) >= web
