"""The cast plan: from volumes and sizes to metal, flask, mix, temperatures, burnout and quick freezing times."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from ..base.errors import BadInput
from ..inspect.finding import Finding, stops
from .chvorinov import bar_modulus_mm, button_volume_mm3
from .cost import Cost, cost_of
from .flask import USUAL_MARGINS, FlaskChoice, Margins, choose_flask, flask_volume_cm3
from .forecast import Forecast
from .materials import Alloy, Flask, Investment, Materials, Resin, SpinArm
from .mixing import Mix, mix_for, slurry_density_g_cm3
from .quick import FEEDER_FACTOR, QuickFreeze, Section, feeder_findings, head_pressure, quick_freeze
from .scale import ExportScale, export_scale
from .schedule import Schedule, burnout_schedule, heating_mm2
from .spec import CastSpec
from .spin import arm_load_g, spin_findings
from .temperatures import Temperatures, choose_investment, choose_temperatures
from .weights import fineness, mass_g

LITTLE_STRETCH = 1.5  # of a burnout's holds, up to which a note will do; our judgement
CRUCIBLE_FULL = 2.0 / 3.0  # common practice, no published source
NOBLE = (("Pt", "platinum"), ("Au", "gold"), ("Ag", "silver"))


@dataclass(frozen=True, slots=True)
class PourHabits:
    """What a studio adds to the job. Shares of mass or volume; common practice unless said.

    ``button_share`` of the metal below it: bench texts differ (0.1 to 0.5); and button and tree together weigh at least
    ``tree_ratio`` of the pieces (bench text on carat golds: 1); with ``button_last`` it is large enough to freeze after
    the trunk. ``slurry_waste``: how much more is mixed than needed.
    """

    button_share: float = 0.25
    tree_ratio: float = 1.0
    button_last: bool = True
    slurry_waste: float = 0.08
    trunk_d_mm: float | None = None


USUAL_HABITS = PourHabits()


@dataclass(frozen=True, slots=True)
class AlloyWeight:
    """What the job would weigh in one alloy, g."""

    name: str
    label: str
    chain_g: float
    metal_g: float
    status: str


@dataclass(frozen=True, slots=True)
class CastPlan:
    """Everything the bench needs to know before the pour; `to_dict` names every figure with its unit.

    Masses are of the finished-size metal; ``print_g`` is the resin of chain and lattice at export scale.
    """

    alloy: Alloy
    investment: Investment
    resin: Resin
    head: str
    head_kpa: tuple[float, float]
    chain_g: float
    lattice_g: float
    trunk_g: float
    button_g: float
    fineness: tuple[str, float] | None
    trunk_d_mm: float
    margins: Margins
    print_g: float
    flask: FlaskChoice
    mix: Mix
    temperatures: Temperatures
    scale: ExportScale
    applied_scale: float
    schedule: Schedule
    quick_freeze: tuple[QuickFreeze, ...]
    by_alloy: tuple[AlloyWeight, ...]
    stand_min: tuple[float, float]
    findings: tuple[Finding, ...]
    spin_arm: SpinArm | None = None
    cost: Cost | None = None
    forecast: Forecast | None = None

    def foretold(self, found: Forecast) -> "CastPlan":
        """Give this plan with what is expected of the pour."""
        return replace(self, forecast=found, findings=(*self.findings, *found.findings))

    @property
    def button_mm3(self) -> float:
        """Give the volume of the button."""
        return self.button_g / self.alloy.density_g_cm3.value * 1000.0

    @property
    def arm_load_g(self) -> float:
        """Give what a spin arm carries: flask, burnt-out mould and metal."""
        return arm_load_g(self.flask.flask, self.investment, self.metal_g)

    @property
    def metal_g(self) -> float:
        """Give all metal to melt, button included."""
        return self.chain_g + self.lattice_g + self.trunk_g + self.button_g

    @property
    def yield_percent(self) -> float:
        """Give the share of the poured metal that is chain."""
        return 100.0 * self.chain_g / self.metal_g

    @property
    def crucible_cm3(self) -> float:
        """Give the least crucible: the melt fills two thirds of it."""
        return self.metal_g / self.alloy.liquid_density_g_cm3.value / CRUCIBLE_FULL

    @property
    def metal_per_print(self) -> float:
        """Give grams of cast chain and lattice for each gram of print."""
        return (self.chain_g + self.lattice_g) / self.print_g

    @property
    def fresh_metal_g(self) -> float:
        """Give the least new metal in the melt, by the alloy's limit for returned metal."""
        return self.metal_g * (1.0 - self.alloy.scrap_percent.value / 100.0)

    def to_dict(self) -> dict[str, object]:
        """Give the plan as plain data for report.json, every unit in its key."""
        t, s = self.temperatures, self.schedule
        return {
            "alloy": self.alloy.name,
            "investment": self.investment.name,
            "resin": self.resin.name,
            "head": self.head,
            "head_range_kpa": list(self.head_kpa),
            "chain_g": self.chain_g,
            "lattice_g": self.lattice_g,
            "trunk_g": self.trunk_g,
            "button_g": self.button_g,
            "metal_g": self.metal_g,
            "fresh_metal_g": self.fresh_metal_g,
            "yield_percent": self.yield_percent,
            "fineness_per_mille": None if self.fineness is None else self.fineness[1],
            "print_g": self.print_g,
            "metal_g_per_print_g": self.metal_per_print,
            "crucible_cm3": self.crucible_cm3,
            "trunk_d_mm": self.trunk_d_mm,
            "trunk_length_mm": self.margins.trunk_mm,
            "flask": {
                "diameter_mm": self.flask.flask.diameter_mm,
                "height_mm": self.flask.flask.height_mm,
                "perforated": self.flask.flask.perforated,
                "needs_diameter_mm": self.flask.needs_diameter_mm,
                "needs_height_mm": self.flask.needs_height_mm,
                "fits": self.flask.fits,
                "lean_deg": self.flask.lean.deg,
            },
            "spin_arm": None if self.spin_arm is None else self.spin_arm.name,
            "arm_load_g": None if self.spin_arm is None else self.arm_load_g,
            "cost": None if self.cost is None else self.cost.to_dict(),
            "slurry_cm3": self.mix.slurry_cm3,
            "slurry_spare_cm3": self.mix.spare_cm3,
            "investment_g": self.mix.powder_g,
            "water_g": self.mix.water_g,
            "pour_c": t.pour_c,
            "pour_range_c": list(t.pour_range_c),
            "flask_c": t.flask_c,
            "flask_range_c": list(t.flask_range_c),
            "scale": self.applied_scale,
            "scale_auto": self.scale.factor,
            "scale_auto_range": [self.scale.low, self.scale.high],
            "shrinkage_percent": self.scale.shrinkage_percent,
            "mould_expansion_percent": self.scale.mould_expansion_percent,
            "burnout": [step.to_dict() for step in s.steps],
            "burnout_total_h": s.total_h,
            "rest_before_burnout_h": s.rest_h,
            "stand_min": list(self.stand_min),
            "quick_freeze": [
                {
                    "section": q.section.name,
                    "diameter_mm": q.section.diameter_mm,
                    "modulus_mm": q.modulus_mm,
                    "freeze_s": q.freeze_s,
                    "low_s": q.low_s,
                    "high_s": q.high_s,
                }
                for q in self.quick_freeze
            ],
            "by_alloy": [
                {"alloy": w.name, "chain_g": w.chain_g, "metal_g": w.metal_g, "status": w.status} for w in self.by_alloy
            ],
            **({} if self.forecast is None else self.forecast.to_dict()),
        }


