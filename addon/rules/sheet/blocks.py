"""Pieces of HTML the sheet is put together from. All text is escaped here."""

import re
from collections.abc import Iterable, Sequence
from html import escape

from .data import Row

KEPT_ROWS = 16  # a table up to here is not broken over two pages
NUMBERED = re.compile(r"(.*\D)(\d+)")
POWERS = re.compile(r"(?<![A-Za-z])([cm]?m)([23])\b")


def section(title: str, inside: str, kind: str = "", *, ident: str = "") -> str:
    """Give a section with its heading; ``inside`` is HTML, ``kind`` a class for its looks, ``ident`` its anchor."""
    looks = (f' id="{ident}"' if ident else "") + (f' class="{kind}"' if kind else "")
    return f"<section{looks}><h2>{escape(title)}</h2>{inside}</section>"


def table(rows: Iterable[Row]) -> str:
    """Give a table of facts: a heading and its words in each row."""
    lines = "".join(f'<tr><th scope="row">{escape(a)}</th><td>{escape(b)}</td></tr>' for a, b in rows)
    return f'<table class="facts"><tbody>{lines}</tbody></table>'


def grid(head: Sequence[str], rows: Sequence[Sequence[str]], *, words: Sequence[int] = (0,), kind: str = "") -> str:
    """Lay out a table with a heading row; columns of ``words`` may break, the others stay on one line.

    Each cell carries its heading too, for narrow screens, where the cells of a row stand below each other.
    """
    top = "".join(f'<th scope="col">{escape(cell)}</th>' for cell in head)
    lines = []
    for row in rows:
        cells = []
        for k, (label, cell) in enumerate(zip(head, row, strict=True)):
            looks = "" if k in words else ' class="n"'
            cells.append(f'<td{looks} data-label="{escape(label)}">{escape(cell)}</td>')
        lines.append(f"<tr>{''.join(cells)}</tr>")
    looks = " ".join(word for word in ("grid", kind, "keep" if len(rows) <= KEPT_ROWS else "") if word)
    return f'<table class="{looks}"><thead><tr>{top}</tr></thead><tbody>{"".join(lines)}</tbody></table>'


def tiles(figures: Iterable[tuple[str, str, str]]) -> str:
    """Set figures large, each with its name above it and a remark below."""
    made = "".join(
        f"<div><dt>{escape(name)}</dt><dd><b>{escape(figure)}</b> "
        f'<span class="small">{escape(remark)}</span></dd></div>'
        for name, figure, remark in figures
    )
    return f'<dl class="tiles">{made}</dl>'


def steps(lines: Iterable[str]) -> str:
    """Give a list of steps to tick off."""
    return '<ol class="steps">' + "".join(f"<li>{escape(step)}</li>" for step in lines) + "</ol>"


def note(text: str) -> str:
    """Give a line of small type."""
    return f'<p class="note">{escape(text)}</p>'


def grams(mass_g: float) -> str:
    """Say a mass."""
    return f"{mass_g:.1f} g" if mass_g < 1000.0 else f"{mass_g:.0f} g"


def hours(time_h: float) -> str:
    """Say a time in hours and minutes."""
    minutes = round(time_h * 60.0)
    return f"{minutes // 60} h {minutes % 60:02d}"


def bulk(mass_g: float) -> str:
    """Say a mass of powder or water, which nobody weighs to a tenth of a gram."""
    return grams(mass_g) if mass_g < 100.0 else f"{mass_g:.0f} g"


def typeset(text: str) -> str:
    """Write degrees, squares and cubes as the sheet does."""
    return POWERS.sub(lambda unit: unit[1] + ("²" if unit[2] == "2" else "³"), text.replace("degC", "°C"))


def counted(count: int, one: str, many: str) -> str:
    """Say how many."""
    return f"{count} {one if count == 1 else many}"


def listed(names: Sequence[str], most: int) -> str:
    """Join names in the order of their numbers, runs of them as a span; at most ``most`` parts are written out."""
    parted = [NUMBERED.fullmatch(name) for name in names]
    heads = {match.group(1) for match in parted if match is not None}
    if len(heads) != 1 or not all(parted):
        parts, counts = list(names), [1] * len(names)
        head = ""
    else:
        head = heads.pop()
        numbers = sorted({int(match.group(2)) for match in parted if match is not None})
        starts = [n for n in numbers if n - 1 not in numbers]
        ends = [n for n in numbers if n + 1 not in numbers]
        spans = list(zip(starts, ends, strict=True))
        parts = [f"{a}" if a == b else f"{a}, {b}" if b == a + 1 else f"{a} to {b}" for a, b in spans]
        counts = [b - a + 1 for a, b in spans]
    rest = sum(counts[most:])
    return head + ", ".join(parts[:most]) + (f" and {counted(rest, 'other', 'others')}" if rest else "")
