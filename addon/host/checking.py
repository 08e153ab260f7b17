"""The second stage of a change: while the maker looks at the draft, its gap is measured exactly on the placed links.

A draft stands at the places the exact chain will stand at, so only figures are written, no geometry: what a timer
writes is no part of undo. It runs in short slices between redraws and gives way to whatever the maker started.
"""

import time
from typing import Any

import bpy

from ..rules.base.errors import LinkwrightError
from ..rules.base.progress import Steps
from ..rules.chain.build import build_chain
from ..rules.chain.chain import Chain
from .chain_object import is_chain, note_built, read_specs
from .results import state_of
from .view import redraw

PAUSE_S = 0.3
SLICE_S = 0.02


class Checker:
    """Measures one chain at a time; a newer wish replaces an older one."""

    def __init__(self) -> None:
        self._name = ""
        self._steps: Steps[Chain] | None = None
        self._line: Any = None
        self._stamp = ""
        # A bound method is a new object at each look-up; timers are told apart by the object.
        self._timer = self._tick

    def ask(self, ob: Any) -> None:
        """Measure a chain once its numbers have stood still for a moment."""
        if bpy.app.background or not is_chain(ob) or ob.linkwright.figures.verified:
            return
        self.stop()
        self._name = ob.name
        state_of(bpy.context).checking = ob.name
        bpy.app.timers.register(self._timer, first_interval=PAUSE_S, persistent=True)

    def stop(self) -> None:
        """Forget what is being measured."""
        if bpy.app.timers.is_registered(self._timer):
            bpy.app.timers.unregister(self._timer)
        self._end()

    def _end(self) -> None:
        if self._steps is not None:
            self._steps.close()
        self._steps, self._name, self._line = None, "", None
        context: Any = bpy.context
        if context.window_manager is not None and hasattr(context.window_manager, "linkwright"):
            state_of(context).property_unset("checking")
            redraw(context)

    def _tick(self) -> float | None:
        """Run a slice; gives the seconds until the next, or None at the end."""
        wait = self._advance()
        if wait is None:
            self._end()
        return wait

    def _advance(self) -> float | None:
        context: Any = bpy.context
        objects: Any = bpy.data.objects
        ob = objects.get(self._name)
        if not is_chain(ob):
            return None
        if state_of(context).running:
            return PAUSE_S
        figures = ob.linkwright.figures
        try:
            if self._steps is None:
                spec, layout, self._line = read_specs(ob, context)
                self._steps, self._stamp = build_chain(spec, layout), figures.stamp
            chain = _slice(self._steps)
        except LinkwrightError as error:
            figures.message = str(error)
            return None
        if chain is None:
            return 0.005
        if figures.stamp == self._stamp:
            note_built(ob, chain, self._line)
        return None


def _slice(steps: Steps[Chain]) -> Chain | None:
    until = time.monotonic() + SLICE_S
    while time.monotonic() < until:
        try:
            next(steps)
        except StopIteration as done:
            made: Chain = done.value
            return made
    return None


# Blender's timers need one owner that lives as long as the extension is enabled.
checker = Checker()
