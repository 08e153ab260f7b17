"""Files of gauge readings: TOML written by hand, one table to each station.

scale = 1.0              # left out: 1, printed at the size of the model

[[reading]]
gap_mm = 0.25            # the figure engraved before the station
upright_mm = 0.17        # what was measured, or "stuck"
level_mm = "stuck"       # either of the two may be left out
"""

from dataclasses import dataclass
from pathlib import Path

from ..base.errors import BadInput
from ..base.tables import Table, read_toml
from ..inspect.calibration import MOST_MM, Reading

STUCK = "stuck"


@dataclass(frozen=True, slots=True)
class Readings:
    """What was read off one printed gauge, and the scale it was printed at."""

    readings: tuple[Reading, ...]
    scale: float


def read_readings(path: Path) -> Readings:
    """Read a file of readings. Raises BadInput that names the file, the reading, the key and the range that works."""
    return parse_readings(read_toml(path), path.name)


def parse_readings(values: dict[str, object], where: str) -> Readings:
    """Check the tables of a file of readings; ``where`` names it in messages."""
    top = Table(values, f"{where}:", known=("scale", "reading"))
    scale = top.number("scale", 1.0, least=0.5, most=2.0)
    tables = top.raw("reading")
    if not isinstance(tables, list) or not tables:
        raise BadInput(f"{where}: holds no readings; begin each with a line [[reading]] and its gap_mm below")
    found: list[Reading] = []
    for number, values_of_one in enumerate(tables, 1):
        table = Table(values_of_one, f"{where}: reading {number}:", known=("gap_mm", "upright_mm", "level_mm"))
        gap = table.number("gap_mm", above=0.0, most=MOST_MM, unit="mm")
        if not (table.has("upright_mm") or table.has("level_mm")):
            raise BadInput(
                f'{table.name("upright_mm")}: missing, and level_mm as well; give one of them in mm, or "{STUCK}"'
            )
        for key, level in (("upright_mm", False), ("level_mm", True)):
            if table.has(key):
                found.append(Reading(gap, _measured(table, key), level))
    return Readings(tuple(found), scale)


def _measured(table: Table, key: str) -> float | None:
    value = table.raw(key)
    if value == STUCK:
        return None
    if isinstance(value, str):
        raise BadInput(f'{table.name(key)}: {value!r} is no reading; give mm as a number, or "{STUCK}"')
    return table.number(key, above=0.0, most=MOST_MM, unit=f'mm, or "{STUCK}"')
