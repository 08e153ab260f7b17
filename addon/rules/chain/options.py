"""Which options of a chain's spec belong to which family."""

from ..base.errors import BadInput
from .spec import ChainSpec

# What an option is when it is not asked for; round wire may be named. ``repeat`` always has a value and is left out.
UNASKED = {
    "section": (None, "round"),
    "wire_width_mm": (None,),
    "corner_mm": (None,),
    "strands": (1,),
    "facet_mm": (0.0,),
    "long_link_mm": (None,),
    "stud_mm": (None,),
    "turn_deg": (None,),
    "axis": (None,),
    "own": (None,),
    "own_file": (None,),
}


def only(spec: ChainSpec, *options: str) -> None:
    """Raise BadInput for an option asked for that is not among the family's ``options``."""
    for key, unasked in UNASKED.items():
        if key not in options and getattr(spec, key) not in unasked:
            article = "an" if spec.family[0] in "aeiou" else "a"
            raise BadInput(
                f"chain.{_key(key)}: does not belong to {article} {spec.family}; leave it out"
                + (f" or write {unasked[-1]!r}" if unasked[-1] is not None else "")
            )


def _key(key: str) -> str:
    return "file" if key in ("own", "own_file") else key
