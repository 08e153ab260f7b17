"""Blender's share of the command line, loaded when a verb first asks for it: Blender takes a second to load."""

from collections.abc import Callable
from dataclasses import fields
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import _environment

from addon.host.quiet import quiet
from addon.rules.base.errors import BadInput
from addon.verbs.host import HostTools


def host_tools() -> HostTools | None:
    """The tools to hand to the verbs; None where the environment has no Blender (not every machine has one made)."""
    if find_spec("bpy") is None:
        return None
    return HostTools(**{field.name: _at_first_use(field.name) for field in fields(HostTools)})


def _at_first_use(name: str) -> Callable[..., Any]:
    def call(*arguments: Any, **options: Any) -> Any:
        try:
            # Blender may have a word to say while it loads, and the two streams are the verb's.
            with quiet():
                from addon.host import tools
        except ImportError as error:
            spec = find_spec("bpy")
            missing = _environment.missing_libraries(str(error), Path(spec.origin) if spec and spec.origin else None)
            if not missing:
                raise
            raise BadInput(_environment.library_line(missing)) from error
        return getattr(tools.host_tools(), name)(*arguments, **options)

    return call
