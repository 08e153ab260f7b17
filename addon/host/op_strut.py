"""Operators that edit the lattice by hand: keep selected gates, bar them, forget what was done (see also `op_gate`).

Each is one undo step. What changes the lattice plans it anew at once, without inspecting it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
from bpy.props import BoolProperty
from bpy.types import Operator

from ..rules.base.errors import BadInput, LinkwrightError
from ..rules.base.progress import Steps
from ..rules.chain.chain import Chain
from ..rules.feed.lattice import Lattice
from ..verbs import flow
from .chain_object import chain_of, check_editable, scene_of, show_built
from .current import dated_now, is_current
from .lattice_edits import (
    Edits,
    Gate,
    barred_too,
    forget,
    has_lattice,
    pin_of,
    pinned_too,
    store_edits,
    stored,
    strut_of,
    strut_text,
    unpinned,
)
from .lattice_show import lattice_stamp
from .live_lattice import live, planned
from .long_work import idle
from .op_inspect import ChainWork
from .panel_names import words_of
from .result_state import state_of
from .showing import PINNED, PLAIN
from .translated import told_report
from .view import redraw


class LatticeEdit(ChainWork):
    """What edits of the lattice share: the plan made anew with them, and shown without an inspection."""

    busy_words = "Planning the lattice"

    def plan(self, context: Any, change: Callable[[Edits], Edits]) -> Steps[tuple[Chain, Lattice]]:
        """Read the chain with its edits changed and give the plan."""
        job = self.read(context, change)
        return planned(job, self._turn)

    def deliver(self, context: Any, result: Any) -> None:
        """Show the lattice and say what came of the edit."""
        chain, lattice = result
        ob = context.scene.objects[self._name]
        show_built(ob, context, chain, self._read)
        self.show_plan(context, ob, lattice, flow.turned(chain, self._turn), np.zeros(3))
        redraw(context)
        self.tell(ob, lattice)

    def tell(self, ob: Any, lattice: Lattice) -> None:
        """Report what came of the edit."""
        raise NotImplementedError

    @classmethod
    def lattice_ready(cls: Any, context: Any) -> bool:
        """Ask for a chain with a lattice, shown as it is printed, and nothing running."""
        ob = chain_of(context.active_object)
        if ob is None or not ob.linkwright.figures.lattice_stamp:
            cls.poll_message_set("Select a chain that has a lattice")
            return False
        if ob.linkwright.figures.worn_view:
            cls.poll_message_set("The chain is shown as worn: press Show as Printed first")
            return False
        return idle(cls, context)


class LINKWRIGHT_OT_pin_gate(Operator):
    """Keep the selected gates exactly as they are when the lattice is planned again, or let the planner have them."""

    bl_idname = "linkwright.pin_gate"
    bl_label = "Pin Gate"
    bl_description = "Keep the selected gates exactly as they are, whatever is planned anew around them"
    bl_options = {"REGISTER", "UNDO"}

    pin: BoolProperty(name="Pin", description="Off: let the planner have them again", default=True)

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Ask for selected gates."""
        return _gates_ready(cls, context)

    @classmethod
    def description(cls, _context: Any, properties: Any) -> str:
        """Say which way it goes."""
        return cls.bl_description if properties.pin else "Let the planner have the selected gates again"

    def execute(self, context: Any) -> set[str]:
        """Change the pins; the lattice stays as it is."""
        try:
            ob = chain_of(chosen_gates(context)[0])
            check_editable(ob)
            count = self._change(context, ob)
        except LinkwrightError as error:
            self.report({"ERROR"}, words_of(error))
            return {"CANCELLED"}
        live.ask()
        redraw(context)
        self.report(
            {"INFO"},
            told_report(f"{count} gate{'' if count == 1 else 's'} {'pinned' if self.pin else 'no longer pinned'}"),
        )
        return {"FINISHED"}

    def _change(self, context: Any, ob: Any) -> int:
        group, scene, state = ob.linkwright, scene_of(ob, context), state_of(context)
        planned_now = lattice_stamp(ob, scene) == group.figures.lattice_stamp
        told_now = state.subject == ob.name and is_current(state, scene)
        edits, count = stored(group), 0
        rows = {row.number: row for row in group.gates}
        for strut in chosen_gates(context):
            if chain_of(strut) is not ob:
                continue
            gate = gate_of(strut)
            if self.pin and not np.allclose(strut.matrix_basis, np.eye(4), atol=1e-6):
                raise BadInput(f"{strut.name}: was moved by hand; press Plan Again first, which leads it there")
            edits = pinned_too(edits, gate) if self.pin else unpinned(edits, gate)
            state_word = "planned" if pin_of(edits, gate) is None else "pinned"
            count += gate.state != state_word
            mark(strut, rows.get(strut.linkwright.number), state_word)
        store_edits(group, edits)
        # A gate that is kept where it is changes neither the lattice nor what was found in it.
        if self.pin and planned_now:
            group.figures.lattice_stamp = lattice_stamp(ob, scene)
        if self.pin and told_now:
            state.stamp = dated_now(ob, scene)
        return count


