"""What happens on opening a file, undo, and edits: results are cleared, followed curves are watched."""

import time
from dataclasses import dataclass
from itertools import islice
from typing import Any

import bpy
from bpy.app.handlers import persistent

from ..rules.base.errors import LinkwrightError
from .cast_view import cast_view
from .chain_object import chain_of, followed_line, is_chain, read_kept_out, read_link_mesh, refusal
from .checking import checker
from .gap_colours import colours
from .gap_reader import reader
from .in_view import viewports
from .lattice_edits import handled, has_lattice
from .live_lattice import live
from .measured import line_stamp
from .mending import mender
from .own_link import mesh_stamp
from .properties import SCHEMA
from .reasons import reasons
from .remembered import remember
from .results import clear, clear_plan, look_again, stood
from .showing import note_home, parts
from .upgrade import bring_up
from .view import redraw

# An edit of more things than these is not gone through at once.
MANY = 48
PAUSE_S = 0.15


def _states() -> list[Any]:
    managers: Any = bpy.data.window_managers
    return [manager.linkwright for manager in managers]


def _before_load(*_: Any) -> None:
    """Forget results before another file opens; what runs is stopped by Blender itself."""
    checker.stop()
    later.stop()
    live.stop()
    mender.stop()
    reader.stop()
    reasons.stop()
    _chain_names.clear()
    viewports.changed()
    colours.forget()
    cast_view.stop()
    for state in _states():
        state.property_unset("reasons_of")
        clear(state)
        clear_plan(state)
        state.property_unset("running")


def _after_load(*_: Any) -> None:
    """Bring older chains up; say so of those made by a newer version, which stay as they are."""
    _before_load()
    objects: Any = bpy.data.objects
    mender.ask()
    for ob in objects:
        bring_up(ob)
        if is_chain(ob) and not refusal(ob) and ob.linkwright.home is None and parts(ob, "LINK"):
            note_home(ob)
            remember(ob)
        if ob.linkwright.schema > SCHEMA and ob.library is None:
            ob.linkwright.figures.message = (
                f"{ob.name} was made by a newer version of Linkwright and is shown as it is; update Linkwright to "
                "change it"
            )


def _after_undo(*_: Any) -> None:
    """Measure the active chain again where undo brought back a draft; look whether inspected meshes are back."""
    context: Any = bpy.context
    _chain_names.clear()
    viewports.changed()
    later.ask(None)
    ob = chain_of(getattr(context, "active_object", None))
    if ob is not None:
        checker.ask(ob)
    live.ask()
    reasons.ask()


def _edited(_scene: Any, depsgraph: Any) -> None:
    """Mark results and chains whose objects were changed; only flags: changes made here are outside undo.

    At once only what tells itself from the changed objects; what needs a look at all parts follows a moment later.
    """
    if depsgraph.mode != "VIEWPORT":
        return
    edits = _read_edits(depsgraph)
    gone = False
    if edits is None or any(isinstance(edit.item, bpy.types.Scene | bpy.types.Collection) for edit in edits):
        # Hidden, shown, deleted or linked: each is told as a change of the scene.
        viewports.changed()
        # Another object may be the active one: what is wrong with it is told, and why a gate stands where it does.
        mender.ask()
        reasons.ask()
        gone = count.changed(depsgraph)
    if edits is not None and not gone and not any(edit.moved or edit.reshaped for edit in edits):
        return
    live.ask()
    reasons.ask()
    if edits is None or gone:
        later.ask(None)
        return
    objects: list[Any] = [edit.item for edit in edits if isinstance(edit.item, bpy.types.Object)]
    mender.ask(edit.item for edit in edits if edit.moved and edit.item in objects and is_chain(edit.item))
    parts_of = [ob for ob in objects if ob.linkwright.part != "NONE" or is_chain(ob)]
    for state in _states():
        if state.has_result and state.subject and not state.moved:
            own = [edit for edit in edits if edit.item in parts_of and _of(edit.item) == state.subject]
            if any(stood.differs(state, edit.item, reshaped=edit.reshaped) for edit in own):
                state.moved = True
    if _needs_a_look(parts_of, objects, edits):
        later.ask({edit.item.name for edit in edits})


def _of(part: Any) -> str:
    """Give the name of the chain that a part stands on as printed, or nothing."""
    chain = part.parent
    return "" if chain is None or chain.linkwright.figures.worn_view else str(chain.name)


@dataclass(frozen=True, slots=True)
class Edit:
    """One changed thing of an edit, and what of it changed."""

    item: Any
    moved: bool
    reshaped: bool


def _read_edits(depsgraph: Any) -> list[Edit] | None:
    """Read what an edit was about; None where that is too much to go through between two redraws."""
    updates = list(islice(depsgraph.updates, MANY + 1))
    if len(updates) > MANY:
        return None
    return [Edit(u.id.original, u.is_updated_transform, u.is_updated_geometry) for u in updates]


