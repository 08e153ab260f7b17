"""The mesh of a link: its section swept along the closed centreline, one outline at every station.

Every outline is a polygon inscribed in the section, and where the wire bends inward its corners are drawn in a little,
so that every facet lies inside the smooth wire: a gap between meshes is never smaller than the gap between the wires
they stand for. The metal volume comes out low by the inscribed share, about 1 % at the default tolerance, and
approaches Pappus's figure as the tolerance shrinks.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..solid.mesh import FloatArray, IntArray, Mesh, Wire
from .facets import corners_around, cut_outlines
from .facets import stations as cut_stations
from .frames import rotation_minimising, square_to, unit
from .link import Link, even_parameters
from .outline import TOUCHING_MM, Outline, outline, outside_either_mm, outside_mm
from .stud import studded

LOOK = 256
# Whole round wire settles at once; corners and diagonals pull at each other.
DRAW_IN_PASSES = 6
# What this leaves, by the tolerance: an edge whose bend changes along it stands out most a little off its middle.
ROUNDING = 0.002
# Corners around an outline whose way along the loop is looked at for its bends.
FIBRES = 12
# Links swept at once: few enough that their tables stay in a core's own cache.
TOGETHER = 12


@dataclass(frozen=True, slots=True, eq=False)
class Places:
    """Where k links are swept through, n places each: arrays (k, n, 3).

    ``centre`` with its first and second derivative by the parameter, ``out`` from the inside of the loop to its outside
    and ``side`` square to it.
    """

    centre: FloatArray
    first: FloatArray
    second: FloatArray
    out: FloatArray
    side: FloatArray

    def axes(self) -> FloatArray:
        """Give tangent, out and side as rows, (k, n, 3, 3)."""
        return np.stack((np.cross(self.side, self.out), self.out, self.side), axis=2)

    def every_other(self, start: int) -> "Places":
        """Give every second place."""
        arrays = (self.centre, self.first, self.second, self.out, self.side)
        return Places(*(array[:, start::2] for array in arrays))


@dataclass(frozen=True, slots=True, eq=False)
class _Plan:
    """How finely a link is swept: the stations' parameters (n,), corners of an outline, and it unless round."""

    t: FloatArray
    around: int
    drawn: Outline | None


def meshes_of(links: Sequence[Link], chord_mm: float) -> list[tuple[Mesh, Wire | None]]:
    """Make the meshes of several kinds of links, in order, no facet further than ``chord_mm`` inside the true surface.

    The tolerance is shared: half is spent around the section, half along the centreline. Every mesh is one closed
    shell, its faces look outward; every quad is split along the same diagonal. A `Wire` comes with plain links only; an
    own mesh comes as it is. Links of equal resolution are swept together.
    """
    made: dict[int, tuple[Mesh, Wire | None]] = {}
    plans: dict[int, _Plan] = {}
    groups: dict[tuple[int, int, str, bool], list[int]] = {}
    for k, link in enumerate(links):
        if link.own is not None:
            made[k] = link.own, None
            continue
        plans[k] = plan = _plan(link, chord_mm)
        groups.setdefault((len(plan.t), plan.around, link.section.kind, link.section.flat_mm is None), []).append(k)
    for (along, around, _, _), members in groups.items():
        triangles = grid_triangles(along, around)
        triangles.flags.writeable = False
        for start in range(0, len(members), TOGETHER):
            some = members[start : start + TOGETHER]
            points, centres = _swept([links[k] for k in some], [plans[k] for k in some], chord_mm)
            for k, grid, centre in zip(some, points, centres, strict=True):
                made[k] = _finished(links[k], grid, centre, triangles)
    return [made[k] for k in range(len(links))]


def sweep(link: Link, chord_mm: float) -> tuple[Mesh, Wire | None]:
    """Make the mesh of one link, as `meshes_of` does."""
    return meshes_of((link,), chord_mm)[0]


def resolution(link: Link, chord_mm: float) -> tuple[int, int]:
    """Choose how many steps along and around keep the chord tolerance, with facets about square. Both are even."""
    plan = _plan(link, chord_mm)
    return len(plan.t), plan.around


def _plan(link: Link, chord_mm: float) -> _Plan:
    r = link.section.thick_mm / 2
    circle = _even(np.pi / np.arccos(max(1 - chord_mm / 2 / r, 0.0)), least=8)
    _, first, second = link.curve(even_parameters(LOOK))
    speed = np.sqrt(_dot(first, first))
    if link.section.kind == "round":
        # Curvature |p' x p''| / |p'|^3.
        bent = np.sqrt(np.maximum(_dot(second, second) - (_dot(first, second) / speed) ** 2, 0.0)) / speed**2
        around, drawn = circle, None
        # Sagitta of the outermost fibre over a parameter step h: (1/k + r)(1 - cos(k v h / 2)), or
        # (1 + k r) k (v h)^2 / 8.
        steepest = float(((1 + bent * r) * bent * speed**2).max())
    else:
        drawn = outline(link.section, chord_mm / 2)
        steepest, around = _steepest(link, drawn.points), len(drawn.points)
    finest = np.sqrt(8 * chord_mm / 2 / steepest)
    girth = float(speed.mean()) * 2 * np.pi
    along = _even(max(2 * np.pi / finest, girth / (2 * np.pi * r / circle)), least=16)
    if link.section.flat_mm is None:
        return _Plan(even_parameters(along), around, drawn)
    t = cut_stations(link.curve, link.wire_mm, link.section.flat_mm, along, circle)
    return _Plan(t, corners_around(circle), drawn)


