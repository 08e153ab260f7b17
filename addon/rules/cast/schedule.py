"""The burnout: which holds, how fast between them, and when the flask is ready to pour."""

import math
from dataclasses import dataclass, replace

from .materials import Burnout, Flask, Investment, Resin

FIRST_ZERO = 2.404826  # of the Bessel function J0


@dataclass(frozen=True, slots=True)
class Step:
    """One row of a burnout: reach ``to_c`` degC at ``ramp_c_per_h`` at most, in ``ramp_h``, then hold ``hold_h``."""

    to_c: float
    ramp_c_per_h: float
    ramp_h: float
    hold_h: float
    words: str

    def to_dict(self) -> dict[str, float | str]:
        """Give it as plain data."""
        return {
            "to_c": self.to_c,
            "ramp_c_per_h": self.ramp_c_per_h,
            "ramp_h": self.ramp_h,
            "hold_h": self.hold_h,
            "words": self.words,
        }


@dataclass(frozen=True, slots=True)
class Schedule:
    """A burnout: hours of rest before it, its steps, all hours from a cold kiln to the pour, status and source.

    ``stretch``: by how much its holds are longer than those of the largest flask they are known for; 1 within them.
    """

    rest_h: float
    steps: tuple[Step, ...]
    total_h: float
    stretch: float
    status: str
    source: str


def burnout_schedule(investment: Investment, resin: Resin, flask: Flask, flask_c: float) -> Schedule:
    """Give the burnout of a flask, from 20 degC to ``flask_c``.

    The investment's holds for the next larger flask it knows, by the time heat takes to its middle; for a flask larger
    than all of them the holds of the largest grow in that proportion, to the next half hour. Over the range where the
    resin swells, the resin's own slow ramp; the resin's extra hours at the top; then to casting temperature and the
    hold before the pour.
    """
    known = sorted(investment.burnout, key=lambda b: heating_mm2(b.diameter_mm, b.height_mm))
    wanted = heating_mm2(flask.diameter_mm, flask.height_mm)
    larger = [b for b in known if heating_mm2(b.diameter_mm, b.height_mm) >= wanted * (1.0 - 1e-9)]
    row = larger[0] if larger else known[-1]
    stretch = 1.0 if larger else wanted / heating_mm2(row.diameter_mm, row.height_mm)
    row = replace(row, hold_h=tuple(_half_hours(h * stretch) for h in row.hold_h))
    steps: list[Step] = []
    now = 20.0
    for to_c, hold_h, words in _stops(row, resin):
        ramp = investment.ramp_c_per_h.value
        if not resin.melts and now < resin.slow_to_c.value and to_c > resin.slow_from_c.value:
            ramp = min(ramp, resin.slow_ramp_c_per_h.value)
        steps.append(_step(now, to_c, ramp, hold_h, words))
        now = to_c
    words = "cool to casting temperature, hold" if flask_c < now else "heat to casting temperature, hold"
    steps.append(_step(now, flask_c, investment.ramp_c_per_h.value, row.cast_hold_h, words))
    total = sum(s.ramp_h + s.hold_h for s in steps)
    added = not resin.melts
    return Schedule(
        rest_h=investment.rest_h.high,
        steps=tuple(steps),
        total_h=total,
        stretch=stretch,
        status="our judgement" if added or not larger else investment.burnout_status,
        source=investment.burnout_source
        + ("; slow rise and longer top hold added for resin" if added else "")
        + ("" if larger else f"; holds of its largest flask made {stretch:.2f} times as long for this one"),
    )


def heating_mm2(diameter_mm: float, height_mm: float) -> float:
    """Give what the time to heat the middle of a cylinder through goes by, mm2: 1 / ((2.4048/r)^2 + (pi/h)^2).

    The slowest mode of heat conduction in a finite cylinder (Carslaw and Jaeger 1959, chapter 8; from memory).
    """
    return 1.0 / ((2.0 * FIRST_ZERO / diameter_mm) ** 2 + (math.pi / height_mm) ** 2)


def _half_hours(time_h: float) -> float:
    return math.ceil(time_h * 2.0 - 1e-9) / 2.0


def _stops(row: Burnout, resin: Resin) -> list[tuple[float, float, str]]:
    """Give the temperatures a burnout stops at: the row's holds, and the end of the resin's slow range between them."""
    stops: list[tuple[float, float, str]] = []
    last = len(row.hold_c) - 1
    slow_end = resin.slow_to_c.value
    for i, (to_c, hold_h) in enumerate(zip(row.hold_c, row.hold_h, strict=True)):
        before = row.hold_c[i - 1] if i else 20.0
        if not resin.melts and before < slow_end < to_c:
            stops.append((slow_end, 0.0, "go on slowly: resin swells here and cracks webs"))
        if i == last:
            stops.append((to_c, hold_h + resin.extra_top_hold_h.value, "burn out clean, air in and fumes out"))
        else:
            words = "dry, and let wax run out" if i == 0 else "hold"
            stops.append((to_c, hold_h, words))
    return stops


def _step(now: float, to_c: float, ramp: float, hold_h: float, words: str) -> Step:
    return Step(to_c, ramp, abs(to_c - now) / ramp, hold_h, words)
