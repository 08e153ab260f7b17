"""A block with rounded edges: closed, quads everywhere, each split in two."""

import numpy as np

from ..solid.mesh import FloatArray, IntArray, Mesh, mesh

# Of a quarter turn of an edge; even, so that the middle of a face's rounding is met.
STEPS = 4


def rounded_block(half_mm: FloatArray, edge_mm: float, *, steps: int = STEPS) -> Mesh:
    """Make a block of half sizes (3,) about the origin, its edges rounded to a radius below the least half size.

    The points of a gridded box are drawn to a sphere about the nearest point of the block less its rounding.
    """
    core = np.asarray(half_mm, dtype=np.float64) - edge_mm
    slant = np.tan(np.linspace(-np.pi / 4, 0.0, steps + 1)) * edge_mm
    lines = [np.concatenate((slant - c, -slant[::-1] + c)) for c in core]
    n = 2 * (steps + 1)
    index = np.arange(n**3).reshape(n, n, n)
    triangles = np.concatenate([_side(index, axis, far) for axis in range(3) for far in (False, True)])
    used, numbered = np.unique(triangles, return_inverse=True)
    grid = np.stack(np.meshgrid(*lines, indexing="ij"), axis=-1).reshape(-1, 3)[used]
    inner = np.clip(grid, -core, core)
    out = grid - inner
    points = inner + edge_mm * out / np.linalg.norm(out, axis=1)[:, None]
    return mesh(points, numbered.reshape(-1, 3), where="block")


def _side(index: IntArray, axis: int, far: bool) -> IntArray:
    """Give the triangles of one side of a box, looking out."""
    face = np.moveaxis(index, axis, 0)[-1 if far else 0]
    a, b, c, d = face[:-1, :-1], face[1:, :-1], face[1:, 1:], face[:-1, 1:]
    outward = far != (axis == 1)
    quads = (a, b, c, a, c, d) if outward else (a, c, b, a, d, c)
    return np.asarray(np.stack(quads, axis=-1).reshape(-1, 3), dtype=np.int64)
