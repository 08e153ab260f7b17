"""What is true of every body by itself, found once for a mesh however many bodies share it."""

from collections.abc import Sequence
from dataclasses import dataclass

from ..base.progress import Steps, part
from ..solid.measure import area_mm2, volume_mm3
from ..solid.mesh import Body, Mesh
from ..solid.self_crossing import SelfCrossing, self_crossings
from ..solid.topology import MeshFacts, facts
from ..solid.wall import Wall, thinnest_wall
from .body_findings import is_sound


@dataclass(frozen=True, slots=True, eq=False)
class Shape:
    """What is true of one mesh. ``wall`` in the mesh's own coordinates, None where the surface bounds no metal."""

    facts: MeshFacts
    volume_mm3: float
    area_mm2: float
    crossing: SelfCrossing
    wall: Wall | None


def shapes_of(bodies: Sequence[Body]) -> Steps[tuple[Shape, ...]]:
    """Give the shape of every body, in their order."""
    meshes: dict[int, Mesh] = {id(body.mesh): body.mesh for body in bodies}
    size = sum(len(mesh.triangles) for mesh in meshes.values())
    found: dict[int, Shape] = {}
    done = 0.0
    for key, mesh in meshes.items():
        share = len(mesh.triangles) / size
        found[key] = yield from part(_shape(mesh), done, done + share)
        done += share
    return tuple(found[id(body.mesh)] for body in bodies)


def _shape(mesh: Mesh) -> Steps[Shape]:
    known = facts(mesh)
    crossing = yield from part(self_crossings(mesh), 0.3, 0.6)
    wall = (yield from part(thinnest_wall(mesh), 0.6, 1.0)) if is_sound(known) else None
    yield 1.0
    return Shape(known, volume_mm3(mesh), area_mm2(mesh), crossing, wall)
