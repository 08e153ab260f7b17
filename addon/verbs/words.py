"""The command line's text for people: short summaries and aligned tables."""

from collections.abc import Sequence

from ..rules.cast.plan import CastPlan
from ..rules.chain.chain import Chain
from ..rules.feed.lattice import Lattice
from ..rules.inspect.finding import SEVERITIES, Finding, grouped
from ..rules.inspect.inspection import Inspection

MAX_ROWS = 20


def table(head: Sequence[str], rows: Sequence[Sequence[str]], *, most: int = MAX_ROWS) -> list[str]:
    """Lay out rows in aligned columns; rows past ``most`` are counted, not shown."""
    shown = [list(head), *[list(row) for row in rows[:most]]]
    widths = [max(len(row[k]) for row in shown) for k in range(len(head))]
    lines = ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in shown]
    if len(rows) > most:
        lines.append(f"... and {len(rows) - most} more, all in the JSON report")
    return lines


def chain_lines(chain: Chain) -> list[str]:
    """Say how the chain closes, in five lines or fewer."""
    low, high = chain.pitch_interval_mm
    lines = [
        f"{len(chain.bodies)} {chain.spec.family} links, {'closed' if chain.closed else 'open'}, "
        f"pitch {chain.pitch_mm:.3f} mm (works from {low:.2f} to {high:.2f} mm)",
        f"smallest gap {chain.smallest_gap_mm:.3f} mm, wanted {chain.spec.gap_mm:g} mm",
    ]
    if chain.worn_inner_length_mm is not None and chain.printed_inner_length_mm is not None:
        lines.append(
            f"inner length worn {chain.worn_inner_length_mm:.1f} mm, as printed {chain.printed_inner_length_mm:.1f} mm"
        )
    elif chain.worn_length_mm is not None and chain.printed_length_mm is not None:
        lines.append(f"length worn {chain.worn_length_mm:.1f} mm, as printed {chain.printed_length_mm:.1f} mm")
    return lines


def gap_lines(inspection: Inspection) -> list[str]:
    """List the bodies' count and the smallest gaps, narrowest first."""
    lines = [f"{len(inspection.bodies)} bodies, {len(inspection.pairs)} pairs near or linked"]
    near = sorted((p for p in inspection.pairs if p.gap_mm is not None), key=lambda p: p.gap_mm or 0.0)
    links = {True: "linked", False: "not linked", None: "undecided"}
    rows = [[p.a, p.b, f"{p.gap_mm:.4f}", links[p.linked]] for p in near]
    return lines + (table(("body", "body", "gap mm", "joint"), rows, most=10) if rows else [])


def lattice_lines(lattice: Lattice, volume_mm3: float) -> list[str]:
    """Count the gates and the metal of the lattice."""
    gates = sum(1 for s in lattice.struts if s.feeds is not None)
    return [f"lattice: {gates} gates, {volume_mm3:.0f} mm3 of feed metal"]


def plan_lines(plan: CastPlan) -> list[str]:
    """Say weights, flask, mix and temperatures in short."""
    flask, temperatures = plan.flask.flask, plan.temperatures
    kind = "perforated" if flask.perforated else "solid"
    return [
        f"{plan.alloy.label}: chain {plan.chain_g:.1f} g, lattice {plan.lattice_g:.1f} g, "
        f"trunk and button {plan.trunk_g + plan.button_g:.1f} g, in all {plan.metal_g:.1f} g "
        f"(yield {plan.yield_percent:.0f} %)",
        f"flask {flask.diameter_mm:g} x {flask.height_mm:g} mm, {kind}; "
        f"investment {plan.mix.powder_g:.0f} g with water {plan.mix.water_g:.0f} g",
        f"pour at {temperatures.pour_c:.0f} degC into a flask at {temperatures.flask_c:.0f} degC "
        "(your makers' data sheets rule)",
    ]


def finding_lines(findings: Sequence[Finding]) -> list[str]:
    """List the findings, worst first; of many alike the first is written out and the others are counted."""
    if not findings:
        return ["no findings"]
    counts = {s: sum(1 for f in findings if f.severity == s) for s in SEVERITIES}
    lines = ["findings: " + ", ".join(f"{n} {severity}" for severity, n in counts.items() if n)]
    for alike in grouped(findings):
        lines += [f"{f.severity:<4}  {f.code:<18}  {f.text}" for f in alike.shown[:MAX_ROWS]]
        left = len(alike.others) + max(0, len(alike.shown) - MAX_ROWS)
        if left:
            lines.append(f"{'':<4}  {alike.shown[0].code:<18}  ... and {left} more like these")
    return lines