class Count:
    """How many objects there are, so that none comes or goes unseen."""

    def __init__(self) -> None:
        self._last = (-1, -1)

    def changed(self, depsgraph: Any) -> bool:
        """Tell whether there are as many in the file and in the view layer as at the last edit."""
        objects: Any = bpy.data.objects
        before, self._last = self._last, (len(objects), len(depsgraph.view_layer.objects))
        return before != self._last


def _needs_a_look(parts_of: list[Any], objects: list[Any], edits: list[Edit]) -> bool:
    """Tell whether an edit may be about an inspected thing, a chain, or what a chain follows."""
    watched = any(state.has_result and not state.subject for state in _states())
    followed = any(ob.type in ("CURVE", "MESH") for ob in objects) or len(objects) < len(edits)
    return bool(parts_of) or watched or followed


class Later:
    """The looks that take longer than a redraw may: once, a moment after the last edit. Without a window at once."""

    def __init__(self) -> None:
        self.at_once = bpy.app.background
        # Names of what was changed since the last look; None: anything may have been.
        self._names: set[str] | None = set()
        # When it is time to look, by the clock; None while nothing was asked.
        self._due: float | None = None
        # A bound method is a new object at each look-up; timers are told apart by the object.
        self._timer = self._wait

    def ask(self, names: set[str] | None) -> None:
        """Look at what has one of these names, or at everything."""
        self._names = None if names is None or self._names is None else self._names | names
        if self.at_once:
            self._look()
            return
        waits, self._due = self._due is not None, time.monotonic() + PAUSE_S
        if not waits:
            bpy.app.timers.register(self._timer, first_interval=PAUSE_S, persistent=True)

    def stop(self) -> None:
        """Look at nothing."""
        self._names, self._due = set(), None
        if bpy.app.timers.is_registered(self._timer):
            bpy.app.timers.unregister(self._timer)

    def _wait(self) -> float | None:
        """Look once the edits have stood still; gives the seconds to wait until then."""
        left = 0.0 if self._due is None else self._due - time.monotonic()
        if left > 0.0:
            return left
        self._due = None
        self._look()
        return None

    def _look(self) -> None:
        names, self._names = self._names, set()
        context: Any = bpy.context
        if context.scene is None:
            return
        objects: Any = bpy.data.objects
        if names is None:
            mender.ask(one for one in objects if is_chain(one))
        depsgraph = context.evaluated_depsgraph_get()
        touched = None if names is None else frozenset(_named(names))
        ob = chain_of(getattr(context, "active_object", None))
        for state in _states():
            before = state.moved, state.turned, state.by_hand
            look_again(state, depsgraph, touched)
            if touched is None or any(_of_a_chain(item) for item in touched):
                fed = ob is not None and bool(ob.linkwright.figures.lattice_stamp)
                _flag(state, "by_hand", fed and bool(handled(ob)) and has_lattice(ob))
            if before != (state.moved, state.turned, state.by_hand) and not self.at_once:
                redraw(context)
        _look_at_lines(context.scene, touched)


def _named(names: set[str]) -> list[Any]:
    """Give the objects and data of some names."""
    data: Any = bpy.data
    found = [kind.get(name) for kind in (data.objects, data.meshes, data.curves) for name in names]
    return [one for one in found if one is not None]


def _look_at_lines(scene: Any, touched: frozenset[Any] | None) -> None:
    """Mark the chains whose curve or link mesh is otherwise than it was."""
    for ob in _chains(scene, touched):
        group = ob.linkwright
        curve = group.curve if group.shape == "curve" else None
        if curve is not None and (touched is None or curve in touched or curve.data in touched):
            _flag(group.figures, "stale", _line_differs(ob, curve))
        own = group.own_link if group.family == "mesh" else None
        if own is not None and (touched is None or own in touched or own.data in touched):
            _flag(group.figures, "own_stale", _link_differs(ob, own))


# Names of each scene's chains with the number of all objects then, so that other objects cost nothing at every edit.
_chain_names: dict[str, tuple[int, tuple[str, ...]]] = {}


def _chains(scene: Any, touched: frozenset[Any] | None) -> list[Any]:
    """Give a scene's own chains; objects are gone through only where some have come, gone or are called otherwise."""
    count, names = _chain_names.get(scene.name, (-1, ()))
    objects: Any = bpy.data.objects
    found = [objects.get(name) for name in names]
    fresh = touched is None or any(
        isinstance(item, bpy.types.Object) and is_chain(item) and item not in found for item in touched
    )
    if count != len(objects) or fresh or not all(is_chain(ob) for ob in found):
        found = [ob for ob in scene.objects if is_chain(ob) and ob.library is None]
        _chain_names[scene.name] = len(objects), tuple(ob.name for ob in found)
    return found


def _of_a_chain(item: Any) -> bool:
    if not isinstance(item, bpy.types.Object):
        return False
    ob: Any = item
    return ob.linkwright.part != "NONE" or is_chain(ob)


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


later = Later()
count = Count()

# Without the mark of Blender's decorator a handler is gone after the next file is opened.
before_load: Any = persistent(_before_load)
after_load: Any = persistent(_after_load)
after_undo: Any = persistent(_after_undo)
edited: Any = persistent(_edited)
