"""The command line's text for people: short summaries and aligned tables."""

import unicodedata
from collections.abc import Sequence

from ..rules.cast.layouts import LayoutFigures
from ..rules.cast.plan import CastPlan
from ..rules.chain.chain import Chain
from ..rules.chain.play import FreePlay
from ..rules.chain.resize import LeastWidth
from ..rules.feed.cuts import GATE, POST, UPPER_GATE, CuttingList
from ..rules.feed.lattice import Lattice
from ..rules.inspect.finding import SEVERITIES, Finding, grouped
from ..rules.sheet.compared import layout_row
from ..rules.sheet.movement import figure, span, tightest
from ..rules.sheet.outcome import LEVER_HEAD, NO_LEVER, headline, lever_rows

MAX_ROWS = 20
# A tapered chain has a type for every joint.
MOST_TYPES = 4


def table(
    head: Sequence[str], rows: Sequence[Sequence[str]], *, right: Sequence[int] = (), most: int = MAX_ROWS
) -> list[str]:
    """Lay out rows in aligned columns, those numbered in ``right`` flush right; rows past ``most`` are counted only."""
    shown = [list(head), *[list(row) for row in rows[:most]]]
    widths = [max(_room(row[k]) for row in shown) for k in range(len(head))]
    lines = []
    for row in shown:
        spaces = [" " * (width - _room(cell)) for cell, width in zip(row, widths, strict=True)]
        cells = [
            space + cell if k in right else cell + space
            for k, (cell, space) in enumerate(zip(row, spaces, strict=True))
        ]
        lines.append("  ".join(cells).rstrip())
    if len(rows) > most:
        lines.append(f"... and {len(rows) - most} more, all in the JSON report")
    return lines


def _room(text: str) -> int:
    """Count the columns a text takes where every letter is as wide as the next: wide signs two, marks upon one none."""
    return sum(
        0 if unicodedata.combining(sign) else 2 if unicodedata.east_asian_width(sign) in "WF" else 1 for sign in text
    )


def chain_lines(chain: Chain) -> list[str]:
    """Say how the chain closes, joint by joint where they differ, and the sizes it could have beside this one."""
    pitches = [
        f"pitch {fit.pitch_mm:.3f} mm (works from {fit.interval_mm[0]:.2f} to {fit.interval_mm[1]:.2f} mm)"
        for fit in chain.fits
    ]
    head = f"{chain.count} {chain.spec.family} links, {'closed' if chain.closed else 'open'}"
    lines = [f"{head}, {pitches[0]}" if len(pitches) == 1 else head]
    if len(pitches) > 1:
        named = [f"{fit.name}: {pitch}" for fit, pitch in zip(chain.fits, pitches, strict=True)]
        lines += named[:MOST_TYPES]
        if len(named) > MOST_TYPES:
            lines.append(f"... and {len(named) - MOST_TYPES} more types of joint, all in the JSON report")
    lines.append(f"smallest gap {chain.smallest_gap_mm:.3f} mm, wanted {chain.spec.gap_mm:g} mm")
    for name, worn, printed in (
        ("inner length", chain.worn_inner_length_mm, chain.printed_inner_length_mm),
        ("length", chain.worn_length_mm, chain.printed_length_mm),
    ):
        if worn is not None and printed is not None:
            clasp = f" ({chain.clasp_mm:.1f} mm of it the clasp)" if chain.clasp_mm else ""
            lines.append(f"{name} worn {worn:.1f} mm{clasp}, as printed {printed:.1f} mm")
    return lines + size_lines(chain)


def size_lines(chain: Chain) -> list[str]:
    """List the sizes beside the one made, where there are any."""
    if len(chain.sizes) < 2:
        return []
    rows = [
        [
            f"{size.links}{' *' if size.links == chain.count else ''}",
            f"{size.worn_mm:.1f}",
            f"{size.printed_mm:.1f}",
            figure(size.pushed_mm, ".1f"),
            f"{size.gap_mm:.2f}",
        ]
        for size in chain.sizes
    ]
    return table(("links", "worn mm", "printed mm", "pushed mm", "gap mm"), rows)


def least_lines(least: LeastWidth | None) -> list[str]:
    """Say at which width the same design closes up, its gap held."""
    if least is None:
        return []
    return [
        f"smallest castable width for this gap {least.width_mm:.2f} mm "
        f"(wire {least.wire_mm:.2f} mm, link {least.link_length_mm:.2f} mm long)"
    ]


