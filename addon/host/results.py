"""What the last inspection and cast plan said, kept beside the window: plain data that the panel only reads.

It is not saved and no part of undo. Each result carries the stamp of the sizes it belongs to; the panel shows
"Out of date" where that is no longer the chain's.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
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

from ..rules.cast.layouts import LayoutFigures
from ..rules.inspect.finding import SEVERITIES, Finding, worst_first
from ..rules.inspect.inspection import Inspection
from ..rules.solid.mesh import FloatArray
from ..verbs.inspection_words import finding_figures, where_words
from .conversions import double
from .finding_words import panel_text
from .outcomes import LINKWRIGHT_PG_outcome
from .panel_names import labels as panel_labels
from .showing import parts
from .stamps import stamp
from .surfaces import placed, standing, standing_part, standing_parts
from .view import frame_place, redraw

MOST_SHOWN = 500
# In a sidebar as wide as Blender opens it, a list line has room for the longest code beside "joint 26-27", 11 letters;
# what longer names take more, a share of the line for every letter, comes off the code.
WIDEST_CODE, NARROWEST_CODE, SHORT_NAME, LETTER_SHARE = 0.67, 0.42, 11, 0.042
# Directions that differ by less are one: about a hundredth of a degree.
SAME_UP = 2e-4

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
    for other in context.selected_objects:
        other.select_set(False)
    strut.select_set(True)
    context.view_layer.objects.active = strut


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


def store(
    state: Any,
    findings: Iterable[Finding],
    inspection: Inspection,
    *,
    subject: str,
    heading: str,
    dated: str,
    mm: float,
    joints: Mapping[frozenset[str], str] | None = None,
    shift: tuple[float, float, float] = (0.0, 0.0, 0.0),
    reach_mm: float = 12.0,
    with_lattice: bool = False,
) -> None:
    """Keep findings for the panel, each with the figures that the inspection measured behind it.

    ``joints`` names the joints of a chain of ours. ``shift`` (mm) is taken off every place: from the inspected job,
    which stands on the plate, to the scene's own.
    """
    clear(state)
    listed = worst_first(findings)
    rows, labels = listed[:MOST_SHOWN], panel_labels()
    starts = 0
    for finding, figures in zip(rows, finding_figures(rows, inspection), strict=True):
        row = state.findings.add()
        row.code, row.severity, row.text = finding.code, finding.severity, panel_text(finding, mm=mm, labels=labels)
        row.bodies = ", ".join(finding.bodies[:3]) + (" ..." if len(finding.bodies) > 3 else "")
        row.where = where_words(finding, joints or {})
        if finding.code == "island":
            starts += 1
            row.number, row.where = starts, f"{starts}: {row.where}"
            row.text = f"Start {starts} from the plate up. {row.text}"
        row.name = f"{finding.severity} {finding.code} {row.where} {' '.join(finding.bodies)}"
        row.figure = "" if finding.value is None else f"{finding.value:.3g}"
        row.has_place = finding.at is not None
        if finding.at is not None:
            row.at = tuple((c - s) / mm for c, s in zip(finding.at, shift, strict=True))
        for figure in figures:
            line = row.figures.add()
            line.name, line.value = figure.name, ", ".join(filter(None, (figure.value, figure.wanted)))
    longest = max((len(row.where) for row in state.findings), default=0)
    state.code_share = min(WIDEST_CODE, max(NARROWEST_CODE, WIDEST_CODE - LETTER_SHARE * (longest - SHORT_NAME)))
    for severity in SEVERITIES:
        setattr(state, f"{severity}_count", sum(1 for finding in listed if finding.severity == severity))
    counts: dict[str, int] = {}
    for finding in listed:
        if finding.severity == "stop":
            counts[finding.code] = counts.get(finding.code, 0) + 1
    for code, count in counts.items():
        row = state.overrides.add()
        row.name, row.count = code, count
    state.hidden_rows = max(0, len(listed) - MOST_SHOWN)
    state.subject, state.heading, state.stamp = subject, heading, dated
    state.reach = reach_mm / mm
    state.with_lattice = with_lattice
    state.has_result = True


def clear(state: Any) -> None:
    """Forget the last inspection."""
    state.findings.clear()
    state.overrides.clear()
    state.objects.clear()
    for name in (
        "moved", "active", "subject", "heading", "stamp", "scene", "with_lattice", "has_result", "hidden_rows", "reach",
        "stop_count", "warn_count", "note_count", "code_share", "up", "turned", "print_note", "print_mm", "section_mm",
    ):  # fmt: skip
        state.property_unset(name)
    state.print_figures.clear()
    state.section_figures.clear()
    # Tells whoever keeps a copy of the findings that they are no longer those.
    state.serial += 1


def clear_plan(state: Any) -> None:
    """Forget the last cast plan, comparisons of layouts and of ways up, export, and how every step stands."""
    state.plan.clear()
    state.levers.clear()
    state.cast_reasons.clear()
    state.outcomes.clear()
    state.layouts.clear()
    for name in (
        "plan_subject", "plan_stamp", "verdict", "verdict_icon", "remark", "exported", "layouts_subject",
        "layouts_stamp", "cast_fill_s", "cast_freeze_s",
    ):  # fmt: skip
        state.property_unset(name)
    clear_ways(state)


def clear_ways(state: Any) -> None:
    """Forget the last comparison of ways up."""
    state.ways.clear()
    state.ways_stood.clear()
    for name in ("way_active", "ways_subject", "ways_stamp", "ways_said"):
        state.property_unset(name)


def store_layouts(state: Any, found: Iterable[LayoutFigures], *, subject: str, dated: str) -> None:
    """Keep a comparison of layouts for the panel."""
    state.layouts.clear()
    for layout in found:
        row = state.layouts.add()
        row.name, row.why = layout.shape, layout.refusal or ""
        if layout.size_mm is None or layout.flask is None:
            continue
        row.size = " x ".join(f"{side:.0f}" for side in layout.size_mm)
        row.layers = layout.layers or 0
        flask = layout.flask
        if flask.fits:
            row.flask = f"flask {flask.flask.diameter_mm:g} x {flask.flask.height_mm:g}"
            row.investment_cm3 = layout.investment_cm3 or 0.0
        else:
            row.flask = "no flask takes it"
    state.layouts_subject, state.layouts_stamp = subject, dated


def dated_now(ob: Any, scene: Any) -> str:
    """Give the stamp of a chain as it stands with the scene's settings."""
    figures = ob.linkwright.figures
    lattice = (ob.linkwright.edits,) if figures.lattice_stamp else ()
    return stamp(figures.stamp, figures.curve_stamp, scene.linkwright.stamp, *lattice)


