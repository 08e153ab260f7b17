"""What the last inspection and cast plan said goes into the state beside the window, and out of it.

Each result carries the stamp of the sizes it belongs to; the panel shows "Out of date" where that is no longer the
chain's.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from ..rules.cast.layouts import LayoutFigures
from ..rules.inspect.finding import SEVERITIES, Finding, worst_first
from ..rules.inspect.inspection import Inspection
from ..verbs.inspection_words import finding_figures, where_words
from .finding_words import panel_text
from .panel_names import labels as panel_labels
from .result_state import WIDEST_CODE

MOST_SHOWN = 500
# A list line has room for the longest code beside "joint 26-27", 11 letters; what longer names take more, a share of
# the line for every letter, comes off the code.
NARROWEST_CODE, SHORT_NAME, LETTER_SHARE = 0.42, 11, 0.042


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
        row.figure = finding.measured
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
