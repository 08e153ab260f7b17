"""The gap at one place of one body: to which other body, how far, and where there. Asked anew at every move.

Exact for the meshes. Surfaces are made ready when a body first comes near, once for all copies of a mesh.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..base.errors import BadInput
from ..base.progress import finish
from ..solid.mesh import Body, FloatArray
from ..solid.surface import Surface, nearest_on, surface_of


@dataclass(frozen=True, slots=True, eq=False)
class LocalGap:
    """The gap at a place: the number of the other body, mm, and its nearest place (3,), where the bodies stand."""

    other: int
    gap_mm: float
    foot: FloatArray


class LocalGaps:
    """Bodies ready to be asked for the gap at a place of them."""

    def __init__(self, bodies: Sequence[Body]) -> None:
        self.bodies = tuple(bodies)
        self._surfaces: dict[int, Surface] = {}
        boxes: dict[int, tuple[FloatArray, FloatArray]] = {}
        for body in self.bodies:
            if id(body.mesh) not in boxes:
                boxes[id(body.mesh)] = body.mesh.points.min(axis=0), body.mesh.points.max(axis=0)
        of_body = [boxes[id(body.mesh)] for body in self.bodies]
        self._low = np.array([low for low, _ in of_body]).reshape(-1, 3)
        self._high = np.array([high for _, high in of_body]).reshape(-1, 3)
        self._turns = np.array([body.pose.rotation for body in self.bodies]).reshape(-1, 3, 3)
        self._origins = np.array([body.pose.origin for body in self.bodies]).reshape(-1, 3)

    def at(self, body: int, place: FloatArray, *, range_mm: float = math.inf) -> LocalGap | None:
        """Give the gap from a place (3,) of a body, where the bodies stand, to the nearest other body's surface.

        None where none is nearer than ``range_mm``. Raises BadInput for a body that is not there.
        """
        if not 0 <= body < len(self.bodies):
            raise BadInput(f"gap at a place: there is no body {body}; give 0 to {len(self.bodies) - 1}")
        # In each body's own coordinates: how far the place is from its box bounds the gap from below.
        local = np.einsum("nij,ni->nj", self._turns, place - self._origins)
        apart = np.maximum(np.maximum(self._low - local, local - self._high), 0.0)
        bound = np.linalg.norm(apart, axis=1)
        bound[body] = math.inf
        best: LocalGap | None = None
        within = range_mm
        for other in np.argsort(bound, kind="stable").tolist():
            if not bound[other] < within:
                break
            found = finish(nearest_on(self._surface(other), local[other][None], within))
            if found.triangle[0] >= 0:
                within = float(found.distance_mm[0])
                foot = self._turns[other] @ found.foot[0] + self._origins[other]
                best = LocalGap(other, within, foot)
        return best

    def _surface(self, number: int) -> Surface:
        mesh = self.bodies[number].mesh
        if id(mesh) not in self._surfaces:
            self._surfaces[id(mesh)] = finish(surface_of(mesh))
        return self._surfaces[id(mesh)]
