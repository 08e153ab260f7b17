"""The feed metal of a job: the lattice's solids, and the trunk that is printed apart or added in wax."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from ..feed.lattice import Lattice, LatticeSolid, Strut, place
from ..feed.rods import rod
from ..feed.sections import ROUND
from ..solid.measure import six_volumes
from ..solid.mesh import Body, FloatArray, IntArray, Mesh, merged
from .lattice_elements import axis_of, drum_part, lattice_part
from .nearest_element import Elements
from .network import TRUNK, Owner
from .occupied import Occupied
from .part import Part

# Axes are looked along in steps of this many cells.
STEP = 0.5
# A trunk's end lies within this of its lowest place, and looks down.
END_MM = 0.05


@dataclass(frozen=True, slots=True, eq=False)
class Feed:
    """The f solids of feed metal and their owners; ``printed`` (f,): part of the printed solid, no trunk.

    ``volume_mm3`` (f,) of each by itself. ``lowest`` (3,): where the button takes over.
    """

    solids: tuple[LatticeSolid, ...]
    owners: tuple[Owner, ...]
    printed: npt.NDArray[np.bool_]
    volume_mm3: FloatArray
    lowest: FloatArray

    def under_button(self, at: FloatArray, normal: FloatArray, solid: IntArray) -> npt.NDArray[np.bool_]:
        """Tell which pieces of surface (p, 3) of solids (p,) are the end of a trunk that the button lies on."""
        trunk = np.flatnonzero(~self.printed)
        low = at[:, 2] < self.lowest[2] + END_MM
        return np.asarray(low & (normal[:, 2] < -0.9) & np.isin(solid, trunk))


def feed_metal(bodies: Sequence[Body], lattice: Lattice, trunk_d_mm: float, trunk_mm: float) -> Feed:
    """Put the lattice's solids and its trunks together: the ones printed apart, else one of wax under the hub.

    Without a hub the trunk is set under the base ring, without a ring under any strut, else under the bodies.
    """
    trunks = [replace(s, modulus_mm=max(t.d_start_mm for t in s.struts) / 4) for s in lattice.apart]
    if not trunks:
        top = _wax_place(bodies, lattice)
        line = np.array([top - [0.0, 0.0, trunk_mm], top])
        d = np.full(2, trunk_d_mm)
        strut = Strut("trunk", place(line[0]), place(line[1]), trunk_d_mm, trunk_d_mm)
        trunks = [LatticeSolid("trunk", rod(line, d), (strut,), ROUND.modulus_mm(trunk_d_mm))]
    owners = [
        Owner(s.called, {"trunk": "hub", "brace": "post"}.get(s.role, s.role), s.feeds, s.above) for s in lattice.solids
    ]
    owners += [Owner(TRUNK, TRUNK) for _ in trunks]
    ends = np.array([s.struts[0].start for s in trunks] + [s.struts[-1].end for s in trunks])
    printed = np.arange(len(owners)) < len(lattice.solids)
    solids = (*lattice.solids, *trunks)
    return Feed(solids, tuple(owners), printed, _volumes(solids), ends[ends[:, 2].argmin()])


def _volumes(solids: Sequence[LatticeSolid]) -> FloatArray:
    """Give the volume of every solid (f,), reckoned from one of its own points."""
    metal = merged([Mesh(s.mesh.points - s.mesh.points[0], s.mesh.triangles) for s in solids])
    whose = np.repeat(np.arange(len(solids)), [len(s.mesh.triangles) for s in solids])
    return np.bincount(whose, six_volumes(metal.corners()), minlength=len(solids)) / 6


def _wax_place(bodies: Sequence[Body], lattice: Lattice) -> FloatArray:
    """Give the place on the plate where a wax trunk stands."""
    order = ("trunk", "ring", "spoke", "upper", "post", "gate", "brace")
    solids = sorted(lattice.solids, key=lambda s: order.index(s.role))
    if solids:
        at = np.array(solids[0].struts[0].start)
    elif bodies:
        at = np.concatenate([b.points() for b in bodies]).mean(axis=0)
    else:
        at = np.zeros(3)
    return np.array([at[0], at[1], lattice.plate_z_mm])


def feed_parts(feed: Feed, grid: Occupied, first: int) -> list[Part]:
    """Cut all solids up where their axes lie free in the grid, in which solid k is owner ``first`` + k."""
    axes = [
        None if o.kind == "hub" else axis_of(s, float(v))
        for s, o, v in zip(feed.solids, feed.owners, feed.volume_mm3, strict=True)
    ]
    walked = [
        np.zeros(0) if a is None or a.closed else np.linspace(0.0, a.arc_mm[-1], _steps(a.arc_mm[-1], grid))
        for a in axes
    ]
    places = [a.at(w) for a, w in zip(axes, walked, strict=True) if a is not None and len(w)]
    seen = grid.at(np.concatenate(places)) if places else np.zeros(0, dtype=np.int32)
    parts, start = [], 0
    for k, (solid, axis, way) in enumerate(zip(feed.solids, axes, walked, strict=True)):
        free = np.flatnonzero(seen[start : start + len(way)] == first + k + 1)
        start += len(way)
        if axis is None:
            parts.append(drum_part(solid))
            continue
        stretch = (0.0, float(axis.arc_mm[-1]))
        if len(free):
            half = way[1] / 2
            stretch = (max(way[free[0]] - half, 0.0), min(way[free[-1]] + half, stretch[1]))
        parts.append(lattice_part(solid, axis, stretch))
    return parts


def _steps(length_mm: float, grid: Occupied) -> int:
    return max(3, int(np.ceil(length_mm / (STEP * grid.h_mm))) + 1)


def trunk_joints(feed: Feed, parts: Sequence[Part], first: int, elements: Elements) -> tuple[IntArray, FloatArray]:
    """Join every trunk to what it stands under: its hub, else the ring: joints (j, 2) and sections (j,)."""
    joints, sections = [], []
    targets = _under(feed)
    for k in np.flatnonzero(~feed.printed):
        trunk = parts[first + k]
        top = int(trunk.at[:, 2].argmax())
        if not targets:
            continue
        rows = np.concatenate([np.arange(elements.first[first + t], elements.first[first + t + 1]) for t in targets])
        other = int(rows[((elements.at[rows] - trunk.at[top]) ** 2).sum(axis=1).argmin()])
        joints.append((int(elements.first[first + k]) + top, other))
        sections.append(float(np.pi / 4 * trunk.bore_mm[top] ** 2))
    return np.array(joints, dtype=np.int64).reshape(-1, 2), np.array(sections)


def _under(feed: Feed) -> list[int]:
    """Give the solids that a trunk may stand under: hubs, else rings, else anything that is printed."""
    for kind in ("hub", "ring", "spoke", "upper", "post", "gate"):
        found = [k for k, o in enumerate(feed.owners) if o.kind == kind and feed.printed[k]]
        if found:
            return found
    return []
