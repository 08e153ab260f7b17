"""What Blender remembers of a chain: saved in the file, shown in the panel.

Lengths are plain numbers in mm, whatever the scene's unit. Enum items carry their numbers, which are what a file keeps:
a number is never given to another item. A size of 0 leaves it to the family's rule where its tooltip says so.
"""

from __future__ import annotations

from typing import Any

from bpy.props import (
    BoolProperty,
    CollectionProperty,
    EnumProperty,
    FloatProperty,
    FloatVectorProperty,
    IntProperty,
    PointerProperty,
    StringProperty,
)
from bpy.types import Collection, Object, PropertyGroup

from .choices import (
    AXIS_ITEMS,
    CLASP_ITEMS,
    CURVE_SIZE_ITEMS,
    ENDS_ITEMS,
    FACE_ITEMS,
    FAMILY_ITEMS,
    FIT_ITEMS,
    GATE_ITEMS,
    PART_ITEMS,
    RING_SIZE_ITEMS,
    SECTION_ITEMS,
    SHAPE_ITEMS,
    STRAIGHT_SIZE_ITEMS,
    STRAND_ITEMS,
)
from .figures import LINKWRIGHT_PG_figures

# The version of the chain's stored form. Objects of an older one are brought up, newer ones are left alone.
SCHEMA = 2


def _chain_changed(group: Any, context: Any) -> None:
    from .chain_object import property_changed
    from .checking import checker
    from .live_lattice import live

    property_changed(group.id_data, context)
    checker.ask(group.id_data)
    live.ask()


def _is_curve(_group: Any, ob: Any) -> bool:
    return bool(ob.type == "CURVE")


def _is_link_mesh(_group: Any, ob: Any) -> bool:
    return bool(ob.type == "MESH" and ob.linkwright.part == "NONE")


def _mm(name: str, tip: str, default: float, low: float, high: float) -> Any:
    """Make a length in mm that rebuilds the chain."""
    return FloatProperty(
        name=name, description=tip, default=default, min=low, max=high, step=10, precision=2, update=_chain_changed
    )


def _auto_mm(name: str, tip: str, high: float = 1000.0) -> Any:
    """Make a length in mm of which 0 means the family's rule."""
    return _mm(name, f"{tip}; 0 leaves it to the rules", 0.0, 0.0, high)


def _choice(name: str, tip: str, items: Any, default: str) -> Any:
    return EnumProperty(name=name, description=tip, items=items, default=default, update=_chain_changed)


class LINKWRIGHT_PG_gate(PropertyGroup):
    """One gate of a chain's lattice as it was last shown. The name is that of its object then."""

    number: IntProperty(description="Number of its strut")
    state: EnumProperty(items=GATE_ITEMS, default="planned")
    strut: StringProperty(description="What it is, in the form that `lattice_edits` reads")


