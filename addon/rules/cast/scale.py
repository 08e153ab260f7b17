"""How much larger to print so that the finished piece comes out at its drawn size."""

from dataclasses import dataclass

from .materials import Alloy, Investment

ROOM_C = 20.0


@dataclass(frozen=True, slots=True)
class ExportScale:
    """The factor for the print file, what it is made of, its likely spread, and a line for the sheet."""

    factor: float
    low: float
    high: float
    shrinkage_percent: float
    mould_expansion_percent: float
    words: str


def mould_expansion_percent(investment: Investment, flask_c: float) -> float:
    """Give how much a mould has grown at flask temperature, linear: setting, and heating up to where it levels off."""
    share = min(1.0, max(0.0, (flask_c - ROOM_C) / (investment.expanded_above_c.value - ROOM_C)))
    return investment.setting_expansion_percent.value + share * investment.thermal_expansion_percent.value


def export_scale(alloy: Alloy, investment: Investment, flask_c: float) -> ExportScale:
    """Give 1 / ((1 - s)(1 + e)): metal shrinks by s from its solidus, the mould has grown by e when it is poured.

    The spread takes the low and high figures of both. A calibration, not a constant: one measured casting beats it.
    """
    s = alloy.shrinkage_percent
    share = min(1.0, max(0.0, (flask_c - ROOM_C) / (investment.expanded_above_c.value - ROOM_C)))
    setting, thermal = investment.setting_expansion_percent, investment.thermal_expansion_percent
    expansion = mould_expansion_percent(investment, flask_c)
    factor = net_scale(s.value, expansion)
    low = net_scale(s.low, setting.high + share * thermal.high)
    high = net_scale(s.high, setting.low + share * thermal.low)
    words = (
        f"Print at {100.0 * factor:.2f} % (likely between {100.0 * low:.2f} and {100.0 * high:.2f} %): the metal "
        f"shrinks {s.value:.2f} % and the mould has grown {expansion:.2f} %. Measure the first casting and write its "
        "own factor as process.scale."
    )
    return ExportScale(factor, low, high, s.value, expansion, words)


def net_scale(shrinkage_percent: float, mould_expansion_percent: float) -> float:
    """Give 1 / ((1 - s)(1 + e)) for linear percentages."""
    return 1.0 / ((1.0 - shrinkage_percent / 100.0) * (1.0 + mould_expansion_percent / 100.0))
