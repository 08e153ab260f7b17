"""Bodies and lattice joined to one closed solid, in few unions of many shells each, every one of them checked.

The solver is handed in. It works in single precision (a point may move by some 4e-6 mm), and on an operand that it does
not like it may give the first one back unchanged: so every result is tested for being closed and for its volume.

What the volumes prove. Let B be the bodies, L the struts, S what came out. S is asked for as the union of B and L, and
D as L minus B, by another operation of the solver. If S is closed and V(S) = V(B) + V(D) to rounding, S holds B whole
and D beside it, nothing twice and nothing lost: with the lattice D taken away, exactly the bodies are left. The residue
of that sum is reported.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from ..base.errors import BadInput, CannotBuild
from ..base.progress import Steps
from ..inspect.finding import Finding
from ..solid.edges import edges_pair
from ..solid.measure import area_mm2, volume_mm3
from ..solid.mesh import Body, IntArray, Mesh, merged
from ..solid.topology import MeshFacts, facts
from .lattice import Lattice, LatticeSolid
from .settle import settled
from .skeletons import boxes_meet, rods_cross

# "union" | "difference" | "intersect" of two closed solids of any number of shells.
Boolean = Callable[[str, Mesh, Mesh], Mesh]

# How far a point may lie from where it was asked for, in mm, all in all: the solver's single precision on 200 mm.
MOVED_MM = 2e-5
PROOF = 1e-6
# What is least comes first: every union goes over all that was joined before. Other roles follow.
ORDER = ("ring", "trunk", "spoke", "post", "upper", "gate")


@dataclass(frozen=True, slots=True, eq=False)
class Solid:
    """The whole job as one closed solid, or None with a stop finding that says which union failed.

    ``volume_mm3`` of the whole as it is given, ``bodies_volume_mm3`` of the bodies alone, ``lattice_volume_mm3`` of the
    struts less the bodies (struts alone when nothing was joined). ``residue`` is whole less bodies less lattice, as a
    share of the whole and before it was settled: what is unexplained. ``genus`` and ``shells`` of the surface: one
    shell means one piece without cavities.
    """

    mesh: Mesh | None
    volume_mm3: float
    bodies_volume_mm3: float
    lattice_volume_mm3: float
    residue: float
    genus: int | None
    shells: int
    findings: tuple[Finding, ...]


class _Failed(Exception):
    """A union that did not give what it must; the text names its operands."""


def join(bodies: Sequence[Body], lattice: Lattice, boolean: Boolean) -> Steps[Solid]:
    """Join bodies and lattice to one closed solid. A failed union is a stop finding, and the solid's mesh is None."""
    metal = merged([b.placed() for b in bodies])
    metal_volume = sum(volume_mm3(b.mesh) for b in bodies)
    yield 0.02
    try:
        _check_bodies(bodies)
        batches = _batches(lattice.solids)
        struts: Mesh | None = None
        for number, (name, batch) in enumerate(batches):
            struts = batch if struts is None else _united(boolean, struts, "the struts so far", batch, name)
            if not edges_pair(struts.triangles):
                raise _Failed(f"the struts came back open after {name} were added")
            yield 0.05 + 0.45 * (number + 1) / len(batches)
        if struts is None:
            raise _Failed("there are no struts to join the bodies to")
        whole = _united(boolean, metal, "the bodies", struts, "the lattice")
        yield 0.75
        rest = boolean("difference", struts, metal)
        yield 0.95
        return _proven(whole, rest, metal_volume, lattice.plate_z_mm)
    except _Failed as failed:
        reason = str(failed)
    except (BadInput, CannotBuild) as error:
        reason = str(error)
    finding = Finding("solid", "stop", (), f"the parts could not be joined to one solid: {reason}; nothing was joined")
    return Solid(None, 0.0, metal_volume, lattice.volume_mm3, 0.0, None, 0, (finding,))


def _settled(whole: Mesh, found: MeshFacts, plate_z_mm: float) -> Mesh:
    """Settle a proven solid, and put points back on the plate that the solver's rounding lifted off it."""
    mesh = settled(whole, found)
    points = mesh.points.copy()
    points[np.abs(points[:, 2] - plate_z_mm) <= MOVED_MM, 2] = plate_z_mm
    return Mesh(points, mesh.triangles)


