"""What the collection of a chain's parts remembers of it, so that the chain can be made again from its links alone."""

import json
from typing import Any

import bpy

# What belongs to one object and not to what a chain was asked for.
_OF_OBJECTS = ("rna_type", "name", "hold", "part", "number", "strut")


def remember(ob: Any) -> None:
    """Write what a chain is asked for onto the collection of its parts."""
    group = ob.linkwright
    home = group.home
    if home is None or home.library is not None or home.override_library is not None:
        return
    settings = {}
    for prop in group.bl_rna.properties:
        if prop.type in ("BOOLEAN", "INT", "FLOAT", "ENUM", "STRING") and prop.identifier not in _OF_OBJECTS:
            value = getattr(group, prop.identifier)
            settings[prop.identifier] = list(value) if getattr(prop, "is_array", False) else value
    text = json.dumps(
        {
            "name": ob.name,
            "arrow": ob.empty_display_size,
            "links": group.figures.links,
            "curve": group.curve.name if group.curve is not None else "",
            "own_link": group.own_link.name if group.own_link is not None else "",
            "settings": settings,
        }
    )
    if home.linkwright_settings != text:
        home.linkwright_settings = text


def recall(home: Any) -> Any:
    """Make a chain's object, without parts, from what the collection of its parts remembers."""
    told = json.loads(home.linkwright_settings)
    ob: Any = bpy.data.objects.new(told["name"], None)
    ob.empty_display_type, ob.empty_display_size = "SINGLE_ARROW", told["arrow"]
    group = ob.linkwright
    group.hold = True
    for name, value in told["settings"].items():
        if name in group.bl_rna.properties:
            setattr(group, name, value)
    objects: Any = bpy.data.objects
    group.curve, group.own_link = objects.get(told["curve"]), objects.get(told["own_link"])
    group.home = home
    group.figures.links = told["links"]
    group.hold = False
    return ob
