"""The bench sheet as one HTML page: no script, nothing fetched, printable on A4 and Letter in black and white."""

from html import escape

import numpy as np

from ..cast.figures import BySection, Figure
from ..cast.plan import CastPlan
from .blocks import bulk, counted, grams, grid, hours, note, section, steps, table, tiles, typeset
from .compared import compared
from .cuts import cutting
from .data import Row, SheetData
from .movement import movement
from .outcome import headline, outcome
from .pictures import pictures
from .style import STYLE
from .told import SEVERITY_WORDS, findings_part
from .words import COMMON, DEFER, FIRST, after_steps, before_steps, cautions

UNITS = (
    ("_g_cm3", "g/cm³"), ("_kj_kg", "kJ/kg"), ("_j_kg_k", "J/(kg K)"), ("_w_m_k", "W/(m K)"), ("_n_m", "N/m"),
    ("_c_per_h", "°C/h"), ("_percent", "%"), ("_mpa", "MPa"), ("_w_m2_k", "W/(m² K)"), ("_m2", "m²"), ("_min", "min"),
    ("_h", "h"), ("_k", "K"), ("_c", "°C"), ("_mm", "mm"), ("_g", "g"),
)  # fmt: skip


def sheet(data: SheetData) -> str:
    """Write the bench sheet. The same data gives the same page; all text of the user is escaped."""
    plan = data.plan
    parts = [
        f'<header><p class="kind">Bench sheet</p><h1>{escape(data.title)}</h1>',
        f"<p>{escape(_subtitle(data))}</p></header>",
        _verdict(data),
        f'<p class="first">{escape(FIRST)} <a href="#cautions">Cautions</a></p>',
        section("At a glance", tiles(_glance(plan))),
        pictures(data),
        section("Burnout", _burnout(plan)),
        section(
            "Before the pour",
            steps(before_steps(plan, trunk_printed=data.trunk_printed, hub_aside_mm=_hub_aside_mm(data)))
            + note(COMMON),
        ),
        section("After the pour", steps(after_steps(plan)) + note(COMMON)),
        section("Write down", _record(data)),
        outcome(data.verdict),
        findings_part(data.findings),
        cutting(data.cutting, plan.alloy.density_g_cm3.value),
        section("Cautions", _cautions(plan), kind="whole", ident="cautions"),
        '<div class="columns">',
        section("Metal", table(_weights(plan)) + note("Finished weights; the button and trunk go back to the pot.")),
        section("Flask and mix", table(_flask(data))),
        section("Pour", table(_pour(plan)) + note("Ranges are for the thinnest section. Your makers' sheets rule.")),
        _cost(plan),
        _rows("Chain", data.chain),
        _rows("Sizes", data.sizes),
        _rows("Gaps", data.gaps),
        section("Scale", _scale(plan)),
        "</div>",
        movement(data.play),
        section("Freezing, rough", _freezing(plan)),
        section("In other alloys", _alloys(plan)),
        compared(data.layouts),
        section("Where the figures come from", _sources(plan)),
    ]
    inside = "\n".join(part for part in parts if part)
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(data.title)}: bench sheet</title><style>{STYLE}</style></head>\n"
        f"<body><main>\n{inside}\n</main></body></html>\n"
    )


def _subtitle(data: SheetData) -> str:
    plan = data.plan
    links = sum(body.name.startswith("link ") for body in data.bodies)
    more = len(data.bodies) - links
    many = [counted(links, "link", "links")] if links else []
    many += [counted(more, "body", "bodies") if not links else f"{more} more"] if more else []
    made_of = f"{plan.alloy.label} in {plan.investment.label}, head by {plan.head}, pattern of {plan.resin.label}"
    return f"{' and '.join(many)}; {made_of}" if many else made_of


def _verdict(data: SheetData) -> str:
    count = {s: sum(f.severity == s for f in data.findings) for s in SEVERITY_WORDS}
    if count["stop"]:
        text = f"{counted(count['stop'], 'finding stops', 'findings stop')} this job: do not print or pour it as it is."
    else:
        text = "Nothing found that stops this job."
    if data.verdict is not None and data.verdict.links:
        text += f" {headline(data.verdict.links)}"
    if count["warn"]:
        text += f" {counted(count['warn'], 'warning', 'warnings')}: read the findings."
    if data.overrides:
        text += f" Exported even so, in spite of: {', '.join(data.overrides)}."
    return f'<p class="verdict{" stop" if count["stop"] else ""}">{escape(text)}</p>'


def _glance(plan: CastPlan) -> tuple[tuple[str, str, str], ...]:
    t, flask = plan.temperatures, plan.flask.flask
    water = 100.0 * plan.mix.water_g / plan.mix.powder_g
    return (
        ("Melt", grams(plan.metal_g), f"at least {grams(plan.fresh_metal_g)} new"),
        ("Metal", f"{t.pour_c:.0f} °C", f"{t.pour_range_c[0]:.0f} to {t.pour_range_c[1]:.0f}"),
        ("Flask", f"{t.flask_c:.0f} °C", f"{t.flask_range_c[0]:.0f} to {t.flask_range_c[1]:.0f}"),
        ("Flask inside", f"{flask.diameter_mm:g} x {flask.height_mm:g}", f"mm, {_wall(plan)}"),
        ("Powder", bulk(plan.mix.powder_g), "of investment"),
        ("Water", bulk(plan.mix.water_g), f"{water:.0f} to 100 of powder"),
        ("Burnout", f"{plan.schedule.total_h:.0f} h", "cold kiln to pour"),
        ("Print weighs", grams(plan.print_g), "clean and dry"),
    )


