"""What the maker's tool does not reach: findings that say where, what is in the way, and what would help."""

from collections.abc import Sequence
from math import ceil

import numpy as np

from ..inspect.finding import Finding
from .cut_tools import KEEP_MM, Tool
from .cuts import POST, UPPER_GATE, Cut, Reach

# A clear length short by less is none the worse: facets lie this far inside the true round.
SLACK_MM = 0.05
RINGS = {"ring": "the base ring", "upper": "the upper ring"}
MORE_MM = 1.0


def too_short(clear_mm: float | None, tool: Tool) -> bool:
    """Tell whether a gate's clear length is less than a tool needs."""
    return clear_mm is not None and clear_mm < tool.room_mm - SLACK_MM


def saw_room_findings(cuts: Sequence[Cut], wanted: Tool) -> tuple[Finding, ...]:
    """Find the gates that the wanted tool does not reach, and the posts that none does: alike ones in one finding."""
    groups: dict[tuple[bool, bool], list[tuple[Cut, Reach]]] = {}
    for cut in cuts:
        reach = next((r for r in cut.after if r.tool == wanted.name), None)
        if reach is not None and not cut.reached:
            groups.setdefault((cut.kind == POST, too_short(cut.clear_mm, wanted)), []).append((cut, reach))
    found = []
    for (post, short), group in groups.items():
        if post:
            found.append(_post(group))
        else:
            found.append(_short(group, cuts, wanted) if short else _barred(group, wanted))
    return tuple(found)


def _short(group: list[tuple[Cut, Reach]], cuts: Sequence[Cut], wanted: Tool) -> Finding:
    cut, reach = min(group, key=lambda one: one[0].clear_mm or 0.0)
    clear = cut.clear_mm or 0.0
    # Where something thick stands in the gate's foot, all gates must grow by what this one lacks.
    usual = float(np.median([c.clear_mm for c in cuts if c.kind == cut.kind and c.clear_mm is not None]))
    length = ceil(10 * (wanted.room_mm + max(0.0, usual - clear)) - 0.5 + SLACK_MM) / 10
    text = (
        f"{_named(group, cut)} is {clear:.1f} mm long between {reach.blocker} and its link, a {wanted.words} needs "
        f"{wanted.room_mm:g} mm; write feed.gate_length_mm = {length:g}{_or_other(group)}"
    )
    return Finding("saw-room", "warn", _bodies(group), text, at=cut.at, value=clear, limit=wanted.room_mm)


def _barred(group: list[tuple[Cut, Reach]], wanted: Tool) -> Finding:
    cut, reach = min(group, key=lambda one: one[1].clearance_mm)
    longer = ""
    if cut.clear_mm is not None and reach.blocker in (*(b for b in _bodies(group)), *RINGS.values()):
        longer = f"write feed.gate_length_mm = {cut.clear_mm + MORE_MM:.1f} for more room"
    other = _or_other(group).removeprefix(", or ")
    helps = ", or ".join(words for words in (other, longer) if words) or "bar this place and plan again"
    text = f"a {wanted.words} does not get to {_named(group, cut)}: {reach.blocker} is in its way; {helps}"
    return Finding("saw-room", "warn", _bodies(group), text, at=cut.at, value=reach.clearance_mm, limit=KEEP_MM)


def _post(group: list[tuple[Cut, Reach]]) -> Finding:
    cut = group[0][0]
    nearest = max(cut.after, key=lambda reach: reach.clearance_mm)
    more = f" (and {len(group) - 1} more ends)" if len(group) > 1 else ""
    text = (
        f"no tool gets to an end of a post{more}: {nearest.blocker} is in the way; cut what bars it first, or file "
        "through from the side that is open"
    )
    return Finding("saw-room", "warn", (), text, at=cut.at, value=nearest.clearance_mm, limit=0.0)


def _named(group: list[tuple[Cut, Reach]], cut: Cut) -> str:
    more = f" (and {len(group) - 1} more)" if len(group) > 1 else ""
    return f"the {'upper ' if cut.kind == UPPER_GATE else ''}gate of {cut.feeds}{more}"


def _bodies(group: list[tuple[Cut, Reach]]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(c.feeds for c, _ in group if c.feeds is not None))


def _or_other(group: list[tuple[Cut, Reach]]) -> str:
    """Name another tool that gets to all of them."""
    others = [r.tool for r in group[0][0].after if all(c.fits(r.tool) for c, _ in group)]
    return f', or write feed.cut = "{others[0]}", which gets there' if others else ""
