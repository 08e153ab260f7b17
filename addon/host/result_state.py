"""What is kept of the last inspection and cast plan beside the window: plain data that the panel only reads.

It is not saved and no part of undo. `results` fills it, `current` tells whether it is still so.
"""

from __future__ import annotations

from typing import Any

import bpy
import numpy as np
from bpy.props import (
    BoolProperty,
    CollectionProperty,
    EnumProperty,
    FloatProperty,
    FloatVectorProperty,
    IntProperty,
    StringProperty,
)
from bpy.types import PropertyGroup
from mathutils import Vector

from ..rules.inspect.finding import SEVERITIES
from .outcomes import LINKWRIGHT_PG_outcome
from .showing import parts
from .view import frame_place, redraw, select_only

# The share of a line of the list that the longest code takes in a sidebar as wide as Blender opens it.
WIDEST_CODE = 0.67

COLOUR_ITEMS = (
    ("GAPS", "Gaps", "Colour by the gap to the nearest other body", "NONE", 1),
    ("LIGHT", "Light", "Colour by the share of curing light that reaches a face", "NONE", 2),
    ("FILL", "Fill", "Show how far the metal has run at the time below; at the end, what stays short", "NONE", 3),
    ("FREEZE", "Freeze", "Show what is liquid, freezing and solid at the time below", "NONE", 4),
    ("ORDER", "Order", "Colour by when the metal is solid, from the first to the last", "NONE", 5),
)
SEVERITY_ITEMS = (
    ("stop", "Stop", "Must be mended before an export", "CANCEL", 1),
    ("warn", "Warn", "Should be looked at", "ERROR", 2),
    ("note", "Note", "Worth knowing", "INFO", 3),
)


def _row_clicked(state: Any, context: Any) -> None:
    if 0 <= state.active < len(state.findings):
        place = place_of(state, state.findings[state.active])
        if place is not None:
            frame_place(context, place, state.reach)


def _gate_row(_state: Any) -> int:
    """Give the row of the list of gates that the active object is, -1 where it is none."""
    from .chain_object import chain_of

    active: Any = bpy.context.active_object
    ob = chain_of(active)
    if ob is None or active.linkwright.part != "STRUT":
        return -1
    numbers = np.zeros(len(ob.linkwright.gates), dtype=np.int32)
    ob.linkwright.gates.foreach_get("number", numbers)
    rows = np.flatnonzero(numbers == active.linkwright.number)
    return int(rows[0]) if len(rows) else -1


def _choose_gate(_state: Any, row: int) -> None:
    """Select the gate of a row."""
    from .chain_object import chain_of

    context: Any = bpy.context
    ob = chain_of(context.active_object)
    if ob is None or context.mode != "OBJECT" or not 0 <= row < len(ob.linkwright.gates):
        return
    number = ob.linkwright.gates[row].number
    strut = next((one for one in parts(ob, "STRUT") if one.linkwright.number == number), None)
    if strut is None or not strut.visible_get():
        return
    select_only(context, strut)


def _filtered(_state: Any, context: Any) -> None:
    redraw(context)


def _section_moved(state: Any, context: Any) -> None:
    from .print_view import section

    section.move(state)
    redraw(context)


def _colours_chosen(state: Any, context: Any) -> None:
    from .cast_view import cast_view

    cast_view.move(state)
    redraw(context)


def _cast_end_s(state: Any) -> float:
    return float(state.cast_fill_s if state.colour_by == "FILL" else state.cast_freeze_s)


def _cast_s(state: Any) -> float:
    return float(state.cast_share) / 100.0 * _cast_end_s(state)


def _set_cast_s(state: Any, seconds: float) -> None:
    end_s = _cast_end_s(state)
    state.cast_share = min(100.0, 100.0 * seconds / end_s) if end_s > 0.0 else 100.0


def _section_share(state: Any) -> float:
    return float(100.0 * state.section_mm / state.print_mm) if state.print_mm > 0.0 else 0.0


def _set_section_share(state: Any, share: float) -> None:
    state.section_mm = share / 100.0 * state.print_mm


def _shows(severity: str, tip: str) -> Any:
    return BoolProperty(name=f"Show {severity}", description=tip, default=True, options={"SKIP_SAVE"}, update=_filtered)


class LINKWRIGHT_PG_figure(PropertyGroup):
    """One figure behind a finding: what it is called, and the figure with its unit and what it should be."""

    value: StringProperty()


class LINKWRIGHT_PG_finding(PropertyGroup):
    """One finding as the list shows it. ``at`` in scene units, in the subject's own coordinates.

    The name is what the list's own search looks through; ``where`` the joint or the bodies in short. ``number`` of a
    start in mid-air, from the plate up; 0 for all else.
    """

    code: StringProperty()
    severity: EnumProperty(items=SEVERITY_ITEMS, default="note")
    bodies: StringProperty()
    where: StringProperty()
    number: IntProperty()
    figures: CollectionProperty(type=LINKWRIGHT_PG_figure)
    text: StringProperty()
    figure: StringProperty()
    has_place: BoolProperty()
    at: FloatVectorProperty(size=3)


