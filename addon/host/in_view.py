"""Which of the inspected objects a viewport shows: hidden ones, others in local view and other scenes bear no marks.

Looking an object up by its name goes through all objects of the file. So what was found for a viewport is kept until
something is hidden, shown, deleted, or another result comes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import bpy

from .lattice_edits import on_link

# More viewports than anyone has open: what is kept never grows.
MOST_KEPT = 32


@dataclass(frozen=True, slots=True, eq=False)
class InView:
    """What one viewport shows of what was inspected: of each object, by its name, whether it does.

    ``struts``: the same of a chain's lattice. ``named``: bodies are called exactly as their objects, as the links of a
    chain are; else an object's name may be followed by more.
    """

    shown: dict[str, bool]
    struts: dict[str, bool]
    named: bool

    @property
    def any(self) -> bool:
        """Tell whether anything is shown at all."""
        return any(self.shown.values()) or any(self.struts.values())

    @property
    def whole(self) -> bool:
        """Tell whether no object is left out."""
        return all(self.shown.values()) and all(self.struts.values())

    def shows(self, body: str) -> bool:
        """Tell whether a body is shown; "" for the lattice. One that is joined of several is where all of them are."""
        if not body:
            return any(self.struts.values())
        known = self.shown.get(body, self.struts.get(body))
        if known is not None:
            return known
        if self.named:
            return self.whole
        owners = [name for name in self.shown if body.startswith((f"{name}: ", f"{name} "))]
        return self.shown[max(owners, key=len)] if owners else self.whole


@dataclass(frozen=True, slots=True, eq=False)
class _Inspected:
    """The objects of a result with the names their bodies go by: all there are, or a chain's links and struts."""

    own: list[tuple[str, Any]]
    struts: list[tuple[str, Any]]
    named: bool


class Viewports:
    """What every viewport shows of the last result."""

    def __init__(self) -> None:
        self._serial = -1
        self._kept: dict[tuple[Any, ...], InView | None] = {}
        # Found once for all that is hidden and shown; only what is seen of it is asked anew.
        self._inspected: _Inspected | None = None

    def changed(self, *, others: bool = True) -> None:
        """Look anew at the next redraw; ``others``: objects may have come, gone or other names."""
        self._kept.clear()
        if others:
            self._inspected = None

    def of(self, state: Any, context: Any) -> InView | None:
        """Give what the viewport of a context shows; None where that is nothing, or in another scene."""
        if not state.has_result or state.scene != context.scene.name:
            return None
        if self._serial != state.serial or len(self._kept) > MOST_KEPT:
            self.changed()
            self._serial = state.serial
        space, layer = context.space_data, context.view_layer
        alone = space.local_view
        key = (
            context.scene.name, layer.name, space.as_pointer(), 0 if alone is None else alone.as_pointer(),
            space.use_local_collections,
        )  # fmt: skip
        if key not in self._kept:
            self._kept[key] = self._look(state, layer, space)
        return self._kept[key]

    def _look(self, state: Any, layer: Any, space: Any) -> InView | None:
        """Look which objects of the last result a viewport shows; None where that is nothing, or the chain is gone."""
        # Where the chain's own object is no more, its links are meshes like others.
        if state.subject and state.subject not in layer.objects:
            return None
        try:
            found = self._seen(state, layer, space)
        except ReferenceError:
            # One of them was deleted.
            self._inspected = None
            found = self._seen(state, layer, space)
        return found if found.any else None

    def _seen(self, state: Any, layer: Any, space: Any) -> InView:
        if self._inspected is None:
            self._inspected = _inspected(state)

        def seen(objects: list[tuple[str, Any]]) -> dict[str, bool]:
            return {name: ob is not None and ob.visible_get(view_layer=layer, viewport=space) for name, ob in objects}

        return InView(seen(self._inspected.own), seen(self._inspected.struts), self._inspected.named)


def _inspected(state: Any) -> _Inspected:
    """Find the objects of the last result."""
    objects: Any = bpy.data.objects
    if not state.subject:
        return _Inspected([(row.name, objects.get(row.name)) for row in state.objects], [], named=False)
    links: list[tuple[str, Any]] = []
    struts: list[tuple[str, Any]] = []
    for child in objects[state.subject].children:
        part, name = child.linkwright.part, child.name
        if part != "NONE":
            (links if part == "LINK" else struts).append((on_link(name) if "." in name else name, child))
    return _Inspected(links, struts, named=True)


# What is kept is about Blender's viewports, of which there is one set.
viewports = Viewports()
