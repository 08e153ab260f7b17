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


class Viewports:
    """What every viewport shows of the last result."""

    def __init__(self) -> None:
        self._serial = -1
        self._kept: dict[tuple[Any, ...], InView | None] = {}

    def changed(self) -> None:
        """Look anew at the next redraw."""
        self._kept.clear()

    def of(self, state: Any, context: Any) -> InView | None:
        """Give what the viewport of a context shows; None where that is nothing, or in another scene."""
        if not state.has_result or state.scene != context.scene.name:
            return None
        if self._serial != state.serial or len(self._kept) > MOST_KEPT:
            self._kept.clear()
            self._serial = state.serial
        space, layer = context.space_data, context.view_layer
        alone = space.local_view
        key = (
            context.scene.name, layer.name, space.as_pointer(), 0 if alone is None else alone.as_pointer(),
            space.use_local_collections,
        )  # fmt: skip
        if key not in self._kept:
            found = look(state, layer, space)
            self._kept[key] = found if found is not None and found.any else None
        return self._kept[key]


def look(state: Any, layer: Any, space: Any) -> InView | None:
    """Look which objects of the last result a viewport shows; None where the chain is gone."""

    def visible(ob: Any) -> bool:
        return ob is not None and bool(ob.visible_get(view_layer=layer, viewport=space))

    objects: Any = bpy.data.objects
    if not state.subject:
        shown = {row.name: visible(objects.get(row.name)) for row in state.objects}
        return InView(shown, {}, named=False)
    ob = objects.get(state.subject)
    # Where the chain's own object is no more, its links are meshes like others.
    if ob is None or state.subject not in layer.objects:
        return None
    links: dict[str, bool] = {}
    struts: dict[str, bool] = {}
    for child in ob.children:
        part, name = child.linkwright.part, child.name
        if part != "NONE":
            found = links if part == "LINK" else struts
            found[on_link(name) if "." in name else name] = child.visible_get(view_layer=layer, viewport=space)
    return InView(links, struts, named=True)


# What is kept is about Blender's viewports, of which there is one set.
viewports = Viewports()