class LINKWRIGHT_PG_override(PropertyGroup):
    """One code among the standing stops, and whether the maker exports in spite of it."""

    count: IntProperty()
    allow: BoolProperty(name="Export in Spite of It", description="Leave this stop standing; the report names it")


class LINKWRIGHT_PG_line(PropertyGroup):
    """One line of text."""


class LINKWRIGHT_PG_lever(PropertyGroup):
    """One change of the job, by its name: from what to what, and whether that alone lets it pass."""

    change: StringProperty()
    passes: BoolProperty()


class LINKWRIGHT_PG_watched(PropertyGroup):
    """One inspected object by its name, and how it stood."""

    stamp: StringProperty()


class LINKWRIGHT_PG_layout(PropertyGroup):
    """What one layout of the same links would be like; the name is the layout's. ``why`` where it cannot be built."""

    size: StringProperty()
    layers: IntProperty()
    flask: StringProperty()
    investment_cm3: FloatProperty()
    why: StringProperty()


class LINKWRIGHT_PG_way(PropertyGroup):
    """One way to stand the piece on the plate. The name is the way's in short, ``called`` in full.

    ``turn``: the rotation (9,), row by row, from how the piece stood when the ways were compared.
    """

    called: StringProperty()
    turn: FloatVectorProperty(size=9)
    islands: IntProperty()
    underside_mm2: FloatProperty()
    height_mm: FloatProperty()
    layers: IntProperty()
    largest_mm2: FloatProperty()
    gap: StringProperty()
    size: StringProperty()
    refusal: StringProperty()


class LINKWRIGHT_PG_stood(PropertyGroup):
    """An object whose ways were compared, by its name, and its world matrix (16,) then, row by row."""

    matrix: FloatVectorProperty(size=16)


