"""Whether a place lies in the metal of a closed mesh."""

import numpy as np

from ..base.progress import Steps, finish, part
from .mesh import FloatArray, IntArray, Mesh
from .winding import winding_numbers

_TRIANGLES = 50_000
# Points whose edges are compared together.
_POINTS = 65_536


def is_closed(mesh: Mesh) -> bool:
    """Tell whether every edge is run through as often one way as the other, so that the mesh has an inside."""
    return finish(finding_closed(mesh))


def finding_closed(mesh: Mesh) -> Steps[bool]:
    """Do as `is_closed`, a step at a time."""
    start = mesh.triangles
    end = start[:, (1, 2, 0)]
    count = np.int64(len(mesh.points))
    for first in range(0, len(mesh.points), _POINTS):
        there = (start >= first) & (start < first + _POINTS)
        back = (end >= first) & (end < first + _POINTS)
        ahead: IntArray = np.sort(start[there] * count + end[there])
        if not np.array_equal(ahead, np.sort(end[back] * count + start[back])):
            return False
        yield first / len(mesh.points)
    return True


def in_metal(mesh: Mesh, place: FloatArray) -> Steps[bool]:
    """Tell whether ``place`` (3,), in the mesh's own coordinates and off its surface, lies in its metal.

    A cavity is not metal; an inside-out mesh has the same metal as the right one. An open mesh has none: False.
    """
    closed = yield from part(finding_closed(mesh), 0.0, 0.3)
    if not closed:
        return False
    turns = 0.0
    for start in range(0, len(mesh.triangles), _TRIANGLES):
        yield 0.3 + 0.7 * start / len(mesh.triangles)
        corners = mesh.points[mesh.triangles[start : start + _TRIANGLES]]
        turns += float(winding_numbers(corners, place[None])[0])
    return abs(turns) > 0.5
