"""Figures that know where they come from: a value, its spread, its status and its source."""

from bisect import bisect_left
from dataclasses import dataclass

from ..base.errors import BadInput
from ..base.tables import Table

STATUSES = ("published", "derived", "from memory", "our judgement", "your own")
_OWN = ("your own", "your materials folder")


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure of a table: ``value`` within ``low`` to ``high``, all in the unit its key names."""

    value: float
    low: float
    high: float
    status: str
    source: str

    def to_dict(self) -> dict[str, float | str]:
        """Give it as plain data."""
        return {
            "value": self.value,
            "low": self.low,
            "high": self.high,
            "status": self.status,
            "source": self.source,
        }


@dataclass(frozen=True, slots=True)
class BySection:
    """A range that depends on section thickness: column i holds up to ``up_to_mm[i]``, the last one above."""

    up_to_mm: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]
    status: str
    source: str

    def at(self, section_mm: float) -> tuple[float, float]:
        """Give the range (low, high) for a section ``section_mm`` thick."""
        column = bisect_left(self.up_to_mm, section_mm)
        return self.low[column], self.high[column]


def read_figure(
    table: Table, key: str, *, above: float | None = None, least: float | None = None, most: float
) -> Figure:
    """Read ``key = {value, low, high, status, source}``, or a plain number, which counts as the user's own.

    Raises BadInput when a key is missing, a spread does not hold the value, or a status is none of STATUSES.
    """
    if not isinstance(table.raw(key), dict):
        value = table.number(key, above=above, least=least, most=most)
        return Figure(value, value, value, *_OWN)
    part = table.table(key, known=("value", "low", "high", "status", "source"))
    value = part.number("value", above=above, least=least, most=most)
    low = part.number("low", value, above=above, least=least, most=value)
    high = part.number("high", value, least=value, most=most)
    return Figure(value, low, high, part.choice("status", STATUSES), _source(part))


def read_by_section(table: Table, key: str, *, least: float, most: float) -> BySection:
    """Read ``key = {up_to_mm, low, high, status, source}``, each of the first three a list of rising edges or limits.

    A list of two plain numbers, low and high, counts as the user's own range for every section.
    """
    written = table.raw(key)
    if isinstance(written, list):
        low, high = _numbers(written, table.name(key), least, most, count=2)
        if low > high:
            raise BadInput(f"{table.name(key)}: {low:g} is above {high:g}; write the low end first")
        return BySection((), (low,), (high,), *_OWN)
    part = table.table(key, known=("up_to_mm", "low", "high", "status", "source"))
    edges = _numbers(part.raw("up_to_mm"), part.name("up_to_mm"), 0.0, 1000.0)
    lows = _numbers(part.raw("low"), part.name("low"), least, most, count=len(edges) + 1)
    highs = _numbers(part.raw("high"), part.name("high"), least, most, count=len(edges) + 1)
    if list(edges) != sorted(set(edges)):
        raise BadInput(f"{part.name('up_to_mm')}: the edges must rise; sort them")
    for low, high in zip(lows, highs, strict=True):
        if low > high:
            raise BadInput(f"{part.name('low')}: {low:g} is above {high:g} of the same column; swap them")
    return BySection(edges, lows, highs, part.choice("status", STATUSES), _source(part))


def read_numbers(table: Table, key: str, *, least: float, most: float, count: int | None = None) -> tuple[float, ...]:
    """Read a list of numbers between ``least`` and ``most``, of a given length if ``count`` is named."""
    return _numbers(table.raw(key), table.name(key), least, most, count=count)


def _source(part: Table) -> str:
    source = part.text("source")
    if not source.strip():
        raise BadInput(f"{part.name('source')}: is empty; say where the figure comes from")
    return source


def _numbers(values: object, where: str, least: float, most: float, *, count: int | None = None) -> tuple[float, ...]:
    wanted = "" if count is None else f"{count} "
    if not isinstance(values, list) or (count is not None and len(values) != count):
        raise BadInput(f"{where}: must be a list of {wanted}numbers from {least:g} to {most:g}")
    for value in values:
        if isinstance(value, bool) or not isinstance(value, int | float) or not least <= value <= most:
            raise BadInput(f"{where}: {value!r} does not work; give numbers from {least:g} to {most:g}")
    return tuple(float(v) for v in values)