class LINKWRIGHT_PG_state(PropertyGroup):
    """The results and what is running, on the window manager."""

    findings: CollectionProperty(type=LINKWRIGHT_PG_finding, options={"SKIP_SAVE"})
    active: IntProperty(
        name="Finding", description="Click a finding to look at its place", update=_row_clicked, options={"SKIP_SAVE"}
    )
    overrides: CollectionProperty(type=LINKWRIGHT_PG_override, options={"SKIP_SAVE"})
    subject: StringProperty(options={"SKIP_SAVE"})
    heading: StringProperty(options={"SKIP_SAVE"})
    stamp: StringProperty(options={"SKIP_SAVE"})
    with_lattice: BoolProperty(options={"SKIP_SAVE"})
    serial: IntProperty(options={"SKIP_SAVE"})
    has_result: BoolProperty(options={"SKIP_SAVE"})
    hidden_rows: IntProperty(options={"SKIP_SAVE"})
    code_share: FloatProperty(default=WIDEST_CODE, options={"SKIP_SAVE"})
    reach: FloatProperty(options={"SKIP_SAVE"})
    plan: CollectionProperty(type=LINKWRIGHT_PG_figure, options={"SKIP_SAVE"})
    verdict: StringProperty(options={"SKIP_SAVE"})
    verdict_icon: StringProperty(default="NONE", options={"SKIP_SAVE"})
    remark: StringProperty(options={"SKIP_SAVE"})
    levers: CollectionProperty(type=LINKWRIGHT_PG_lever, options={"SKIP_SAVE"})
    cast_reasons: CollectionProperty(type=LINKWRIGHT_PG_line, options={"SKIP_SAVE"})
    outcomes: CollectionProperty(type=LINKWRIGHT_PG_outcome, options={"SKIP_SAVE"})
    plan_subject: StringProperty(options={"SKIP_SAVE"})
    plan_stamp: StringProperty(options={"SKIP_SAVE"})
    exported: StringProperty(options={"SKIP_SAVE"})
    layouts: CollectionProperty(type=LINKWRIGHT_PG_layout, options={"SKIP_SAVE"})
    layouts_subject: StringProperty(options={"SKIP_SAVE"})
    layouts_stamp: StringProperty(options={"SKIP_SAVE"})
    running: StringProperty(options={"SKIP_SAVE"})
    checking: StringProperty(options={"SKIP_SAVE"})
    stage: StringProperty(options={"SKIP_SAVE"})
    planning: StringProperty(options={"SKIP_SAVE"})
    by_hand: BoolProperty(options={"SKIP_SAVE"})
    reasons: CollectionProperty(type=LINKWRIGHT_PG_line, options={"SKIP_SAVE"})
    reasons_of: StringProperty(options={"SKIP_SAVE"})
    gate_active: IntProperty(
        name="Gate", description="Click a gate to select it", get=_gate_row, set=_choose_gate, options={"SKIP_SAVE"}
    )
    progress: FloatProperty(options={"SKIP_SAVE"})
    objects: CollectionProperty(type=LINKWRIGHT_PG_watched, options={"SKIP_SAVE"})
    scene: StringProperty(options={"SKIP_SAVE"})
    moved: BoolProperty(options={"SKIP_SAVE"})
    show_stop: _shows("Stops", "List and mark what must be mended before an export")
    show_warn: _shows("Warnings", "List and mark what should be looked at")
    show_note: _shows("Notes", "List and mark what is worth knowing")
    stop_count: IntProperty(options={"SKIP_SAVE"})
    warn_count: IntProperty(options={"SKIP_SAVE"})
    note_count: IntProperty(options={"SKIP_SAVE"})
    colours: BoolProperty(
        name="Colours on Links",
        description="Colour the inspected bodies: by the gap to the nearest other one, or by the light that reaches "
        "them, or by how the metal fills and freezes",
        default=True,
        options={"SKIP_SAVE"},
    )
    colour_by: EnumProperty(
        name="Colour By",
        description="What the colours on the links tell",
        items=COLOUR_ITEMS,
        default="GAPS",
        update=_colours_chosen,
        options={"SKIP_SAVE"},
    )
    up: FloatVectorProperty(size=3, options={"SKIP_SAVE"})
    turned: BoolProperty(options={"SKIP_SAVE"})
    print_figures: CollectionProperty(type=LINKWRIGHT_PG_figure, options={"SKIP_SAVE"})
    print_note: StringProperty(options={"SKIP_SAVE"})
    print_mm: FloatProperty(options={"SKIP_SAVE"})
    section: BoolProperty(
        name="Show Layer",
        description="Outline one layer of the print in its place; what nothing holds up is in the colour of a stop",
        default=True,
        update=_filtered,
        options={"SKIP_SAVE"},
    )
    section_mm: FloatProperty(
        name="Height (mm)",
        description="Height of the layer over the plate, in print size",
        min=0.0,
        max=1000.0,
        step=5,
        precision=2,
        update=_section_moved,
        options={"SKIP_SAVE"},
    )
    section_share: FloatProperty(
        name="Layer",
        description="Drag to go through the layers of the print, from the plate up to the top",
        subtype="PERCENTAGE",
        min=0.0,
        max=100.0,
        precision=1,
        get=_section_share,
        set=_set_section_share,
        options={"SKIP_SAVE"},
    )
    section_figures: CollectionProperty(type=LINKWRIGHT_PG_figure, options={"SKIP_SAVE"})
    cast_share: FloatProperty(
        name="Time",
        description="Drag to go through the pour: how the metal fills the piece, or freezes in it",
        subtype="PERCENTAGE",
        min=0.0,
        max=100.0,
        precision=1,
        default=100.0,
        update=_colours_chosen,
        options={"SKIP_SAVE"},
    )
    cast_s: FloatProperty(
        name="Seconds",
        description="Time from the start of the pour that is shown",
        min=0.0,
        max=100_000.0,
        step=10,
        precision=2,
        get=_cast_s,
        set=_set_cast_s,
        options={"SKIP_SAVE"},
    )
    cast_fill_s: FloatProperty(options={"SKIP_SAVE"})
    cast_freeze_s: FloatProperty(options={"SKIP_SAVE"})
    ways: CollectionProperty(type=LINKWRIGHT_PG_way, options={"SKIP_SAVE"})
    way_active: IntProperty(name="Way", description="Click a way to read its figures below", options={"SKIP_SAVE"})
    ways_subject: StringProperty(options={"SKIP_SAVE"})
    ways_stamp: StringProperty(options={"SKIP_SAVE"})
    ways_said: StringProperty(options={"SKIP_SAVE"})
    ways_stood: CollectionProperty(type=LINKWRIGHT_PG_stood, options={"SKIP_SAVE"})
    trouble: StringProperty(options={"SKIP_SAVE"})
    trouble_button: StringProperty(options={"SKIP_SAVE"})
    overlay: BoolProperty(
        name="Marks", description="Mark the findings in the 3D view", default=True, options={"SKIP_SAVE"}
    )


def state_of(context: Any) -> Any:
    """Give the results kept beside the window."""
    return context.window_manager.linkwright


def shown_severities(state: Any) -> frozenset[str]:
    """Give the severities that the maker has switched on."""
    return frozenset(severity for severity in SEVERITIES if getattr(state, f"show_{severity}"))


def place_of(state: Any, row: Any) -> tuple[float, float, float] | None:
    """Give a finding's place in world scene units, or None."""
    if not row.has_place:
        return None
    objects: Any = bpy.data.objects
    subject = objects.get(state.subject)
    if subject is None:
        return (row.at[0], row.at[1], row.at[2])
    place = subject.matrix_world @ Vector(row.at)
    return (place.x, place.y, place.z)


def allowed(state: Any) -> str:
    """Give the codes the maker exports in spite of, as the export takes them."""
    return ", ".join(row.name for row in state.overrides if row.allow)
