"""A chain that was copied alone, deleted in part or linked from another file: what is wrong with it, and mending it.

What its parts hang from is kept twice: each part is parented to its chain, and the collection the parts are in
remembers what the chain was asked for, so that it can be made again from its links alone.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

import bpy

from .chain_object import chain_of, is_chain, newer, of_library, rebuild
from .conversions import fill_mesh, mesh_arrays
from .remembered import recall
from .result_state import state_of
from .showing import in_scenes, note_home, parts
from .view import redraw

PAUSE_S, WAIT_S = 0.1, 0.5
# Blender's operators that have something in hand until the mouse is clicked.
IN_HAND = ("TRANSFORM_OT_", "OBJECT_OT_duplicate_move")


@dataclass(frozen=True, slots=True)
class Trouble:
    """What is wrong with a chain, in words, and what the button that mends it says; no button, nothing to mend."""

    kind: str
    text: str
    button: str = ""


def trouble_of(active: Any) -> Trouble | None:
    """Tell what is wrong with the chain an object is or belongs to."""
    if active is None:
        return None
    ob = chain_of(active)
    if ob is None:
        return _of_a_part(active)
    if of_library(ob):
        return Trouble(
            "linked", f"{ob.name} belongs to another file: it is shown as it is there", "Make a Chain of This File"
        )
    if newer(ob):
        return Trouble(
            "newer", f"{ob.name} was made by a newer version of Linkwright: it stays as it is. Update Linkwright"
        )
    return _of_objects(ob) or _of_links(ob)


def _of_a_part(active: Any) -> Trouble | None:
    if active.linkwright.part == "NONE" or active.library is not None:
        return None
    home = _told_home(active)
    if home is not None:
        return Trouble("alone", "The object of this chain was deleted; its links are left", "Bring the Chain Back")
    if active.linkwright.part == "LINK" and active.parent is None:
        return Trouble("loose", "This link has lost its chain: it is a plain mesh that cannot be moved", "Set Free")
    return None


def _of_objects(ob: Any) -> Trouble | None:
    """Tell of the curve a chain follows, and of its link mesh."""
    group = ob.linkwright
    for wanted, there, what in (
        (group.shape == "curve", group.curve, "curve"),
        (group.family == "mesh", group.own_link, "link mesh"),
    ):
        kind = what.replace(" ", "_")
        if wanted and there is None:
            return Trouble(kind, f"The {what} of {ob.name} was deleted", f"Make a {what.title()} of the Links")
        if wanted and not there.users_scene:
            told = f"{there.name}, the {what} of {ob.name}, was deleted"
            return Trouble(kind, told, f"Bring the {what.title()} Back")
    return None


def _of_links(ob: Any) -> Trouble | None:
    """Tell of links that are missing, or too many."""
    wanted = ob.linkwright.figures.links
    have = in_scenes(ob, parts(ob, "LINK"))
    numbers = {link.linkwright.number for link in have}
    missing = wanted - len(numbers)
    if missing <= 0:
        return None
    if not have:
        return Trouble("links", f"{ob.name} has no links", "Make the Links")
    told = "a link is" if missing == 1 else f"{missing} links are"
    return Trouble("links", f"{told[:1].upper()}{told[1:]} missing from {ob.name}", "Make Missing Links")


def mend(active: Any, context: Any) -> str:
    """Mend what is wrong with the chain an object is or belongs to; say what was done. Raises LinkwrightError."""
    found = trouble_of(active)
    if found is None or not found.button:
        return ""
    ob = chain_of(active)
    done: dict[str, Callable[[], str]] = {
        "linked": lambda: _own_copy(ob, context),
        "alone": lambda: _brought_back(active, context),
        "loose": lambda: _set_free(active),
        "curve": lambda: _curve_back(ob, context),
        "link_mesh": lambda: _mesh_back(ob, context),
        "links": lambda: _links_back(ob, context),
    }
    return done[found.kind]()


def complete_copy(ob: Any) -> bool:
    """Give a chain whose object was copied alone copies of its original's parts; tell whether it was such a copy."""
    origin = _origin(ob)
    if origin is None:
        return False
    home = note_home(ob, fresh=True)
    for part in parts(origin, "LINK") + parts(origin, "STRUT"):
        made = part.copy()
        made.parent = ob
        made.matrix_parent_inverse = part.matrix_parent_inverse
        home.objects.link(made)
    return True