def grid_triangles(along: int, around: int) -> IntArray:
    """Give the triangles (2 along around, 3) of a grid of points closed both ways, stations first."""
    here = np.arange(along)[:, None] * around
    there = np.roll(here, -1, axis=0)
    now = np.arange(around)[None, :]
    then = np.roll(now, -1, axis=1)
    a, b, c, d = here + now, there + now, there + then, here + then
    return np.asarray(np.stack((a, b, c, a, c, d), axis=-1).reshape(-1, 3), dtype=np.int64)


def places(links: Sequence[Link], t: FloatArray) -> Places:
    """Give the places of k links at parameters t (k, n) that go once round."""
    drawn = [link.curve(t[k]) for k, link in enumerate(links)]
    centre, first, second = (np.stack([each[i] for each in drawn]) for i in range(3))
    tangent = unit(first)
    side = np.empty_like(centre)
    for k, link in enumerate(links):
        if link.normal is None:
            side[k] = rotation_minimising(centre[k], tangent[k], square_to(tangent[k, :1])[0], closed=True)
        else:
            side[k] = link.normal(t[k])
    side = unit(side - np.einsum("kni,kni->kn", side, tangent)[..., None] * tangent)
    return Places(centre, first, second, np.cross(tangent, side), side)


def _even(count: float, *, least: int) -> int:
    return max(least, 4 * int(np.ceil(count / 4 - 1e-9)))


