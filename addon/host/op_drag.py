"""Operators that drag a size of the active chain in the 3D view: from a handle, or from the search and the keyboard.

A drag is one undo step, follows the pointer with drafts, and ends on the last size that can be built.
"""

from __future__ import annotations

from typing import Any

from bpy.props import FloatProperty
from bpy.types import Operator

from ..rules.base.errors import BadInput, LinkwrightError
from .chain_object import chain_of, change_together, check_unscaled, refusal, scene_of
from .checking import checker
from .conversions import double
from .handles import Handle, along_line, size_handle, view_ray, width_handle
from .live_lattice import live
from .long_work import idle
from .panel_names import words_of
from .pointing import Pointer
from .translated import told, told_report
from .units import exact, mm_per_unit
from .view import redraw

HINT = "Move: change it    Ctrl: whole steps    Shift: finely    Release or click: done    Esc: as it was"
FINE = 0.1


class Dragging:
    """What drags share: a subclass gives its `handle`, and the ``step`` that Ctrl keeps to."""

    step = 1.0

    @staticmethod
    def handle(ob: Any, mm: float) -> Handle | None:
        """Give what is dragged."""
        raise NotImplementedError

    @classmethod
    def poll(cls: Any, context: Any) -> bool:
        """Ask for a chain that may be changed, shown as it is printed, and nothing running."""
        ob = chain_of(context.active_object)
        if ob is None:
            cls.poll_message_set("Select a chain first")
            return False
        why = refusal(ob)
        if why:
            cls.poll_message_set(f"The chain {why}")
            return False
        if ob.linkwright.figures.worn_view:
            cls.poll_message_set("The chain is shown as worn: press Show as Printed first")
            return False
        return idle(cls, context)

    def execute(self: Any, context: Any) -> set[str]:
        """Set the size."""
        ob = chain_of(context.active_object)
        try:
            handle = self._handle_of(context, ob)
            self._change(context, ob, handle, handle.dragged(self.size, 0.0))
        except LinkwrightError as error:
            self.report({"ERROR"}, words_of(error))
            return {"CANCELLED"}
        _follow(ob)
        return {"FINISHED"}

    def invoke(self: Any, context: Any, event: Any) -> set[str]:
        """Begin to follow the pointer."""
        ob = chain_of(context.active_object)
        region = None if context.area is None else next((r for r in context.area.regions if r.type == "WINDOW"), None)
        if context.area is None or context.area.type != "VIEW_3D" or region is None:
            self.report({"ERROR"}, told_report("Point into a 3D view first, then drag"))
            return {"CANCELLED"}
        try:
            handle = self._handle_of(context, ob)
        except LinkwrightError as error:
            self.report({"ERROR"}, words_of(error))
            return {"CANCELLED"}
        self._chain, self._area, self._region = ob.name, context.area, region
        self._held, self._start = handle, _value(ob, handle)
        self._mm = mm_per_unit(scene_of(ob, context))
        matrix = double(ob.matrix_world)
        self._line = matrix[:3, :3] @ (handle.place / self._mm) + matrix[:3, 3], matrix[:3, :3] @ handle.along
        self._at, self._dragged, self._good = self._seen(event), 0.0, self._start
        # Begun with the button down, on a handle, it ends where that is let go.
        self._pressed = event.type == "LEFTMOUSE" and event.value == "PRESS"
        self._pointer = Pointer()
        self._pointer.start()
        context.workspace.status_text_set(told(HINT))
        context.window_manager.modal_handler_add(self)
        self._tell(event, ob)
        return {"RUNNING_MODAL"}

    def modal(self: Any, context: Any, event: Any) -> set[str]:
        """Follow the pointer; a release or a click ends the drag, Esc takes it back."""
        try:
            return self._drag(context, event)  # type: ignore[no-any-return]
        except BaseException:
            self._end(context)
            raise

    def cancel(self: Any, context: Any) -> None:
        """Clean up when Blender ends the operator itself, as on opening a file."""
        self._end(context)

    def _drag(self: Any, context: Any, event: Any) -> set[str]:
        ob = context.scene.objects.get(self._chain)
        if ob is None:
            self._end(context)
            return {"CANCELLED"}
        if event.type in ("ESC", "RIGHTMOUSE") and event.value == "PRESS":
            if self._good != self._start:
                self._change(context, ob, self._held, self._start)
            self._end(context)
            _follow(ob)
            return {"CANCELLED"}
        done = "RELEASE" if self._pressed else "PRESS"
        entered = event.type in ("RET", "NUMPAD_ENTER") and event.value == "PRESS"
        if entered or (event.type == "LEFTMOUSE" and event.value == done):
            self._end(context)
            _follow(ob)
            self.size = self._good
            return {"FINISHED"} if self._good != self._start else {"CANCELLED"}
        if event.type == "MOUSEMOVE":
            self._move(context, event, ob)
        return {"RUNNING_MODAL"}

    def _move(self: Any, context: Any, event: Any, ob: Any) -> None:
        """Take the way the pointer went, a tenth of it for Shift, and show the chain of that size."""
        at = self._seen(event)
        self._dragged += (at - self._at) * (FINE if event.shift else 1.0)
        self._at = at
        value = self._held.dragged(self._start, self._dragged, self.step if event.ctrl else 0.0)
        why = ""
        if value != self._good:
            try:
                self._change(context, ob, self._held, value)
                self._good = value
            except LinkwrightError as error:
                why = words_of(error)
        self._tell(event, ob, why)
        redraw(context)

    def _seen(self: Any, event: Any) -> float:
        """Give how far along its way the pointer holds the handle, mm."""
        view = self._area.spaces.active.region_3d
        place, along = self._line
        at = along_line(*view_ray(self._region, view, event.mouse_x, event.mouse_y), place, along)
        if at is None:
            # Seen end on: upwards is outwards, as far as the pointer goes in the plane of the handle.
            pixel = view.view_distance / max(self._region.height, 1)
            at = event.mouse_y * pixel
        return float(at * self._mm)

    def _tell(self: Any, event: Any, ob: Any, why: str = "") -> None:
        self._pointer.put(self._region, event.mouse_x, event.mouse_y)
        self._pointer.words = self.words(ob)
        self._pointer.said = why

    def words(self, ob: Any) -> str:
        """Say what the size is."""
        raise NotImplementedError

    def _handle_of(self: Any, context: Any, ob: Any) -> Handle:
        check_unscaled(ob)
        handle = self.handle(ob, mm_per_unit(scene_of(ob, context)))
        if handle is None:
            raise BadInput(self.refusal)
        return handle  # type: ignore[no-any-return]

    def _change(self: Any, context: Any, ob: Any, handle: Handle, value: float) -> None:
        change_together(ob, context, {handle.key: round(value) if handle.whole else value})

    def _end(self: Any, context: Any) -> None:
        """Take the words away; may be called twice."""
        pointer, self._pointer = getattr(self, "_pointer", None), None
        if pointer is None:
            return
        pointer.stop()
        if context.workspace is not None:
            context.workspace.status_text_set(None)
        redraw(context)


