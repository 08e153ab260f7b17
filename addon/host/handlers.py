"""What happens on opening a file, undo, and edits: results are cleared, followed curves are watched."""

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import islice
from typing import Any

import bpy
from bpy.app.handlers import persistent

from ..rules.base.errors import LinkwrightError
from ..rules.base.progress import Steps, finish
from .cast_view import cast_view
from .chain_object import chain_of, followed_line, is_chain, read_kept_out, read_link_mesh, refusal
from .checking import checker
from .current import looking, stood
from .gap_colours import colours
from .gap_reader import reader
from .in_view import viewports
from .lattice_edits import handling, has_lattice
from .live_lattice import live
from .long_work import run_slice
from .measured import line_stamp
from .mending import mender
from .own_link import mesh_stamp
from .properties import SCHEMA
from .reasons import reasons
from .remembered import remember
from .results import clear, clear_plan
from .showing import AT_A_TIME, note_home, parts
from .upgrade import bring_up
from .view import redraw

# An edit of more things than these is not gone through at once.
MANY = 48
# How long edits must have stood still before a look; it then goes on in slices that nobody sees a redraw wait for.
PAUSE_S, NEXT_S, SLICE_S = 0.15, 0.001, 0.0003


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
    count.forget()
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
        if not is_chain(ob):
            continue
        bring_up(ob)
        if not refusal(ob) and ob.linkwright.home is None and parts(ob, "LINK"):
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
    reader.changed()
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
    reader.changed()
    edits = _read_edits(depsgraph)
    gone = False
    if edits is None or any(isinstance(edit.item, bpy.types.Scene | bpy.types.Collection) for edit in edits):
        # Hidden, shown, deleted or linked: each is told as a change of the scene.
        viewports.changed(others=edits is None or any(edit.moved or edit.reshaped for edit in edits))
        # Another object may be the active one: what is wrong with it is told, and why a gate stands where it does.
        mender.ask()
        reasons.ask()
        gone = later.gone(depsgraph)
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
        # In the file and in each view layer, by the names of scene and layer.
        self._last: dict[tuple[str, str], tuple[int, int]] = {}

    def changed(self, scene: Any, layer: Any) -> bool:
        """Tell whether there are as many in the file and in a view layer as when it was asked last."""
        objects: Any = bpy.data.objects
        key, now = (scene.name, layer.name), (len(objects), len(layer.objects))
        before, self._last[key] = self._last.get(key), now
        return before != now

    def forget(self) -> None:
        """Take the next count of each for a change."""
        self._last.clear()


def _needs_a_look(parts_of: list[Any], objects: list[Any], edits: list[Edit]) -> bool:
    """Tell whether an edit may be about an inspected thing, a chain, or what a chain follows."""
    watched = any(state.has_result and not state.subject for state in _states())
    followed = any(ob.type in ("CURVE", "MESH") for ob in objects) or len(objects) < len(edits)
    return bool(parts_of) or watched or followed


