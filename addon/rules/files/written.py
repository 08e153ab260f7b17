"""Keys and values as lines of TOML that read back to the same values."""

from collections.abc import Mapping


def lines_of(values: Mapping[str, object]) -> list[str]:
    """Write each key with its value on a line of its own; what is None is left out."""
    return [f"{key} = {toml(value)}" for key, value in values.items() if value is not None]


def toml(value: object) -> str:
    """Write a text, number, true or false, or a list of them. Numbers keep every digit."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        plain = value.replace("\\", "\\\\").replace('"', '\\"')
        return '"' + "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in plain) + '"'
    if isinstance(value, list | tuple):
        return f"[{', '.join(map(toml, value))}]"
    return repr(value)
