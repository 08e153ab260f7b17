"""How hot the metal and the flask: what was asked for or the rules' choice, its range, and what is wrong with it."""

from dataclasses import dataclass

from ..base.errors import BadInput
from ..inspect.finding import Finding
from .materials import Alloy, Investment, Materials
from .spec import CastSpec

# Where in a range a method stands: a spin takes the lower end (bench texts), gravity the upper (our judgement).
_PLACE_IN_RANGE = {"spin": 0.0, "vacuum": 0.5, "gravity": 1.0}
ROUND_C = 5.0


@dataclass(frozen=True, slots=True)
class Temperatures:
    """Pour and flask temperature in degC with the ranges of the section, the mould, and findings about them."""

    pour_c: float
    pour_range_c: tuple[float, float]
    flask_c: float
    flask_range_c: tuple[float, float]
    findings: tuple[Finding, ...]


def choose_investment(spec: CastSpec, alloy: Alloy, materials: Materials) -> Investment:
    """Give the investment asked for, else a gypsum-bonded one, or a phosphate-bonded one where the alloy needs it.

    Raises BadInput for a gypsum-bonded mould with a metal that would break it down.
    """
    if spec.investment is not None:
        investment = materials.investment(spec.investment)
        if investment.bond == "gypsum" and alloy.gypsum == "no":
            good = ", ".join(i.name for i in materials.investments if i.bond != "gypsum")
            raise BadInput(
                f"cast.investment: {alloy.label} melts at {alloy.liquidus_c.value:g} degC and breaks down "
                f"{investment.label} (sulphur gas, burst mould); use {good}"
            )
        return investment
    wanted = "phosphate" if alloy.gypsum == "no" else "gypsum"
    for investment in materials.investments:
        if investment.bond == wanted:
            return investment
    raise BadInput(f"cast.investment: the table holds no {wanted}-bonded investment; add one to investments.toml")


def choose_temperatures(spec: CastSpec, alloy: Alloy, investment: Investment, section_mm: float) -> Temperatures:
    """Choose pour and flask temperature for the thinnest section, or check those asked for.

    Raises BadInput for metal that is not molten and for a flask as hot as the metal; everything else is a finding.
    """
    liquidus = alloy.liquidus_c.value
    superheat = alloy.superheat_k.at(section_mm)
    pour_range = (liquidus + superheat[0], liquidus + superheat[1])
    flask_range = alloy.flask_c.at(section_mm)
    pour = spec.metal_c if spec.metal_c is not None else _within(pour_range, spec.head)
    flask = spec.flask_c if spec.flask_c is not None else min(_within(flask_range, spec.head), investment.limit_c.value)
    if pour <= liquidus:
        raise BadInput(
            f"cast.metal_c: {pour:g} degC is not above the liquidus of {alloy.label}, {liquidus:g}; give from "
            f"{pour_range[0]:.0f} to {pour_range[1]:.0f} degC"
        )
    if flask >= alloy.solidus_c.value:
        raise BadInput(
            f"cast.flask_c: {flask:g} degC is not below the solidus of {alloy.label}, {alloy.solidus_c.value:g}, so "
            f"nothing would freeze; give from {flask_range[0]:.0f} to {flask_range[1]:.0f} degC"
        )
    findings = [
        *_pour_findings(pour, pour_range, section_mm),
        *_flask_findings(flask, flask_range, investment, section_mm),
    ]
    if investment.bond == "gypsum" and alloy.gypsum == "care":
        text = (
            f"{alloy.label} is poured at {pour:.0f} degC, near what {investment.label} bears at the metal's face: "
            "keep the flask low and the sections light, and burn out all carbon"
        )
        findings.append(Finding("mould-limit", "note", (), text))
    return Temperatures(pour, pour_range, flask, flask_range, tuple(findings))


def _within(span: tuple[float, float], head: str) -> float:
    """Choose in a range by method, to the next 5 degC but never out of the range."""
    wanted = span[0] + _PLACE_IN_RANGE[head] * (span[1] - span[0])
    return min(max(ROUND_C * round(wanted / ROUND_C), span[0]), span[1])


def _pour_findings(pour: float, span: tuple[float, float], section_mm: float) -> list[Finding]:
    if span[0] <= pour <= span[1]:
        return []
    side = "cool: it may not fill" if pour < span[0] else "hot: gas, rough skin and shrinkage"
    limit = span[0] if pour < span[0] else span[1]
    text = (
        f"metal at {pour:.0f} degC is {side}; the usual range for a section of {section_mm:.1f} mm is {span[0]:.0f} "
        f"to {span[1]:.0f} degC"
    )
    return [Finding("pour-temperature", "warn", (), text, None, pour, limit)]


def _flask_findings(
    flask: float, span: tuple[float, float], investment: Investment, section_mm: float
) -> list[Finding]:
    limit, carbon = investment.limit_c.value, investment.carbon_limit_c.value
    if flask > limit:
        text = (
            f"a flask at {flask:.0f} degC is above what {investment.label} bears, {limit:.0f} degC; give up to "
            f"{min(limit, span[1]):.0f} degC"
        )
        return [Finding("flask-temperature", "stop", (), text, None, flask, limit)]
    found = []
    if flask > carbon:
        text = (
            f"a flask at {flask:.0f} degC: any carbon left in {investment.label} breaks it down from {carbon:.0f} "
            "degC (gas porosity, stains); burn out until the mould is white, with air, or pour cooler"
        )
        found.append(Finding("flask-temperature", "warn", (), text, None, flask, carbon))
    if not span[0] <= flask <= span[1]:
        side = "cool: it may not fill" if flask < span[0] else "hot: slow freezing, rough skin"
        edge = span[0] if flask < span[0] else span[1]
        text = (
            f"a flask at {flask:.0f} degC is {side}; the usual range for a section of {section_mm:.1f} mm is "
            f"{span[0]:.0f} to {span[1]:.0f} degC"
        )
        found.append(Finding("flask-temperature", "warn", (), text, None, flask, edge))
    return found
