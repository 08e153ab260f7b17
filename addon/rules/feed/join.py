"""Bodies and lattice joined to one closed solid, in few unions of many shells each, every one of them checked.

The solver is handed in. It works in single precision (a point may move by some 4e-6 mm), and on an operand that it does
not like it may give the first one back unchanged: so every result is tested for being closed and for its volume.

What the volumes prove. Let B be the bodies, L the struts, S what came out. S is asked for as the union of B and L, and
I as what B and L share, by another operation of the solver. B and L are measured as they went in. If S and I are closed
and V(S) = V(B) + V(L) - V(I) to rounding (inclusion and exclusion), S holds B whole and beside it what of L is not in
B, nothing twice and nothing lost: with that lattice, V(L) - V(I), taken away, exactly the bodies are left. The residue
of the sum is reported. I is small, as struts are only sunk in: so it is quick to make, and little rests on it. Where it
does not prove the sum, D, which is L minus B, is asked for as well, and V(S) = V(B) + V(D) proves the same.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..base.errors import BadInput, CannotBuild
from ..base.progress import Steps, part
from ..inspect.finding import Finding
from ..solid.edges import edges_pair
from ..solid.measure import area_mm2, volume_mm3
from ..solid.mesh import Body, IntArray, Mesh, merged
from ..solid.topology import facts
from .lattice import Lattice, LatticeSolid
from .settle import settling
from .skeletons import boxes_meet, rod_gap

# "union" | "difference" | "intersect" of two closed solids of any number of shells.
Boolean = Callable[[str, Mesh, Mesh], Mesh]

# How far a point may lie from where it was asked for, in mm, all in all: the solver's single precision on 200 mm.
MOVED_MM = 2e-5
PROOF = 1e-6
# Struts whose rods are no farther apart are taken to meet: some, such as posts at their feet, stick out of their rods.
APART_MM = 0.5
# In this order struts choose their operand, those that meet most others first. Other roles follow.
ORDER = ("ring", "trunk", "upper", "spoke", "post", "gate")
NAMES = {
    "ring": "base ring",
    "trunk": "hub",
    "upper": "upper ring",
    "spoke": "spokes",
    "post": "posts",
    "gate": "gates",
}


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


@dataclass(frozen=True, slots=True, eq=False)
class _Operand:
    """What a solver is given: its mesh, its volume, how far moved points can put that off, and its name."""

    mesh: Mesh
    volume_mm3: float
    slack_mm3: float
    called: str


def join(bodies: Sequence[Body], lattice: Lattice, boolean: Boolean) -> Steps[Solid]:
    """Join bodies and lattice to one closed solid. A failed union is a stop finding, and the solid's mesh is None."""
    metal_volume = sum(volume_mm3(b.mesh) for b in bodies)
    yield 0.02
    try:
        _check_bodies(bodies)
        batches = _batches(lattice.solids)
        if not batches:
            raise _Failed("there are no struts to join the bodies to")
        struts = _operand(*batches[0])
        for number, (name, batch) in enumerate(batches[1:], start=1):
            yield 0.05 + 0.2 * number / len(batches)
            struts = _united(boolean, struts, _operand(name, batch), "the struts so far")
            if not edges_pair(struts.mesh.triangles):
                raise _Failed(f"the struts came back open after {name} were added")
        yield 0.25
        metal = _operand("the bodies", merged([b.placed() for b in bodies]))
        whole = _united(boolean, metal, replace(struts, called="the lattice"), "the whole")
        yield 0.6
        kept_volume = struts.volume_mm3 - _shared_mm3(boolean, struts.mesh, metal.mesh)
        residue = (whole.volume_mm3 - metal_volume - kept_volume) / whole.volume_mm3
        yield 0.8
        # A residue that is no number proves nothing either.
        if not abs(residue) <= PROOF:
            kept_volume = volume_mm3(boolean("difference", struts.mesh, metal.mesh))
            residue = (whole.volume_mm3 - metal_volume - kept_volume) / whole.volume_mm3
        del struts, metal
        return (yield from part(_given(whole, metal_volume, kept_volume, residue, lattice.plate_z_mm), 0.8, 1.0))
    except _Failed as failed:
        reason = str(failed)
    except (BadInput, CannotBuild) as error:
        reason = str(error)
    finding = Finding("solid", "stop", (), f"the parts could not be joined to one solid: {reason}; nothing was joined")
    return Solid(None, 0.0, metal_volume, lattice.volume_mm3, 0.0, None, 0, (finding,))


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
    """Put struts that do not meet into one operand each, whatever their roles: few operands, each with its name.

    The smallest come first, since every union goes over all that was joined before.
    """
    place = {role: k for k, role in enumerate(ORDER)}
    group = sorted(solids, key=lambda s: (place.get(s.role, len(place)), s.role))
    if not group:
        return []
    colour = _colours(group)
    batches: list[tuple[str, Mesh]] = []
    for k in range(int(colour.max()) + 1):
        members = [s for s, c in zip(group, colour, strict=True) if c == k]
        *most, last = dict.fromkeys(NAMES.get(s.role, "other struts") for s in members)
        batches.append((f"{', '.join(most)} and {last}" if most else last, merged([s.mesh for s in members])))
    return sorted(batches, key=lambda batch: len(batch[1].triangles))