def _hub_aside_mm(data: SheetData) -> float:
    """Say how far from the middle of the job its hub lies, seen from above; 0 where it has none, or several."""
    hubs = [s.start for s in data.struts if s.role == "trunk"]
    if len(hubs) != 1 or not data.bodies:
        return 0.0
    ends = np.array([end for s in data.struts for end in (s.start, s.end)])
    half = np.array([0.5 * d for s in data.struts for d in (s.d_start_mm, s.d_end_mm)])[:, None]
    reach = np.concatenate([ends - half, ends + half, *(body.points() for body in data.bodies)])
    low, high = reach.min(axis=0), reach.max(axis=0)
    return float(np.hypot(*(np.asarray(hubs[0]) - 0.5 * (low + high))[:2])) * data.plan.applied_scale


def _wall(plan: CastPlan) -> str:
    return "perforated" if plan.flask.flask.perforated else "solid"


def _weights(plan: CastPlan) -> tuple[Row, ...]:
    rows = [
        ("Chain", grams(plan.chain_g)),
        ("Feed metal", grams(plan.lattice_g)),
        ("Trunk", grams(plan.trunk_g)),
        ("Button", grams(plan.button_g)),
        ("To melt", grams(plan.metal_g)),
        ("New metal in it, at least", grams(plan.fresh_metal_g)),
        ("Returned metal, at most", f"{plan.alloy.scrap_percent.value:.0f} %"),
        ("Chain of what is poured", f"{plan.yield_percent:.0f} %"),
        ("Crucible, at least", f"{plan.crucible_cm3:.0f} cm³"),
        ("Print, clean and dry", grams(plan.print_g)),
        ("Metal per gram of print", f"{plan.metal_per_print:.2f} g"),
    ]
    if plan.fineness is not None:
        rows.append(("Fineness", f"{plan.fineness[1]:.0f} parts in 1000 of {plan.fineness[0]}"))
    return tuple(rows)


def _flask(data: SheetData) -> tuple[Row, ...]:
    plan, flask = data.plan, data.plan.flask.flask
    trunk = "Trunk, printed" if data.trunk_printed else "Trunk, set by hand"
    rows = [
        ("Flask inside", f"{flask.diameter_mm:g} x {flask.height_mm:g} mm, {_wall(plan)}"),
        ("The job needs", f"{plan.flask.needs_diameter_mm:.0f} x {plan.flask.needs_height_mm:.0f} mm"),
        ("Powder", bulk(plan.mix.powder_g)),
        ("Water", bulk(plan.mix.water_g)),
        ("Slurry", f"{plan.mix.slurry_cm3:.0f} cm³, {plan.mix.spare_cm3:.0f} of it spare"),
        (trunk, f"{plan.trunk_d_mm:.0f} mm thick, {plan.margins.trunk_mm:.0f} mm long"),
        ("Stand before burnout", f"{plan.schedule.rest_h:g} h at least"),
    ]
    if plan.flask.lean.deg:
        rows.insert(2, ("The job leans", f"{plan.flask.lean.deg}° along {plan.flask.lean.axis}"))
    if plan.spin_arm is not None:
        rows.append(("On the spin arm", f"{plan.arm_load_g / 1000.0:.1f} kg: flask, mould and metal"))
    return tuple(rows)


def _pour(plan: CastPlan) -> tuple[Row, ...]:
    t = plan.temperatures
    return (
        ("Metal", f"{t.pour_c:.0f} °C ({t.pour_range_c[0]:.0f} to {t.pour_range_c[1]:.0f} °C)"),
        ("Flask", f"{t.flask_c:.0f} °C ({t.flask_range_c[0]:.0f} to {t.flask_range_c[1]:.0f} °C)"),
        ("Freezing range", f"{plan.alloy.liquidus_c.value:.0f} to {plan.alloy.solidus_c.value:.0f} °C"),
        ("Pressure on the metal", f"{plan.head_kpa[0]:.0f} to {plan.head_kpa[1]:.0f} kPa, head by {plan.head}"),
        ("Stand before the quench", f"{plan.stand_min[0]:.0f} to {plan.stand_min[1]:.0f} min"),
    )


def _cost(plan: CastPlan) -> str:
    cost = plan.cost
    if cost is None:
        return ""
    named = (
        ("Metal in the chain", cost.chain_metal),
        ("Investment", cost.investment),
        ("Spent", cost.total),
        ("Metal that comes back", cost.kept_metal),
    )
    rows = [(name, f"{value:.2f} {cost.currency}".rstrip()) for name, value in named if value is not None]
    return section("Cost", table(rows) + note("At the prices the job gives. Metal that comes back is not spent."))