def play_lines(play: FreePlay) -> list[str]:
    """Say how far each kind of joint moves until metal meets metal, and the tightest curves of the chain."""
    rows = []
    for joint in play.joints:
        rows.append(
            [
                joint.name,
                span(joint.slide_mm, ".2f"),
                f"{span(joint.bend_y_deg, '.1f')} ({span(joint.best_bend_y_deg, '.1f')})",
                f"{span(joint.bend_z_deg, '.1f')} ({span(joint.best_bend_z_deg, '.1f')})",
                span(joint.twist_deg, ".1f"),
            ]
        )
    head = ("free play", "slide mm", "over the face deg (best)", "edgewise deg (best)", "twist deg")
    return [
        *table(head, rows),
        f"tightest curve: {tightest(play)}",
    ]


def lattice_lines(lattice: Lattice, volume_mm3: float) -> list[str]:
    """Count the gates and the metal of the lattice."""
    gates = sum(1 for s in lattice.struts if s.feeds is not None)
    return [f"lattice: {gates} gates, {volume_mm3:.0f} mm3 of feed metal"]


def cutting_lines(cutting: CuttingList | None) -> list[str]:
    """Count the cuts after the cast, what is left to grind, and what goes back to the pot."""
    if cutting is None or not cutting.cuts:
        return []
    counts = [
        (len(cutting.of(kind)), words) for kind, words in ((POST, "of posts"), (UPPER_GATE, "upper"), (GATE, "lower"))
    ]
    cuts = ", ".join(f"{count} {words}" for count, words in counts if count)
    return [
        f"to cut, {cutting.tool_words}: {cuts}; {cutting.stub_area_mm2:.0f} mm2 of stubs to grind, "
        f"{cutting.returns_mm3:.0f} mm3 of feed metal back to the pot"
    ]


def plan_lines(plan: CastPlan) -> list[str]:
    """Say weights, flask, mix and temperatures in short."""
    flask, temperatures = plan.flask.flask, plan.temperatures
    kind = "perforated" if flask.perforated else "solid"
    lines = [
        f"{plan.alloy.label}: chain {plan.chain_g:.1f} g, lattice {plan.lattice_g:.1f} g, "
        f"trunk and button {plan.trunk_g + plan.button_g:.1f} g, in all {plan.metal_g:.1f} g "
        f"(yield {plan.yield_percent:.0f} %)",
        f"flask {flask.diameter_mm:g} x {flask.height_mm:g} mm, {kind}; "
        f"investment {plan.mix.powder_g:.0f} g with water {plan.mix.water_g:.0f} g",
        f"pour at {temperatures.pour_c:.0f} degC into a flask at {temperatures.flask_c:.0f} degC "
        "(your makers' data sheets rule)",
    ]
    if plan.flask.lean.deg:
        lines.append(f"the job leans by {plan.flask.lean.deg} degrees in its flask")
    if plan.spin_arm is not None:
        lines.append(f"on the spin arm: {plan.arm_load_g / 1000.0:.1f} kg")
    if plan.cost is not None:
        lines.append(f"cost: {plan.cost.total:.2f} {plan.cost.currency}".rstrip())
    return lines + _cast_lines(plan)


def _cast_lines(plan: CastPlan) -> list[str]:
    """Say whether it will cast, and where it will not for certain what would put that right."""
    told = plan.forecast
    if told is None:
        return []
    lines = [text for text in (headline(told.links), told.remark) if text]
    if told.levers:
        lines += table(LEVER_HEAD, lever_rows(told.levers))
        if not any(lever.passes for lever in told.levers):
            lines.append(NO_LEVER)
    return lines


def layout_lines(compared: Sequence[LayoutFigures]) -> list[str]:
    """Set the layouts of the same links beside each other; those that cannot be say why."""
    rows = [layout_row(one) for one in compared]
    head = ("layout", "footprint mm", "height mm", "layers", "flask mm", "investment cm3")
    refused = [f"{one.shape}: {one.refusal}" for one in compared if one.refusal is not None]
    return [*table(head, rows), *refused] if rows else []


def _place(finding: Finding) -> str:
    if finding.at is None:
        return ""
    return " At " + ", ".join(f"{coordinate:.2f}" for coordinate in finding.at) + "."


def finding_lines(findings: Sequence[Finding]) -> list[str]:
    """List the findings, worst first; of many alike the first is written out and the others are counted."""
    if not findings:
        return ["no findings"]
    counts = {s: sum(1 for f in findings if f.severity == s) for s in SEVERITIES}
    lines = ["findings: " + ", ".join(f"{n} {severity}" for severity, n in counts.items() if n)]
    for alike in grouped(findings):
        lines += [f"{f.severity:<4}  {f.code:<18}  {f.text}{_place(f)}" for f in alike.shown[:MAX_ROWS]]
        left = len(alike.others) + max(0, len(alike.shown) - MAX_ROWS)
        if left:
            lines.append(f"{'':<4}  {alike.shown[0].code:<18}  ... and {left} more like these")
    return lines
