"""Whether the results that are kept are still those of what stands in the scene.

A chain is told by the stamp of its sizes and by how its parts stand on it, other meshes by how they stand.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from typing import Any

import bpy
import numpy as np

from ..rules.base.progress import Steps, finish
from ..rules.solid.mesh import FloatArray
from .conversions import double
from .showing import parts_found
from .stamps import stamp
from .surfaces import placed, standing, standing_part, standing_parts

# Directions that differ by less are one: about a hundredth of a degree.
SAME_UP = 2e-4


def dated_now(ob: Any, scene: Any) -> str:
    """Give the stamp of a chain as it stands with the scene's settings."""
    figures = ob.linkwright.figures
    lattice = (ob.linkwright.edits,) if figures.lattice_stamp else ()
    return stamp(figures.stamp, figures.curve_stamp, scene.linkwright.stamp, *lattice)


def is_current(state: Any, scene: Any) -> bool:
    """Tell whether the findings still belong to their chain, or their objects, as they stand in this scene."""
    if state.moved or state.turned:
        return False
    if not state.subject:
        return bool(state.scene == scene.name and state.stamp == scene.linkwright.stamp)
    return _is_current_chain(state, scene.objects.get(state.subject), scene)


def _is_current_chain(state: Any, ob: Any, scene: Any) -> bool:
    return ob is not None and bool(state.stamp == dated_now(ob, scene))


def as_printed(state: Any, scene: Any) -> bool:
    """Tell whether the findings are current, and the links at the places they belong to: not shown as worn."""
    if not state.subject:
        return is_current(state, scene)
    if state.moved or state.turned:
        return False
    ob = scene.objects.get(state.subject)
    return _is_current_chain(state, ob, scene) and not ob.linkwright.figures.worn_view


def up_of(ob: Any) -> FloatArray:
    """Give the direction (3,) that is up in a chain's own coordinates as its object stands."""
    up = double(ob.matrix_world)[2, :3]
    return up / max(float(np.linalg.norm(up)), 1e-12)


class Stood:
    """How each part of the inspected chain stood, so that one that was moved is known without a look at the others."""

    def __init__(self) -> None:
        self._serial = -1
        self._parts: dict[str, bytes] = {}

    def keep(self, serial: int, stood_then: dict[str, bytes]) -> None:
        """Keep how the parts of a result stand."""
        self._serial, self._parts = serial, stood_then

    def differs(self, state: Any, part: Any, *, reshaped: bool = True) -> bool:
        """Tell whether a part of the chain of the result in ``state`` stands otherwise, or if ``reshaped`` looks so."""
        then = self._parts.get(part.name, b"") if self._serial == state.serial else b""
        return standing_part(part, {}) != then if reshaped else not then.startswith(placed(part))


# Beside the one result that is kept.
stood = Stood()


def watch(state: Any, objects: Iterable[Any], depsgraph: Any) -> None:
    """Remember how inspected objects stand, instances included, so that `look_again` can tell when they do no more."""
    _watch(state, depsgraph.scene, standing(frozenset(objects), depsgraph))


def watch_chain(state: Any, ob: Any, scene: Any) -> None:
    """Remember in the same way how the parts of an inspected chain stand on it."""
    meshes: dict[int, bytes] = {}
    own = finish(parts_found(ob, "LINK", "STRUT"))
    stood.keep(state.serial, {part.name: standing_part(part, meshes) for part in own})
    _watch(state, scene, {ob.name: finish(standing_parts(own))})


def _watch(state: Any, scene: Any, stands: Mapping[str, str]) -> None:
    state.objects.clear()
    state.scene = scene.name
    for name, stamp_of in stands.items():
        row = state.objects.add()
        row.name, row.stamp = name, stamp_of


def look_again(state: Any, depsgraph: Any, touched: Collection[Any] | None = None) -> None:
    """Mark the findings out of date when an object or a link was moved or changed, and current when all are back.

    What is only hidden counts as it was, and a chain shown as worn as it was printed. ``touched``: the only objects
    and data that may be otherwise than they were.
    """
    finish(looking(state, depsgraph, touched))


def looking(state: Any, depsgraph: Any, touched: Collection[Any] | None = None) -> Steps[None]:
    """Look again in steps of a part of the chain each; nothing is marked before the last.

    Whoever pauses between them begins anew where something was changed meanwhile; ``depsgraph`` is asked for nothing
    after the first pause. Other meshes are looked at in one step, as what Blender shows of them must not change.
    """
    scene, serial = depsgraph.scene, state.serial
    if not state.has_result or state.scene != scene.name:
        return
    if touched is not None and not _concerned(state, touched):
        return
    # Looking up by name is quick among all objects, and slow among those of a scene.
    there: Any = bpy.data.objects if touched is not None else scene.objects
    objects = {row.name: there.get(row.name) for row in state.objects}
    if state.subject:
        ob = objects.get(state.subject)
        if ob is None or ob.linkwright.figures.worn_view:
            return
        stands = yield from standing_parts((yield from parts_found(ob, "LINK", "STRUT")))
        # Another result, or the chain as worn, may have come between two steps.
        if state.serial != serial or ob.linkwright.figures.worn_view:
            return
        moved = any(stands != row.stamp for row in state.objects)
        # Where a chain stands plays no part, nor how it is turned about the vertical; which way is up does for a print.
        turned = any(state.up) and bool(np.abs(up_of(ob) - np.array(state.up, dtype=np.float64)).max() > SAME_UP)
        if state.turned != turned:
            state.turned = turned
    else:
        seen = {ob for ob in objects.values() if ob is not None and ob.visible_get(view_layer=depsgraph.view_layer)}
        stand = standing(seen, depsgraph)
        moved = any(
            objects[row.name] is None or (objects[row.name] in seen and stand.get(row.name) != row.stamp)
            for row in state.objects
        )
    if state.moved != moved:
        state.moved = moved


def _concerned(state: Any, touched: Collection[Any]) -> bool:
    """Tell whether a change of some objects and data may be one of what is shown of inspected objects."""
    if state.subject:
        # A chain, or a part of one; whose it is would take longer to find than to look at the one that was inspected.
        ours: Any = [one for one in touched if isinstance(one, bpy.types.Object)]
        return any(one.linkwright.schema or one.linkwright.part != "NONE" for one in ours)
    objects: Any = bpy.data.objects
    found = [objects.get(row.name) for row in state.objects]
    return any(ob is None or _instances(ob) or ob in touched or ob.data in touched for ob in found)


def _instances(ob: Any) -> bool:
    return ob.instance_type != "NONE" or any(one.type == "NODES" for one in ob.modifiers)
