"""Does the job fit the printer: its box at print size against the room the profile gives."""

import numpy as np

from ..base.profile import Profile
from ..solid.mesh import FloatArray
from .finding import Finding

# Less than this over is not told: the text gives tenths of a mm, and no printer's room is known better.
HAIR_MM = 0.05


def print_size_findings(
    low: FloatArray, high: FloatArray, profile: Profile, *, scale: float = 1.0
) -> tuple[Finding, ...]:
    """Say by how much a job's box, ``low`` to ``high`` (3,) mm times ``scale``, does not fit the printer's room.

    A job that fits once it is turned about the vertical, by a whole number of degrees, is only told so.
    """
    x, y, z = ((high - low) * scale).tolist()
    wide, deep, tall = profile.build_x_mm, profile.build_y_mm, profile.build_z_mm
    turn = np.radians(np.arange(91))
    over_x = x * np.cos(turn) + y * np.sin(turn) - wide
    over_y = x * np.sin(turn) + y * np.cos(turn) - deep
    over = np.maximum(over_x, over_y)
    if over[0] <= HAIR_MM and z <= tall + HAIR_MM:
        return ()
    # A quarter turn before an odd one: it keeps the job's sides along the printer's.
    best = 90 if over[90] <= HAIR_MM else int(over.argmin())
    of = (
        f"the print is {x:.1f} x {y:.1f} x {z:.1f} mm, the printer of profile {profile.name!r} builds {wide:g} x "
        f"{deep:g} x {tall:g} mm"
    )
    if over[best] <= HAIR_MM and z <= tall + HAIR_MM:
        return (Finding("print-size", "note", (), f"{of}: it fits turned by {best} degrees about the vertical."),)
    level = () if over[best] <= HAIR_MM else _level(x, y, wide, deep)
    sides = (*level, *((("high", z, tall),) if z > tall + HAIR_MM else ()))
    by = ", ".join(f"{side - most:.1f} mm too {name}" for name, side, most in sides)
    mends = (
        *(("wind the chain up in a ring, spiral or coil",) if level else ()),
        *(("lay it flat or lean it",) if len(sides) > len(level) else ()),
    )
    _, side, most = max(sides, key=lambda one: one[1] - one[2])
    text = (
        f"{of}: {by}. To mend it, {' and '.join(mends)}, make it in parts, or choose the profile of a larger printer."
    )
    return (Finding("print-size", "stop", (), text, None, side, most),)


def _level(x: float, y: float, wide: float, deep: float) -> tuple[tuple[str, float, float], ...]:
    """Name the level sides that are too long, each with its length and its room, as the job stands or by a quarter.

    Of the two, the way it lies that is less over.
    """
    turned = max(x - deep, y - wide) < max(x - wide, y - deep)
    how = " once turned by 90 degrees" if turned else ""
    room = (deep, wide) if turned else (wide, deep)
    sides = ((f"long in x{how}", x, room[0]), (f"long in y{how}", y, room[1]))
    return tuple(one for one in sides if one[1] > one[2] + HAIR_MM)
