"""What is wrong with the active chain, drawn where its panel begins."""

from __future__ import annotations

from typing import Any

from .panel_parts import wrapped
from .result_state import state_of
from .translated import told


def draw_trouble(layout: Any, context: Any) -> None:
    """Say what is wrong with the active chain, with the button that mends it."""
    state = state_of(context)
    if not state.trouble:
        return
    box = layout.box()
    wrapped(box.column(align=True), context, state.trouble, icon="ERROR")
    if state.trouble_button:
        box.operator("linkwright.mend_chain", text=told(state.trouble_button), icon="TOOL_SETTINGS", translate=False)
