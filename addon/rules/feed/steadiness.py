"""How far a link moves while it is printed: the gates under it as short columns, the film pulling at each fresh layer.

A plain estimate, meant to rank and to warn, not to prove: every layer is pulled by the peel pressure over its own area,
at its own middle; what misses the gates' axis bends them (cantilevers after Euler and Bernoulli: slope M L / E I), and
the link above turns as a rigid piece.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import pi

import numpy as np

from ..base.errors import BadInput
from ..base.profile import Profile
from ..base.progress import Steps
from ..inspect.finding import Finding
from ..solid.mesh import Body, FloatArray, Mesh
from ..solid.section import sections, surface
from .lattice import Lattice, LatticeSolid

# Young's modulus of a castable resin as it comes out of the printer, in MPa: a guess from memory; data sheets of such
# resins speak of a few hundred to over a thousand after curing.
RESIN_MPA = 500.0
LAYERS = 24
# The film never lets go evenly: the pull acts at least this share of a layer's reach beside its middle. Our judgement.
LEAST_OFF = 0.1
# Links turned alike to this many decimals stand alike.
ALIKE = 6
# A link may move by this share of the printed gap.
STEADY_SHARE = 0.25


@dataclass(frozen=True, slots=True, eq=False)
class Column:
    """A gate as a column: where it enters (3,), lengths and diameters in mm of its shaft and of its neck."""

    top: FloatArray
    shaft_length_mm: float
    shaft_mm: float
    neck_length_mm: float
    neck_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class Layer:
    """What is peeled of a link at one height: its area, its middle (3,), and places (n, 3) of its outline."""

    area_mm2: float
    middle: FloatArray
    outline: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Sliced:
    """A body cut into level layers, in a frame that is the world's but for a turn (3, 3) about z and a shift (3,)."""

    layers: tuple[Layer, ...]
    turn: FloatArray
    shift: FloatArray

    def sway_mm(self, columns: Sequence[Column], pressure_kpa: float) -> float:
        """Estimate as `sway_mm` does, for columns in the world."""
        moved = [replace(c, top=(c.top - self.shift) @ self.turn) for c in columns]
        return sway_mm(self.layers, moved, pressure_kpa)


def sliced(bodies: Sequence[Body]) -> Steps[list[Sliced]]:
    """Cut bodies into layers; those that stand alike but for a turn about z are cut once.

    An open mesh, which is refused elsewhere, has no layers.
    """
    known: dict[tuple[int, bytes], tuple[tuple[Layer, ...], FloatArray]] = {}
    found = []
    for number, body in enumerate(bodies):
        r = body.pose.rotation
        # What the turn about z leaves alone is the row that makes heights.
        key = (id(body.mesh), (np.round(r[2], ALIKE) + 0.0).tobytes())
        if key not in known:
            yield number / len(bodies)
            known[key] = (_layers(Mesh(body.mesh.points @ r.T, body.mesh.triangles)), r)
        layers, first = known[key]
        found.append(Sliced(layers, r @ first.T, body.pose.origin))
    return found


def _layers(mesh: Mesh) -> tuple[Layer, ...]:
    low, high = mesh.points[:, 2].min(), mesh.points[:, 2].max()
    heights = low + (np.arange(LAYERS) + 0.5) / LAYERS * (high - low)
    try:
        cut = sections(surface(mesh), heights)
    except BadInput:
        return ()
    start, end, layer = cut.start, cut.end(), cut.layer[cut.loop]
    cross = start[:, 0] * end[:, 1] - start[:, 1] * end[:, 0]
    area = np.bincount(layer, weights=cross, minlength=LAYERS) / 2
    found = []
    for k in np.flatnonzero(area > 0.0):
        rows = layer == k
        x, y = ((start[rows] + end[rows]) * cross[rows, None]).sum(axis=0) / (6 * area[k])
        outline = np.column_stack((start[rows], np.full(int(rows.sum()), heights[k])))
        found.append(Layer(float(area[k]), np.array([x, y, heights[k]]), outline))
    return tuple(found)


