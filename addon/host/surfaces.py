"""The surfaces a scene shows of some of its objects: their own, and those of all that they instance."""

import hashlib
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..rules.base.progress import Steps
from ..rules.solid.mesh import FloatArray
from .conversions import double

# What Blender fills the unused levels of an instance's numbers with.
_NO_LEVEL = 2**31 - 1


@dataclass(frozen=True, slots=True, eq=False)
class Surface:
    """One surface shown: whose it is, the thing instanced (empty: the owner's own surface), and its matrix (4, 4).

    ``shown`` is Blender's evaluated object and lives only until the next surface is asked for.
    """

    owner: str
    part: str
    matrix: FloatArray
    shown: Any

    @property
    def key(self) -> int:
        """Tell surfaces of the same mesh from those of others, within one pass over the scene."""
        return int(self.shown.data.as_pointer())


def surfaces(objects: Collection[Any], depsgraph: Any) -> Iterator[Surface]:
    """Give the surfaces of some objects in the order Blender makes them, modifiers and instances included.

    Text, curves and the like are shown by meshes that Blender makes of them, so that meshes are all there is.
    """
    for one in depsgraph.object_instances:
        shown = one.object
        if shown.type != "MESH" or not one.show_self:
            continue
        owner = (one.parent if one.is_instance else shown).original
        if owner not in objects:
            continue
        source = shown.original
        made_of_itself = source == owner and owner.type != "MESH" and one.persistent_id[1] == _NO_LEVEL
        part = "" if not one.is_instance or made_of_itself else ("copy" if source == owner else source.name)
        yield Surface(owner.name, part, double(one.matrix_world), shown)


def standing(objects: Collection[Any], depsgraph: Any) -> dict[str, str]:
    """Give a short text for every object that differs whenever what is shown of it stands or looks otherwise.

    Places count to a millionth of a scene unit; an object that shows no surface has no text.
    """
    meshes: dict[int, bytes] = {}
    stands: dict[str, Any] = {}
    for surface in surfaces(objects, depsgraph):
        if surface.key not in meshes:
            meshes[surface.key] = _digest(surface.shown.data)
        # Adding 0 makes one of both zeros.
        place = np.round(surface.matrix, 6) + 0.0
        stands.setdefault(surface.owner, hashlib.sha256()).update(place.tobytes() + meshes[surface.key])
    return {name: total.hexdigest()[:16] for name, total in stands.items()}


def standing_parts(parts: Sequence[Any]) -> Steps[str]:
    """Give a short text that differs whenever one of a chain's parts stands otherwise on the chain, or has other metal.

    Where the chain itself stands plays no part, and no rounding: what is compared was put there by the same numbers.
    """
    meshes: dict[int, bytes] = {}
    total = hashlib.sha256()
    for number, ob in enumerate(parts):
        total.update(ob.name.encode() + standing_part(ob, meshes))
        yield (number + 1) / len(parts)
    return total.hexdigest()[:16]


def standing_part(ob: Any, meshes: dict[int, bytes]) -> bytes:
    """Give what tells how one part of a chain stands on it and which metal it has; ``meshes`` known already."""
    key = ob.data.as_pointer()
    if key not in meshes:
        meshes[key] = _digest(ob.data)
    return placed(ob) + meshes[key]


def placed(ob: Any) -> bytes:
    """Give what tells where a part stands on its chain."""
    x, y, z, w = ob.matrix_basis
    place: bytes = (np.array((*x, *y, *z, *w)) + 0.0).tobytes()
    return place


def _digest(data: Any) -> bytes:
    points = np.empty(3 * len(data.vertices), dtype=np.float32)
    corners = np.empty(len(data.loops), dtype=np.int32)
    # The same numbers by the names Blender stores them under: without a call for each of them.
    places, ends = data.attributes.get("position"), data.attributes.get(".corner_vert")
    if places is None or ends is None or data.is_editmode:
        data.vertices.foreach_get("co", points)
        data.loops.foreach_get("vertex_index", corners)
    else:
        places.data.foreach_get("vector", points)
        ends.data.foreach_get("value", corners)
    return hashlib.sha256(points.tobytes() + corners.tobytes()).digest()
