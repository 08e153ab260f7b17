"""Pieces of HTML the sheet is put together from. All text is escaped here."""

from collections.abc import Iterable, Sequence
from html import escape

from .data import Row

KEPT_ROWS = 16  # a table up to here is not broken over two pages


def section(title: str, inside: str) -> str:
    """Give a section with its heading; ``inside`` is HTML."""
    return f"<section><h2>{escape(title)}</h2>{inside}</section>"


def table(rows: Iterable[Row]) -> str:
    """Give a table of facts: a heading and its words in each row."""
    lines = "".join(f'<tr><th scope="row">{escape(a)}</th><td>{escape(b)}</td></tr>' for a, b in rows)
    return f'<table class="facts"><tbody>{lines}</tbody></table>'


def grid(
    head: Sequence[str], rows: Sequence[Sequence[str]], *, words: Sequence[int] = (0,), small: bool = False
) -> str:
    """Lay out a table with a heading row; columns of ``words`` may break, the others stay on one line."""
    breaks, stays = "", ' class="n"'
    top = "".join(f'<th scope="col">{escape(cell)}</th>' for cell in head)
    lines = "".join(
        "<tr>"
        + "".join(f"<td{breaks if k in words else stays}>{escape(cell)}</td>" for k, cell in enumerate(row))
        + "</tr>"
        for row in rows
    )
    kind = "grid" + (" small" if small else "") + (" keep" if len(rows) <= KEPT_ROWS else "")
    return f'<table class="{kind}"><thead><tr>{top}</tr></thead><tbody>{lines}</tbody></table>'


def steps(lines: Iterable[str]) -> str:
    """Give a list of steps to tick off."""
    return "<ol>" + "".join(f"<li>{escape(step)}</li>" for step in lines) + "</ol>"


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


def counted(count: int, one: str, many: str) -> str:
    """Say how many."""
    return f"{count} {one if count == 1 else many}"
