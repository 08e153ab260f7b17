"""A mesh sorted into blocks of neighbouring triangles once, however often it is then posed."""

from dataclasses import dataclass

import numpy as np

from ..base.progress import finish
from .hierarchy import CHILDREN, PAIR, blocks, neighbours_first
from .mesh import FloatArray, Mesh
from .rough_bounds import Float32Array
from .triangle_pairs import cross, dot

# Coarsest blocks at most: all of them are compared with all of the other mesh's.
COARSEST = 256


@dataclass(frozen=True, slots=True, eq=False)
class Level:
    """The blocks of one size, in single precision: ``balls`` (4, k), centre and radius; ``discs`` (8, k)."""

    balls: Float32Array
    discs: Float32Array


@dataclass(frozen=True, slots=True, eq=False)
class Posable:
    """A mesh made ready for `posed_gaps`.

    ``corners`` (3, 3, t): corner, coordinate, triangle, in the order of the blocks. ``levels`` of 2, 8, 32, ...
    triangles, finest first. ``pairs`` (3, 3, 2, t / 2) and ``normals`` (3, 2, t / 2): corners and unit normals by
    finest block, in single precision. ``reach_mm`` the farthest point from the origin.
    """

    corners: FloatArray
    levels: tuple[Level, ...]
    pairs: Float32Array
    normals: Float32Array
    reach_mm: float


def posable(mesh: Mesh) -> Posable:
    """Make a mesh ready for `posed_gaps`. Do it once for a mesh, however often it is posed."""
    places = mesh.corners()
    order = finish(neighbours_first(np.ascontiguousarray(places.sum(axis=1).T)))
    sizes = [PAIR]
    while len(order) > COARSEST * sizes[-1]:
        sizes.append(sizes[-1] * CHILDREN)
    # The last triangle is repeated to fill the last block: looked at twice, it changes nothing.
    order = np.concatenate((order, np.full(-len(order) % sizes[-1], order[-1])))
    corners = np.ascontiguousarray(np.moveaxis(places[order], 0, -1))
    tree = finish(blocks(corners, np.ones(len(order), dtype=np.bool_), len(sizes)))
    normals = cross(corners[1] - corners[0], corners[2] - corners[0])
    length = np.sqrt(dot(normals, normals))
    normals /= np.where(length > 0.0, length, 1.0)
    return Posable(
        corners,
        tuple(Level(_balls(corners, s), d.astype(np.float32)) for s, d in zip(sizes, tree.discs, strict=True)),
        tree.pairs.astype(np.float32),
        np.ascontiguousarray(np.moveaxis(normals.reshape(3, -1, PAIR), 2, 1), dtype=np.float32),
        float(np.sqrt((places**2).sum(axis=2).max())),
    )


def _balls(corners: FloatArray, size: int) -> Float32Array:
    """Put a ball round every ``size`` triangles: about the middle of their box, (4, k)."""
    block = corners.reshape(3, 3, -1, size)
    centre = (block.min(axis=(0, 3)) + block.max(axis=(0, 3))) / 2
    radius = np.sqrt(((block - centre[:, :, None]) ** 2).sum(axis=1).max(axis=(0, 2)))
    ball: Float32Array = np.concatenate((centre, radius[None])).astype(np.float32)
    return ball
