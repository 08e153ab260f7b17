"""What the maker did to a lattice by hand: kept on the chain's object, read from its struts, handed to the rules.

Edits are kept by link family: places in a link's own coordinates mean nothing on a link of another shape. They are JSON
text, in which every number comes back to its last digit.
"""

import json
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from mathutils import Matrix

from ..rules.base.progress import Steps, finish
from ..rules.feed.by_hand import MEANT_MM
from ..rules.feed.lattice import Place, place
from ..rules.feed.spec import FeedSpec, GatePlace, PinnedGate
from ..rules.solid.feet import feet
from ..rules.solid.mesh import Body, FloatArray
from .conversions import double
from .showing import in_scenes, parts, parts_found

KINDS = ("pinned", "wanted", "barred", "removed")
# A matrix that differs by more moved its object; less is what single precision makes of none.
UNMOVED = 1e-6
STILL = Matrix.Identity(4).freeze()
# Two places nearer than this are one: an edit that is read again is the same edit.
SAME_MM = 1e-3
# The root of a gate's tip, the surface it enters and its end in the metal, among its five points.
ROOT, SURFACE, END = 2, 3, 4


@dataclass(frozen=True, slots=True)
class Edits:
    """The edits of one family, each kind in the order it was made; ``keep_out`` numbers triangles of the link."""

    pinned: tuple[PinnedGate, ...] = ()
    wanted: tuple[GatePlace, ...] = ()
    barred: tuple[GatePlace, ...] = ()
    removed: tuple[GatePlace, ...] = ()
    keep_out: tuple[int, ...] = ()

    @property
    def count(self) -> int:
        """Give how many there are; triangles kept out count as one."""
        return sum(len(getattr(self, kind)) for kind in KINDS) + bool(self.keep_out)

    def of(self, known: Callable[[str], bool]) -> "Edits":
        """Give those at links that are known."""
        kept: dict[str, Any] = {kind: tuple(one for one in getattr(self, kind) if known(one.body)) for kind in KINDS}
        return replace(self, **kept)


@dataclass(frozen=True, slots=True)
class Gate:
    """A gate as it was shown.

    ``line`` and ``own`` are its five points on the chain and in the link's own coordinates, mm; ``state`` is planned,
    pinned or wanted.
    """

    body: str
    above: bool
    line: tuple[Place, ...]
    own: tuple[Place, ...]
    shaft_mm: float
    tip_mm: float
    state: str = "planned"

    def place(self, point: int) -> GatePlace:
        """Give the place on its link of one of its points."""
        return GatePlace(self.body, self.own[point], self.above)

    def pin(self) -> PinnedGate:
        """Give it as one to keep."""
        a, b, c, d, e = self.own
        return PinnedGate(self.body, self.above, (a, b, c, d, e), self.shaft_mm, self.tip_mm)


@dataclass(frozen=True, slots=True)
class Strut:
    """What a strut's object is: the role of its solid, and its thinnest and thickest round rod and length in mm.

    ``gate`` tells more of a gate. ``apart``: it is printed on its own and set in by hand.
    """

    role: str
    thin_mm: float
    thick_mm: float
    length_mm: float
    gate: Gate | None = None
    apart: bool = False


@dataclass(frozen=True, slots=True)
class Found:
    """Edits as they stand with what was done in the scene, and how many struts that are no gates were deleted."""

    edits: Edits = field(default_factory=Edits)
    missing: int = 0


def strut_text(strut: Strut) -> str:
    """Write down what a strut is."""
    gate = strut.gate
    told: dict[str, Any] = {
        "role": strut.role, "thin_mm": strut.thin_mm, "thick_mm": strut.thick_mm, "length_mm": strut.length_mm,
        "apart": strut.apart,
    }  # fmt: skip
    if gate is not None:
        told["gate"] = {name: getattr(gate, name) for name in Gate.__slots__}
    return json.dumps(told)


def strut_of(ob: Any) -> Strut | None:
    """Read what a strut's object is; None for other objects and for struts that do not say."""
    if ob is None or ob.linkwright.part != "STRUT" or not ob.linkwright.strut:
        return None
    return read_strut(ob.linkwright.strut)


