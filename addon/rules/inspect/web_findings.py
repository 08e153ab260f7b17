"""Where the metal breaks a web of investment: a wide thin one gives way where a narrow one holds."""

import math
from collections.abc import Sequence

from ..solid.mesh import Body
from .body_findings import as_point, rounded_up
from .finding import Finding
from .gap_findings import Limits
from .heads import HEAD_KPA
from .webs import Web

# A web keeps to this share of its hot strength: below it says nothing, up to the strength itself it is a warning.
SAFE_SHARE = 1.0 / 3.0


def bending_mpa(pressure_kpa: float, width_mm: float, thickness_mm: float) -> float:
    """Give the largest stress in a long strip held along both its edges, under pressure on one face: p (w/t)^2 / 2.

    Thin-plate theory, the moment p w^2 / 12 at a built-in edge (S. Timoshenko and S. Woinowsky-Krieger, Theory of
    Plates and Shells, 1959, chapter 1; from memory).
    """
    return 0.5 * pressure_kpa * 1e-3 * (width_mm / thickness_mm) ** 2


def widest_ratio(pressure_kpa: float, strength_mpa: float) -> float:
    """Give the largest width over thickness of a web that keeps to the safe share of its strength."""
    return math.sqrt(2.0 * SAFE_SHARE * strength_mpa / (pressure_kpa * 1e-3))


def web_weak_findings(bodies: Sequence[Body], webs: Sequence[Web], limits: Limits) -> tuple[Finding, ...]:
    """Say which webs the metal may break: a warning past the safe share of the mould's strength, a stop past all."""
    passes = widest_ratio(limits.pressure_kpa, limits.hot_strength_mpa)
    found = []
    for web in webs:
        ratio = web.width_mm / web.thickness_mm
        if ratio <= passes:
            continue
        names = (bodies[web.a].name, bodies[web.b].name)
        breaks = bending_mpa(limits.pressure_kpa, web.width_mm, web.thickness_mm) > limits.hot_strength_mpa
        if math.isfinite(web.width_mm):
            size = f"{web.width_mm:.2g} mm wide and no thicker than {web.thickness_mm:.2g} mm"
            more = (web.width_mm / passes - web.thickness_mm) / (1.0 + limits.mould_expansion) / limits.scale
            mend = f"Open the gap by {rounded_up(more)} mm, or make the links narrower where they face each other"
            gentler = [
                head
                for head in ("vacuum", "gravity")
                if HEAD_KPA[head] < limits.pressure_kpa
                and ratio <= widest_ratio(HEAD_KPA[head], limits.hot_strength_mpa)
            ]
            mend += f"; pouring by {gentler[0]} leans on it less and would do." if gentler else "."
        else:
            size = "closed in all round, held by nothing"
            mend = "Open it to the outside."
        text = (
            f"{names[0]} and {names[1]}: the investment between them is {size}; "
            + ("it breaks" if breaks else "it may break")
            + f" when the metal comes in by {limits.head}. {mend}"
        )
        severity = "stop" if breaks else "warn"
        found.append(Finding("web-weak", severity, names, text, as_point(web.at), min(ratio, 999.0), passes))
    return tuple(found)
