"""Operators that point at places of links: add gates there, take gates away, lead a gate elsewhere.

Called with a link, a place or a gate they do just that. Started from the window they stay for one click after the
other, each an undo step of its own; the plan runs in slices between redraws. A place that no gate finds a way to is
refused, and then nothing has changed.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import bpy
import numpy as np
from bpy.props import BoolProperty, FloatVectorProperty, StringProperty
from bpy.types import Operator

from ..rules.base.errors import BadInput
from ..rules.base.progress import Steps
from ..rules.feed.spec import GatePlace
from ..rules.solid.mesh import FloatArray
from .chain_object import chain_of, scene_of
from .lattice_edits import SURFACE, Edits, Gate, led_to, on_link, strut_of, taken_away
from .op_strut import gate_of
from .pointing import LIT, TAKEN, Pointed, gate_at, pointed_at
from .pointing_edit import SIDES, Pointing
from .showing import parts
from .units import mm_per_unit
from .view import select_only

ADD_HINT = (
    "Click a link: add a gate from below    Shift: from above    Ctrl: take a gate away    X: only take away    "
    "Ctrl Z: undo    Enter or Esc: done"
)
TAKE_HINT = "Click a gate, or its link: take it away    X: add gates again    Ctrl Z: undo    Enter or Esc: done"
LEAD_HINT = "Drag the tip along the links    Release or click: lead the gate there    Esc: leave it where it is"


class GateClicks(Pointing):
    """Clicks that add gates and clicks that take them away, whichever the operator began with."""

    body: StringProperty(name="Link", description="Name of the link the gate feeds, such as link 12")
    place: FloatVectorProperty(
        name="Place (mm)", description="Where on the link, in the link's own coordinates in mm", size=3
    )
    above: BoolProperty(name="From Above", description="Lead it down from the upper ring")

    def begin_clicks(self: Any, context: Any, event: Any, *, takes: bool) -> set[str]:
        """Wait for clicks."""
        self._only, self._gate = takes, ""
        return self.begin_pointing(context, event)  # type: ignore[no-any-return]

    def start(self: Any, context: Any) -> Steps[Any]:
        """Check what is asked for and give the plan with it."""
        self._taken = getattr(self, "_gate", "")
        if self._taken:
            gate = self._gate_of(context)
            return self.plan(context, lambda edits: taken_away(edits, gate))  # type: ignore[no-any-return]
        goal = self._goal(context)
        return self.plan(context, lambda edits: led_to(edits, goal))  # type: ignore[no-any-return]

    def deliver(self: Any, context: Any, result: Any) -> None:
        """Show the lattice, unless no gate found a way to the place. Raises BadInput, and then has changed nothing."""
        if not self._taken:
            chain, lattice = result
            self.found_way(lattice, chain, self._goal(context))
        super().deliver(context, result)

    def tell(self: Any, ob: Any, lattice: Any) -> None:
        """Say where it went."""
        if self._taken:
            self.say(f"Taken away: {on_link(self._taken)}")
        else:
            self.say(f"Gate to {self.body} {SIDES[self.above]}")

    def hint(self: Any) -> str:
        """Say what a click does."""
        return TAKE_HINT if self._only else ADD_HINT

    def aim(self: Any, context: Any, event: Any, ob: Any, over: tuple[Any, Any]) -> bool:
        """Show the link that gets a gate, or the gate that is taken away."""
        takes, pointer = self._only or event.ctrl, self._pointer
        self.undo_words = "Take Gate Away" if takes else "Add Gate"
        found = pointed_at(context, ob, *over, event.mouse_x, event.mouse_y)
        if takes:
            strut = gate_at(context, ob, *over, event.mouse_x, event.mouse_y)
            self._gate = (
                strut.ob_name if strut is not None else _gate_near(ob, found, mm_per_unit(scene_of(ob, context)))
            )
            pointer.lit, pointer.colour = self._gate, TAKEN
            pointer.words = f"Take away: {on_link(self._gate)}" if self._gate else "Point at a gate, or at its link"
            return bool(self._gate)
        self._gate = ""
        if found is None:
            pointer.words = "Point at a link"
            return False
        mm = mm_per_unit(scene_of(ob, context))
        self.body, self.above = found.body, bool(event.shift)
        self.place = tuple(c * mm for c in found.at)
        pointer.lit, pointer.colour, pointer.spot = found.ob_name, LIT, True
        pointer.words = f"Add a gate to {found.body} {SIDES[self.above]}"
        return True

    def _key(self: Any, context: Any, event: Any) -> None:
        """Switch between adding and taking away."""
        if event.type == "X":
            self._only = not self._only
            self._show(context, event)

    def _gate_of(self: Any, context: Any) -> Gate:
        strut = context.scene.objects.get(self._gate)
        if strut is None:
            raise BadInput(f"{self._gate}: is not there any more; point at another gate")
        return gate_of(strut)

    def _goal(self: Any, context: Any) -> GatePlace:
        ob = chain_of(context.active_object)
        if not self.body:
            raise BadInput("no link is named; give body, such as link 12, and a place on it")
        return goal_on(context, ob, self.body, self.place, bool(self.above))


class LINKWRIGHT_OT_add_gate(GateClicks, Operator):
    """Lead gates to places of links: point at a link and click."""

    bl_idname = "linkwright.add_gate"
    bl_label = "Add Gate"
    bl_description = (
        "Point at a link and click where a gate is to enter it; Shift and click for one from the upper ring, Ctrl and "
        "click to take a gate away"
    )
    bl_options = {"REGISTER", "UNDO"}

    def invoke(self, context: Any, event: Any) -> set[str]:
        """Wait for clicks on links, unless a link is named."""
        if self.body or bpy.app.background:
            return self.begin_modal(context)
        return self.begin_clicks(context, event, takes=False)


class LINKWRIGHT_OT_take_gates(GateClicks, Operator):
    """Take gates away one after the other: point at a gate and click."""

    bl_idname = "linkwright.take_gates"
    bl_label = "Take Gates Away"
    bl_description = "Point at a gate, or at its link, and click to take it away with no other in its stead"
    bl_options = {"REGISTER", "UNDO"}

    gate: StringProperty(name="Gate", description="Name of the gate's object, such as gate of link 12")

    def invoke(self, context: Any, event: Any) -> set[str]:
        """Wait for clicks on gates, unless one is named."""
        if self.gate or bpy.app.background:
            return self.begin_modal(context)
        return self.begin_clicks(context, event, takes=True)

    def start(self, context: Any) -> Steps[Any]:
        """Give the plan without the gate that is named or was clicked, or with the one that was."""
        if getattr(self, "_pointer", None) is None:
            self._gate = self.gate
            if not self._gate:
                raise BadInput("no gate is named; give gate, such as gate of link 12")
        return super().start(context)


class GateLead(Pointing):
    """A drag of the active gate's tip."""

    once = True
    undo_words = "Lead Gate"

    body: StringProperty(name="Link", description="Name of the link the gate is to feed, such as link 12")
    place: FloatVectorProperty(
        name="Place (mm)", description="Where on the link, in the link's own coordinates in mm", size=3
    )

    def hint(self) -> str:
        """Say what a release does."""
        return LEAD_HINT

    def aim(self: Any, context: Any, event: Any, ob: Any, over: tuple[Any, Any]) -> bool:
        """Show where the gate will enter."""
        pointer = self._pointer
        found = pointed_at(context, ob, *over, event.mouse_x, event.mouse_y)
        if found is None:
            self.body, pointer.words = "", "Drag it over a link"
            return False
        mm = mm_per_unit(scene_of(ob, context))
        self.body, self.place = found.body, tuple(c * mm for c in found.at)
        pointer.lit, pointer.colour, pointer.spot = found.ob_name, LIT, True
        pointer.words = f"Lead the gate to {found.body}"
        return True

    def start(self: Any, context: Any) -> Steps[Any]:
        """Check the place and give the plan with the gate led there."""
        strut = context.active_object
        gate = gate_of(strut)
        if not self.body:
            raise BadInput("no link is named; give body, such as link 12, and a place on it")
        goal = self._goal = goal_on(context, chain_of(strut), self.body, self.place, gate.above)
        return self.plan(  # type: ignore[no-any-return]
            context, lambda edits: _led_elsewhere(edits, gate, goal)
        )

    def deliver(self: Any, context: Any, result: Any) -> None:
        """Show the lattice and select the gate, unless it found no way. Raises BadInput, having changed nothing."""
        chain, lattice = result
        self.found_way(lattice, chain, self._goal)
        super().deliver(context, result)
        ob = context.scene.objects[self._name]
        strut = context.scene.objects.get(_nearest_gate(ob, self._goal))
        if strut is not None and context.active_object is not strut:
            select_only(context, strut)

    def tell(self: Any, ob: Any, lattice: Any) -> None:
        """Say where it went."""
        self.say(f"Gate led to {self.body} {SIDES[self._goal.above]}")


