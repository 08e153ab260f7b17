"""What the last rebuild and the stages after it measured on a chain: written by us, saved, read by the panel."""

from __future__ import annotations

from bpy.props import (
    BoolProperty,
    CollectionProperty,
    FloatProperty,
    IntProperty,
    StringProperty,
)
from bpy.types import PropertyGroup


class LINKWRIGHT_PG_size(PropertyGroup):
    """A number of links and the lengths it makes; one row of the table of sizes."""

    links: IntProperty(name="Links")
    worn_mm: FloatProperty(name="Worn (mm)", precision=1)
    printed_mm: FloatProperty(name="Printed (mm)", precision=1)
    pushed_mm: FloatProperty(name="Pushed Together (mm)", precision=1, description="0 where it is not known")
    gap_mm: FloatProperty(name="Gap (mm)", precision=2)


class LINKWRIGHT_PG_play(PropertyGroup):
    """How far one kind of joint moves, each both ways, until metal meets metal. The name tells the joint."""

    slide: StringProperty(name="Slide")
    over: StringProperty(name="Bend over the Face")
    edgewise: StringProperty(name="Bend Edgewise")
    twist: StringProperty(name="Twist")


class LINKWRIGHT_PG_figures(PropertyGroup):
    """What the last rebuild of a chain measured; written by us, read by the panel."""

    links: IntProperty(name="Links")
    pitch_mm: FloatProperty(name="Pitch (mm)", precision=3)
    pitch_low_mm: FloatProperty(name="Smallest Pitch (mm)", precision=2)
    pitch_high_mm: FloatProperty(name="Largest Pitch (mm)", precision=2)
    pitches: StringProperty(name="Pitches", description="The pitch of each type of joint, where there are several")
    gap_mm: FloatProperty(name="Smallest Gap (mm)", precision=3)
    worn_mm: FloatProperty(name="Worn Length (mm)", precision=1)
    printed_mm: FloatProperty(name="Printed Length (mm)", precision=1)
    asked_mm: FloatProperty(name="Asked Length (mm)", precision=1, description="0 where no length was asked for")
    clasp_mm: FloatProperty(name="Clasp Adds (mm)", precision=1)
    eased: StringProperty(name="Eased", description="By how much the links were changed to meet the length")
    round_worn: BoolProperty(name="Worn Round", description="The lengths are those of the inside of the worn piece")
    closed: BoolProperty(name="Closed")
    verified: BoolProperty(name="Verified", description="The gap was measured on the placed links themselves")
    stamp: StringProperty(name="Stamp", description="Stands for the sizes these figures belong to")
    lattice_stamp: StringProperty(name="Lattice Stamp", description="Stands for the sizes the lattice was planned for")
    lattice_said: StringProperty(name="Lattice in Short", description="What the lattice was planned with, in one line")
    lattice_stops: IntProperty(name="Lattice Stops", description="How many things its plan could not do")
    curve_stamp: StringProperty(name="Curve Stamp", description="Stands for the curve as it was followed")
    own_stamp: StringProperty(name="Link Mesh Stamp", description="Stands for the picked link mesh as it was read")
    own_sizes: StringProperty(name="Link Mesh Sizes", description="Sizes of the picked link mesh as it was read")
    stale: BoolProperty(name="Stale", description="The followed curve was changed after the chain was made")
    own_stale: BoolProperty(name="Link Stale", description="The picked link mesh was changed after it was read")
    message: StringProperty(name="Message", description="Why the last change could not be built")
    worn_view: BoolProperty(name="Shown as Worn", description="The links are shown round the wearer, not as printed")

    sizes: CollectionProperty(type=LINKWRIGHT_PG_size)
    play: CollectionProperty(type=LINKWRIGHT_PG_play)
    play_stamp: StringProperty(name="Free Play Stamp", description="Stands for the sizes the free play belongs to")
    play_stop: StringProperty(name="Free Play Stop", description="Where the joint cannot bend as far as it is asked to")
    play_short: StringProperty(name="Free Play in Short")
    least_over: StringProperty(name="Tightest Curve over the Face")
    least_edge: StringProperty(name="Tightest Curve Edgewise")
    least_width_mm: FloatProperty(name="Least Width (mm)", precision=2, description="0 where it was not looked for")
    chain_mm3: FloatProperty(name="Metal of the Chain (mm3)")
    lattice_mm3: FloatProperty(name="Metal of the Lattice (mm3)", description="About: what overlaps counts twice")
    chain_g: FloatProperty(name="Chain (g)", description="0 where it is not known")
    lattice_g: FloatProperty(name="Lattice (g)", description="0 where it is not known")
    weighed_in: StringProperty(name="Weighed In", description="Name of the alloy that the masses belong to")
    metal_g_cm3: FloatProperty(name="Density (g/cm3)", description="Of that alloy; 0 where it is not known")
    least_width_stamp: StringProperty(name="Least Width Stamp", description="Stands for the design it belongs to")
