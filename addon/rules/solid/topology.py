"""What is true of a mesh as a surface (closed, genus, which way it looks), and the bodies it holds."""

from dataclasses import dataclass

import numpy as np

from ..base.progress import Steps, finish, part
from .edges import BoolArray
from .measure import normals
from .mesh import FloatArray, IntArray, Mesh
from .shells import Shells, shells_of
from .sorting import stable_order
from .weld import weld

__all__ = ["MeshFacts", "bodies_of", "facts", "finding_bodies", "finding_facts", "weld"]

# Triangles measured at a time.
_TRIANGLES = 1 << 16


@dataclass(frozen=True, slots=True, eq=False)
class MeshFacts:
    """What is true of a mesh. Each ``*_at`` is one place (3,) in mm where the thing is found, or None.

    ``closed``: every edge of every shell has its mate. ``genus``: handles, summed over the shells; None unless all are
    closed and evenly wound. ``shells``: how many; ``cavities``: those of them that are hollows in another.
    ``open_edges``: edges with a face on one side only.
    ``non_manifold_edges``: edges with more than two faces; they can still be closed (two tetrahedra on one edge).
    ``inside_out``: some face looks inward, either because a shell that lies in no other has negative volume, or because
    of ``turned_edges``, edges whose two faces run the same way. ``doubled_faces``: triangles on the same three points
    as an earlier one, turned either way. ``zero_area``: triangles no wider than the rounding of their coordinates.
    ``volume_mm3``: signed, and unlike that of `measure` right where faces are doubled.

    Doubled faces that bound nothing by themselves and triangles with two corners at one place are counted only in those
    last two: they neither open a mesh nor make its edges non-manifold.
    """

    closed: bool
    genus: int | None
    shells: int
    cavities: int
    cavity_at: FloatArray | None
    open_edges: int
    open_at: FloatArray | None
    non_manifold_edges: int
    non_manifold_at: FloatArray | None
    inside_out: bool
    inside_out_at: FloatArray | None
    turned_edges: int
    turned_at: FloatArray | None
    doubled_faces: int
    doubled_at: FloatArray | None
    zero_area: int
    zero_area_at: FloatArray | None
    volume_mm3: float


def facts(mesh: Mesh) -> MeshFacts:
    """Find what is true of a mesh as a surface. Points with equal coordinates count as one, whatever their indices."""
    return finish(finding_facts(mesh))


def finding_facts(mesh: Mesh) -> Steps[MeshFacts]:
    """Do as `facts`, a step at a time."""
    s = yield from part(shells_of(mesh), 0.0, 0.9)
    points, triangles = s.mesh.points, s.mesh.triangles
    core = triangles[s.kept]
    half_edges = np.arange(len(s.pairing.mate))
    open_edges = np.flatnonzero(s.pairing.mate < 0)
    turned = np.flatnonzero(s.pairing.turned & (s.pairing.mate > half_edges))
    doubled = np.flatnonzero(s.again)
    flat = np.flatnonzero((yield from part(_flat(s.mesh), 0.9, 1.0)))
    hollow = s.owner != np.arange(len(s.owner))
    inward = np.flatnonzero(s.inside_out()[s.shell])

    def middle_of_edge(found: IntArray) -> FloatArray | None:
        if not len(found):
            return None
        face, side = divmod(int(found[0]), 3)
        middle: FloatArray = points[core[face, [side, (side + 1) % 3]]].mean(axis=0)
        return middle

    def middle_of_triangle(found: IntArray) -> FloatArray | None:
        return points[triangles[found[0]]].mean(axis=0) if len(found) else None

    return MeshFacts(
        closed=bool(s.closed.all()),
        genus=int(s.genus.sum()) if (s.genus >= 0).all() else None,
        shells=len(s.closed),
        cavities=int(hollow.sum()),
        cavity_at=middle_of_triangle(np.flatnonzero(hollow[s.shell])),
        open_edges=len(open_edges),
        open_at=middle_of_edge(open_edges),
        non_manifold_edges=len(s.pairing.crowded),
        non_manifold_at=middle_of_edge(s.pairing.crowded),
        inside_out=bool(len(inward)),
        inside_out_at=middle_of_edge(turned) if len(turned) else middle_of_triangle(inward),
        turned_edges=len(turned),
        turned_at=middle_of_edge(turned),
        doubled_faces=len(doubled),
        doubled_at=middle_of_triangle(doubled),
        zero_area=len(flat),
        zero_area_at=middle_of_triangle(flat),
        volume_mm3=float(s.volume.sum()),
    )


def bodies_of(mesh: Mesh) -> tuple[Mesh, ...]:
    """Take a mesh apart into its bodies, in the order of their first triangles.

    Shells join across edges of exactly two faces; at an edge with more, faces pair by angle so that each metal side
    closes; a shared point joins nothing. A body is an outward shell with the inward shells directly inside it. An
    outward shell in a cavity is another body; so is an open shell, and an inside-out shell that lies in no other.

    No triangle is lost: those without width and doubled ones stay with the body they lie on. Equal points become one,
    except where a body's surface passes through a point more than once: there it has one point for each passage, so
    that a closed body is a manifold by its indices too. (Only an edge that the surface passes more than once, without
    either of its points coming apart, still has more than two faces by its indices: see ``non_manifold_edges``.)
    """
    return finish(finding_bodies(mesh))


def finding_bodies(mesh: Mesh) -> Steps[tuple[Mesh, ...]]:
    """Do as `bodies_of`, a step at a time."""
    s = yield from part(shells_of(mesh), 0.0, 0.9)
    body = s.owner[s.shell]
    order = yield from part(stable_order(body), 0.9, 1.0)
    cuts = np.flatnonzero(np.diff(body[order])) + 1
    parts = np.split(order, cuts)
    parts.sort(key=lambda part: int(part[0]))
    return tuple(_part(s, part) for part in parts)


def _part(s: Shells, part: IntArray) -> Mesh:
    sheets, first, corner = np.unique(s.sheet[part].ravel(), return_index=True, return_inverse=True)
    place = s.mesh.triangles[part].ravel()[first]
    by_place = np.argsort(place, kind="stable")
    rank = np.empty(len(sheets), dtype=np.int64)
    rank[by_place] = np.arange(len(sheets))
    points = s.mesh.points[place[by_place]]
    triangles = rank[corner].reshape(-1, 3)
    points.flags.writeable = False
    triangles.flags.writeable = False
    return Mesh(points, triangles)


def _flat(mesh: Mesh) -> Steps[BoolArray]:
    """Tell which triangles (m,) are no wider than the rounding of their coordinates."""
    flat = np.empty(len(mesh.triangles), dtype=bool)
    for begin in range(0, len(flat), _TRIANGLES):
        corners = mesh.points[mesh.triangles[begin : begin + _TRIANGLES]]
        longest = np.sqrt(((corners - corners[:, [1, 2, 0]]) ** 2).sum(axis=2).max(axis=1))
        width_times_length = np.linalg.norm(normals(corners), axis=1)
        rounding = 4 * np.finfo(np.float64).eps * np.abs(corners).max(axis=(1, 2))
        flat[begin : begin + _TRIANGLES] = width_times_length <= longest * rounding
        yield begin / len(flat)
    return flat
