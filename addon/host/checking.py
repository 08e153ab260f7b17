"""The second stage of a change: while the maker looks at the draft, gap and free play are measured on the placed links.

A chain of round wire is drafted at the places the exact one stands at. Where the exact fit moves the links they are
shown anew; what a timer writes is no part of undo, and is measured again after one. The work runs in short slices
between redraws and gives way to whatever the maker started.
"""

from collections.abc import Callable
from typing import Any

import bpy

from ..rules.base.errors import LinkwrightError
from ..rules.base.progress import Steps
from ..rules.chain.build import build_chain
from ..rules.chain.play import free_play
from .boolean import boolean
from .chain_object import Read, is_chain, read_specs, show_built
from .long_work import run_slice
from .measured import note_play
from .result_state import state_of
from .view import redraw

PAUSE_S = 0.3
SLICE_S = 0.02
MEASURING, PLAYING = "checking", "moving the joints"


class Checker:
    """Measures one chain at a time; a newer wish replaces an older one."""

    def __init__(self) -> None:
        self._name = ""
        self._steps: Steps[Any] | None = None
        self._then: Callable[[Any, Any], bool] | None = None
        self._read: Read | None = None
        self._chain: Any = None
        self._stamp = ""
        # A bound method is a new object at each look-up; timers are told apart by the object.
        self._timer = self._tick

    def ask(self, ob: Any) -> None:
        """Measure a chain once its numbers have stood still for a moment."""
        if bpy.app.background or not is_chain(ob) or _measured(ob.linkwright.figures):
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
        self._steps, self._then, self._name, self._read, self._chain = None, None, "", None, None
        context: Any = bpy.context
        if context.window_manager is not None and hasattr(context.window_manager, "linkwright"):
            state_of(context).property_unset("checking")
            state_of(context).property_unset("stage")
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
        if state_of(context).running or state_of(context).planning or context.mode != "OBJECT":
            return PAUSE_S
        figures = ob.linkwright.figures
        try:
            if self._steps is None:
                self._begin(ob, context)
            done, result = run_slice(self._steps, SLICE_S)
        except LinkwrightError as error:
            figures.message = str(error)
            return None
        if not done:
            return 0.005
        if figures.stamp != self._stamp or self._then is None:
            return None
        return 0.005 if self._then(ob, result) else None

    def _begin(self, ob: Any, context: Any) -> None:
        self._read, self._stamp = read_specs(ob, context), ob.linkwright.figures.stamp
        self._steps = build_chain(self._read.chain, self._read.layout, union=boolean)
        self._then = self._built
        state_of(context).stage = MEASURING

    def _built(self, ob: Any, chain: Any) -> bool:
        """Show the exact chain and begin with its free play."""
        context: Any = bpy.context
        assert self._read is not None
        show_built(ob, context, chain, self._read)
        self._stamp, self._chain = ob.linkwright.figures.stamp, chain
        self._steps, self._then = free_play(chain), self._played
        state_of(context).stage = PLAYING
        redraw(context)
        return True

    def _played(self, ob: Any, play: Any) -> bool:
        note_play(ob.linkwright.figures, self._chain, play)
        return False


def _measured(figures: Any) -> bool:
    return bool(figures.verified and figures.play_stamp == figures.stamp)


# Blender's timers need one owner that lives as long as the extension is enabled.
checker = Checker()
