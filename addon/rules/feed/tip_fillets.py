"""Fillets where tips enter links: the round that a ball leaves which rolls in the corner between a tip and a wire.

A tip meets its link in a sharp corner all round, and a wide shaft makes it sharper. The ball rolls round the tip: in
every half-plane through the tip's axis its middle lies as far from the tip's own outline as from the wire's skin. What
is drawn keeps the strut web, the joint and what the maker keeps out, or is drawn smaller.

Only round wire that we drew has a skin that is known so well; tips in other bodies keep their corner, and that is told.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..base.progress import Steps
from ..inspect.finding import Finding
from ..solid.candidates import BoolArray
from ..solid.mesh import Body, FloatArray
from .around import Joints, clouds, joints
from .keep_out import MARGIN_MM, KeepOut, keep_out
from .lattice import Lattice, LatticeSolid, Strut, place
from .rods import skin
from .rolling import Round, Tip, rolled, tip_of, to_pieces
from .skeletons import Skeletons, skeletons
from .spec import FeedSpec

# Smaller ones are tried by these shares; one under the least is not worth drawing.
SHARES = (1.0, 0.85, 0.7, 0.55, 0.4, 0.25)
LEAST_MM = 0.1
# Before its fillet a tip's outline has a corner this share of the way to it.
BEFORE = 0.9
# Facets, and wires drawn as straight pieces, come this much nearer to others than the round ones.
SPARE_MM = 0.02
# Places where links rub are known about so well; a fillet keeps this far from them.
OFF_JOINT_MM = 0.3
# The last of a gate's struts begins at least this far before the metal.
SHOWN_MM = 0.05
WIDEST = 1.5


@dataclass(frozen=True, slots=True, eq=False)
class _Others:
    """What a tip's fillet keeps the web from: round pieces (p, 3) with their radius (p,)."""

    start: FloatArray
    end: FloatArray
    radius: FloatArray

    def near(self, low: FloatArray, high: FloatArray) -> "_Others":
        r = self.radius[:, None]
        meet = (np.minimum(self.start, self.end) - r <= high) & (np.maximum(self.start, self.end) + r >= low)
        return self.take(meet.all(axis=1))

    def take(self, rows: BoolArray) -> "_Others":
        return _Others(self.start[rows], self.end[rows], self.radius[rows])

    def and_of(self, struts: Sequence[Strut]) -> "_Others":
        start, end = np.array([s.start for s in struts]), np.array([s.end for s in struts])
        radius = np.array([max(s.d_start_mm, s.d_end_mm) / 2 for s in struts])
        return _Others(*(np.concatenate(p) for p in ((self.start, start), (self.end, end), (self.radius, radius))))

    def gap_mm(self, points: FloatArray) -> float:
        """Give how far points (n, 3) stay from all of it."""
        if not len(self.radius):
            return float("inf")
        away, _ = to_pieces(points, self.start, self.end, self.radius)
        return float(away.min())


_NOTHING = _Others(np.zeros((0, 3)), np.zeros((0, 3)), np.zeros(0))


def with_tip_fillets(lattice: Lattice, bodies: Sequence[Body], spec: FeedSpec, web_mm: float) -> Steps[Lattice]:
    """Give gates a fillet of ``spec.fillet_mm`` where their tips enter links, and tell which are smaller or left out.

    ``web_mm`` is kept from all bodies but the gate's own and from all other struts.
    """
    solids = lattice.solids
    gates = [k for k, s in enumerate(solids) if s.feeds is not None]
    if spec.fillet_mm <= 0.0 or not gates:
        return lattice
    number = {body.name: k for k, body in enumerate(bodies)}
    lines = skeletons(bodies)
    rubbed = joints(bodies, clouds(bodies))
    kept = {above: keep_out(bodies, spec, above=above) for above in (False, True)}
    drawn = list(solids)
    rows: list[tuple[float, LatticeSolid]] = []
    plain: list[LatticeSolid] = []
    struts = _NOTHING.and_of(lattice.struts)
    owner = np.repeat(np.arange(len(solids)), [len(s.struts) for s in solids])
    yield 0.1
    for done, k in enumerate(gates):
        yield 0.1 + 0.9 * done / len(gates)
        solid = solids[k]
        body = number.get(solid.feeds or "", -1)
        tip = tip_of(solid, bodies[body], lines, body) if body >= 0 else None
        if tip is None:
            plain.append(solid)
            continue
        others = _others(tip, lines, body, struts.take(owner != k), web_mm + 2 * spec.fillet_mm)
        best = 0.0
        for share in SHARES:
            radius = share * spec.fillet_mm
            one = rolled(tip, radius) if radius >= LEAST_MM else None
            if one is not None and _free(one, tip, bodies[body], body, others, rubbed, kept[solid.above], web_mm):
                drawn[k], best = _filleted(solid, tip, one), radius
                struts = struts.and_of(drawn[k].struts)
                owner = np.append(owner, np.full(len(drawn[k].struts), k))
                break
        rows.append((best, solid))
    told = (*_told(rows, spec.fillet_mm, web_mm), *_left_out(plain))
    return replace(lattice, solids=tuple(drawn), findings=(*lattice.findings, *told))