def sway_mm(layers: Sequence[Layer], columns: Sequence[Column], pressure_kpa: float) -> float:
    """Estimate the largest movement in mm of a link while its layers are peeled from the film.

    ``columns`` are the gates that hold it from below.
    """
    if not columns:
        return float("inf")
    tops = np.array([c.top for c in columns])
    base = tops.mean(axis=0)
    # Each column's turn per moment, worked as neck and shaft in a row; columns side by side share the load.
    turn = np.array([_turn(c) for c in columns])
    stretch = np.array([_stretch(c) for c in columns])
    spread = ((tops[:, :2] - base[:2]) ** 2).sum(axis=1)
    stiffness = (1 / turn).sum() + (spread / stretch).sum()
    worst = 0.0
    for layer in layers:
        force = pressure_kpa * 1e-3 * layer.area_mm2
        wide = float(np.linalg.norm(layer.outline - layer.middle, axis=1).max())
        lever = max(float(np.linalg.norm(layer.middle[:2] - base[:2])), LEAST_OFF * wide)
        tilt = force * lever / stiffness
        arm = float(np.linalg.norm(layer.outline - base, axis=1).max())
        worst = max(worst, tilt * arm + force / float((1 / stretch).sum()))
    return worst


def column_of(gate: LatticeSolid) -> Column:
    """Give a gate as the column it is to the link above it."""
    tip = next(s for s in gate.struts if s.feeds is not None)
    # A fillet cuts the piece from the shaft to the end of the tip in several.
    cone = [s for s in gate.struts if s.role == "gate"]
    shaft = [s for s in gate.struts if s.role != "gate"]
    return Column(
        np.array(tip.end),
        sum(s.length_mm for s in shaft),
        min((s.d_end_mm for s in shaft), default=cone[0].d_start_mm),
        min(sum(s.length_mm for s in cone), tip.d_end_mm) / 2,
        tip.d_end_mm if gate.neck_mm is None else gate.neck_mm,
    )


def columns_of(lattice: Lattice) -> dict[str, list[Column]]:
    """Give the columns under each body, by its name: gates from below; what hangs from above holds nothing up."""
    columns: dict[str, list[Column]] = {}
    for solid in lattice.solids:
        if solid.feeds is not None and not solid.above:
            columns.setdefault(solid.feeds, []).append(column_of(solid))
    return columns


def unsteady_findings(
    bodies: Sequence[Body], lattice: Lattice, profile: Profile, gap_mm: float
) -> Steps[list[Finding]]:
    """Find the links that move more than a share of the printed gap while they are printed."""
    limit, columns = STEADY_SHARE * gap_mm, columns_of(lattice)
    slices = yield from sliced(bodies)
    sways = {
        body.name: one.sway_mm(columns[body.name], profile.peel_pressure_kpa)
        for body, one in zip(bodies, slices, strict=True)
        if body.name in columns
    }
    loose = {name: sway for name, sway in sways.items() if sway > limit}
    if not loose:
        return []
    name = max(loose, key=lambda one: loose[one])
    others = f" (and {len(loose) - 1} more, less so)" if len(loose) > 1 else ""
    return [
        Finding(
            "unsteady",
            "warn",
            tuple(loose),
            f"{name}{others} may sway {loose[name]:.2f} mm while it is printed (an estimate), a quarter of the gap is "
            f"{limit:.2f} mm; make the tip thicker or give it a second gate",
            value=loose[name],
            limit=limit,
        )
    ]


def _turn(c: Column) -> float:
    return c.neck_length_mm / (RESIN_MPA * _second_moment(c.neck_mm)) + c.shaft_length_mm / (
        RESIN_MPA * _second_moment(c.shaft_mm)
    )


def _stretch(c: Column) -> float:
    return c.neck_length_mm / (RESIN_MPA * pi * c.neck_mm**2 / 4) + c.shaft_length_mm / (
        RESIN_MPA * pi * c.shaft_mm**2 / 4
    )


def _second_moment(d_mm: float) -> float:
    """Give the second moment of area of a round section, pi d^4 / 64, in mm4 (Euler-Bernoulli beams)."""
    return pi * d_mm**4 / 64
