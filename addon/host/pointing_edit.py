"""Edits of the lattice that point at places: what they share while they follow the pointer and take clicks.

The plan of a click runs in slices between redraws. A place that no gate finds a way to is refused, and then nothing
has changed.
"""

from __future__ import annotations

from typing import Any

import bpy
import numpy as np

from ..rules.base.errors import BadInput, LinkwrightError
from ..rules.feed.by_hand import MEANT_MM
from ..rules.feed.spec import GatePlace
from ..verbs import flow
from . import long_work
from .chain_object import chain_of
from .lattice_edits import SURFACE, has_lattice
from .long_work import idle, run_slice
from .op_strut import LatticeEdit
from .panel_names import words_of
from .pointing import Pointer, view_at
from .result_state import state_of
from .translated import told, told_report
from .view import redraw, turns_view

SIDES = {False: "from below", True: "from above"}
# A handle that is pressed and let go within so many pixels was only touched.
STILL_PX = 3.0
MODIFIERS = ("LEFT_SHIFT", "RIGHT_SHIFT", "LEFT_CTRL", "RIGHT_CTRL")


class Pointing(LatticeEdit):
    """What they share: what is under the pointer is shown, a click plans in slices, and what came of it is said.

    A subclass says what a click does (`aim`), and by `start` and `deliver` does it.
    """

    once = False
    undo_words = ""

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Ask for a chain with a lattice."""
        return cls.lattice_ready(context)

    def aim(self, context: Any, event: Any, ob: Any, over: tuple[Any, Any]) -> bool:
        """See what is under the pointer, show it, and tell whether a click would do something."""
        raise NotImplementedError

    def hint(self) -> str:
        """Give the words of the status bar."""
        raise NotImplementedError

    def begin_pointing(self: Any, context: Any, event: Any) -> set[str]:
        """Follow the pointer."""
        self._chain, self._working, self._share, self._count = chain_of(context.active_object).name, False, 0.0, 0
        self._pressed = event.type == "LEFTMOUSE" and event.value == "PRESS"
        self._from = event.mouse_x, event.mouse_y
        self._pointer = Pointer()
        self._pointer.start()
        context.window.cursor_modal_set("CROSSHAIR")
        context.window_manager.modal_handler_add(self)
        self._show(context, event)
        return {"RUNNING_MODAL"}

    def modal(self: Any, context: Any, event: Any) -> set[str]:
        """Follow the pointer and take clicks; what was called with a place runs a slice."""
        if getattr(self, "_pointer", None) is None:
            return super().modal(context, event)
        try:
            return self._pick(context, event)  # type: ignore[no-any-return]
        except BaseException:
            self._end_pick(context)
            raise

    def cancel(self: Any, context: Any) -> None:
        """Clean up when Blender ends the operator itself, as on opening a file."""
        self._end_pick(context)
        super().cancel(context)

    def _pick(self: Any, context: Any, event: Any) -> set[str]:
        ob = context.scene.objects.get(self._chain)
        if ob is None or not has_lattice(ob):
            return self._leave(context)  # type: ignore[no-any-return]
        if self._working:
            return self._go_on(context, event)  # type: ignore[no-any-return]
        over = view_at(context, event.mouse_x, event.mouse_y)
        if event.value == "PRESS" and event.type in ("ESC", "RIGHTMOUSE", "RET", "NUMPAD_ENTER"):
            return self._leave(context)  # type: ignore[no-any-return]
        if event.type == "MOUSEMOVE" or event.type in MODIFIERS:
            self._show(context, event)
            return {"RUNNING_MODAL"} if self.once else {"PASS_THROUGH"}
        # Sidebar, header and other editors, turning the view, and undo stay in reach; other keys would edit meanwhile.
        if over is None or turns_view(event) or (event.type == "Z" and (event.ctrl or event.oskey)):
            return {"PASS_THROUGH"}
        if event.type == "LEFTMOUSE" and event.alt:
            return {"PASS_THROUGH"}
        if event.type == "LEFTMOUSE" and event.value == ("RELEASE" if self._pressed else "PRESS"):
            if not self._pressed or np.hypot(event.mouse_x - self._from[0], event.mouse_y - self._from[1]) > STILL_PX:
                self._click(context, event)
            if self.once and not self._working:
                return self._leave(context)  # type: ignore[no-any-return]
        elif event.value == "PRESS":
            self._key(context, event)
        elif event.type.startswith("TIMER"):
            return {"PASS_THROUGH"}
        return {"RUNNING_MODAL"}

    def _key(self, context: Any, event: Any) -> None:
        """Take a key of one's own."""

    def _show(self: Any, context: Any, event: Any) -> bool:
        """See what is under the pointer and say what a click does."""
        pointer = self._pointer
        over = view_at(context, event.mouse_x, event.mouse_y)
        pointer.put(None if over is None else over[1], event.mouse_x, event.mouse_y)
        pointer.lit, pointer.spot, pointer.words = "", False, ""
        ready = over is not None and self.aim(context, event, context.scene.objects[self._chain], over)
        context.workspace.status_text_set(told(self.hint()))
        redraw(context)
        return ready

    def _click(self: Any, context: Any, event: Any) -> None:
        """Begin to plan what the pointer asks for."""
        if not self._show(context, event) or not idle(type(self), context):
            return
        ob = context.scene.objects[self._chain]
        if chain_of(context.active_object) is not ob:
            context.view_layer.objects.active = ob
        self._pointer.said = ""
        try:
            self._steps = self.start(context)
        except LinkwrightError as error:
            self._said(words_of(error))
            return
        self._working, self._began = True, _stands(ob)
        self._timer = context.window_manager.event_timer_add(0.01, window=context.window)
        state_of(context).running = self.busy_words
        context.window.cursor_modal_set("WAIT")

    def _go_on(self: Any, context: Any, event: Any) -> set[str]:
        """Plan for a slice; Esc stops that and changes nothing."""
        if event.type == "ESC" and event.value == "PRESS":
            return self._done(context, event, "Stopped, nothing changed")  # type: ignore[no-any-return]
        if event.type != "TIMER":
            return {"RUNNING_MODAL"}
        if _stands(context.scene.objects[self._chain]) != self._began:
            return self._done(context, event, "Stopped: the chain was changed meanwhile")  # type: ignore[no-any-return]
        try:
            done, result = run_slice(self._steps, long_work.SLICE_S)
            if not done:
                context.workspace.status_text_set(told(f"{self.busy_words}    Esc: stop"))
                return {"RUNNING_MODAL"}
            self._rest(context)
            self.deliver(context, result)
        except LinkwrightError as error:
            return self._done(context, event, words_of(error))  # type: ignore[no-any-return]
        self._count += 1
        if not self.once:
            bpy.ops.ed.undo_push(message=self.undo_words)
        return self._done(context, event, self._told, took=True)  # type: ignore[no-any-return]

    def _done(self: Any, context: Any, event: Any, words: str, *, took: bool = False) -> set[str]:
        """Say what came of a click, and wait for the next or end."""
        self._rest(context)
        if self.once:
            if not took:
                self.report({"WARNING"}, told_report(words))
            self._end_pick(context)
            return {"FINISHED"} if took else {"CANCELLED"}
        self._pointer.forget()
        self._show(context, event)
        self._said(words)
        return {"RUNNING_MODAL"}

    def _said(self: Any, words: str) -> None:
        self._pointer.said = words

    def _rest(self: Any, context: Any) -> None:
        """Plan no more; may be called twice."""
        if not self._working:
            return
        self._working = False
        steps, self._steps = self._steps, None
        steps.close()
        context.window_manager.event_timer_remove(self._timer)
        state_of(context).property_unset("running")
        context.window.cursor_modal_set("CROSSHAIR")

    def _leave(self: Any, context: Any) -> set[str]:
        """End; what was clicked stands, each click with an undo step of its own."""
        self._end_pick(context)
        return {"CANCELLED"}

    def _end_pick(self: Any, context: Any) -> None:
        """Take the marks and words away; may be called twice."""
        pointer = getattr(self, "_pointer", None)
        if pointer is None:
            return
        self._rest(context)
        self._pointer = None
        pointer.stop()
        context.window.cursor_modal_restore()
        if context.workspace is not None:
            context.workspace.status_text_set(None)
        redraw(context)

    def found_way(self: Any, lattice: Any, chain: Any, goal: GatePlace) -> None:
        """Raise BadInput when a lattice has no gate at a place that was asked for."""
        pose = next(body.pose for body in flow.turned(chain, self._turn).bodies if body.name == goal.body)
        # From below a gate enters right under a place that was pointed at from above.
        reach = MEANT_MM + self._read.chain.wire_mm
        at = pose.apply(np.array(goal.at))
        gates = [
            solid.line[SURFACE]
            for solid in lattice.solids
            if solid.line and (solid.feeds, solid.above) == (goal.body, goal.above)
        ]
        refused = {
            f.text: f.at
            for f in lattice.findings
            if f.code == "strut-unrouted" and goal.body in f.bodies and f.at is not None
        }
        why = next((text for text, spot in refused.items() if np.linalg.norm(spot - at) <= reach), "")
        if why or not any(np.linalg.norm(spot - at) <= reach for spot in gates):
            raise BadInput(why or f"no gate {SIDES[goal.above]} finds a way to that place of {goal.body}; try another")

    def say(self: Any, words: str) -> None:
        """Report what came of it, and keep the words for the pointer."""
        self._told = words
        self.report({"INFO"}, told_report(words))


def _stands(ob: Any) -> tuple[str, str]:
    """Tell what a plan stands on: another window may change it meanwhile."""
    return ob.linkwright.figures.stamp, ob.linkwright.edits
