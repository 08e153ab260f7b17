"""What was measured on a printed gauge, as Blender remembers it: on the scene, saved in the file."""

from __future__ import annotations

from typing import Any

from bpy.props import (
    BoolProperty,
    CollectionProperty,
    EnumProperty,
    FloatProperty,
    IntProperty,
    StringProperty,
)
from bpy.types import PropertyGroup

from ..rules.inspect.calibration import Reading
from .units import exact

FACE_ITEMS = (
    ("UPRIGHT", "Upright", "The gap between the link and the wall beside it", "NONE", 1),
    ("LEVEL", "Level", "The gap between the bar and the link above it", "NONE", 2),
)


def _changed(group: Any, _context: Any) -> None:
    """Take back what was found: it belongs to other readings."""
    found = group.id_data.linkwright_gauge
    if found.said:
        found.said = ""


class LINKWRIGHT_PG_reading(PropertyGroup):
    """One gap of a printed gauge, measured, stuck, or not read yet (0)."""

    gap_mm: FloatProperty(
        name="Gap (mm)", description="The figure engraved before the station; usually 0.15 to 0.6", default=0.3,
        min=0.001, max=5.0, step=5, precision=3, update=_changed,
    )  # fmt: skip
    face: EnumProperty(
        name="Face", description="Which gap of the station was read", items=FACE_ITEMS, default="UPRIGHT",
        update=_changed,
    )  # fmt: skip
    measured_mm: FloatProperty(
        name="Measured (mm)", description="Thickest strip that goes in; usually 0.05 to 0.2 less than the gap, 0 "
        "where it was not read yet", default=0.0, min=0.0, max=5.0, step=1, precision=3, update=_changed,
    )  # fmt: skip
    stuck: BoolProperty(name="Stuck", description="The gap did not come free", update=_changed)


class LINKWRIGHT_PG_gauge(PropertyGroup):
    """The readings of a scene's gauge, and what was found from them."""

    readings: CollectionProperty(type=LINKWRIGHT_PG_reading)
    active: IntProperty(name="Reading", description="The reading that is selected in the list")
    scale: FloatProperty(
        name="Printed at Scale", description="Size of the printed gauge over that of the model; usually 1",
        default=1.0, min=0.5, max=2.0, precision=4, step=0.1, update=_changed,
    )  # fmt: skip
    take_floor: BoolProperty(
        name="Gap Floor Too",
        description="Also set the gap floor to the smallest printed gap that came free",
    )
    said: StringProperty(description="What was found, a line each")


def readings_of(group: Any) -> tuple[Reading, ...]:
    """Give the readings that were made; rows still at 0 are left out."""
    return tuple(
        Reading(exact(row.gap_mm), None if row.stuck else exact(row.measured_mm), row.face == "LEVEL")
        for row in group.readings
        if row.stuck or row.measured_mm > 0.0
    )


def add_row(group: Any, gap_mm: float, face: str) -> None:
    """Add a row that is not read yet, and select it."""
    row = group.readings.add()
    row.gap_mm, row.face = gap_mm, face
    group.active = len(group.readings) - 1
