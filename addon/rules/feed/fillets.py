"""Fillets where gates and posts stand on rings: the round that a ball leaves which rolls in the corner between them.

A sharp inner corner of the mould is a thin edge of investment, which breaks off, and a hot spot of the metal: common
practice, no published source. A fillet is drawn in a few steps round the foot of a rod, and only as large as the strut
web to its neighbours allows.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..inspect.finding import Finding
from ..solid.mesh import FloatArray
from .lattice import NODE_MM, LatticeSolid, Place, Strut, place
from .rods import skin
from .rolling import turned
from .sections import corners_round
from .skeletons import between, boxes_meet

# The foot of a fillet lies this deep in the ring.
SUNK_MM = 0.06
# A fillet takes up at most this share of the straight piece it stands on; a smaller one is not worth drawing.
SHARE = 0.6
LEAST_MM = 0.1
# A rod as thick as its ring leaves the ball no room at its flanks: there the ring counts as this much thicker.
THINNER = 1.04
STANDING = ("gate", "post")
RINGS = ("ring", "upper")


@dataclass(frozen=True, slots=True, eq=False)
class _Corner:
    """Where a rod of radius ``r_mm`` leaves a ring: its first point and unit direction (3,), how far it runs straight.

    The ring's axis there is a point and a unit direction (3,), its radius ``ring_mm``.
    """

    foot: FloatArray
    way: FloatArray
    run_mm: float
    r_mm: float
    on_ring: FloatArray
    along: FloatArray
    ring_mm: float

    @property
    def spread(self) -> float:
        """Give how far out of the rod a fillet may reach, as a multiple of its radius: more on the side it leans to."""
        return 1.0 + abs(float(self.way @ self.along))


def with_fillets(
    solids: Sequence[LatticeSolid], fillet_mm: float, web_mm: float
) -> tuple[tuple[LatticeSolid, ...], tuple[Finding, ...]]:
    """Give gates and posts their fillets where they stand on rings, and tell where there is room only for smaller ones.

    Between two fillets ``web_mm`` is kept, as far as it was there without them.
    """
    if fillet_mm <= 0.0:
        return tuple(solids), ()
    ends = [(k, last) for k, s in enumerate(solids) if s.role in STANDING for last in (False, True)]
    corners = _corners(solids, ends)
    ends = [end for end, corner in zip(ends, corners, strict=True) if corner is not None]
    found = [corner for corner in corners if corner is not None]
    room = _rooms(solids, ends, found, fillet_mm, web_mm)
    filleted, drawn = list(solids), []
    for (k, last), corner, radius in zip(ends, found, room.tolist(), strict=True):
        made = _filleted(filleted[k], corner, radius, last=last) if radius >= LEAST_MM else None
        drawn.append(0.0 if made is None else radius)
        if made is not None:
            filleted[k] = made
    return tuple(filleted), _told(found, np.array(drawn), fillet_mm, web_mm)


def _corners(solids: Sequence[LatticeSolid], ends: Sequence[tuple[int, bool]]) -> list[_Corner | None]:
    """Find the ring that each end stands in; None where an end, a tip for one, stands in none."""
    pieces = [strut for s in solids if s.role in RINGS for strut in s.struts]
    if not pieces:
        return [None] * len(ends)
    start, stop = np.array([p.start for p in pieces]), np.array([p.end for p in pieces])
    radius = np.array([max(p.d_start_mm, p.d_end_mm) for p in pieces]) / 2
    corners: list[_Corner | None] = []
    for k, last in ends:
        strut = solids[k].struts[-1 if last else 0]
        foot, other = np.array(strut.end if last else strut.start), np.array(strut.start if last else strut.end)
        r = (strut.d_end_mm if last else strut.d_start_mm) / 2
        away = between(*(np.broadcast_to(foot, start.shape),) * 2, start, stop) - radius
        near = int(away.argmin())
        run = float(np.linalg.norm(other - foot))
        if strut.feeds is not None or away[near] > -radius[near] / 2 or r > radius[near] * (1 + 1e-9):
            corners.append(None)
            continue
        along = stop[near] - start[near]
        along = along / np.linalg.norm(along)
        corners.append(_Corner(foot, (other - foot) / run, run, r, start[near], along, float(radius[near])))
    return corners


def _rooms(
    solids: Sequence[LatticeSolid],
    ends: Sequence[tuple[int, bool]],
    corners: Sequence[_Corner],
    fillet_mm: float,
    web_mm: float,
) -> FloatArray:
    """Give the largest fillet of every corner, (c,): half of what its neighbours leave over the web, else 0."""
    if not corners:
        return np.zeros(0)
    pieces = [(k, strut) for k, s in enumerate(solids) if s.role not in RINGS for strut in s.struts]
    owner = np.array([k for k, _ in pieces])
    start, stop = np.array([s.start for _, s in pieces]), np.array([s.end for _, s in pieces])
    radius = np.array([max(s.d_start_mm, s.d_end_mm) for _, s in pieces]) / 2
    outer = np.array([(solids[k].struts[0].start, solids[k].struts[-1].end) for k in range(len(solids))])
    foot = np.array([c.foot for c in corners])
    high = np.array([min(c.run_mm, c.ring_mm + 2 * c.r_mm + fillet_mm) for c in corners])
    top = foot + high[:, None] * np.array([c.way for c in corners])
    thick = np.array([c.r_mm for c in corners])
    out = np.array([c.spread for c in corners])
    spread = (thick + web_mm + 2 * out * fillet_mm)[:, None]
    c, p = boxes_meet(
        np.minimum(foot, top) - spread,
        np.maximum(foot, top) + spread,
        np.minimum(start, stop) - radius[:, None],
        np.maximum(start, stop) + radius[:, None],
    )
    mine = np.array([k for k, _ in ends])
    apart = np.linalg.norm(outer[owner[p]] - foot[c][:, None], axis=2).min(axis=1) > NODE_MM
    kept = (owner[p] != mine[c]) & apart
    c, p = c[kept], p[kept]
    gap = between(foot[c], top[c], start[p], stop[p]) - thick[c] - radius[p]
    room = np.array([min(fillet_mm, SHARE * k.run_mm) for k in corners])
    np.minimum.at(room, c, np.maximum(0.0, (gap - web_mm) / 2 / out[c]))
    return room


def _filleted(solid: LatticeSolid, corner: _Corner, fillet_mm: float, *, last: bool) -> LatticeSolid | None:
    """Draw a solid with a fillet at one end; None where the ball finds no place in the corner."""
    count = corners_round(max(max(s.d_start_mm, s.d_end_mm) for s in _plain(solid.struts, corner)))
    if len(solid.mesh.points) % count:
        return None
    rings = solid.mesh.points.reshape(-1, count, 3)
    rings = rings[::-1] if last else rings
    out = (rings[0] - corner.foot) / corner.r_mm
    centre = corner.foot + (corner.r_mm + fillet_mm) * out
    # Where a ball beside the rod touches the ring too: a quadratic for how far along the rod its middle lies.
    square = np.eye(3) - np.outer(corner.along, corner.along)
    q, g = (centre - corner.on_ring) @ square, square @ corner.way
    reach = max(corner.ring_mm, THINNER * corner.r_mm) + fillet_mm
    a, b, c = float(g @ g), 2 * q @ g, (q * q).sum(axis=1) - reach**2
    inside = b * b - 4 * a * c
    if a < 0.05 or inside.min() <= 0.0:
        return None
    walked = (-b + np.sqrt(inside)) / (2 * a)
    if walked.min() <= 0.0 or walked.max() > SHARE * corner.run_mm:
        return None
    centre = centre + walked[:, None] * corner.way
    down = (q + walked[:, None] * g) / reach
    arc = centre + fillet_mm * turned(-down, -out)
    sunk = centre - (reach - corner.ring_mm + SUNK_MM) * down
    skinned = np.concatenate((rings[:1], sunk[None], arc, rings[1:]))
    mesh = skin(skinned[::-1] if last else skinned, closed=False)
    foot = sunk - corner.foot
    along = foot @ corner.way
    wide = np.linalg.norm(foot - np.maximum(along, 0.0)[:, None] * corner.way, axis=1).max()
    spots = [place(corner.foot + x * corner.way) for x in (float(along.max()), float(walked.max()))]
    return replace(solid, mesh=mesh, struts=_held(solid.struts, corner, spots, 2 * float(wide), last=last))


def _plain(struts: tuple[Strut, ...], corner: _Corner) -> list[Strut]:
    """Give the struts that are no wider than the rod at a corner: all but those of another fillet."""
    return [s for s in struts if max(s.d_start_mm, s.d_end_mm) <= 2 * corner.r_mm + 1e-9] or list(struts)


def _held(
    struts: tuple[Strut, ...], corner: _Corner, spots: Sequence[Place], wide: float, *, last: bool
) -> tuple[Strut, ...]:
    """Cut the piece at a corner so that round cones hold the fillet.

    ``spots`` are where it leaves the ring and where it ends on the rod, ``wide`` is its diameter at the ring.
    """
    piece, d = struts[-1 if last else 0], 2 * corner.r_mm
    low, high = spots
    if last:
        cut = (
            replace(piece, end=high, d_end_mm=d),
            replace(piece, start=high, end=low, d_start_mm=d, d_end_mm=wide),
            replace(piece, start=low, d_start_mm=wide, d_end_mm=wide),
        )
        return (*struts[:-1], *cut)
    cut = (
        replace(piece, end=low, d_start_mm=wide, d_end_mm=wide),
        replace(piece, start=low, end=high, d_start_mm=wide, d_end_mm=d),
        replace(piece, start=high, d_start_mm=d),
    )
    return (*cut, *struts[1:])


def _told(corners: Sequence[_Corner], drawn: FloatArray, fillet_mm: float, web_mm: float) -> tuple[Finding, ...]:
    small = np.flatnonzero(drawn < 0.99 * fillet_mm)
    if not len(small):
        return ()
    least = int(small[drawn[small].argmin()])
    text = (
        f"feed.fillet_mm: {len(small)} of {len(corners)} fillets are smaller than {fillet_mm:g} mm, down to "
        f"{drawn[least]:.2f} mm, so that {web_mm:g} mm of investment stay between struts; "
        f"{2 * (fillet_mm - drawn[least]):.2f} mm more between gates and posts would make room"
    )
    at = place(corners[least].foot)
    return (Finding("strut-near", "note", (), text, at=at, value=float(drawn[least]), limit=fillet_mm),)
