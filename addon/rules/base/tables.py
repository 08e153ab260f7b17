"""TOML tables in, checked: every unknown key, wrong type or impossible value names its key and what works."""

import difflib
import math
import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from .errors import BadInput

MAX_BYTES = 4_000_000


def read_toml(path: Path) -> dict[str, Any]:
    """Read a TOML file.

    Raises BadInput for a file that is missing, unreadable, far too large, not UTF-8 or not TOML.
    """
    try:
        if path.stat().st_size > MAX_BYTES:
            raise BadInput(
                f"{path}: larger than {MAX_BYTES // 1_000_000} MB, which no table of ours is; name another file"
            )
        return tomllib.loads(path.read_bytes().decode("utf-8-sig"))
    except FileNotFoundError:
        raise BadInput(f"{path}: no such file; check the name and the folder") from None
    except IsADirectoryError:
        raise BadInput(f"{path}: is a folder; name a .toml file in it") from None
    except OSError as error:
        raise BadInput(f"{path}: cannot be read ({error.strerror or error}); check its permissions") from None
    except UnicodeDecodeError as error:
        raise BadInput(f"{path}: not UTF-8 text (byte {error.start}); save it as UTF-8") from None
    except RecursionError:
        raise BadInput(f"{path}: not valid TOML, nested too deeply; write it flat") from None
    except ValueError as error:
        raise BadInput(f"{path}: not valid TOML, {str(error)[0].lower()}{str(error)[1:]}; mend that line") from None


class Table:
    """One TOML table being read. Take every key by its type, then call `done`.

    ``where`` names the table in messages, for example ``job.toml: chain``.
    """

    def __init__(self, values: object, where: str, *, known: Sequence[str]) -> None:
        if not isinstance(values, dict):
            raise BadInput(
                f"{where}: must be a table, is {_kind(values)}; write it as [{where.split()[-1]}] with its keys below"
            )
        self._values: dict[str, Any] = values
        self._where = where
        for key in values:
            if key not in known:
                near = difflib.get_close_matches(key, known, n=1)
                hint = f"did you mean {near[0]!r}?" if near else f"it knows {', '.join(known)}"
                raise BadInput(f"{self.name(key)}: unknown key; {hint}")

    def name(self, key: str) -> str:
        """Name a key for a message: ``job.toml: chain.wire_mm``."""
        return f"{self._where}{'.' if not self._where.endswith(':') else ' '}{key}"

    def has(self, key: str) -> bool:
        """Tell whether the key is written in the table."""
        return key in self._values

    def raw(self, key: str) -> object:
        """Give the value as TOML gave it, or None."""
        return self._values.get(key)

    def table(self, key: str, *, known: Sequence[str]) -> "Table":
        """Take a sub-table; a missing one is empty."""
        return Table(self._values.get(key, {}), self.name(key), known=known)

    def number(
        self,
        key: str,
        default: float | None = None,
        *,
        above: float | None = None,
        least: float | None = None,
        most: float | None = None,
        unit: str = "",
    ) -> float:
        """Take a number inside its range (``above`` excluded, ``least`` and ``most`` included).

        Raises BadInput when it is missing without a default, not a finite number, or out of range.
        """
        value = self._values.get(key, default)
        works = _range_words(above, least, most, unit)
        if value is None:
            raise BadInput(f"{self.name(key)}: missing; give a number {works}".rstrip())
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise BadInput(f"{self.name(key)}: must be a number, is {_kind(value)}; give a number {works}".rstrip())
        # A whole number of hundreds of digits is no float.
        number = math.inf if isinstance(value, int) and abs(value) > 10**300 else float(value)
        outside = (
            not math.isfinite(number)
            or (above is not None and number <= above)
            or (least is not None and number < least)
            or (most is not None and number > most)
        )
        if outside:
            raise BadInput(f"{self.name(key)}: {number:g} does not work; give a number {works}".rstrip())
        return number

    def optional_number(
        self,
        key: str,
        *,
        above: float | None = None,
        least: float | None = None,
        most: float | None = None,
        unit: str = "",
    ) -> float | None:
        """Take a number like `number`, or None when the key is not written."""
        if key not in self._values:
            return None
        return self.number(key, above=above, least=least, most=most, unit=unit)

    def whole(self, key: str, default: int | None = None, *, least: int, most: int) -> int:
        """Take a whole number between ``least`` and ``most``, both included."""
        value = self._values.get(key, default)
        if value is None:
            raise BadInput(f"{self.name(key)}: missing; give a whole number from {least} to {most}")
        if isinstance(value, bool) or not isinstance(value, int):
            raise BadInput(
                f"{self.name(key)}: must be a whole number, is {_kind(value)}; give one from {least} to {most}"
            )
        if not least <= value <= most:
            raise BadInput(f"{self.name(key)}: {value} does not work; give a whole number from {least} to {most}")
        return value

    def optional_whole(self, key: str, *, least: int, most: int) -> int | None:
        """Take a whole number like `whole`, or None when the key is not written."""
        if key not in self._values:
            return None
        return self.whole(key, least=least, most=most)

    def choice(self, key: str, choices: Sequence[str], default: str | None = None) -> str:
        """Take one word out of ``choices``."""
        value = self._values.get(key, default)
        if value is None:
            raise BadInput(f"{self.name(key)}: missing; choose {', '.join(choices)}")
        if not isinstance(value, str):
            raise BadInput(
                f"{self.name(key)}: must be a word in quotes, is {_kind(value)}; choose {', '.join(choices)}"
            )
        if value not in choices:
            near = difflib.get_close_matches(value, choices, n=1)
            hint = f"did you mean {near[0]!r}? It can be" if near else "choose"
            raise BadInput(f"{self.name(key)}: {value!r} is not one of its words; {hint} {', '.join(choices)}")
        return value

    def text(self, key: str, default: str | None = None) -> str:
        """Take a text in quotes."""
        value = self._values.get(key, default)
        if value is None:
            raise BadInput(f"{self.name(key)}: missing; give a text in quotes")
        if not isinstance(value, str):
            raise BadInput(f"{self.name(key)}: must be a text in quotes, is {_kind(value)}")
        return value

    def flag(self, key: str, default: bool) -> bool:
        """Take true or false."""
        value = self._values.get(key, default)
        if not isinstance(value, bool):
            raise BadInput(f"{self.name(key)}: must be true or false, is {_kind(value)}")
        return value


def _kind(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f"the text {value!r}"
    if isinstance(value, int | float):
        return f"the number {value}"
    if isinstance(value, list):
        return "a list"
    if isinstance(value, dict):
        return "a table"
    return f"a {type(value).__name__}"


def _range_words(above: float | None, least: float | None, most: float | None, unit: str) -> str:
    tail = f" {unit}" if unit else ""
    if above is not None and most is not None:
        return f"above {above:g} and up to {most:g}{tail}"
    if least is not None and most is not None:
        return f"from {least:g} to {most:g}{tail}"
    if above is not None:
        return f"above {above:g}{tail}"
    if least is not None:
        return f"of {least:g}{tail} or more"
    if most is not None:
        return f"of {most:g}{tail} or less"
    return ""
