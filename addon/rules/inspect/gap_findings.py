"""What is wrong between two bodies near each other: fused, too close to print, or too little investment between."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ..base.profile import Profile
from ..solid.crossing import Crossing
from ..solid.distance import GapTable
from ..solid.mesh import Body, FloatArray
from ..solid.slit import Slit
from .body_findings import as_point, rounded_up
from .finding import Finding
from .heads import HOT_STRENGTH_MPA, head_kpa
from .ladder import Ladder, ladder, printed_gap_mm, web_mm

# Gaps are exact to rounding; a gap made to equal its floor passes.
ROUNDING_MM = 1e-9
# Two bodies whose points lie as near as this one by one are one body twice. Far below what a printer can do.
TWICE_MM = 1e-3


@dataclass(frozen=True, slots=True)
class Limits:
    """The floors of a profile, with what turns a model gap into all it becomes, and what leans on a web.

    ``scale``: size in print over size in the model; ``mould_expansion``, ``shrinkage``: of the mould when it is poured,
    of the metal from its solidus, as shares of one; ``head``: what drives the metal; ``hot_strength_mpa``: mould.
    """

    profile: Profile
    scale: float = 1.0
    mould_expansion: float = 0.0
    shrinkage: float = 0.0
    head: str = "vacuum"
    hot_strength_mpa: float = HOT_STRENGTH_MPA

    @property
    def pressure_kpa(self) -> float:
        """Give the pressure of the metal on a web."""
        return head_kpa(self.head)

    def ladder(self, gap_mm: float, direction: tuple[float, float, float]) -> Ladder:
        """Take a model gap down the whole ladder; ``direction`` along the gap, z up."""
        return ladder(
            gap_mm,
            direction,
            scale=self.scale,
            bleed_mm=self.profile.bleed_mm,
            over_cure_mm=self.profile.over_cure_mm,
            expansion=self.mould_expansion,
            shrinkage=self.shrinkage,
        )

    def printed_mm(self, gap_mm: float, direction: tuple[float, float, float]) -> float:
        """Give the gap the printer leaves."""
        return printed_gap_mm(
            gap_mm,
            direction,
            scale=self.scale,
            bleed_mm=self.profile.bleed_mm,
            over_cure_mm=self.profile.over_cure_mm,
        )

    def slit_mm(self) -> float:
        """Give the width in the model beyond which no slit grows together in print."""
        p = self.profile
        return (p.gap_floor_mm + 2.0 * p.bleed_mm + p.over_cure_mm) / self.scale

    def reach_mm(self) -> float:
        """Give the model gap beyond which no floor and no warning can bite."""
        printed = max(self.profile.gap_warn_mm, self.profile.web_warn_mm / (1.0 + self.mould_expansion))
        return (printed + 2.0 * self.profile.bleed_mm + self.profile.over_cure_mm) / self.scale + ROUNDING_MM


def gap_findings(
    bodies: Sequence[Body], table: GapTable, limits: Limits, fused: Mapping[tuple[int, int], Crossing]
) -> tuple[Finding, ...]:
    """Say which pairs are fused, print too close, or leave too thin a web; the worst and first cause of each pair.

    ``fused``: how the pairs of gap 0 meet, by the numbers of their bodies.
    """
    found: list[Finding] = []
    for a, b, gap, point_a, point_b in zip(
        table.a, table.b, table.gap_mm, table.point_a, table.point_b, strict=True
    ):  # fmt: skip
        one, other = bodies[int(a)], bodies[int(b)]
        if gap <= 0.0:
            found.append(_fused(one, other, fused[int(a), int(b)], limits))
        else:
            found += _of_pair((one.name, other.name), float(gap), point_a, point_b, limits)
    return tuple(found)


def slit_findings(bodies: Sequence[Body], slits: Sequence[Slit | None], limits: Limits) -> tuple[Finding, ...]:
    """Say where a body's own sides come so near each other that they grow together; ``slits`` in its coordinates.

    A warning: a joint that must stay open is between two bodies, and an engraved line may fill without harm.
    """
    found = []
    floor = limits.profile.gap_floor_mm
    for body, slit in zip(bodies, slits, strict=True):
        if slit is None:
            continue
        along = as_point(body.pose.rotation @ (slit.point_b - slit.point_a))
        printed = limits.printed_mm(slit.width_mm, along)
        if printed >= floor - ROUNDING_MM:
            continue
        at = as_point(body.pose.apply(0.5 * (slit.point_a + slit.point_b)))
        more = rounded_up((floor - printed) / limits.scale)
        text = (
            f"{body.name}: two of its own sides are only {slit.width_mm:.3f} mm apart and grow together in print; the "
            f"printer needs {floor:g} mm. Open the slit by {more} mm, or close it."
        )
        found.append(Finding("gap-below-floor", "warn", (body.name,), text, at, printed, floor))
    return tuple(found)


def _fused(one: Body, other: Body, crossing: Crossing, limits: Limits) -> Finding:
    names = (one.name, other.name)
    floor = limits.profile.gap_floor_mm
    apart = (floor + 2.0 * limits.profile.bleed_mm) / limits.scale
    if _is_twice(one, other):
        how, mend = "the same body twice in one place", "delete one of them."
    elif crossing.buried:
        how = f"one lies inside the other's metal, {crossing.depth_mm:.3g} mm deep"
        mend = "take one of them away, or move it out."
    elif crossing.depth_mm > 0.0:
        how = f"they cross, {crossing.depth_mm:.3g} mm deep"
        mend = f"move them apart by {rounded_up(crossing.depth_mm + apart)} mm or more."
    else:
        how = "they touch"
        mend = f"move them apart by {rounded_up(apart)} mm or more."
    text = f"{names[0]} and {names[1]}: {how}, and would print and cast as one piece; {mend}"
    return Finding("fused", "stop", names, text, as_point(crossing.at), 0.0, floor)


def _is_twice(one: Body, other: Body) -> bool:
    """Tell whether two bodies have their points and triangles in the same places, in the same order."""
    a, b = one.mesh, other.mesh
    if a.points.shape != b.points.shape or not np.array_equal(a.triangles, b.triangles):
        return False
    return bool((np.abs(one.points() - other.points()) <= TWICE_MM).all())


def _of_pair(
    names: tuple[str, str], gap_mm: float, point_a: FloatArray, point_b: FloatArray, limits: Limits
) -> list[Finding]:
    p = limits.profile
    pair = f"{names[0]} and {names[1]}"
    at = as_point((point_a + point_b) / 2)
    printed = limits.printed_mm(gap_mm, as_point(point_b - point_a))
    web = web_mm(printed, expansion=limits.mould_expansion)
    gap_severity, gap_limit = _against(printed, p.gap_floor_mm, p.gap_warn_mm)
    web_severity, web_limit = _against(web, p.web_floor_mm, p.web_warn_mm)
    from_model = f" ({gap_mm:.3f} mm in the model)" if abs(printed - gap_mm) > 5e-4 else ""
    more = rounded_up((gap_limit - printed) / limits.scale)
    gap_text = (
        f"{pair}: the gap closes up in print{from_model}; "
        if printed <= 0.0
        else f"{pair}: the printed gap is {printed:.3f} mm{from_model}, under {gap_limit:g} mm; "
    ) + (
        f"the printer needs {gap_limit:g} mm. Open it by {more} mm."
        if gap_severity == "stop"
        else f"it may stick in places. Open it by {more} mm to be safe."
    )
    web_text = f"{pair}: the investment between them is {web:.3f} mm thick{from_model}, under {web_limit:g} mm; " + (
        "it breaks and the links cast together. "
        if web_severity == "stop"
        else "it may break when the metal comes in. "
    )
    more = rounded_up((web_limit - web) / (1.0 + limits.mould_expansion) / limits.scale)
    web_text += f"Open the gap by {more} mm."
    gap_finding = Finding("gap-below-floor", gap_severity, names, gap_text, at, printed, gap_limit)
    web_finding = Finding("web-thin", web_severity, names, web_text, at, web, web_limit)
    if gap_severity == "stop":
        mended = web_mm(p.gap_floor_mm, expansion=limits.mould_expansion)
        also = web_severity == "stop" and mended < p.web_floor_mm - ROUNDING_MM
        return [gap_finding, web_finding] if also else [gap_finding]
    if web_severity == "stop":
        return [web_finding]
    return [gap_finding] if gap_severity else [web_finding] if web_severity else []


def _against(value_mm: float, floor_mm: float, warn_mm: float) -> tuple[str, float]:
    """Give the severity of a thickness, empty when it passes, and the limit it falls under."""
    if value_mm < floor_mm - ROUNDING_MM:
        return "stop", floor_mm
    if value_mm < warn_mm - ROUNDING_MM:
        return "warn", warn_mm
    return "", warn_mm
