"""The part of the sheet that says whether the job will cast: link by link, and what would put it right."""

import re
from collections.abc import Sequence
from html import escape

from ..cast.forecast import Forecast
from ..cast.levers import Lever
from ..cast.materials import Investment
from ..cast.verdict import AT_RISK, SHORT, SOUND, LinkCast
from .blocks import counted, grid, listed, note, section, typeset
from .data import Verdict

WORDS = {SHORT: "Stays short", AT_RISK: "At risk", SOUND: "Sound"}
LINK_HEAD = ("Verdict", "Links", "Filled", "Fed", "Full after", "Frozen after", "Why")
NO_LEVER = "No single change is enough: combine those nearest to it, or lay the job out anew."
LEVER_HEAD = ("Change, alone", "From", "To", "Then the job")
MOST_SPANS = 12
REMARK = (
    "Fed: how much of the link freezes while metal can still follow. Seconds count from the start of the pour. Several "
    "figures of metal and mould are from memory: the seconds are rough, the order is the safer part. A test length of "
    "3 to 5 links tells more."
)


def outcome(verdict: Verdict | None) -> str:
    """Lay out the verdict of each group of links and the changes that help; nothing where none was worked out."""
    if verdict is None or not verdict.links:
        return ""
    said = f'<p class="verdict">{escape(headline(verdict.links))}</p>'
    links = grid(LINK_HEAD, link_rows(verdict.links), words=(1, 6), kind="links")
    levers = ""
    if verdict.levers:
        levers = "<h3>What would put it right</h3>" + grid(LEVER_HEAD, _typeset(lever_rows(verdict.levers)), words=(3,))
        if not any(lever.passes for lever in verdict.levers):
            levers += note(NO_LEVER)
    remarks = "".join(note(text) for text in (verdict.remark, *verdict.notes, REMARK) if text)
    return section("Will it cast", said + links + levers + remarks)


def verdict_of(forecast: Forecast, investment: Investment) -> Verdict:
    """Take what the sheet shows out of a forecast: the links, the levers, and what was seen on the way."""
    notes = [f"All the metal that goes in is in after {forecast.full_s:.1f} s."]
    short = any(link.verdict == SHORT for link in forecast.links)
    if forecast.order_ok and not short:
        notes.append("Everything freezes for the most part while its metal can still come.")
    elif not forecast.order_ok:
        cut_off = listed(forecast.cut_off, MOST_SPANS)
        notes.append(f"The way of the metal closes before these are half solid: {cut_off}. They may come out porous.")
    if forecast.porous:
        notes.append(f"The last to freeze, where shrinkage draws from: {listed(forecast.porous, MOST_SPANS)}.")
    speed = f"Fastest metal in a gate {forecast.gate_m_s:.2f} m/s. " if forecast.gate_m_s > 0.0 else ""
    notes.append(
        f"{speed}Hottest investment between metal {forecast.web_peak_c:.0f} °C; it bears "
        f"{investment.carbon_limit_c.value:.0f} °C with carbon left in, "
        f"{investment.clean_limit_c.value:.0f} °C burnt out clean."
    )
    return Verdict(forecast.links, forecast.levers, forecast.remark, tuple(notes))


def headline(cast: Sequence[LinkCast]) -> str:
    """Say the worst first, in one sentence."""
    count = {word: sum(link.verdict == word for link in cast) for word in WORDS}
    total = len(cast)
    links = counted(total, "link", "links")
    if count[SHORT]:
        risk = f", {count[AT_RISK]} more at risk" if count[AT_RISK] else ""
        return f"{count[SHORT]} of {links} will not fill{risk}: do not pour it like this."
    if count[AT_RISK]:
        return f"{count[AT_RISK]} of {links} at risk, though all fill: see why, and what would help."
    return "The link fills and freezes sound." if total == 1 else f"All {total} links fill and freeze sound."


def link_rows(links: Sequence[LinkCast]) -> list[tuple[str, ...]]:
    """Put the links in rows, the worst first: those of one verdict for one reason share a row.

    Reasons that differ only in their figures count as one, and that of the worst link is shown.
    """
    groups: dict[tuple[str, str], list[LinkCast]] = {}
    for word in WORDS:
        for link in links:
            if link.verdict == word:
                groups.setdefault((word, re.sub(r"[\d.]+", "#", link.reason)), []).append(link)
    rows: list[tuple[str, ...]] = []
    for (word, _), alike in groups.items():
        worst = min(alike, key=lambda link: (link.filled_percent, link.fed_percent))
        rows.append(
            (
                WORDS[word],
                listed([link.body for link in alike], MOST_SPANS),
                _span([link.filled_percent for link in alike], ".0f", "%"),
                _span([link.fed_percent for link in alike], ".0f", "%"),
                _span([link.fill_s for link in alike], ".1f", "s"),
                _span([link.freeze_s for link in alike], ".1f", "s"),
                typeset(worst.reason),
            )
        )
    return rows


def lever_rows(levers: Sequence[Lever]) -> list[tuple[str, ...]]:
    """Put the changes in rows, those that do first."""
    rows: list[tuple[str, ...]] = []
    for lever in sorted(levers, key=lambda lever: not lever.passes):
        then = "passes" if lever.passes else "does not pass"
        change = lever.change[:1].upper() + lever.change[1:]
        told = f"{then}: {lever.reason}" if lever.reason else then
        rows.append((change, _size(lever.before, lever.unit), _size(lever.after, lever.unit), told))
    return rows


def _typeset(rows: Sequence[tuple[str, ...]]) -> list[tuple[str, ...]]:
    return [tuple(typeset(cell) for cell in row) for row in rows]


def _size(value: float, unit: str) -> str:
    return f"{round(value, 2):g} {unit}".rstrip()


def _span(values: Sequence[float | None], form: str, unit: str) -> str:
    known = [v for v in values if v is not None]
    if not known:
        return "never"
    low, high = format(min(known), form), format(max(known), form)
    text = f"{low} {unit}" if low == high else f"{low} to {high} {unit}"
    return text if len(known) == len(values) else f"{text}, some never"
