"""Whether a place lies in the metal of a closed mesh."""

import numpy as np

from ..base.progress import Steps
from .mesh import FloatArray, Mesh
from .winding import winding_numbers

_TRIANGLES = 50_000


def is_closed(mesh: Mesh) -> bool:
    """Tell whether every edge is run through as often one way as the other, so that the mesh has an inside."""
    start = mesh.triangles
    end = start[:, (1, 2, 0)]
    count = np.int64(len(mesh.points))
    return np.array_equal(np.sort((start * count + end).ravel()), np.sort((end * count + start).ravel()))


def in_metal(mesh: Mesh, place: FloatArray) -> Steps[bool]:
    """Tell whether ``place`` (3,), in the mesh's own coordinates and off its surface, lies in its metal.

    A cavity is not metal; an inside-out mesh has the same metal as the right one. An open mesh has none: False.
    """
    if not is_closed(mesh):
        return False
    turns = 0.0
    for start in range(0, len(mesh.triangles), _TRIANGLES):
        yield start / len(mesh.triangles)
        corners = mesh.points[mesh.triangles[start : start + _TRIANGLES]]
        turns += float(winding_numbers(corners, place[None])[0])
    return abs(turns) > 0.5
