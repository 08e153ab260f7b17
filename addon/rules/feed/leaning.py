"""How far columns bend under the links they feed: their own share of the sway, added to that of the gate.

A plain estimate like that of `steadiness`: the film pulls a link's layer up beside the column, which bends as a
cantilever from the base ring under that moment: slope M L / E I, shift M L^2 / 2 E I (Euler and Bernoulli). Gates of
one link on several columns share the pull. That columns hold each other through the links is left out.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..base.profile import Profile
from ..base.progress import Steps
from ..inspect.finding import Finding
from ..solid.mesh import Body, FloatArray
from .lattice import Lattice, LatticeSolid
from .steadiness import RESIN_MPA, STEADY_SHARE, Sliced, columns_of, sliced

ON_AXIS_MM = 1e-3


@dataclass(frozen=True, slots=True, eq=False)
class Stem:
    """The part of a column below a gate's foot (3,): its length and its thickness in mm."""

    foot: FloatArray
    length_mm: float
    d_mm: float

    @property
    def per_moment(self) -> float:
        """Give the turn in radians of its upper end for a moment of 1 N mm."""
        return self.length_mm / (RESIN_MPA * np.pi * self.d_mm**4 / 64)


def stems(lattice: Lattice) -> dict[str, list[Stem]]:
    """Find by the name of its body every gate that starts on a column, and the column under it."""
    posts = [s for s in lattice.solids if s.role == "post"]
    found: dict[str, list[Stem]] = {}
    for gate in lattice.solids:
        if gate.feeds is None or gate.above:
            continue
        for post in posts:
            stem = _stem(np.array(gate.struts[0].start), post)
            if stem is not None:
                found.setdefault(gate.feeds, []).append(stem)
    return found


def bending_mm(body: Sliced, below: Sequence[Stem], pressure_kpa: float) -> float:
    """Estimate the largest movement in mm of a link, cut into layers, by the bending of the columns under its gates."""
    worst = 0.0
    feet = [(stem.foot - body.shift) @ body.turn for stem in below]
    for layer in body.layers:
        pull = pressure_kpa * 1e-3 * layer.area_mm2 / len(below)
        moved = 0.0
        for stem, foot in zip(below, feet, strict=True):
            turn = pull * float(np.linalg.norm((layer.middle - foot)[:2])) * stem.per_moment
            arm = float(np.linalg.norm(layer.outline - foot, axis=1).max())
            moved += turn * (arm + stem.length_mm / 2) / len(below)
        worst = max(worst, moved)
    return worst


def leaning_findings(bodies: Sequence[Body], lattice: Lattice, profile: Profile, gap_mm: float) -> Steps[list[Finding]]:
    """Find the links that move more than a share of the printed gap because their columns are slender."""
    below, gates = stems(lattice), columns_of(lattice)
    if not below:
        yield 1.0
        return []
    limit = STEADY_SHARE * gap_mm
    slices = yield from sliced(bodies)
    loose: dict[str, float] = {}
    for body, one in zip(bodies, slices, strict=True):
        if body.name not in below:
            continue
        bent = bending_mm(one, below[body.name], profile.peel_pressure_kpa)
        gate = one.sway_mm(gates[body.name], profile.peel_pressure_kpa)
        # What the gate does alone is told elsewhere.
        if gate <= limit < bent + gate:
            loose[body.name] = bent + gate
    if not loose:
        return []
    name = max(loose, key=lambda one: loose[one])
    tall = max(stem.length_mm for stem in below[name])
    others = f" (and {len(loose) - 1} more, less so)" if len(loose) > 1 else ""
    return [
        Finding(
            "unsteady",
            "warn",
            tuple(loose),
            f"{name}{others} may sway {loose[name]:.2f} mm while it is printed (an estimate): its column bends over "
            f"{tall:.0f} mm; a quarter of the gap is {limit:.2f} mm; wind the chain lower and wider, write a thicker "
            "feed.ring_mm, or lay it out as a spiral",
            value=loose[name],
            limit=limit,
        )
    ]


def _stem(foot: FloatArray, post: LatticeSolid) -> Stem | None:
    """Give the part of a post from the ring to a gate's foot (3,) on its axis; None if it is not there."""
    walked = 0.0
    for piece in post.struts:
        start, end = np.array(piece.start), np.array(piece.end)
        length = float(np.linalg.norm(end - start))
        along = float((foot - start) @ (end - start)) / length
        beside = float(np.linalg.norm(foot - start - along * (end - start) / length))
        if beside <= ON_AXIS_MM and along + walked > ON_AXIS_MM and 0.0 <= along <= length:
            return Stem(foot, walked + along, min(piece.d_start_mm, piece.d_end_mm))
        walked += length
    return None
