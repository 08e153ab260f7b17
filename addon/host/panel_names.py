"""What people call the sizes and choices that rules name by their keys in a job file: as the panel labels them."""

import re
from functools import cache
from typing import Any

import bpy

from ..rules.base.errors import LinkwrightError
from .translated import told, told_report

# Keys of a job file that no setting of the panel is called by.
OTHERS = {"file": "Link Mesh", "points": "Curve", "axis": "Chain Axis", "own": "Link Mesh"}
# A key with its table in front, or a bare one that ends in its unit; with the number it should be set to.
_KEY = re.compile(
    r"\b(?:(?:chain|layout|process|feed|cast)\.([a-z]+(?:_[a-z]+)*)|([a-z]+(?:_[a-z]+)*_(?:mm|c|deg)))\b"
    r"(?: = (-?\d[\d.]*))?"
)
# The table alone: "layout: no curve is chosen".
_TABLE = re.compile(r"^(chain|layout|process|feed|cast): ")
TABLES = {"chain": "Chain", "layout": "Layout", "process": "Inspect", "feed": "Feed", "cast": "Cast"}


def labels() -> dict[str, str]:
    """Give what the panel calls the sizes and choices of chain and scene, by their keys in a job file."""
    owners: Any = (bpy.types.Scene, bpy.types.Object)
    groups = [owner.bl_rna.properties["linkwright"].fixed_type for owner in owners]
    return OTHERS | {prop.identifier: prop.name for group in groups for prop in group.properties}


@cache
def _known() -> dict[str, str]:
    return labels()


def named(text: str) -> str:
    """Give a text of the rules with the panel's labels in place of keys; what has no label stays."""

    def label(found: re.Match[str]) -> str:
        name = _known().get(found[1] or found[2])
        if name is None:
            return found[0]
        name = told(name)
        if found[3] is None:
            return name
        words, _, unit = name.partition(" (")
        return f"{words} = {found[3]} {unit.rstrip(')')}".rstrip()

    def table(found: re.Match[str]) -> str:
        return f"{told(TABLES[found[1]])}: "

    return _KEY.sub(label, _TABLE.sub(table, text))


def words_of(error: LinkwrightError) -> str:
    """Give the line in which an operator reports an error."""
    return named(told_report(str(error)))


def message_words(message: str) -> str:
    """Give the line in which the panel shows an error that was stored with a chain."""
    return named(told(message))
