"""Keeping what a cast plan said for the panel: its figures, its verdict, and what would put it right."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

from ..rules.cast.levers import Lever
from ..rules.cast.plan import CastPlan
from ..rules.cast.verdict import AT_RISK, SHORT, LinkCast
from ..rules.sheet.outcome import headline

# The panel tells so many reasons why links are not sound, the worst ones; the bench sheet tells all.
MOST_REASONS = 3


def store_plan(state: Any, planned: CastPlan, *, subject: str, dated: str) -> None:
    """Keep a plan; ``dated`` is the stamp of the chain and settings it was made for."""
    state.plan.clear()
    state.levers.clear()
    state.cast_reasons.clear()
    for name, value in plan_figures(planned):
        row = state.plan.add()
        row.name, row.value = name, value
    state.verdict, state.verdict_icon, state.remark = "", "NONE", ""
    found = planned.forecast
    if found is not None and found.links:
        state.verdict, state.verdict_icon = headline(found.links), verdict_icon(found.count)
        state.remark = "" if found.same else found.remark
        for told in reasons(found.links):
            state.cast_reasons.add().name = told
        for lever in sorted(found.levers, key=lambda lever: not lever.passes):
            row = state.levers.add()
            row.name, row.change, row.passes = lever.change, lever_words(lever), lever.passes
    state.plan_subject, state.plan_stamp = subject, dated


def verdict_words(planned: CastPlan) -> str:
    """Say the worst verdict of a plan in a word or two, for a panel's header; empty where it would say too little."""
    found = planned.forecast
    if found is None or not found.links:
        return ""
    if found.count[SHORT]:
        return "Stays Short"
    if found.count[AT_RISK]:
        return "At Risk"
    # Sound links do not hide what else stands in the way of the pour.
    return "" if any(finding.severity != "note" for finding in planned.findings) else "Sound"


def reasons(links: Sequence[LinkCast]) -> tuple[str, ...]:
    """Say why links are not sound, the worst first; links whose reasons differ only in figures share a line."""
    groups: dict[tuple[str, str], list[LinkCast]] = {}
    for verdict in (SHORT, AT_RISK):
        for link in links:
            if link.verdict == verdict:
                groups.setdefault((verdict, re.sub(r"[\d.]+", "#", link.reason)), []).append(link)
    told = []
    for alike in groups.values():
        worst = min(alike, key=lambda link: (link.filled_percent, link.fed_percent))
        named = worst.body if len(alike) == 1 else f"{len(alike)} links, worst {worst.body}"
        told.append(f"{named}: {worst.reason}".replace("degC", "\N{DEGREE SIGN}C"))
    if len(told) > MOST_REASONS:
        rest = sum(len(alike) for alike in list(groups.values())[MOST_REASONS:])
        told[MOST_REASONS:] = [f"{rest} more for other reasons, told on the bench sheet"]
    return tuple(told)


def verdict_icon(count: dict[str, int]) -> str:
    """Give the icon of the worst verdict, by how many links have each."""
    return "CANCEL" if count[SHORT] else "ERROR" if count[AT_RISK] else "CHECKMARK"


def lever_words(lever: Lever) -> str:
    """Say from what to what a lever goes, in short."""
    before, after = (f"{round(value, 2):g}" for value in (lever.before, lever.after))
    unit = lever.unit.replace("degC", "\N{DEGREE SIGN}C")
    return f"{before} to {after} {unit}".rstrip()


def plan_figures(planned: CastPlan) -> tuple[tuple[str, str], ...]:
    """Give the figures of a plan that the panel shows, each with its name."""
    flask, heat = planned.flask.flask, planned.temperatures
    figures = [
        ("To Melt", f"{planned.metal_g:.1f} g, yield {planned.yield_percent:.0f} %"),
        ("Chain", f"{planned.chain_g:.1f} g"),
        ("Lattice", f"{planned.lattice_g:.1f} g"),
        ("Trunk, Button", f"{planned.trunk_g + planned.button_g:.1f} g"),
        ("Flask", f"{flask.diameter_mm:g} x {flask.height_mm:g} mm"),
        ("", "perforated" if flask.perforated else "solid"),
        ("Investment", f"{planned.mix.powder_g:.0f} g"),
        ("Water", f"{planned.mix.water_g:.0f} g"),
        ("Pour At", f"{heat.pour_c:.0f} \N{DEGREE SIGN}C"),
        ("Flask At", f"{heat.flask_c:.0f} \N{DEGREE SIGN}C"),
    ]
    if planned.flask.lean.deg:
        figures.append(("Leans By", f"{planned.flask.lean.deg} deg in the flask"))
    if planned.spin_arm is not None:
        figures.append(("On the Arm", f"{planned.arm_load_g / 1000.0:.1f} kg"))
    if planned.cost is not None:
        figures.append(("Cost", f"{planned.cost.total:.2f} {planned.cost.currency}".rstrip()))
    return tuple(figures)
