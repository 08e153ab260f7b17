"""What happens on opening a file, undo, and edits: results are cleared, followed curves are watched."""

from typing import Any

import bpy
from bpy.app.handlers import persistent

from ..rules.base.errors import LinkwrightError
from .chain_object import chain_of, followed_line, is_chain, line_stamp
from .checking import checker
from .properties import SCHEMA
from .results import clear, clear_plan


def _states() -> list[Any]:
    managers: Any = bpy.data.window_managers
    return [manager.linkwright for manager in managers]


def _before_load(*_: Any) -> None:
    """Forget results before another file opens; what runs is stopped by Blender itself."""
    checker.stop()
    for state in _states():
        clear(state)
        clear_plan(state)
        state.property_unset("running")


def _after_load(*_: Any) -> None:
    """Say so of chains made by a newer version, which stay as they are."""
    _before_load()
    objects: Any = bpy.data.objects
    for ob in objects:
        if ob.linkwright.schema > SCHEMA and ob.library is None:
            ob.linkwright.figures.message = (
                f"{ob.name} was made by a newer version of Linkwright and is shown as it is; update Linkwright to "
                "change it"
            )


def _after_undo(*_: Any) -> None:
    """Measure the active chain again where undo brought back a draft."""
    context: Any = bpy.context
    ob = chain_of(getattr(context, "active_object", None))
    if ob is not None:
        checker.ask(ob)


def _edited(scene: Any, depsgraph: Any) -> None:
    """Mark chains whose followed curve was changed. Only a flag is set: changes made here are outside undo."""
    curves = {update.id.original for update in depsgraph.updates if _is_changed_curve(update)}
    if not curves:
        return
    for ob in scene.objects:
        if not is_chain(ob) or ob.linkwright.shape != "curve" or ob.library is not None:
            continue
        curve = ob.linkwright.curve
        if curve is not None and (curve in curves or curve.data in curves):
            stale = _differs(ob, curve)
            if ob.linkwright.figures.stale != stale:
                ob.linkwright.figures.stale = stale


def _is_changed_curve(update: Any) -> bool:
    if not (update.is_updated_geometry or update.is_updated_transform):
        return False
    item = update.id
    return isinstance(item, bpy.types.Curve) or (isinstance(item, bpy.types.Object) and item.type == "CURVE")


def _differs(ob: Any, curve: Any) -> bool:
    if curve.mode == "EDIT":
        return True
    try:
        return line_stamp(followed_line(ob, bpy.context)) != str(ob.linkwright.figures.curve_stamp)
    except LinkwrightError:
        return True


# Without the mark of Blender's decorator a handler is gone after the next file is opened.
before_load: Any = persistent(_before_load)
after_load: Any = persistent(_after_load)
after_undo: Any = persistent(_after_undo)
edited: Any = persistent(_edited)
