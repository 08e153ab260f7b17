"""Posts and gates as they are cut: their line, where it is free of the metal at both ends, how thick it is there."""

from dataclasses import dataclass
from math import pi

import numpy as np

from ..solid.mesh import Body, FloatArray, IntArray, Mesh
from .lattice import Strut
from .piercing import pierced

# The corners (m, 3, 3) of a mesh's triangles and the least and greatest of each.
Corners = tuple[FloatArray, FloatArray, FloatArray]

SAME_MM = 1e-6
# Places along a piece at which its distance from what it stands on is taken; between them it is drawn straight.
LOOKS = 64
# A section's corners lie within so many radii of the axis; what lies further belongs to another stretch of the strut.
SECTION_RADII = 1.6
# A section that fills this share of the round about it is that round, drawn with corners: 16 of them fill 0.974.
ROUND = 0.97


@dataclass(frozen=True, slots=True, eq=False)
class Piece:
    """A post or a gate: its ``line`` (k + 1, 3) from the feed, its solid, its last strut, and the body it feeds.

    ``solid`` and ``strut`` number those of the lattice. ``foot_mm`` and ``top_mm`` are the lengths along the line
    between which it is free: of a gate from its ring's metal to its link's. ``stands`` and ``held`` tell whether its
    beginning and its end are in other metal at all; ``on`` is the number of the solid it stands on, -1 for none.
    ``widest_mm`` is its largest diameter.
    """

    line: FloatArray
    solid: int
    strut: int
    feeds: str | None
    foot_mm: float
    top_mm: float
    stands: bool
    held: bool
    on: int
    widest_mm: float

    def at(self, walked_mm: float) -> tuple[int, float]:
        """Give on which straight stretch of the line a length along it falls, and how far along that."""
        begin = walked(self.line)[:-1]
        k = int(np.clip(np.searchsorted(begin, walked_mm, side="right") - 1, 0, len(begin) - 1))
        return k, walked_mm - float(begin[k])

    def frame(self, stretch: int) -> FloatArray:
        """Give two directions square to a straight stretch and its own, as rows (3, 3)."""
        ahead = self.line[stretch + 1] - self.line[stretch]
        ahead = ahead / np.linalg.norm(ahead)
        # The axis that lies flattest to it, less what of it runs along.
        across = -ahead[least := int(np.abs(ahead).argmin())] * ahead
        across[least] += 1.0
        across /= np.linalg.norm(across)
        return np.stack((across, np.cross(ahead, across), ahead))


@dataclass(frozen=True, slots=True, eq=False)
class Rows:
    """What posts and gates stand on: straight pieces (m, 3), radii at both ends and the number of the solid (m,)."""

    start: FloatArray
    end: FloatArray
    r_start: FloatArray
    r_end: FloatArray
    solid: IntArray

    def depth(self, places: FloatArray) -> FloatArray:
        """Give how far outside each piece each place (p, 3) lies, (p, m); inside it is negative."""
        way = self.end - self.start
        square = np.maximum((way**2).sum(axis=1), 1e-300)
        rel = places[:, None] - self.start[None]
        t = np.clip((rel * way).sum(axis=2) / square, 0.0, 1.0)
        away = np.linalg.norm(rel - t[..., None] * way, axis=2)
        return np.asarray(away - self.r_start - t * (self.r_end - self.r_start))

    def take(self, rows: IntArray) -> "Rows":
        """Give some of the pieces."""
        return Rows(self.start[rows], self.end[rows], self.r_start[rows], self.r_end[rows], self.solid[rows])


def runs(struts: tuple[Strut, ...]) -> list[list[int]]:
    """Part the struts of a solid into runs that each go on where the one before ended.

    A run ends at a strut that feeds a body; a strut of no length is left out.
    """
    found: list[list[int]] = []
    for k, strut in enumerate(struts):
        if strut.length_mm <= SAME_MM:
            continue
        last = struts[found[-1][-1]] if found else None
        if last is not None and last.feeds is None and np.allclose(last.end, strut.start, rtol=0.0, atol=SAME_MM):
            found[-1].append(k)
        else:
            found.append([k])
    return found


def line_of(struts: list[Strut]) -> FloatArray:
    """Give the line (k + 1, 3) of a run."""
    return np.array([s.start for s in struts] + [struts[-1].end], dtype=np.float64)


def walked(line: FloatArray) -> FloatArray:
    """Give the length walked to each place of a line (k, 3)."""
    return np.concatenate(([0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))))