def _check_bodies(bodies: Sequence[Body]) -> None:
    """Refuse bodies that are open or inside out, each distinct mesh looked at once."""
    seen: dict[int, bool] = {}
    for body in bodies:
        if id(body.mesh) not in seen:
            f = facts(body.mesh)
            seen[id(body.mesh)] = f.closed and not f.inside_out
        if not seen[id(body.mesh)]:
            raise _Failed(f"{body.name} is open or inside out; mend its mesh first")


def _batches(solids: Sequence[LatticeSolid]) -> list[tuple[str, Mesh]]:
    """Put struts that do not meet into one operand each, role by role, in the order they hang together."""
    names = {
        "ring": "base ring",
        "trunk": "hub",
        "spoke": "spokes",
        "gate": "gates",
        "post": "posts",
        "upper": "upper ring",
    }
    batches: list[tuple[str, Mesh]] = []
    for role in (*ORDER, *sorted({s.role for s in solids} - set(ORDER))):
        group = [s for s in solids if s.role == role]
        if not group:
            continue
        colour = _colours(group)
        for k in range(int(colour.max()) + 1):
            members = [s.mesh for s, c in zip(group, colour, strict=True) if c == k]
            batches.append((names.get(role, "other struts"), merged(members)))
    return batches


def _colours(group: Sequence[LatticeSolid]) -> IntArray:
    """Give solids numbers, (k,), different for two that may meet: to each in turn the lowest that is free."""
    low = np.array([s.mesh.points.min(axis=0) for s in group])
    high = np.array([s.mesh.points.max(axis=0) for s in group])
    a, b = boxes_meet(low, high, low, high)
    later = a > b
    meets: list[list[int]] = [[] for _ in group]
    for i, j in zip(a[later].tolist(), b[later].tolist(), strict=True):
        if rods_cross(*group[i].rod(), *group[j].rod()):
            meets[i].append(j)
    colour = np.zeros(len(group), dtype=np.int64)
    for i, others in enumerate(meets):
        taken = {int(colour[j]) for j in others}
        colour[i] = next(c for c in range(len(group) + 1) if c not in taken)
    return colour


def _united(boolean: Boolean, a: Mesh, a_name: str, b: Mesh, b_name: str) -> Mesh:
    """Unite two operands, and see that the volume of the result can be theirs; that it is closed, the caller sees."""
    both = f"the union of {a_name} and {b_name}"
    try:
        result = boolean("union", a, b)
    except (BadInput, CannotBuild) as error:
        raise _Failed(f"{both} failed ({error})") from error
    if not len(result.triangles):
        raise _Failed(f"{both} came back empty")
    va, vb, v = volume_mm3(a), volume_mm3(b), volume_mm3(result)
    slack = MOVED_MM * (area_mm2(a) + area_mm2(b))
    # Struts are sunk into what they join: a union that adds nothing is one that was not made.
    if v <= max(va, vb) + slack:
        raise _Failed(f"{both} added nothing: {v:.3f} mm3 out of {va:.3f} and {vb:.3f}")
    if v > va + vb + slack:
        raise _Failed(f"{both} holds more than its parts: {v:.3f} mm3 out of {va:.3f} and {vb:.3f}")
    return result


def _proven(whole: Mesh, rest: Mesh, metal_volume: float, plate_z_mm: float) -> Solid:
    """Prove what came out as the module's text says, then settle it."""
    f = facts(whole)
    if not f.closed or f.inside_out:
        raise _Failed(f"the union of the bodies and the lattice came back open ({f.open_edges} open edges)")
    volume, lattice_volume = volume_mm3(whole), volume_mm3(rest)
    residue = (volume - metal_volume - lattice_volume) / volume
    findings = []
    if f.shells != 1:
        findings.append(
            Finding(
                "solid",
                "stop",
                (),
                f"bodies and lattice make {f.shells} separate surfaces where one closed solid was wanted: a part "
                f"hangs free or "
                "encloses a cavity; look for a body without a gate",
                value=float(f.shells),
                limit=1.0,
            )
        )
    if abs(residue) > PROOF:
        findings.append(
            Finding(
                "solid",
                "stop",
                (),
                f"the joined solid does not add up: {volume:.4f} mm3 against bodies {metal_volume:.4f} and lattice "
                f"{lattice_volume:.4f} mm3; look for bodies that cross",
                value=abs(residue),
                limit=PROOF,
            )
        )
    given = _settled(whole, f, plate_z_mm)
    return Solid(given, volume_mm3(given), metal_volume, lattice_volume, residue, f.genus, f.shells, tuple(findings))
