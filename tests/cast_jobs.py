"""Small jobs for checks of the metal's network and the mould: bodies, their lattice, and their solid by a library."""

from dataclasses import dataclass
from functools import cache

import numpy as np
import pytest
from lattices import BENCH, chain, planned, ring_way, straight_way

from addon.rules.base.progress import finish
from addon.rules.cast.assembly import cast_network
from addon.rules.chain.build import build_chain
from addon.rules.chain.spec import ChainSpec, LayoutSpec
from addon.rules.feed.lattice import Lattice
from addon.rules.feed.plan import plan_lattice
from addon.rules.feed.spec import FeedSpec
from addon.rules.feed.tree import plan_set
from addon.rules.solid.mesh import Body

TRUNK_MM, LONG_MM, BUTTON_MM3, CONE_MM, REACH_MM = 5.0, 18.0, 800.0, 20.0, 4.5
# The wax trunk under nothing stands far below the bodies.
NOTHING = Lattice((), -100.0)


@dataclass(frozen=True)
class Job:
    bodies: tuple[Body, ...]
    lattice: Lattice


def cast(bodies, lattice=NOTHING, reach_mm=REACH_MM, **options):
    """Give network and mould of bodies with their lattice."""
    sizes = {"trunk_d_mm": TRUNK_MM, "trunk_mm": LONG_MM, "button_mm3": BUTTON_MM3, "cone_mm": CONE_MM}
    return finish(cast_network(bodies, lattice, reach_mm=reach_mm, **sizes, **options))


@cache
def job(name: str) -> Job:
    """Give a job by its name; no two tests plan one twice."""
    if name in ("ring", "foreign ring", "two rings", "printed trunk", "necks"):
        way = ring_way(10, 6.6)
        bodies = chain(way, drawn=name != "foreign ring")
        options = {
            "two rings": {"upper_ring": True},
            "printed trunk": {"trunk": "printed"},
            "necks": {"cut": "nipper"},
        }.get(name, {})
        return Job(bodies, planned(bodies, way, **options))
    if name == "straight":
        way = straight_way(6, 7.6)
        return Job(bodies := chain(way), planned(bodies, way))
    if name == "set":
        way = straight_way(3, 15.0)
        bodies = chain(way, family="trace")
        return Job(bodies, finish(plan_set(bodies, BENCH, FeedSpec(), wire_mm=2.2)))
    layout, links = name.split()
    made = finish(build_chain(ChainSpec("curb", 2.2, 12.2, 9.7, 0.4), LayoutSpec(layout, links=int(links))))
    return Job(made.bodies, finish(plan_lattice(made.bodies, made.path, BENCH, FeedSpec(), wire_mm=2.2)))


@cache
def casting(name: str):
    """Give network and mould of a job by its name."""
    return cast(job(name).bodies, job(name).lattice)


def joined(meshes):
    """Give volume and surface of meshes made one by a general solid library."""
    manifold3d = pytest.importorskip("manifold3d")
    solids = [manifold3d.Manifold(manifold3d.Mesh64(m.points, m.triangles.astype(np.uint64))) for m in meshes]
    one = manifold3d.Manifold.batch_boolean(solids, manifold3d.OpType.Add)
    return one.volume(), one.surface_area()


def unfed(network):
    """Give the names of owners that have elements with no way to the root, spare joints left out."""
    csgraph = pytest.importorskip("scipy.sparse.csgraph")
    sparse = pytest.importorskip("scipy.sparse")
    a, b = network.joints[~network.spare].T
    n = len(network.at)
    _, label = csgraph.connected_components(sparse.coo_matrix((np.ones(len(a)), (a, b)), shape=(n, n)), directed=False)
    off = label != label[network.root]
    return {network.owners[k].name for k in np.unique(network.owner[off])}
