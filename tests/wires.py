"""The true surface of a swept link, for tests: how far any point lies outside it, and what its mesh may not do."""

import numpy as np
from scipy.spatial import cKDTree

from addon.rules.chain.centreline import foot
from addon.rules.chain.link import Link, even_parameters
from addon.rules.chain.outline import outside_mm
from addon.rules.solid.mesh import Mesh

DENSE = 1440


def outside(link: Link, points: np.ndarray) -> np.ndarray:
    """How far points (k, 3) lie outside the true link, mm; below 0 inside, exact near the surface."""
    t = even_parameters(DENSE)
    nearest = cKDTree(link.curve(t)[0]).query(points)[1]
    at = foot(link.curve, points, t[nearest], 8)
    centre, first, _ = link.curve(at)
    tangent = first / np.linalg.norm(first, axis=1)[:, None]
    away = points - centre
    if link.section.kind == "round":
        found = np.linalg.norm(away, axis=1) - link.wire_mm / 2
    else:
        side = link.normal(at)
        side = side - (side * tangent).sum(axis=1)[:, None] * tangent
        side /= np.linalg.norm(side, axis=1)[:, None]
        found = outside_mm(link.section, (away * np.cross(tangent, side)).sum(axis=1), (away * side).sum(axis=1))
    if link.section.flat_mm is not None:
        found = np.maximum(found, np.abs(points[:, 2]) - link.section.flat_mm)
    if link.stud_mm is not None:
        bar = np.hypot(points[:, 0], points[:, 2]) - link.stud_mm / 2
        found = np.minimum(found, np.maximum(bar, np.abs(points[:, 1]) - (link.width_mm - link.wire_mm) / 2))
    return found


def sampled(mesh: Mesh) -> np.ndarray:
    """Points on every triangle: its corners, the middles of its edges, its centre and some drawn at random."""
    rng = np.random.default_rng(7)
    edges = [[0.5, 0.5, 0], [0, 0.5, 0.5], [0.5, 0, 0.5]]
    shares = np.concatenate((rng.dirichlet((1, 1, 1), 3), edges, [[1, 0, 0], [1 / 3] * 3]))
    return np.einsum("kc,tcx->tkx", shares, mesh.corners()).reshape(-1, 3)


def self_crossings(mesh: Mesh) -> int:
    """The number of times an edge of a mesh passes through one of its triangles that shares no corner with it."""
    t = mesh.triangles
    edges = np.unique(np.sort(np.concatenate((t[:, :2], t[:, 1:], t[:, ::2])), axis=1), axis=0)
    a, b = mesh.points[edges[:, 0]], mesh.points[edges[:, 1]]
    corners = mesh.corners()
    centre = corners.mean(axis=1)
    reach = np.linalg.norm(corners - centre[:, None], axis=2).max(axis=1)
    half = np.linalg.norm(b - a, axis=1) / 2
    lists = cKDTree(centre).query_ball_point((a + b) / 2, half.max() + reach.max())
    e = np.repeat(np.arange(len(edges)), [len(found) for found in lists])
    f = np.concatenate(lists).astype(int)
    near = np.linalg.norm((a + b)[e] / 2 - centre[f], axis=1) < half[e] + reach[f]
    e, f = e[near], f[near]
    apart = ~((t[f][:, :, None] == edges[e][:, None, :]).any(axis=(1, 2)))
    e, f = e[apart], f[apart]
    p, way, tri = a[e], (b - a)[e], corners[f]
    u, v = tri[:, 1] - tri[:, 0], tri[:, 2] - tri[:, 0]
    normal = np.cross(u, v)
    across = (normal * way).sum(axis=1)
    slant = np.abs(across) > 1e-15
    s = np.where(slant, (normal * (tri[:, 0] - p)).sum(axis=1) / np.where(slant, across, 1.0), -1.0)
    hit = p + s[:, None] * way - tri[:, 0]
    square = (normal**2).sum(axis=1)
    beta = (np.cross(hit, v) * normal).sum(axis=1) / square
    gamma = (np.cross(u, hit) * normal).sum(axis=1) / square
    return int(((s > 0) & (s < 1) & (beta > 0) & (gamma > 0) & (beta + gamma < 1)).sum())
