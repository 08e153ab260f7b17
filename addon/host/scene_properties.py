"""What Blender remembers of a scene's process, feed, pour and export: saved in the file, shown in the panel.

Lengths are plain numbers in mm, whatever the scene's unit.
"""

from __future__ import annotations

from typing import Any

from bpy.props import BoolProperty, EnumProperty, FloatProperty, StringProperty
from bpy.types import PropertyGroup

HEAD_ITEMS = (
    ("gravity", "Gravity", "Poured by hand into an open flask", "NONE", 1),
    ("vacuum", "Vacuum", "The flask stands on a vacuum table", "NONE", 2),
    ("spin", "Spin", "Cast in a spinning machine", "NONE", 3),
)
LIGHT_ITEMS = (
    ("OFF", "Off", "Leave the light out: layers, undersides, pockets and slots only", "NONE", 1),
    ("PREVIEW", "Preview", "Light from 64 directions: quick, told roughly", "NONE", 2),
    ("FULL", "Full", "Light from 256 directions: takes four times as long, told closer", "NONE", 3),
)
TRUNK_ITEMS = (
    ("wax", "Wax", "Set a wax sprue on the hub by hand; the hub is marked for it", "NONE", 1),
    ("printed", "Printed", "Print a trunk on its own and set it into a socket of the hub", "NONE", 2),
)
CUT_ITEMS = (
    ("saw", "Saw", "A threaded saw: gates leave it a clear cut of 3 mm", "NONE", 1),
    ("disc", "Disc", "A cutting disc: it needs 4 mm, and room for its rim", "NONE", 2),
    ("nipper", "Nipper", "Each tip gets a thin neck to break off at; more is left to file than after a saw", "NONE", 3),
)


def _scene_changed(group: Any, _context: Any) -> None:
    from .live_lattice import live
    from .process_settings import note_process

    note_process(group)
    live.ask()


def _profile_chosen(group: Any, _context: Any) -> None:
    from .live_lattice import live
    from .process_settings import fill_profile, note_process

    fill_profile(group)
    note_process(group)
    live.ask()


def _alloy_chosen(group: Any, context: Any) -> None:
    from .weighing import weigh_all

    _scene_changed(group, context)
    weigh_all(group.id_data)


def _live_switched(_group: Any, _context: Any) -> None:
    from .live_lattice import live

    live.ask()


def _profiles(_group: Any, _context: Any, text: str) -> list[str]:
    from ..rules.base.profile import profile_names

    return [name for name in profile_names() if text.lower() in name.lower()]


def _alloys(_group: Any, _context: Any, text: str) -> list[str]:
    from ..verbs.own_materials import own_materials

    return [alloy.name for alloy in own_materials().alloys if text.lower() in alloy.name.lower()]


def _investments(_group: Any, _context: Any, text: str) -> list[str]:
    from ..verbs.own_materials import own_materials

    return [one.name for one in own_materials().investments if text.lower() in one.name.lower()]


def _resins(_group: Any, _context: Any, text: str) -> list[str]:
    from ..verbs.own_materials import own_materials

    return [one.name for one in own_materials().resins if text.lower() in one.name.lower()]


def _spin_arms(_group: Any, _context: Any, text: str) -> list[str]:
    from ..verbs.own_materials import own_materials

    return [one.name for one in own_materials().spin_arms if text.lower() in one.name.lower()]


def _price(name: str, tip: str) -> Any:
    return FloatProperty(
        name=name, description=tip, default=0.0, min=0.0, soft_max=1000.0, precision=2, step=10, update=_scene_changed
    )


