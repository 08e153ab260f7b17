"""Bringing chains of an older stored form up to this one, so that they stand as they were made."""

from typing import Any

from .properties import SCHEMA
from .settings import write_all


def bring_up(ob: Any) -> None:
    """Bring an older chain's settings up; newer and linked ones are left alone."""
    group = ob.linkwright
    if not 0 < group.schema < SCHEMA or ob.library is not None or ob.override_library is not None:
        return
    group.hold = True
    try:
        # The first form had a check-box where the second has a choice.
        group.curve_size = "LINKS" if group.limit_links else "FILL"
        # In the first form the ends followed from the shape, and lengths told from it whether they were inside ones.
        group.figures.round_worn = group.figures.closed
        write_all(group)
        group.schema = SCHEMA
    finally:
        group.hold = False
