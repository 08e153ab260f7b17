"""Right-click, Online Manual: every button and setting leads to its place in the help that comes with the extension.

The help is HTML on this disk, written when the extension is built. Where it is not there, as in a checkout, nothing is
offered and Blender looks in its own manual.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import bpy

HELP = Path(__file__).resolve().parents[1] / "help"
FIRST = "index"

# The page of an operator by the module it stands in; what is named nowhere stands with the chain.
OPERATORS = {
    "op_size": "layout", "op_preview": "layout", "op_inspect": "inspect", "op_hover": "inspect", "op_gauge": "gauge",
    "op_feed": "feed", "op_strut": "feed", "op_gate": "feed", "op_print": "print", "op_export": "export",
}  # fmt: skip
GROUPS = {
    "LINKWRIGHT_PG_gate": "feed", "LINKWRIGHT_PG_reading": "gauge", "LINKWRIGHT_PG_gauge": "gauge",
    "LINKWRIGHT_PG_way": "print", "LINKWRIGHT_PG_stood": "print", "LINKWRIGHT_PG_lever": "cast",
    "LINKWRIGHT_PG_layout": "layout", "LINKWRIGHT_PG_size": "layout", "LINKWRIGHT_PG_override": "export",
    "LINKWRIGHT_PG_finding": "inspect", "LINKWRIGHT_PG_state": "inspect", "LINKWRIGHT_PG_scene": "inspect",
}  # fmt: skip
# Buttons and settings that stand elsewhere than the rest of their module or group.
OWN_PAGE = {
    "linkwright": {
        "plan_cast": "cast", "load_job": "export", "save_job": "export",
        "limits_preset_add": "inspect", "feed_preset_add": "feed", "pour_preset_add": "cast",
    },
    "LINKWRIGHT_PG_scene": {
        **dict.fromkeys(("job_name", "folder", "auto_scale", "scale"), "export"),
        **dict.fromkeys(("light",), "print"),
        **dict.fromkeys(("upper_ring", "live_lattice", "trunk", "trunk_length_mm", "cut", "fillet_mm"), "feed"),
        **dict.fromkeys(("tip_mm", "gate_mm", "gate_length_mm", "ring_mm", "upper_ring_mm", "post_mm"), "feed"),
        **dict.fromkeys(("spoke_mm", "hub_mm"), "feed"),
        **dict.fromkeys(("alloy", "investment", "head", "metal_c", "flask_c", "own_flask", "resin", "tilt"), "cast"),
        **dict.fromkeys(("flask_diameter_mm", "flask_height_mm", "spin_arm", "metal_price_per_g"), "cast"),
        **dict.fromkeys(("investment_price_per_kg", "currency"), "cast"),
        "handles": "chain",
    },
    "LINKWRIGHT_PG_state": {
        **dict.fromkeys(("section", "section_mm", "section_share", "way_active"), "print"),
        **dict.fromkeys(("colour_by", "cast_share", "cast_s"), "cast"),
        "gate_active": "feed",
    },
    "LINKWRIGHT_PG_object": {
        **dict.fromkeys(("shape", "ring_size", "straight_size", "curve_size", "inner_length_mm", "wrist_mm"), "layout"),
        **dict.fromkeys(("ease_mm", "finger_mm", "length_mm", "links", "limit_links", "curve"), "layout"),
        **dict.fromkeys(("turn_pitch_mm", "turn_radius_mm", "row_mm", "ends", "clasp", "clasp_length_mm"), "layout"),
        **dict.fromkeys(("face", "fit", "has_hand", "hand_mm"), "layout"),
        "gates": "feed", "edits": "feed",
    },
}  # fmt: skip
OTHERWISE = "chain"


@dataclass(frozen=True, slots=True)
class Place:
    """Where the help tells of one button or setting: its page, its anchor there, its label and its tooltip.

    What has no tooltip is not told of by itself: its anchor is the page's list of settings.
    """

    rna: str
    page: str
    anchor: str
    label: str
    tip: str
    button: bool

    @property
    def url(self) -> str:
        """Give its address within the help."""
        return f"{self.page}.html#{self.anchor}"


def places() -> Iterator[Place]:
    """Give a place for every operator and every property that stands registered."""
    for name in dir(bpy.ops.linkwright):  # type: ignore[attr-defined]
        kind: Any = getattr(bpy.ops.linkwright, name).get_rna_type()  # type: ignore[attr-defined]
        cls: Any = getattr(bpy.types, kind.identifier)
        page = OWN_PAGE["linkwright"].get(name, OPERATORS.get(cls.__module__.rpartition(".")[2], OTHERWISE))
        yield Place(f"bpy.ops.linkwright.{name}", page, f"linkwright.{name}", kind.name, kind.description, True)
    groups: Any = bpy.types.PropertyGroup.__subclasses__()
    for group in sorted(groups, key=lambda cls: str(cls.__name__)):
        if group.__name__.startswith("LINKWRIGHT_PG_") and group.is_registered:
            yield from _settings(group)


def _settings(group: Any) -> Iterator[Place]:
    own, page = OWN_PAGE.get(group.__name__, {}), GROUPS.get(group.__name__, OTHERWISE)
    for prop in group.bl_rna.properties:
        if prop.identifier == "rna_type":
            continue
        name = f"{group.__name__}.{prop.identifier}"
        told = bool(prop.description) and prop.identifier in group.__annotations__ and not prop.is_hidden
        anchor = name.lower() if told else "settings"
        where = own.get(prop.identifier, page)
        yield Place(f"bpy.types.{name}", where, anchor, prop.name, prop.description if told else "", False)


def manual_map() -> tuple[str, tuple[tuple[str, str], ...]]:
    """Give the address of the help, and for each pattern of names, in lower case, the place there."""
    if not HELP.is_dir():
        return "", ()
    # The whole name: one that begins like another must not take its place.
    return f"{HELP.as_uri()}/", tuple((place.rna.lower(), place.url) for place in places())


def help_menu(menu: Any, _context: Any) -> None:
    """Offer the help in Blender's Help menu."""
    if HELP.is_dir():
        page = HELP / f"{FIRST}.html"
        menu.layout.separator()
        menu.layout.operator("wm.url_open", text="Linkwright Help", icon="HELP").url = page.as_uri()
