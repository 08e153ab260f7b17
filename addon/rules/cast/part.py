"""The elements of one solid, before they are put together with those of others."""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from ..solid.mesh import FloatArray, IntArray, Pose
from .surface_points import SurfacePoints


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """The e elements of one solid, in the order of its axis where it has one, and the joints between them.

    ``at`` (e, 3), ``length_mm``, ``bore_mm``, ``section_mm2``, all (e,), ``tip`` (e,) bool; ``joints`` (j, 2) with
    ``joint_mm2`` (j,). ``end_mm2`` the sections where the axis begins and ends, ``ends`` (2, 3) those places; a closed
    axis, and what has none, has no ends: (0, 3).
    """

    at: FloatArray
    length_mm: FloatArray
    bore_mm: FloatArray
    section_mm2: FloatArray
    tip: npt.NDArray[np.bool_]
    joints: IntArray
    joint_mm2: FloatArray
    ends: FloatArray
    end_mm2: FloatArray

    def posed(self, pose: Pose) -> "Part":
        """Give this part in the world."""
        return replace(self, at=pose.apply(self.at), ends=pose.apply(self.ends))


@dataclass(frozen=True, slots=True, eq=False)
class Shape:
    """A mesh that bodies share, in its own coordinates: its part, volumes (e,) and pieces of surface by element."""

    part: Part
    volume_mm3: FloatArray
    surface: SurfacePoints


def in_row(count: int, *, closed: bool) -> IntArray:
    """Join each of so many elements to the next, the last to the first if closed: (j, 2)."""
    first = np.arange(count if closed and count > 2 else count - 1)
    return np.asarray(np.stack((first, (first + 1) % max(count, 1)), axis=1), dtype=np.int64)
