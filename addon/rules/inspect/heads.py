"""What drives the metal into the mould, and how hard it leans on a web of investment."""

from ..base.errors import BadInput

# kPa on a web, by what drives the metal. Gravity: a column of 100 mm of liquid sterling silver, rho g h. Vacuum: the
# share of one atmosphere that takes effect, the upper end of 20 to 30 kPa (common practice, no published source). Spin:
# half rho omega squared times the difference of squared radii, 300 turns a minute, 100 to 200 mm.
HEAD_KPA = {"gravity": 9.0, "vacuum": 30.0, "spin": 148.0}
# The weakest of four gypsum-bonded grades, disc rupture at 450 to 800 degC: Dental Materials 19 (2003), page 552.
HOT_STRENGTH_MPA = 3.4


def head_kpa(head: str) -> float:
    """Give the pressure on a web. Raises BadInput for a head that is not one."""
    if head not in HEAD_KPA:
        raise BadInput(f"inspect: a head of {head!r} does not work; choose {', '.join(HEAD_KPA)}")
    return HEAD_KPA[head]
