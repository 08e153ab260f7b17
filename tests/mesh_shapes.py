"""Plain meshes for tests, each from its definition, faces outward."""

from collections.abc import Sequence

import numpy as np

from addon.rules.solid.mesh import Mesh, mesh

BOX_QUADS = ((0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3))


def box(size: float | Sequence[float] = 1.0, at: Sequence[float] = (0.0, 0.0, 0.0)) -> Mesh:
    """A box of 12 triangles: its sides, its least corner."""
    corners = np.array([[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)], dtype=float)
    triangles = [t for a, b, c, d in BOX_QUADS for t in ((a, b, c), (a, c, d))]
    return mesh(corners * np.asarray(size) + at, triangles)


def tetrahedron(a: Sequence[float], b: Sequence[float], c: Sequence[float], d: Sequence[float]) -> Mesh:
    """A tetrahedron on four corners."""
    points = np.array([a, b, c, d], dtype=float)
    up = np.linalg.det(points[1:] - points[0]) > 0
    triangles = np.array([(0, 2, 1), (0, 1, 3), (1, 2, 3), (0, 3, 2)])
    return mesh(points, triangles if up else triangles[:, ::-1])


def grid_triangles(n: int, m: int) -> np.ndarray:
    """The triangles of an n by m grid of points, closed both ways."""
    i, j = np.meshgrid(np.arange(n), np.arange(m), indexing="ij")
    a, b = i * m + j, (i + 1) % n * m + j
    c, d = (i + 1) % n * m + (j + 1) % m, i * m + (j + 1) % m
    return np.concatenate([np.stack([a, b, c], axis=-1).reshape(-1, 3), np.stack([a, c, d], axis=-1).reshape(-1, 3)])


def turned_section(section: np.ndarray, steps: int) -> Mesh:
    """A counter-clockwise section (m, 2) of radius and height turned about z in ``steps`` steps."""
    angle = 2 * np.pi * np.arange(steps) / steps
    x = np.outer(np.cos(angle), section[:, 0])
    y = np.outer(np.sin(angle), section[:, 0])
    z = np.broadcast_to(section[:, 1], x.shape)
    return mesh(np.stack([x, y, z], axis=-1).reshape(-1, 3), grid_triangles(steps, len(section)))


def torus(ring: float = 5.0, wire: float = 1.0, steps: int = 48, sides: int = 16) -> Mesh:
    """A torus about z: ring radius, wire radius."""
    angle = 2 * np.pi * np.arange(sides) / sides
    return turned_section(np.stack([ring + wire * np.cos(angle), wire * np.sin(angle)], axis=1), steps)


def flipped(m: Mesh) -> Mesh:
    """The same faces looking the other way."""
    return mesh(m.points, m.triangles[:, ::-1])


def moved(m: Mesh, shift: Sequence[float]) -> Mesh:
    """The mesh moved."""
    return mesh(m.points + np.asarray(shift), m.triangles)


def soup(m: Mesh) -> Mesh:
    """The mesh as loose triangles, as an STL file holds it."""
    return mesh(m.corners().reshape(-1, 3), np.arange(3 * len(m.triangles)).reshape(-1, 3))


def rotation(seed: int) -> np.ndarray:
    """A rotation drawn at random."""
    q, r = np.linalg.qr(np.random.default_rng(seed).normal(size=(3, 3)))
    q = q * np.sign(np.diag(r))
    return q if np.linalg.det(q) > 0 else q[:, [1, 0, 2]]


def frame_block(holes: int) -> Mesh:
    """A flat block of unit cubes with a row of square holes through it, without inner faces: genus = holes."""
    filled = np.ones((2 * holes + 1, 3, 1), dtype=bool)
    filled[1::2, 1, 0] = False
    return cubes(filled)


def cubes(filled: np.ndarray) -> Mesh:
    """The surface of unit cubes on a grid (a, b, c) bool: loose squares between filled and empty cells."""
    padded = np.pad(filled, 1)
    corners = []
    for axis in range(3):
        for sign in (1, -1):
            beyond = np.roll(padded, -sign, axis=axis)
            cells = np.argwhere(padded & ~beyond) - 1
            u, v = np.eye(3)[(axis + 1) % 3], np.eye(3)[(axis + 2) % 3]
            if sign < 0:
                u, v = v, u
            base = cells + (np.eye(3)[axis] if sign > 0 else 0)
            corners += [
                np.stack([base, base + u, base + u + v], axis=1),
                np.stack([base, base + u + v, base + v], axis=1),
            ]
    loose = np.concatenate(corners)
    return mesh(loose.reshape(-1, 3), np.arange(3 * len(loose)).reshape(-1, 3))