def _origin(ob: Any) -> Any:
    """Give the chain that another without parts was copied from, if the copy still is like it."""
    if not is_chain(ob) or of_library(ob) or ob.linkwright.home is None or not ob.users_scene:
        return None
    if parts(ob, "LINK"):
        return None
    stamp = ob.linkwright.figures.stamp
    owners = {part.parent for part in ob.linkwright.home.objects if part.linkwright.part == "LINK"}
    alike = [one for one in owners if is_chain(one) and one.linkwright.figures.stamp == stamp]
    return min(alike, key=lambda one: one.name) if alike else None


def own_homes(objects: Iterable[Any]) -> None:
    """Give copied chains a collection of their own for their parts, so that each can be appended without the other."""
    for ob in objects:
        home = ob.linkwright.home
        if not is_chain(ob) or of_library(ob) or home is None or home.library is not None:
            continue
        others = {part.parent for part in home.objects if part.linkwright.part != "NONE" and is_chain(part.parent)}
        if ob not in others or len(others) < 2 or ob.name == min(one.name for one in others):
            continue
        mine = [part for part in home.objects if part.parent == ob]
        fresh = note_home(ob, fresh=True)
        for part in mine:
            fresh.objects.link(part)
            home.objects.unlink(part)


def _links_back(ob: Any, context: Any) -> str:
    if complete_copy(ob):
        return f"{ob.name}: its links are there"
    home, own = note_home(ob), parts(ob, "LINK") + parts(ob, "STRUT")
    here = set(in_scenes(ob, own))
    for part in own:
        if part not in here and not part.users_collection:
            home.objects.link(part)
    _show_home(home, context)
    if _of_links(ob) is not None:
        rebuild(ob, context)
    return f"{ob.name}: its {ob.linkwright.figures.links} links are there"


def _show_home(home: Any, context: Any) -> None:
    scenes: Any = bpy.data.scenes
    if not any(home == one for scene in scenes for one in scene.collection.children_recursive):
        context.scene.collection.children.link(home)


def _brought_back(active: Any, context: Any) -> str:
    """Make a chain's object again from what the collection of its parts remembers."""
    home = _told_home(active)
    left = [part for part in home.objects if part.linkwright.part != "NONE" and part.parent is None]
    ob = recall(home)
    context.scene.collection.objects.link(ob)
    for part in left:
        part.parent = ob
    if any(part.linkwright.part == "STRUT" for part in left):
        # There is a lattice; that it stands for nothing that is known has it planned anew.
        ob.linkwright.figures.lattice_stamp = "unknown"
    context.view_layer.update()
    rebuild(ob, context)
    context.view_layer.objects.active = ob
    ob.select_set(True)
    return f"{ob.name} is a chain again"


def _set_free(active: Any) -> str:
    active.linkwright.part = "NONE"
    active.lock_location = active.lock_rotation = active.lock_scale = (False, False, False)
    return f"{active.name} is a plain mesh"


def _curve_back(ob: Any, context: Any) -> str:
    group = ob.linkwright
    curve = group.curve
    if curve is None:
        curve = _line_through(ob, parts(ob, "LINK"))
        context.scene.collection.objects.link(curve)
        context.view_layer.update()
        group.curve = curve
        return f"{curve.name}: a line through the links; the chain follows it"
    context.scene.collection.objects.link(curve)
    context.view_layer.update()
    rebuild(ob, context)
    return f"{curve.name} is back in the scene"


def _line_through(ob: Any, links: list[Any]) -> Any:
    """Make a curve through the middles of links."""
    places = [ob.matrix_world @ link.matrix_basis.translation for link in links]
    if len(places) > 1 and not ob.linkwright.figures.closed:
        # The line goes on to the outer ends of the first and the last link.
        places = [places[0] + (places[0] - places[1]), *places, places[-1] + (places[-1] - places[-2])]
    data: Any = bpy.data.curves.new(f"{ob.name} line", "CURVE")
    data.dimensions = "3D"
    spline = data.splines.new("POLY")
    spline.points.add(len(places) - 1)
    for point, at in zip(spline.points, places, strict=True):
        point.co = (*at, 1.0)
    spline.use_cyclic_u = ob.linkwright.figures.closed
    return bpy.data.objects.new(data.name, data)


def _mesh_back(ob: Any, context: Any) -> str:
    group = ob.linkwright
    own = group.own_link
    if own is not None:
        context.scene.collection.objects.link(own)
        context.view_layer.update()
        rebuild(ob, context)
        return f"{own.name} is back in the scene"
    links = parts(ob, "LINK")
    if not links:
        return ""
    data: Any = bpy.data.meshes.new(f"{ob.name} link")
    fill_mesh(data, *mesh_arrays(links[0].data), smooth=False)
    own = bpy.data.objects.new(data.name, data)
    own.location = ob.matrix_world.translation
    own.location.z += 3.0 * max(links[0].dimensions)
    context.scene.collection.objects.link(own)
    context.view_layer.update()
    group.hold = True
    # A placed link lies along x, whichever way the mesh lay that it was read from.
    group.axis_by = "X"
    group.hold = False
    group.own_link = own
    return f"{own.name}: a copy of the first link; the chain is made of it"


