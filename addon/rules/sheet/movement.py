"""The part of the sheet that says how the finished chain moves."""

import math

from ..chain.play import FreePlay
from .blocks import grid, note, section


def movement(play: FreePlay | None) -> str:
    """Lay out how far each kind of joint moves until metal meets metal; nothing where it is not known."""
    if play is None:
        return ""
    head = ("Joint", "Slide mm", "Over the face °", "at best slide °", "Edgewise °", "at best slide °", "Twist °")
    rows = [
        (
            joint.name,
            span(joint.slide_mm, ".2f"),
            span(joint.bend_y_deg, ".1f"),
            span(joint.best_bend_y_deg, ".1f"),
            span(joint.bend_z_deg, ".1f"),
            span(joint.best_bend_z_deg, ".1f"),
            span(joint.twist_deg, ".1f"),
        )
        for joint in play.joints
    ]
    remark = (
        "From the straight chain at its printed pitch, one motion at a time, both ways, to first contact. The "
        f"tightest curve the chain lies on: {tightest(play)}. A cast chain that "
        "moves less still holds investment or a fin."
    )
    return section("Free play", grid(head, rows, kind="play") + note(remark))


def tightest(play: FreePlay) -> str:
    """Say the tightest even curve a chain lies on, over its face and edgewise."""
    return ", ".join(
        f"radius {radius:.1f} mm {way}" if math.isfinite(radius) else f"none {way}"
        for radius, way in zip(play.least_radius_mm, ("over the face", "edgewise"), strict=True)
    )


def span(both: tuple[float, float], form: str) -> str:
    """Say how far something moves both ways."""
    return f"{figure(both[0], '+' + form)} to {figure(both[1], '+' + form)}"


def figure(value: float | None, form: str) -> str:
    """Say a figure, or that nothing bounds it: no metal is met within half a turn."""
    return "any" if value is None or not math.isfinite(value) else format(value, form)