def _colours(group: Sequence[LatticeSolid]) -> IntArray:
    """Give solids numbers, (k,), different for two that may meet: to each in turn the lowest that is free."""
    low = np.array([s.mesh.points.min(axis=0) for s in group])
    high = np.array([s.mesh.points.max(axis=0) for s in group])
    a, b = boxes_meet(low - APART_MM, high + APART_MM, low, high)
    later = a > b
    rods = [s.rod() for s in group]
    meets: list[list[int]] = [[] for _ in group]
    for i, j in zip(a[later].tolist(), b[later].tolist(), strict=True):
        (points, radii), (others, others_radii) = rods[i], rods[j]
        if rod_gap(points, radii, others[None], others_radii[None])[0] <= APART_MM:
            meets[i].append(j)
    colour = np.zeros(len(group), dtype=np.int64)
    for i, others in enumerate(meets):
        taken = {int(colour[j]) for j in others}
        colour[i] = next(c for c in range(len(group) + 1) if c not in taken)
    return colour


def _operand(called: str, mesh: Mesh) -> _Operand:
    return _Operand(mesh, volume_mm3(mesh), MOVED_MM * area_mm2(mesh), called)


def _united(boolean: Boolean, a: _Operand, b: _Operand, called: str) -> _Operand:
    """Unite two operands, and see that the volume of the result can be theirs; that it is closed, the caller sees."""
    both = f"the union of {a.called} with {b.called}"
    try:
        result = boolean("union", a.mesh, b.mesh)
    except (BadInput, CannotBuild) as error:
        raise _Failed(f"{both} failed ({error})") from error
    if not len(result.triangles):
        raise _Failed(f"{both} came back empty")
    va, vb, v = a.volume_mm3, b.volume_mm3, volume_mm3(result)
    # A union has no more surface than its parts.
    slack = a.slack_mm3 + b.slack_mm3
    # Struts are sunk into what they join: a union that adds nothing is one that was not made.
    if v <= max(va, vb) + slack:
        raise _Failed(f"{both} added nothing: {v:.3f} mm3 out of {va:.3f} and {vb:.3f}")
    if v > va + vb + slack:
        raise _Failed(f"{both} holds more than its parts: {v:.3f} mm3 out of {va:.3f} and {vb:.3f}")
    return _Operand(result, v, slack, called)


def _shared_mm3(boolean: Boolean, struts: Mesh, metal: Mesh) -> float:
    """Give the volume that struts and bodies share, not a number where the solver gave no closed solid."""
    try:
        shared = boolean("intersect", struts, metal)
    except (BadInput, CannotBuild):
        return float("nan")
    if not len(shared.triangles):
        return 0.0
    return volume_mm3(shared) if edges_pair(shared.triangles) else float("nan")


def _given(
    whole: _Operand, metal_volume: float, lattice_volume: float, residue: float, plate_z_mm: float
) -> Steps[Solid]:
    """Settle what came out, put points back on the plate that the solver lifted off it, and say what is not proven."""
    volume = whole.volume_mm3
    given, f = yield from settling(whole.mesh, plate_z_mm=plate_z_mm, off_plate_mm=MOVED_MM)
    if not f.closed or f.inside_out:
        raise _Failed(f"the union of the bodies and the lattice came back open ({f.open_edges} open edges)")
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
    return Solid(given, volume_mm3(given), metal_volume, lattice_volume, residue, f.genus, f.shells, tuple(findings))