def read_strut(text: str) -> Strut:
    """Read back what `strut_text` wrote."""
    told = json.loads(text)
    gate = told.pop("gate", None)
    if gate is None:
        return Strut(**told)
    lines = {name: tuple(_place(p) for p in gate[name]) for name in ("line", "own")}
    return Strut(**told, gate=Gate(**{**gate, **lines}))


def stored(group: Any, family: str | None = None) -> Edits:
    """Read the edits kept on a chain for its family, or for another."""
    rows = _rows(group).get(group.family if family is None else family, {})
    places = {kind: tuple(_gate_place(row) for row in rows.get(kind, ())) for kind in KINDS[1:]}
    pins = tuple(_pinned(row) for row in rows.get("pinned", ()))
    return Edits(pins, **places, keep_out=tuple(rows.get("keep_out", ())))


def store_edits(group: Any, edits: Edits) -> None:
    """Keep the edits of a chain's family; those of others stay."""
    rows = _rows(group)
    rows.pop(group.family, None)
    if edits.count:
        kept: dict[str, Any] = {kind: [_row(one) for one in getattr(edits, kind)] for kind in KINDS}
        kept["keep_out"] = edits.keep_out
        rows[group.family] = {kind: value for kind, value in kept.items() if value}
    text = json.dumps(rows) if rows else ""
    if group.edits != text:
        group.edits = text


def forget(group: Any, *, gone_only: bool) -> None:
    """Forget all edits of a chain, or those of links that it no longer has."""
    kept = stored(group).of(_is_there(group)) if gone_only else Edits()
    group.edits = ""
    store_edits(group, kept)


def gone(group: Any) -> int:
    """Count the edits that are kept but not used: of links that are no more, or of another family."""
    if not group.edits:
        return 0
    rows, there = _rows(group), _is_there(group)
    total = sum(stored(group, family).count for family in rows)
    return total - (stored(group).of(there).count if group.family in rows else 0)


def spec_with(spec: FeedSpec, edits: Edits, keep_out: Sequence[int] = ()) -> FeedSpec:
    """Put edits into what is asked of the lattice; ``keep_out`` triangles that the link mesh itself tells."""
    asked: dict[str, Any] = {kind: getattr(edits, kind) for kind in KINDS}
    return replace(spec, **asked, keep_out=tuple(keep_out) or edits.keep_out)


def of_spec(spec: FeedSpec) -> Edits:
    """Take the edits out of what a job asks of the lattice."""
    return Edits(spec.pinned, spec.wanted, spec.barred, spec.removed, spec.keep_out)


def has_lattice(ob: Any) -> bool:
    """Tell whether a chain has a lattice that was not deleted to the last strut."""
    return bool(ob.linkwright.figures.lattice_stamp) and bool(_standing(ob))


def read_edits(ob: Any, bodies: Callable[[], Iterable[Body]], mm: float) -> Found:
    """Read a chain's edits, with what was done to its struts in the scene since they were shown.

    A gate whose object is gone is removed; one whose object was moved is wanted where its tip stands, on the nearest
    of ``bodies``, which are asked for only then and stand on the chain; a copy of one is wanted beside it. A chain
    whose struts are all gone has no lattice, and tells nothing. ``mm`` of a scene unit.
    """
    group = ob.linkwright
    edits = stored(group)
    standing = _standing(ob)
    if not standing or not group.figures.lattice_stamp:
        return Found(edits)
    if not handled(ob):
        return Found(edits, max(0, group.other_struts - len(standing) + len(group.gates)))
    shown = {row.number: gate for row in group.gates if (gate := read_strut(row.strut).gate) is not None}
    by_number: dict[int, list[FloatArray]] = {}
    others = 0
    for strut in standing:
        matrix = double(strut.matrix_basis)
        if strut.linkwright.number in shown:
            by_number.setdefault(strut.linkwright.number, []).append(matrix)
        else:
            others += 1
    for number, gate in shown.items():
        matrices = by_number.get(number, [])
        stays = any(np.abs(matrix - np.eye(4)).max() <= UNMOVED for matrix in matrices)
        moved = [matrix for matrix in matrices if np.abs(matrix - np.eye(4)).max() > UNMOVED]
        goals = [_nearest_place(gate, matrix, bodies(), mm) for matrix in moved]
        if not stays:
            edits = taken_away(edits, gate, far_from=goals)
        for goal in goals:
            edits = led_to(edits, goal)
    return Found(edits, max(0, group.other_struts - others))


