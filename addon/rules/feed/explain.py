"""Why a gate stands where it does: the score of the place it enters, in words."""

from collections.abc import Sequence

import numpy as np

from ..solid.feet import feet
from ..solid.mesh import Body, FloatArray
from .anchors import places_of, thickness_mm
from .lattice import LatticeSolid, Strut
from .piercing import pierced
from .score import Places, Score, Setting, scored, setting
from .spec import FeedSpec

# A gate that enters within the thickness of the metal from a start, or this near, holds it.
LEAST_MM = 1.0
UPRIGHT, MIRROR = np.ones(3), np.array([1.0, 1.0, -1.0])


def explain(bodies: Sequence[Body], gate: LatticeSolid, spec: FeedSpec) -> tuple[str, ...]:
    """Give short lines about the place where a gate enters, whoever led it there: planned, moved or added by hand."""
    scores = gate_scores(bodies, (gate,), spec)
    if scores[0] is None:
        name = gate.feeds if gate.feeds is not None else "any link"
        return (f"this gate does not end in the metal of {name}",)
    return scores[0].words()


def gate_scores(bodies: Sequence[Body], gates: Sequence[LatticeSolid], spec: FeedSpec) -> tuple[Score | None, ...]:
    """Give the scores of many gates; None for what is no gate or does not enter the body that it feeds."""
    number = {body.name: k for k, body in enumerate(bodies)}
    known: dict[bool, Setting] = {}
    found: list[Score | None] = []
    for gate in gates:
        tip = next((s for s in gate.struts if s.feeds is not None), None)
        if tip is None or tip.feeds not in number:
            found.append(None)
            continue
        if gate.above not in known:
            known[gate.above] = setting(bodies, spec, MIRROR if gate.above else UPRIGHT)
        found.append(_scored(number[tip.feeds], tip, known[gate.above]))
    return tuple(found)


def _scored(k: int, tip: Strut, at: Setting) -> Score | None:
    body = at.bodies[k]
    corners = body.points()[body.mesh.triangles]
    met = entry(corners, tip)
    if met is None:
        return None
    surface, ahead, thick = met
    if body.wire is not None:
        thick = 2 * body.wire.radius_mm
    else:
        thick = float(thickness_mm(corners, (surface + thick / 2 * ahead)[None], np.array([thick]))[0])
    places, thickest = places_of(body, k, at.view)
    seen = surface * at.view
    away = np.linalg.norm(places.surface - seen, axis=1)
    place = Places(
        np.array([k]),
        seen[None],
        (_facing(corners, surface) * at.view)[None],
        np.array([min(thick, thickest)]),
        places.flat[away.argmin()][None],
        np.array([bool((away[places.starts] <= max(thickest, LEAST_MM)).any())]),
    )
    limits = np.zeros(len(at.bodies))
    limits[k] = thickest
    return scored(place, at, limits).one(0, at)


def entry(corners: FloatArray, tip: Strut) -> tuple[FloatArray, FloatArray, float] | None:
    """Give where the axis of a tip enters a body (m, 3, 3), (3,), its unit direction, and how far metal goes on, mm.

    None where it does not end in the metal.
    """
    start, end = np.array(tip.start), np.array(tip.end)
    length = float(np.linalg.norm(end - start))
    if length == 0.0:
        return None
    ahead = (end - start) / length
    cuts = pierced(corners, start, ahead)
    before = int(np.searchsorted(cuts, length, side="right"))
    if before % 2 == 0 or before == len(cuts):
        return None
    return start + cuts[before - 1] * ahead, ahead, float(cuts[before] - cuts[before - 1])


def _facing(corners: FloatArray, place: FloatArray) -> FloatArray:
    """Give the unit normal of the facet (m, 3, 3) nearest to a place (3,)."""
    square, _ = feet(np.moveaxis(corners, 0, -1), np.broadcast_to(place[:, None], (3, len(corners))))
    a, b, c = corners[int(square.argmin())]
    normal = np.cross(b - a, c - a)
    return np.asarray(normal / max(float(np.linalg.norm(normal)), 1e-300))
