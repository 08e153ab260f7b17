"""What Blender remembers of a chain, of a scene's process, feed and pour: saved in the file, shown in the panel.

Lengths are plain numbers in mm, whatever the scene's unit. Enum items carry their numbers, which are what a file keeps:
a number is never given to another item.
"""

from __future__ import annotations

from typing import Any

from bpy.props import (
    BoolProperty,
    EnumProperty,
    FloatProperty,
    IntProperty,
    PointerProperty,
    StringProperty,
)
from bpy.types import Object, PropertyGroup

# The version of the chain's stored form. Objects of an older one are brought up, newer ones are left alone.
SCHEMA = 1

FAMILY_ITEMS = (
    ("curb", "Curb", "Oval links twisted so that all of them lie flat and alike", "NONE", 1),
    ("trace", "Trace", "Flat oval links, each turned a quarter against the next", "NONE", 2),
)
SHAPE_ITEMS = (
    ("straight", "Straight", "One straight row", "NONE", 1),
    ("ring", "Ring", "A closed ring, as the bracelet or necklace is worn", "NONE", 2),
    ("curve", "Curve", "Along a curve object, open or closed as the curve is", "NONE", 3),
)
RING_SIZE_ITEMS = (
    ("INNER", "Inside Length", "The length measured on the inside of the worn chain", "NONE", 1),
    ("WRIST", "Wrist", "The girth of the wrist, and how much longer the chain is", "NONE", 2),
    ("LINKS", "Links", "A number of links; the length follows", "NONE", 3),
)
STRAIGHT_SIZE_ITEMS = (
    ("LENGTH", "Length", "The length between the outer ends", "NONE", 1),
    ("LINKS", "Links", "A number of links; the length follows", "NONE", 2),
)
FACE_ITEMS = (
    (
        "out",
        "Outward",
        "The face looks outward, the width stands upright on the plate: prints and feeds best",
        "NONE",
        1,
    ),
    ("flat", "Flat", "The chain lies on its back", "NONE", 2),
)
FIT_ITEMS = (
    ("nearest", "Nearest", "Keep the link as it is and take the nearest whole number of links", "NONE", 1),
    ("ease", "Ease", "Change the link's length by up to 3 % to meet the length exactly", "NONE", 2),
)
PART_ITEMS = (
    ("NONE", "None", "Not part of a chain", "NONE", 0),
    ("LINK", "Link", "A link of the chain it is parented to", "NONE", 1),
    ("STRUT", "Strut", "A piece of the lattice of the chain it is parented to", "NONE", 2),
)
HEAD_ITEMS = (
    ("gravity", "Gravity", "Poured by hand into an open flask", "NONE", 1),
    ("vacuum", "Vacuum", "The flask stands on a vacuum table", "NONE", 2),
    ("spin", "Spin", "Cast in a spinning machine", "NONE", 3),
)


def _chain_changed(group: Any, context: Any) -> None:
    from .chain_object import property_changed
    from .checking import checker

    property_changed(group.id_data, context)
    checker.ask(group.id_data)


def _scene_changed(group: Any, _context: Any) -> None:
    from .settings import note_process

    note_process(group)


def _profile_chosen(group: Any, _context: Any) -> None:
    from .settings import fill_profile, note_process

    fill_profile(group)
    note_process(group)


def _profiles(_group: Any, _context: Any, text: str) -> list[str]:
    from ..rules.base.profile import profile_names

    return [name for name in profile_names() if text.lower() in name.lower()]


def _alloys(_group: Any, _context: Any, text: str) -> list[str]:
    from ..rules.cast.materials import load_materials

    return [alloy.name for alloy in load_materials().alloys if text.lower() in alloy.name.lower()]


def _investments(_group: Any, _context: Any, text: str) -> list[str]:
    from ..rules.cast.materials import load_materials

    return [one.name for one in load_materials().investments if text.lower() in one.name.lower()]


def _is_curve(_group: Any, ob: Any) -> bool:
    return bool(ob.type == "CURVE")


def _mm(name: str, tip: str, default: float, low: float, high: float, *, changed: Any = _chain_changed) -> Any:
    """Make a length in mm with a soft range from 0.1 of the default upwards."""
    return FloatProperty(
        name=name, description=tip, default=default, min=low, max=high, step=10, precision=2, update=changed
    )


