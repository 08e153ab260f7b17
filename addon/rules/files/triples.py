"""A place or a direction as a list of three numbers."""

# Far beyond any piece: what is larger is a slip of the hand or not a number at all.
MOST = 1e6


def triple(raw: object) -> tuple[float, float, float] | None:
    """Give three finite numbers written as a list, or None for anything else."""
    if not isinstance(raw, list) or len(raw) != 3 or not all(_is_number(value) for value in raw):
        return None
    x, y, z = (float(value) for value in raw)
    return x, y, z


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < MOST