def _own_copy(ob: Any, context: Any) -> str:
    """Make a chain of this file out of one that is linked from another, and show it in its place."""
    linked = [child for child in ob.children if child.linkwright.part != "NONE"]
    copy = _local_copy(ob)
    copy.linkwright.hold = False
    copy.linkwright.home = None
    home = note_home(copy, fresh=True)
    data: dict[Any, Any] = {}
    for part in linked:
        made = _local_copy(part)
        if part.data not in data:
            data[part.data] = _local_copy(part.data)
        made.data = data[part.data]
        made.parent = copy
        made.matrix_parent_inverse = part.matrix_parent_inverse
        home.objects.link(made)
    context.scene.collection.objects.link(copy)
    _show_home(home, context)
    for one in [*linked, ob]:
        for around in list(one.users_collection):
            if around.library is None and around.override_library is None:
                around.objects.unlink(one)
    _hide_linked_homes(ob, context)
    copy.linkwright.figures.message = ""
    context.view_layer.update()
    context.view_layer.objects.active = copy
    copy.select_set(True)
    return f"{copy.name} is a chain of this file"


def _local_copy(item: Any) -> Any:
    made = item.copy()
    return made.make_local(clear_liboverride=True) if made.override_library is not None else made


def _hide_linked_homes(ob: Any, context: Any) -> None:
    """Take the collections that show a linked chain out of the scene."""
    root = context.scene.collection
    gone = {home for child in ob.children for home in child.users_collection} | set(ob.users_collection)
    for around in [root, *root.children_recursive]:
        if around.library is not None or around.override_library is not None:
            continue
        for home in [one for one in around.children if one in gone and (one.library or one.override_library)]:
            around.children.unlink(home)


def _told_home(active: Any) -> Any:
    """Give the collection that remembers the chain of a part whose chain is gone, or None."""
    if active.parent is not None:
        return None
    homes = [home for home in active.users_collection if home.linkwright_settings]
    return homes[0] if homes else None


def _moving(context: Any) -> bool:
    """Tell whether the maker is just moving something, or what was just copied."""
    windows = context.window_manager.windows
    return any(op.bl_idname.startswith(IN_HAND) for window in windows for op in window.modal_operators)


class Mender:
    """Looks a moment after an edit what is wrong with the active chain, and completes chains that were copied alone."""

    def __init__(self) -> None:
        # Without a window nobody waits for the timer: asked what is wrong, it looks.
        self.at_once = bpy.app.background
        # A bound method is a new object at each look-up; timers are told apart by the object.
        self._timer = self._tick
        self._copied: set[str] = set()

    def ask(self, copied: Iterable[Any] = ()) -> None:
        """Look a moment later; ``copied`` are chains whose objects have come or were moved."""
        self._copied |= {ob.name for ob in copied}
        if not self.at_once and not bpy.app.timers.is_registered(self._timer):
            bpy.app.timers.register(self._timer, first_interval=PAUSE_S, persistent=True)

    def stop(self) -> None:
        """Forget what was asked."""
        if bpy.app.timers.is_registered(self._timer):
            bpy.app.timers.unregister(self._timer)
        self._copied.clear()

    def button(self, context: Any) -> str:
        """Give the words of the button that mends the active chain, or nothing; with a window as last looked."""
        if not self.at_once:
            return str(state_of(context).trouble_button)
        found = trouble_of(context.active_object)
        return "" if found is None else found.button

    def look(self, context: Any) -> None:
        """Look now."""
        objects: Any = bpy.data.objects
        asked = [objects[name] for name in sorted(self._copied) if name in objects]
        self._copied.clear()
        for ob in asked:
            complete_copy(ob)
        own_homes(asked)
        state, found = state_of(context), trouble_of(context.active_object)
        told = ("", "") if found is None else (found.text, found.button)
        if (state.trouble, state.trouble_button) != told:
            state.trouble, state.trouble_button = told
            redraw(context)

    def _tick(self) -> float | None:
        context: Any = bpy.context
        if state_of(context).running or _moving(context):
            return WAIT_S
        self.look(context)
        return None


# Blender's timers need one owner that lives as long as the extension is enabled.
mender = Mender()