class LINKWRIGHT_PG_figures(PropertyGroup):
    """What the last rebuild of a chain measured; written by us, read by the panel."""

    links: IntProperty(name="Links")
    pitch_mm: FloatProperty(name="Pitch (mm)", precision=3)
    pitch_low_mm: FloatProperty(name="Smallest Pitch (mm)", precision=2)
    pitch_high_mm: FloatProperty(name="Largest Pitch (mm)", precision=2)
    gap_mm: FloatProperty(name="Smallest Gap (mm)", precision=3)
    worn_mm: FloatProperty(name="Worn Length (mm)", precision=1)
    printed_mm: FloatProperty(name="Printed Length (mm)", precision=1)
    closed: BoolProperty(name="Closed")
    verified: BoolProperty(name="Verified", description="The gap was measured on the placed links themselves")
    stamp: StringProperty(name="Stamp", description="Stands for the sizes these figures belong to")
    lattice_stamp: StringProperty(name="Lattice Stamp", description="Stands for the sizes the lattice was planned for")
    curve_stamp: StringProperty(name="Curve Stamp", description="Stands for the curve as it was followed")
    stale: BoolProperty(name="Stale", description="The followed curve was changed after the chain was made")
    message: StringProperty(name="Message", description="Why the last change could not be built")


class LINKWRIGHT_PG_object(PropertyGroup):
    """A chain's own settings on its object; on a link or strut only what part it is."""

    schema: IntProperty(name="Schema", default=0, description="0: not a chain; else the version of its stored form")
    part: EnumProperty(name="Part", items=PART_ITEMS, default="NONE")
    number: IntProperty(name="Number", description="Place of a link along the chain, from 1")
    hold: BoolProperty(name="Hold", options={"SKIP_SAVE", "HIDDEN"})

    family: EnumProperty(
        name="Family", description="How one link is shaped and hangs in the next", items=FAMILY_ITEMS, default="curb",
        update=_chain_changed,
    )  # fmt: skip
    wire_mm: _mm("Wire (mm)", "Thickness of the round wire; usually 0.8 to 4", 2.2, 0.1, 100.0)
    link_length_mm: _mm(
        "Link Length (mm)", "Outside length of one link; usually 4 to 8 times the wire", 12.2, 0.5, 1000.0
    )
    link_width_mm: _mm("Link Width (mm)", "Outside width of one link; usually 3 to 5 times the wire", 9.7, 0.5, 1000.0)
    gap_mm: _mm(
        "Gap (mm)", "Wanted smallest gap between any two links as printed; 0.3 to 0.5 prints and casts apart", 0.4,
        0.01, 20.0,
    )  # fmt: skip
    shape: EnumProperty(
        name="Shape", description="How the chain lies for print and pour", items=SHAPE_ITEMS, default="ring",
        update=_chain_changed,
    )  # fmt: skip
    ring_size: EnumProperty(
        name="Size By", description="What sets the size of the ring", items=RING_SIZE_ITEMS, default="INNER",
        update=_chain_changed,
    )  # fmt: skip
    straight_size: EnumProperty(
        name="Size By", description="What sets the length", items=STRAIGHT_SIZE_ITEMS, default="LENGTH",
        update=_chain_changed,
    )  # fmt: skip
    inner_length_mm: _mm("Inside Length (mm)", "Worn length on the inside; bracelets 160 to 220", 186.0, 1.0, 100_000.0)
    wrist_mm: _mm("Wrist (mm)", "Girth of the bare wrist; usually 140 to 190", 170.0, 1.0, 100_000.0)
    ease_mm: _mm("Ease (mm)", "How much longer than the wrist the chain is worn; usually 10 to 20", 15.0, 0.0, 1000.0)
    length_mm: _mm("Length (mm)", "Length between the outer ends", 180.0, 1.0, 100_000.0)
    links: IntProperty(
        name="Links", description="Number of links", default=30, min=2, max=5000, soft_max=200, update=_chain_changed
    )
    limit_links: BoolProperty(
        name="Set Number", description="Make this many links instead of filling the curve", update=_chain_changed
    )
    curve: PointerProperty(
        name="Curve",
        description="The curve object the chain follows",
        type=Object,
        poll=_is_curve,
        update=_chain_changed,
    )
    face: EnumProperty(
        name="Face", description="Where the flat face of the chain looks", items=FACE_ITEMS, default="out",
        update=_chain_changed,
    )  # fmt: skip
    fit: EnumProperty(
        name="Fit", description="How the wanted length is met by a whole number of links", items=FIT_ITEMS,
        default="nearest", update=_chain_changed,
    )  # fmt: skip
    has_hand: BoolProperty(
        name="Check Hand", description="Check that the closed chain passes over the hand", update=_chain_changed
    )
    hand_mm: _mm("Hand (mm)", "Girth around the closed hand at its widest; usually 180 to 230", 205.0, 1.0, 1000.0)

    figures: PointerProperty(type=LINKWRIGHT_PG_figures)


def _auto_mm(name: str, tip: str, high: float) -> Any:
    return FloatProperty(
        name=name, description=f"{tip}; 0 leaves it to the rules", default=0.0, min=0.0, max=high, step=10, precision=2,
        update=_scene_changed,
    )  # fmt: skip


