"""What the last inspection and cast plan said, kept beside the window: plain data that the panel only reads.

It is not saved and no part of undo. Each result carries the stamp of the sizes it belongs to; the panel shows
"Out of date" where that is no longer the chain's.
"""

from __future__ import annotations

from collections.abc import Iterable
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
from ..rules.inspect.finding import SEVERITIES, Finding
from .stamps import stamp

MOST_SHOWN = 500

SEVERITY_ITEMS = (
    ("stop", "Stop", "Must be mended before an export", "CANCEL", 1),
    ("warn", "Warn", "Should be looked at", "ERROR", 2),
    ("note", "Note", "Worth knowing", "INFO", 3),
)


def _row_clicked(state: Any, context: Any) -> None:
    from .view import frame_place

    if 0 <= state.active < len(state.findings):
        place = place_of(state, state.findings[state.active])
        if place is not None:
            frame_place(context, place, state.reach)


class LINKWRIGHT_PG_finding(PropertyGroup):
    """One finding as the list shows it. ``at`` in scene units, in the subject's own coordinates."""

    code: StringProperty()
    severity: EnumProperty(items=SEVERITY_ITEMS, default="note")
    bodies: StringProperty()
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


class LINKWRIGHT_PG_layout(PropertyGroup):
    """What one layout of the same links would be like; the name is the layout's. ``why`` where it cannot be built."""

    size: StringProperty()
    layers: IntProperty()
    flask: StringProperty()
    investment_cm3: FloatProperty()
    why: StringProperty()


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
    reach: FloatProperty(options={"SKIP_SAVE"})
    plan: CollectionProperty(type=LINKWRIGHT_PG_line, options={"SKIP_SAVE"})
    plan_subject: StringProperty(options={"SKIP_SAVE"})
    plan_stamp: StringProperty(options={"SKIP_SAVE"})
    exported: StringProperty(options={"SKIP_SAVE"})
    layouts: CollectionProperty(type=LINKWRIGHT_PG_layout, options={"SKIP_SAVE"})
    layouts_subject: StringProperty(options={"SKIP_SAVE"})
    layouts_stamp: StringProperty(options={"SKIP_SAVE"})
    running: StringProperty(options={"SKIP_SAVE"})
    checking: StringProperty(options={"SKIP_SAVE"})
    stage: StringProperty(options={"SKIP_SAVE"})
    progress: FloatProperty(options={"SKIP_SAVE"})
    objects: CollectionProperty(type=LINKWRIGHT_PG_line, options={"SKIP_SAVE"})
    moved: BoolProperty(options={"SKIP_SAVE"})
    colours: BoolProperty(
        name="Gaps on Links",
        description="Colour the inspected bodies by the gap to the nearest other one",
        default=True,
        options={"SKIP_SAVE"},
    )
    overlay: BoolProperty(
        name="Show in View", description="Mark the findings in the 3D view", default=True, options={"SKIP_SAVE"}
    )


def state_of(context: Any) -> Any:
    """Give the results kept beside the window."""
    return context.window_manager.linkwright


def store(
    state: Any,
    findings: Iterable[Finding],
    *,
    subject: str,
    heading: str,
    dated: str,
    mm: float,
    shift: tuple[float, float, float] = (0.0, 0.0, 0.0),
    reach_mm: float = 12.0,
    with_lattice: bool = False,
) -> None:
    """Keep findings for the panel.

    ``shift`` (mm) is taken off every place: from the inspected job, which stands on the plate, to the scene's own.
    """
    clear(state)
    listed = sorted(findings, key=lambda f: SEVERITIES.index(f.severity))
    for finding in listed[:MOST_SHOWN]:
        row = state.findings.add()
        row.name = f"{finding.severity} {finding.code} {' '.join(finding.bodies)}"
        row.code, row.severity, row.text = finding.code, finding.severity, finding.text
        row.bodies = ", ".join(finding.bodies[:3]) + (" ..." if len(finding.bodies) > 3 else "")
        row.figure = "" if finding.value is None else f"{finding.value:.3g}"
        row.has_place = finding.at is not None
        if finding.at is not None:
            row.at = tuple((c - s) / mm for c, s in zip(finding.at, shift, strict=True))
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
        "moved",
        "active",
        "subject",
        "heading",
        "stamp",
        "with_lattice",
        "has_result",
        "hidden_rows",
        "reach",
    ):
        state.property_unset(name)
    # Tells whoever keeps a copy of the findings that they are no longer those.
    state.serial += 1


def clear_plan(state: Any) -> None:
    """Forget the last cast plan, comparison of layouts and export."""
    state.plan.clear()
    state.layouts.clear()
    for name in ("plan_subject", "plan_stamp", "exported", "layouts_subject", "layouts_stamp"):
        state.property_unset(name)


def store_plan(state: Any, lines: Iterable[str], *, subject: str, dated: str) -> None:
    """Keep the lines of a cast plan for the panel."""
    state.plan.clear()
    for line in lines:
        state.plan.add().name = line
    state.plan_subject, state.plan_stamp = subject, dated


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
    return stamp(figures.stamp, figures.curve_stamp, scene.linkwright.stamp, bool(figures.lattice_stamp))


def is_current(state: Any, scene: Any) -> bool:
    """Tell whether the findings still belong to their chain, or their meshes, as they stand."""
    if not state.subject:
        return not state.moved
    ob = scene.objects.get(state.subject)
    return ob is not None and state.stamp == dated_now(ob, scene)


def watch(state: Any, objects: Iterable[Any]) -> None:
    """Remember how inspected meshes stand, so that `look_again` can tell when they do no more."""
    state.objects.clear()
    for ob in objects:
        state.objects.add().name = ob.name
    state.stamp = _as_they_stand(state)


def look_again(state: Any) -> None:
    """Mark the findings of plain meshes out of date when one was moved or changed, and current when all are back."""
    if not state.has_result or state.subject or not len(state.objects):
        return
    moved = _as_they_stand(state) != state.stamp
    if state.moved != moved:
        state.moved = moved


def _as_they_stand(state: Any) -> str:
    """Give a stamp of the place and the points of all watched objects."""
    objects: Any = bpy.data.objects
    parts: list[Any] = []
    for line in state.objects:
        ob = objects.get(line.name)
        if ob is None:
            parts.append(f"no {line.name}")
            continue
        parts += [line.name, np.round(np.array(ob.matrix_world, dtype=np.float64), 6).tobytes()]
        if ob.type == "MESH":
            points = np.empty(3 * len(ob.data.vertices), dtype=np.float32)
            ob.data.vertices.foreach_get("co", points)
            parts.append(points.tobytes())
    return stamp(*parts)


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