def plan(
    spec: CastSpec,
    materials: Materials,
    *,
    chain_mm3: float,
    lattice_mm3: float,
    size_mm: tuple[float, float, float],
    sections: Sequence[Section],
    across_mm: float | None = None,
    scale: float | None = None,
    margins: Margins = USUAL_MARGINS,
    habits: PourHabits = USUAL_HABITS,
) -> CastPlan:
    """Plan the pour of one job.

    ``chain_mm3`` and ``lattice_mm3``: finished volumes, without the trunk; ``size_mm`` of the whole job along x, y, z,
    without the trunk, plate at the bottom; ``across_mm`` the diameter of its smallest upright cylinder (None: the
    diagonal of x and y). ``sections``: wire, gates, rings, each as the round rod that holds it; the thinnest that is
    no neck sets the temperatures. ``scale`` overrides the export scale. Raises BadInput for an impossible pour or size.
    """
    _check(chain_mm3, lattice_mm3, size_mm, sections)
    alloy = materials.alloy(spec.alloy)
    investment = choose_investment(spec, alloy, materials)
    pattern = materials.resin(spec.resin)
    thinnest = min(s.diameter_mm for s in sections if not s.neck)
    narrowest = min(s.diameter_mm for s in sections)
    thickest = max(s.diameter_mm for s in sections)
    temperatures = choose_temperatures(spec, alloy, investment, thinnest)
    auto = export_scale(alloy, investment, temperatures.flask_c)
    factor = auto.factor if scale is None else scale
    across = math.hypot(size_mm[0], size_mm[1]) if across_mm is None else across_mm
    printed = (size_mm[0] * factor, size_mm[1] * factor, size_mm[2] * factor)
    thick = habits.trunk_d_mm if habits.trunk_d_mm is not None else max(8.0, FEEDER_FACTOR * thickest)

    def stand(arm: SpinArm | None) -> _Stood:
        choice = choose_flask(
            materials.flasks,
            across * factor,
            printed,
            head=spec.head,
            asked_mm=spec.flask_mm,
            margins=margins,
            tilt=spec.tilt,
            spin_arm=arm,
        )
        longer = replace(margins, trunk_mm=margins.trunk_mm + choice.lean.trunk_more_mm)
        trunk = math.pi / 4.0 * thick**2 * longer.trunk_mm
        button = _button_mm3(chain_mm3, lattice_mm3 + trunk, thick, habits)
        metal = mass_g(chain_mm3 + lattice_mm3 + trunk + button, alloy.density_g_cm3.value)
        load = arm_load_g(choice.flask, investment, metal)
        spun = spin_findings(arm, across * factor, printed[2], load) if spec.head == "spin" else ()
        return _Stood(arm, choice, longer, trunk, button, metal, (*choice.findings, *spun))

    stood = _on_first_arm([stand(arm) for arm in _arms(spec, materials)])
    flask, margins, trunk_d = stood.flask, stood.margins, thick
    trunk_mm3, button_mm3, metal_g = stood.trunk_mm3, stood.button_mm3, stood.metal_g
    metal_in_flask_cm3 = ((chain_mm3 + lattice_mm3) * factor**3 + trunk_mm3) / 1000.0
    mould_cm3 = flask_volume_cm3(flask.flask) - metal_in_flask_cm3
    ratio = investment.water_per_powder.high
    tall = flask.needs_height_mm - margins.cone_mm - margins.cover_mm - margins.trunk_mm
    head_kpa, head_findings = head_pressure(spec.head, alloy, margins, tall, narrowest)
    schedule = burnout_schedule(investment, pattern, flask.flask, temperatures.flask_c)
    density = slurry_density_g_cm3(ratio, investment.powder_density_g_cm3.value)
    mix = mix_for(mould_cm3, density, ratio, spare_share=habits.slurry_waste)
    findings = (
        *(Finding("materials", "warn", (), text) for text in materials.warnings),
        *stood.findings,
        *temperatures.findings,
        *head_findings,
        *feeder_findings(button_mm3, trunk_d, thickest),
        *_schedule_findings(schedule),
    )
    return CastPlan(
        alloy=alloy,
        investment=investment,
        resin=pattern,
        head=spec.head,
        head_kpa=head_kpa,
        chain_g=mass_g(chain_mm3, alloy.density_g_cm3.value),
        lattice_g=mass_g(lattice_mm3, alloy.density_g_cm3.value),
        trunk_g=mass_g(trunk_mm3, alloy.density_g_cm3.value),
        button_g=mass_g(button_mm3, alloy.density_g_cm3.value),
        fineness=_fineness(alloy),
        trunk_d_mm=trunk_d,
        margins=margins,
        print_g=mass_g((chain_mm3 + lattice_mm3) * factor**3, pattern.density_g_cm3.value),
        flask=flask,
        mix=mix,
        temperatures=temperatures,
        scale=auto,
        applied_scale=factor,
        schedule=schedule,
        quick_freeze=tuple(quick_freeze(s, alloy, investment, temperatures) for s in sections),
        by_alloy=weights_by_alloy(materials, chain_mm3, chain_mm3 + lattice_mm3 + trunk_mm3 + button_mm3),
        stand_min=_stand_min(alloy, flask.flask),
        findings=findings,
        spin_arm=stood.arm,
        cost=cost_of(
            spec,
            chain_g=mass_g(chain_mm3, alloy.density_g_cm3.value),
            metal_g=metal_g,
            powder_g=mix.powder_g,
        ),
    )


