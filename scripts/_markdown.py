"""Turn the few forms of Markdown that this project's own texts use into HTML. Anything else stays as it is written."""

import html
import re

_LINK = re.compile(r"(!?)\[([^\]]*)\]\(([^)\s]+)\)")
_ITEM = re.compile(r"^(?:- |(\d+)\. )")


def to_html(text, link=lambda target: target):
    """Give the HTML of a text; ``link`` gives the address that a link or picture is to have, or None to drop it."""
    blocks, lines, at = [], text.split("\n"), 0
    while at < len(lines):
        line = lines[at]
        end = at + 1
        if line.startswith("```"):
            while not lines[end].startswith("```"):
                end += 1
            blocks.append(f"<pre>{html.escape(chr(10).join(lines[at + 1 : end]))}</pre>")
            end += 1
        elif line.startswith("#"):
            level = len(line) - len(line.lstrip("#"))
            blocks.append(f"<h{level}>{inline(line.lstrip('# '), link)}</h{level}>")
        elif line.startswith("|"):
            while end < len(lines) and lines[end].startswith("|"):
                end += 1
            blocks.append(_table(lines[at:end], link))
        elif _ITEM.match(line):
            while end < len(lines) and _goes_on(lines, end):
                end += 1
            blocks.append(_list(lines[at:end], link))
        elif line.strip() and not line.startswith("<!--"):
            while (
                end < len(lines) and lines[end].strip() and not lines[end].startswith(("#", "|", "```", "- ", "<!--"))
            ):
                end += 1
            blocks.append(f"<p>{inline(' '.join(lines[at:end]), link)}</p>")
        at = end
    return "\n".join(blocks)


def inline(text, link=lambda target: target):
    """Give the HTML of a run of words: code, links, pictures, bold and slanted words."""
    parts = re.split(r"(`[^`]+`)", text)
    return "".join(
        f"<code>{html.escape(part[1:-1])}</code>" if part.startswith("`") and len(part) > 2 else _words(part, link)
        for part in parts
    )


def _words(text, link):
    def linked(found):
        target = link(found[3])
        if target is None:
            return "" if found[1] else found[2]
        if found[1]:
            return f'<img src="{target}" alt="{found[2]}">'
        return f'<a href="{target}">{found[2]}</a>'

    text = _LINK.sub(linked, html.escape(text))
    text = re.sub(r"\*\*([^*]+)\*\*", r"<b>\1</b>", text)
    return re.sub(r"\*([^*]+)\*", r"<i>\1</i>", text)


def _table(lines, link):
    rows = [[cell.strip() for cell in line.strip().strip("|").split(" | ")] for line in lines if "---" not in line]
    width = len(rows[0])
    out = ["<table>", _row(rows[0], "th", link)]
    out += [_row(row + [""] * (width - len(row)), "td", link) for row in rows[1:]]
    return "\n".join([*out, "</table>"])


def _row(cells, kind, link):
    # A row whose first cell is a code can be led to by it.
    code = re.fullmatch(r"`([a-z-]+)`", cells[0])
    named = f' id="{code[1]}"' if code else ""
    return f"<tr{named}>" + "".join(f"<{kind}>{inline(cell, link)}</{kind}>" for cell in cells) + "</tr>"


def _goes_on(lines, at):
    """Tell whether a list goes on in a line: with an item, or indented, there or after an empty line."""
    if not lines[at].strip():
        return at + 1 < len(lines) and lines[at + 1].startswith("  ")
    return bool(_ITEM.match(lines[at])) or lines[at].startswith("  ")


def _list(lines, link):
    kind = "ol" if lines[0][0].isdigit() else "ul"
    items = []
    for line in lines:
        if _ITEM.match(line):
            items.append(_ITEM.sub("", line))
        else:
            items[-1] += " " + line.strip()
    return "\n".join([f"<{kind}>", *(f"<li>{inline(item, link)}</li>" for item in items), f"</{kind}>"])