def handled(ob: Any) -> tuple[Any, ...]:
    """Tell what was done to a chain's gates in the scene since they were shown: empty for nothing."""
    return finish(handling(ob))


def handling(ob: Any) -> Steps[tuple[Any, ...]]:
    """Tell the same in steps; whoever pauses between them begins anew where something was changed meanwhile."""
    struts = yield from parts_found(ob, "STRUT")
    standing = in_scenes(ob, struts)
    yield 0.5
    # Comparing is quick, and most stand exactly where they were put.
    away = [(strut, double(matrix)) for strut in standing if (matrix := strut.matrix_basis) != STILL]
    stands = [(strut.linkwright.number, matrix) for strut, matrix in away]
    yield 0.7
    shown = {row.number for row in ob.linkwright.gates}
    moved = tuple((k, m.tolist()) for k, m in stands if k in shown and np.abs(m - np.eye(4)).max() > UNMOVED)
    missing = tuple(sorted(shown.difference(strut.linkwright.number for strut in standing)))
    return (missing, moved) if missing or moved else ()


def taken_away(edits: Edits, gate: Gate, far_from: Sequence[GatePlace] = ()) -> Edits:
    """Take a shown gate away. Where it goes to a place of ``far_from`` close by, its old place is not cleared."""
    wanted, end = edits.wanted, gate.place(END)
    if gate.state == "wanted":
        own = _nearest_of(edits.wanted, gate)
        if far_from:
            return replace(edits, wanted=tuple(one for one in wanted if one is not own))
    elif gate.state == "pinned":
        # Without the pin the planner might lead a gate elsewhere on the link: it is led here, then taken away.
        own_pin = pin_of(edits, gate)
        edits = replace(edits, pinned=tuple(one for one in edits.pinned if one is not own_pin))
        wanted = wanted if far_from else _added(wanted, gate.place(SURFACE))
    if any(_alike(end, goal) and _apart(end, goal) < 2.0 * MEANT_MM for goal in far_from):
        return replace(edits, wanted=wanted)
    return replace(edits, wanted=wanted, removed=_added(edits.removed, end))


def led_to(edits: Edits, goal: GatePlace) -> Edits:
    """Lead a gate to a place, whatever was cleared or barred there before."""
    return replace(
        edits,
        wanted=(*_without(edits.wanted, goal, SAME_MM), goal),
        barred=_without(edits.barred, goal, MEANT_MM),
        removed=_without(edits.removed, goal, MEANT_MM),
    )


def planned_again(edits: Edits) -> Edits:
    """Bar what was taken away, so that the planner finds other places."""
    barred, wanted = edits.barred, edits.wanted
    for one in edits.removed:
        barred = _added(barred, one)
        wanted = _without(wanted, one, 2.0 * MEANT_MM)
    return replace(edits, barred=barred, wanted=wanted, removed=())


def barred_too(edits: Edits, gate: Gate) -> Edits:
    """Take a shown gate away and bar its place; what else was taken away stays so."""
    alone = planned_again(taken_away(replace(edits, removed=()), gate))
    return replace(alone, removed=edits.removed)


def pinned_too(edits: Edits, gate: Gate) -> Edits:
    """Keep a gate as it is."""
    own = _nearest_of(edits.wanted, gate) if gate.state == "wanted" else None
    wanted = tuple(one for one in edits.wanted if one is not own)
    pinned = edits.pinned if pin_of(edits, gate) is not None else (*edits.pinned, gate.pin())
    return replace(edits, wanted=wanted, pinned=pinned)


def unpinned(edits: Edits, gate: Gate) -> Edits:
    """Let the planner have a gate again."""
    own = pin_of(edits, gate)
    return replace(edits, pinned=tuple(one for one in edits.pinned if one is not own))