class LINKWRIGHT_OT_lead_gate(GateLead, Operator):
    """Lead the selected gate to another place: drag its tip along the links."""

    bl_idname = "linkwright.lead_gate"
    bl_label = "Lead Gate"
    bl_description = "Drag the tip of the selected gate along the links; where it is let go, the gate is led"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Ask for a gate that is selected alone."""
        strut = strut_of(context.active_object)
        if strut is None or strut.gate is None or chain_of(context.active_object) is None:
            cls.poll_message_set("Select a gate of the lattice first")
            return False
        return cls.lattice_ready(context)

    def invoke(self, context: Any, event: Any) -> set[str]:
        """Follow the pointer, unless a place is given."""
        if self.body or bpy.app.background:
            return self.begin_modal(context)
        return self.begin_pointing(context, event)


def goal_on(context: Any, ob: Any, body: str, at: Any, above: bool) -> GatePlace:
    """Give a place of a chain's link that a gate is wanted at. Raises BadInput for one that cannot be."""
    names = {on_link(link.name) for link in parts(ob, "LINK")} if ob is not None else set()
    if body not in names:
        raise BadInput(f"{body} is no link of this chain; its links are link 1 to link {len(names)}")
    if above and not scene_of(ob, context).linkwright.upper_ring:
        raise BadInput("there is no upper ring for a gate to come down from; switch Upper Ring on first")
    x, y, z = at
    return GatePlace(body, (float(x), float(y), float(z)), above)


