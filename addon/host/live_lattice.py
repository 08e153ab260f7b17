"""The lattice that follows by itself: planned again after every change, in short slices between redraws.

Only the plan is made, nothing is joined or inspected. What a timer writes is no part of undo: after one the lattice is
planned again where it no longer belongs to what undo brought back. The newest wish wins.
"""

import time
from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np

from ..rules.base.errors import LinkwrightError
from ..rules.base.progress import Steps, part
from ..rules.chain.chain import Chain
from ..rules.feed.lattice import Lattice
from ..rules.files.job import Job
from ..rules.solid.mesh import FloatArray
from ..verbs import flow
from ..verbs.own_materials import own_materials
from .boolean import boolean
from .chain_object import (
    Read,
    check_editable,
    check_unscaled,
    found_edits,
    is_chain,
    job_of,
    read_specs,
    scene_of,
    turn_of,
)
from .chain_object import show_built as show_chain
from .lattice_edits import Edits, handled, has_lattice
from .lattice_show import lattice_stamp, show_planned
from .long_work import run_slice
from .result_state import state_of
from .settings import chain_stamp
from .stamps import stamp
from .units import mm_per_unit
from .view import redraw

PAUSE_S, NEXT_S, SLICE_S = 0.15, 0.001, 0.05
# How often it is looked whether the wish is still the newest, while it is being planned.
LOOK_S = 0.15


@dataclass(frozen=True, slots=True, eq=False)
class Wish:
    """What a chain's lattice is planned for; ``sign`` tells it from another wish."""

    name: str
    sign: str
    read: Read
    edits: Edits
    turn: FloatArray


