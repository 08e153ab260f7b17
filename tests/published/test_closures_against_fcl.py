"""Closures cast in place, measured by an outside library: FCL's distance of triangle meshes (python-fcl)."""

import numpy as np
import pytest

from addon.rules.base.progress import finish
from addon.rules.chain.build import build_chain
from addon.rules.chain.spec import ChainSpec, LayoutSpec

fcl = pytest.importorskip("fcl")

SPECS = [
    ChainSpec("curb", 2.2, 12.2, 9.7, 0.4, chord_mm=0.1),
    ChainSpec("trace", 1.0, 6.0, 4.5, 0.35, chord_mm=0.06),
    ChainSpec("belcher", 1.5, 9.5, 9.0, 0.4, chord_mm=0.1, section="D", wire_width_mm=2.2),
]


def solid(body):
    model = fcl.BVHModel()
    model.beginModel(len(body.mesh.points), len(body.mesh.triangles))
    model.addSubModel(np.ascontiguousarray(body.mesh.points), np.ascontiguousarray(body.mesh.triangles))
    model.endModel()
    return fcl.CollisionObject(model, fcl.Transform(np.ascontiguousarray(body.pose.rotation), body.pose.origin))


@pytest.mark.parametrize("spec", SPECS, ids=lambda spec: spec.family)
@pytest.mark.parametrize("clasp", ["ring-bar", "hook-eye", "eyes"])
def test_each_half_keeps_the_gap_to_every_link_near_it(spec, clasp):
    chain = finish(build_chain(spec, LayoutSpec("ring", links=36, ends="open", clasp=clasp)))
    n = chain.links
    solids = [solid(body) for body in chain.bodies]
    least = np.inf
    for half in (n, n + 1):
        for other in (0, 1, 2, n - 3, n - 2, n - 1, n, n + 1):
            if other == half:
                continue
            result = fcl.DistanceResult()
            gap = fcl.distance(solids[half], solids[other], fcl.DistanceRequest(), result)
            assert not fcl.collide(solids[half], solids[other], fcl.CollisionRequest(), fcl.CollisionResult())
            least = min(least, gap)
    assert least >= spec.gap_mm - 1e-9
    # The one the chain tells is that of the closure, or of links that are nearer still.
    assert chain.smallest_gap_mm <= least + 1e-6