def _led_elsewhere(edits: Edits, gate: Gate, goal: GatePlace) -> Edits:
    return led_to(taken_away(edits, gate, far_from=[goal]), goal)


def _gates(ob: Any) -> list[tuple[str, Gate]]:
    struts = [(strut.name, strut_of(strut)) for strut in parts(ob, "STRUT")]
    return [(name, strut.gate) for name, strut in struts if strut is not None and strut.gate is not None]


def _gate_near(ob: Any, found: Pointed | None, mm: float) -> str:
    """Give the name of the gate of the link pointed at, of several the nearest; empty where it has none."""
    if found is None:
        return ""
    own = [(name, gate) for name, gate in _gates(ob) if gate.body == found.body]
    return _nearest_of(own, np.array(found.at) * mm)


def _nearest_gate(ob: Any, goal: GatePlace) -> str:
    """Give the name of the gate nearest to a place that one was led to; empty where there is none."""
    alike = [(name, gate) for name, gate in _gates(ob) if (gate.body, gate.above) == (goal.body, goal.above)]
    return _nearest_of(alike, np.array(goal.at))


def _nearest_of(gates: Sequence[tuple[str, Gate]], at: FloatArray) -> str:
    return min(gates, key=lambda one: float(np.linalg.norm(np.subtract(one[1].own[SURFACE], at))), default=("", None))[
        0
    ]
