"""Where metal is too thin to print and to cast."""

from collections.abc import Sequence

from ..base.profile import Profile
from ..solid.mesh import Body
from ..solid.wall import Wall
from .body_findings import as_point, rounded_up
from .finding import Finding

# Metal made to equal the floor passes, also where the scale of the print takes a trace off it: no caliper tells less.
TRACE_MM = 0.005
# Facets make a round wire thinner than it is drawn, by no more than this share.
OF_FACETS = 0.05


def wall_mm(body: Body, wall: Wall) -> float:
    """Give the thinnest metal of a body: of a round wire of ours its diameter, where only its facets are thinner."""
    if body.wire is not None:
        across = 2.0 * body.wire.radius_mm
        if (1.0 - OF_FACETS) * across <= wall.thickness_mm <= across:
            return across
    return wall.thickness_mm


def wall_findings(
    bodies: Sequence[Body], walls: Sequence[Wall | None], profile: Profile, scale: float
) -> tuple[Finding, ...]:
    """Say which bodies are thinner somewhere than the floor; ``walls`` in the bodies' own coordinates, None unknown."""
    found = []
    floor = profile.wall_floor_mm
    for body, wall in zip(bodies, walls, strict=True):
        if wall is None:
            continue
        printed = wall_mm(body, wall) * scale
        if printed >= floor - TRACE_MM:
            continue
        at = as_point(body.pose.apply(0.5 * (wall.point_a + wall.point_b)))
        if wall.sharp:
            text = (
                f"{body.name}: the metal runs out to a sharp edge, which neither prints nor fills; blunt the edge, or "
                f"make it {floor:g} mm thick."
            )
        else:
            text = (
                f"{body.name}: the metal is only {printed:.3f} mm thick in print, under {floor:g} mm; it may break in "
                f"print or not fill. Make it {rounded_up((floor - printed) / scale)} mm thicker there."
            )
        found.append(Finding("wall-thin", "stop", (body.name,), text, at, printed, floor))
    return tuple(found)