@dataclass(frozen=True, slots=True)
class _Stood:
    """A job in its flask, on a spin arm where it is spun: what it takes, and what is wrong with that."""

    arm: SpinArm | None
    flask: FlaskChoice
    margins: Margins
    trunk_mm3: float
    button_mm3: float
    metal_g: float
    findings: tuple[Finding, ...]


def _arms(spec: CastSpec, materials: Materials) -> tuple[SpinArm | None, ...]:
    """List the arms a job may go on: the one asked for, else those of the table; none where nothing is spun."""
    named = None if spec.spin_arm is None else materials.spin_arm(spec.spin_arm)
    if spec.head != "spin":
        return (None,)
    return (named,) if named is not None else materials.spin_arms or (None,)


def _on_first_arm(stood: Sequence[_Stood]) -> _Stood:
    """Take the first arm that carries the job; the last where none does."""
    return next((s for s in stood if not stops(s.findings)), stood[-1])


def weights_by_alloy(materials: Materials, chain_mm3: float, metal_mm3: float) -> tuple[AlloyWeight, ...]:
    """Give what chain and whole melt weigh in each alloy; button and trunk taken the same size in all."""
    return tuple(
        AlloyWeight(
            a.name,
            a.label,
            mass_g(chain_mm3, a.density_g_cm3.value),
            mass_g(metal_mm3, a.density_g_cm3.value),
            a.density_g_cm3.status,
        )
        for a in materials.alloys
    )


