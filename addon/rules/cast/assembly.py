"""The metal of a job and the mould around it, from its bodies and its lattice."""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from ..base.progress import Steps, part
from ..feed.lattice import Lattice
from ..solid.congruent import copies_of, on_first_meshes
from ..solid.mesh import Body, FloatArray, IntArray, merged, rigid
from .feed_metal import Feed, feed_metal, feed_parts, trunk_joints
from .foreign import foreign_shape, thickness_mm
from .link_elements import link_shape
from .looking_out import look_out
from .meeting import loss_between, meetings
from .nearest_element import Elements
from .network import BUTTON, LINK, TRUNK, Mould, Network, Owner
from .occupied import Cells, occupied
from .part import Part, Shape
from .spare_gates import spare_gates
from .surface_points import surface_points
from .surroundings import Skin, mould_of, with_button

# Width of the fine cells over the wire, and of the pieces of the lattice's surface.
FINE, PIECE = 1 / 5, 0.5
# Who has what overlaps: the higher one.
_RANK = {TRUNK: 0, "gate": 1, "post": 2, "spoke": 3, "hub": 4, "upper": 5, "ring": 5, LINK: 6}
# An element that others cover all but has at least this share of its own volume.
LEAST = 1e-3
# Triangles of the lattice cut up at a time.
TRIANGLES = 1 << 15
# Of an element about so many cells are looked at.
SAMPLES = 60


def cast_network(
    bodies: Sequence[Body],
    lattice: Lattice,
    *,
    trunk_d_mm: float,
    trunk_mm: float,
    button_mm3: float,
    cone_mm: float,
    reach_mm: float,
    solid_mm3: float | None = None,
) -> Steps[tuple[Network, Mould]]:
    """Give the metal of a job, trunk and button with it, as a network, and the mould around it.

    ``trunk_d_mm`` and ``trunk_mm`` are of a wax trunk, set under the hub; a printed one is the lattice's own.
    ``cone_mm`` is the depth of the pouring cone; ``reach_mm`` how far webs reach, two penetration depths;
    ``solid_mm3`` the volume of bodies and lattice in one where it is known: the lattice then has the rest of it.
    A body that nothing feeds stays without a way to the root.
    """
    bodies = yield from part(_shared(bodies), 0.0, 0.1)
    shapes, wire = yield from part(_shapes(bodies), 0.1, 0.2)
    feed = feed_metal(bodies, lattice, trunk_d_mm, trunk_mm)
    owners = (*(Owner(b.name, LINK) for b in bodies), *feed.owners)
    world = [b.placed() for b in bodies] + [s.mesh for s in feed.solids]
    yield 0.2
    metal = merged(world)
    owner = np.repeat(np.arange(len(world)), [len(m.triangles) for m in world])
    rank = np.array([_RANK.get(o.kind, 2) for o in owners], dtype=np.int64)
    grid, cells = yield from part(occupied(metal.points, metal.triangles, owner, rank, FINE * wire, reach_mm), 0.2, 0.5)
    parts = [shapes[id(b.mesh)].part.posed(b.pose) for b in bodies] + feed_parts(feed, grid, len(bodies))
    elements = Elements(np.concatenate([p.at for p in parts]), np.cumsum([0] + [len(p.at) for p in parts]))
    yield 0.53
    volume = _volumes(bodies, shapes, feed, cells, elements, solid_mm3)
    yield 0.56
    meets = meetings(grid, cells, parts, owners, elements)
    trunks, trunk_mm2 = trunk_joints(feed, parts, len(bodies), elements)
    joints = np.concatenate((meets.joints, trunks))
    rest = np.flatnonzero(owner >= len(bodies))
    skin = yield from part(
        _skin(bodies, shapes, elements, metal.points, metal.triangles[rest], owner[rest], PIECE * wire), 0.6, 0.7
    )
    whose = np.repeat(np.arange(len(parts)), np.diff(elements.first))
    low, high = np.sort(whose[joints], axis=1).T
    pairs = np.unique(low * len(owners) + high)
    looking = look_out(grid, skin.at, skin.normal, skin.owner, pairs, len(owners), len(bodies), reach_mm)
    view = yield from part(looking, 0.7, 0.9)
    yield 0.9
    view.covered[feed.under_button(skin.at, skin.normal, skin.owner - len(bodies))] = True
    skin_mm2 = np.where(view.covered, 0.0, skin.area_mm2)
    cooling = np.asarray(np.bincount(skin.element, skin_mm2, minlength=len(elements.at)), dtype=np.float64)
    sections = np.concatenate((meets.section_mm2, trunk_mm2))
    network = _network(parts, owners, elements, volume, cooling, joints, sections)
    network = _with_button(network, feed, button_mm3, cone_mm)
    mould = mould_of(skin, view, network.bore_mm[:-1], grid, cells, wire_mm=wire, reach_mm=reach_mm)
    return network, with_button(mould, float(network.cooling_mm2[-1]), float(network.bore_mm[-1]), network.at[-1])