def _burnout(plan: CastPlan) -> str:
    s = plan.schedule
    rows, clock = [], 0.0
    for step in s.steps:
        clock += step.ramp_h + step.hold_h
        rows.append(
            (
                f"{step.to_c:.0f} °C",
                f"{step.ramp_c_per_h:.0f} °C/h",
                hours(step.ramp_h),
                hours(step.hold_h) if step.hold_h else "none",
                hours(clock),
                step.words,
            )
        )
    head = ("To", "No faster than", "Getting there", "Hold", "Clock", "What for")
    remark = (
        f"About {s.total_h:.0f} h from a cold kiln to the pour. Status: {s.status}; {typeset(s.source)}. Your "
        "maker's sheet rules."
    )
    return grid(head, rows, words=(5,), kind="large") + note(remark)


def _record(data: SheetData) -> str:
    plan, t = data.plan, data.plan.temperatures
    rows = [
        ("Print, clean and dry", grams(plan.print_g), "", ""),
        ("Metal melted", grams(plan.metal_g), "", ""),
        ("Flask at the pour", f"{t.flask_c:.0f} °C", "", ""),
        ("Metal at the pour", f"{t.pour_c:.0f} °C", "", ""),
        ("Links filled", f"{len(data.bodies)}", "", ""),
        ("Chain, cut free", grams(plan.chain_g), "", ""),
        ("Back to the pot", grams(plan.metal_g - plan.chain_g), "", ""),
        ("Print over casting, one run of links", f"{plan.applied_scale:.4f}", "", ""),
        ("Date, batch of metal", "", "", ""),
    ]
    return grid(("What", "Expected", "Test length", "Piece"), rows, kind="record")


def _rows(title: str, rows: tuple[Row, ...]) -> str:
    return section(title, table(rows)) if rows else ""


def _scale(plan: CastPlan) -> str:
    used = f"Scale used for the print files: {plan.applied_scale:.4f}."
    if abs(plan.applied_scale - plan.scale.factor) > 5e-5:
        used += " It was given; what follows is the rule's own."
    question = (
        "Does your printer's own software already compensate for the resin's shrinkage? This scale is for metal and "
        "mould only. Print a bar of 50.00 mm and measure it, so that nothing is compensated twice."
    )
    return f"<p>{escape(used)} {escape(typeset(plan.scale.words))}</p><p>{escape(question)}</p>"


def _freezing(plan: CastPlan) -> str:
    rows = [
        (
            q.section.name,
            f"{q.section.diameter_mm:.1f} mm",
            f"{q.modulus_mm:.2f} mm",
            f"{q.freeze_s:.1f} s",
            f"{q.low_s:.1f} to {q.high_s:.1f} s",
        )
        for q in plan.quick_freeze
    ]
    remark = (
        "Each section alone in thick investment; the mould's figures are from memory, so the seconds are rough and "
        "the order is the safer part. Links close together heat their webs and freeze later than this."
    )
    return grid(("Section", "Thick", "Modulus", "Freezes in", "Between"), rows) + note(remark)


def _alloys(plan: CastPlan) -> str:
    rows = [(w.label, grams(w.chain_g), grams(w.metal_g), w.status) for w in plan.by_alloy]
    remark = "The same volumes in each alloy; flask, temperatures and scale change with it."
    return grid(("Alloy", "Chain", "To melt", "Status of its density"), rows) + note(remark)


def _cautions(plan: CastPlan) -> str:
    lines = "".join(f"<div><dt>{escape(head)}</dt><dd>{escape(text)}</dd></div>" for head, text in cautions(plan))
    return f'<p><strong>{escape(DEFER)}</strong></p><dl class="cautions">{lines}</dl>'


def _sources(plan: CastPlan) -> str:
    parts, head = [], ("Figure", "Value", "Status", "Source")
    arm = () if plan.spin_arm is None else (plan.spin_arm,)
    for thing in (plan.alloy, plan.investment, plan.resin, *arm):
        rows = []
        for key in type(thing).__dataclass_fields__:
            figure = getattr(thing, key)
            if isinstance(figure, Figure):
                spread = "" if figure.low == figure.high else f" ({figure.low:g} to {figure.high:g})"
                rows.append((_label(key), f"{figure.value:g}{spread}", figure.status, typeset(figure.source)))
            elif isinstance(figure, BySection):
                rows.append((_label(key), "by section", figure.status, typeset(figure.source)))
        parts.append(f"<h3>{escape(thing.label)}</h3>" + grid(head, rows, words=(0, 3), kind="small sources"))
    remark = (
        "“Published” means seen in the text named. Anything else is a starting point: measure, and keep your own "
        "figures."
    )
    return "".join(parts) + note(remark)


def _label(key: str) -> str:
    for ending, unit in UNITS:
        if key.endswith(ending):
            return f"{key.removesuffix(ending).replace('_', ' ')}, {unit}"
    return key.replace("_", " ")
