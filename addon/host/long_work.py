"""Operators that run a slow rule: to the end from scripts, or in slices with progress and Esc from the window."""

import time
from typing import Any

import bpy

from ..rules.base.errors import LinkwrightError
from ..rules.base.progress import Steps, finish
from .chain_object import chain_of, is_chain, refusal
from .panel_names import words_of
from .pointing import view_at
from .result_state import state_of
from .translated import told, told_report
from .view import redraw, turns_view

SLICE_S = 0.05
# Where redraws are slow a slice is as long as they are, up to so many usual ones, and the share is shown less often.
LONGEST, SHOWN_S = 4.0, 0.2


def run_slice(steps: Any, seconds: float) -> tuple[bool, Any]:
    """Run a slow rule for about so long; tell whether it ended, and give its result if it did."""
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        try:
            next(steps)
        except StopIteration as done:
            return True, done.value
    return False, None


def idle(cls: Any, context: Any) -> bool:
    """Tell whether nothing is running; part of every poll, which says why not."""
    running = state_of(context).running
    if running:
        cls.poll_message_set(f"{running}: wait, or press Esc to stop it")
        return False
    return True


def may_add(cls: Any, context: Any) -> bool:
    """Tell whether objects can be added to the scene; part of the polls of what adds them, which says why not."""
    if context.mode != "OBJECT":
        cls.poll_message_set("Leave Edit Mode first (Tab)")
        return False
    if context.collection is None or context.collection.library is not None:
        cls.poll_message_set("The active collection is linked from another file: choose one of this file")
        return False
    return True


class SteppedOperator:
    """Mix-in: a subclass gives `start`, which reads the scene and returns the rule's steps, and `deliver`.

    `deliver` writes once, at the end. A stopped or failed run has changed nothing, and the whole is one undo step.
    `start` and `deliver` may raise LinkwrightError, which is reported in one line.
    """

    busy_words = "Working"

    def start(self, context: Any) -> Steps[Any]:
        """Read what is needed into plain values and give the rule to run."""
        raise NotImplementedError

    def deliver(self, context: Any, result: Any) -> None:
        """Write the result to the scene and report."""
        raise NotImplementedError

    def execute(self: Any, context: Any) -> set[str]:
        """Run to the end."""
        try:
            self.deliver(context, finish(self.start(context)))
        except LinkwrightError as error:
            self.report({"ERROR"}, words_of(error))
            return {"CANCELLED"}
        return {"FINISHED"}

    def begin_modal(self: Any, context: Any) -> set[str]:
        """Run in slices between redraws; in background to the end."""
        if bpy.app.background:
            return self.execute(context)  # type: ignore[no-any-return]
        try:
            self._steps = self.start(context)
        except LinkwrightError as error:
            self.report({"ERROR"}, words_of(error))
            return {"CANCELLED"}
        self._began, self._rested, self._shown = _under_way(context), time.monotonic(), 0.0
        manager = context.window_manager
        self._timer = manager.event_timer_add(0.01, window=context.window)
        manager.progress_begin(0, 100)
        state_of(context).running = self.busy_words
        state_of(context).progress = 0.0
        manager.modal_handler_add(self)
        return {"RUNNING_MODAL"}

    def invoke(self: Any, context: Any, _event: Any) -> set[str]:
        """Start from a button."""
        return self.begin_modal(context)  # type: ignore[no-any-return]

    def modal(self: Any, context: Any, event: Any) -> set[str]:
        """Run one slice, or stop on Esc. The view can be turned; all else is swallowed: nobody edits under the rule."""
        try:
            if event.type == "ESC" and event.value == "PRESS":
                self._stop(context)
                self.report({"INFO"}, told_report(f"{self.busy_words}: stopped, nothing changed"))
                return {"CANCELLED"}
            if event.type == "TIMER":
                if _under_way(context) != self._began:
                    self._stop(context)
                    self.report(
                        {"WARNING"}, told_report(f"{self.busy_words}: stopped, the scene was changed. Start again")
                    )
                    return {"CANCELLED"}
                return self._slice(context)  # type: ignore[no-any-return]
            if turns_view(event) and view_at(context, event.mouse_x, event.mouse_y) is not None:
                return {"PASS_THROUGH"}
        except LinkwrightError as error:
            self._stop(context)
            self.report({"ERROR"}, words_of(error))
            return {"CANCELLED"}
        except BaseException:
            self._stop(context)
            raise
        return {"RUNNING_MODAL"}

    def cancel(self: Any, context: Any) -> None:
        """Clean up when Blender ends the operator itself, as on opening a file."""
        self._stop(context)

    def _slice(self: Any, context: Any) -> set[str]:
        now = time.monotonic()
        until = now + min(max(SLICE_S, now - self._rested), LONGEST * SLICE_S)
        share = 0.0
        while time.monotonic() < until:
            try:
                share = next(self._steps)
            except StopIteration as done:
                self._stop(context)
                self.deliver(context, done.value)
                redraw(context)
                return {"FINISHED"}
        self._rested = time.monotonic()
        if self._rested - self._shown < SHOWN_S:
            return {"RUNNING_MODAL"}
        self._shown = self._rested
        state_of(context).progress = share
        context.window_manager.progress_update(int(100 * share))
        context.workspace.status_text_set(told(f"{self.busy_words} {100 * share:.0f} %    Esc: stop"))
        redraw(context)
        return {"RUNNING_MODAL"}

    def _stop(self: Any, context: Any) -> None:
        """Take timer, progress and words away; may be called twice."""
        steps, self._steps = getattr(self, "_steps", None), None
        if steps is None:
            return
        steps.close()
        manager = context.window_manager
        manager.event_timer_remove(self._timer)
        manager.progress_end()
        if context.workspace is not None:
            context.workspace.status_text_set(None)
        state_of(context).property_unset("running")
        redraw(context)


def _under_way(context: Any) -> tuple[Any, ...]:
    """Tell what a run stands on: the scene, which may be changed or left in another window, and its chains."""
    scene = context.scene
    chains = tuple((ob.name, ob.linkwright.figures.stamp, ob.linkwright.edits) for ob in scene.objects if is_chain(ob))
    return scene.name, tuple(scene.objects.keys()), scene.linkwright.stamp, chains


class OnChain:
    """Mix-in for work on the active chain, while nothing else runs; ``reads_only`` work also takes linked ones."""

    reads_only = False

    @classmethod
    def poll(cls: Any, context: Any) -> bool:
        """Ask for a chain, and nothing running."""
        ob = chain_of(context.active_object)
        if ob is None:
            cls.poll_message_set("Select a chain first")
            return False
        if not cls.reads_only and refusal(ob):
            cls.poll_message_set(f"The chain {refusal(ob)}")
            return False
        return idle(cls, context)
