"""What is true of every body by itself, found once for a mesh however many bodies share it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from ..base.progress import Steps, part
from ..solid.congruent import Copy
from ..solid.measure import finding_area, finding_volume
from ..solid.mesh import Body, Pose
from ..solid.self_crossing import SelfCrossing, self_crossings
from ..solid.slit import Slit, narrowest_slit
from ..solid.topology import MeshFacts, finding_facts
from ..solid.wall import Wall, thinnest_wall
from .body_findings import is_sound


@dataclass(frozen=True, slots=True, eq=False)
class Shape:
    """What is true of one mesh. ``wall`` and ``slit`` in the mesh's own coordinates.

    ``wall`` None where the surface bounds no metal; ``slit`` None there and where none is narrow enough to matter.
    """

    facts: MeshFacts
    volume_mm3: float
    area_mm2: float
    crossing: SelfCrossing
    wall: Wall | None
    slit: Slit | None


@dataclass(frozen=True, slots=True, eq=False)
class _Within:
    """What is measured inside one mesh, and between its own sides."""

    wall: Wall | None
    slit: Slit | None

    def carried(self, pose: Pose) -> "_Within":
        """Give the same of a moved copy."""
        wall, slit = self.wall, self.slit
        return _Within(
            wall and replace(wall, point_a=pose.apply(wall.point_a), point_b=pose.apply(wall.point_b)),
            slit and replace(slit, point_a=pose.apply(slit.point_a), point_b=pose.apply(slit.point_b)),
        )


def shapes_of(bodies: Sequence[Body], copies: Sequence[Copy], slit_below_mm: float) -> Steps[tuple[Shape, ...]]:
    """Give the shape of every body, in their order. Walls and slits are measured once for meshes that are moved copies.

    Slits are looked for below ``slit_below_mm``.
    """
    every = {id(body.mesh): (body.mesh, copy) for body, copy in zip(bodies, copies, strict=True)}
    size = sum(len(mesh.triangles) for mesh, _ in every.values())
    firsts: dict[int, _Within] = {}
    found: dict[int, Shape] = {}
    done = 0.0
    for key, (mesh, copy) in every.items():
        share = len(mesh.triangles) / size
        known = yield from part(finding_facts(mesh), done, done + 0.3 * share)
        crossing = yield from part(self_crossings(mesh), done + 0.3 * share, done + 0.6 * share)
        if not is_sound(known):
            within = _Within(None, None)
        elif id(copy.first) in firsts:
            within = firsts[id(copy.first)].carried(copy.pose)
        else:
            wall = yield from part(thinnest_wall(mesh), done + 0.6 * share, done + 0.9 * share)
            slit = yield from part(narrowest_slit(mesh, slit_below_mm), done + 0.9 * share, done + share)
            within = _Within(wall, slit)
            if mesh is copy.first:
                firsts[key] = within
        volume = yield from part(finding_volume(mesh), done + share, done + share)
        area = yield from part(finding_area(mesh), done + share, done + share)
        found[key] = Shape(known, volume, area, crossing, within.wall, within.slit)
        done += share
        yield done
    return tuple(found[id(body.mesh)] for body in bodies)