def is_current(state: Any, scene: Any) -> bool:
    """Tell whether the findings still belong to their chain, or their objects, as they stand in this scene."""
    if state.moved or state.turned:
        return False
    if not state.subject:
        return bool(state.scene == scene.name and state.stamp == scene.linkwright.stamp)
    return _is_current_chain(state, scene.objects.get(state.subject), scene)


def _is_current_chain(state: Any, ob: Any, scene: Any) -> bool:
    return ob is not None and bool(state.stamp == dated_now(ob, scene))


def as_printed(state: Any, scene: Any) -> bool:
    """Tell whether the findings are current, and the links at the places they belong to: not shown as worn."""
    if not state.subject:
        return is_current(state, scene)
    if state.moved or state.turned:
        return False
    ob = scene.objects.get(state.subject)
    return _is_current_chain(state, ob, scene) and not ob.linkwright.figures.worn_view


def up_of(ob: Any) -> FloatArray:
    """Give the direction (3,) that is up in a chain's own coordinates as its object stands."""
    up = double(ob.matrix_world)[2, :3]
    return up / max(float(np.linalg.norm(up)), 1e-12)


class Stood:
    """How each part of the inspected chain stood, so that one that was moved is known without a look at the others."""

    def __init__(self) -> None:
        self._serial = -1
        self._parts: dict[str, bytes] = {}

    def keep(self, serial: int, stood_then: dict[str, bytes]) -> None:
        """Keep how the parts of a result stand."""
        self._serial, self._parts = serial, stood_then

    def differs(self, state: Any, part: Any, *, reshaped: bool = True) -> bool:
        """Tell whether a part of the chain of the result in ``state`` stands otherwise, or if ``reshaped`` looks so."""
        then = self._parts.get(part.name, b"") if self._serial == state.serial else b""
        return standing_part(part, {}) != then if reshaped else not then.startswith(placed(part))


