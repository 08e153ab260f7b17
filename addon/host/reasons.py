"""Why the selected gate stands where it does, worked out a moment after it was selected and kept for the panel."""

from typing import Any

import bpy
import numpy as np

from ..rules.base.errors import LinkwrightError
from ..rules.chain.build import draft_chain
from ..rules.feed.explain import explain
from ..rules.feed.lattice import LatticeSolid, Strut, place
from ..rules.solid.mesh import Mesh
from ..verbs import flow
from .chain_object import chain_of, found_edits, job_of, read_specs, turn_of
from .lattice_edits import END, ROOT, Gate, strut_of
from .result_state import state_of
from .stamps import stamp
from .view import redraw

PAUSE_S = 0.05


class Reasons:
    """Explains one gate at a time, the active one."""

    def __init__(self) -> None:
        # A bound method is a new object at each look-up; timers are told apart by the object.
        self._timer = self._tick

    def ask(self) -> None:
        """Explain the active gate a moment later, unless that is done."""
        context: Any = bpy.context
        active = getattr(context, "active_object", None)
        if bpy.app.background or sign_of(active) in ("", state_of(context).reasons_of):
            return
        if not bpy.app.timers.is_registered(self._timer):
            bpy.app.timers.register(self._timer, first_interval=PAUSE_S, persistent=True)

    def stop(self) -> None:
        """Forget what was asked."""
        if bpy.app.timers.is_registered(self._timer):
            bpy.app.timers.unregister(self._timer)

    def _tick(self) -> float | None:
        context: Any = bpy.context
        state, active = state_of(context), context.active_object
        if state.running or state.planning:
            return PAUSE_S
        sign = sign_of(active)
        if sign and sign != state.reasons_of:
            state.reasons.clear()
            for line in why_here(active, context):
                state.reasons.add().name = line[:1].upper() + line[1:]
            state.reasons_of = sign
            redraw(context)
        return None


def sign_of(ob: Any) -> str:
    """Give a text that tells an object's gate from others, and from itself as it was; empty for what is no gate."""
    if ob is None or ob.linkwright.part != "STRUT" or chain_of(ob) is None:
        return ""
    strut = strut_of(ob)
    if strut is None or strut.gate is None:
        return ""
    gate = strut.gate
    return stamp(gate.body, gate.above, gate.line, gate.tip_mm, chain_of(ob).linkwright.figures.stamp)


def why_here(ob: Any, context: Any) -> tuple[str, ...]:
    """Say why a gate stands where it does; nothing for other struts, and where the chain cannot be made."""
    strut, chain_ob = strut_of(ob), chain_of(ob)
    if strut is None or strut.gate is None:
        return ()
    try:
        read = read_specs(chain_ob, context)
        job = job_of(chain_ob, context, read, found_edits(chain_ob, context, read).edits)
        turn = turn_of(chain_ob)
        chain = flow.turned(draft_chain(read.chain, read.layout), turn)
        return explain([chain.bodies[k] for k in flow.along(chain)], _solid(strut.gate, turn), job.feed)
    except LinkwrightError:
        # The panel says elsewhere what is wrong with the chain.
        return ()


def _solid(gate: Gate, turn: Any) -> LatticeSolid:
    """Give a gate as the rules know it, as far as they look at it: the piece that enters the link."""
    root, end = (place(turn @ np.array(gate.line[k])) for k in (ROOT, END))
    piece = Strut("gate", root, end, gate.shaft_mm, gate.tip_mm, feeds=gate.body)
    return LatticeSolid("gate", Mesh(np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int64)), (piece,), 0.0, gate.above)


# Blender's timers need one owner that lives as long as the extension is enabled.
reasons = Reasons()
