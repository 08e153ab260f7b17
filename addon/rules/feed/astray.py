"""Feed metal that goes astray: from nowhere, round by the upper ring, under the plate, or through the link it feeds."""

from collections.abc import Sequence

import numpy as np

from ..base.progress import Steps
from ..inspect.finding import Finding
from ..solid.mesh import Body, FloatArray
from .joined import joined_pairs, reached
from .lattice import Lattice, LatticeSolid, place
from .piercing import pierced

# Meshes in single precision may lie this far under the plate.
PLATE_MM = 1e-4


def astray_findings(bodies: Sequence[Body], lattice: Lattice) -> Steps[list[Finding]]:
    """Find feed metal without a hub, fed only through the upper ring, under the plate, or through its own link."""
    if not lattice.solids:
        return []
    found = [*_without_hub(lattice), *_round_about(lattice), *_under_plate(lattice)]
    yield 0.1
    own = {body.name: body for body in bodies}
    boxes: dict[int, tuple[FloatArray, FloatArray]] = {}
    for number, gate in enumerate(lattice.solids):
        body = own.get(gate.feeds or "")
        if body is None:
            continue
        if id(body.mesh) not in boxes:
            corners = body.mesh.corners()
            boxes[id(body.mesh)] = (corners.min(axis=1), corners.max(axis=1))
        if _goes_through(body, gate, boxes[id(body.mesh)]):
            text = (
                f"a gate of {body.name} goes through the link before it ends in it; end it where it first meets metal"
            )
            found.append(Finding("solid", "stop", (body.name,), text, at=gate.struts[-1].end))
        yield 0.1 + 0.9 * number / len(lattice.solids)
    return found


def _without_hub(lattice: Lattice) -> list[Finding]:
    if any(s.role == "trunk" for s in lattice.solids):
        return []
    text = "there is no hub for the trunk, so no metal flows in; plan the lattice anew or put the hub back"
    return [Finding("no-gate", "stop", (), text, at=lattice.solids[0].struts[0].start)]


def _round_about(lattice: Lattice) -> list[Finding]:
    """Find what metal reaches by way of the upper ring alone: that freezes before the base ring does."""
    solids = lattice.solids
    roots = [k for k, s in enumerate(solids) if s.role == "trunk"]
    pairs = joined_pairs(solids)
    upper = np.array([s.role == "upper" or s.above for s in solids])
    straight = reached(len(solids), pairs[~upper[pairs].any(axis=1)], roots)
    late = np.flatnonzero(reached(len(solids), pairs, roots) & ~straight & ~upper).tolist()
    if not late:
        return []
    names = tuple(dict.fromkeys(name for k in late if (name := solids[k].feeds) is not None))
    text = (
        f"{len(late)} struts of the base ring's side are joined to the hub only through the upper ring, which freezes "
        "first; close the base ring there or lead a spoke to it"
    )
    return [Finding("modulus", "warn", names, text, at=solids[late[0]].struts[0].start)]


def _under_plate(lattice: Lattice) -> list[Finding]:
    found = []
    for solid in lattice.solids:
        lowest = solid.mesh.points[int(solid.mesh.points[:, 2].argmin())]
        under = lattice.plate_z_mm - float(lowest[2])
        if under > PLATE_MM:
            name = solid.feeds
            what = f"the gate of {name}" if name is not None else f"a strut ({solid.role})"
            text = f"{what} reaches {under:.2f} mm under the plate, where nothing prints; lift or shorten it"
            bodies = () if name is None else (name,)
            found.append(Finding("solid", "stop", bodies, text, at=place(lowest), value=under, limit=0.0))
    return found


def _goes_through(body: Body, gate: LatticeSolid, boxes: tuple[FloatArray, FloatArray]) -> bool:
    """Tell whether a gate's axis goes through metal of its own link before it comes to the place it feeds.

    ``boxes`` are the least and greatest corners of the triangles of the body's mesh, each (m, 3).
    """
    entered = 0
    for strut in gate.struts:
        ends = (np.array([strut.start, strut.end]) - body.pose.origin) @ body.pose.rotation
        way = ends[1] - ends[0]
        near = ((boxes[0] <= ends.max(axis=0)) & (boxes[1] >= ends.min(axis=0))).all(axis=1)
        length = float(np.linalg.norm(way))
        corners = body.mesh.points[body.mesh.triangles[near]]
        entered += int((pierced(corners, ends[0], way / length) <= length).sum())
    return entered > 2