class LINKWRIGHT_OT_drag_size(Dragging, Operator):
    """Drag the size of the chain: the length inside, or the length; the number of links follows."""

    bl_idname = "linkwright.drag_size"
    bl_label = "Drag Chain Size"
    bl_description = (
        "Drag what sets the size of the chain in the 3D view, such as the inside length; the number of links follows"
    )
    bl_options = {"REGISTER", "UNDO", "BLOCKING"}
    refusal = "this chain fills its curve, which sets its size; choose another Size By, or change the curve"

    size: FloatProperty(
        name="Size", description="What sets the size of the chain: mm, or the number of links", default=186.0, min=1.0,
        precision=2,
    )  # fmt: skip
    handle = staticmethod(size_handle)

    def words(self, ob: Any) -> str:
        """Say the size that is asked for, and what it makes."""
        group, figures = ob.linkwright, ob.linkwright.figures
        name = group.bl_rna.properties[self._held.key].name
        value = f"{name}: {self._good:.0f}" if self._held.whole else f"{name}: {self._good:.1f}"
        return f"{value}   {figures.links} links, worn {figures.worn_mm:.1f} mm"


class LINKWRIGHT_OT_drag_width(Dragging, Operator):
    """Drag the width of the links."""

    bl_idname = "linkwright.drag_width"
    bl_label = "Drag Link Width"
    bl_description = "Drag the outside width of the links in the 3D view; the gap is kept"
    bl_options = {"REGISTER", "UNDO", "BLOCKING"}
    step = 0.1
    refusal = "the links are copies of a mesh; change the mesh, or Resize the chain"

    size: FloatProperty(
        name="Link Width (mm)", description="Outside width of one link", default=9.7, min=0.5, precision=2
    )
    handle = staticmethod(width_handle)

    def words(self, ob: Any) -> str:
        """Say the width and the gap that comes of it."""
        figures = ob.linkwright.figures
        return f"Link Width (mm): {self._good:.2f}   {figures.links} links, gap {figures.gap_mm:.2f} mm"


def _value(ob: Any, handle: Handle) -> float:
    return exact(getattr(ob.linkwright, handle.key)) if not handle.whole else float(ob.linkwright.links)


def _follow(ob: Any) -> None:
    """Let the second stage and the lattice follow once the drag is over."""
    checker.ask(ob)
    live.ask()
