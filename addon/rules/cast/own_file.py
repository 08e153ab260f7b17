"""A file of the user's own, read table by table: a fault in one costs no other, and every fault names its line."""

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ..base.tables import MAX_BYTES

# The first name of a table's header; it need not be closed, so that a broken one still ends the table above it.
HEADER = re.compile(r"""\s*\[{1,2}\s*(?:"([^"]+)"|'([^']+)'|([A-Za-z0-9_-]*[A-Za-z_][A-Za-z0-9_-]*))[^,]*$""")
AT_LINE = re.compile(r"\s*\(at (?:line (\d+), column \d+|end of document)\)")
BEFORE = "the lines before the first table"


@dataclass(frozen=True, slots=True)
class OwnFile:
    """The tables of a file by name, its lines, which table each belongs to, and what could not be read."""

    path: Path
    tables: Mapping[str, Any]
    lines: tuple[str, ...]
    owners: tuple[str, ...]
    faults: tuple[str, ...]

    def line_of(self, name: str, key: str = "") -> int:
        """Give the line, from 1, where a table writes ``key`` such as ``density_g_cm3`` or ``burnout 2.hold_c``.

        The nearest known one where it cannot be told: the header of the table, or line 1.
        """
        mine = [k for k, owner in enumerate(self.owners) if owner == name]
        mine = mine or [k for k, line in enumerate(self.lines) if re.match(rf"\s*[\"']?{re.escape(name)}\b", line)]
        at = mine[0] if mine else 0
        for part in filter(None, key.split(".")):
            word, _, number = part.partition(" ")
            written = re.compile(rf"(?<![\w-]){re.escape(word)}[\"']?\s*[\].=]")
            found = [k for k in mine if k >= at and written.search(self.lines[k])]
            if found:
                at = found[min(int(number or 1), len(found)) - 1]
        return at + 1


def read_own(path: Path) -> OwnFile:
    """Read all that can be read of a TOML file. What cannot is named in ``faults``: file, line, and how to mend it."""
    try:
        if path.stat().st_size > MAX_BYTES:
            return _nothing(path, f"larger than {MAX_BYTES // 1_000_000} MB; no table of materials is")
        data = path.read_bytes()
    except IsADirectoryError:
        return _nothing(path, "is a folder; put a text file of that name in its place")
    except OSError as error:
        return _nothing(path, f"cannot be read ({error.strerror or error}); check its permissions")
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return OwnFile(path, {}, (), (), (f"{path} line 1: is UTF-16 text; save it as UTF-8 (the file was left out)",))
    lines, torn = [], []
    for number, line in enumerate(data.removeprefix(b"\xef\xbb\xbf").split(b"\n")):
        try:
            lines.append(line.decode("utf-8").removesuffix("\r"))
        except UnicodeDecodeError:
            lines.append(line.decode("utf-8", errors="replace"))
            torn.append(number)
    owners = _owners(lines)
    if not torn:
        try:
            return OwnFile(path, tomllib.loads("\n".join(lines)), tuple(lines), owners, ())
        except (ValueError, RecursionError):
            pass
    tables: dict[str, Any] = {}
    faults: list[str] = []
    for owner in dict.fromkeys(owners):
        mine = [number for number, other in enumerate(owners) if other == owner]
        spoilt = [number for number in torn if owners[number] == owner]
        if spoilt:
            faults.append(_fault(path, spoilt[0] + 1, owner, "not UTF-8 text; save the file as UTF-8"))
            continue
        try:
            # Empty lines in place of all others, so that a fault keeps its own line number.
            tables |= tomllib.loads("\n".join(line if owners[k] == owner else "" for k, line in enumerate(lines)))
        except RecursionError:
            faults.append(_fault(path, mine[0] + 1, owner, "nested too deeply; write it as in our own file"))
        except ValueError as error:
            place = AT_LINE.search(str(error))
            at = int(place[1]) if place is not None and place[1] else mine[0] + 1
            reason = AT_LINE.sub("", str(error))
            mend = "mend that line: words stand in quotes, numbers take a point, each name comes once"
            faults.append(_fault(path, at, owner, f"not valid TOML, {reason[:1].lower()}{reason[1:]}; {mend}"))
    return OwnFile(path, tables, tuple(lines), owners, tuple(faults))


def _owners(lines: list[str]) -> tuple[str, ...]:
    owners, now = [], ""
    for line in lines:
        match = HEADER.match(line)
        if match is not None:
            now = match[1] or match[2] or match[3]
        owners.append(now)
    return tuple(owners)


def _nothing(path: Path, why: str) -> OwnFile:
    return OwnFile(path, {}, (), (), (f"{path}: {why} (the file was left out)",))


def _fault(path: Path, line: int, owner: str, why: str) -> str:
    what = f"the entry {owner} was left out" if owner else f"{BEFORE} were left out"
    return f"{path} line {line}: {why} ({what})"
