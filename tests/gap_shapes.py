"""Links, rings of them, balls and split meshes for the tests of distances. Lengths in mm."""

import numpy as np

from addon.rules.solid.mesh import Body, FloatArray, Mesh, Pose, mesh
from tests.mesh_shapes import grid_triangles


def oval_link(steps: int = 96, sides: int = 24) -> Mesh:
    """A level link of round wire: oval centreline with half axes 5 and 3, wire radius 1; two triangles per quad."""
    turn = 2.0 * np.pi * np.arange(steps) / steps
    level = np.zeros(steps)
    out = np.stack((3.0 * np.cos(turn), 5.0 * np.sin(turn), level), axis=1)
    out /= np.linalg.norm(out, axis=1, keepdims=True)
    centre = np.stack((5.0 * np.cos(turn), 3.0 * np.sin(turn), level), axis=1)
    about = 2.0 * np.pi * np.arange(sides) / sides
    section = np.cos(about)[:, None] * out[:, None] + np.sin(about)[:, None] * np.array([0.0, 0.0, 1.0])
    return mesh((centre[:, None] + section).reshape(-1, 3), grid_triangles(steps, sides))


def ring_poses(links: int, pitch_mm: float) -> list[Pose]:
    """Places on a level ring, ``pitch_mm`` of arc from one to the next, every second one turned 90 degrees."""
    poses = []
    for angle in 2.0 * np.pi * np.arange(links) / links:
        out = np.array([np.cos(angle), np.sin(angle), 0.0])
        along = np.array([-np.sin(angle), np.cos(angle), 0.0])
        across = out if len(poses) % 2 else np.array([0.0, 0.0, 1.0])
        rotation = np.stack((along, across, np.cross(along, across)), axis=1)
        poses.append(Pose(rotation, links * pitch_mm / (2.0 * np.pi) * out))
    return poses


def shared_ring(link: Mesh, links: int, pitch_mm: float) -> list[Body]:
    """Posed copies of one mesh on a ring."""
    return [Body(f"link {i + 1}", link, pose) for i, pose in enumerate(ring_poses(links, pitch_mm))]


def distinct_ring(link: Mesh, links: int, pitch_mm: float) -> list[Body]:
    """The same ring with a mesh of its own for every link, its points in the world."""
    return [Body(body.name, mesh(body.points(), link.triangles)) for body in shared_ring(link, links, pitch_mm)]


def ball(radius: float = 1.0, level: int = 2) -> Mesh:
    """A ball from an octahedron whose faces are split ``level`` times."""
    points = [(1, 0, 0), (-1, 0, 0), (0, 1, 0), (0, -1, 0), (0, 0, 1), (0, 0, -1)]
    faces = [(0, 2, 4), (2, 1, 4), (1, 3, 4), (3, 0, 4), (2, 0, 5), (1, 2, 5), (3, 1, 5), (0, 3, 5)]
    solid = mesh(np.array(points, dtype=float), faces)
    for _ in range(level):
        solid = split(solid)
    return mesh(radius * solid.points / np.linalg.norm(solid.points, axis=1, keepdims=True), solid.triangles)


def split(solid: Mesh) -> Mesh:
    """Every triangle as four, the surface unchanged."""
    t = solid.triangles
    edges = np.sort(np.concatenate((t[:, :2], t[:, 1:], t[:, (2, 0)])), axis=1)
    unique, where = np.unique(edges, axis=0, return_inverse=True)
    ab, bc, ca = (where.reshape(-1) + len(solid.points)).reshape(3, -1)
    a, b, c = t.T
    parts = ((a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca))
    points = np.concatenate((solid.points, solid.points[unique].mean(axis=1)))
    return mesh(points, np.concatenate([np.stack(part, axis=1) for part in parts]))


def turn_about(axis: tuple[float, float, float], angle: float) -> FloatArray:
    """A rotation (3, 3) about an axis (Rodrigues)."""
    x, y, z = np.array(axis) / np.linalg.norm(axis)
    k = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    return np.eye(3) + np.sin(angle) * k + (1.0 - np.cos(angle)) * (k @ k)
