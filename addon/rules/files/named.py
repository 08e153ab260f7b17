"""Meshes with the names their file gives them, and names that differ."""

from collections.abc import Sequence
from dataclasses import dataclass

from ..solid.mesh import Mesh


@dataclass(frozen=True, slots=True, eq=False)
class Named:
    """One object of a file: its name, empty where the file has none, and its mesh in mm."""

    name: str
    mesh: Mesh


def clean_name(text: str) -> str:
    """Give a name on one line: control characters out, runs of blanks as one."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def unique_names(names: Sequence[str]) -> list[str]:
    """Put numbers from 2 on behind repeated names. The first bearer keeps its name."""
    taken, seen = set(names), set()
    next_number: dict[str, int] = {}
    result = []
    for name in names:
        own = name
        if name in seen:
            number = next_number.get(name, 2)
            while (own := f"{name} {number}") in taken:
                number += 1
            next_number[name] = number + 1
        taken.add(own)
        seen.add(own)
        result.append(own)
    return result
