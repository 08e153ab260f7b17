"""Gates drawn: the shaft, the cone to the tip, the tip sunk into the body, and the break-off neck where one is wanted.

A nipper breaks a gate at its thinnest place. The neck lies right outside the link, between two cones, so that little
of it stays to be ground off. That a neck breaks where it is thinnest and that it freezes before the tip is common
practice, no published source; its share of the tip is our judgement (`sizes`).
"""

from collections.abc import Sequence
from itertools import pairwise
from math import tan

import numpy as np

from ..inspect.finding import Finding
from ..solid.mesh import Body, FloatArray
from .gates import Gate
from .lattice import LatticeSolid, Strut, place
from .rods import rod
from .sections import ROUND
from .sizes import Sizes

# The thinnest part of a neck is straight for this long, and lies at least this far outside the metal.
BAND_MM = 0.2
OUTSIDE_MM = 0.15
# Shafts that lack less than this are as thick as wanted.
NARROWED_MM = 0.01
# Above its knee a shaft keeps at least this much of its straight piece.
KEPT_MM = 0.1


def gate_solid(gate: Gate, bodies: tuple[Body, ...], above: bool, sizes: Sizes) -> LatticeSolid:
    """Draw a gate: shaft, cone to the tip, tip sunk into the body; with a neck where ``sizes`` ask for one.

    A straight shaft is one piece. ``above`` tells a gate that comes down from an upper ring.
    """
    s, t = gate.shaft_mm, gate.tip_mm
    foot, knee, root, surface, end = gate.points
    straight = gate.level == 0 or np.linalg.norm(np.cross(knee - foot, root - knee)) < 1e-9
    neck = sizes.neck_for_mm(t)
    necked = None if neck is None else _necked(gate, neck, sizes, foot if straight else knee)
    if necked is not None:
        root = necked[0][0]
    shaft = [foot, root] if straight else [foot, knee, root]
    between, d_between = (np.zeros((0, 3)), np.zeros(0)) if necked is None else (necked[0][1:], necked[1][1:])
    line = np.array([*shaft, *between, surface, end])
    d = np.array([s] * len(shaft) + [*d_between, t, t])
    name = bodies[gate.body].name
    struts = [Strut("brace", place(a), place(b), s, s) for a, b in pairwise(shaft)]
    struts.append(Strut("gate", place(root), place(end), s, t, feeds=name))
    return LatticeSolid(
        "gate",
        rod(line, d),
        tuple(struts),
        ROUND.modulus_mm(s),
        above=above,
        line=tuple(place(p) for p in gate.points),
        neck_mm=None if necked is None else float(d_between.min()),
    )


def narrowed_findings(
    gates: Sequence[Gate], bodies: tuple[Body, ...], sizes: Sizes, *, above: bool
) -> tuple[Finding, ...]:
    """Tell of gates that are thinner than the rules want since what stands beside them leaves no room, by how much."""
    rows = []
    for gate in gates:
        wished = max(sizes.shaft_mm(gate.clear_mm, above=above), gate.tip_mm)
        if above:  # What comes down is thinner too where its cone would not print.
            cone = float(np.linalg.norm(gate.points[3] - gate.points[2]))
            wished = min(wished, gate.tip_mm + 2 * cone / tan(sizes.lying.slope))
        if wished - gate.shaft_mm > NARROWED_MM:
            rows.append((wished - gate.shaft_mm, wished, gate))
    if not rows:
        return ()
    short, wished, worst = max(rows, key=lambda row: row[0])
    names = tuple(dict.fromkeys(bodies[gate.body].name for _, _, gate in rows))
    what = "upper gates" if above else "gates"
    text = (
        f"{len(rows)} {what} are thinner than the rules want: that of {bodies[worst.body].name} is "
        f"{worst.shaft_mm:.2f} mm where {wished:.2f} mm is wanted, {short:.2f} mm less, since links and struts beside "
        f"it leave no more; {short:.2f} mm more between the links would make room: a longer pitch or thinner wire"
    )
    at = place(worst.points[1])
    return (Finding("modulus", "note", names, text, at=at, value=worst.shaft_mm, limit=wished),)


def _necked(gate: Gate, neck: float, sizes: Sizes, bend: FloatArray) -> tuple[FloatArray, FloatArray] | None:
    """Give the places (3, 3) where the shaft ends and the neck begins and ends, with diameters (3,); None: no room.

    Both cones rise steeper than the overhang limit. Where the shaft is short, the neck is thicker than asked for.
    """
    s, t, surface = gate.shaft_mm, gate.tip_mm, gate.points[3]
    way = surface - bend
    room = float(np.linalg.norm(way)) - KEPT_MM
    steep = tan(sizes.lying.slope)

    def length(n: float) -> float:
        return max(OUTSIDE_MM, (t - n) / 2 * steep) + BAND_MM + max(OUTSIDE_MM, (s - n) / 2 * steep)

    # The length falls as the neck grows: by the slopes of both cones, then, the one at the link at its least, by one.
    tried = (neck, neck + (length(neck) - room) / steep, s - 2 * (room - BAND_MM - OUTSIDE_MM) / steep)
    fits = [n for n in tried if neck <= n < t and length(n) <= room + 1e-9]
    if not fits:
        return None
    n = fits[0]
    outside = max(OUTSIDE_MM, (t - n) / 2 * steep)
    back = np.array([length(n), outside + BAND_MM, outside])
    return surface - back[:, None] * way / np.linalg.norm(way), np.array([s, n, n])
