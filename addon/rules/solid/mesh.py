"""Meshes, poses and bodies: the values every rule works on. Lengths in mm, float64."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..base.errors import BadInput

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class Mesh:
    """A triangle mesh: ``points`` (n, 3) float64 in mm, ``triangles`` (m, 3) int64 counter-clockwise seen from outside.

    Make one with `mesh`, which checks it. Meshes are compared by identity: copies of a link share one.
    """

    points: FloatArray
    triangles: IntArray

    def corners(self) -> FloatArray:
        """Give the corners of every triangle, (m, 3, 3): triangle, corner, coordinate."""
        return self.points[self.triangles]


@dataclass(frozen=True, slots=True, eq=False)
class Pose:
    """A rigid place: ``rotation`` (3, 3) with the local axes as columns, then ``origin`` (3,) in mm."""

    rotation: FloatArray
    origin: FloatArray

    def apply(self, points: FloatArray) -> FloatArray:
        """Carry local points (..., 3) into the world."""
        return points @ self.rotation.T + self.origin

    def then_move(self, shift: FloatArray) -> "Pose":
        """Give this pose moved by ``shift`` (3,) mm in the world."""
        return Pose(self.rotation, self.origin + shift)


IDENTITY = Pose(np.eye(3), np.zeros(3))
# A pose that stretches by more than this is none: such a body is measured where it stands.
_RIGID = 1e-12


@dataclass(frozen=True, slots=True, eq=False)
class Wire:
    """What a body was drawn from, where we made it: a closed centreline and a round section.

    ``centreline`` (n, 3) mm in the mesh's own coordinates, the last point joined to the first; ``radius_mm``.
    """

    centreline: FloatArray
    radius_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class Body:
    """One connected solid: a name, a mesh (shared between copies), a pose, and its wire if we made it."""

    name: str
    mesh: Mesh
    pose: Pose = IDENTITY
    wire: Wire | None = None

    def points(self) -> FloatArray:
        """Give the mesh's points in the world, (n, 3) mm."""
        return self.pose.apply(self.mesh.points)

    def placed(self) -> Mesh:
        """Give the mesh in the world."""
        return Mesh(self.points(), self.mesh.triangles)

    def moved(self, shift: FloatArray) -> "Body":
        """Give this body moved by ``shift`` (3,) mm."""
        return Body(self.name, self.mesh, self.pose.then_move(shift), self.wire)


def rigid(body: Body) -> Body:
    """Give the body with a pose that keeps lengths: its own, or none for a mesh put where the body stands."""
    rotation = body.pose.rotation
    if np.abs(rotation.T @ rotation - np.eye(3)).max() <= _RIGID:
        return body
    return Body(body.name, body.placed(), IDENTITY)


def mesh(points: npt.ArrayLike, triangles: npt.ArrayLike, *, where: str = "mesh") -> Mesh:
    """Make a checked mesh: the door through which every foreign array comes.

    ``points`` (n, 3), ``triangles`` (m, 3). Raises BadInput naming ``where`` for an empty mesh, wrong shapes,
    coordinates that are not finite numbers, or triangles that name points that are not there.
    """
    p = np.ascontiguousarray(points, dtype=np.float64)
    t = np.ascontiguousarray(triangles, dtype=np.int64)
    if p.size == 0 or t.size == 0:
        raise BadInput(f"{where}: holds no triangles; export a mesh with faces")
    if p.ndim != 2 or p.shape[1] != 3 or t.ndim != 2 or t.shape[1] != 3:
        raise BadInput(f"{where}: points must be (n, 3) and triangles (m, 3), are {p.shape} and {t.shape}")
    if not np.isfinite(p).all():
        first = int(np.flatnonzero(~np.isfinite(p).all(axis=1))[0])
        raise BadInput(
            f"{where}: point {first} has a coordinate that is not a number; repair the mesh and export it again"
        )
    if t.min() < 0 or t.max() >= len(p):
        raise BadInput(
            f"{where}: a triangle names point {int(t.max())}, but there are {len(p)}; export the damaged file again"
        )
    p.flags.writeable = False
    t.flags.writeable = False
    return Mesh(p, t)


def merged(meshes: list[Mesh] | tuple[Mesh, ...]) -> Mesh:
    """Put several meshes into one, shells side by side, nothing joined."""
    offsets = np.cumsum([0] + [len(m.points) for m in meshes[:-1]])
    return Mesh(
        np.concatenate([m.points for m in meshes]),
        np.concatenate([m.triangles + offset for m, offset in zip(meshes, offsets, strict=True)]),
    )