class Live:
    """Plans the lattices of the scene's chains, one at a time."""

    def __init__(self) -> None:
        self._wish: Wish | None = None
        self._steps: Steps[tuple[Chain, Lattice]] | None = None
        self._looked = 0.0
        # The signs of what could not be planned, by the chain's name: it is not tried again and again.
        self._refused: dict[str, str] = {}
        # A bound method is a new object at each look-up; timers are told apart by the object.
        self._timer = self._tick

    def ask(self) -> None:
        """Look a moment later whether a lattice must follow."""
        context: Any = bpy.context
        scene = getattr(context, "scene", None)
        if bpy.app.background or scene is None or not scene.linkwright.live_lattice:
            return
        if not bpy.app.timers.is_registered(self._timer):
            bpy.app.timers.register(self._timer, first_interval=PAUSE_S, persistent=True)

    def stop(self) -> None:
        """Forget what is being planned."""
        if bpy.app.timers.is_registered(self._timer):
            bpy.app.timers.unregister(self._timer)
        self._end()
        self._refused.clear()

    def _tick(self) -> float | None:
        """Run a slice; gives the seconds until the next, or None when every lattice is up to date."""
        context: Any = bpy.context
        wait = self._advance(context)
        if wait is None:
            self._end()
        return wait

    def _advance(self, context: Any) -> float | None:
        if context.scene is None or not context.scene.linkwright.live_lattice:
            return None
        if state_of(context).running or _in_hand(context):
            return PAUSE_S
        if self._steps is None or time.monotonic() - self._looked > LOOK_S:
            found = self._next(context)
            if found is None:
                return None
            if not self._is_wish(*found) and not self._begin(*found, context):
                return NEXT_S
        assert self._steps is not None
        assert self._wish is not None
        try:
            done, result = run_slice(self._steps, SLICE_S)
        except LinkwrightError as error:
            self._refuse(context.scene.objects.get(self._wish.name), self._wish.sign, error)
            return NEXT_S
        if done:
            found = self._next(context)
            if found is not None and self._is_wish(*found):
                self._show(found[0], context, *result)
                left = self._next(context)
                if left is not None and left[0] is found[0]:
                    # A gate that something else holds elsewhere, such as a key frame, would be planned for ever.
                    self._refused[left[0].name] = left[1]
            self._end()
        return NEXT_S

    def _is_wish(self, ob: Any, sign: str) -> bool:
        """Tell whether what should be planned is what is being planned."""
        return self._wish is not None and (self._wish.name, self._wish.sign) == (ob.name, sign)

    def _refuse(self, ob: Any, sign: str, error: LinkwrightError) -> None:
        if ob is not None:
            self._refused[ob.name] = sign
            ob.linkwright.figures.lattice_said = str(error)
        self._end()

    def _next(self, context: Any) -> tuple[Any, str] | None:
        """Give the first chain whose lattice is not up to date, with the sign of what it should be planned for."""
        self._looked = time.monotonic()
        for ob in context.scene.objects:
            if not is_chain(ob) or ob.linkwright.figures.worn_view or not has_lattice(ob):
                continue
            now, hands = lattice_stamp(ob, scene_of(ob, context)), handled(ob)
            if now == ob.linkwright.figures.lattice_stamp and not hands:
                continue
            sign = stamp(now, hands)
            if self._refused.get(ob.name) != sign:
                return ob, sign
        return None

    def _begin(self, ob: Any, sign: str, context: Any) -> bool:
        """Begin a plan; gives whether there is one to make."""
        self._end()
        try:
            check_editable(ob)
            check_unscaled(ob)
            read = read_specs(ob, context)
            edits = found_edits(ob, context, read).edits
        except LinkwrightError as error:
            self._refuse(ob, sign, error)
            return False
        self._wish = Wish(ob.name, sign, read, edits, turn_of(ob))
        self._steps = planned(job_of(ob, context, read, edits), self._wish.turn)
        state_of(context).planning = ob.name
        redraw(context)
        return True

    def _show(self, ob: Any, context: Any, chain: Chain, lattice: Lattice) -> None:
        wish = self._wish
        assert wish is not None
        figures = ob.linkwright.figures
        if not (figures.verified and figures.stamp == chain_stamp(chain.spec, chain.layout)):
            show_chain(ob, context, chain, wish.read)
        scene = scene_of(ob, context)
        show_planned(
            ob, lattice, flow.turned(chain, wish.turn).bodies, turn=wish.turn, shift=np.zeros(3), edits=wish.edits,
            mm=mm_per_unit(scene), scene=scene,
        )  # fmt: skip
        redraw(context)

    def _end(self) -> None:
        if self._steps is not None:
            self._steps.close()
        self._steps, self._wish = None, None
        context: Any = bpy.context
        if context.window_manager is not None and hasattr(context.window_manager, "linkwright"):
            state_of(context).property_unset("planning")
            redraw(context)


class Built:
    """The last chain that was built, so that a change of the lattice alone does not build it again."""

    def __init__(self) -> None:
        self._stamp = ""
        self._chain: Chain | None = None

    def build(self, job: Job) -> Steps[Chain]:
        """Build the chain of a job, or give it when it is the last one."""
        asked = chain_stamp(job.chain, job.layout)
        if self._chain is None or asked != self._stamp:
            self._chain = yield from flow.build(job, boolean)
            self._stamp = asked
        return self._chain


def planned(job: Job, turn: FloatArray) -> Steps[tuple[Chain, Lattice]]:
    """Build the chain of a job and plan its lattice as its object is turned; nothing is inspected."""
    chain = yield from part(built.build(job), 0.0, 0.2)
    scaled = flow.scaling(job, own_materials())
    lattice = yield from part(flow.lattice_for(job, flow.turned(chain, turn), scaled), 0.2, 1.0)
    return chain, lattice


def _in_hand(context: Any) -> bool:
    """Tell whether the maker is just moving or dragging something, or is inside a part of a chain: hands off then."""
    active = context.active_object
    if active is not None and active.mode != "OBJECT" and active.linkwright.part != "NONE":
        return True
    windows = context.window_manager.windows
    return any(
        op.bl_idname.startswith(("TRANSFORM_OT_", "LINKWRIGHT_OT_drag_"))
        for window in windows
        for op in window.modal_operators
    )


# Blender's timers need one owner that lives as long as the extension is enabled.
live = Live()
built = Built()
