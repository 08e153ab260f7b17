"""Lower bounds of the distance of points from discs and triangles, in single precision, many at once.

Squares of distances, in units of the mesh's size, so that no share of the work goes into roots. They may be wrong by
`SLACK`; who makes the discs, and who gives a ``slack``, adds it. Arrays run coordinate by coordinate.
"""

import numpy as np

from .hierarchy import CENTRE, NORMAL, RADIUS, THICK
from .mesh import FloatArray
from .rough_bounds import Float32Array
from .triangle_pairs import cross, dot

# Single precision errs in a bound by less than this share of the mesh's size and of the distance from it.
SLACK = 5e-6
# A triangle whose height is less than this share of its longest side has no planes worth having.
_SLIVER = 1e-6


def disc_squares(disc: Float32Array, seen: Float32Array) -> tuple[Float32Array, Float32Array]:
    """Bound the squared distance of points (3, ...) from discs (8, ...), and guess it: to the disc taken as flat.

    ``disc`` as in `hierarchy`, its half thickness and radius already larger by the slack of the mesh's size.
    """
    x, y, z = (seen[row] - disc[row] for row in range(CENTRE.start, CENTRE.stop))
    nx, ny, nz = disc[NORMAL]
    height = x * nx
    height += y * ny
    height += z * nz
    x *= x
    y *= y
    z *= z
    x += y
    x += z
    guess: Float32Array = height * height
    beside = x - guess
    np.maximum(beside, 0, out=beside)
    np.sqrt(beside, out=beside)
    beside -= disc[RADIUS]
    np.maximum(beside, 0, out=beside)
    beside *= beside
    guess += beside
    np.abs(height, out=height)
    height -= disc[THICK]
    np.maximum(height, 0, out=height)
    height *= height
    height += beside
    x *= np.float32(SLACK)
    height -= x
    return height, guess


def triangle_planes(corners: FloatArray) -> FloatArray:
    """Give every triangle (3, 3, t) its own plane and the upright ones through its edges, outward: (4, 4, t).

    Each is a unit normal and its height over the origin; all are 0 for slivers, which bounds nothing.
    """
    edges = corners[(1, 2, 0), :] - corners
    long = np.sqrt(dot(edges, edges))
    normal = cross(edges[0], edges[1])
    area = np.sqrt(dot(normal, normal))
    sliver = area <= _SLIVER * long.max(axis=0) ** 2
    normal /= np.where(sliver, 1.0, area)
    outward = cross(edges, np.broadcast_to(normal, edges.shape))
    outward /= np.where(sliver, 1.0, long)[:, None]
    made = np.empty((4, 4, corners.shape[2]))
    made[0, :3], made[1:, :3] = normal, outward
    made[0, 3] = dot(normal, corners[0])
    made[1:, 3] = dot(outward, corners)
    made[..., sliver] = 0.0
    return made


def plane_squares(planes: Float32Array, seen: Float32Array, slack: Float32Array) -> Float32Array:
    """Bound the squared distance of points (3, n) from triangles by their planes (4, 4, n).

    ``slack`` (n,): by how much a height over a plane may be wrong.
    """
    x, y, z = seen
    heights = planes[:, 0] * x
    heights += planes[:, 1] * y
    heights += planes[:, 2] * z
    heights -= planes[:, 3]
    above = np.abs(heights[0])
    above -= slack
    np.maximum(above, 0, out=above)
    beside: Float32Array = np.maximum(np.maximum(heights[1], heights[2]), heights[3])
    beside -= slack
    np.maximum(beside, 0, out=beside)
    above *= above
    beside *= beside
    beside += above
    return beside