class LINKWRIGHT_PG_scene(PropertyGroup):
    """Process, feed, pour and export of a scene's chains."""

    stamp: StringProperty(name="Stamp", description="Stands for the process, feed and pour as they are set")
    hold: BoolProperty(name="Hold", options={"SKIP_SAVE", "HIDDEN"})
    job_name: StringProperty(name="Name", description="Name of the piece, for the report and the sheet", maxlen=60)

    profile: StringProperty(
        name="Profile", description="Limits of printer, resin and mould; choosing one fills in the figures below",
        default="bench", search=_profiles, search_options=set(), update=_profile_chosen,
    )  # fmt: skip
    gap_floor_mm: _mm("Gap Floor (mm)", "A printed gap below this is a stop", 0.25, 0.0, 5.0, changed=_scene_changed)
    web_floor_mm: _mm(
        "Web Floor (mm)", "Investment in a joint thinner than this is a stop", 0.25, 0.0, 5.0, changed=_scene_changed
    )
    strut_web_mm: _mm(
        "Strut Web (mm)", "Investment between a strut and any other body: thinner is a stop", 0.6, 0.0, 10.0,
        changed=_scene_changed,
    )  # fmt: skip
    wall_floor_mm: _mm(
        "Wall Floor (mm)", "Metal thinner than this is a finding", 0.8, 0.0, 10.0, changed=_scene_changed
    )
    bleed_mm: _mm(
        "Bleed (mm)", "How far the print grows on every side; measure it", 0.0, 0.0, 1.0, changed=_scene_changed
    )
    over_cure_mm: _mm(
        "Over-Cure (mm)", "How far downward faces grow; measure it", 0.0, 0.0, 1.0, changed=_scene_changed
    )
    layer_mm: _mm("Layer (mm)", "Thickness of a printed layer", 0.05, 0.005, 1.0, changed=_scene_changed)
    auto_scale: BoolProperty(
        name="Scale for Shrinkage", default=True, update=_scene_changed,
        description="Enlarge the print by what metal and mould lose; off: use the factor below",
    )  # fmt: skip
    scale: FloatProperty(
        name="Print Scale", description="Factor from the finished size to the print", default=1.0, min=0.5, max=2.0,
        precision=4, step=0.1, update=_scene_changed,
    )  # fmt: skip

    upper_ring: BoolProperty(
        name="Upper Ring", description="Add a ring above the chain on posts of its own", update=_scene_changed
    )
    tip_mm: _auto_mm("Tip (mm)", "Diameter where a gate enters a link", 20.0)
    gate_mm: _auto_mm("Gate (mm)", "Diameter of a gate's shaft", 30.0)
    gate_length_mm: _auto_mm("Gate Length (mm)", "Clear length between feed ring and link", 60.0)
    ring_mm: _auto_mm("Feed Ring (mm)", "Diameter of the round rod that the base ring holds", 60.0)

    alloy: StringProperty(
        name="Alloy", description="The metal poured", default="tin-bronze", search=_alloys, search_options=set(),
        update=_scene_changed,
    )  # fmt: skip
    investment: StringProperty(
        name="Investment", description="The mould material; empty leaves it to the rules", search=_investments,
        update=_scene_changed,
    )  # fmt: skip
    head: EnumProperty(
        name="Head", description="What drives the metal into the mould", items=HEAD_ITEMS, default="vacuum",
        update=_scene_changed,
    )  # fmt: skip
    metal_c: FloatProperty(
        name="Metal (degC)", description="Pouring temperature; 0 leaves it to the rules", min=0.0, max=3000.0,
        precision=0, step=1000, update=_scene_changed,
    )  # fmt: skip
    flask_c: FloatProperty(
        name="Flask (degC)", description="Flask temperature at the pour; 0 leaves it to the rules", min=0.0, max=2000.0,
        precision=0, step=1000, update=_scene_changed,
    )  # fmt: skip
    own_flask: BoolProperty(
        name="Own Flask",
        description="Set the flask's size; off: the smallest that takes the job",
        update=_scene_changed,
    )
    flask_diameter_mm: _mm("Diameter (mm)", "Inside diameter of the flask", 100.0, 10.0, 2000.0, changed=_scene_changed)
    flask_height_mm: _mm("Height (mm)", "Height of the flask", 150.0, 10.0, 2000.0, changed=_scene_changed)

    folder: StringProperty(
        name="Folder", description="Where the print files, report and sheet go; // is the folder of the .blend file",
        subtype="DIR_PATH", options={"ANIMATABLE", "PATH_SUPPORTS_BLEND_RELATIVE"},
    )  # fmt: skip
