"""What happens on opening a file, undo, and edits: results are cleared, followed curves are watched."""

from typing import Any

import bpy
from bpy.app.handlers import persistent

from ..rules.base.errors import LinkwrightError
from .chain_object import chain_of, followed_line, is_chain, read_kept_out, read_link_mesh
from .checking import checker
from .lattice_edits import handled, has_lattice
from .live_lattice import live
from .measured import line_stamp
from .own_link import mesh_stamp
from .properties import SCHEMA
from .reasons import reasons
from .results import clear, clear_plan, look_again
from .upgrade import bring_up


def _states() -> list[Any]:
    managers: Any = bpy.data.window_managers
    return [manager.linkwright for manager in managers]


def _before_load(*_: Any) -> None:
    """Forget results before another file opens; what runs is stopped by Blender itself."""
    checker.stop()
    live.stop()
    reasons.stop()
    for state in _states():
        state.property_unset("reasons_of")
        clear(state)
        clear_plan(state)
        state.property_unset("running")


def _after_load(*_: Any) -> None:
    """Bring older chains up; say so of those made by a newer version, which stay as they are."""
    _before_load()
    objects: Any = bpy.data.objects
    for ob in objects:
        bring_up(ob)
        if ob.linkwright.schema > SCHEMA and ob.library is None:
            ob.linkwright.figures.message = (
                f"{ob.name} was made by a newer version of Linkwright and is shown as it is; update Linkwright to "
                "change it"
            )


def _after_undo(*_: Any) -> None:
    """Measure the active chain again where undo brought back a draft; look whether inspected meshes are back."""
    context: Any = bpy.context
    for state in _states():
        if state.has_result:
            look_again(state, context.evaluated_depsgraph_get())
    ob = chain_of(getattr(context, "active_object", None))
    if ob is not None:
        checker.ask(ob)
    live.ask()
    reasons.ask()


def _edited(scene: Any, depsgraph: Any) -> None:
    """Mark results and chains whose objects were changed; only flags: changes made here are outside undo."""
    if any(_moves_something(update) for update in depsgraph.updates) and depsgraph.mode == "VIEWPORT":
        ob = chain_of(getattr(bpy.context, "active_object", None))
        for state in _states():
            look_again(state, depsgraph)
            _flag(state, "by_hand", ob is not None and bool(handled(ob)) and has_lattice(ob))
        live.ask()
        reasons.ask()
    changed = {update.id.original for update in depsgraph.updates if _is_changed(update)}
    if not changed:
        return
    for ob in scene.objects:
        if not is_chain(ob) or ob.library is not None:
            continue
        group = ob.linkwright
        curve = group.curve if group.shape == "curve" else None
        if curve is not None and (curve in changed or curve.data in changed):
            _flag(group.figures, "stale", _line_differs(ob, curve))
        own = group.own_link if group.family == "mesh" else None
        if own is not None and (own in changed or own.data in changed):
            _flag(group.figures, "own_stale", _link_differs(ob, own))


def _moves_something(update: Any) -> bool:
    """Tell whether anything shown may stand or look otherwise; a change of a scene may have taken an object away."""
    return update.is_updated_geometry or update.is_updated_transform or isinstance(update.id, bpy.types.Scene)


def _is_changed(update: Any) -> bool:
    if not (update.is_updated_geometry or update.is_updated_transform):
        return False
    item = update.id
    if isinstance(item, bpy.types.Object):
        return item.type in ("CURVE", "MESH")
    return isinstance(item, bpy.types.Curve | bpy.types.Mesh)


def _flag(figures: Any, name: str, value: bool) -> None:
    if getattr(figures, name) != value:
        setattr(figures, name, value)


def _line_differs(ob: Any, curve: Any) -> bool:
    if curve.mode == "EDIT":
        return True
    try:
        return line_stamp(followed_line(ob, bpy.context)) != str(ob.linkwright.figures.curve_stamp)
    except LinkwrightError:
        return True


def _link_differs(ob: Any, own: Any) -> bool:
    if own.mode == "EDIT":
        return True
    try:
        kept = read_kept_out(ob, bpy.context)
        return mesh_stamp(read_link_mesh(ob, bpy.context), kept) != str(ob.linkwright.figures.own_stamp)
    except LinkwrightError:
        return True


# Without the mark of Blender's decorator a handler is gone after the next file is opened.
before_load: Any = persistent(_before_load)
after_load: Any = persistent(_after_load)
after_undo: Any = persistent(_after_undo)
edited: Any = persistent(_edited)
