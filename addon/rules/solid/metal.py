"""Which of many places lie in the metal of a closed mesh."""

import numpy as np

from ..base.progress import Steps, part
from .candidates import BoolArray
from .containment import finding_closed
from .hierarchy import neighbours_first
from .mesh import FloatArray, Mesh
from .surface import Surface
from .winding import turns_around

# Faces and places counted together, clusters of neighbours both.
_FACES = 32_768
_PLACES = 8_192


def in_metal_of(mesh: Mesh, surface: Surface, places: FloatArray) -> Steps[BoolArray]:
    """Tell for every place (n, 3), in the mesh's own coordinates and off its surface, whether it lies in its metal.

    ``surface``: that of the mesh. A cavity is not metal; an inside-out mesh has the same metal as the right one. An
    open mesh has none.
    """
    buried = np.zeros(len(places), dtype=np.bool_)
    boxed = np.flatnonzero(((places >= surface.low) & (places <= surface.high)).all(axis=1))
    yield 0.0
    if len(boxed) == 0:
        return buried
    closed = yield from part(finding_closed(mesh), 0.0, 0.2)
    if not closed:
        return buried
    faces = np.moveaxis(surface.corners[..., : len(mesh.triangles)], 2, 0)
    order = boxed[(yield from part(neighbours_first(np.ascontiguousarray(places[boxed].T)), 0.2, 0.3))]
    turns = np.zeros(len(places), dtype=np.int64)
    for start in range(0, len(order), _PLACES):
        here = order[start : start + _PLACES]
        for first in range(0, len(faces), _FACES):
            turns[here] += turns_around(faces[first : first + _FACES], places[here])
            yield 0.3 + 0.7 * (start + _PLACES * first / len(faces)) / len(order)
    buried[:] = turns != 0
    return buried