def _others(tip: Tip, lines: Skeletons, number: int, struts: _Others, reach_mm: float) -> _Others:
    """Gather what lies near a tip and is not its own: other bodies, other limbs of its link, other struts."""
    spread = tip.r_root + tip.r_tip + reach_mm
    ends = tip.at + np.array([-tip.shown_mm, tip.sunk_mm])[:, None] * tip.ahead
    low, high = ends.min(axis=0) - spread, ends.max(axis=0) + spread
    start, end, radius = [struts.start], [struts.end], [struts.radius]
    for k in np.flatnonzero(((lines.low <= high) & (lines.high >= low)).all(axis=1)).tolist():
        rows = slice(lines.first[k], lines.first[k + 1])
        a, b = lines.starts[rows], lines.ends[rows]
        if k == number:
            far = (a[:, None] != tip.start[None]).any(axis=2).all(axis=1)
            a, b = a[far], b[far]
        start.append(a)
        end.append(b)
        radius.append(np.full(len(a), lines.radius_mm[k]))
    return _Others(np.concatenate(start), np.concatenate(end), np.concatenate(radius)).near(low, high)


def _free(
    one: Round, tip: Tip, body: Body, number: int, others: _Others, rubbed: Joints, kept: KeepOut, web_mm: float
) -> bool:
    """Tell whether a fillet keeps the web from others, and clear of the joint and of what the maker keeps out."""
    skin_points = np.concatenate((one.leaves[None], one.arc)).reshape(-1, 3)
    if others.gap_mm(skin_points) < web_mm + SPARE_MM:
        return False
    on_wire = one.arc[-1]
    places = rubbed.places[rubbed.first[number] : rubbed.first[number + 1]]
    if len(places):
        near = np.linalg.norm(on_wire[:, None] - places, axis=2).min()
        # A tip that stands in a joint is told of elsewhere; its fillet comes no nearer than the tip does.
        plain = np.linalg.norm(tip.rings[-2][:, None] - places, axis=2).min()
        if near < min(OFF_JOINT_MM, float(plain)) - 1e-9:
            return False
    local = (on_wire - body.pose.origin) @ body.pose.rotation
    return not kept.faces or bool(kept.to_marked(body, local).min() >= MARGIN_MM)


def _filleted(solid: LatticeSolid, tip: Tip, one: Round) -> LatticeSolid:
    """Draw a gate with its fillet, and cut its last strut so that round cones hold that."""
    leaves = tip.flat(one.leaves)
    x = np.minimum(0.0, -tip.shown_mm + BEFORE * (leaves[:, 0] + tip.shown_mm))
    before = tip.solid(np.stack((x, tip.radius(x)), axis=1))
    rings = np.concatenate((tip.rings[:-2], before[None], one.leaves[None], one.arc, one.foot[None], tip.rings[-1:]))
    points = tip.flat(np.concatenate((one.leaves[None], one.arc)).reshape(-1, 3))
    last = solid.struts[-1]
    low = min(float(points[points[:, 1].argmax(), 0]), -SHOWN_MM)
    high = min(float(leaves[:, 0].min()), low - SHOWN_MM)
    # Wide enough that the cone from there to the end of the tip holds what lies beyond.
    left = np.maximum(tip.sunk_mm - points[:, 0], SHOWN_MM)
    beyond = tip.r_tip + (points[:, 1] - tip.r_tip) * (tip.sunk_mm - low) / left
    widest = float(points[:, 1].max())
    wide = min(max(widest, float(beyond[points[:, 0] >= low].max(initial=0.0))), WIDEST * widest)
    some = points[:, 0] < low - 1e-6
    up = wide + (points[some, 1] - wide) * (low - high) / np.maximum(low - points[some, 0], 1e-6)
    thick = max(float(tip.radius(np.array(high))), min(wide, float(up.max(initial=0.0))))
    spots = [place(tip.at + z * tip.ahead) for z in (high, low)]
    struts = (
        *solid.struts[:-1],
        Strut("gate", last.start, spots[0], last.d_start_mm, 2 * thick),
        Strut("gate", spots[0], spots[1], 2 * thick, 2 * wide),
        replace(last, start=spots[1], d_start_mm=2 * wide),
    )
    return replace(solid, mesh=skin(rings, closed=False), struts=struts)


def _told(rows: Sequence[tuple[float, LatticeSolid]], fillet_mm: float, web_mm: float) -> tuple[Finding, ...]:
    small = [(drawn, solid) for drawn, solid in rows if drawn < 0.99 * fillet_mm]
    if not small:
        return ()
    drawn, least = min(small, key=lambda row: row[0])
    text = (
        f"feed.fillet_mm: {len(small)} of {len(rows)} fillets at tips are smaller than {fillet_mm:g} mm, that of "
        f"{least.feeds} is {f'{drawn:.2f} mm' if drawn > 0.0 else 'left out'}, so that {web_mm:g} mm of investment "
        "stay beside it, joints stay free and its ball finds a place; a thinner feed.gate_mm or a longer pitch makes "
        "room"
    )
    names = tuple(dict.fromkeys(solid.feeds for _, solid in small if solid.feeds is not None))
    return (Finding("strut-near", "note", names, text, at=least.line[3], value=drawn, limit=fillet_mm),)


def _left_out(plain: Sequence[LatticeSolid]) -> tuple[Finding, ...]:
    if not plain:
        return ()
    names = tuple(dict.fromkeys(solid.feeds for solid in plain if solid.feeds is not None))
    text = (
        f"feed.fillet_mm: the tips of {len(plain)} gates keep a sharp corner: fillets at tips are drawn on round wire "
        "that was drawn here, not on other sections or meshes; melt a little wax into the corner"
    )
    return (Finding("strut-near", "note", names, text, at=place(np.array(plain[0].struts[-1].end))),)
