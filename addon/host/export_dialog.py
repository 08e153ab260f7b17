"""What stands beside the file browser of an export: what will be refused and why, the scale, and which files."""

from __future__ import annotations

from typing import Any

from ..rules.base.errors import BadInput
from ..verbs.export import Wanted
from .chain_object import chain_of
from .current import is_current
from .panel_parts import findings_freshness, wrapped
from .result_state import state_of
from .translated import capital, told

JOINED_ITEMS = (
    ("JOINED", "Joined", "Chain and lattice as one closed solid: prints as it is", "NONE", 1),
    (
        "APART",
        "Apart",
        "Each body as an object of the 3MF and a shell of the STL; they overlap where gates enter links, and have to "
        "be joined before they are sliced",
        "NONE",
        2,
    ),
)
REFUSED = "Stops refuse the print files; report and sheet are written"


def wanted_files(dialog: Any) -> Wanted:
    """Read which files are asked for. Raises BadInput for none at all."""
    asked = Wanted(bool(dialog.use_stl), bool(dialog.use_3mf), dialog.bodies == "JOINED", bool(dialog.papers))
    if not (asked.stl or asked.threemf or asked.papers):
        raise BadInput("no file is chosen; choose STL, 3MF, or report and sheet")
    return asked


def draw_dialog(layout: Any, context: Any, dialog: Any) -> None:
    """Draw the side panel of the file browser."""
    layout.use_property_split = True
    layout.use_property_decorate = False
    ob = chain_of(context.active_object)
    if ob is None:
        layout.label(text="No chain is selected", icon="ERROR")
        return
    layout.prop(context.scene.linkwright, "job_name")
    _refusals(layout, context, ob)
    header, body = layout.panel("linkwright_export_files", default_closed=False)
    header.label(text=told("Files"), translate=False)
    if body:
        column = body.column(heading="Print")
        column.prop(dialog, "use_stl")
        column.prop(dialog, "use_3mf")
        row = body.row()
        row.active = dialog.use_stl or dialog.use_3mf
        row.prop(dialog, "bodies", expand=True)
        body.column(heading="Papers").prop(dialog, "papers")
    header, body = layout.panel("linkwright_export_scale", default_closed=False)
    header.label(text=told("Scale"), translate=False)
    if body:
        body.prop(dialog, "auto_scale")
        if not dialog.auto_scale:
            body.prop(dialog, "scale")


def _refusals(layout: Any, context: Any, ob: Any) -> None:
    """Say what is known to refuse the print files, each stop with its reason and a box that allows it."""
    state = state_of(context)
    box = layout.box()
    if not state.has_result or state.subject != ob.name:
        wrapped(box.column(align=True), context, "Not inspected yet: the export inspects the whole first", icon="INFO")
        return
    findings_freshness(box, context, ob, state)
    if not len(state.overrides):
        if not is_current(state, context.scene):
            return
        said = "No stop stands" if state.with_lattice else "No stop stands without the lattice; the export plans it"
        wrapped(box.column(align=True), context, said, icon="CHECKMARK" if state.with_lattice else "INFO")
        return
    draw_refusals(box, context, state)


def draw_refusals(box: Any, context: Any, state: Any) -> None:
    """Say which stops refuse the print files, each with the reason of its worst place and a box that allows it."""
    wrapped(box.column(align=True), context, REFUSED, icon="CANCEL")
    reasons = {row.code: row.text for row in reversed(state.findings.values()) if row.severity == "stop"}
    for row in state.overrides:
        line = box.row()
        line.use_property_split = False
        line.prop(row, "allow", text=told(f"Allow {row.name} ({row.count})"), translate=False)
        wrapped(box.column(align=True), context, capital(told(reasons.get(row.name, ""))))
