"""What each step of the job said last about each chain, kept beside the window: a few counts and their date."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import astuple, dataclass, fields
from typing import Any

from bpy.props import IntProperty, StringProperty
from bpy.types import PropertyGroup

from ..rules.inspect.finding import Finding


class LINKWRIGHT_PG_outcome(PropertyGroup):
    """What one step, by its name, said about a subject; with the parts of its date as `Dates` has them."""

    subject: StringProperty()
    chain: StringProperty()
    settings: StringProperty()
    lattice: StringProperty()
    turn: StringProperty()
    stops: IntProperty()
    warns: IntProperty()
    words: StringProperty()


@dataclass(frozen=True, slots=True)
class Dates:
    """Stamps of what a step looks at: the chain, the scene's settings, the lattice, and which way up it stands."""

    chain: str
    settings: str
    lattice: str
    turn: str

    def changed(self, row: Any) -> tuple[str, ...]:
        """Name the parts that are no longer those of an outcome."""
        return tuple(field.name for field in fields(self) if getattr(self, field.name) != getattr(row, field.name))


def note(
    state: Any, step: str, subject: str, dates: Dates, findings: Iterable[Finding] = (), *, words: str = ""
) -> None:
    """Keep what a step said: how many stops and warnings are among ``findings``, and a word or two."""
    row = outcome_of(state, step, subject)
    if row is None:
        row = state.outcomes.add()
        row.name, row.subject = step, subject
    row.chain, row.settings, row.lattice, row.turn = astuple(dates)
    severities = [finding.severity for finding in findings]
    row.stops, row.warns, row.words = severities.count("stop"), severities.count("warn"), words


def outcome_of(state: Any, step: str, subject: str) -> Any:
    """Give what a step said last about a subject, or None."""
    for row in state.outcomes:
        if row.name == step and row.subject == subject:
            return row
    return None


def forget(state: Any, step: str, subject: str) -> None:
    """Take back what a step said about a subject."""
    for number, row in enumerate(state.outcomes):
        if row.name == step and row.subject == subject:
            state.outcomes.remove(number)
            return
