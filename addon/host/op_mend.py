"""The operator that mends a chain that was copied alone, deleted in part, or linked from another file."""

from __future__ import annotations

from typing import Any

from bpy.types import Operator

from ..rules.base.errors import LinkwrightError
from .chain_object import chain_of
from .checking import checker
from .long_work import idle
from .mending import mend, mender
from .panel_names import words_of
from .translated import told_report


class LINKWRIGHT_OT_mend_chain(Operator):
    """Bring back what is missing of the chain, or make it one of this file."""

    bl_idname = "linkwright.mend_chain"
    bl_label = "Mend Chain"
    bl_description = "Bring back what is missing of the chain, links, object or curve; or make it one of this file"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Ask for something that can be mended, in Object Mode."""
        if not mender.button(context):
            cls.poll_message_set("Nothing is missing: select a chain that lacks links, its curve or its object")
            return False
        if context.mode != "OBJECT":
            cls.poll_message_set("Leave Edit Mode first (Tab)")
            return False
        return idle(cls, context)

    def execute(self, context: Any) -> set[str]:
        """Mend what is wrong."""
        try:
            done = mend(context.active_object, context)
        except LinkwrightError as error:
            self.report({"ERROR"}, words_of(error))
            return {"CANCELLED"}
        checker.ask(chain_of(context.active_object))
        mender.look(context)
        self.report({"INFO"}, told_report(done))
        return {"FINISHED"}