class LINKWRIGHT_PG_object(PropertyGroup):
    """A chain's own settings on its object; on a link or strut only what part it is."""

    schema: IntProperty(name="Schema", default=0, description="0: not a chain; else the version of its stored form")
    part: EnumProperty(name="Part", description="What this object is of its chain", items=PART_ITEMS, default="NONE")
    number: IntProperty(name="Number", description="Place of a link along the chain, or of a strut, from 1")
    strut: StringProperty(name="Strut", description="What a strut is, in the form that `lattice_edits` reads")
    hold: BoolProperty(name="Hold", options={"SKIP_SAVE", "HIDDEN"})

    family: _choice("Family", "How one link is shaped and hangs in the next", FAMILY_ITEMS, "curb")
    wire_mm: _mm(
        "Wire (mm)", "Thickness of the wire, from the inside of a link to its outside; usually 0.8 to 4", 2.2, 0.1,
        100.0,
    )  # fmt: skip
    link_length_mm: _mm(
        "Link Length (mm)", "Outside length of one link; usually 4 to 8 times the wire", 12.2, 0.5, 1000.0
    )
    link_width_mm: _mm("Link Width (mm)", "Outside width of one link; usually 3 to 5 times the wire", 9.7, 0.5, 1000.0)
    gap_mm: _mm(
        "Gap (mm)", "Wanted smallest gap between any two links of the finished piece; usually 0.3 to 0.5, which "
        "prints and casts apart", 0.4, 0.01, 20.0,
    )  # fmt: skip

    chord_mm: FloatProperty(
        name="Fineness (mm)", description="How far a facet may lie inside the true surface; usually 0.01 to 0.05",
        default=0.02, min=0.0005, max=1.0, step=1, precision=3, update=_chain_changed,
    )  # fmt: skip
    section: _choice("Section", "Shape of the wire when it is cut across", SECTION_ITEMS, "round")
    wire_width_mm: _auto_mm(
        "Wire Width (mm)", "Broad side of the wire, across the face of the link; usually 1.2 to 2.5 times the wire",
        100.0,
    )  # fmt: skip
    own_corner: BoolProperty(
        name="Set Corners", description="Set the radius of the wire's corners; off leaves it to the rules",
        update=_chain_changed,
    )  # fmt: skip
    corner_mm: _mm("Corners (mm)", "Radius of the wire's eased corners; usually 0.2 to 0.5", 0.3, 0.01, 50.0)
    strands: _choice("Strands", "One wire, or two side by side grown together", STRAND_ITEMS, "SINGLE")
    facet_mm: _mm(
        "Facet (mm)", "Depth of the flat planes cut off the top and bottom of every link; usually 0.2 to 0.6 for a "
        "heavy curb, 0 leaves it round", 0.0, 0.0, 50.0,
    )  # fmt: skip
    repeat: IntProperty(
        name="Short Links", description="Short links to each long one; usually 1 to 5", default=3, min=1, max=1000,
        soft_max=9, update=_chain_changed,
    )  # fmt: skip
    long_link_mm: _auto_mm("Long Link (mm)", "Outside length of the long link; usually 1.5 to 2.5 times the short one")
    stud_mm: _auto_mm("Stud (mm)", "Thickness of the bar across the middle of a link; usually 0.7 to 1 times the wire")

    own_link: PointerProperty(
        name="Link Mesh",
        description="The closed mesh that is repeated as the link, at the size it has in the scene. No gate enters "
        "faces in its vertex group 'keep-out', or marked by a face attribute of that name: stones and details",
        type=Object, poll=_is_link_mesh, update=_chain_changed,
    )  # fmt: skip
    axis_by: _choice("Chain Axis", "Which way the chain runs through the link mesh", AXIS_ITEMS, "AUTO")
    axis: FloatVectorProperty(
        name="Direction", description="Direction of the chain in the link mesh's own coordinates; its length does "
        "not count", size=3, default=(1.0, 0.0, 0.0), update=_chain_changed,
    )  # fmt: skip
    turn_deg: FloatProperty(
        name="Turn (deg)", description="Turn from one link to the next about the chain's axis; usually 90 for flat "
        "links, 0 for links that lie alike", default=90.0, min=-360.0, max=360.0, step=500, precision=1,
        update=_chain_changed,
    )  # fmt: skip

    tapered: BoolProperty(
        name="Taper", description="Let the links grow or shrink evenly from the first to the last, the gap held",
        update=_chain_changed,
    )  # fmt: skip
    end_wire_mm: _auto_mm(
        "Last Wire (mm)",
        "Wire of the last link, or of the middle one of a closed chain; usually 0.6 to 1.6 times that of the first",
        100.0,
    )
    end_link_length_mm: _auto_mm(
        "Last Length (mm)",
        "Length of the last link, or of the middle one of a closed chain; usually 0.6 to 1.6 times that of the first",
    )
    end_link_width_mm: _auto_mm(
        "Last Width (mm)",
        "Width of the last link, or of the middle one of a closed chain; usually 0.6 to 1.6 times that of the first",
    )

    shape: _choice("Shape", "How the chain lies for print and pour", SHAPE_ITEMS, "ring")
    ring_size: _choice("Size By", "What sets the size of the ring", RING_SIZE_ITEMS, "INNER")
    straight_size: _choice("Size By", "What sets the length", STRAIGHT_SIZE_ITEMS, "LENGTH")
    curve_size: _choice("Size By", "What sets the number of links", CURVE_SIZE_ITEMS, "FILL")
    inner_length_mm: _mm(
        "Inside Length (mm)",
        "Length on the inside of the chain as it is worn; usually 160 to 220 for a bracelet, 400 to 500 for a necklace",
        186.0,
        1.0,
        100_000.0,
    )
    wrist_mm: _mm("Wrist (mm)", "Girth of the bare wrist; usually 140 to 190", 170.0, 1.0, 100_000.0)
    ease_mm: _mm("Ease (mm)", "How much longer than the wrist the chain is worn; usually 10 to 20", 15.0, 0.0, 1000.0)
    finger_mm: _mm(
        "Finger Size (mm)", "Ring size by ISO 8653: the length round the inside; usually 44 to 70", 54.0, 1.0, 1000.0
    )
    length_mm: _mm(
        "Length (mm)",
        "Length of the worn chain between its outer ends; usually 170 to 210 for a bracelet, 400 to 500 for a necklace",
        180.0,
        1.0,
        100_000.0,
    )
    links: IntProperty(
        name="Links",
        description="How many links the chain has, its length follows; usually 20 to 60",
        default=30,
        min=2,
        max=5000,
        soft_max=200,
        update=_chain_changed,
    )
    # Of stored forms before the second, where it said what "Size By" says on a curve now.
    limit_links: BoolProperty(name="Set Number", description="Make this many links instead of filling the curve")
    curve: PointerProperty(
        name="Curve", description="The curve object the chain follows", type=Object, poll=_is_curve,
        update=_chain_changed,
    )  # fmt: skip
    turn_pitch_mm: _auto_mm(
        "Turn Spacing (mm)", "Distance from one turn or row to the next, middle to middle; usually 1.3 to 2 times "
        "the link width, so that gates find room",
    )  # fmt: skip
    turn_radius_mm: _auto_mm(
        "Turn Radius (mm)", "Radius of the innermost turn, the coil or the bends; usually 10 to 25, never tighter "
        "than the joints allow", 100_000.0,
    )  # fmt: skip
    row_mm: _auto_mm(
        "Row (mm)", "Length of the straight rows; usually 40 to 100, longer rows make fewer bends", 100_000.0
    )

    ends: _choice("Ends", "What joins the two ends where they meet", ENDS_ITEMS, "closed")
    clasp: _choice("Clasp", "What is cast in place at the open ends", CLASP_ITEMS, "NONE")
    clasp_length_mm: _auto_mm("Clasp Adds (mm)", "What a clasp adds to the worn length; usually 10 to 30")
    face: _choice("Face", "Where the flat face of the chain looks", FACE_ITEMS, "out")
    fit: _choice("Fit", "How the wanted length is met by a whole number of links", FIT_ITEMS, "nearest")
    has_hand: BoolProperty(
        name="Check Hand", description="Check that the closed chain passes over the hand", update=_chain_changed
    )
    hand_mm: _mm("Hand (mm)", "Girth around the closed hand at its widest; usually 180 to 230", 205.0, 1.0, 1000.0)

    # What a resize would make; no part of the chain itself.
    target_width_mm: FloatProperty(
        name="New Width (mm)", description="Width of the same design at another size, its gap held in mm; usually 5 "
        "to 15", default=9.7, min=0.5, max=1000.0, step=10, precision=2,
    )  # fmt: skip
    own_file: StringProperty(name="Link File", description="Name of the file the link mesh came from")

    home: PointerProperty(
        name="Parts", description="The collection of the chain's parts, so that they are appended with it",
        type=Collection,
    )  # fmt: skip
    edits: StringProperty(name="Edits", description="What was done to the lattice by hand, as `lattice_edits` reads it")
    gates: CollectionProperty(type=LINKWRIGHT_PG_gate)
    other_struts: IntProperty(name="Other Struts", description="Rings, posts and spokes as they were last shown")

    figures: PointerProperty(type=LINKWRIGHT_PG_figures)
