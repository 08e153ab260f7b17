"""What is true of every body by itself, found once for a mesh however many bodies share it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from ..base.progress import Steps, part
from ..solid.congruent import Copy
from ..solid.measure import finding_area, finding_volume
from ..solid.mesh import Body, Pose
from ..solid.self_crossing import SelfCrossing, self_crossings
from ..solid.topology import MeshFacts, finding_facts
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


def shapes_of(bodies: Sequence[Body], copies: Sequence[Copy]) -> Steps[tuple[Shape, ...]]:
    """Give the shape of every body, in their order. The wall is measured once for meshes that are moved copies."""
    every = {id(body.mesh): (body.mesh, copy) for body, copy in zip(bodies, copies, strict=True)}
    size = sum(len(mesh.triangles) for mesh, _ in every.values())
    walls: dict[int, Wall] = {}
    found: dict[int, Shape] = {}
    done = 0.0
    for key, (mesh, copy) in every.items():
        share = len(mesh.triangles) / size
        known = yield from part(finding_facts(mesh), done, done + 0.3 * share)
        crossing = yield from part(self_crossings(mesh), done + 0.3 * share, done + 0.6 * share)
        first = walls.get(id(copy.first))
        wall = _carried(first, copy.pose) if first is not None and is_sound(known) else None
        if wall is None and is_sound(known):
            wall = yield from part(thinnest_wall(mesh), done + 0.6 * share, done + share)
            if wall is not None and mesh is copy.first:
                walls[key] = wall
        volume = yield from part(finding_volume(mesh), done + share, done + share)
        area = yield from part(finding_area(mesh), done + share, done + share)
        found[key] = Shape(known, volume, area, crossing, wall)
        done += share
        yield done
    return tuple(found[id(body.mesh)] for body in bodies)


def _carried(wall: Wall, pose: Pose) -> Wall:
    return replace(wall, point_a=pose.apply(wall.point_a), point_b=pose.apply(wall.point_b))
