"""Scene units and millimetres: the one place where they meet."""

from typing import Any

MM_PER_UNIT_WITHOUT_SYSTEM = 1.0


def mm_per_unit(scene: Any) -> float:
    """Give the millimetres of one scene unit.

    With a unit system that is 1000 times the unit scale. Blender ignores the unit scale when the system is None; then
    one unit counts as 1 mm (`unit_words` says so).
    """
    settings = scene.unit_settings
    if settings.system == "NONE":
        return MM_PER_UNIT_WITHOUT_SYSTEM
    return 1000.0 * exact(settings.scale_length)


def unit_words(scene: Any) -> str:
    """Say in one line what a scene unit counts as."""
    mm = mm_per_unit(scene)
    if scene.unit_settings.system == "NONE":
        return "No unit system: 1 unit counts as 1 mm"
    return f"1 unit is {mm:g} mm"


def is_millimetres(scene: Any) -> bool:
    """Tell whether one scene unit is 1 mm."""
    return abs(mm_per_unit(scene) - 1.0) < 1e-6


def exact(value: float) -> float:
    """Give the number a person typed into a single-precision property: 2.2 for 2.200000047683716."""
    import numpy as np

    return float(str(np.float32(value)))
