"""The shape of a maker's own link: whether it can be a link at all, and a line through its metal round its hole."""

from dataclasses import dataclass

import numpy as np

from ..base.errors import BadInput
from ..solid.loops import loops
from ..solid.measure import bounds_mm, normals, volume_mm3
from ..solid.mesh import FloatArray, Mesh
from ..solid.topology import bodies_of, facts

PLACES = 64
# Waves along the line that each round leaves it: with more of them it would take up the slant of its own first cuts.
WAVES = (4, 4, 4, 6, 6, 6)
# Points are spread over the surface this many to its largest size, a few across the metal of any link, and of a fine
# mesh no more than so many in all.
FINENESS = 20
MOST_POINTS = 6000
# Metal further from the line than so many of its thickness belongs to something else, such as a stud.
NEAR = 1.5
# A principal direction of the surface whose cosine with the loop's is above this is the hole's.
PRINCIPAL = 0.8


@dataclass(frozen=True, slots=True, eq=False)
class OwnShape:
    """A link mesh looked at. ``guide`` (64, 3) mm: a closed line through its metal, once round its hole.

    ``normal`` (3,) is the way the hole looks, ``spread`` (3, 3) the second moments of the surface about its middle, for
    an area of 1. ``thick_mm`` is the thickness of a round wire of the same volume along the guide. ``surface`` (k, 3)
    points spread over the mesh, each standing for ``share`` (k,) of its area.
    """

    guide: FloatArray
    normal: FloatArray
    spread: FloatArray
    thick_mm: float
    surface: FloatArray
    share: FloatArray


def own_shape(mesh: Mesh) -> OwnShape:
    """Look at a link mesh. Raises BadInput for one that is open, many-bodied, turned inside out, or has no hole."""
    _check(mesh)
    carried = loops(mesh)
    if not carried:
        raise BadInput("chain.file: the link mesh has an edge with more than two faces; make it one clean closed solid")
    # Of the two loops of a handle one runs along the metal, round the hole, and one round the metal itself.
    longest = max((_area_vector(loop) for loop in carried), key=lambda area: float(np.linalg.norm(area)))
    moments = _moments(mesh)
    normal = _normal(longest, moments)
    surface, share = _spread(mesh)
    guide = _evenly(_smooth(_evenly(_outline(surface, normal)), WAVES[0]))
    for waves in WAVES:
        guide = _drawn_in(guide, surface, share, NEAR * _thickness(mesh, guide), waves)
    return OwnShape(guide, normal, moments, _thickness(mesh, guide), surface, share)


def _check(mesh: Mesh) -> None:
    true = facts(mesh)
    if not true.closed:
        raise BadInput(
            f"chain.file: the link mesh is open: {true.open_edges} of its edges have a face on one side only, the "
            f"first near {_place(true.open_at)}; close them"
        )
    if true.inside_out:
        raise BadInput(
            f"chain.file: faces of the link mesh look inward, the first near {_place(true.inside_out_at)}; turn the "
            "normals outward"
        )
    bodies = len(bodies_of(mesh)) if true.shells > 1 else 1
    if bodies > 1:
        raise BadInput(f"chain.file: the link mesh holds {bodies} bodies; keep one of them, or join them into one")
    if not true.genus:
        raise BadInput("chain.file: the link mesh has no hole for its neighbours to pass through; give it one")


def _place(at: FloatArray | None) -> str:
    assert at is not None
    return "({:.2f}, {:.2f}, {:.2f})".format(*at)


def _area_vector(loop: FloatArray) -> FloatArray:
    """Give the vector area (3,) of a closed polygon."""
    middle = loop - loop.mean(axis=0)
    return np.asarray(np.cross(middle, np.roll(middle, -1, axis=0)).sum(axis=0) / 2)


def _moments(mesh: Mesh) -> FloatArray:
    """Give the second moments (3, 3) of the surface about its middle, for an area of 1, exactly."""
    corners = mesh.corners()
    share = np.linalg.norm(normals(corners), axis=1)
    share = share / share.sum()
    corners = corners - share @ corners.mean(axis=1)
    whole = corners.sum(axis=1)
    # Of a triangle of area A: the integral of x x' is A / 12 times that of its corners and of their sum.
    apart = np.einsum("t,tci,tcj->ij", share, corners, corners) + np.einsum("t,ti,tj->ij", share, whole, whole)
    return np.asarray(apart / 12)


