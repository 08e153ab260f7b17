"""Everything registered with Blender has an opposite on one list, run backwards to take it all away again."""

from collections.abc import Callable
from typing import Any

import bpy

from .translated import in_our_words


class Registry:
    """A list of opposites. A step that fails leaves the list as it was, so `undo` takes back exactly what stands."""

    def __init__(self) -> None:
        self._opposites: list[Callable[[], object]] = []

    def __bool__(self) -> bool:
        return bool(self._opposites)

    def did(self, opposite: Callable[[], object]) -> None:
        """Note the opposite of a step just done."""
        self._opposites.append(opposite)

    def undo(self) -> None:
        """Take back every step, last first."""
        while self._opposites:
            self._opposites.pop()()

    def types(self, *classes: type) -> None:
        """Register classes in their order."""
        for cls in classes:
            in_our_words(cls)
            bpy.utils.register_class(cls)
            self.did(lambda cls=cls: bpy.utils.unregister_class(cls))

    def prop(self, owner: Any, name: str, value: Any) -> None:
        """Put a property on a Blender type."""
        setattr(owner, name, value)
        self.did(lambda: delattr(owner, name))

    def preset_path(self, folder: str) -> None:
        """Have Blender look for presets in the folder "presets" of ``folder`` too."""
        bpy.utils.register_preset_path(folder)
        self.did(lambda: bpy.utils.unregister_preset_path(folder))

    def handler(self, handlers: list[Any], fn: Callable[..., Any]) -> None:
        """Add an application handler."""
        handlers.append(fn)
        self.did(lambda: handlers.remove(fn))

    def menu(self, menu: Any, draw: Callable[..., None]) -> None:
        """Add an entry to a menu."""
        menu.append(draw)
        self.did(lambda: menu.remove(draw))