class LINKWRIGHT_OT_remove_gate(LatticeEdit, Operator):
    """Take the selected gates away for good; the planner finds other places where it must."""

    bl_idname = "linkwright.remove_gate"
    bl_label = "Bar Gate"
    bl_description = (
        "Take the selected gates away and lead none there again: the planner finds other places where it must. To take "
        "a gate away with no other in its stead, delete it (X)"
    )
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Ask for selected gates."""
        return _gates_ready(cls, context)

    def start(self, context: Any) -> Steps[Any]:
        """Give the plan without the selected gates."""
        struts = chosen_gates(context)
        ob = chain_of(struts[0])
        gates = [gate_of(strut) for strut in struts if chain_of(strut) is ob]
        self._count = len(gates)
        if chain_of(context.active_object) is not ob:
            context.view_layer.objects.active = ob

        def change(edits: Edits) -> Edits:
            for gate in gates:
                edits = barred_too(edits, gate)
            return edits

        return self.plan(context, change)

    def tell(self, ob: Any, lattice: Lattice) -> None:
        """Say how many."""
        self.report(
            {"INFO"}, told_report(f"{self._count} gate{'' if self._count == 1 else 's'} barred; planned anew without")
        )


class LINKWRIGHT_OT_clear_edits(LatticeEdit, Operator):
    """Forget what was done to the lattice by hand, and plan it as if nothing had been."""

    bl_idname = "linkwright.clear_edits"
    bl_label = "Clear Edits"
    bl_description = "Forget what was pinned, added, barred and deleted by hand, and plan the lattice anew"
    bl_options = {"REGISTER", "UNDO"}

    gone_only: BoolProperty(
        name="Gone Only", description="Forget only those of links that the chain no longer has", default=False
    )

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Ask for a chain, and nothing running."""
        return cls.chain_ready(context)

    @classmethod
    def description(cls, _context: Any, properties: Any) -> str:
        """Say what is forgotten."""
        if properties.gone_only:
            return "Forget the edits of links that the chain no longer has"
        return cls.bl_description

    def invoke(self, context: Any, _event: Any) -> set[str]:
        """Plan anew in slices where there is something to plan."""
        return self.begin_modal(context) if self._plans(context) else self.execute(context)

    def execute(self, context: Any) -> set[str]:
        """Forget, and plan anew where there is a lattice."""
        if self._plans(context):
            return super().execute(context)
        ob = chain_of(context.active_object)
        scene = scene_of(ob, context)
        planned_now = lattice_stamp(ob, scene) == ob.linkwright.figures.lattice_stamp
        forget(ob.linkwright, gone_only=self.gone_only)
        if planned_now:
            ob.linkwright.figures.lattice_stamp = lattice_stamp(ob, scene)
        return {"FINISHED"}

    def _plans(self, context: Any) -> bool:
        ob = chain_of(context.active_object)
        return has_lattice(ob) and not self.gone_only and not ob.linkwright.figures.worn_view

    def start(self, context: Any) -> Steps[Any]:
        """Give the plan without edits."""
        return self.plan(context, lambda _edits: Edits())

    def deliver(self, context: Any, result: Any) -> None:
        """Forget those of other families too, and show the lattice."""
        forget(context.scene.objects[self._name].linkwright, gone_only=False)
        super().deliver(context, result)

    def tell(self, ob: Any, lattice: Lattice) -> None:
        """Say so."""
        self.report({"INFO"}, told_report("Edits cleared; the lattice is as the planner makes it"))


def chosen_gates(context: Any) -> list[Any]:
    """Give the selected objects that are gates."""
    return [ob for ob in context.selected_objects if (strut := strut_of(ob)) is not None and strut.gate is not None]


def gate_of(ob: Any) -> Gate:
    """Give what a gate's object knows of itself."""
    strut = strut_of(ob)
    if strut is None or strut.gate is None:
        raise BadInput(f"{ob.name}: is no gate")
    return strut.gate


def mark(strut: Any, row: Any, state: str) -> None:
    """Show a gate's object, and its row in the list, as pinned or not."""
    told = strut_of(strut)
    assert told is not None
    assert told.gate is not None
    text = strut_text(replace(told, gate=replace(told.gate, state=state)))
    strut.linkwright.strut = text
    strut.show_wire = state == "pinned"
    strut.color = PINNED if state == "pinned" else PLAIN
    if row is not None:
        row.state, row.strut = state, text


def _gates_ready(cls: Any, context: Any) -> bool:
    ob = context.active_object
    if not any(chain_of(one) is not None and strut_of(one) is not None for one in context.selected_objects):
        cls.poll_message_set("Select one or more gates of the lattice first")
        return False
    if not chosen_gates(context):
        cls.poll_message_set("What is selected is no gate: rings, posts and spokes follow from the gates")
        return False
    if ob is not None and chain_of(ob) is not None and chain_of(ob).linkwright.figures.worn_view:
        cls.poll_message_set("The chain is shown as worn: press Show as Printed first")
        return False
    return idle(cls, context)
