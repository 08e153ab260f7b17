"""The findings on the sheet: the worst first, alike ones together, each with what to do."""

from collections.abc import Iterable, Sequence
from html import escape

from ..inspect.finding import Finding, grouped
from .blocks import listed, note, section, typeset

MOST_FINDINGS = 40
MOST_ALIKE = 5  # of one code: a hundred stops of one kind must not push those of another off the page
MOST_SPANS = 8
SEVERITY_WORDS = {"stop": "Stop", "warn": "Warn", "note": "Note"}


def findings_part(findings: Sequence[Finding]) -> str:
    """Lay out all findings."""
    if not findings:
        return section("Findings", "<p>None.</p>")
    rows = []
    for alike in grouped(findings):
        rows += [_row(f.severity, typeset(f.text), f.code, f.bodies) for f in alike.shown[:MOST_ALIKE]]
        others = (*alike.shown[MOST_ALIKE:], *alike.others)
        if others:
            bodies = dict.fromkeys(name for f in others for name in f.bodies)
            rows.append(_row(others[0].severity, f"and {len(others)} more like these", others[0].code, tuple(bodies)))
    rest = len(rows) - MOST_FINDINGS
    more = note(f"{rest} more rows are in report.json.") if rest > 0 else ""
    return section("Findings", f'<ul class="findings">{"".join(rows[:MOST_FINDINGS])}</ul>{more}')


def _row(severity: str, text: str, code: str, bodies: Iterable[str]) -> str:
    names = listed(tuple(bodies), MOST_SPANS)
    small = f"{code}: {names}" if names else code
    return (
        f'<li><b class="how {severity}">{SEVERITY_WORDS[severity]}</b> <span>{escape(text)} '
        f'<span class="small">({escape(small)})</span></span></li>'
    )
