"""How every step of the job stands, in a few words: from what is stored, without any work on the chain.

The steps follow each other as the panels do. One that was never taken is to do, and the first of those is next; one
whose chain, settings or lattice were changed since is out of date.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ..rules.inspect.finding import Finding
from .current import up_of
from .lattice_show import UP_DIGITS, lattice_stamp
from .outcomes import Dates, note, outcome_of
from .result_state import state_of
from .stamps import stamp

STEPS = ("chain", "layout", "inspect", "feed", "print", "cast", "export")
# What starts a step, as the panel offers it.
OPERATORS = {
    "inspect": "linkwright.inspect",
    "feed": "linkwright.add_lattice",
    "print": "linkwright.check_print",
    "cast": "linkwright.plan_cast",
    "export": "linkwright.export",
}
ICONS = {
    "todo": "NONE",
    "next": "TRIA_RIGHT",
    "busy": "SORTTIME",
    "done": "CHECKMARK",
    "warn": "ERROR",
    "stale": "FILE_REFRESH",
    "stop": "CANCEL",
}
WHY = {
    "chain": "The chain was changed since",
    "settings": "Limits, feed or pour were changed since",
    "lattice": "The lattice was changed since",
    "turn": "The chain was turned since",
}
MOVED = "A link or strut was moved since"


@dataclass(frozen=True, slots=True)
class Status:
    """How a step stands: ``kind`` is a key of `ICONS`, ``words`` go into the panel's header, ``why`` below it."""

    kind: str
    words: str
    why: str = ""

    @property
    def icon(self) -> str:
        """Give the icon of its kind."""
        return ICONS[self.kind]

    @property
    def passed(self) -> bool:
        """Tell whether the next step may follow."""
        return self.kind in ("done", "warn")


TODO = Status("todo", "Not Yet")
NEXT = Status("next", "Next")
DONE = Status("done", "Done")


def dates(ob: Any, scene: Any) -> Dates:
    """Give the stamps of all that the steps after the layout look at, as it now stands."""
    figures = ob.linkwright.figures
    has_lattice = bool(figures.lattice_stamp)
    up = (np.round(up_of(ob), UP_DIGITS) + 0.0).tolist()
    return Dates(
        stamp(figures.stamp, figures.curve_stamp, figures.own_stamp),
        str(scene.linkwright.stamp),
        stamp(has_lattice, ob.linkwright.edits if has_lattice else ""),
        stamp(up),
    )


def note_step(
    context: Any, step: str, ob: Any, scene: Any, findings: Iterable[Finding] = (), *, words: str = ""
) -> None:
    """Keep what a step just said about a chain."""
    note(state_of(context), step, ob.name, dates(ob, scene), findings, words=words)


def status_of(context: Any, ob: Any, step: str) -> Status:
    """Give how one of the `STEPS` stands for a chain; to do, with all before it passed, it is next."""
    found = _own(context, ob, step)
    # Backwards, since where a step is to do, the one right before it mostly is as well.
    before = reversed(STEPS[: STEPS.index(step)])
    if found.kind == "todo" and all(_own(context, ob, one).passed for one in before):
        return NEXT
    return found


def next_step(context: Any, ob: Any) -> str | None:
    """Give the step whose button moves the job on, or None where something has to be mended first."""
    for step in STEPS:
        found = _own(context, ob, step)
        if not found.passed:
            return step if step in OPERATORS and found.kind in ("todo", "stale") else None
    return None


def status_of_set(context: Any, step: str) -> Status | None:
    """Give how a step stands for selected meshes that are no chain, where it was last taken for such; else None."""
    state, scene = state_of(context), context.scene
    if step == "inspect":
        there = state.has_result
    elif step == "print":
        there = len(state.print_figures) > 0
    else:
        return None
    if not there or state.subject or state.scene != scene.name:
        return None
    if state.moved:
        return Status("stale", "Out of Date", "An object was changed since")
    if state.stamp != scene.linkwright.stamp:
        return Status("stale", "Out of Date", WHY["settings"])
    return counted(state.stop_count, state.warn_count)


def counted(stops: int, warns: int) -> Status:
    """Give the status of a step by how many stops and warnings it found."""
    if stops:
        return Status("stop", "1 Stop" if stops == 1 else f"{stops} Stops")
    if warns:
        return Status("warn", "1 Warning" if warns == 1 else f"{warns} Warnings")
    return DONE


def _own(context: Any, ob: Any, step: str) -> Status:
    """Give how a step stands, whatever comes before it."""
    state, scene = state_of(context), context.scene
    if step == "chain":
        return _chain(state, ob)
    if step == "layout":
        return _layout(ob)
    return _feed(state, ob, scene) if step == "feed" else _taken(state, step, ob, scene)


def _chain(state: Any, ob: Any) -> Status:
    figures = ob.linkwright.figures
    if figures.message:
        return Status("stop", "Cannot Be Built")
    if ob.linkwright.family == "mesh" and figures.own_stale:
        return Status("stale", "Out of Date", "The link mesh was changed since")
    if figures.play_stop and figures.play_stamp == figures.stamp:
        return Status("stop", "Too Stiff")
    if state.checking == ob.name:
        return Status("busy", "Checking")
    return DONE


def _layout(ob: Any) -> Status:
    group = ob.linkwright
    if group.shape == "curve" and group.figures.stale:
        return Status("stale", "Out of Date", "The curve was changed since")
    return DONE


def _feed(state: Any, ob: Any, scene: Any) -> Status:
    figures = ob.linkwright.figures
    if state.planning == ob.name:
        return Status("busy", "Planning")
    if not figures.lattice_stamp:
        return TODO
    if state.by_hand:
        return Status("stale", "Out of Date", "Gates were moved or deleted by hand")
    if figures.lattice_stamp != lattice_stamp(ob, scene):
        row = outcome_of(state, "feed", ob.name)
        changed = () if row is None else dates(ob, scene).changed(row)
        return Status("stale", "Out of Date", WHY[changed[0]] if changed else "Chain or settings were changed since")
    return counted(figures.lattice_stops, 0)


def _taken(state: Any, step: str, ob: Any, scene: Any) -> Status:
    row = outcome_of(state, step, ob.name)
    if row is None:
        return TODO
    changed = dates(ob, scene).changed(row)
    if step == "inspect" and not ob.linkwright.figures.lattice_stamp:
        # Gaps are the same whichever way up it lies.
        changed = tuple(part for part in changed if part != "turn")
    if changed:
        return Status("stale", "Out of Date", WHY[changed[0]])
    if state.by_hand or (state.moved and state.subject == ob.name):
        return Status("stale", "Out of Date", MOVED)
    found = counted(row.stops, row.warns)
    return replace(found, words=row.words) if row.words else found