def _check(chain: float, lattice: float, size: tuple[float, float, float], sections: Sequence[Section]) -> None:
    if not (math.isfinite(chain) and chain > 0.0):
        raise BadInput(f"the chain's volume is {chain:g} mm3; it must be above 0: check that its bodies are closed")
    if not (math.isfinite(lattice) and lattice >= 0.0):
        raise BadInput(f"the lattice's volume is {lattice:g} mm3; it must be 0 or more: check that its solid is closed")
    if not all(math.isfinite(s) and s > 0.0 for s in size):
        raise BadInput(f"the job's size is {size} mm; each side must be above 0")
    if not all(math.isfinite(s.diameter_mm) and s.diameter_mm > 0.0 for s in sections):
        raise BadInput("a section of the job is not thicker than 0 mm; check wire, gates and rings")
    if all(s.neck for s in sections):
        raise BadInput("the job names no section that sets its temperatures; give at least the wire")


def _button_mm3(chain: float, tree: float, trunk_d: float, habits: PourHabits) -> float:
    """Give the button: a share of the metal below it, with the tree as heavy as the pieces, the last to freeze."""
    least = button_volume_mm3(FEEDER_FACTOR * bar_modulus_mm(trunk_d)) if habits.button_last else 0.0
    return max(habits.button_share * (chain + tree), habits.tree_ratio * chain - tree, least)


def _schedule_findings(schedule: Schedule) -> tuple[Finding, ...]:
    if schedule.stretch <= 1.0:
        return ()
    text = (
        "the flask is larger than any burnout we hold a schedule for: its holds are made "
        f"{schedule.stretch:.2f} times as long, by the time heat takes to the middle; your powder's own sheet rules"
    )
    severity = "note" if schedule.stretch <= LITTLE_STRETCH else "warn"
    return (Finding("burnout", severity, (), text, None, schedule.stretch, 1.0),)


def _stand_min(alloy: Alloy, flask: Flask) -> tuple[float, float]:
    """Scale the wait before the quench, kept for a flask of 102 x 203 mm, by the time heat takes out of a cylinder."""
    share = heating_mm2(flask.diameter_mm, flask.height_mm) / heating_mm2(102.0, 203.0)
    return alloy.stand_min.low * share, alloy.stand_min.high * share


def _fineness(alloy: Alloy) -> tuple[str, float] | None:
    for element, name in NOBLE:
        if alloy.mix_percent.get(element, 0.0) > 30.0:
            return name, fineness(alloy.mix_percent, element)
    return None