def surface_mm(line: FloatArray, body: Body | None, known: dict[int, Corners]) -> float:
    """Give how far along a gate's line the body's metal begins; the line's whole length where it never does.

    ``known`` keeps the corners of meshes that copies share.
    """
    at = walked(line)
    if body is None:
        return float(at[-1])
    if id(body.mesh) not in known:
        corners = body.mesh.corners()
        known[id(body.mesh)] = (corners, corners.min(axis=1), corners.max(axis=1))
    corners, least, most = known[id(body.mesh)]
    local = (line - body.pose.origin) @ body.pose.rotation
    low, high = local.min(axis=0) - SAME_MM, local.max(axis=0) + SAME_MM
    corners = corners[((least <= high) & (most >= low)).all(axis=1)]
    for k in range(len(local) - 2, -1, -1):
        way = local[k + 1] - local[k]
        length = float(np.linalg.norm(way))
        met = pierced(corners, local[k], way / length)
        met = met[met <= length]
        if len(met):
            return float(at[k] + met[0])
    return float(at[-1])


def free_lengths(line: FloatArray, rows: Rows) -> tuple[float, float, int, int]:
    """Give between which lengths a line is clear of the rods in ``rows``, and in which solid each end lies.

    An end in none reads -1. Rods it meets on the way count to the end they are nearer to.
    """
    at = walked(line)
    look = np.linspace(0.0, at[-1], LOOKS + 1)
    places = np.stack([np.interp(look, at, line[:, k]) for k in range(3)], axis=1)
    middle = (line.min(axis=0) + line.max(axis=0)) / 2
    reach = np.linalg.norm(line.max(axis=0) - line.min(axis=0)) / 2
    near = rows.take(np.flatnonzero(rows.depth(middle[None])[0] < reach))
    if not len(near.solid):
        return 0.0, float(at[-1]), -1, -1
    gap = near.depth(places)
    out, who = gap.min(axis=1), gap.argmin(axis=1)
    inside = out <= 0.0
    half = LOOKS // 2
    low, high = 0.0, float(at[-1])
    before, after = np.flatnonzero(inside[:half]), half + np.flatnonzero(inside[half:])
    on, under = -1, -1
    if len(before):
        k = int(before[-1])
        on = int(near.solid[who[k]])
        low = float(look[k] + _share(out[k], out[k + 1]) * (look[k + 1] - look[k]))
    if len(after):
        k = int(after[0])
        under = int(near.solid[who[k]])
        high = float(look[k] - _share(out[k], out[k - 1]) * (look[k] - look[k - 1]))
    return low, max(low, high), on, under


def section_of(mesh: Mesh, at: FloatArray, ahead: FloatArray, widest_mm: float) -> tuple[float, float]:
    """Give a strut's section square to ``ahead``: the diameter of the round about the axis that holds it, and its area.

    Both are 0 where there is none. A fillet's section is no round, so its area is less than that of the round.
    """
    height = (mesh.points - at) @ ahead
    sign = height[mesh.triangles] >= 0.0
    cut = mesh.triangles[sign.any(axis=1) & ~sign.all(axis=1)]
    edges = np.concatenate((cut[:, [0, 1]], cut[:, [1, 2]], cut[:, [2, 0]]))
    h = height[edges]
    edges, h = edges[(h[:, 0] >= 0.0) != (h[:, 1] >= 0.0)], h[(h[:, 0] >= 0.0) != (h[:, 1] >= 0.0)]
    if not len(edges):
        return 0.0, 0.0
    share = (h[:, 0] / (h[:, 0] - h[:, 1]))[:, None]
    points = mesh.points[edges[:, 0]] * (1 - share) + mesh.points[edges[:, 1]] * share
    off = points - at
    away = np.linalg.norm(off, axis=1)
    off, away = off[away <= SECTION_RADII * widest_mm / 2], away[away <= SECTION_RADII * widest_mm / 2]
    if not len(away):
        return 0.0, 0.0
    side = off[int(away.argmax())] / away.max()
    across, up = off @ side, off @ np.cross(ahead, side)
    order = np.argsort(np.arctan2(up, across), kind="stable")
    x, y = across[order], up[order]
    area, r = float((x * np.roll(y, -1) - np.roll(x, -1) * y).sum()) / 2, float(away.max())
    return 2 * r, pi * r**2 if area >= ROUND * pi * r**2 else area


def _share(inside: float, outside: float) -> float:
    """Give where between a place inside (0) and one outside (1) the surface lies."""
    return min(1.0, float(-inside / (outside - inside))) if outside > inside else 1.0