def _steepest(link: Link, corners: FloatArray) -> float:
    """Give the greatest second derivative by the parameter, square to the way, of the fibres through corners (m, 2)."""
    t = even_parameters(LOOK)
    at = places((link,), t[None])
    q = corners[:: max(1, len(corners) // FIBRES)]
    way = at.centre[0, :, None] + q[:, :1] * at.out[0, :, None] + q[:, 1:] * at.side[0, :, None]
    ahead, behind = np.roll(way, -1, axis=0), np.roll(way, 1, axis=0)
    along = unit(ahead - behind)
    turn = (ahead - 2 * way + behind) / t[1] ** 2
    turn -= (turn * along).sum(axis=-1)[..., None] * along
    return float(np.sqrt((turn**2).sum(axis=-1)).max())


@dataclass(frozen=True, slots=True, eq=False)
class _Sections:
    """The outlines of k links at n stations: corners (k, 1, m, 2) and their normals, or circles cut by two planes.

    ``radius`` (k, 1, 1) half the wire, ``planes`` the distances (k, n) of the planes from the centre, up and down.
    """

    links: tuple[Link, ...]
    radius: FloatArray
    points: FloatArray
    normals: FloatArray
    planes: tuple[FloatArray, FloatArray] | None

    @property
    def plain(self) -> bool:
        """Tell whether the wire is a whole round one."""
        return self.links[0].section.round

    def corners(self, drawn: FloatArray) -> FloatArray:
        """Give the corners (k, n, m, 2), each drawn in by ``drawn`` (k, n, m) mm."""
        if self.planes is not None:
            return cut_outlines(self.radius - drawn, self.radius[:, 0, 0], *self.planes)
        return self.points - drawn[..., None] * self.normals

    def outside(self, x: FloatArray, y: FloatArray, *, along: bool) -> FloatArray:
        """Give how far section coordinates (k, n, m) lie outside, 0 where inside.

        ``along``: they belong to edges along the loop. Those along a notch must lie in both strands, for the facets of
        both begin there.
        """
        section = self.links[0].section
        if section.kind == "round":
            return np.maximum(np.hypot(x, y) - self.radius, 0.0)
        out = np.stack([outside_mm(link.section, x[k], y[k]) for k, link in enumerate(self.links)])
        if along and section.kind == "double":
            notch = np.abs(self.points[0, 0, :, 1]) < TOUCHING_MM
            for k, link in enumerate(self.links):
                out[k][:, notch] = outside_either_mm(link.section, x[k][:, notch], y[k][:, notch])
        return np.maximum(out, 0.0)


def _sections(links: Sequence[Link], plans: Sequence[_Plan], at: Places) -> _Sections:
    radius = np.array([link.section.thick_mm / 2 for link in links])[:, None, None]
    planes = None
    drawn = [plan.drawn for plan in plans if plan.drawn is not None]
    if drawn:
        points, normals = (np.stack([getattr(o, name) for o in drawn])[:, None] for name in ("points", "normals"))
    else:
        angle = even_parameters(plans[0].around)
        normals = np.stack((np.cos(angle), np.sin(angle)), axis=1)[None, None]
        points = radius[..., None] * normals
        if links[0].section.flat_mm is not None:
            flat = np.array([[link.section.flat_mm] for link in links], dtype=np.float64)
            planes = (flat - at.centre[..., 2]) / at.side[..., 2], (flat + at.centre[..., 2]) / at.side[..., 2]
    return _Sections(tuple(links), radius, points, normals, planes)


def _swept(links: Sequence[Link], plans: Sequence[_Plan], chord_mm: float) -> tuple[FloatArray, FloatArray]:
    """Sweep k links of equal resolution: points (k, n, m, 3) and centrelines (k, n, 3)."""
    t = np.stack([plan.t for plan in plans])
    after = np.roll(t, -1, axis=1)
    after[:, -1] += 2 * np.pi
    both = places(links, np.stack((t, (t + after) / 2), axis=2).reshape(len(links), -1))
    at, between = both.every_other(0), both.every_other(1)
    sections = _sections(links, plans, at)
    drawn = np.zeros((*t.shape, plans[0].around))
    for _ in range(1 if sections.plain else DRAW_IN_PASSES):
        out = _standing_out(sections, sections.corners(drawn), at, between, after - t)
        drawn += out
        if out.max() < ROUNDING * chord_mm / 2:
            break
    drawn += ROUNDING * chord_mm
    across = np.stack((at.out, at.side), axis=2)
    return at.centre[:, :, None] + sections.corners(drawn) @ across, at.centre


def _standing_out(sections: _Sections, q: FloatArray, at: Places, between: Places, steps: FloatArray) -> FloatArray:
    """Measure how far the middles of edges stand out of the true wire, as a share of each corner, (k, n, m) mm.

    Edges along the loop, and where the section is not plainly round the diagonals (of a round wire those lie deeper).
    ``q`` (k, n, m, 2) the corners, ``steps`` (k, n) from station to station by the parameter.
    """
    middle = between.axes().transpose(0, 1, 3, 2)
    across = np.stack((at.out, at.side), axis=2) / 2
    base = ((at.centre + np.roll(at.centre, -1, axis=1)) / 2 - between.centre)[:, :, None] @ middle
    here, there = across @ middle, np.roll(across, -1, axis=1) @ middle
    if sections.plain:
        # All outlines are alike, so that both ends of an edge are one corner in two places.
        out = sections.outside(*_in_section(sections, q @ (here + there) + base, at, between, steps), along=True)
        return np.maximum(out, np.roll(out, 1, axis=1))
    start, end = q @ here + base, np.roll(q, -1, axis=1) @ there
    out = sections.outside(*_in_section(sections, start + end, at, between, steps), along=True)
    share = np.maximum(out, np.roll(out, 1, axis=1))
    diagonal = _in_section(sections, start + np.roll(end, -1, axis=2), at, between, steps)
    out = sections.outside(*diagonal, along=False)
    return np.maximum(share, np.maximum(out, np.roll(out, (1, 1), axis=(1, 2))))


def _in_section(
    sections: _Sections, x: FloatArray, at: Places, between: Places, steps: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Give the section coordinates (k, n, m) of points (k, n, m, 3) along, out and sideways of the halfway places.

    A point a little ahead of a halfway place belongs to a section as much further on: to the second order its distance
    from the centreline falls by the bend, and its section is turned by the twist on the way.
    """
    squared = _dot(between.first, between.first)[..., None]
    bent_out = _dot(between.second, between.out)[..., None]
    bent_side = _dot(between.second, between.side)[..., None]
    ahead, out, side = x[..., 0], x[..., 1], x[..., 2]
    off = out * bent_out + side * bent_side
    bowl = squared - off
    scale = np.sqrt(np.maximum(1 - ahead**2 * off / (bowl * (out**2 + side**2)), 0.0))
    if sections.plain:
        return out * scale, side * scale
    turn = (np.roll(at.out, -1, axis=1) - at.out) / steps[..., None]
    twist = ahead * np.sqrt(squared) / bowl * _dot(turn, between.side)[..., None]
    return (out + twist * side) * scale, (side - twist * out) * scale


def _dot(a: FloatArray, b: FloatArray) -> FloatArray:
    return np.asarray(np.einsum("...i,...i->...", a, b))


def _finished(link: Link, grid: FloatArray, centre: FloatArray, triangles: IntArray) -> tuple[Mesh, Wire | None]:
    mesh = Mesh(grid.reshape(-1, 3), triangles) if link.stud_mm is None else studded(link, grid, triangles)
    for array in (mesh.points, mesh.triangles, centre):
        array.flags.writeable = False
    return mesh, Wire(centre, link.wire_mm / 2) if link.plain else None