def _mm(name: str, tip: str, default: float, low: float, high: float) -> Any:
    return FloatProperty(
        name=name, description=tip, default=default, min=low, max=high, step=10, precision=2, update=_scene_changed
    )


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
    gap_floor_mm: _mm(
        "Gap Floor (mm)",
        "Narrowest gap the printer keeps open: a narrower printed gap is a stop; usually 0.2 to 0.35",
        0.25,
        0.0,
        5.0,
    )
    web_floor_mm: _mm(
        "Web Floor (mm)",
        "Thinnest web of investment in a joint that bears the metal: a thinner one is a stop; usually 0.25 to 0.4",
        0.25,
        0.0,
        5.0,
    )
    strut_web_mm: _mm(
        "Strut Web (mm)", "Thinnest web of investment between a strut and what it does not feed: a thinner one is a "
        "stop; usually 0.6 to 1", 0.6, 0.0, 10.0,
    )  # fmt: skip
    wall_floor_mm: _mm(
        "Wall Floor (mm)",
        "Thinnest metal that prints and fills: thinner is a finding; usually 0.6 to 1",
        0.8,
        0.0,
        10.0,
    )
    bleed_mm: _mm(
        "Bleed (mm)",
        "How far light spreads sideways, so that the print grows on every side; usually 0.01 to 0.08, measured with a "
        "gauge",
        0.0,
        0.0,
        1.0,
    )
    over_cure_mm: _mm(
        "Over-Cure (mm)", "How far light goes through a face that looks down, so that it grows; usually 0.05 to "
        "0.2, measured with a gauge", 0.0, 0.0, 1.0,
    )  # fmt: skip
    layer_mm: _mm(
        "Layer (mm)",
        "Thickness of a printed layer: thinner ones print smoother and slower; usually 0.025 to 0.1",
        0.05,
        0.005,
        1.0,
    )
    auto_scale: BoolProperty(
        name="Scale for Shrinkage", default=True, update=_scene_changed,
        description="Enlarge the print by what metal and mould lose; off uses the factor below",
    )  # fmt: skip
    scale: FloatProperty(
        name="Print Scale", description="How much larger the print is than the finished piece; usually 1 to 1.03",
        default=1.0, min=0.5, max=2.0, precision=4, step=0.1, update=_scene_changed,
    )  # fmt: skip

    light: EnumProperty(
        name="Light", description="How closely Check Print looks for faces that curing light does not reach",
        items=LIGHT_ITEMS, default="PREVIEW",
    )  # fmt: skip

    upper_ring: BoolProperty(
        name="Upper Ring", description="Add a ring above the chain on posts of its own", update=_scene_changed
    )
    handles: BoolProperty(
        name="Size and Gate Handles", default=True,
        description="Show handles at the active chain to drag its size and link width, and at the active gate to lead "
        "it elsewhere",
    )  # fmt: skip
    live_lattice: BoolProperty(
        name="Live", update=_live_switched,
        description="Plan the lattice again by itself after every change of the chain, of a number here, or of a gate",
    )  # fmt: skip
    tip_mm: _auto_mm(
        "Tip (mm)", "Diameter where a gate enters a link, and of the stub to grind off; usually half to three quarters "
        "of the wire, in mm of the print whatever its scale", 20.0,
    )  # fmt: skip
    gate_mm: _auto_mm(
        "Gate (mm)", "Diameter of a gate's shaft: too thin it freezes before the link is fed; usually three quarters "
        "of the wire, for long gates 1.25 times", 30.0,
    )  # fmt: skip
    gate_length_mm: _auto_mm(
        "Gate Length (mm)", "Clear length between feed ring and link: shorter feeds better, longer leaves the saw "
        "room; usually 3 to 6", 60.0,
    )  # fmt: skip
    ring_mm: _auto_mm(
        "Feed Ring (mm)", "Diameter of the round rod that the base ring holds; usually 1.5 to 2 times the wire", 60.0
    )
    upper_ring_mm: _auto_mm(
        "Upper Ring (mm)", "Diameter of the round rod that the upper ring holds; usually 1.2 to 1.7 times the wire, "
        "thicker than its posts it draws its metal from the links", 60.0,
    )  # fmt: skip
    post_mm: _auto_mm(
        "Post (mm)",
        "Diameter of the posts that bring metal to the upper ring and carry it; usually 1.4 to 2 times the wire",
        60.0,
    )
    spoke_mm: _auto_mm(
        "Spoke (mm)", "Diameter of the round rod that a spoke holds; usually 1.1 to 1.3 times the feed ring, so "
        "that it freezes later", 60.0,
    )  # fmt: skip
    hub_mm: _auto_mm(
        "Hub (mm)", "Diameter of the hub, which takes the trunk and freezes after the spokes; usually 8 to 14", 100.0
    )
    trunk: EnumProperty(
        name="Trunk", description="What joins the hub to the button in the pouring cone", items=TRUNK_ITEMS,
        default="wax", update=_scene_changed,
    )  # fmt: skip
    trunk_length_mm: _auto_mm(
        "Trunk Length (mm)", "Length of the trunk from hub to button, so that investment covers the wheel; usually 15 "
        "to 20", 100.0,
    )  # fmt: skip
    cut: EnumProperty(
        name="Cut With", description="What takes the gates off the links after the cast", items=CUT_ITEMS,
        default="saw", update=_scene_changed,
    )  # fmt: skip
    fillet_mm: FloatProperty(
        name="Fillet (mm)", description="Radius of the fillets where gates and posts stand on rings, so that the mould "
        "does not wash out there; usually 0.3 to 1, 0 for none", default=0.0, min=0.0, max=5.0, step=10, precision=2,
        update=_scene_changed,
    )  # fmt: skip

    alloy: StringProperty(
        name="Alloy", description="The metal that is poured: it sets weight, shrinkage and temperatures",
        default="tin-bronze", search=_alloys, search_options=set(), update=_alloy_chosen,
    )  # fmt: skip
    investment: StringProperty(
        name="Investment", description="What the mould is made of; empty leaves it to the rules", search=_investments,
        update=_scene_changed,
    )  # fmt: skip
    head: EnumProperty(
        name="Head", description="What drives the metal into the mould", items=HEAD_ITEMS, default="vacuum",
        update=_scene_changed,
    )  # fmt: skip
    metal_c: FloatProperty(
        name="Metal (degC)", description="Temperature of the metal as it is poured: hotter fills further; usually "
        "50 to 150 above where it is all liquid, 0 leaves it to the rules", min=0.0, max=3000.0, precision=0,
        step=1000, update=_scene_changed,
    )  # fmt: skip
    flask_c: FloatProperty(
        name="Flask (degC)", description="Temperature of the flask at the pour: hotter fills thin links better; "
        "usually 400 to 650, 0 leaves it to the rules", min=0.0, max=2000.0, precision=0, step=1000,
        update=_scene_changed,
    )  # fmt: skip
    own_flask: BoolProperty(
        name="Own Flask",
        description="Set the size of the flask yourself; off takes the smallest that holds the job",
        update=_scene_changed,
    )
    flask_diameter_mm: _mm("Diameter (mm)", "Inside diameter of the flask; usually 60 to 130", 100.0, 10.0, 2000.0)
    flask_height_mm: _mm(
        "Height (mm)", "Height of the flask, with room for trunk and button; usually 80 to 230", 150.0, 10.0, 2000.0
    )
    resin: StringProperty(
        name="Resin", description="What the print is made of; it sets weight and burnout", default="castable-acrylate",
        search=_resins, search_options=set(), update=_scene_changed,
    )  # fmt: skip
    tilt: BoolProperty(
        name="May Lean", description="Let the job lean in its flask where that saves investment", update=_scene_changed
    )
    spin_arm: StringProperty(
        name="Spin Arm", description="The spin machine; empty takes the first one that carries the job",
        search=_spin_arms, update=_scene_changed,
    )  # fmt: skip
    metal_price_per_g: _price(
        "Metal per g", "Price of a gram of metal, for the cost on the bench sheet; 0 leaves its cost out"
    )
    investment_price_per_kg: _price(
        "Investment per kg", "Price of a kilogram of investment, for the cost on the sheet; 0 leaves its cost out"
    )
    currency: StringProperty(
        name="Currency", description="The sign or word the bench sheet writes beside prices", maxlen=12,
        update=_scene_changed,
    )  # fmt: skip

    folder: StringProperty(
        name="Folder", description="Where the print files, report and sheet go; // is the folder of the .blend file",
        subtype="DIR_PATH", options={"ANIMATABLE", "PATH_SUPPORTS_BLEND_RELATIVE"},
    )  # fmt: skip