class Later:
    """The looks that take longer than a redraw may: a moment after the last edit, in slices. Without a window at once.

    Blender's objects are held from one slice to the next: any edit that is about what is looked at begins a look anew,
    and so does an undo, after which none of them may be touched.
    """

    def __init__(self) -> None:
        self.at_once = bpy.app.background
        # Names of what was changed since the last look that came to its end; None: anything may have been.
        self._names: set[str] | None = set()
        # Scenes and view layers whose objects are to be counted.
        self._uncounted: set[tuple[str, str]] = set()
        # When it is time to look, by the clock; None while nothing was asked.
        self._due: float | None = None
        self._steps: Steps[None] | None = None
        # A bound method is a new object at each look-up; timers are told apart by the object.
        self._timer = self._wait

    def ask(self, names: set[str] | None) -> None:
        """Look at what has one of these names, or at everything."""
        self._steps = None
        self._names = None if names is None or self._names is None else self._names | names
        if self.at_once:
            now, self._names = self._names, set()
            finish(self._look(now))
        else:
            self._wait_on()

    def gone(self, depsgraph: Any) -> bool:
        """Tell whether objects came or went; with a window that is counted a moment later, and what follows done."""
        scene, layer = depsgraph.scene, depsgraph.view_layer
        if self.at_once:
            return count.changed(scene, layer)
        self._uncounted.add((scene.name, layer.name))
        self._wait_on()
        return False

    def stop(self) -> None:
        """Look at nothing."""
        self._names, self._due, self._steps = set(), None, None
        self._uncounted.clear()
        if bpy.app.timers.is_registered(self._timer):
            bpy.app.timers.unregister(self._timer)

    def _wait_on(self) -> None:
        self._due = time.monotonic() + PAUSE_S
        if not bpy.app.timers.is_registered(self._timer):
            bpy.app.timers.register(self._timer, first_interval=PAUSE_S, persistent=True)

    def _wait(self) -> float | None:
        """Look a slice at a time once the edits have stood still; gives the seconds to wait until the next."""
        left = 0.0 if self._due is None else self._due - time.monotonic()
        if left > 0.0:
            return left
        if self._uncounted:
            self._count()
            return NEXT_S
        steps = self._steps = self._look(self._names) if self._steps is None else self._steps
        try:
            done, _ = run_slice(steps, SLICE_S)
        except ReferenceError:
            # Something was deleted of which Blender has not told yet: what it says then is about all.
            self._steps, self._names = None, None
            return PAUSE_S
        # Looking may bring Blender's own data up to date, and that be an edit that asks for another look.
        if not done or self._steps is not steps:
            return NEXT_S
        self._names, self._due, self._steps = set(), None, None
        return None

    def _count(self) -> None:
        """Look at everything where objects came or went."""
        scenes: Any = bpy.data.scenes
        asked, self._uncounted = self._uncounted, set()
        found = [(scene, scene.view_layers.get(layer)) for name, layer in asked if (scene := scenes.get(name))]
        # Each is counted, whatever the one before was.
        changes = [count.changed(scene, layer) for scene, layer in found if layer is not None]
        if any(changes):
            self._steps, self._names = None, None
            live.ask()
            reasons.ask()

    def _look(self, names: set[str] | None) -> Steps[None]:
        context: Any = bpy.context
        scene = context.scene
        if scene is None or names == set():
            return
        if names is None:
            objects: Any = bpy.data.objects
            mender.ask((yield from _sorted_out(objects[:], is_chain)))
        touched = None if names is None else frozenset(_named(names))
        ob = chain_of(getattr(context, "active_object", None))
        for state in _states():
            before = state.moved, state.turned, state.by_hand
            yield from looking(state, context.evaluated_depsgraph_get(), touched)
            if touched is None or any(_of_a_chain(item) for item in touched):
                fed = ob is not None and bool(ob.linkwright.figures.lattice_stamp)
                yield 0.0
                done = fed and bool((yield from handling(ob)))
                yield 0.0
                _flag(state, "by_hand", done and has_lattice(ob))
            if before != (state.moved, state.turned, state.by_hand) and not self.at_once:
                redraw(context)
        yield 0.0
        yield from _look_at_lines(scene, touched)


def _sorted_out(items: Sequence[Any], wanted: Callable[[Any], bool]) -> Steps[list[Any]]:
    """Give those that are wanted of many, in steps."""
    found = []
    for number, item in enumerate(items):
        if wanted(item):
            found.append(item)
        if number % AT_A_TIME == AT_A_TIME - 1:
            yield number / len(items)
    return found


def _named(names: set[str]) -> list[Any]:
    """Give the objects and data of some names."""
    data: Any = bpy.data
    found = [kind.get(name) for kind in (data.objects, data.meshes, data.curves) for name in names]
    return [one for one in found if one is not None]


def _look_at_lines(scene: Any, touched: frozenset[Any] | None) -> Steps[None]:
    """Mark the chains whose curve or link mesh is otherwise than it was."""
    for ob in (yield from _chains(scene, touched)):
        yield 0.0
        group = ob.linkwright
        curve = group.curve if group.shape == "curve" else None
        if curve is not None and (touched is None or curve in touched or curve.data in touched):
            _flag(group.figures, "stale", _line_differs(ob, curve))
        own = group.own_link if group.family == "mesh" else None
        if own is not None and (touched is None or own in touched or own.data in touched):
            _flag(group.figures, "own_stale", _link_differs(ob, own))


# Names of each scene's chains with the number of all objects then, so that other objects cost nothing at every edit.
_chain_names: dict[str, tuple[int, tuple[str, ...]]] = {}


def _chains(scene: Any, touched: frozenset[Any] | None) -> Steps[list[Any]]:
    """Give a scene's own chains; objects are gone through only where some have come, gone or are called otherwise."""
    count, names = _chain_names.get(scene.name, (-1, ()))
    objects: Any = bpy.data.objects
    found = [objects.get(name) for name in names]
    fresh = touched is None or any(
        isinstance(item, bpy.types.Object) and is_chain(item) and item not in found for item in touched
    )
    if count != len(objects) or fresh or not all(is_chain(ob) for ob in found):
        found = yield from _sorted_out(scene.objects[:], lambda ob: is_chain(ob) and ob.library is None)
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