def pin_of(edits: Edits, gate: Gate) -> PinnedGate | None:
    """Give the pin that keeps a gate, or None."""
    tip = np.array(gate.own[2:])
    for one in edits.pinned:
        if (one.body, one.above) == (gate.body, gate.above) and np.abs(np.array(one.points[2:]) - tip).max() < SAME_MM:
            return one
    return None


def states(edits: Edits, gates: Sequence[Gate]) -> list[str]:
    """Tell of gates which are pinned, and which stand at a wanted place: of each place the nearest gate does."""
    found = ["planned" if pin_of(edits, gate) is None else "pinned" for gate in gates]
    for one in edits.wanted:
        rows = [k for k, gate in enumerate(gates) if found[k] == "planned" and _alike(one, gate.place(SURFACE))]
        if rows:
            found[min(rows, key=lambda k: _apart(one, gates[k].place(SURFACE)))] = "wanted"
    return found


def on_link(name: str) -> str:
    """Give the name of a body from that of its object, to which Blender may have added a number."""
    return re.sub(r"\.\d{3,}$", "", name)


def _standing(ob: Any) -> list[Any]:
    """Give a chain's struts that are in a scene."""
    return in_scenes(ob, parts(ob, "STRUT"))


def _is_there(group: Any) -> Callable[[str], bool]:
    links = group.figures.links

    def there(body: str) -> bool:
        number = re.fullmatch(r"link (\d+)", body)
        return number is None or int(number.group(1)) <= links

    return there


def _nearest_place(gate: Gate, matrix: FloatArray, bodies: Iterable[Body], mm: float) -> GatePlace:
    """Find the place of a link nearest to where a moved gate meets metal."""
    at = matrix[:3, :3] @ np.array(gate.line[SURFACE]) + matrix[:3, 3] * mm
    best: tuple[float, GatePlace] | None = None
    for body in bodies:
        local = (at - body.pose.origin) @ body.pose.rotation
        points = body.mesh.points
        outside = np.maximum(np.maximum(points.min(axis=0) - local, local - points.max(axis=0)), 0.0)
        if best is not None and np.linalg.norm(outside) >= best[0]:
            continue
        corners = points[body.mesh.triangles].transpose(1, 2, 0)
        square, foot = feet(corners, np.repeat(local[:, None], corners.shape[2], axis=1))
        k = int(square.argmin())
        distance = float(np.sqrt(square[k]))
        if best is None or distance < best[0]:
            best = distance, GatePlace(body.name, place(foot[:, k]), gate.above)
    return gate.place(SURFACE) if best is None else best[1]


def _alike(one: GatePlace, other: GatePlace) -> bool:
    return (one.body, one.above) == (other.body, other.above)


def _apart(one: GatePlace, other: GatePlace) -> float:
    return float(np.linalg.norm(np.subtract(one.at, other.at)))


def _without(places: tuple[GatePlace, ...], goal: GatePlace, near_mm: float) -> tuple[GatePlace, ...]:
    return tuple(one for one in places if not (_alike(one, goal) and _apart(one, goal) <= near_mm))


def _added(places: tuple[GatePlace, ...], one: GatePlace) -> tuple[GatePlace, ...]:
    near = any(_alike(one, other) and _apart(one, other) <= SAME_MM for other in places)
    return places if near else (*places, one)


def _nearest_of(places: tuple[GatePlace, ...], gate: Gate) -> GatePlace | None:
    at = gate.place(SURFACE)
    return min((one for one in places if _alike(one, at)), key=lambda one: _apart(one, at), default=None)


def _rows(group: Any) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(group.edits) if group.edits else {}
    return found


def _row(one: GatePlace | PinnedGate) -> dict[str, Any]:
    return {name: getattr(one, name) for name in type(one).__slots__}


def _place(values: Sequence[float]) -> Place:
    x, y, z = values
    return (x, y, z)


def _gate_place(row: dict[str, Any]) -> GatePlace:
    return GatePlace(row["body"], _place(row["at"]), row["above"])


def _pinned(row: dict[str, Any]) -> PinnedGate:
    a, b, c, d, e = (_place(p) for p in row["points"])
    return PinnedGate(row["body"], row["above"], (a, b, c, d, e), row["shaft_mm"], row["tip_mm"])
