"""What all our panels share. Drawing only reads what is stored; nothing is worked out in a panel."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable
from typing import Any

from .chain_object import chain_of
from .results import dated_now

# Pixels of one letter and of a panel's own margins, at the usual font and scale 1.
LETTER_PX, MARGIN_PX = 6.6, 62.0


def wrapped(layout: Any, context: Any, text: str, *, icon: str = "NONE", share: float = 1.0) -> None:
    """Put a sentence into a ``share`` of the panel's width, over as many lines as that asks for."""
    scale = context.preferences.system.ui_scale or 1.0
    room = (context.region.width if context.region is not None else 260) / scale - MARGIN_PX
    width = max(16, int((share * room - (20.0 if icon != "NONE" else 0.0)) / LETTER_PX))
    first = True
    for line in textwrap.wrap(text, width):
        layout.label(text=line, icon=icon if first else ("BLANK1" if icon != "NONE" else "NONE"), translate=False)
        first = False


def pair(layout: Any, name: str, value: str) -> None:
    """Put a name and its figure beside each other."""
    split = layout.split(factor=0.36, align=True)
    split.label(text=name)
    split.label(text=value, translate=False)


def pair_lines(layout: Any, name: str, values: Iterable[str]) -> None:
    """Put a name beside several figures, one below the other."""
    for number, value in enumerate(values):
        pair(layout, "" if number else name, value)


def cells(layout: Any, texts: Iterable[str]) -> None:
    """Put a row of a table: its texts in columns of equal width."""
    row = layout.row()
    for text in texts:
        row.label(text=text, translate=False)


def optional(layout: Any, group: Any, flag: str, name: str, heading: str) -> None:
    """Put a figure with a check-box that says whether it counts."""
    row = layout.row(heading=heading)
    row.prop(group, flag, text="")
    sub = row.row()
    sub.active = getattr(group, flag)
    sub.prop(group, name, text="")


def freshness(layout: Any, context: Any, ob: Any, subject: str, dated: str, *, again: str = "inspect again") -> None:
    """Say whose a result is, or that it is out of date."""
    if not subject:
        return
    if ob is None or ob.name != subject:
        layout.label(text=f"Belongs to {subject}", icon="INFO")
    elif dated != dated_now(ob, context.scene):
        layout.label(text=f"Out of date: {again}", icon="ERROR")


def findings_freshness(layout: Any, context: Any, ob: Any, state: Any) -> None:
    """Say whose the findings are, or that they are out of date, and why."""
    scene = context.scene
    dated = scene.linkwright.stamp
    if state.subject:
        freshness(layout, context, ob, state.subject, state.stamp)
        if ob is None or ob.name != state.subject:
            return
        dated = dated_now(ob, scene)
    elif state.scene != scene.name:
        layout.label(text=f"Belongs to the scene {state.scene}", icon="INFO")
        return
    elif state.stamp != dated:
        layout.label(text="Out of date: limits or pour changed", icon="ERROR")
    if state.moved and state.stamp == dated:
        thing = "a link" if state.subject else "an object"
        layout.label(text=f"Out of date: {thing} has changed", icon="ERROR")
    if state.turned:
        layout.label(text="Out of date: turned since", icon="ERROR")


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


class ChainPanel(JobPanel):
    """A panel that shows with a chain."""

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Show with a chain."""
        return chain_of(context.active_object) is not None
