"""What all our panels share. Drawing only reads what is stored; nothing is worked out in a panel."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable
from typing import Any

import bpy

from .chain_object import chain_of
from .current import dated_now
from .result_state import state_of
from .steps_status import status_of, status_of_set
from .translated import told

# Pixels of one letter and of a panel's own margins, at the usual font and scale 1.
LETTER_PX, MARGIN_PX = 6.6, 62.0
# Digits and short words are narrower than a sentence on the whole.
FIGURE_PX = 5.9
LEAST_LETTERS = 16
# Under this, titles and words of a header do not fit beside each other.
NARROW_PX = 175.0
# What the name of a figure takes of a line, in a sidebar of any width.
NAME_PX, SHORT_NAME_PX = 88.0, 70.0


def wrapped(layout: Any, context: Any, text: str, *, icon: str = "NONE", share: float = 1.0) -> None:
    """Put a sentence into a ``share`` of the panel's width, over as many lines as that asks for."""
    first = True
    for line in _lines(context, text, share, 20.0 if icon != "NONE" else 0.0):
        layout.label(text=line, icon=icon if first else ("BLANK1" if icon != "NONE" else "NONE"), translate=False)
        first = False


def _lines(context: Any, text: str, share: float, less_px: float = 0.0, *, letter_px: float = LETTER_PX) -> list[str]:
    """Break a text into the lines that a ``share`` of the panel's width has room for."""
    letters = max(LEAST_LETTERS, int((share * room_px(context) - less_px) / letter_px))
    return textwrap.wrap(told(text), letters, break_on_hyphens=False)


def room_px(context: Any) -> float:
    """Give the width a panel has for its lines, in pixels at scale 1."""
    scale = context.preferences.system.ui_scale or 1.0
    return float((context.region.width if context.region is not None else 260) / scale - MARGIN_PX)


def is_narrow(context: Any) -> bool:
    """Tell whether the sidebar was drawn so narrow that icons have to stand for words."""
    return room_px(context) < NARROW_PX


def pair(layout: Any, name: str, value: str, *, name_px: float = NAME_PX) -> None:
    """Put a name and its figure beside each other; a long figure goes on below."""
    context: Any = bpy.context
    share = min(name_px / max(room_px(context), 1.0), 0.45)
    lines = [told(value)] if context.region is None else _lines(context, value, 1.0 - share, letter_px=FIGURE_PX)
    for number, line in enumerate(lines or [""]):
        split = layout.split(factor=share, align=True)
        split.label(text=told("" if number else name), translate=False)
        split.label(text=line, translate=False)


def pair_lines(layout: Any, name: str, values: Iterable[str], *, name_px: float = NAME_PX) -> None:
    """Put a name beside several figures, one below the other."""
    for number, value in enumerate(values):
        pair(layout, "" if number else name, value, name_px=name_px)


def cells(layout: Any, texts: Iterable[str]) -> None:
    """Put a row of a table: its texts in columns of equal width."""
    row = layout.row()
    for text in texts:
        row.label(text=told(text), translate=False)


def optional(layout: Any, group: Any, flag: str, name: str, heading: str) -> None:
    """Put a figure with a check-box that says whether it counts."""
    row = layout.row(heading=heading)
    row.prop(group, flag, text="")
    sub = row.row()
    sub.active = getattr(group, flag)
    sub.prop(group, name, text="")


def freshness(layout: Any, context: Any, ob: Any, subject: str, dated: str, *, again: str, step: str = "") -> None:
    """Say whose a result is, or that it is out of date; where it is that of a ``step``, also why."""
    if not subject:
        return
    if ob is None or ob.name != subject:
        wrapped(layout, context, f"Belongs to {subject}", icon="INFO")
    elif dated != dated_now(ob, context.scene):
        layout.label(text=told(f"Out of date: {again}"), icon="ERROR", translate=False)
        if step:
            why_stale(layout, context, ob, step)


def why_stale(layout: Any, context: Any, ob: Any, step: str) -> None:
    """Say what was changed since a step was taken."""
    status = status_of(context, ob, step)
    if status.kind == "stale" and status.why:
        wrapped(layout.column(align=True), context, status.why)


def findings_freshness(layout: Any, context: Any, ob: Any, state: Any) -> None:
    """Say whose the findings are, or that they are out of date, and why."""
    scene = context.scene
    dated = scene.linkwright.stamp
    if state.subject:
        freshness(layout, context, ob, state.subject, state.stamp, again="inspect again", step="inspect")
        if ob is None or ob.name != state.subject:
            return
        dated = dated_now(ob, scene)
    elif state.scene != scene.name:
        wrapped(layout, context, f"Belongs to the scene {state.scene}", icon="INFO")
        return
    elif state.stamp != dated:
        layout.label(text="Out of date: limits or pour changed", icon="ERROR")
    if state.moved and state.stamp == dated:
        words = "Out of date: a link has changed" if state.subject else "Out of date: an object has changed"
        layout.label(text=told(words), icon="ERROR", translate=False)
    if state.turned:
        layout.label(text="Out of date: turned since", icon="ERROR")


def progress(layout: Any, state: Any) -> None:
    """Show how far the work is that runs."""
    words = told(f"{state.running} {100 * state.progress:.0f} %")
    layout.progress(factor=state.progress, text=told(words), type="BAR", translate=False)


def anything(context: Any) -> bool:
    """Tell whether there is anything to look at: selected, found, or read off a gauge. Else only the start shows."""
    return bool(
        chain_of(context.active_object) is not None
        or context.selected_objects
        or state_of(context).has_result
        or len(context.scene.linkwright_gauge.readings)
    )


class JobPanel:
    """A panel of our tab."""

    bl_space_type = "VIEW_3D"
    bl_region_type = "UI"
    bl_category = "Linkwright"

    def prepare(self: Any, context: Any) -> tuple[Any, Any]:
        """Give the layout, one column of properties, and the active chain."""
        layout = self.layout
        layout.use_property_split = True
        layout.use_property_decorate = False
        return layout, chain_of(context.active_object)


class StepPanel(JobPanel):
    """The panel of a step of the job: its header tells how the step stands, also while the panel is closed."""

    step = ""
    presets: Any = None

    def draw_header_preset(self: Any, context: Any) -> None:
        """Draw the status, and the presets where there are some."""
        ob = chain_of(context.active_object)
        status = status_of_set(context, self.step) if ob is None else status_of(context, ob, self.step)
        if status is not None:
            row = self.layout.row(align=True)
            row.alert = status.kind == "stop"
            row.active = status.kind != "todo"
            # Blender draws what stands at the end of a header over its title where both have no room.
            if not is_narrow(context):
                row.label(text=told(status.words), icon=status.icon, translate=False)
            elif status.icon != "NONE":
                row.label(text="", icon=status.icon)
        if self.presets is not None:
            self.presets.draw_panel_header(self.layout)


class ChainPanel(StepPanel):
    """The panel of a step that shows with a chain."""

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Show with a chain."""
        return chain_of(context.active_object) is not None
