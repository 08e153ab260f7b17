"""The command line's verbs as a Blender command: ``blender -c linkwright VERB ...``."""

from typing import Any

import bpy

NAME = "linkwright"


def register_command() -> Any:
    """Register the command; give the handle that takes it back, or None where Blender has no commands."""
    register = getattr(bpy.utils, "register_cli_command", None)
    return None if register is None else register(NAME, run)


def run(words: list[str]) -> int:
    """Run one verb and give its exit status."""
    from ..verbs import main
    from .tools import host_tools

    return int(main(list(words), host_tools(), program="blender -c linkwright"))