def _normal(area: FloatArray, moments: FloatArray) -> FloatArray:
    """Give the way the hole looks: the principal direction nearest to a loop's vector area, where one is near."""
    rough = area / np.linalg.norm(area)
    ways = np.linalg.eigh(moments)[1].T
    nearest = ways[np.abs(ways @ rough).argmax()]
    return np.asarray(nearest * np.sign(nearest @ rough) if abs(nearest @ rough) > PRINCIPAL else rough)


def _outline(surface: FloatArray, normal: FloatArray) -> FloatArray:
    """Give the places (k, 3) of a surface that lie furthest out, all the way round, seen along ``normal``.

    So the line goes round all of a link's holes, when a stud makes two of one.
    """
    u = np.cross(normal, np.eye(3)[np.abs(normal).argmin()])
    u /= np.linalg.norm(u)
    x, y = surface @ u, surface @ np.cross(normal, u)
    x, y = x - (x.min() + x.max()) / 2, y - (y.min() + y.max()) / 2
    sector = ((np.arctan2(y, x) / (2 * np.pi) + 0.5) * PLACES).astype(np.int64) % PLACES
    furthest_last = np.lexsort((np.hypot(x, y), sector))
    last = np.flatnonzero(np.diff(sector[furthest_last], append=PLACES))
    return np.asarray(surface[furthest_last[last]])


def _thickness(mesh: Mesh, guide: FloatArray) -> float:
    length = float(np.linalg.norm(np.roll(guide, -1, axis=0) - guide, axis=1).sum())
    return float(2 * np.sqrt(volume_mm3(mesh) / (np.pi * length)))


def _spread(mesh: Mesh) -> tuple[FloatArray, FloatArray]:
    """Spread points evenly over every triangle: places (k, 3), and the share of the whole area each stands for."""
    corners = mesh.corners()
    size = float(np.ptp(bounds_mm(mesh.points), axis=0).max())
    longest = np.sqrt(((corners - corners[:, [1, 2, 0]]) ** 2).sum(axis=2).max(axis=1))
    pieces = np.ceil(longest * FINENESS / size).astype(np.int64)
    area = np.linalg.norm(normals(corners), axis=1) / 2
    points, share = [], []
    for n in np.unique(pieces):
        some = np.flatnonzero(pieces == n)
        # Middles of the n x n equal triangles that n parts of each side make.
        i, j = (index.ravel() for index in np.mgrid[:n, :n])
        up, down = i + j < n, i + j < n - 1
        first = np.concatenate((i[up] + 1 / 3, i[down] + 2 / 3)) / n
        second = np.concatenate((j[up] + 1 / 3, j[down] + 2 / 3)) / n
        weight = np.stack((1 - first - second, first, second), axis=1)
        points.append(np.einsum("kc,mcx->mkx", weight, corners[some]).reshape(-1, 3))
        share.append(np.repeat(area[some] / n**2, n**2))
    every = -(-sum(map(len, points)) // MOST_POINTS)
    some_points, some_share = np.concatenate(points)[::every], np.concatenate(share)[::every]
    return some_points, some_share / some_share.sum()


def _drawn_in(guide: FloatArray, surface: FloatArray, share: FloatArray, within_mm: float, waves: int) -> FloatArray:
    """Move every place of a line to the middle of the surface nearest to it, smooth the line and even its places out.

    One round of a principal curve (Hastie and Stuetzle, Journal of the American Statistical Association 84 (1989) 502,
    from memory).
    """
    squared = (guide**2).sum(axis=1) - 2 * surface @ guide.T
    owner = squared.argmin(axis=1)
    off = np.linalg.norm(surface - guide[owner], axis=1)
    weight = np.where(off <= within_mm, share, 0.0)
    total = np.bincount(owner, weights=weight, minlength=len(guide))
    middle = np.stack([np.bincount(owner, weights=weight * x, minlength=len(guide)) for x in surface.T], axis=1)
    moved = np.where(total[:, None] > 0, middle / np.maximum(total, 1e-300)[:, None], guide)
    return _evenly(_smooth(moved, waves))


def _smooth(loop: FloatArray, waves: int) -> FloatArray:
    """Leave a closed line only its first waves."""
    spectrum = np.fft.rfft(loop, axis=0)
    spectrum[waves + 1 :] = 0
    return np.asarray(np.fft.irfft(spectrum, n=len(loop), axis=0))


def _evenly(loop: FloatArray) -> FloatArray:
    """Give 64 places evenly along a closed polygon."""
    closed = np.concatenate((loop, loop[:1]))
    walked = np.concatenate(([0.0], np.cumsum(np.linalg.norm(np.diff(closed, axis=0), axis=1))))
    at = np.arange(PLACES) * (walked[-1] / PLACES)
    return np.stack([np.interp(at, walked, x) for x in closed.T], axis=1)
