"""A mesh with the name its file gives it."""

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