# Beside the one result that is kept.
stood = Stood()


def watch(state: Any, objects: Iterable[Any], depsgraph: Any) -> None:
    """Remember how inspected objects stand, instances included, so that `look_again` can tell when they do no more."""
    _watch(state, depsgraph.scene, standing(frozenset(objects), depsgraph))


def watch_chain(state: Any, ob: Any, scene: Any) -> None:
    """Remember in the same way how the parts of an inspected chain stand on it."""
    meshes: dict[int, bytes] = {}
    stood.keep(state.serial, {part.name: standing_part(part, meshes) for part in _parts(ob)})
    _watch(state, scene, {ob.name: standing_parts(_parts(ob))})


def _watch(state: Any, scene: Any, stands: Mapping[str, str]) -> None:
    state.objects.clear()
    state.scene = scene.name
    for name, stamp_of in stands.items():
        row = state.objects.add()
        row.name, row.stamp = name, stamp_of


def look_again(state: Any, depsgraph: Any, touched: Collection[Any] | None = None) -> None:
    """Mark the findings out of date when an object or a link was moved or changed, and current when all are back.

    What is only hidden counts as it was, and a chain shown as worn as it was printed. ``touched``: the only objects
    and data that may be otherwise than they were.
    """
    scene = depsgraph.scene
    if not state.has_result or state.scene != scene.name:
        return
    if touched is not None and not _concerned(state, touched):
        return
    # Looking up by name is quick among all objects, and slow among those of a scene.
    there: Any = bpy.data.objects if touched is not None else scene.objects
    objects = {row.name: there.get(row.name) for row in state.objects}
    if state.subject:
        ob = objects.get(state.subject)
        if ob is None or ob.linkwright.figures.worn_view:
            return
        moved = any(standing_parts(_parts(ob)) != row.stamp for row in state.objects)
        # Where a chain stands plays no part, nor how it is turned about the vertical; which way is up does for a print.
        turned = any(state.up) and bool(np.abs(up_of(ob) - np.array(state.up, dtype=np.float64)).max() > SAME_UP)
        if state.turned != turned:
            state.turned = turned
    else:
        seen = {ob for ob in objects.values() if ob is not None and ob.visible_get(view_layer=depsgraph.view_layer)}
        stands = standing(seen, depsgraph)
        moved = any(
            objects[row.name] is None or (objects[row.name] in seen and stands.get(row.name) != row.stamp)
            for row in state.objects
        )
    if state.moved != moved:
        state.moved = moved


def _concerned(state: Any, touched: Collection[Any]) -> bool:
    """Tell whether a change of some objects and data may be one of what is shown of inspected objects."""
    if state.subject:
        # A chain, or a part of one; whose it is would take longer to find than to look at the one that was inspected.
        ours: Any = [one for one in touched if isinstance(one, bpy.types.Object)]
        return any(one.linkwright.schema or one.linkwright.part != "NONE" for one in ours)
    objects: Any = bpy.data.objects
    found = [objects.get(row.name) for row in state.objects]
    return any(ob is None or _instances(ob) or ob in touched or ob.data in touched for ob in found)


def _instances(ob: Any) -> bool:
    return ob.instance_type != "NONE" or any(one.type == "NODES" for one in ob.modifiers)


def _parts(ob: Any) -> list[Any]:
    return parts(ob, "LINK") + parts(ob, "STRUT")


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