def _shared(bodies: Sequence[Body]) -> Steps[tuple[Body, ...]]:
    """Give the same bodies with poses that keep lengths; those of a file that are alike share a mesh."""
    bodies = tuple(rigid(b) for b in bodies)
    foreign = [k for k, b in enumerate(bodies) if b.wire is None]
    some = [bodies[k] for k in foreign]
    shared = on_first_meshes(some, (yield from copies_of(some)))
    of = dict(zip(foreign, shared, strict=True))
    return tuple(of.get(k, b) for k, b in enumerate(bodies))


def _shapes(bodies: Sequence[Body]) -> Steps[tuple[dict[int, Shape], float]]:
    """Cut every mesh once, and give the thinnest wire of all."""
    once = {id(b.mesh): b for b in bodies}
    thick = [thickness_mm(b.mesh) if b.wire is None else 2 * b.wire.radius_mm for b in once.values()]
    wire = min(thick, default=1.0)
    shapes = {}
    for k, (key, body) in enumerate(once.items()):
        h = FINE * max(wire, thick[k] / 2)
        shapes[key] = foreign_shape(body.mesh, h) if body.wire is None else link_shape(body.mesh, body.wire, h)
        yield k / len(once)
    return shapes, wire


def _volumes(
    bodies: Sequence[Body],
    shapes: dict[int, Shape],
    feed: Feed,
    cells: Cells,
    elements: Elements,
    solid_mm3: float | None,
) -> FloatArray:
    """Give the volume of every element (n,): bodies whole, of the lattice what no other has."""
    count = len(bodies)
    start = int(elements.first[count])
    pieces = np.diff(elements.first[count:])
    solid = np.repeat(np.arange(len(feed.solids)), pieces)
    rows = np.flatnonzero(cells.owner >= count)
    of = cells.owner[rows] - count
    whole = np.bincount(of, minlength=len(pieces))
    own = np.bincount(of, cells.kept[rows], minlength=len(pieces))
    # Of thick solids every so manieth cell tells well enough where their metal is.
    stride = np.maximum(whole // (SAMPLES * pieces), 1)
    rows = rows[((np.arange(len(of)) - (np.cumsum(whole) - whole)[of]) % stride[of] == 0) & cells.kept[rows]]
    near = elements.nearest(cells.at[rows], cells.owner[rows]) - start
    many = np.bincount(near, minlength=len(solid))
    seen = np.bincount(solid, many, minlength=len(pieces))
    kept = feed.volume_mm3 * own / np.maximum(whole, 1)
    least = LEAST * (feed.volume_mm3 / pieces)[solid]
    volume = np.maximum(many * (kept / np.maximum(seen, 1))[solid], least)
    links = [shapes[id(b.mesh)].volume_mm3 for b in bodies]
    if solid_mm3 is not None:
        printed = feed.printed[solid]
        rest = solid_mm3 - sum(float(v.sum()) for v in links)
        if rest > 0.0 and printed.any():
            volume[printed] *= rest / volume[printed].sum()
    return np.concatenate([*links, volume])


def _skin(
    bodies: Sequence[Body],
    shapes: dict[int, Shape],
    elements: Elements,
    points: FloatArray,
    triangles: IntArray,
    owner: IntArray,
    size_mm: float,
) -> Steps[Skin]:
    """Gather the surface of all metal; ``triangles`` (t, 3) and their ``owner`` (t,) are those of the lattice."""
    at: list[FloatArray] = []
    normal: list[FloatArray] = []
    area: list[FloatArray] = []
    whose: list[IntArray] = []
    element: list[IntArray] = []
    for k, body in enumerate(bodies):
        surface = shapes[id(body.mesh)].surface
        place, ahead = surface.posed(body.pose)
        at.append(place)
        normal.append(ahead)
        area.append(surface.area_mm2)
        whose.append(np.full(len(place), k))
        element.append(elements.first[k] + surface.of)
    # Solids have their pieces each for itself: so many triangles at a time, cut between solids.
    cuts = np.searchsorted(owner, np.unique(owner[::TRIANGLES])).tolist()
    for start, stop in pairwise([*cuts, len(owner)]):
        yield start / len(owner)
        rest = surface_points(points, triangles[start:stop], owner[start:stop], size_mm)
        at.append(rest.at)
        normal.append(rest.normal)
        area.append(rest.area_mm2)
        whose.append(rest.of)
        element.append(elements.nearest(rest.at, rest.of))
    return Skin(
        np.concatenate(at),
        np.concatenate(normal),
        np.concatenate(area),
        np.concatenate(whose),
        np.concatenate(element),
    )


def _network(
    parts: Sequence[Part],
    owners: tuple[Owner, ...],
    elements: Elements,
    volume: FloatArray,
    cooling: FloatArray,
    meets: IntArray,
    meet_mm2: FloatArray,
) -> Network:
    """Put the parts together, without the button."""
    within = np.concatenate([p.joints + f for p, f in zip(parts, elements.first[:-1], strict=True)])
    spare, spare_mm2, spare_mm = spare_gates(parts, owners, elements, meets)
    whose = np.repeat(np.arange(len(parts)), np.diff(elements.first))
    joints = np.concatenate((within, meets, spare))
    path = np.linalg.norm(elements.at[joints[:, 0]] - elements.at[joints[:, 1]], axis=1)
    path[len(joints) - len(spare) :] = spare_mm
    loss = np.zeros(len(joints))
    for k, (a, b) in enumerate(joints[len(within) :].tolist(), len(within)):
        loss[k] = loss_between(owners[whose[a]], owners[whose[b]])
    section = np.concatenate([*(p.joint_mm2 for p in parts), meet_mm2, spare_mm2])
    loss[len(joints) - len(spare) :] += loss_between(Owner("", "ring"), Owner("", "gate"))
    return Network(
        volume_mm3=volume,
        cooling_mm2=cooling,
        bore_mm=np.concatenate([p.bore_mm for p in parts]),
        length_mm=np.concatenate([p.length_mm for p in parts]),
        at=elements.at,
        owner=whose,
        owners=owners,
        tip=np.concatenate([p.tip for p in parts]),
        joints=joints,
        section_mm2=section,
        path_mm=path,
        loss=loss,
        spare=np.arange(len(joints)) >= len(joints) - len(spare),
        depth_mm=np.zeros(len(elements.at)),
        root=-1,
    )


def _with_button(network: Network, feed: Feed, button_mm3: float, cone_mm: float) -> Network:
    """Add the button, as wide as high, under the trunk, and how deep everything lies under the metal's surface.

    The flask is poured with the plate side up: from the cone the trunk leads down to the plate side.
    """
    d = (4 * button_mm3 / np.pi) ** (1 / 3)
    root = len(network.at)
    under = feed.lowest
    at = np.array([[*under[:2], under[2] - d / 2]])
    trunk = np.flatnonzero(np.array([o.kind == TRUNK for o in network.owners])[network.owner])
    trunk_ends = [
        int(rows[network.at[rows, 2].argmin()])
        for rows in (trunk[network.owner[trunk] == k] for k in np.unique(network.owner[trunk]))
    ]
    m = len(trunk_ends)
    section = np.array([np.pi / 4 * network.bore_mm[k] ** 2 for k in trunk_ends])
    path = np.array([float(np.linalg.norm(network.at[k] - at[0])) for k in trunk_ends])
    every = np.concatenate((network.at, at))
    depth = cone_mm + every[:, 2] - under[2]
    depth[root] = cone_mm / 2
    button = Owner(BUTTON, BUTTON)
    return Network(
        volume_mm3=np.append(network.volume_mm3, button_mm3),
        cooling_mm2=np.append(network.cooling_mm2, 5 * button_mm3 / d),
        bore_mm=np.append(network.bore_mm, 4 * d / 5),
        length_mm=np.append(network.length_mm, d),
        at=every,
        owner=np.append(network.owner, len(network.owners)),
        owners=(*network.owners, button),
        tip=np.append(network.tip, False),
        joints=np.concatenate((network.joints, [(root, k) for k in trunk_ends])).astype(np.int64),
        section_mm2=np.append(network.section_mm2, section),
        path_mm=np.append(network.path_mm, path),
        loss=np.append(network.loss, [loss_between(button, Owner(TRUNK, TRUNK))] * m),
        spare=np.append(network.spare, [False] * m),
        depth_mm=np.maximum(depth, 0.0),
        root=root,
    )
