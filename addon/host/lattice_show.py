"""A planned lattice put into the scene: a strut for each of its solids, each knowing what it is."""

from collections import Counter
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np

from ..rules.feed.lattice import Lattice, LatticeSolid, Place, place
from ..rules.solid.mesh import Body, FloatArray, Mesh, Pose
from .current import up_of
from .lattice_edits import Edits, Gate, Strut, states, store_edits, strut_text
from .process_settings import feed_stamp
from .remembered import remember
from .showing import StrutShape, show_struts
from .stamps import stamp
from .weighing import note_lattice

# What solids of a role are called; those of which there are several get a number as well.
WORDS = {"ring": "base ring", "upper": "upper ring", "trunk": "hub"}
# A chain that is tipped by less than a thousandth stands as it stood.
UP_DIGITS = 3


def show_planned(
    ob: Any,
    lattice: Lattice,
    bodies: Iterable[Body],
    *,
    turn: FloatArray,
    shift: FloatArray,
    edits: Edits,
    mm: float,
    scene: Any,
) -> None:
    """Show a lattice under its chain, keep the edits it was planned with, and date it by all it was planned for.

    The lattice and the ``bodies`` it stands under were turned as the chain's object is and then moved by ``shift``.
    """
    poses = {body.name: body.pose for body in bodies}
    solids = (*lattice.solids, *lattice.apart)
    gates = [_gate(solid, poses, turn, shift) for solid in solids]
    known = [gate for gate in gates if gate is not None]
    told = dict(zip(map(id, known), states(edits, known), strict=True))
    struts = [
        strut_told(solid, _in_state(gate, told), apart=k >= len(lattice.solids))
        for k, (solid, gate) in enumerate(zip(solids, gates, strict=True))
    ]
    names = names_of(struts)
    shapes = [
        StrutShape(
            name,
            Mesh((solid.mesh.points - shift) @ turn, solid.mesh.triangles),
            strut_text(strut),
            free=strut.gate is not None,
            pinned=strut.gate is not None and strut.gate.state == "pinned",
            apart=strut.apart,
        )
        for name, solid, strut in zip(names, solids, struts, strict=True)
    ]
    show_struts(ob, shapes, mm)
    _note_gates(ob.linkwright, names, struts, [shape.text for shape in shapes], list(poses))
    store_edits(ob.linkwright, edits)
    figures = ob.linkwright.figures
    figures.lattice_said = lattice_words(lattice)
    figures.lattice_stops = lattice_stops(lattice)
    figures.lattice_stamp = lattice_stamp(ob, scene)
    note_lattice(figures, scene.linkwright, lattice.volume_mm3)
    remember(ob)


def lattice_stamp(ob: Any, scene: Any) -> str:
    """Give the stamp of all that a chain's lattice follows from, as it now stands."""
    group = ob.linkwright
    figures = group.figures
    # Adding 0 makes one of both zeros.
    up = (np.round(up_of(ob), UP_DIGITS) + 0.0).tolist()
    return stamp(figures.stamp, figures.curve_stamp, figures.own_stamp, feed_stamp(scene.linkwright), group.edits, up)


def lattice_words(lattice: Lattice) -> str:
    """Say in one line what a lattice is made of, and what its plan could not do."""
    count = Counter(solid.role for solid in lattice.solids)
    told = [f"{count['gate']} gate{'' if count['gate'] == 1 else 's'}"]
    if count["post"]:
        told.append(f"{count['post']} post{'' if count['post'] == 1 else 's'}")
    stops = lattice_stops(lattice)
    told.append(f"{stops or 'no'} stop{'' if stops == 1 else 's'}")
    return ", ".join(told)


def lattice_stops(lattice: Lattice) -> int:
    """Count what a lattice's plan could not do."""
    return sum(1 for finding in lattice.findings if finding.severity == "stop")


def _gate(solid: LatticeSolid, poses: dict[str, Pose], turn: FloatArray, shift: FloatArray) -> Gate | None:
    feeds = solid.feeds
    if solid.role != "gate" or feeds is None or feeds not in poses or not solid.line:
        return None
    line, pose = np.array(solid.line), poses[feeds]
    return Gate(
        feeds,
        solid.above,
        _places((line - shift) @ turn),
        _places((line - pose.origin) @ pose.rotation),
        solid.struts[0].d_start_mm,
        solid.struts[-1].d_end_mm,
    )


def _places(points: FloatArray) -> tuple[Place, ...]:
    return tuple(place(point) for point in points)


def _in_state(gate: Gate | None, told: dict[int, str]) -> Gate | None:
    if gate is None:
        return None
    return Gate(gate.body, gate.above, gate.line, gate.own, gate.shaft_mm, gate.tip_mm, told[id(gate)])


def strut_told(solid: LatticeSolid, gate: Gate | None = None, *, apart: bool) -> Strut:
    """Tell what a solid of a lattice is."""
    widths = [d for piece in solid.struts for d in (piece.d_start_mm, piece.d_end_mm)] or [0.0]
    length = sum(piece.length_mm for piece in solid.struts)
    return Strut(solid.role, min(widths), max(widths), length, gate, apart)


def names_of(struts: Sequence[Strut]) -> list[str]:
    """Name struts for people: a gate by what it feeds, the others by what they are."""
    plain = [_plain(strut) for strut in struts]
    many = Counter(plain)
    seen: Counter[str] = Counter()
    names = []
    for strut, name in zip(struts, plain, strict=True):
        seen[name] += 1
        numbered = strut.gate is None and many[name] > 1
        names.append(f"{name} {seen[name]}" if numbered else name)
    return names


def _plain(strut: Strut) -> str:
    if strut.gate is not None:
        return f"{'upper gate' if strut.gate.above else 'gate'} of {strut.gate.body}"
    return "trunk" if strut.apart else WORDS.get(strut.role, strut.role)


def _note_gates(
    group: Any, names: Sequence[str], struts: Sequence[Strut], texts: Sequence[str], bodies: Sequence[str]
) -> None:
    """Remember the gates that are shown: along the chain, first those from below."""
    along = {body: k for k, body in enumerate(bodies)}
    found = [
        (strut.gate.above, along[strut.gate.body], name, number, strut.gate.state, text)
        for number, (name, strut, text) in enumerate(zip(names, struts, texts, strict=True), 1)
        if strut.gate is not None
    ]
    rows = [row[2:] for row in sorted(found, key=lambda row: row[:2])]
    group.other_struts = len(struts) - len(rows)
    while len(group.gates) > len(rows):
        group.gates.remove(len(group.gates) - 1)
    while len(group.gates) < len(rows):
        group.gates.add()
    for row, (name, number, state, text) in zip(group.gates, rows, strict=True):
        row.name, row.number, row.state, row.strut = name, number, state, text
