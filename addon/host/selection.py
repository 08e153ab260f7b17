"""The meshes a person selected, as bodies to inspect."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from ..rules.base.errors import BadInput
from ..rules.base.progress import Steps, part
from ..rules.files.named import unique_names
from ..rules.solid.mesh import Body, FloatArray, Mesh, Pose
from ..rules.solid.mesh import mesh as checked_mesh
from ..rules.solid.topology import finding_bodies
from .conversions import SOLID_TYPES, leave_edit_mode_data, local_arrays, turn_and_stretch
from .surfaces import surfaces
from .units import mm_per_unit

# Stretches that differ by less are one: what single precision leaves of a matrix.
SAME_STRETCH = 6


@dataclass(frozen=True, slots=True, eq=False)
class Placed:
    """One surface of the selection: its name, whether it is an instance, and its mesh (shared by copies) in place."""

    name: str
    instanced: bool
    mesh: Mesh
    pose: Pose


def selected_solids(context: Any) -> list[Any]:
    """Give the selected objects that may show a surface, by name, so that the order of clicks plays no part."""
    return sorted((ob for ob in context.selected_objects if _may_show(ob)), key=lambda ob: ob.name)


def read_selected(context: Any, objects: Sequence[Any] | None = None) -> tuple[Placed, ...]:
    """Read what the selected objects show, in mm: their own surfaces and all their instances, as they are seen.

    ``objects``: only these of them.

    An instance is called after what instances it and what is instanced, "Bracelet: link", numbered where there are
    several. Raises BadInput when nothing usable is selected, or for an object that shows no face.
    """
    objects = selected_solids(context) if objects is None else objects
    if not objects:
        raise BadInput("nothing to inspect is selected; select a chain, or the mesh objects of one")
    for ob in objects:
        leave_edit_mode_data(ob)
    context.view_layer.update()
    found = _read(objects, context.evaluated_depsgraph_get(), mm_per_unit(context.scene))
    placed = []
    for ob in objects:
        if ob.name not in found:
            raise BadInput(
                f"{ob.name}: is a {ob.type.lower()} object that shows no faces; select objects that have some"
            )
        counts = Counter(thing for thing, _, _ in found[ob.name])
        numbers: Counter[str] = Counter()
        for thing, mesh, pose in found[ob.name]:
            numbers[thing] += 1
            name = f"{ob.name}: {thing}" if thing else ob.name
            placed.append(Placed(f"{name} {numbers[thing]}" if counts[thing] > 1 else name, bool(thing), mesh, pose))
    return tuple(placed)


def bodies_of(placed: Sequence[Placed]) -> Steps[tuple[Body, ...]]:
    """Take surfaces apart into bodies with names that differ; copies share the meshes of their bodies."""
    meshes = list({id(one.mesh): one.mesh for one in placed}.values())
    solids: dict[int, tuple[Mesh, ...]] = {}
    for number, mesh in enumerate(meshes):
        span = number / len(meshes), (number + 1) / len(meshes)
        solids[id(mesh)] = yield from part(finding_bodies(mesh), *span)
    names, bodies = [], []
    for one in placed:
        own = solids[id(one.mesh)]
        for number, solid in enumerate(own, 1):
            named = f"{one.name} solid {number}" if one.instanced else f"{one.name} {number}"
            names.append(named if len(own) > 1 else one.name)
            bodies.append((solid, one.pose))
    return tuple(Body(name, *body) for name, body in zip(unique_names(names), bodies, strict=True))


def _may_show(ob: Any) -> bool:
    return (
        ob.type in SOLID_TYPES
        or (ob.instance_type == "COLLECTION" and ob.instance_collection is not None)
        or any(modifier.type == "NODES" for modifier in ob.modifiers)
    )


def _read(objects: Sequence[Any], depsgraph: Any, mm: float) -> dict[str, list[tuple[str, Mesh, Pose]]]:
    """Read the surfaces of every object as (thing, mesh, pose) by the object's name; copies share their mesh."""
    arrays: dict[int, tuple[FloatArray, npt.NDArray[np.int64]]] = {}
    meshes: dict[tuple[int, bytes], Mesh] = {}
    found: dict[str, list[tuple[str, Mesh, Pose]]] = {}
    for surface in surfaces(frozenset(objects), depsgraph):
        key = surface.key
        if key not in arrays:
            arrays[key] = local_arrays(surface.shown, where=surface.owner)
        points, triangles = arrays[key]
        if not len(triangles):
            continue
        turn, stretch = turn_and_stretch(surface.matrix[:3, :3])
        shape = np.round(stretch, SAME_STRETCH) + 0.0
        if (key, shape.tobytes()) not in meshes:
            if np.array_equal(shape, np.eye(3)):
                stretch = shape
            mirrored = np.linalg.det(stretch) < 0.0
            meshes[key, shape.tobytes()] = checked_mesh(
                points @ (stretch * mm), triangles[:, ::-1] if mirrored else triangles, where=surface.owner
            )
        mesh = meshes[key, shape.tobytes()]
        found.setdefault(surface.owner, []).append((surface.part, mesh, Pose(turn, surface.matrix[:3, 3] * mm)))
    return found
